"""Where on a system each stop stands, and which bars make a system.

In: the stops of bars. Out: `BarPiece`s (a bar, or a part of one that is wider than a system) and `SystemPlan`s: pieces with a scale at which they fill the
width. Space grows with time, and gives way where marks need more. Draws nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.engraving import measures as m
from lickwright.engraving.note_values import group_starts
from lickwright.engraving.stops import BarStops, Stop
from lickwright.engraving.typefaces import text_width
from lickwright.layout.grid import Grid
from lickwright.music.syllables import BETWEEN
from lickwright.timeline.bar_count import count_shift

_LOOSEST = 1.6  # scale up to which a last system is spread to the width
_LAST = 1.25  # its scale where it is not
_ROUNDS = 24  # of halving in the search for a scale


class PiecePlaces(NamedTuple):
    """A piece with its places."""

    xs: tuple[float, ...]  # of its stops, from the bar line before it
    width: float  # to the bar line that ends it


@mutable_record
class BarPiece:
    """A bar, or a part of one."""

    bar: int  # index into Grid.bars
    stops: tuple[Stop, ...]
    first: int  # of its stops, within the bar
    opens: bool  # it begins with the bar's own start
    closes: bool  # the bar line that ends it is the bar's own
    same: bool  # a `%`
    repeat_start: bool
    repeat_end: bool
    asked: bool  # the writer ended a line after it
    _known: dict[float, PiecePlaces] = field(default_factory=dict, init=False, repr=False, compare=False)

    def spaced(self, scale: float) -> PiecePlaces:
        """Its places where time takes `scale` times its usual space; 0 for as tight as the marks allow."""
        found = self._known.get(scale)
        if found is None:
            if len(self._known) > 2 * _ROUNDS:
                self._known.clear()
            found = self._known[scale] = _space(self, scale)
        return found


class SystemPlan(NamedTuple):
    """The pieces of one system, and the scale of their space."""

    pieces: tuple[BarPiece, ...]
    scale: float


def pieces_of(grid: Grid, bars: Sequence[BarStops], room: float) -> list[BarPiece]:
    """Every bar as a piece; one that cannot be put into `room` points in parts."""
    found: list[BarPiece] = []
    for index, bar_stops in enumerate(bars):
        bar = grid.bars[index].bar
        whole = BarPiece(
            index, bar_stops.stops, 0, True, True, bar.same, bar.repeat_start, bool(bar.repeat_end), bar.newline
        )
        if whole.spaced(0.0).width <= room:
            found.append(whole)
        else:
            found += _parts(grid, whole, room)
    return found


def _parts(grid: Grid, whole: BarPiece, room: float) -> list[BarPiece]:
    """A bar in parts that fit, cut where a group of the meter begins, or where nothing else helps at any stop."""
    bar, timeline = grid.bars[whole.bar].bar, grid.timeline
    starts = set(group_starts(timeline.settings.meter, timeline.grain, bar.length, count_shift(timeline, bar)))
    cuts, first, group = [0], 0, 0
    for n, stop in enumerate(whole.stops):
        if n > first and (stop.lead or not whole.stops[n - 1].lead):
            tight = _part(whole, first, n + 1).spaced(0.0).width
            if tight > room:
                first = group if group > first else n
                cuts.append(first)
            if stop.at in starts and not (n and whole.stops[n - 1].lead and whole.stops[n - 1].at == stop.at):
                group = n
    return [_part(whole, start, end) for start, end in zip(cuts, [*cuts[1:], len(whole.stops)], strict=True)]


def _part(whole: BarPiece, first: int, last: int) -> BarPiece:
    closes = last == len(whole.stops)
    return BarPiece(
        whole.bar, whole.stops[first:last], whole.first + first, whole.opens and first == 0, closes, False,
        whole.repeat_start and first == 0, whole.repeat_end and closes, whole.asked and closes,
    )  # fmt: skip


def _space(piece: BarPiece, scale: float) -> PiecePlaces:
    """Places for the stops: each as far on as its time asks or as the marks before it need."""
    at = m.BAR_LEFT + (m.REPEAT if piece.repeat_start else 0.0)
    busy = bend = said = chord = 0.0  # how far what stands before reaches, by what would collide
    ended = at
    asked = at
    xs = []
    for stop in piece.stops:
        x = max(asked, ended + stop.left)
        if stop.arrows:
            x = max(x, bend - stop.bend_extent[0])
        if stop.said:
            half = text_width(stop.said, "sans", m.COUNT) / 2 + (2.5 if stop.said != BETWEEN else 0)
            x = max(x, said + half)
            said = x + half
        if stop.chords:
            x = max(x, chord)
            chord = x + max(text_width(one, "sans-bold", m.CHORD) for one in stop.chords) + m.GAP
        if stop.marks or stop.event is not None:
            ended = x + stop.right + (m.GAP if not stop.lead else 1.6)
            busy = x + stop.right
        if stop.arrows:
            bend = x + stop.bend_extent[1] + m.GAP
        asked = x + stop.space * scale
        xs.append(x)
    least = m.SAME_BAR if piece.same else 0.0
    width = max(asked, busy + m.BAR_RIGHT, bend, said, chord - m.GAP, least)
    return PiecePlaces(tuple(xs), width + (m.REPEAT if piece.repeat_end else 0.0))


def plan_systems(pieces: Sequence[BarPiece], width: float, margins: tuple[float, float]) -> list[SystemPlan]:
    """The systems that fill `width` most evenly; `margins` is the room before the bars of the first system and of the others.

    A line end that the writer asked for is kept where that costs little. The last system is spread only where it is nearly full.
    """
    count = len(pieces)
    natural = [piece.spaced(1.0).width for piece in pieces]
    tight = [piece.spaced(0.0).width for piece in pieces]
    best = [0.0] + [float("inf")] * count
    came = [0] * (count + 1)
    for first in range(count):
        room = width - margins[1 if first else 0]
        wanted = least = 0.0
        for last in range(first, count):
            wanted += natural[last]
            least += tight[last]
            if last > first and least > room:
                break
            cost = best[first] + _cost(room / wanted, last + 1 == count) - (0.15 if pieces[last].asked else 0.0)
            if cost < best[last + 1]:
                best[last + 1], came[last + 1] = cost, first
            if not pieces[last].closes and last + 1 < count and wanted > room:
                break
    ends, end = [], count
    while end > 0:
        ends.append((came[end], end))
        end = came[end]
    plans = []
    for first, last in reversed(ends):
        room = width - margins[1 if first else 0]
        plans.append(SystemPlan(tuple(pieces[first:last]), _scale(pieces[first:last], room, last == count)))
    return plans


def _cost(ratio: float, is_last: bool) -> float:
    """How far a system is from its natural width, squared; what must be squeezed costs more than what must be spread."""
    if ratio >= 1 and is_last:
        return 0.05 + min(0.5, max(0.0, 0.25 * (ratio - 1.4)))
    if ratio >= 1:
        return min(9.0, (ratio - 1) ** 2 + 0.05)
    return 6 * (1 / max(ratio, 0.05) - 1) ** 2 + 0.05


def _scale(pieces: Sequence[BarPiece], room: float, is_last: bool) -> float:
    """The scale at which pieces fill `room`; `_LAST` for a last system that would have to be spread too far."""

    def total(scale: float) -> float:
        return sum(piece.spaced(scale).width for piece in pieces)

    if is_last and total(_LOOSEST) < room:
        return _LAST
    low, high = 0.0, 1.0
    while total(high) < room and high < 512:
        low, high = high, high * 2
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        if total(middle) > room:
            high = middle
        else:
            low = middle
    return low
