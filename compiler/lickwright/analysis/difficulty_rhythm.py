"""Rhythmic difficulty: how fast the notes of a lick come, and how far off the beat they fall.

In: a Timeline, or instants. Out: numbers. What they are worth is `difficulty.py`'s. Every figure of speed grows in
proportion to the tempo, so that no lick becomes easier when only its tempo rises.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import accumulate
from math import gcd
from operator import sub
from typing import NamedTuple

from lickwright.timeline.model import Timeline

_KEPT_UP = 8  # intervals in a row from which a speed counts in full; an estimate
_NONE = -9  # weaker than any place
_BURST = 0.45  # exponent (estimate): how much less a shorter burst counts; 4 intervals count 0.73, 1 counts 0.39


class Pace(NamedTuple):
    """The hardest stretch of a lick."""

    weighted: float  # things a second, less where the stretch is short
    rate: float  # things a second in that stretch
    things: int  # in it


def hardest_pace(instants: Sequence[float], worth: Sequence[int]) -> Pace:
    """Return the stretch of up to eight intervals in which the most comes a second, short ones counting less.

    `instants` are seconds, ascending; `worth` says what each interval from one to the next counts, 1 for every note and no more than that.
    The longest stretches are looked at first, since most licks have their most in those.
    """
    best, least = (0.0, 0.0, 0), 0.0  # a stretch counts that has clearly more than this a second
    sums = list(accumulate(worth, initial=0))
    shortest = min(map(sub, instants[1:], instants), default=0.0)
    for length in range(min(_KEPT_UP, len(instants) - 1), 0, -1):
        share = (length / _KEPT_UP) ** _BURST
        if share < least * shortest:  # what is as short as the shortest interval throughout does not come to more
            break
        lengths, counts = map(sub, instants[length:], instants), map(sub, sums[length:], sums)
        for seconds, count in zip(lengths, counts, strict=False):
            if count * share > least * seconds and seconds > 1e-9:
                best = (count * share / seconds, count / seconds, count)
                least = best[0] * (1 + 1e-9)
    return Pace(*best)


def syncopation(timeline: Timeline) -> float:
    """Return how far off the beat the notes fall: 0 where each stronger place has its own note, about 1 where most do not.

    A note is syncopated when a place of the meter stronger than its own goes by before the next note (Longuet-Higgins
    and Lee, "The rhythmic interpretation of monophonic music", Music Perception 1(4), 1984). It counts by how much
    stronger that place is, 2 at the most; the result is the sum over the notes, divided by their number.
    """
    begins = [turn.start for turn in timeline.passes]
    onsets = sorted({sound.start for sound in timeline.sounds})
    meter = timeline.settings.meter
    scale, beat = meter.beat.denominator, meter.beat.numerator * timeline.grain  # so that all places are whole numbers
    length = beat * int(meter.length / meter.beat)
    total, n = 0, 0
    for onset, following in zip(onsets, onsets[1:], strict=False):
        while n + 1 < len(begins) and begins[n + 1] <= onset:
            n += 1
        bar = timeline.bars[timeline.passes[n].bar]
        begin = begins[n] * scale - (length - bar.nominal * scale if bar.number == 0 else 0)
        at = onset * scale - begin
        total += _off_beat(at, following * scale - begin, beat, length)
    return total / len(onsets) if onsets else 0.0


@lru_cache(maxsize=4096)  # it depends on the rhythm alone, and most bars repeat one
def _off_beat(at: int, before: int, beat: int, bar: int) -> int:
    """Return by how much a place is stronger, 2 at the most, that goes by between a note at `at` and the next; all from the start of a bar."""
    own = _weight(at, beat)
    return min(2, max(0, _strongest(at, before, beat, bar) - own)) if own < 0 else 0


def _weight(at: int, beat: int) -> int:
    """Return 0 on the first beat of a bar, -1 on the others, -2 on halves and thirds of a beat, -3 on quarters and sixths."""
    if not at:
        return 0
    weight, rest = -1, beat // gcd(at, beat)
    for prime in (2, 3, 5, 7):
        while rest % prime == 0:
            rest //= prime
            weight -= 1
    return weight - (rest > 1)


def _strongest(after: int, before: int, beat: int, bar: int) -> int:
    """Return the weight of the strongest place between two notes, both excluded; all counted from the start of a bar."""
    if before > bar:
        return 0
    if (after // beat + 1) * beat < before:
        return -1
    return -2 if (after * 2 // beat + 1) * beat < before * 2 else _NONE
