"""How a length is written where it stands in its bar: as one value, or as several that are tied so that the eye finds the beat.

In: where a length begins, how long it is, and the meter. Out: written values in order. Knows no notes and draws nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

from lickwright.music.rhythm import Meter

SHORTEST = Fraction(1, 128)  # the shortest value that is written
_DOTS = ((Fraction(1), 0), (Fraction(3, 2), 1), (Fraction(7, 4), 2))


class WrittenValue(NamedTuple):
    """One sign."""

    value: Fraction  # with its dots, of a whole note
    base: Fraction  # without them
    dots: int


def beat_units(meter: Meter) -> tuple[int, ...]:
    """Return the groups of a bar, in units of the meter: what a beam joins, and within which values are written freely.

    A group is a beat of a simple meter, three units of a compound one, or what the meter line says. Meters of eighths or shorter that name no
    groups go in pairs, and a bar of three units as a whole.
    """
    if meter.unit < 8 or set(meter.groups) != {1}:
        return meter.groups
    return (meter.beats,) if meter.beats <= 3 else tuple(min(2, meter.beats - n) for n in range(0, meter.beats, 2))


class BeatGrid(NamedTuple):
    """Where the beats of a bar lie, in whole notes; every bar's length they come again."""

    beats: tuple[Fraction, ...]
    strong: frozenset[Fraction]  # the bar's start and its middle, or where the groups of the meter line begin
    length: Fraction
    beat: Fraction | None  # of a simple meter; None where beats divide by three or differ
    grouped: bool  # the meter line says how beats group

    def inside(self, start: Fraction, end: Fraction) -> Iterator[Fraction]:
        """Yield the beats between two instants."""
        bar = start // self.length * self.length
        while bar < end:
            yield from (bar + beat for beat in self.beats if start < bar + beat < end)
            bar += self.length

    def is_beat(self, at: Fraction) -> bool:
        """Return True if a beat begins at an instant."""
        return at % self.length in self.beats

    def is_strong(self, at: Fraction) -> bool:
        """Return True if an instant parts a bar, or begins one."""
        return at % self.length in self.strong


@lru_cache(maxsize=64)
def beat_grid(meter: Meter) -> BeatGrid:
    """Return the beats of a meter."""
    unit = Fraction(1, meter.unit)
    simple = meter.unit < 8
    units = (1,) * meter.beats if simple else beat_units(meter)
    beats = tuple(n * unit for n in accumulate(units[:-1], initial=0))
    grouped = simple and set(meter.groups) != {1}
    strong = {Fraction(0)}
    if grouped:
        strong.update(n * unit for n in accumulate(meter.groups[:-1]))
    elif len(units) > 2 and len(units) % 2 == 0 and len(set(units)) == 1:
        strong.add(meter.length / 2)
    return BeatGrid(beats, frozenset(strong), meter.length, unit if simple else None, grouped)


@lru_cache(maxsize=4)
def tuplet_grid(beat: Fraction) -> BeatGrid:
    """Return the beats within a tuplet, as written: they come at every `beat` from its start."""
    return BeatGrid((Fraction(0),), frozenset(), beat, beat, True)


def split_values(grid: BeatGrid, at: Fraction, length: Fraction, rest: bool) -> list[WrittenValue]:
    """Return a length that begins at `at` as written values; a rest shorter than `SHORTEST` is left out."""
    found: list[WrittenValue] = []
    end = at + length
    while at < end:
        value = _rest(grid, at, end - at) if rest else _note(grid, at, end - at)
        if value is None:
            break
        found.append(value)
        at += value.value
    return found


def _note(grid: BeatGrid, at: Fraction, left: Fraction) -> WrittenValue | None:
    """Return the next value of a note: all that is left, or up to the beat that has to be seen."""
    one = _single(left)
    if one is not None and _is_clear(grid, at, one):
        return one
    beats = list(grid.inside(at, at + left))
    strong = [beat for beat in beats if grid.is_strong(beat)]
    if not beats:
        return _longest(left)
    cut = strong[0] if strong else beats[-1] if grid.is_beat(at) else beats[0]
    return _note(grid, at, cut - at)


def _is_clear(grid: BeatGrid, at: Fraction, one: WrittenValue) -> bool:
    """Return True if a reader finds the beats under a value that is written as one sign."""
    end = at + one.value
    beats = list(grid.inside(at, end))
    if not beats:
        return True
    on_beats = grid.is_beat(at) and grid.is_beat(end) and one.dots <= 1
    if any(grid.is_strong(beat) for beat in beats):
        middle = not grid.grouped and grid.beat is not None and one.value == 2 * grid.beat  # quarter, half, quarter
        return on_beats and ((at % grid.length == 0 and not grid.grouped) or middle) and end - at <= grid.length
    if grid.beat is None or on_beats:
        return on_beats
    if grid.is_beat(at):
        return one.value == grid.beat * 3 / 2
    return one.value == grid.beat and at % grid.beat == grid.beat / 2  # eighth, quarter, eighth


def _rest(grid: BeatGrid, at: Fraction, left: Fraction) -> WrittenValue | None:
    """Return the next rest: the longest that stands on a multiple of itself and hides no beat that has to be seen."""
    bar = at % grid.length
    begun = bar - max(beat for beat in grid.beats if beat <= bar)  # since the last beat
    base = Fraction(2)
    while base >= SHORTEST:
        dotted = WrittenValue(base * Fraction(3, 2), base, 1)
        plain = WrittenValue(base, base, 0)
        for one in (dotted, plain):
            if one.value <= left and _fits_rest(grid, at, begun, one):
                return one
        base /= 2
    return None


def _fits_rest(grid: BeatGrid, at: Fraction, begun: Fraction, one: WrittenValue) -> bool:
    end = at + one.value
    beats = list(grid.inside(at, end))
    if one.dots and (grid.beat is not None or not (grid.is_beat(at) and grid.is_beat(end))):
        return False
    if not beats:
        return begun % one.base == 0
    whole = at % grid.length == 0 and grid.is_beat(end) and not grid.grouped and end - at <= grid.length
    if any(grid.is_strong(beat) for beat in beats):
        return whole
    return grid.is_beat(end) and at % one.value == 0


def _single(value: Fraction) -> WrittenValue | None:
    """Return a length as one sign; None for one that needs several."""
    for factor, dots in _DOTS:
        base = value / factor
        power = base.numerator if base.denominator == 1 else base.denominator
        if (base.numerator == 1 or base.denominator == 1) and power & (power - 1) == 0 and SHORTEST <= base <= 2:
            return WrittenValue(value, base, dots)
    return None


def _longest(most: Fraction) -> WrittenValue | None:
    """Return the longest sign that is no longer than `most`."""
    base = Fraction(2)
    while base >= SHORTEST:
        for factor, dots in _DOTS[1::-1]:
            if base * factor <= most:
                return WrittenValue(base * factor, base, dots)
        base /= 2
    return None
