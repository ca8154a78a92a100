"""Loudness of a recording, and its normalization: ITU-R BS.1770-4.

In: two channels of samples. Out: LUFS, dBTP, and the samples brought to a loudness under a ceiling. Peaks above the ceiling are turned
down for a few milliseconds, beginning before them.
"""

from __future__ import annotations

from functools import lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.loop_filters import Samples
from lickwright.synth.wave import FRAME, PIECE, StereoSamples, Wave

TARGET, CEILING = -16.0, -1.0  # LUFS; dBTP
STEP, WINDOW = 0.1, 4  # seconds from block to block; steps in a block
ABSOLUTE, RELATIVE = -70.0, -10.0  # LUFS; LU: quieter blocks are not counted
_SIZE = 57_600  # samples of a transform: 2^8 · 3^2 · 5^2, a twelfth of it memory
_TAPS, _PHASES = 16, 4  # of the interpolator that looks between samples
_REACH = 6  # frames before a peak and after it in which the gain is as low as the peak needs: 8 ms
_TRIES = 16  # at bringing peaks under the ceiling and the rest up again
_QUIET = 0.7  # of the largest sample: below it no true peak can be the largest


@lru_cache(maxsize=4)
def _weighting(rate: int, size: int) -> NDArray[np.complex128]:
    """Return the response of the two filters of the standard (tables 1 and 2, for any rate by their analogue parameters)."""
    z = np.exp(-2j * np.pi * np.fft.rfftfreq(size))
    k = np.tan(np.pi * 1681.974450955533 / rate)
    high, q = 10 ** (3.999843853973347 / 20), 0.7071752369554196
    mid = high**0.4996667741545416
    a0 = 1 + k / q + k * k
    shelf = (high + mid * k / q + k * k) / a0 + 2 * (k * k - high) / a0 * z + (high - mid * k / q + k * k) / a0 * z * z
    shelf /= 1 + 2 * (k * k - 1) / a0 * z + (1 - k / q + k * k) / a0 * z * z
    k, q = np.tan(np.pi * 38.13547087602444 / rate), 0.5003270373238773
    a0 = 1 + k / q + k * k
    high_pass = (1 - 2 * z + z * z) / (1 + 2 * (k * k - 1) / a0 * z + (1 - k / q + k * k) / a0 * z * z)
    weighting: NDArray[np.complex128] = shelf * high_pass
    return weighting


def step_energies(wave: Wave | StereoSamples, rate: int) -> Samples:
    """Return the weighted energy of each step of 100 ms, channels added up, shape (steps,); the last one is filled up with silence."""
    wave = wave if isinstance(wave, Wave) else Wave.of(wave)
    step, memory = int(STEP * rate), int(0.1 * rate)
    per = (_SIZE - memory) // step * step  # samples a transform
    count = wave.count
    total = np.zeros(-(-count // step))
    weighting = _weighting(rate, _SIZE).astype(np.complex64)
    for at in range(0, count, per):
        first = max(0, at - memory)
        block = wave.read(first, at + per)
        if not block.any():
            continue
        heard = np.fft.irfft(np.fft.rfft(block, _SIZE) * weighting, _SIZE)[
            :, at - first : at - first + min(per, count - at)
        ]
        squares = (heard.astype(np.float64) ** 2).sum(axis=0)
        steps = -(-len(squares) // step)
        padded = np.zeros(steps * step)
        padded[: len(squares)] = squares
        total[at // step : at // step + steps] = padded.reshape(steps, step).sum(axis=1) / step
    return total


def integrated_loudness(steps: Samples) -> float:
    """Return the LUFS of a recording from the energies of its steps; −inf for silence."""
    if len(steps) < WINDOW:
        steps = np.concatenate((steps, np.zeros(WINDOW - len(steps))))
    blocks = np.convolve(steps, np.full(WINDOW, 1 / WINDOW), "valid")
    blocks = blocks[blocks > 10 ** ((ABSOLUTE + 0.691) / 10)]
    if not len(blocks):
        return -inf
    blocks = blocks[blocks > blocks.mean() * 10 ** (RELATIVE / 10)]
    return float(-0.691 + 10 * np.log10(blocks.mean()))


def true_peak(wave: Wave | StereoSamples) -> float:
    """Return the largest value at and between the samples (0 for silence), four times oversampled.

    Only places beside the largest samples are interpolated.
    """
    wave = wave if isinstance(wave, Wave) else Wave.of(wave)
    found = top = wave.peak
    before, after = _TAPS // 2 - 1, _TAPS // 2  # taps of the interpolator before a sample, and after it
    for at in range(0, wave.count, PIECE):
        if top == 0.0 or wave.peaks[at // FRAME : (at + PIECE) // FRAME].max() < _QUIET * top:
            continue
        for part in wave.read(at - _TAPS, at + PIECE + _TAPS):
            part = np.pad(part, (_TAPS - min(at, _TAPS), _TAPS))
            size = np.abs(part)
            high = (size[1:-1] >= _QUIET * top) & (size[1:-1] >= size[:-2]) & (size[1:-1] >= size[2:])
            near = np.flatnonzero(high[_TAPS - 1 : 1 - _TAPS])
            if not len(near):
                continue
            windows = np.lib.stride_tricks.sliding_window_view(part, before + 1 + after)
            found = max(found, float(np.abs(windows[near + _TAPS - before] @ _interpolator()).max()))
            found = max(found, float(np.abs(windows[near + _TAPS - after] @ _interpolator()).max()))
    return found


@lru_cache(maxsize=1)
def _interpolator() -> NDArray[np.float32]:
    """Return windowed-sinc taps for the instants between two samples, shape (taps, phases)."""
    at = np.arange(_TAPS)[:, None] - (_TAPS // 2 - 1) - np.arange(1, _PHASES) / _PHASES
    taps = np.sinc(at) * np.cos(np.pi * at / (_TAPS + 1)) ** 2
    even: NDArray[np.float32] = (taps / taps.sum(axis=0)).astype(np.float32)
    return even


def normalize_loudness(wave: Wave, rate: int, target: float = TARGET, ceiling: float = CEILING) -> None:
    """Bring `wave` to `target` LUFS under `ceiling` dBTP. Silence stays silence.

    Loudness lost to the ceiling is made up for, as far as the ceiling allows. Raises OSError where the wave's file does.
    """
    if wave.peak == 0.0:
        return
    wave.scale(1 / wave.peak)  # first, so that no block is too quiet to be counted
    loud = integrated_loudness(step_energies(wave, rate))
    limit = 10 ** (ceiling / 20) * 0.98
    wave.scale(10 ** ((target - loud) / 20))
    if wave.peak > limit:
        for _ in range(_TRIES):
            limit_peaks(wave, limit)
            missing = target - integrated_loudness(step_energies(wave, rate))
            if missing < 0.1:
                break
            wave.scale(10 ** (1.25 * missing / 20))
        limit_peaks(wave, limit)
    peak = true_peak(wave)
    if peak > limit / 0.98:
        wave.scale(limit / peak)


def limit_peaks(wave: Wave, limit: float) -> None:
    """Turn peaks above `limit` down: the gain falls before a peak and rises after it, over some milliseconds. Raises OSError where the file does."""
    if not limit / max(wave.peak, 1e-9) < 1.0:
        return
    peaks = wave.peaks.copy()  # they change with the pieces

    def turned_down(start: int, part: StereoSamples) -> StereoSamples:
        stop = start + part.shape[1]
        first, last = max(0, start // FRAME - 1), min(len(peaks), -(-stop // FRAME) + 1)
        middles = (np.arange(first, last) + 0.5) * FRAME
        gain = np.interp(np.arange(start, stop), middles, _gains(peaks, limit, first, last))
        held: StereoSamples = part * gain.astype(np.float32)
        return held

    wave.change(turned_down)


def _gains(peaks: NDArray[np.float32], limit: float, first: int, last: int) -> Samples:
    """Return the gains of frames `first` to `last` at their middles, so that no sample lies above `limit`."""
    smooth = _REACH - 1  # frames before and after over which the gain is smoothed
    begin, end = max(0, first - smooth), min(len(peaks), last + smooth)
    from_, to = max(0, begin - _REACH), min(len(peaks), end + _REACH)
    need = np.minimum(1.0, limit / np.maximum(peaks[from_:to].astype(np.float64), 1e-9))
    low = np.pad(need, (_REACH - (begin - from_), _REACH - (to - end)), mode="edge")
    low = np.lib.stride_tricks.sliding_window_view(low, 2 * _REACH + 1).min(axis=1)
    low = np.pad(low, (smooth - (first - begin), smooth - (end - last)), mode="edge")
    window = np.hanning(2 * _REACH + 1)[1:-1]
    gains: Samples = np.convolve(low, window / window.sum(), "valid")
    return gains
