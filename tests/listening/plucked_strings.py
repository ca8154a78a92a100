"""Strings made by their modes: a stiff string that is picked at one place and heard at another, with two directions of vibration.

In: a `Take`, a `StringModel`, a random generator. Out: mono samples at 48 kHz. A hammered, pulled or slid note goes on from the vibration that is there,
with a little of its own added, so that nothing begins anew where no string was picked.

The partials of a stiff string lie at `n f sqrt(1 + B n^2)` (Fletcher and Rossing, The Physics of Musical Instruments, section 2.18); one picked at a
share p of its length has them in proportion to `sin(pi n p) / n`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from guitar_strings import RATE, Samples
from played import Stroked, Take, picked_runs, pitches_at, strokes_by_string
from rooms import level

from lickwright.notation.techniques import Damping, Stroke

Random = np.random.Generator
_MOST = 46  # partials
_GLIDE = RATE // 250  # samples over which a pitch that jumps is smoothed
_DAMPED = {Damping.DEAD: 0.010, Damping.PALM: 0.10}  # seconds to fall to 1/e
_LEGATO = (Stroke.HAMMER, Stroke.PULL, Stroke.TAP)


class StringModel(NamedTuple):
    """A guitar whose strings are computed."""

    name: str
    picked_at: float  # share of the open string from the bridge
    heard_at: float  # the same of the pickup; 0: the bridge moves a body
    stiffness: float  # B of an open G string
    loss: float  # 1/s that each partial loses at least
    bright_loss: float  # 1/s lost besides at 1 kHz; grows with the square of the frequency
    split: float  # cents between the two directions
    pick_noise: float  # dB against the string


BRIGHT = StringModel("string model, bridge pickup", 0.09, 0.07, 6e-5, 0.8, 0.35, 0.5, -26)
ROUND = StringModel("string model, body", 0.21, 0.0, 1.1e-4, 1.6, 1.1, 0.9, -20)


def sound_strings(take: Take, model: StringModel, random: Random, silence: float) -> Samples:
    """Return the samples, loudest at 0.5; the music begins after `silence` seconds."""
    out = np.zeros(int((silence + max(n.end for n in take.notes) + 1.0) * RATE), np.float32)
    body = _body(random) if model.heard_at == 0 else None
    for notes in strokes_by_string(take):
        for note, tail, following in picked_runs(notes, _LEGATO):
            stop = min((tail or [note])[-1].end, following - float(random.uniform(0.002, 0.010)))
            if stop - note.start > 0.006:
                _add_note(out, note, tail, stop, model, random, silence)
    if body is not None:
        size = 1 << int(np.ceil(np.log2(len(out) + len(body))))
        out = np.fft.irfft(np.fft.rfft(out, size) * np.fft.rfft(body, size), size)[: len(out)].astype(np.float32)
    return 0.5 * out / max(1e-9, float(np.abs(out).max()))


def _body(random: Random) -> Samples:
    """Return the answer of a wooden body to a knock: the bridge itself, and a dozen resonances from 90 Hz up."""
    time = np.arange(int(0.12 * RATE)) / RATE
    answer = np.zeros(len(time))
    for hertz in 95 * np.cumprod(random.uniform(1.15, 1.6, 12)):
        answer += random.uniform(0.2, 1) * np.sin(2 * np.pi * hertz * time) * np.exp(-time * 25 * (hertz / 100) ** 0.5)
    answer *= 0.05 / np.abs(answer).max()
    answer[0] += 1
    return answer.astype(np.float32)


def _add_note(
    out: Samples, note: Stroked, tail: list[Stroked], stop: float, model: StringModel, random: Random, silence: float
) -> None:
    count = int((stop - note.start) * RATE)
    times = note.start + np.arange(0, count + 96, 96) / RATE
    pitch = pitches_at(note, tail, times)
    semitones = np.interp(np.arange(count), np.arange(len(times)) * 96, pitch)
    edge = np.concatenate((np.full(_GLIDE, semitones[0]), semitones))
    summed = np.cumsum(edge)
    hertz = 440 * 2 ** (((summed[_GLIDE:] - summed[:-_GLIDE]) / _GLIDE - 69) / 12)
    turns = 2 * np.pi * np.cumsum(hertz) / RATE
    soft = 0.5 if note.event.stroke in _LEGATO else 1.0
    wave = note.event.loudness * soft * _vibration(turns, float(hertz[0]), model, random, soft < 1)
    for part in tail:
        first = int((part.start - note.start) * RATE)
        if part.event.stroke in _LEGATO and first < count - 100:
            wave[first:] *= 0.75
            own = _vibration(turns[first:] - turns[first], float(hertz[first]), model, random, True)
            wave[first:] += 0.35 * part.event.loudness * own
    if note.event.stroke not in _LEGATO:
        wave += note.event.loudness * _pick_noise(count, model, random)
    fade = min(count // 2, int(random.uniform(0.006, 0.02) * RATE))
    wave[-fade:] *= np.cos(np.linspace(0, np.pi / 2, fade)) ** 2
    if note.event.damping in _DAMPED:
        wave *= np.exp(-np.arange(count) / (_DAMPED[note.event.damping] * RATE))
    begin = int((silence + note.start) * RATE)
    end = min(len(out), begin + count)
    out[begin:end] += wave[: end - begin].astype(np.float32)


def _vibration(turns: np.ndarray, hertz: float, model: StringModel, random: Random, soft: bool) -> np.ndarray:
    """Return a string let go at the first sample; `turns` is the phase of its first partial."""
    time = (np.arange(len(turns)) / RATE).astype(np.float32)
    place = min(
        0.45, model.picked_at * random.uniform(0.8, 1.25) * (hertz / 196) ** 0.4
    )  # a shorter string, a larger share
    heard = min(0.45, model.heard_at * (hertz / 196) ** 0.4)
    stiff = model.stiffness * (196 / hertz) ** 0.3
    wave = np.zeros(len(turns), np.float32)
    for n in range(1, _MOST):
        ratio = n * np.sqrt(1 + stiff * n * n)
        if ratio * hertz > 0.42 * RATE:
            break
        size = np.sin(np.pi * n * place) / n ** (1.6 if soft else 1.0)
        size *= np.sin(np.pi * n * heard) / max(heard, 0.05) / 8 if heard else 0.7
        size *= random.uniform(0.7, 1.3)
        lost = model.loss + model.bright_loss * (ratio * hertz / 1000) ** 2
        begin = random.uniform(-0.4, 0.4)
        for share, detuned, faster in ((0.8, 1.0, 1.0), (0.3, 2 ** (model.split / 1200), 0.45)):
            phase = (turns * (ratio * detuned) + begin).astype(np.float32)
            wave += np.float32(share * size) * np.sin(phase) * np.exp(np.float32(-lost * faster) * time)
    return wave


def _pick_noise(count: int, model: StringModel, random: Random) -> np.ndarray:
    length = min(count, int(random.uniform(0.004, 0.012) * RATE))
    burst = np.diff(random.standard_normal(length + 1)) * np.exp(-np.arange(length) / (0.25 * length))
    return np.concatenate((level(model.pick_noise) * burst, np.zeros(count - length)))
