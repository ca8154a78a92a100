"""Measures by which a recorded guitar and a computed one differ, of one plucked note each; the same for both.

In: a mono signal that begins with the stroke, its rate, its pitch. Out: numbers. numpy only; knows nothing of the synthesis.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Wave = NDArray[np.float64]

HIGHEST = 5000.0  # hertz up to which partials are looked for
BAND = (2500.0, 6000.0)  # hertz of the envelope whose swing is measured
SWING_PERIODS = 5
MEL_BANDS, MEL_LOW, MEL_HIGH = 40, 60.0, 8000.0  # of the log-mel distance


def from_stroke(wave: Wave, rate: int) -> Wave:
    """Return `wave` from its stroke on: the 5 ms before the largest rise of the level from 50 ms to the next, where it is loud."""
    step, reach = int(0.002 * rate), 25
    power = (wave[: len(wave) // step * step].reshape(-1, step) ** 2).mean(axis=1)
    power = np.concatenate((np.full(reach, power.min()), power, np.zeros(reach))) + 1e-9 * power.max()
    sums = np.concatenate(((0.0,), np.cumsum(power)))
    before, after = sums[reach:-reach] - sums[: -2 * reach], sums[2 * reach :] - sums[reach:-reach]
    rises = np.where(after > 0.1 * after.max(), after / before, 0.0)
    return wave[max(0, (int(rises.argmax()) - 2) * step - int(0.005 * rate)) :]


def inharmonicity(wave: Wave, rate: int, near: float) -> tuple[float, float]:
    """Return B and f0 of the partials n f0 √(1 + B n²) between 0.2 s and 1.2 s, `near` the pitch in hertz (Fletcher 1964).

    Each partial is looked for where those before it lead to expect it; B is the slope of (f/n)² over n², the median over all pairs of partials.
    """
    part = wave[int(0.2 * rate) : int(1.2 * rate)]
    size = 8 * (1 << len(part).bit_length())
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), size))
    floor = spectrum.max() * 10 ** (-70 / 20)
    numbers, found = [], []
    base, stiff, n = near, 0.0, 1
    while n * base * (1 + stiff * n * n) ** 0.5 < HIGHEST and n < 60:
        want = n * base * (1 + stiff * n * n) ** 0.5
        reach = max(4.0, min(0.35 * base, want * 0.012))
        first, last = int((want - reach) * size / rate), int((want + reach) * size / rate)
        k = first + int(spectrum[first:last].argmax())
        if first < k < last - 1 and spectrum[k] > floor:
            a, b, c = np.log(spectrum[k - 1 : k + 2] + 1e-30)
            numbers.append(n)
            found.append((k + 0.5 * (a - c) / (a - 2 * b + c)) * rate / size)
        if len(numbers) >= 4:
            base, stiff = _stiff_fit(np.array(numbers, float), np.array(found))
        n += 1
    base, stiff = _stiff_fit(np.array(numbers, float), np.array(found))
    return stiff, base


def _stiff_fit(numbers: Wave, found: Wave) -> tuple[float, float]:
    """Return f0 and B of partials: medians of the slopes and of the intercepts (Theil 1950), so that a wrong partial does no harm."""
    x, y = numbers**2, (found / numbers) ** 2
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / (x[j] - x[i])))
    square = float(np.median(y - slope * x))
    return square**0.5, max(-1e-4, slope / square)


def band(wave: Wave, rate: int, low: float, high: float) -> NDArray[np.complex128]:
    """Return the analytic signal of what lies between two frequencies."""
    spectrum = np.fft.fft(wave)
    lines = np.fft.fftfreq(len(wave), 1 / rate)
    edge = 0.05 * low
    spectrum *= 2 * np.clip((lines - low) / edge + 0.5, 0, 1) * np.clip((high - lines) / edge + 0.5, 0, 1)
    analytic: NDArray[np.complex128] = np.fft.ifft(spectrum)
    return analytic


def envelope_swing(wave: Wave, rate: int, base: float, at: float = 0.5) -> float:
    """Return the decibels between the largest and the smallest envelope of 2.5 to 6 kHz within a period, the mean of five periods round `at`.

    A pulse train swings far; partials that have come apart in phase, as those of a stiff string do, swing little.
    """
    part = wave[int((at - 0.3) * rate) : int((at + 0.3) * rate)]
    envelope = np.abs(band(part, rate, *BAND))[int(0.2 * rate) : int(0.4 * rate)] ** 2
    period = rate / base
    places = np.arange(SWING_PERIODS)[:, None] * period + np.linspace(0, period, 65)[:-1]
    places += 0.1 * rate - SWING_PERIODS / 2 * period
    mean = np.interp(places, np.arange(len(envelope)), envelope).mean(axis=0)
    return 10 * float(np.log10(mean.max() / mean.min()))


def partial_levels(wave: Wave, rate: int, hertz: float, base: float, start: float, stop: float) -> tuple[Wave, Wave]:
    """Return times and levels (decibels) of one partial, by heterodyne; the window is three periods of `base`, 60 ms at least."""
    part = wave[int(start * rate) : int(stop * rate)]
    size = max(int(0.06 * rate), int(3 * rate / base))
    step = size // 4
    window = np.hanning(size)
    mixed = part * np.exp(-2j * np.pi * hertz / rate * np.arange(len(part)))
    frames = np.lib.stride_tricks.sliding_window_view(mixed, size)[::step]
    levels = 20 * np.log10(np.abs(frames @ window) / window.sum() * 2 + 1e-12)
    return start + (np.arange(len(levels)) * step + size / 2) / rate, levels


def fluctuation(wave: Wave, rate: int, base: float, stiff: float, count: int = 10) -> float:
    """Return the decibels by which the first `count` partials swing round their decay from 0.2 to 2.2 s, the median.

    Of each that is the root mean square round a straight line.
    """
    found = []
    for n in range(1, count + 1):
        times, levels = partial_levels(wave, rate, n * base * (1 + stiff * n * n) ** 0.5, base, 0.2, 2.2)
        if n * base > HIGHEST or levels.max() < -90:
            continue
        line = np.polyval(np.polyfit(times, levels, 1), times)
        found.append(float(np.sqrt(np.mean((levels - line) ** 2))))
    return float(np.median(found))


def rms_level(wave: Wave, rate: int, start: float, stop: float) -> float:
    """Return the level between two seconds in decibels."""
    return 10 * float(np.log10(np.mean(wave[int(start * rate) : int(stop * rate)] ** 2) + 1e-20))


def fall(wave: Wave, rate: int) -> float:
    """Return the decibels by which 1.5 to 2 s are softer than 0.2 to 0.7 s."""
    return rms_level(wave, rate, 0.2, 0.7) - rms_level(wave, rate, 1.5, 2.0)


def decay_slopes(wave: Wave, rate: int, base: float, stiff: float) -> tuple[float, float]:
    """Return the decibels a second by which partials 1 to 3 fall, early (0.1 to 0.8 s) and late (1.5 to 4 s): the means."""
    slopes: tuple[list[float], list[float]] = ([], [])
    for n in (1, 2, 3):
        hertz = n * base * (1 + stiff * n * n) ** 0.5
        for found, (start, stop) in zip(slopes, ((0.1, 0.8), (1.5, 4.0)), strict=True):
            times, levels = partial_levels(wave, rate, hertz, base, start, stop)
            found.append(-float(np.polyfit(times, levels, 1)[0]))
    return float(np.mean(slopes[0])), float(np.mean(slopes[1]))


def rise(wave: Wave, rate: int) -> float:
    """Return the milliseconds in which the envelope rises from 10 to 90 % of its largest value in the first 150 ms: a level over 10 ms."""
    size = int(0.010 * rate)
    padded = np.concatenate((np.zeros(size), wave[: int(0.15 * rate)]))
    window = np.hanning(size)
    envelope = np.sqrt(np.convolve(padded**2, window / window.sum(), "same"))
    top = envelope.max()
    high = int(np.argmax(envelope >= 0.9 * top))
    low = high - int(np.argmax(envelope[high::-1] <= 0.1 * top))
    return 1000 * (high - low) / rate


def third_octaves(wave: Wave, rate: int, centres: Sequence[float]) -> dict[float, float]:
    """Return the decibels of third-octave bands against the whole."""
    power = np.abs(np.fft.rfft(wave * np.hanning(len(wave)))) ** 2
    lines = np.fft.rfftfreq(len(wave), 1 / rate)
    total = power[lines > 30].sum()
    return {
        f: 10 * float(np.log10(power[(lines >= f * 2 ** (-1 / 6)) & (lines < f * 2 ** (1 / 6))].sum() / total + 1e-12))
        for f in centres
    }


def side_to_mid(stereo: Wave) -> float:
    """Return the decibels of the difference of two channels against their sum."""
    left, right = stereo
    return 10 * float(np.log10(np.mean((left - right) ** 2) / np.mean((left + right) ** 2) + 1e-20))


def log_mel(wave: Wave, rate: int, seconds: float = 2.0) -> Wave:
    """Return the decibels of mel bands over time, shape (frames, bands): 40 bands from 60 Hz to 8 kHz, 40 ms frames; the whole at one loudness."""
    size, step = int(0.04 * rate), int(0.02 * rate)
    part = np.zeros(int(seconds * rate))
    part[: len(wave)] = wave[: len(part)]
    part /= np.sqrt(np.mean(part**2)) + 1e-12
    frames = np.lib.stride_tricks.sliding_window_view(part, size)[::step]
    power = np.abs(np.fft.rfft(frames * np.hanning(size), axis=1)) ** 2
    mel = np.linspace(2595 * np.log10(1 + MEL_LOW / 700), 2595 * np.log10(1 + MEL_HIGH / 700), MEL_BANDS + 2)
    edges = 700 * (10 ** (mel / 2595) - 1)
    lines = np.fft.rfftfreq(size, 1 / rate)
    rising = (lines - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - lines) / (edges[2:] - edges[1:-1])[:, None]
    bands = power @ np.maximum(0, np.minimum(rising, falling)).T
    found: Wave = 10 * np.log10(bands + 1e-6 * bands.max())
    return found


def mel_distance(one: Wave, other: Wave) -> float:
    """Return the mean difference of two `log_mel` results in decibels."""
    count = min(len(one), len(other))
    return float(np.abs(one[:count] - other[:count]).mean())
