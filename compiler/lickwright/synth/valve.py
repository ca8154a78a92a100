"""Valve of an amplifier: a tanh with a small bias, at several times the sampling rate.

In: samples, piece by piece. Out: as many, `LAG` samples late. Harmonics that the valve makes above half its own rate would come back as wrong tones. Those
of tanh near that rate have fallen by exp(−π²/s), s being the steepest rise of its input from sample to sample; so each part of a piece is
oversampled until that is 85 dB. Both changes of the rate are windowed sinc filters.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, log2

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.rate_change import filter_rows

Wave32 = NDArray[np.float32]

LAG = 64  # samples that come out later than they went in
OVERSAMPLED, MOST, STEEPEST = 2, 64, 1.0  # times at least and at most; rise of the valve's input from sample to sample
_TAPS = 32  # samples that a change of the rate reads
_HALF = _TAPS // 2
_ROW = 16  # samples that one row of a product gives
_REACH = _TAPS // _ROW  # rows by which more go into such a product than come out
_PART = 2048  # samples that are oversampled equally
_BETA, _CUT = 9.0, 0.92  # of the filters: shape of the window (Kaiser), edge as a share of half the rate
_STEEPER = 1.25  # by which a wave can rise more steeply between samples than from one to the next


class Valve:
    """One valve. Ask for its samples in order; pieces are whole rows but for the last."""

    def __init__(self, gain: float, bias: float) -> None:
        self._gain, self._bias = np.float32(gain), np.float32(bias)
        self._past: Wave32 = np.zeros(LAG + _TAPS, np.float32)  # what goes in before the next samples

    def driven(self, wave: Wave32) -> Wave32:
        """Return the next samples, `wave` being what goes in."""
        known = np.concatenate((self._past, wave * self._gain))
        self._past = known[len(wave) :]
        out = np.empty(-(-len(wave) // _ROW) * _ROW, np.float32)
        known = np.pad(known, (0, len(out) - len(wave)))
        for start in range(0, len(out), _PART):
            part = known[start : min(start + _PART, len(out)) + 2 * _TAPS]
            out[start : start + _PART] = self._part(part)
        return out[: len(wave)]

    def _part(self, wave: Wave32) -> Wave32:
        """Return the samples that `wave` gives, but for the first and the last `_TAPS`."""
        steepest = _STEEPER * float(np.abs(np.diff(wave)).max()) / STEEPEST
        over = min(MOST, max(OVERSAMPLED, 1 << ceil(log2(max(steepest, 1.0)))))
        up, down = _rate_changes(over)
        rows = len(wave) // _ROW - 2 * _REACH
        fine = filter_rows(wave, _ROW, up, rows + _REACH)
        fine += self._bias
        np.tanh(fine, out=fine)
        return filter_rows(fine, _ROW * over, down, rows)


@lru_cache(maxsize=8)
def _rate_changes(over: int) -> tuple[Wave32, Wave32]:
    """Return the matrices that take `_ROW` samples, and `_TAPS` around them, to an `over` times higher rate and back."""
    low, high = np.arange(_ROW + _TAPS) - _HALF, np.arange(_ROW * over) / over
    up = _sinc(high - low[:, None])
    up /= up.sum(axis=0)
    fine, row = np.arange((_ROW + _TAPS) * over) / over - _HALF, np.arange(_ROW)
    down = _sinc(fine[:, None] - row)
    down /= down.sum(axis=0)
    return up.astype(np.float32), down.astype(np.float32)


def _sinc(time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a windowed sinc at `time` (samples)."""
    window = np.i0(_BETA * np.sqrt(np.clip(1 - (time / _HALF) ** 2, 0.0, 1.0))) / np.i0(_BETA)
    taps: NDArray[np.float64] = np.where(np.abs(time) < _HALF, np.sinc(_CUT * time) * window, 0.0)
    return taps
