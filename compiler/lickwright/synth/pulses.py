"""Pulses that set a string going: picks, fingers, hammers and noise.

In: widths in seconds, periods in samples. Out: velocities over time, in samples. Deterministic: the noise is a function of its place and a seed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lickwright.synth.loop_filters import Samples

NOISE, NOISE_DECAY = 0.006, 0.0012  # seconds that a pick's noise lasts, and in which it falls to 1/e


def white_noise(count: int, seed: int, start: int = 0) -> Samples:
    """Return white noise between −1 and 1 from place `start` on: a hashed counter (the finalizer of MurmurHash3), the same on every machine."""
    with np.errstate(over="ignore"):
        x = np.arange(start, start + count, dtype=np.uint32) + np.uint32(seed * 0x9E3779B1 & 0xFFFFFFFF)
        x ^= x >> np.uint32(16)
        x *= np.uint32(0x85EBCA6B)
        x ^= x >> np.uint32(13)
        x *= np.uint32(0xC2B2AE35)
        x ^= x >> np.uint32(16)
    return x / 2.0**31 - 1.0


def pluck_pulse(width: float, edge: float, period: float, rate: int) -> Samples:
    """Return a rectangle `width` seconds long with edges `edge` seconds long, for a loop of `period` samples, 1 high.

    This is what a pick gives to the string at half that travel time from the bridge. A string held at both ends has no mean slope, so a second
    rectangle, a period long and as low as the mean, is subtracted: what stayed of the mean would thump whenever the string is damped.
    """
    whole = period / rate
    time = np.arange(int((whole + edge) * rate) + 2) / rate
    return _box(time, width, edge) - width / whole * _box(time, whole, edge)


def keep_partial(shape: Samples, partial: int, period: float, turns: Callable[[Samples], Samples]) -> Samples:
    """Return `shape` filtered so that only every m-th partial is left, as by a finger on a node; m is `partial`.

    `turns` gives for frequencies, in cycles a sample, how often they swing on one way round a loop of about `period` samples. The result is m
    copies an m-th of a way apart, each an m-th as high: all other partials cancel.
    """
    count = len(shape) + int(period) + 1
    size = 1 << (count + int(period)).bit_length()
    way = turns(np.arange(size // 2 + 1, dtype=np.float64) / size)
    copies = sum(np.exp(-2j * np.pi * copy / partial * way) for copy in range(partial))
    kept: Samples = np.fft.irfft(np.fft.rfft(shape, size) * copies / partial, size)[:count]
    return kept


def _box(time: Samples, width: float, edge: float) -> Samples:
    return _rise(time / edge) - _rise((time - width) / edge)


def _rise(u: Samples) -> Samples:
    """Return a smooth rise from 0 at 0 to 1 at 1."""
    u = np.clip(u, 0.0, 1.0)
    return u - np.sin(2 * np.pi * u) / (2 * np.pi)


def hump_pair(length: float, rate: int) -> Samples:
    """Return a pair of humps, up and down, each `length` seconds: a finger that lands on a string or leaves it. Its mean is 0."""
    half = max(2, int(length * rate))
    hump = np.sin(np.pi * (np.arange(half) + 0.5) / half) ** 2
    return np.concatenate((hump, -hump))


def pick_noise(rate: int, seed: int, soft: float = 0.0) -> Samples:
    """Return the noise of a pick on a string, about 1 high at its beginning; `soft` are the seconds over which flesh smooths it. Its mean is 0."""
    count = int(NOISE * rate)
    envelope = np.exp(-np.arange(count) / (NOISE_DECAY * rate))
    found = white_noise(count, seed)
    if (width := int(soft * rate)) > 1:
        window = np.hanning(width + 2)[1:-1]
        found = np.convolve(found, window / np.sqrt((window**2).sum()), "same")  # as strong, but below 1/soft hertz
    found = found * envelope
    even: Samples = found - envelope * (found.sum() / envelope.sum())
    return even


def pulse_strength(shape: Samples, period: float) -> float:
    """Return the root mean square over a period, without the mean, of a loop of `period` samples that `shape` was put into."""
    n = max(2, round(period))
    folded = np.zeros(-(-len(shape) // n) * n)
    folded[: len(shape)] = shape
    return float(np.std(folded.reshape(-1, n).sum(axis=0)))
