"""The rhythm of a bar in written note values: which sign, how many dots, what is tied, what is beamed.

In: a `Grid` and the index of one of its bars. Out: `RhythmEvent`s in order, and the beams over them. Grace notes and rake strokes have no value and are not
among them. Draws nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import prod
from typing import NamedTuple

from lickwright.engraving.split_values import beat_grid, beat_units, split_values, tuplet_grid
from lickwright.layout.grid import Grid
from lickwright.timeline.bar_count import count_shift, is_silent
from lickwright.timeline.model import Bar, Timeline

_QUARTER = Fraction(1, 4)


class RhythmEvent(NamedTuple):
    """One written value."""

    at: int  # grains from the start of the bar
    end: int  # grains
    base: Fraction  # the value without its dots, of a whole note: 1/8
    dots: int
    rest: bool
    tied: bool  # it goes on with what the event before it began: nothing new is played
    whole_bar: bool = False  # a rest for the whole bar, whatever the meter

    @property
    def flags(self) -> int:
        """Flags or beams: 1 for an eighth; 0 for a quarter and longer values."""
        return max(0, self.base.denominator.bit_length() - 3) if self.base.numerator == 1 else 0


class TupletInBar(NamedTuple):
    """The part of a tuplet that lies in a bar."""

    start: int  # grains in the bar
    end: int
    factor: Fraction  # what lengths within it are written as: 3/2 for a triplet
    label: str
    depth: int
    actual: int  # so many steps in the time of `normal`
    normal: int


class BarRhythm(NamedTuple):
    """The rhythm of one bar."""

    events: tuple[RhythmEvent, ...]
    beams: tuple[tuple[int, int], ...]  # first and last event of each, by index; of two events at least
    tuplets: tuple[TupletInBar, ...]


def bar_rhythm(grid: Grid, index: int) -> BarRhythm:
    """The written values of a bar; nothing for a `%`."""
    timeline, drawn = grid.timeline, grid.bars[index]
    bar = drawn.bar
    if bar.same:
        return BarRhythm((), (), ())
    tuplets = bar_tuplets(timeline, bar)
    events = tuple(_events(grid, index, tuplets))
    starts = group_starts(timeline, bar)
    return BarRhythm(events, tuple(beam_runs(events, starts, tuplets)), tuplets)


def bar_tuplets(timeline: Timeline, bar: Bar) -> tuple[TupletInBar, ...]:
    """Return the tuplets of a bar, outer ones before those inside them; of a `%` those of the bar that it repeats."""
    slots, found = timeline.slots, []
    for tuplet in timeline.tuplets:
        inside = [slots[n] for n in range(tuplet.first, tuplet.last + 1) if bar.first <= n < bar.last]
        timed = [slot for slot in inside if slot.length]
        if timed:
            label = str(tuplet.count)
            if tuplet.normal != 1 << ((tuplet.count - 1).bit_length() - 1):
                label += f":{tuplet.normal}"
            end = max(slot.at + slot.length for slot in timed)
            factor = Fraction(tuplet.count, tuplet.normal)
            found.append(
                TupletInBar(
                    min(slot.at for slot in timed), end, factor, label, tuplet.depth, tuplet.count, tuplet.normal
                )
            )
    return tuple(found)


def _points(grid: Grid, index: int) -> list[tuple[int, bool]]:
    """The instants of a bar at which something begins, each with whether it is a silence."""
    timeline, drawn = grid.timeline, grid.bars[index]
    found: dict[int, bool] = {0: False}
    for column in grid.columns[drawn.first : drawn.last]:
        if column.cells and not column.lead:
            found[column.at] = False
    silent = _silent_before(timeline, drawn.bar)
    for slot in timeline.slots[drawn.bar.first : drawn.bar.last]:
        before, silent = silent, is_silent(slot.event, silent)
        if silent and (not before or slot.at == 0) and slot.length:
            found[slot.at] = True
    return sorted(found.items())


def _silent_before(timeline: Timeline, bar: Bar) -> bool:
    """Whether a rest goes on into the bar."""
    silent = False
    for slot in timeline.slots[max(0, bar.first - 64) : bar.first]:
        silent = is_silent(slot.event, silent)
    return silent


def _events(grid: Grid, index: int, tuplets: Sequence[TupletInBar]) -> Iterator[RhythmEvent]:
    bar = grid.bars[index].bar
    points = [point for point in _points(grid, index) if point[0] < bar.length]
    if points == [(0, True)]:
        yield RhythmEvent(0, bar.length, Fraction(1), 0, True, False, True)
        return
    writing = NoteValueWriter(grid.timeline, bar, tuplets)
    for (at, rest), (following, _) in pairwise([*points, (bar.length, False)]):
        yield from writing.events(at, following, rest)


class NoteValueWriter:
    """Writes lengths of one bar as note values."""

    def __init__(self, timeline: Timeline, bar: Bar, tuplets: Sequence[TupletInBar]) -> None:
        self._grain, self._tuplets = timeline.grain, tuplets
        meter = timeline.settings.meter
        self._bar = beat_grid(meter)
        self._tuplet = tuplet_grid(meter.beat if self._bar.beat is not None else _QUARTER)
        self._start = -count_shift(timeline, bar)

    def events(self, start: int, end: int, rest: bool) -> Iterator[RhythmEvent]:
        """Yield the values of one note or rest, in grains from the start of the bar; all but a note's first are tied."""
        cuts = sorted({start, end, *self._edges(start, end)})
        parts = [event for first, last in pairwise(cuts) for event in self._values(first, last, rest)]
        yield from parts[:1]
        yield from (event._replace(tied=not rest) for event in parts[1:])

    def _edges(self, first: int, last: int) -> Iterator[int]:
        """Where tuplets begin or end between two instants."""
        every = (edge for tuplet in self._tuplets for edge in (tuplet.start, tuplet.end))
        return (edge for edge in every if first < edge < last)

    def _values(self, start: int, end: int, rest: bool) -> Iterator[RhythmEvent]:
        """Yield a length as one value, or as several that show the beats."""
        inside = [tuplet for tuplet in self._tuplets if tuplet.start <= start < tuplet.end]
        factor = prod((tuplet.factor for tuplet in inside), start=Fraction(1))
        origin = max((tuplet.start for tuplet in inside), default=self._start)
        at, left = Fraction(start - origin, self._grain) * factor, Fraction(end - start, self._grain) * factor
        place = Fraction(start)
        for value, base, dots in split_values(self._tuplet if inside else self._bar, at, left, rest):
            length = value / factor * self._grain
            yield RhythmEvent(int(place), int(place + length), base, dots, rest, False)
            place += length


def group_starts(timeline: Timeline, bar: Bar) -> tuple[int, ...]:
    """Return where the meter's groups begin in a bar, in grains from its start; the bar's end is the last."""
    meter, grain, length = timeline.settings.meter, timeline.grain, bar.length
    shift, starts, at = count_shift(timeline, bar), [], 0
    for unit in beat_units(meter):
        starts.append(at * grain // meter.unit - shift)
        at += unit
    return tuple(sorted({0, *(start for start in starts if 0 < start < length), length}))


def beam_runs(
    events: Sequence[RhythmEvent], starts: Sequence[int], tuplets: Sequence[TupletInBar]
) -> Iterator[tuple[int, int]]:
    """Return the first and the last of each run of events that one beam joins, by index. The events follow one another without a gap."""
    outer = [tuplet for tuplet in tuplets if tuplet.depth == 0]
    runs: list[list[int]] = []
    for index, event in enumerate(events):
        if not event.flags or event.rest:
            continue
        if runs and runs[-1][-1] == index - 1 and _one_group(events[index - 1], event, starts, outer):
            runs[-1].append(index)
        else:
            runs.append([index])
    return ((run[0], run[-1]) for run in runs if len(run) > 1)


def _one_group(before: RhythmEvent, after: RhythmEvent, starts: Sequence[int], outer: Sequence[TupletInBar]) -> bool:
    """Whether two neighbours lie in one tuplet, or else in one group of the meter with no tuplet's edge between them."""
    if any(tuplet.start <= before.at and after.at < tuplet.end for tuplet in outer):
        return True
    edges = {edge for tuplet in outer for edge in (tuplet.start, tuplet.end)}
    return after.at not in edges and not any(before.at < start <= after.at for start in starts)


def beam_levels(events: Sequence[RhythmEvent], first: int, last: int) -> Iterator[tuple[int, int, int]]:
    """The lines of a beam: level (1 is the outermost), first and last event; the same event twice for a stub."""
    for level in range(1, max(events[n].flags for n in range(first, last + 1)) + 1):
        run: int | None = None
        for n in range(first, last + 2):
            inside = n <= last and events[n].flags >= level
            if inside and run is None:
                run = n
            elif not inside and run is not None:
                yield level, run, n - 1
                run = None
