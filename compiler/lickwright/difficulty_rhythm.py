"""How hard the rhythm of a lick is: how fast its notes come, and how far off the beat they fall.

In: a Timeline, or instants. Out: numbers. What they are worth is `difficulty.py`'s. Every figure of speed grows in
proportion to the tempo, so that no lick becomes easier when only its tempo rises.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from math import floor
from typing import NamedTuple

from lickwright.timeline import Timeline

_KEPT_UP = 8  # intervals on end from which a speed counts in full
_NONE = -9  # weaker than any place
_BURST = 0.45  # exponent: how much less a shorter burst counts; 4 intervals count 0.73, 1 counts 0.39


class Pace(NamedTuple):
    """The hardest stretch of a lick."""

    weighted: float  # things a second, less where the stretch is short
    rate: float  # things a second in that stretch
    things: int  # in it


def pace(instants: Sequence[float], worth: Sequence[int]) -> Pace:
    """The stretch of up to eight intervals in which the most comes a second, short ones counting less.

    `instants` are seconds, ascending; `worth` says what each interval from one to the next counts, 1 for every note.
    """
    best = Pace(0.0, 0.0, 0)
    sums = [0]
    for one in worth:
        sums.append(sums[-1] + one)
    for length in range(1, min(_KEPT_UP, len(instants) - 1) + 1):
        share = (length / _KEPT_UP) ** _BURST
        for start in range(len(instants) - length):
            seconds, count = instants[start + length] - instants[start], sums[start + length] - sums[start]
            if seconds > 1e-9 and count * share / seconds > best.weighted * (1 + 1e-9):
                best = Pace(count * share / seconds, count / seconds, count)
    return best


def syncopation(timeline: Timeline) -> float:
    """How far off the beat the notes fall: 0 where each stronger place has its own note, about 1 where most do not.

    A note is syncopated when a place of the meter stronger than its own goes by before the next note (Longuet-Higgins
    and Lee, "The rhythmic interpretation of monophonic music", Music Perception 1(4), 1984). It counts by how much
    stronger that place is, 2 at the most; the result is the sum over the notes, divided by their number.
    """
    starts = sorted({(turn.start, turn.bar) for turn in timeline.passes})
    begins = [start for start, _ in starts]
    onsets = sorted({sound.start for sound in timeline.sounds})
    beat = timeline.settings.meter.beat
    unit = Fraction(timeline.grain) * beat
    total = 0
    for onset, following in zip(onsets, onsets[1:], strict=False):
        n = max(0, bisect_right(begins, onset) - 1)
        bar = timeline.bars[starts[n][1]]
        ahead = timeline.settings.meter.length * timeline.grain - bar.nominal if bar.number == 0 else 0
        at = (onset - begins[n] + ahead) / unit
        own = _weight(at)
        passed = _strongest(at, (following - begins[n] + ahead) / unit, timeline.settings.meter.length / beat)
        total += min(2, max(0, passed - own))
    return total / len(onsets) if onsets else 0.0


def _weight(beats: Fraction) -> int:
    """0 on the first beat of a bar, -1 on the others, -2 on halves and thirds of a beat, -3 on quarters and sixths."""
    if not beats:
        return 0
    weight, rest = -1, beats.denominator
    for prime in (2, 3, 5, 7):
        while rest % prime == 0:
            rest //= prime
            weight -= 1
    return weight - (rest > 1)


def _strongest(after: Fraction, before: Fraction, bar: Fraction) -> int:
    """The weight of the strongest place between two notes, both excluded; counted in beats from the start of a bar."""
    if before > bar:
        return 0
    if floor(after) + 1 < before:
        return -1
    return -2 if Fraction(floor(after * 2) + 1, 2) < before else _NONE
