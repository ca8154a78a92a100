"""The feel that a player gives to a lick: whether the pairs of short notes are even or swung, and how far.

In: a Timeline, its Performance, and when its notes were heard. Out: a `Feel`. Where the second note of a pair comes is measured as a share of the pair, by
notes near it that swing does not move (the swing ratio of Friberg & Sundström, 2002). What most pairs have alike is a feel and no lateness of single notes.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from lickwright.core.fast_dataclass import replace
from lickwright.music.rhythm import Feel, parse_feel
from lickwright.performance.note_events import Performance
from lickwright.timeline.model import Timeline
from lickwright.timeline.swing import swing_of

_FEWEST = 4  # pairs that tell a feel
_MOST = 0.8  # share of the pairs that are nearer to another feel than to the written one
_EVEN = 0.5  # share of an even pair that its first note takes
_STRAIGHT = 0.555  # share below which pairs are even
_RANGE = 0.42, 0.80  # shares of a feel; outside the notes were taken for others
_OFF_EVEN, _OFF_SWUNG = 0.07, 0.05  # by how much the share must differ from the written one
_OFF_SECONDS = 0.030  # and the seconds that this must be,
_OFF_SPREAD = 3.0  # and how many times the median deviation of the pairs
_REACH = 2  # pairs on either side in which the two notes must be heard by which a pair is measured
_UNITS = Fraction(1, 8), Fraction(1, 16)  # values that are swung


class Onset(NamedTuple):
    """A note or notes that were heard to begin."""

    grain: int  # where it is written, as played
    at: float  # seconds in the recording


class _Pair(NamedTuple):
    """A pair of which the second note was heard."""

    share: float  # of the pair that its first note takes
    seconds: float  # that it lasts


def played_feel(timeline: Timeline, performance: Performance, passes: Sequence[Sequence[Onset]]) -> Feel:
    """Return the feel with which a lick is played; the written one where the pairs do not tell another. The onsets of each pass are in order."""
    written = timeline.settings.feel
    for unit in _swung_units(timeline):
        pairs = [pair for onsets in passes for pair in _heard_pairs(timeline, performance, unit, onsets)]
        share = _share_of(written) if unit == written.unit else _EVEN
        if (played := _other_share(pairs, share)) is not None:
            return parse_feel("straight") if played < _STRAIGHT else _swing(played, unit)
    return written


def with_feel(timeline: Timeline, feel: Feel) -> Timeline:
    """Return a lick that is to be played with a feel; its notes are the same values."""
    return replace(timeline, settings=replace(timeline.settings, feel=feel))


def _share_of(feel: Feel) -> float:
    return feel.ratio[0] / sum(feel.ratio)


def _swing(share: float, unit: Fraction) -> Feel:
    long = round(100 * share)
    return Feel("swing", unit, (long, 100 - long))


def _swung_units(timeline: Timeline) -> Iterator[Fraction]:
    """Yield the values whose pairs may be swung: the written one of a swung lick, else those of which two fit into a beat."""
    feel, meter = timeline.settings.feel, timeline.settings.meter
    if feel.is_swung:
        yield feel.unit
    else:
        yield from (unit for unit in _UNITS if (meter.beat / (2 * unit)).denominator == 1)


def _heard_pairs(
    timeline: Timeline, performance: Performance, unit: Fraction, onsets: Sequence[Onset]
) -> Iterator[_Pair]:
    """Yield the pairs of a value whose second note was heard, and near it two notes that swing does not move."""
    half = unit * timeline.grain
    if half.denominator > 1:  # no note is so short
        return
    swing = swing_of(with_feel(timeline, _swing(2 / 3, unit)))
    middles = {at for at, placed in zip(swing.breaks, swing.placed, strict=True) if placed != at * swing.parts}
    beats = [onset for onset in onsets if onset.grain not in middles]
    for onset in onsets:
        near = _beats_near(beats, onset, 2 * int(half) * _REACH) if onset.grain in middles else None
        if near is not None:
            even, begin, first, last = (
                performance.straight_seconds(g)
                for g in (onset.grain, onset.grain - int(half), near[0].grain, near[1].grain)
            )
            pace = (near[1].at - near[0].at) / (last - first)
            if pace > 0:
                seconds = 2 * pace * (even - begin)
                yield _Pair(_EVEN + (onset.at - near[0].at - pace * (even - first)) / seconds, seconds)


def _beats_near(beats: Sequence[Onset], onset: Onset, reach: int) -> tuple[Onset, Onset] | None:
    """Return the beats on either side of an onset, else the two before it, else the two after it, within so many grains; None where they were not heard."""
    k = bisect_left(beats, onset)
    for first, last in ((k - 1, k), (k - 2, k - 1), (k, k + 1)):
        if first >= 0 and last < len(beats):
            before, after = beats[first], beats[last]
            if onset.grain - reach <= before.grain < after.grain <= onset.grain + reach:
                return before, after
    return None


def _other_share(pairs: Sequence[_Pair], written: float) -> float | None:
    """Return the share that the first notes of the pairs take where it surely is not the written one; else None."""
    if len(pairs) < _FEWEST:
        return None
    shares = np.array([pair.share for pair in pairs])
    played, seconds = float(np.median(shares)), float(np.median([pair.seconds for pair in pairs]))
    off = abs(played - written)
    nearer = np.abs(shares - played) < np.abs(shares - written)
    spread = float(np.median(np.abs(shares - played)))
    least = max(_OFF_EVEN if written == _EVEN else _OFF_SWUNG, _OFF_SECONDS / seconds, _OFF_SPREAD * spread)
    return played if off >= least and nearer.mean() >= _MOST and _RANGE[0] < played < _RANGE[1] else None
