"""Where on a system each stop stands, and which bars make a system.

In: the stops of bars. Out: `BarPiece`s (a bar, or a part of one that is wider than a system) and `SystemPlan`s: pieces with a scale at which they fill the
width. Space grows with time, and gives way where marks need more. Draws nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.engraving import measures as m
from lickwright.engraving.note_values import group_starts
from lickwright.engraving.stops import BarStops, Stop
from lickwright.engraving.typefaces import text_width
from lickwright.layout.grid import Grid
from lickwright.music.syllables import BETWEEN

_LOOSEST = 1.6  # scale up to which a last system is spread to the width
_LAST = 1.25  # the scale of an only system that is not
_LONELY = 0.6  # what a last system of one bar costs, in the units of `_cost`
_LEAD_GAP = 1.6  # gap after a grace note
_ASKED = 0.15  # what a line end that the writer asked for is worth, in the units of `_cost`
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
    bar = grid.bars[whole.bar].bar
    starts = set(group_starts(grid.timeline, bar))
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


class _Reach(NamedTuple):
    """How far what stands before reaches, by what would collide."""

    numbers: float = 0.0
    amounts: float = 0.0
    counts: float = 0.0
    chords: float = 0.0

    def first(self, stop: Stop, asked: float) -> float:
        """The first place for a stop that is asked for at `asked`."""
        x = max(asked, self.numbers + stop.left)
        if stop.arrows:
            x = max(x, self.amounts - stop.bend_extent[0])
        if stop.said:
            x = max(x, self.counts + _half_count(stop))
        return max(x, self.chords) if stop.chords else x

    def after(self, stop: Stop, x: float) -> _Reach:
        """The same once a stop stands at x."""
        numbers, amounts, counts, chords = self
        if stop.marks or stop.event is not None or stop.right:
            numbers = x + stop.right + (m.GAP if not stop.lead else _LEAD_GAP)
        if stop.arrows:
            amounts = x + stop.bend_extent[1] + m.GAP
        if stop.said:
            counts = x + _half_count(stop)
        if stop.chords:
            widths = [text_width(one, "sans-bold", m.CHORD) for one in stop.chords]
            chords = x + max([stop.chord_room, *widths]) + m.CHORD_GAP
        return _Reach(numbers, amounts, counts, chords)


def _half_count(stop: Stop) -> float:
    return text_width(stop.said, "sans", m.COUNT) / 2 + (2.5 if stop.said != BETWEEN else 0)


def _space(piece: BarPiece, scale: float) -> PiecePlaces:
    """Places for the stops: each as far on as its time asks or as the marks before it need."""
    asked = busy = m.BAR_LEFT + (m.REPEAT if piece.repeat_start else 0.0)
    reach = _Reach(asked)
    xs = []
    for stop in piece.stops:
        x = reach.first(stop, asked)
        reach = reach.after(stop, x)
        if stop.marks or stop.event is not None or stop.right:
            busy = x + stop.right
        asked = x + stop.space * scale
        xs.append(x)
    least = m.SAME_BAR if piece.same else 0.0
    busy = busy + m.BAR_RIGHT if piece.stops else 0.0
    width = max(asked, busy, reach.amounts, reach.counts, reach.chords - m.CHORD_GAP, least)
    return PiecePlaces(tuple(xs), width + (m.REPEAT if piece.repeat_end else 0.0))


def plan_systems(pieces: Sequence[BarPiece], width: float, margins: tuple[float, float]) -> list[SystemPlan]:
    """The systems that fill `width` most evenly; `margins` is the room before the bars of the first system and of the others.

    A line end that the writer asked for is kept where that costs little. The last system fills the width only where it is nearly full; else it is as loose
    as the others.
    """
    plans: list[SystemPlan] = []
    for first, last in _best_breaks(pieces, width, margins):
        usual = sum(plan.scale for plan in plans) / len(plans) if plans else _LAST
        room = width - margins[1 if first else 0]
        scale = _scale(pieces[first:last], room, usual if last == len(pieces) else None)
        plans.append(SystemPlan(tuple(pieces[first:last]), scale))
    return plans


def _best_breaks(pieces: Sequence[BarPiece], width: float, margins: tuple[float, float]) -> list[tuple[int, int]]:
    """First and last piece (excluded) of each system, by dynamic programming over where systems end."""
    count = len(pieces)
    best = [0.0] + [float("inf")] * count
    came = [0] * (count + 1)
    for first in range(count):
        for last, cost in _system_costs(pieces, first, width - margins[1 if first else 0]):
            if best[first] + cost < best[last]:
                best[last], came[last] = best[first] + cost, first
    ends = [count] if count else []
    while ends and came[ends[0]]:
        ends.insert(0, came[ends[0]])
    return list(zip([0, *ends[:-1]], ends, strict=True))


def _system_costs(pieces: Sequence[BarPiece], first: int, room: float) -> Iterator[tuple[int, float]]:
    """For each system that may begin with a piece: its last piece (excluded), and what it costs."""
    wanted = least = 0.0
    for last in range(first, len(pieces)):
        wanted += pieces[last].spaced(1.0).width
        least += pieces[last].spaced(0.0).width
        if last > first and least > room:
            break
        ends = last + 1 == len(pieces)
        alone = ends and first == last > 0 and pieces[last].opens
        extra = (_LONELY if alone else 0.0) - (_ASKED if pieces[last].asked else 0.0)
        yield last + 1, _cost(room / wanted, ends) + extra


def _cost(ratio: float, is_last: bool) -> float:
    """How far a system is from its natural width, squared; what must be squeezed costs more than what must be spread."""
    if ratio >= 1 and is_last:
        return 0.05 + min(0.5, max(0.0, 0.25 * (ratio - 1.4)))
    if ratio >= 1:
        return min(9.0, (ratio - 1) ** 2 + 0.05)
    return 6 * (1 / max(ratio, 0.05) - 1) ** 2 + 0.05


def _scale(pieces: Sequence[BarPiece], room: float, usual: float | None) -> float:
    """The scale at which pieces fill `room`; for a last system that would have to be spread further, the `usual` one of the others."""

    def total(scale: float) -> float:
        return sum(piece.spaced(scale).width for piece in pieces)

    if usual is not None and total(max(_LOOSEST, usual)) < room:
        return usual
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
