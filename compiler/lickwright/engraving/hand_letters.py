"""The fingers of both hands: fretting fingers beside their numbers, plucking fingers below the strings.

In: a `PlacedSystem`. Out: groups of the display list, each with the event that it belongs to, and the room that they take.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import ItemGroup, Text
from lickwright.engraving.placed import PlacedStop, PlacedSystem, drawn_event
from lickwright.engraving.stops import NoteMark, Stop
from lickwright.engraving.typefaces import CAPITAL

_ROW = m.PLUCK * 0.95  # from letter to letter of a chord
_GAP = 4.0  # between the thickest string and the first letter


def draw_fretting_fingers(system: PlacedSystem) -> Iterator[ItemGroup]:
    """Yield the fretting fingers, each to the right of its number and on the same base line."""
    for placed in system.stops:
        for mark in placed.stop.marks:
            if mark.finger:
                y = (mark.string - 1) * m.STRING + CAPITAL * mark.size / 2
                text = Text(placed.x + mark.half + m.FINGER_GAP, y, mark.finger, "serif-italic", m.FINGER)
                yield ItemGroup((text,), "finger", drawn_event(system.grid.timeline, mark.sound))


def pluck_room(system: PlacedSystem) -> float:
    """Return the height between the strings and the stems that letters of the plucking hand take; 0 where there are none."""
    most = max((len(_plucked(placed.stop)) for placed in system.stops), default=0)
    return _GAP + most * _ROW if most else 0.0


def draw_plucking_fingers(system: PlacedSystem) -> Iterator[ItemGroup]:
    """Yield the letters of the plucking hand below the strings, those of a chord in the order of its strings."""
    for placed in system.stops:
        for n, mark in enumerate(_plucked(placed.stop)):
            yield ItemGroup((_letter(system, placed, mark, n),), "pluck", drawn_event(system.grid.timeline, mark.sound))


def _letter(system: PlacedSystem, placed: PlacedStop, mark: NoteMark, n: int) -> Text:
    y = system.bottom + _GAP + (n + 0.85) * _ROW
    return Text(placed.x, y, mark.sound.pluck or "", "serif-italic", m.PLUCK, "middle")


def _plucked(stop: Stop) -> list[NoteMark]:
    """Return the marks of a stop that begin with a plucking finger, from the thinnest string."""
    return [mark for mark in stop.marks if mark.sound.pluck and not mark.held]
