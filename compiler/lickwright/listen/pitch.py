"""The pitch of one sounding string, frame by frame.

In: samples. Out: the MIDI pitch of each frame and how clear it is. YIN (de Cheveigné & Kawahara 2002) by batched FFT: the lag at which a window
differs least from itself, read at the highest multiple that fits, which makes high notes as exact as low ones. Pure functions on arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.recording import RATE, Samples

WINDOW = 1_104  # samples, 46 ms
LONGEST_PERIOD = 369  # samples: 65 Hz
SHORTEST_PERIOD = 16  # samples: 1,500 Hz
_SPAN = WINDOW + LONGEST_PERIOD  # samples that a frame reads
_SIZE = 1_536  # of the FFT, at least `_SPAN`
DIP = 0.15  # of the normalized difference below which a period counts
BEFORE = (
    WINDOW + 340
) // 2  # samples from the start of what a frame reads to the instant that it stands for: the middle of both windows


def frame_pitches(wave: Samples, hop: int, count: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return pitch (MIDI) and clarity (0 to 1) of `count` frames.

    Frame i reads from sample `i * hop` of `wave` on and stands for the instant `BEFORE` samples later.
    """
    needed = (count - 1) * hop + _SPAN
    if len(wave) < needed:
        wave = np.concatenate((wave, np.zeros(needed - len(wave), np.float32)))
    frames = np.lib.stride_tricks.sliding_window_view(wave, _SPAN)[::hop][:count]
    power = np.concatenate(([0.0], np.cumsum(wave.astype(np.float64) ** 2)))
    lasting = (power[WINDOW:] - power[:-WINDOW]).astype(np.float32)  # of the window that begins at each sample
    powers = np.lib.stride_tricks.sliding_window_view(lasting, LONGEST_PERIOD + 1)[::hop][:count]
    difference = _normalized_difference(frames, powers)
    lags = _first_dips(difference)
    period, least = _refined(difference, lags)
    pitch = 69 + 12 * np.log2(RATE / np.maximum(period, 1) / 440)
    return pitch.astype(np.float32), np.clip(1 - least, 0, 1).astype(np.float32)


def _normalized_difference(frames: NDArray[np.float32], powers: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the cumulative mean normalized difference of each frame, lags 0 to `LONGEST_PERIOD`.

    `powers` are those of the windows at each lag.
    """
    whole = np.fft.rfft(frames, _SIZE, axis=1)
    head = np.fft.rfft(frames[:, :WINDOW], _SIZE, axis=1)
    np.conj(head, out=head)
    head *= whole
    shared = np.fft.irfft(head, _SIZE, axis=1)[:, : LONGEST_PERIOD + 1]
    difference: NDArray[np.float32] = np.maximum(powers[:, :1] + powers - 2 * shared, 0)
    mean = np.cumsum(difference[:, 1:], axis=1) / np.arange(1, LONGEST_PERIOD + 1, dtype=np.float32)
    floor = 1e-6 * powers[:, :1] + np.float32(1e-12)
    difference[:, 1:] = (difference[:, 1:] + floor) / (mean + floor)
    difference[:, 0] = 1
    return difference


def _first_dips(difference: NDArray[np.float32]) -> NDArray[np.intp]:
    """Return the lag of the first dip that is deep enough; else that of the deepest."""
    inner = difference[:, SHORTEST_PERIOD:-1]
    dips = (inner <= difference[:, SHORTEST_PERIOD - 1 : -2]) & (inner < difference[:, SHORTEST_PERIOD + 1 :])
    least = inner.min(axis=1, keepdims=True)
    deep = dips & (inner < np.maximum(DIP, np.minimum(least + 0.08, 0.5)))
    first = np.argmax(deep, axis=1)
    return np.asarray(np.where(deep.any(axis=1), first, np.argmin(inner, axis=1)) + SHORTEST_PERIOD)


def _refined(
    difference: NDArray[np.float32], lags: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Return the period in samples, read at its highest multiple within reach, and the difference at the lag itself."""
    rows = np.arange(len(lags))
    once = _between_lags(difference, lags)
    times = np.maximum(1, (LONGEST_PERIOD - 3) // once).astype(np.intp)
    far = np.round(once * times).astype(np.intp)
    around = np.clip(far[:, None] + np.arange(-2, 3), 1, LONGEST_PERIOD - 1)
    near = difference[rows[:, None], around]
    best = around[rows, np.argmin(near, axis=1)]
    precise = _between_lags(difference, best) / times
    good = (near.min(axis=1) < difference[rows, lags] + 0.2) & (np.abs(precise / once - 1) < 0.03)
    return np.where(good, precise, once), difference[rows, lags]


def _between_lags(difference: NDArray[np.float32], lags: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return where the parabola through a dip and its neighbors is lowest."""
    rows = np.arange(len(lags))
    a, b, c = (difference[rows, np.clip(lags + d, 0, LONGEST_PERIOD)].astype(np.float64) for d in (-1, 0, 1))
    bend = a - 2 * b + c
    step = np.where(np.abs(bend) > 1e-12, (a - c) / (2 * np.where(np.abs(bend) > 1e-12, bend, 1)), 0)
    return np.asarray(lags + np.clip(step, -1, 1))
