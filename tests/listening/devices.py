"""What students record with, and where: one situation each, from the sound of a guitar to the samples of a file.

In: mono samples at 48 kHz, the seconds at which beats fall, a random generator. Out: `Recorded`: samples as a file would hold them (any rate, one
channel or two) and the seconds that were put before the music.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import soundfile
from guitar_strings import RATE, Samples
from rooms import filtered, level, noise, speech

Random = np.random.Generator
_STEP = RATE // 200  # samples from one value of a gain to the next


class Recorded(NamedTuple):
    samples: Samples  # (samples,) or (samples, channels)
    rate: int  # Hz
    offset: float  # seconds before the music


Beats = Sequence[float]
Situation = Callable[[Samples, Beats, Random], Recorded]


def convolved(wave: Samples, answer: Samples) -> Samples:
    """Return a wave in a room with this answer, as long as before."""
    size = 1 << int(np.ceil(np.log2(len(wave) + len(answer))))
    return np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(answer, size), size)[: len(wave)].astype(np.float32)


def tail_room(wave: Samples, random: Random, seconds: float, decibels: float) -> Samples:
    """Return a wave in a room: eight reflections within 35 ms, then noise that falls by 60 dB in `seconds`, the high half of it twice as fast."""
    count = int(seconds * RATE)
    time = np.arange(count) / RATE
    low = filtered(random.standard_normal(count).astype(np.float32), 60, 1800) * 10 ** (-3 * time / seconds)
    high = filtered(random.standard_normal(count).astype(np.float32), 1800, 9000) * 10 ** (-6 * time / seconds)
    answer = low + high
    answer[: int(0.012 * RATE)] = 0
    answer *= level(decibels) / np.sqrt((answer**2).sum())
    for at in random.uniform(0.002, 0.035, 8):
        answer[int(at * RATE)] += random.choice([-1, 1]) * level(-9 - 250 * at)
    answer[0] = 1
    return convolved(wave, answer.astype(np.float32))


def _after(wave: Samples, random: Random, most: float = 2.5) -> tuple[Samples, float]:
    """Return a wave with up to `most` seconds of nothing before it, and how many."""
    count = int(random.uniform(0, most) * RATE)
    return np.concatenate((np.zeros(count, np.float32), wave)), count / RATE


def _with_noise(wave: Samples, random: Random, decibels: float) -> Samples:
    return wave + level(decibels) * noise(len(wave), random, 0.4)


def _hum(count: int, mains: float, random: Random) -> Samples:
    time = np.arange(count) / RATE
    return sum(level(-5 * k) * np.sin(2 * np.pi * mains * n * time + random.uniform(0, 6)) for k, n in enumerate((1, 2, 3, 4, 6))).astype(np.float32)  # type: ignore[union-attr]  # fmt: skip


def _at_rate(wave: Samples, rate: int) -> Samples:
    """Return a wave at a lower rate, its spectrum cut off a little below half of it."""
    low = filtered(wave, 1, 0.46 * rate)
    count = len(wave) * rate // RATE
    return (np.fft.irfft(np.fft.rfft(low)[: count // 2 + 1], count) * count / len(wave)).astype(np.float32)


def coded(wave: Samples, rate: int, kind: str, subtype: str, squeeze: float) -> Samples:
    """Return what is left of a wave that was stored with loss; `squeeze` from 0 to 1."""
    file = io.BytesIO()
    soundfile.write(file, np.clip(wave, -1, 1), rate, format=kind, subtype=subtype, compression_level=squeeze)
    file.seek(0)
    return soundfile.read(file, dtype="float32")[0]


def _gain(power: np.ndarray, random: Random) -> np.ndarray:
    """Return the gain of a level control that pumps: down within 15 ms, up within half a second; `power` every 5 ms."""
    followed, now = np.empty(len(power)), float(np.sqrt(power.max()))
    for k, loud in enumerate(np.sqrt(power)):
        now += (loud - now) * (0.28 if loud > now else 0.012)
        followed[k] = now
    return np.clip((0.12 / np.maximum(followed, 1e-5)) ** 0.75, 0.3, 8)


def _gate(power: np.ndarray, decibels: float) -> np.ndarray:
    """Return the gain of a noise gate: open at once, held for 90 ms, shut within 60; `power` every 5 ms."""
    out, now, held = np.empty(len(power)), 0.0, 0
    for k, loud in enumerate(np.sqrt(power)):
        held = 18 if loud > level(decibels) else held - 1
        now = min(1.0, now + 0.5) if held > 0 else max(0.02, now * 0.75)
        out[k] = now
    return out


def _controlled(wave: Samples, gain: Callable[[np.ndarray], np.ndarray]) -> Samples:
    steps = len(wave) // _STEP
    power = (wave[: steps * _STEP].reshape(steps, _STEP) ** 2).mean(axis=1)
    return (wave * np.interp(np.arange(len(wave)), np.arange(steps) * _STEP, gain(power))).astype(np.float32)


def _laptop(wave: Samples, random: Random) -> Samples:
    """The little microphone beside a screen: no bass, resonances of its case, a level that is held."""
    band = filtered(wave, 170, 9000)
    spectrum = np.fft.rfft(band)
    hertz = np.arange(len(spectrum)) * RATE / len(band)
    for low, high, most in ((350, 900, 7), (1500, 4000, 9)):
        middle = random.uniform(low, high)
        spectrum *= 1 + (level(random.uniform(3, most)) - 1) / (1 + ((hertz - middle) / (0.12 * middle)) ** 2)
    cased = np.fft.irfft(spectrum, len(band)).astype(np.float32)
    return _controlled(0.5 * cased / np.abs(cased).max(), lambda power: _gain(power, random))


def _thumps(wave: Samples, at: Beats, random: Random, decibels: float) -> Samples:
    """Add a foot on a wooden floor near each of `at` (seconds)."""
    out = wave.copy()
    time = np.arange(int(0.15 * RATE)) / RATE
    for beat in at:
        first = int((beat + random.normal(0, 0.015)) * RATE)
        thump = np.sin(2 * np.pi * random.uniform(62, 85) * time) * np.exp(-time / 0.035)
        thump += 0.1 * random.standard_normal(len(time)) * np.exp(-time / 0.004)
        if 0 <= first < len(out) - len(thump):
            out[first : first + len(thump)] += (level(decibels + random.uniform(-4, 4)) * thump).astype(np.float32)
    return out


def _bumps(wave: Samples, random: Random) -> Samples:
    """Add one to three knocks and scratches of somebody who touches the microphone."""
    out = wave.copy()
    for _ in range(int(random.integers(1, 4))):
        count = int(random.uniform(0.05, 0.14) * RATE)
        first = int(random.integers(0, len(out) - count))
        knock = filtered(random.standard_normal(count).astype(np.float32), 40, 180)
        scratch = filtered(random.standard_normal(count).astype(np.float32), 1500, 7000)
        knock = knock / np.abs(knock).max() + 0.15 * scratch / np.abs(scratch).max()
        out[first : first + count] += level(-13) * knock * np.hanning(count).astype(np.float32)
    return out


def close(wave: Samples, beats: Beats, random: Random) -> Recorded:
    late, offset = _after(wave, random)
    return Recorded(_with_noise(late, random, -74), RATE, offset)


def laptop(wave: Samples, beats: Beats, random: Random) -> Recorded:
    late, offset = _after(tail_room(wave, random, random.uniform(0.25, 0.4), -10), random)
    return Recorded(_at_rate(_with_noise(_laptop(_with_noise(late, random, -66), random), random, -60), 22_050), 22_050, offset)  # fmt: skip


def laptop_gate(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A laptop in a meeting program, which shuts between sounds."""
    late, offset = _after(tail_room(wave, random, random.uniform(0.25, 0.4), -12), random)
    return Recorded(_controlled(_with_noise(filtered(late, 120, 8000), random, -58), lambda p: _gate(p, -44)), RATE, offset)  # fmt: skip


def opus(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A voice message: a room, a narrow device, Opus at few bits."""
    late, offset = _after(tail_room(wave, random, random.uniform(0.3, 0.6), -9), random)
    return Recorded(coded(_with_noise(filtered(late, 120, 7500), random, -60), RATE, "OGG", "OPUS", 0.85), RATE, offset)  # fmt: skip


def mp3_fan(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A fan in the room, the file an MP3 of few bits."""
    late, offset = _after(tail_room(wave, random, random.uniform(0.3, 0.5), -12), random)
    blades = 1 + 0.3 * np.sin(2 * np.pi * random.uniform(18, 28) * np.arange(len(late)) / RATE)
    late = late + level(-46) * filtered(noise(len(late), random, 0.6), 60, 3000) * blades.astype(np.float32)
    return Recorded(coded(late, RATE, "MP3", "MPEG_LAYER_III", 0.85), RATE, offset)


def clipped(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """Recorded too loud, with the hum of a 60 Hz country."""
    late, offset = _after(wave, random)
    late = late + level(-48) * _hum(len(late), 60, random)
    return Recorded(np.clip(random.uniform(2, 3.5) * late, -0.98, 0.98).astype(np.float32), RATE, offset)


def humming(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A single coil near a transformer: 50 Hz and its multiples."""
    late, offset = _after(wave, random)
    return Recorded(_with_noise(late + level(-40) * _hum(len(late), 50, random), random, -60), RATE, offset)


def television(wave: Samples, beats: Beats, random: Random) -> Recorded:
    late, offset = _after(tail_room(wave, random, random.uniform(0.3, 0.5), -12), random)
    voice = filtered(speech(len(late) / RATE + 0.1, random)[: len(late)], 250, 3500)
    return Recorded(_with_noise(late + level(-41) * voice / voice.std(), random, -66), RATE, offset)


def foot(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A foot on the beat, the microphone on a stand."""
    tapped = _thumps(tail_room(wave, random, random.uniform(0.3, 0.5), -13), beats, random, -22)
    late, offset = _after(tapped, random)
    return Recorded(_with_noise(late, random, -66), RATE, offset)


def wideband_call(wave: Samples, beats: Beats, random: Random) -> Recorded:
    late, offset = _after(tail_room(wave, random, random.uniform(0.3, 0.5), -12), random)
    return Recorded(_with_noise(_at_rate(late, 16_000), random, -64), 16_000, offset)


def handled(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """A telephone in a hand."""
    late, offset = _after(tail_room(filtered(wave, 90, 12_000), random, random.uniform(0.25, 0.45), -13), random)
    return Recorded(_with_noise(_bumps(late, random), random, -64), RATE, offset)


def dead_channel(wave: Samples, beats: Beats, random: Random) -> Recorded:
    """An interface of two inputs with one of them empty; 44.1 kHz."""
    late, offset = _after(wave, random)
    live = _at_rate(late, 44_100)
    silent = level(-90) * noise(len(live), random)
    pair = (live, silent) if random.random() < 0.5 else (silent, live)
    return Recorded(np.stack(pair, axis=1).astype(np.float32), 44_100, offset)


SITUATIONS: dict[str, Situation] = {
    "close": close, "laptop": laptop, "laptop gate": laptop_gate, "opus": opus, "mp3 and fan": mp3_fan, "clipped": clipped, "hum": humming,
    "television": television, "foot": foot, "16 kHz": wideband_call, "in the hand": handled, "dead channel": dead_channel,
}  # fmt: skip
