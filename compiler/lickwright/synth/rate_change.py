"""Filters between two sampling rates, as one product of matrices.

In: samples, and a matrix that says what some of them give. Out: what all of them give. Many outputs share one pass over the samples, so that this takes a
fraction of the time of a convolution for each phase.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

_PART = 1 << 14  # numbers that are multiplied together: few enough for the processor's nearest memory
Real = TypeVar("Real", np.float32, np.float64)


def filter_rows(wave: NDArray[Real], step: int, matrix: NDArray[Real], rows: int) -> NDArray[Real]:
    """Return `rows` rows of `wave` times `matrix`, one after the other.

    Each row begins `step` samples after the one before, and is as long as `matrix` is high, which is some steps. `wave` goes on with zeros.
    """
    reach = len(matrix) // step  # steps
    steps = np.zeros((rows + reach - 1, step), wave.dtype)
    count = min(steps.size, len(wave))
    steps.reshape(-1)[:count] = wave[:count]
    out = np.empty((rows, matrix.shape[1]), wave.dtype)
    part = max(1, _PART // len(matrix))
    for first in range(0, rows, part):
        last = min(first + part, rows)
        windows = np.concatenate([steps[first + n : last + n] for n in range(reach)], axis=1)
        np.matmul(windows, matrix, out=out[first:last])
    return out.reshape(-1)
