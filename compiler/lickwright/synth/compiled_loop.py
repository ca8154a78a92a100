"""What comes back on a string whose pitch moves, sample by sample, to be compiled by numba, which this module loads.

In: a string with its past, the taps of its loop and of its stiffness. Out: the samples of `waveguide.DelayLoop`, put in place. Where numba is
not installed the function is plain Python and a thousand times as slow: `loop_choice.py` says which loop plays.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

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
def swing(
    y: NDArray[np.float64],
    start: int,
    newest: NDArray[np.int64],
    taps: NDArray[np.float64],
    longest: int,
    before: NDArray[np.float64],
    after: NDArray[np.float64],
    ahead: int,
    fade: float,
    length: float,
) -> None:
    """Let one plane swing from place `start` of `y` on, in place.

    `taps`, shape (taps, n), read from places `newest`, shape (n,), backwards, `longest` places back at most. What they read is `y` behind
    a filter that goes over from `before` to `after` in `length` places from `fade` on; both reach `ahead` places beyond.
    """
    count, oldest = len(newest), start - longest - len(taps) + 1
    turned = np.zeros(longest + len(taps) + count)
    known = oldest
    for t in range(count):
        while known <= newest[t]:
            way = min(1.0, max(0.0, (known - fade) / length))
            heard = 0.0
            for k in range(len(before)):
                heard += y[known + ahead - k] * (before[k] + way * (after[k] - before[k]))
            turned[known - oldest] = heard
            known += 1
        heard = 0.0
        for k in range(len(taps)):
            heard += turned[newest[t] - k - oldest] * taps[k, t]
        y[start + t] += heard
