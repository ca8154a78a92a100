"""A recording as the ear hears it: one channel at `RATE`, without what lies below a guitar.

In: blocks of samples at any rate from 8,000 to 192,000 a second, one channel or several. Out: `Recording`, which gives any stretch of it as floats.
Samples are kept as 16 bits with a scale for each second, so half an hour takes 87 MB. numpy only; files are read in `sound_file.py`.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

RATE = 24_000  # samples a second: partials up to 12 kHz, more than a guitar's strings tell a listener
SLOWEST, FASTEST = 8_000, 192_000  # samples a second that are understood
LONGEST = 1_800  # seconds that are listened to
_MARGIN = 1  # seconds that neighboring blocks of the resampling share on each side: whole ones, so that any rate comes out exact
_BLOCK = 6  # seconds that are resampled together
_LOW = (52.0, 66.0)  # hertz: nothing below the first is kept, everything above the second
_HIGH = 0.94  # share of the band from which on it is faded out, against aliases


class Recording:
    """One channel of samples at `RATE`."""

    def __init__(self, seconds: Iterable[Samples]) -> None:
        """Keep the samples of `seconds`: one second each, the last one shorter or not."""
        stored: list[NDArray[np.int16]] = []
        scales: list[float] = []
        for part in seconds:
            peak = float(np.abs(part).max(initial=0.0))
            scales.append(peak / 32_767)
            stored.append(np.round(part * (32_767 / peak)).astype(np.int16) if peak else np.zeros(len(part), np.int16))
        self._stored = stored
        self._scales = scales
        self.count = sum(map(len, stored))  # samples

    @property
    def seconds(self) -> float:
        """The length in seconds."""
        return self.count / RATE

    def read(self, start: int, stop: int) -> Samples:
        """Return samples `start` to `stop`; before its beginning and after its end there is silence."""
        out = np.zeros(max(0, stop - start), np.float32)
        low, high = max(0, start), min(stop, self.count)
        for second in range(low // RATE, -(-high // RATE)):
            first, last = max(low, second * RATE), min(high, (second + 1) * RATE)
            if first < last:
                part = self._stored[second][first - second * RATE : last - second * RATE]
                out[first - start : last - start] = part * np.float32(self._scales[second])
        return out


def resample_recording(blocks: Iterable[NDArray[np.float32]], rate: int) -> Recording:
    """Return the recording of `blocks`, shape (n, channels), at `rate` samples a second; at most `LONGEST` seconds of it.

    Raises ValueError for a rate that is not understood.
    """
    if not SLOWEST <= rate <= FASTEST:
        raise ValueError(f"{rate} samples a second: from {SLOWEST} to {FASTEST} are understood")
    return Recording(_resampled_seconds(map(_one_channel, blocks), rate))


def _one_channel(block: NDArray[np.float32]) -> Samples:
    """Return the mean of the channels, or the loudest of them where they cancel each other. What is no number is silence."""
    block = np.nan_to_num(np.atleast_2d(block.T).T, nan=0.0, posinf=0.0, neginf=0.0)
    np.clip(block, -1e6, 1e6, out=block)
    mono: Samples = block.mean(axis=1, dtype=np.float32)
    if block.shape[1] > 1 and len(block):
        powers = (block.astype(np.float64) ** 2).mean(axis=0)
        if float((mono.astype(np.float64) ** 2).mean()) < 0.05 * powers.max():
            mono = np.ascontiguousarray(block[:, int(powers.argmax())])
    return mono


def _resampled_seconds(parts: Iterable[Samples], rate: int) -> Iterable[Samples]:
    """Yield the resampled seconds, each the middle of a longer block whose ends are left out."""
    margin = _MARGIN * rate
    waiting: Samples = np.zeros(margin, np.float32)
    done, heard = 0, 0
    for part in parts:
        waiting = np.concatenate((waiting, part))
        heard += len(part)
        while len(waiting) >= _BLOCK * rate + 2 * margin:
            for second in np.split(_resampled(waiting[: _BLOCK * rate + 2 * margin], rate, margin), _BLOCK):
                yield second
                done += 1
                if done == LONGEST:
                    return
            waiting = waiting[_BLOCK * rate :]
    left = heard - done * rate
    whole = np.zeros(_BLOCK * rate + 2 * margin, np.float32)
    whole[: len(waiting)] = waiting
    rest = _resampled(whole, rate, margin)[: -(-left * RATE // rate)]
    for first in range(0, len(rest), RATE):
        if done < LONGEST:
            yield rest[first : first + RATE]
            done += 1


def _resampled(block: Samples, rate: int, margin: int) -> Samples:
    """Return the middle of a block at `RATE`, its band limited; the margins only keep its ends from being heard."""
    fade = np.hanning(margin)[: margin // 2].astype(np.float32)
    shaped = block.copy()
    shaped[: margin // 2] *= fade
    shaped[len(shaped) - margin // 2 :] *= fade[::-1]
    spectrum = np.fft.rfft(shaped)
    count = len(block) * RATE // rate
    kept = np.zeros(count // 2 + 1, np.complex64)
    bins = min(len(spectrum), len(kept))
    kept[:bins] = spectrum[:bins]
    hertz = np.arange(len(kept)) * (RATE / count)
    top = min(rate, RATE) / 2
    rise = np.clip((hertz - _LOW[0]) / (_LOW[1] - _LOW[0]), 0, 1)
    fall = np.clip((top - hertz) / (top - _HIGH * top), 0, 1)
    kept *= (0.5 - 0.5 * np.cos(np.pi * rise)) * (0.5 - 0.5 * np.cos(np.pi * fall))
    wave = np.fft.irfft(kept, count) * (count / len(block))
    first = margin * RATE // rate
    return wave[first : first + _BLOCK * RATE].astype(np.float32)
