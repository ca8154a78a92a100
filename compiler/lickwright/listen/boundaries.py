"""Where something may begin: peaks of spectral change, steps of pitch, ends of sound.

In: `Features`. Out: `Boundary`s in order. None of them is a note yet: a bend is cut into several stretches, a noise makes boundaries of its own, and what
is no pick is told by `picks.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import FRAME, Features, Values

# Estimates, tuned on recorded strings (tests/bench/listening.py).
_PEAK_REACH = 5  # frames on each side that a peak of change is the highest of
_OVER_MEDIAN = 1.35  # times the change that is usual around it
_MEDIAN_REACH = 40  # frames on each side that "around" means
_SHARE = 0.04  # of a strong peak's change that a peak must have
_STEP = 0.7  # semitones
_STEP_REACH = 5  # frames on each side whose medians are compared
_CLEAR = 0.72  # clarity of frames that tell a pitch
_TOGETHER = 0.030  # seconds within which two boundaries are one
_OVER_NOISE = 7.0  # decibels
_UNDER_LOUD = 42.0  # decibels


class Boundary(NamedTuple):
    """An instant at which something may begin or end."""

    frame: int
    flux: float  # its change against that of a strong peak; 0 for a step or an end
    step: bool  # the pitch steps here
    end: bool  # sound ends here


def sound_gate(features: Features) -> float:
    """Return the level, in decibels, above which there is sound."""
    return max(features.noise + _OVER_NOISE, features.loud - _UNDER_LOUD)


def find_boundaries(features: Features) -> list[Boundary]:
    """Return where something may begin or end, in order."""
    sounding = features.level > sound_gate(features)
    peaks, strong = _flux_peaks(features, sounding)
    steps = _pitch_steps(features, sounding)
    ends = np.flatnonzero(sounding[:-1] & ~sounding[1:]) + 1
    reach = round(_TOGETHER / FRAME)
    found = [Boundary(int(p), float(features.flux[p]) / strong, False, False) for p in peaks]
    for step in steps:
        near = [k for k, b in enumerate(found) if abs(b.frame - step) <= reach + 3]
        if near:
            found[near[0]] = found[near[0]]._replace(step=True)
        else:
            found.append(Boundary(int(step), 0.0, True, False))
    found.sort()
    starts = np.array([b.frame for b in found])
    for end in ends:
        if not len(starts) or np.abs(starts - end).min() > reach:
            found.append(Boundary(int(end), 0.0, False, True))
    return sorted(found)


def _flux_peaks(features: Features, sounding: NDArray[np.bool_]) -> tuple[NDArray[np.intp], float]:
    """Return the frames of peaks of change, and the change of a strong one."""
    flux = features.flux
    highest = _running(flux, _PEAK_REACH, np.max)
    usual = _running(flux[::4], _MEDIAN_REACH // 4, np.median).repeat(4)[: len(flux)]
    if len(usual) < len(flux):
        usual = np.pad(usual, (0, len(flux) - len(usual)), mode="edge")
    soon = np.pad(sounding, (0, 4))[4:]  # its sound comes after it
    peaks = np.flatnonzero((flux == highest) & (flux > 0) & (soon | sounding))
    if not len(peaks):
        return peaks, 1.0
    strong = float(np.percentile(np.sort(flux[peaks])[-max(8, len(peaks) // 4) :], 60)) or 1.0
    kept = peaks[(flux[peaks] > _OVER_MEDIAN * usual[peaks]) & (flux[peaks] > _SHARE * strong)]
    return kept, strong


def _running(values: Values, reach: int, what: Callable[..., NDArray[np.float32]]) -> Values:
    """Return a statistic of each value and `reach` of its neighbors on each side."""
    padded = np.pad(values, reach, mode="symmetric")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(what(windows, axis=1), np.float32)


def _pitch_steps(features: Features, sounding: NDArray[np.bool_]) -> list[int]:
    """Return the frames at which the pitch of clear frames steps."""
    clear = (features.clarity > _CLEAR) & sounding
    padded = np.where(clear, features.pitch, np.nan)
    reach = _STEP_REACH
    if len(padded) < 2 * reach + 4:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(padded, reach)
    told = np.isfinite(windows).sum(axis=1) >= 3
    with np.errstate(all="ignore"):
        medians = np.where(told, _nan_median(windows), np.nan)
    gap = 2  # frames between: the window of the pitch lies across the step
    step = np.abs(medians[reach + gap :] - medians[: -reach - gap])
    step = np.nan_to_num(step)
    peaks = np.flatnonzero((step > _STEP) & (step >= _running(step.astype(np.float32), 4, np.max) - 1e-6))
    frames: list[int] = []
    for peak in peaks:
        at = int(peak) + reach + gap // 2
        if not frames or at - frames[-1] > 5:
            frames.append(at)
    return frames


def _nan_median(windows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the median of each row's numbers; of an even count the lower one. A row without numbers gives NaN."""
    ordered = np.sort(windows, axis=1)  # NaN comes last
    count = np.isfinite(ordered).sum(axis=1)
    return np.asarray(ordered[np.arange(len(ordered)), np.maximum(0, (count - 1) // 2)], np.float32)
