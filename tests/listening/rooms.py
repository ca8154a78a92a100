"""Rooms and machines in which takes are recorded: seven, each a function on samples.

In: mono samples at 48 kHz and a random generator. Out: as many samples, or the same with something before them. A room that puts something before
the music says how many seconds.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from guitar_strings import RATE, Samples

Random = np.random.Generator
Room = Callable[[Samples, Random], Samples]


def level(decibels: float) -> float:
    return float(10 ** (decibels / 20))


def noise(count: int, random: Random, slope: float = 0.5) -> Samples:
    """Noise of level 1 (root mean square) whose power falls with frequency to the power `2 * slope`."""
    spectrum = np.fft.rfft(random.standard_normal(count))
    spectrum /= np.maximum(1, np.arange(len(spectrum)) * 200 / count) ** slope
    shaped = np.fft.irfft(spectrum, count)
    return (shaped / shaped.std()).astype(np.float32)


def filtered(wave: Samples, low: float, high: float) -> Samples:
    """A band, with soft edges (second order each)."""
    spectrum = np.fft.rfft(wave)
    hertz = np.arange(len(spectrum)) * RATE / len(wave)
    shape = 1 / np.sqrt(1 + (low / np.maximum(hertz, 1e-3)) ** 4) / np.sqrt(1 + (hertz / high) ** 8)
    return np.fft.irfft(spectrum * shape, len(wave)).astype(np.float32)


def dry(wave: Samples, random: Random) -> Samples:
    return wave + level(-75) * noise(len(wave), random)


def noisy(wave: Samples, random: Random) -> Samples:
    """A fan, and hum of the mains."""
    time = np.arange(len(wave)) / RATE
    hum = sum(level(-6 * n) * np.sin(2 * np.pi * 50 * n * time + random.uniform(0, 6)) for n in (1, 2, 3, 5))
    return (wave + level(-44) * noise(len(wave), random) + level(-40) * hum).astype(np.float32)


def reverberant(wave: Samples, random: Random) -> Samples:
    """A living room: 0.45 s to fall by 60 dB, 8 dB below the direct sound."""
    count = int(0.5 * RATE)
    tail = random.standard_normal(count) * 10 ** (-3 * np.arange(count) / (0.45 * RATE))
    tail[: int(0.004 * RATE)] = 0
    tail *= level(-8) / np.sqrt((tail**2).sum())
    size = 1 << int(np.ceil(np.log2(len(wave) + count)))
    wet = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(tail, size), size)[: len(wave)]
    return (wave + filtered(wet.astype(np.float32), 100, 6000) + level(-60) * noise(len(wave), random)).astype(
        np.float32
    )


def phone(wave: Samples, random: Random) -> Samples:
    """A telephone on the table: a narrow band, its level held, its noise, clipped a little at peaks."""
    band = filtered(wave, 180, 6500)
    power = np.convolve(band**2, np.ones(4800) / 4800, "same")
    held = band / np.sqrt(np.maximum(power, 1e-3 * power.max())) ** 0.4
    held /= np.abs(held).max()
    return (np.clip(1.3 * held, -1, 1) * 0.7 + level(-50) * noise(len(wave), random)).astype(np.float32)


def overdriven(wave: Samples, random: Random) -> Samples:
    return (
        0.5 * filtered(np.tanh(9 * wave / np.abs(wave).max()), 80, 5000) + level(-60) * noise(len(wave), random)
    ).astype(np.float32)


def talk_and_click(wave: Samples, random: Random) -> Samples:
    """Somebody says something first; the click of the headphones is heard through."""
    words = speech(2.0, random)
    out = np.concatenate((0.25 * words, np.zeros(RATE // 2, np.float32), wave))
    for at in np.arange(len(words) + RATE // 4, len(out) - RATE // 10, int(RATE * random.uniform(0.5, 0.7))):
        count = RATE // 50
        burst = np.sin(2 * np.pi * 2500 * np.arange(count) / RATE) * np.exp(-np.arange(count) / (0.003 * RATE))
        out[at : at + count] += level(-38) * burst
    return (out + level(-65) * noise(len(out), random)).astype(np.float32)


def speech(seconds: float, random: Random) -> Samples:
    """Something like a voice: a buzz whose pitch wanders, through resonances that change with the syllables."""
    count = int(seconds * RATE)
    time = np.arange(count) / RATE
    pitch = 120 + 25 * np.sin(2 * np.pi * 0.7 * time + random.uniform(0, 6)) + 10 * np.sin(2 * np.pi * 2.3 * time)
    phase = 2 * np.pi * np.cumsum(pitch) / RATE
    out = np.zeros(count)
    for start in range(0, count, RATE // 4):
        stop = min(count, start + RATE // 5)
        first, second = random.uniform(300, 800), random.uniform(900, 2300)
        part = np.zeros(stop - start)
        for n in range(1, 30):
            hertz = 120 * n
            strength = 1 / (1 + ((hertz - first) / 120) ** 2) + 0.5 / (1 + ((hertz - second) / 150) ** 2)
            part += strength * np.sin(n * phase[start:stop])
        out[start:stop] = part * np.hanning(stop - start)
    return (out / np.abs(out).max()).astype(np.float32)


def with_another(wave: Samples, other: Samples, decibels: float = -24) -> Samples:
    """Another guitar in the room, so much softer."""
    out = wave.copy()
    count = min(len(wave), len(other))
    out[:count] += level(decibels) * other[:count] * np.abs(wave).max() / np.abs(other).max()
    return out


ROOMS: dict[str, Room] = {
    "dry": dry, "noisy": noisy, "reverberant": reverberant, "phone": phone, "overdriven": overdriven, "talk": talk_and_click,
}  # fmt: skip
