"""How late each onset is against the notes around it.

In: when groups should begin, and when they were heard to. Out: for each the seconds that it is late, against a robust line through five onsets on either
side, itself left out: so drift and pauses are no lateness. Pure functions on arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

REACH = 5  # onsets on either side
LEAST = 4  # onsets that a line needs
_PAUSE = 0.30  # seconds that an onset must wait beyond what was expected, and
_PAUSE_SHARE = 0.45  # of what was expected, to count as one after a pause
_OUTLIER = 0.06  # seconds off a line that count at most
_SLOPED = 5  # points from which on a line may have a slope of its own
_STIFF = 0.25  # seconds that a slope costs that is e times as steep as the whole's
_PRIOR = 0.02  # square seconds: how much a slope is held where points are few
_DEVIATION = 1.48  # standard deviations of a normal distribution in its median distance from 0
_FARTHEST = 2.0  # times the error of an onset that a line may be off where it is carried on beyond its points
_STEEP = 1.25  # how much faster or slower a few notes may be than the whole


class OnsetTiming(NamedTuple):
    """What is known of the time of each onset; NaN where nothing is."""

    late: Values  # seconds
    pauses: list[tuple[int, float]]  # onsets before which there is a pause, and its seconds
    pace: Values  # seconds played for each second written, around each onset
    error: Values  # seconds, one standard deviation: how far an onset of this player is from its line by chance


def judge_onsets(written: Values, heard: Values) -> OnsetTiming:
    """Return the lateness of each onset. Both are in seconds, in order; `heard` has NaN where an onset was not heard."""
    late, pace, carried = (np.full(len(written), np.nan) for _ in range(3))
    told = np.flatnonzero(np.isfinite(heard))
    if len(told) < 2:
        return OnsetTiming(late, [], pace, pace)
    whole = overall_pace(written[told], heard[told])
    pauses, pieces = _pieces(written, heard, told, whole)
    for piece in pieces:
        for place, k in enumerate(piece):
            near = [j for j in piece[max(0, place - REACH) : place + REACH + 1] if j != k]
            if len(near) < LEAST - 1:
                pace[k] = whole
                continue
            slope, offset = robust_line(written[near], heard[near], whole)
            pace[k] = slope
            carried[k] = _carried_on(written[near], written[k])
            if carried[k] < _FARTHEST:
                late[k] = heard[k] - (offset + slope * written[k])
    sure = late[np.isfinite(late)]
    spread = _DEVIATION * float(np.median(np.abs(sure))) if len(sure) else 0.0
    return OnsetTiming(late, pauses, pace, spread * np.sqrt(1 + carried**2))


def _carried_on(near: Values, at: float) -> float:
    """Return how much less sure a line through some instants is at another one than a single onset: the standard error of regression."""
    middle = near.mean()
    return float(np.sqrt(1 / len(near) + (at - middle) ** 2 / ((near - middle) ** 2).sum()))


def overall_pace(written: Values, heard: Values) -> float:
    """Return the seconds played for each second written: the median over neighbors, pauses left out by being few."""
    steps = np.diff(written)
    kept = steps > 0.04
    if not kept.any():
        return 1.0
    return float(np.median(np.diff(heard)[kept] / steps[kept]))


def robust_line(x: Values, y: Values, slope: float) -> tuple[float, float]:
    """Return slope and offset of the line near most points, its slope near a given one.

    Of the lines through any two points, and those of the given slope through any one, the one that leaves the least, where no point counts for more than
    `_OUTLIER`; then the best line through those that are near it (RANSAC, Fischler & Bolles 1981, with all pairs tried).
    """
    gaps = x[None, :] - x[:, None]
    one, other = np.nonzero(gaps > (0.08 if len(x) >= _SLOPED else np.inf))
    slopes = np.concatenate(((y[other] - y[one]) / gaps[one, other], np.full(len(x), slope)))
    slopes = np.clip(slopes, slope / _STEEP, slope * _STEEP)
    offsets = np.concatenate((y[one], y)) - slopes * np.concatenate((x[one], x))
    rest = np.minimum(np.abs(y[None, :] - slopes[:, None] * x[None, :] - offsets[:, None]), _OUTLIER).sum(axis=1)
    best = int(np.argmin(rest + _STIFF * np.abs(np.log(slopes / slope))))
    near = np.abs(y - slopes[best] * x - offsets[best]) < _OUTLIER / 2
    if near.sum() < 3 or len(x) < _SLOPED or np.ptp(x[near]) < 0.2:
        return float(slopes[best]), float(offsets[best])
    middle_x, middle_y = x[near].mean(), y[near].mean()
    spread = ((x[near] - middle_x) ** 2).sum() + _PRIOR
    steep = (((x[near] - middle_x) * (y[near] - middle_y)).sum() + _PRIOR * slopes[best]) / spread
    return float(steep), float(middle_y - steep * middle_x)


def _pieces(
    written: Values, heard: Values, told: NDArray[np.intp], pace: float
) -> tuple[list[tuple[int, float]], list[list[int]]]:
    """Return the pauses, and the onsets between them."""
    pauses: list[tuple[int, float]] = []
    pieces: list[list[int]] = [[int(told[0])]]
    for before, k in zip(told, told[1:], strict=False):
        expected = (written[k] - written[before]) * pace
        more = heard[k] - heard[before] - expected
        if more > max(_PAUSE, _PAUSE_SHARE * expected):
            pauses.append((int(k), float(more)))
            pieces.append([])
        pieces[-1].append(int(k))
    return pauses, pieces
