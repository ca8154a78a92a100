"""The stretch of neck that a lick is played on, with its own notes in playing order among those of its box.

In: a `Timeline`. Out: a group of the display list. A lick without a box shows its notes alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.engraving.display_list import FAINT, PAPER, Item, ItemGroup, Text, box, disc, line
from lickwright.engraving.typefaces import CAPITAL
from lickwright.music.accidentals import string_label_signs
from lickwright.music.box_area import played_area
from lickwright.music.fretboard import Place
from lickwright.notation.techniques import Stroke
from lickwright.timeline.model import Timeline

_STRING, _FRET = 14.0, 30.0  # from string to string, from wire to wire
_WIDEST = 230.0  # of the frets together: more of them are drawn narrower
_FEWEST = 4  # frets
_DOT, _RING = 5.6, 3.4  # radius of a note of the lick, and of another one of its box
_NAMES = 12.0  # room for the names of the strings
_OPEN = 14.0  # room for open strings beside the nut
_LETTER = 6.8


class NeckPlaces(NamedTuple):
    """What is drawn."""

    order: dict[Place, int]  # the lick's own places, numbered by when they first come
    others: frozenset[Place]  # the rest of its box
    caption: str

    @property
    def frets(self) -> tuple[int, int]:
        """The lowest and the highest fret; 0 for open strings."""
        every = [fret for _, fret in (*self.order, *self.others)]
        low = min(every)
        return low, max(max(every), max(low, 1) + _FEWEST - 1)


def neck_places(timeline: Timeline) -> NeckPlaces | None:
    """The places of a lick and of its box; None for a lick that frets nothing."""
    order: dict[Place, int] = {}
    for sound in timeline.sounds:
        if sound.fret is not None and not sound.dead:
            order.setdefault((sound.string, sound.fret), len(order) + 1)
    if not order:
        return None
    settings = timeline.settings
    if settings.area is None:
        return NeckPlaces(order, frozenset(), "")
    fretted = [
        (s.string, s.fret) for s in timeline.sounds if s.fret and not s.dead and s.begin.stroke is not Stroke.TAP
    ]
    area = played_area(settings.area, fretted)
    return NeckPlaces(order, (area.places | area.blue) - order.keys(), area.name)


def neck_picture(timeline: Timeline, left_handed: bool = False) -> ItemGroup | None:
    """The picture, its upper left corner at (0, 0); None for a lick that frets nothing."""
    places = neck_places(timeline)
    return None if places is None else _Neck(timeline, places, left_handed).group()


class _Neck:
    def __init__(self, timeline: Timeline, places: NeckPlaces, left_handed: bool) -> None:
        self._timeline, self._places, self._left_handed = timeline, places, left_handed
        low, self._high = places.frets
        self._open = low == 0
        self._low = max(1, low)
        self._count = self._high - self._low + 1
        self._fret = min(_FRET, _WIDEST / self._count)
        self._start = _NAMES + (_OPEN if self._open else 0.0)
        self._width = self._start + self._count * self._fret + _NAMES / 2
        self._strings = timeline.settings.tuning.strings

    def group(self) -> ItemGroup:
        """Return the whole picture as one group, with a description for those who do not see it."""
        items = (*self._board(), *self._others(), *self._notes())
        where = self._places.caption or f"frets {self._low} to {self._high}"
        names = ", ".join(
            f"{self._timeline.settings.tuning.label(string)} {fret}" for string, fret in self._places.order
        )
        hand = ", left-handed" if self._left_handed else ""
        return ItemGroup(tuple(items), "diagram", alt=f"the neck, {where}{hand}; notes in playing order: {names}")

    def _x(self, frets: float) -> float:
        """So many frets from the wire where the picture begins."""
        x = self._start + frets * self._fret
        return self._width - x if self._left_handed else x

    def _y(self, string: int) -> float:
        return _DOT + 1.0 + (string - 1) * _STRING

    def _at(self, place: Place) -> tuple[float, float]:
        string, fret = place
        if fret == 0:
            x = self._start - _OPEN / 2 - 1.0
            return (self._width - x if self._left_handed else x), self._y(string)
        return self._x(fret - self._low + 0.5), self._y(string)

    def _board(self) -> Iterator[Item]:
        tuning = self._timeline.settings.tuning
        top, bottom = self._y(1), self._y(self._strings)
        for string in range(1, self._strings + 1):
            y = self._y(string)
            yield line(self._x(0), y, self._x(self._count), y, 0.5 + 0.09 * string, ink=FAINT)
            x = self._width - 1.0 if self._left_handed else 1.0
            text = Text(
                x, y + CAPITAL * _LETTER / 2, string_label_signs(tuning.label(string)), "sans", _LETTER, "middle", FAINT
            )
            yield text._replace(x=x - 2.0 if self._left_handed else x + 2.0)
        for wire in range(self._count + 1):
            nut = wire == 0 and self._low == 1
            yield line(self._x(wire), top - 0.3, self._x(wire), bottom + 0.3, 2.6 if nut else 0.7)
        for n in range(self._count):
            if self._fret >= 12 or n % 2 == 0:
                yield Text(self._x(n + 0.5), bottom + 15.0, str(self._low + n), "sans", _LETTER, "middle")

    def _is_root(self, place: Place) -> bool:
        settings = self._timeline.settings
        if settings.key is None:
            return False
        return (settings.tuning.open(place[0]) + place[1] - settings.key.tonic.pc) % 12 == 0

    def _others(self) -> Iterator[Item]:
        for place in sorted(self._places.others):
            x, y = self._at(place)
            if self._is_root(place):
                yield box(x - _RING, y - _RING, x + _RING, y + _RING, ink=PAPER)
                yield box(x - _RING, y - _RING, x + _RING, y + _RING, 0.9)
            else:
                yield disc(x, y, _RING, ink=PAPER)
                yield disc(x, y, _RING, 0.9)

    def _notes(self) -> Iterator[Item]:
        for place, number in self._places.order.items():
            x, y = self._at(place)
            root = self._is_root(place)
            size = _LETTER if number < 10 else _LETTER - 1.0
            shape = box(x - _DOT + 0.4, y - _DOT + 0.4, x + _DOT - 0.4, y + _DOT - 0.4) if root else disc(x, y, _DOT)
            text = Text(x, y + CAPITAL * size / 2, str(number), "sans-bold", size, "middle", PAPER)
            data = (("string", str(place[0])), ("fret", str(place[1])), ("order", str(number)))
            yield ItemGroup((shape, text), "place", data=data)
