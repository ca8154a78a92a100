"""Filters of a string's loop: the read between samples, and the losses.

In: lengths of loops in samples, decay times. Out: taps. The read is a six-tap Lagrange one (Laakso et al. 1996) in a single delay loop (Karjalainen,
Välimäki & Tolonen 1998). The losses are this program's own: a three-tap filter, and for what is muffled another one whose taps are wide apart.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Samples: TypeAlias = NDArray[np.float64]

TAPS = 8  # of the loop: six to read between samples, three for the loss
WIDE = 4  # samples between the taps of the second loss filter: at 48 kHz it takes most at 6 kHz
SHORTEST = 10.0  # samples that a loop has at least
_MEAN = 0.9999  # of a loop's mean, left after a period at most
_TIME = 3000.0  # Hz for which the second decay time is given


def loss_filter_taps(hertz: Samples, low: Samples, high: Samples, rate: float) -> tuple[Samples, Samples, Samples]:
    """Return the taps g0, g1 and `wide` of the loss filters for strings at `hertz` that lose 60 dB in `low` seconds at their fundamental and
    in `high` seconds at 3 kHz (at the octave where that is higher). All arrays have one shape.

    G(f) = g0 + 2 g1 cos ω must be 10^(−3/(f0·T60(f))) at both places: 60 dB in T60, a turn at a time. Where that would favour the
    highest partials (g0 < 2 g1), the steepest that does not is taken, and 1 − 2 w (1 − cos 4ω) beside it for what is missing, as far as it goes.
    """
    w0 = 2 * np.pi * hertz / rate
    w1 = 2 * np.pi * np.minimum(np.maximum(_TIME, 2 * hertz), 0.45 * rate) / rate
    cos0, cos1 = np.cos(w0), np.cos(w1)
    gain0 = 10 ** (-3 / (hertz * low))
    gain1 = np.minimum(gain0, 10 ** (-3 / (hertz * high)))
    g1 = np.minimum((gain0 - gain1) / (2 * (cos0 - cos1)), (_MEAN - gain0) / (2 * (1 - cos0)))  # a mean must die out
    g0 = gain0 - 2 * g1 * cos0
    steep = g0 < 2 * g1
    missing = np.where(steep, gain1 / gain0 * (1 + cos0) / (1 + cos1), 1.0)  # of the gain at the second place
    far0, far1 = 1 - np.cos(WIDE * w0), 1 - np.cos(WIDE * w1)
    wide = np.clip((1 - missing) / np.maximum(2 * (far1 - missing * far0), 1e-9), 0.0, 0.25)
    steepest = gain0 / ((1 + cos0) * (1 - 2 * wide * far0))
    return np.where(steep, steepest, g0), np.where(steep, steepest / 2, g1), wide


def loop_taps(length: Samples, g0: Samples, g1: Samples, wide: Samples | None) -> tuple[NDArray[np.int64], Samples]:
    """Return where the taps of loops of `length` samples begin, shape (...), and the taps, shape (taps, ...), for values of shape (...).

    The read lies in the central interval of its six taps, where it is most exact (fifth order). `wide` is None where nothing is muffled: there
    are `TAPS` taps then, else twice `WIDE` more.
    """
    delay = np.maximum(length, SHORTEST) - 1  # the loss filter holds one sample
    first = np.floor(delay).astype(np.int64) - 2
    read = _lagrange(delay - first)
    outer = read * g1
    taps = np.empty((TAPS, *delay.shape))
    taps[:2] = 0.0
    taps[2:] = outer
    read *= g0
    taps[1:-1] += read
    taps[:-2] += outer
    if wide is None:
        return first, taps
    muffled = np.empty((TAPS + 2 * WIDE, *delay.shape))
    np.multiply(taps, wide, out=muffled[:TAPS])
    muffled[2 * WIDE :] = muffled[:TAPS]
    taps *= 1 - 2 * wide
    muffled[WIDE : WIDE + TAPS] += taps
    return first - WIDE, muffled


def _lagrange(d: Samples) -> Samples:
    """Return six taps, shape (6, ...), that read at `d` (2 to 3) between six samples 0 to 5: fifth order (Laakso et al. 1996)."""
    d1, d2, d3, d4, d5 = d - 1, d - 2, d - 3, d - 4, d - 5
    low, high = d * d1 * d2, d3 * d4 * d5
    taps = np.empty((6, *d.shape))
    for tap, factors, divisor in (
        (0, (d1, d2, high), -120), (1, (d, d2, high), 24), (2, (d, d1, high), -12),
        (3, (low, d4, d5), 12), (4, (low, d3, d5), -24), (5, (low, d3, d4), 120),
    ):  # fmt: skip
        np.multiply(factors[0], factors[1], out=taps[tap])
        taps[tap] *= factors[2]
        taps[tap] /= divisor
    return taps
