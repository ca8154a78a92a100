"""Bends, pre-bends, releases and held bends as arrows over the strings.

In: a `PlacedSystem`. Out: groups of the display list, each with the event that it belongs to. The amounts are texts of the row just over the arrows.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Item, ItemGroup, Path, Text, line
from lickwright.engraving.joins import arrowhead
from lickwright.engraving.placed import PlacedStop, PlacedSystem, drawn_event
from lickwright.engraving.stops import PITCHED, Arrow
from lickwright.layout.grid import GridRow
from lickwright.notation.techniques import Curve
from lickwright.timeline.model import PitchGesture, SoundingNote

TIP = -m.BEND_RISE  # the y of arrow tips
_SHORT_HOLD = 10.0  # up to which the line of a held bend is solid, since dashes need room


class Bends(NamedTuple):
    """What is drawn of them."""

    arrows: list[ItemGroup]
    amounts: list[ItemGroup]  # with their base lines at y 0


class _Bent(NamedTuple):
    """A bend that is up."""

    x: float  # of its arrow's tip
    amount: float  # semitones


def draw_bends(system: PlacedSystem) -> Bends:
    """All arrows of a system, the dashes of bends that stay up, and the amounts."""
    found = Bends([], [])
    bent: dict[int, _Bent] = {}  # by the sound's number
    dashes: list[tuple[float, float]] = list(_holds(system))
    for placed in system.stops:
        for arrow in placed.stop.arrows:
            _draw_arrow(system, placed, arrow, bent, dashes, found)
    for number, up in bent.items():
        if up.amount and _goes_on(system, number):
            dashes.append((up.x, system.right))
    for left, right in _merged(dashes):
        dash = (2.4, 1.8) if right - left > _SHORT_HOLD else ()
        found.arrows.append(ItemGroup((line(left + 0.8, TIP, right, TIP, 0.7, dash),), "bend-held"))
    return found


def _draw_arrow(
    system: PlacedSystem,
    placed: PlacedStop,
    arrow: Arrow,
    bent: dict[int, _Bent],
    dashes: list[tuple[float, float]],
    found: Bends,
) -> None:
    mark = placed.stop.marks[arrow.mark]
    sound, curve = mark.sound, arrow.shape.technique.curve
    x, y = placed.x + arrow.x, (mark.string - 1) * m.STRING
    event = drawn_event(system.grid.timeline, sound)
    if curve is Curve.RELEASE:
        up = bent.get(sound.index) or _Bent(system.left + 2.0, _amount_before(sound, arrow.shape))
        start = up.x
        if up.x < placed.x - mark.half:
            start = placed.x - mark.half
            dashes.append((up.x, start))
        left = min(1.0, max(0.0, arrow.shape.amount / up.amount)) if up.amount else 0.0
        low = min(TIP + 9.0, y - 5.0) if left else y
        foot = (TIP + (low - TIP) * (1 - left) + 3.0) if left else y - 1.0
        item = Path((("M", start, TIP), ("C", start + (x - start) * 0.8, TIP, x, TIP + 1.0, x, foot - 3.5)), 0.8)
        found.arrows.append(ItemGroup((item, arrowhead(x, foot, 1.0)), "release", event))
    elif curve is Curve.PREBEND:
        found.arrows.append(ItemGroup((line(x, y, x, TIP + 3.0, 0.8), arrowhead(x, TIP, -1.0)), "pre-bend", event))
    else:
        start = placed.x + mark.right + 1.0
        if sound.index in bent and bent[sound.index].x > placed.x:
            start = bent[sound.index].x
        item = Path((("M", start, y), ("C", start + (x - start) * 0.8, y, x, y - 1.0, x, TIP + 3.5)), 0.8)
        found.arrows.append(ItemGroup((item, arrowhead(x, TIP, -1.0)), "bend", event))
    bent[sound.index] = _Bent(x, arrow.shape.amount)
    if arrow.amount:
        found.amounts.append(ItemGroup(_amount(arrow.amount, x), "amount", event))


def _amount(text: str, x: float) -> tuple[Item, ...]:
    return (Text(x, 0.0, text, "sans", m.SMALL, "middle"),)


def _amount_before(sound: SoundingNote, shape: PitchGesture) -> float:
    """How far a sound is bent before a shape."""
    earlier = [other.amount for other in sound.shapes if other.start < shape.start and other.technique.curve in PITCHED]
    return earlier[-1] if earlier else 0.0


def _goes_on(system: PlacedSystem, number: int) -> bool:
    """Whether a sound has another bend or release after this system."""
    bar = system.pieces[-1].piece.bar
    end = max((stop.stop.at for stop in system.pieces[-1].stops), default=0)
    slots = system.grid.timeline.slots
    return any(
        shape.technique.curve in PITCHED and (slots[shape.slot].bar, slots[shape.slot].at) > (bar, end)
        for shape in system.grid.timeline.sounds[number].shapes
    )


def _holds(system: PlacedSystem) -> Iterator[tuple[float, float]]:
    """From where to where bends are marked as held."""
    first, last = system.columns
    tips = {placed.stop.column: placed.x + placed.stop.arrows[-1].x for placed in system.stops if placed.stop.arrows}
    for above in system.grid.above:
        if above.row is GridRow.BEND and above.first <= last and above.last >= first:
            start = tips.get(above.first, system.column_x.get(above.first, system.left))
            end = system.column_x.get(above.last)
            yield start, system.right if end is None else end + 4.0


def _merged(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans in order, overlapping ones as one."""
    found: list[tuple[float, float]] = []
    for left, right in sorted(spans):
        if found and left <= found[-1][1] + 0.5:
            found[-1] = (found[-1][0], max(found[-1][1], right))
        else:
            found.append((left, right))
    return found
