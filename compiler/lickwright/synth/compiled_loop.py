"""The string's loop sample by sample, to be compiled by numba, which this module loads.

In: strings with their past, and the knots of their motion. Out: the samples of `waveguide.DelayLoop`, put in place: the formulas are those of
`waveguide.loop_taps` written out for one sample, and every sum is in the same order, so that both give equal bits where numpy adds in order. Where numba is
not installed the functions are plain Python and a thousand times as slow: `loop_choice.py` says which loop plays.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from math import floor
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.waveguide import SHORTEST, TAPS, WIDE

F = TypeVar("F", bound=Callable[..., object])


def _compiled(function: F) -> F:
    """Return `function` compiled at its first call, and kept in a file for other processes where a folder can be written."""
    try:
        njit: Any = import_module("numba").njit
    except ImportError:  # it comes with the extra `lickwright[fast]`
        return function
    try:
        made: F = njit(cache=True)(function)
    except RuntimeError:  # there is no such folder
        made = njit(function)
    return made


@_compiled
def _values_at(
    sample: int, at: NDArray[np.int64], values: NDArray[np.float64], knot: int, now: NDArray[np.float64]
) -> int:
    """Put the four values at a sample into `now`, straight between two knots; return the last knot that is not later, from `knot` on."""
    last = len(at) - 1
    while knot < last and at[knot + 1] <= sample:
        knot += 1
    for k in range(4):
        now[k] = values[k, knot]
        if at[knot] < sample and knot < last:
            rise = (values[k, knot + 1] - values[k, knot]) / (at[knot + 1] - at[knot])
            now[k] = rise * (sample - at[knot]) + values[k, knot]
    return knot


@_compiled
def _taps_of(now: NDArray[np.float64], read: NDArray[np.float64], taps: NDArray[np.float64]) -> int:
    """Put the taps for the values `now` into `taps`; return the delay of the first one."""
    delay = max(now[0], SHORTEST) - 1
    first = int(floor(delay)) - 2
    d = delay - first
    d1, d2, d3, d4, d5 = d - 1, d - 2, d - 3, d - 4, d - 5
    low, high = d * d1 * d2, d3 * d4 * d5
    read[0], read[1], read[2] = d1 * d2 * high / -120, d * d2 * high / 24, d * d1 * high / -12
    read[3], read[4], read[5] = low * d4 * d5 / 12, low * d3 * d5 / -24, low * d3 * d4 / 120
    taps[:] = 0.0
    for k in range(6):
        outer = read[k] * now[2]
        taps[k] += outer
        taps[k + 1] += read[k] * now[1]
        taps[k + 2] += outer
    return first


@_compiled
def _muffle(wide: float, taps: NDArray[np.float64], muffled: NDArray[np.float64]) -> None:
    """Put `taps` behind the second loss filter into `muffled`."""
    muffled[:] = 0.0
    for k in range(TAPS):
        muffled[k] = muffled[k + 2 * WIDE] = taps[k] * wide
    for k in range(TAPS):
        muffled[k + WIDE] += taps[k] * (1 - 2 * wide)


@_compiled
def swing(
    y: NDArray[np.float64],
    start: int,
    stop: int,
    offset: int,
    at: NDArray[np.int64],
    values: NDArray[np.float64],
    steady: bool,
) -> None:
    """Let one plane swing from place `start` to `stop` of `y`, in place.

    `offset` is the place of sample 0; `at`, shape (knots,), and `values`, shape (4, knots), are a motion's knots and its `values`; `steady`:
    these stay what they are at `start`.
    """
    now, read = np.zeros(4), np.zeros(6)
    taps, muffled = np.zeros(TAPS), np.zeros(TAPS + 2 * WIDE)
    knot = first = 0
    for t in range(start, stop):
        if not steady or t == start:
            knot = _values_at(t - offset, at, values, knot, now)
            first = _taps_of(now, read, taps)
            if now[3] != 0.0:
                first -= WIDE
                _muffle(now[3], taps, muffled)
        heard = 0.0
        if now[3] == 0.0:
            for k in range(TAPS):
                heard += y[t - first - k] * taps[k]
        else:
            for k in range(TAPS + 2 * WIDE):
                heard += y[t - first - k] * muffled[k]
        y[t] += heard
