"""How late each onset is against the notes around it.

In: when groups should begin, when they were heard to, and how exactly. Out: for each the seconds that it is late against the player's own tempo curve, itself
left out: so drift, pauses and late neighbors are no lateness. Pure functions on arrays.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from lickwright.listen.tempo_curve import TempoCurve, Values, fit_tempo_curve

LEAST = 4  # onsets that a tempo needs
_OTHERS, _OTHERS_OF_ONE = (
    3,
    2,
)  # onsets in time between two jumps by which others there are told to be late; a single one
PAUSE = 0.30  # seconds from which on a jump of time is a pause, or one back is time left out
SURE = 2.25  # standard deviations from which on an onset that is off by `deviations.LATE` is late rather than loose: one in forty by chance
_AT_ONCE, _OVERLAP = (
    160,
    16,
)  # onsets that are fitted together, and how many of them on either side are fitted with the next ones too


class OnsetTiming(NamedTuple):
    """What is known of the time of each onset; NaN where nothing is."""

    late: Values  # seconds
    pauses: list[
        tuple[int, float]
    ]  # onsets before which there is a pause, and its seconds; where time was left out they are below 0
    pace: Values  # seconds played for each second written, around each onset
    error: Values  # seconds, one standard deviation: how far an onset of this player is from where it is expected by chance
    slows: int | None = None  # the onset from which on the pace falls to the end


def judge_onsets(written: Values, heard: Values, blur: Values | float = 0.0) -> OnsetTiming:
    """Return the lateness of each onset.

    Times are in seconds, in order; `heard` has NaN where an onset was not heard. `blur` is the standard deviation of the ear's own error, in seconds.
    """
    late, pace, error = (np.full(len(written), np.nan) for _ in range(3))
    pauses: list[tuple[int, float]] = []
    told = np.flatnonzero(np.isfinite(heard))
    if len(told) < LEAST:
        return OnsetTiming(late, pauses, pace, error)
    whole = overall_pace(written[told], heard[told])
    blurs = np.broadcast_to(blur, len(written))[told]
    for part, kept in _parts(len(told)):
        here = told[part]
        curve = fit_tempo_curve(written[here] * whole, heard[here], blurs[part], may_slow=part.stop == len(told))
        pace[here[kept]] = whole * curve.pace[kept]
        late[here[kept]], error[here[kept]] = (values[kept] for values in _lateness(curve))
        jumps = ((k, seconds) for k, (seconds, _) in sorted(curve.jumps.items()) if kept.start <= k < kept.stop)
        pauses += [(int(here[k]), seconds) for k, seconds in jumps if abs(seconds) >= PAUSE]
    slows = None if curve.slows is None else int(here[curve.slows])
    return OnsetTiming(late, pauses, pace, error, slows)


def _parts(count: int) -> Iterator[tuple[slice, slice]]:
    """Yield the parts of so many onsets that are fitted together, and what is kept of each."""
    first = 0
    while first < count:
        low = max(0, min(first - _OVERLAP, count - _AT_ONCE))
        last = count if low + _AT_ONCE >= count else low + _AT_ONCE - _OVERLAP
        yield slice(low, min(count, low + _AT_ONCE)), slice(first - low, last - low)
        first = last


def _lateness(curve: TempoCurve) -> tuple[Values, Values]:
    """Return the lateness of each onset and its error.

    A short jump of time makes the onset late that it comes before. After a pause, time begins with the first onset: how late that is cannot be told.
    """
    late, error = curve.off.copy(), curve.error.copy()
    ends = [0, *sorted(curve.jumps), len(late)]
    for first, last in zip(ends, ends[1:], strict=False):
        in_time = ~curve.out[first:last]
        others = in_time.sum() - in_time
        few = _OTHERS_OF_ONE if in_time.sum() == last - first - 1 else _OTHERS
        late[first:last][others < few] = np.nan
    for k, (seconds, sure) in curve.jumps.items():
        if abs(seconds) >= PAUSE:
            late[k] = np.nan
        else:
            late[k], error[k] = late[k] + seconds, np.hypot(error[k], sure)
    return late, error


def overall_pace(written: Values, heard: Values) -> float:
    """Return the seconds played for each second written: the median over neighbors, pauses left out by being few."""
    steps = np.diff(written)
    kept = steps > 0.04
    if not kept.any():
        return 1.0
    return float(np.median(np.diff(heard)[kept] / steps[kept]))
