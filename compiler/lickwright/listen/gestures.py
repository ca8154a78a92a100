"""Bends, releases and vibrato, as the pitch of a note goes.

In: the pitch of a note over time. Out: how high a bend goes, when it gets there, where a release ends, how wide a vibrato is. Pure functions on arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import FRAME

Values = NDArray[np.float64]

_MEAN, _MEAN_WOBBLING = 0.050, 0.180  # seconds over which the height of a bend is the mean: a wobble's whole turn
_SETTLED = 0.15  # seconds after its highest pitch in which a bend may settle at another one
_SLOW = 0.50  # seconds of the window whose mean is the pitch without its vibrato
_MIDDLE_SHARE = (
    0.5  # of its time in which a bend goes the middle 60 % of its way: a raised cosine takes 0.41, a straight line 0.6
)
_JUMP, _RUN = 0.5, 0.040  # semitones from one clear frame to the next that no finger makes; seconds
_LEAST = 0.22  # seconds of pitch that a vibrato is told from


def smoothed(pitches: Values, seconds: float) -> Values:
    """Return the running mean over so many seconds of a curve without gaps; it is shorter by as much."""
    size = max(1, round(seconds / FRAME))
    if len(pitches) < size:
        return np.array([pitches.mean()]) if len(pitches) else pitches
    return np.convolve(pitches, np.ones(size) / size, "valid")


def filled(pitches: Values, clear: NDArray[np.bool_]) -> Values:
    """Return a curve with its unclear frames bridged by straight lines; no frames if none is clear."""
    told = np.flatnonzero(clear)
    if not len(told):
        return np.zeros(0)
    return np.interp(np.arange(len(pitches)), told, pitches[told])


def unbroken(pitches: Values, clear: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which clear frames of a curve are a string's: those in runs without a jump that last 40 ms and more.

    A finger takes a string from pitch to pitch; what jumps there and back is another sound.
    """
    kept, told = np.zeros(len(clear), np.bool_), np.flatnonzero(clear)
    for run in np.split(told, np.flatnonzero(np.abs(np.diff(pitches[told])) > _JUMP) + 1):
        if len(run) * FRAME >= _RUN:
            kept[run] = True
    return kept


def bend_height(pitches: Values, wobbles: bool) -> float:
    """Return the highest mean pitch over 50 ms of a curve, over 180 ms of one that has a vibrato; NaN of no curve."""
    mean = smoothed(pitches, _MEAN_WOBBLING if wobbles else _MEAN)
    return float(mean.max()) if len(mean) else float("nan")


def settled_pitch(pitches: Values) -> float | None:
    """Return the pitch of a curve in the middle of the second half of what comes after its highest 50 ms; None where that is too short to tell."""
    mean = smoothed(pitches, _MEAN)
    after = pitches[int(mean.argmax()) + round(_MEAN / FRAME) :] if len(mean) else pitches[:0]
    return float(np.median(after[len(after) // 2 :])) if len(after) * FRAME >= _SETTLED else None


def crossing(pitches: Values, level: float, upwards: bool) -> float:
    """Return after how many seconds a curve first crosses a pitch for good (50 ms); NaN if it never does."""
    beyond = pitches >= level if upwards else pitches <= level
    need = round(0.05 / FRAME)
    run = np.convolve(beyond, np.ones(need), "valid") >= need - 0.5
    return float(np.argmax(run)) * FRAME if run.any() else float("nan")


def move_time(pitches: Values, start: float, stop: float) -> float:
    """Return how many seconds a curve takes from one pitch to another, by the middle of its way; NaN if it does not come near both."""
    part = 0.2 * (stop - start)
    first, last = (crossing(pitches, level, stop > start) for level in (start + part, stop - part))
    return (last - first) / _MIDDLE_SHARE


def wobble_width(pitches: Values) -> float:
    """Return the width of a vibrato in semitones, lowest to highest pitch of its turns; NaN of a curve too short to tell.

    What the pitch does besides, more slowly, is taken off first.
    """
    if len(pitches) * FRAME < _LEAST:
        return float("nan")
    size = 2 * round(_SLOW / FRAME / 2)
    padded = np.pad(pitches, size // 2, mode="reflect" if len(pitches) > size // 2 else "edge")
    slow = np.convolve(padded, np.hanning(size + 2)[1:-1] / np.hanning(size + 2).sum(), "valid")[: len(pitches)]
    quick = pitches - slow
    quick = smoothed(quick, 0.02)
    low, high = np.percentile(quick, (8, 92))
    return float(high - low)
