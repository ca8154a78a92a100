"""Plucked tones made up of partials, with known beginnings and pitches, for tests of listening.

In: notes in seconds and MIDI pitches, or a Performance. Out: mono samples at 24,000 a second. Simple on purpose: it shares nothing with `synth/`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright import compile_text
from lickwright.core.fast_dataclass import replace
from lickwright.listen.expected import expected_groups
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.judge import judge_hearing
from lickwright.listen.judge_entries import corrected_times
from lickwright.listen.model import Judgement
from lickwright.listen.pass_times import pass_times
from lickwright.listen.recording import Recording, resample_recording
from lickwright.listen.stretches import hear_recording
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent, Performance, perform
from lickwright.performance.pitch_curves import pitch_offsets
from lickwright.timeline.model import Timeline

RATE = 24_000
Samples = NDArray[np.float32]


class Tone(NamedTuple):
    """One note as played."""

    start: float  # seconds
    end: float
    pitch: Callable[[NDArray[np.float64]], NDArray[np.float64]]  # MIDI, by seconds since the start of the take
    picked: bool = True
    sound: int = -1
    string: int = 1


def steady(start: float, end: float, pitch: float, string: int = 1) -> Tone:
    return Tone(start, end, lambda t: np.full(len(t), pitch), string=string)


def moved(tone: Tone, semitones: float = 0.0, later: float = 0.0) -> Tone:
    """A tone played so many semitones higher, and so many seconds later."""
    return tone._replace(
        start=tone.start + later, end=tone.end + later, pitch=lambda t: tone.pitch(t - later) + semitones
    )


def tone_of(event: NoteEvent, later: float) -> Tone:
    """A note of a Performance, everything so many seconds later."""
    times = np.arange(event.start, event.end + 0.005, 0.005)
    offsets = np.array(pitch_offsets(event.moves, list(times)))

    def pitch(t: NDArray[np.float64]) -> NDArray[np.float64]:
        return event.pitch + np.interp(t - later, times, offsets)

    joined = event.joined and event.stroke is Stroke.NONE
    return Tone(event.start + later, event.end + later, pitch, not joined, event.sound, event.string)


def pluck(tones: Iterable[Tone], seconds: float | None = None, level: float = 0.3) -> Samples:
    """The samples of a take; every tone dies away as a string does, high partials first."""
    tones = list(tones)
    total = seconds or max(t.end for t in tones) + 0.5
    out = np.zeros(int(total * RATE), np.float32)
    random = np.random.default_rng(5)
    for tone in tones:
        first, last = int(tone.start * RATE), min(len(out), int(tone.end * RATE))
        time = np.arange(last - first) / RATE
        hertz = 440 * 2 ** ((tone.pitch(time + tone.start) - 69) / 12)
        phase = 2 * np.pi * np.cumsum(hertz) / RATE
        wave = sum(np.sin(n * phase) / n * np.exp(-time * (0.8 + 0.5 * n)) for n in range(1, 11))
        wave = np.asarray(wave)
        if tone.picked:
            wave[:120] += random.standard_normal(len(wave[:120])) * np.linspace(1, 0, 120)[: len(wave)]
        else:
            wave[:120] *= np.linspace(0, 1, 120)[: len(wave)]
        wave[-120:] *= np.linspace(1, 0, 120)[-len(wave[-120:]) :]
        out[first:last] += (level * wave).astype(np.float32)
    return out


def talk(seconds: float, level: float, seed: int = 4) -> Samples:
    """Something like a voice: a syllable each eighth of a second or so, each with partials that glide, a soft beginning and
    resonances of its own. `level` is the root of its mean square."""
    random = np.random.default_rng(seed)
    out = np.zeros(int(seconds * RATE), np.float32)
    first = 0
    while first < len(out):
        count = int(random.uniform(0.10, 0.16) * RATE)
        time = np.arange(count) / count
        phase = 2 * np.pi * np.cumsum(random.uniform(105, 150) * 2 ** (random.uniform(-0.25, 0.25) * time)) / RATE
        wave = np.zeros(count)
        formants = [random.uniform(350, 700), random.uniform(1_000, 2_200)]
        for n in range(1, 25):
            wave += sum(np.exp(-(((n * 125 - formant) / 180) ** 2)) for formant in formants) * np.sin(n * phase)
        part = out[first : first + count]
        part += (np.sin(np.pi * time) * wave)[: len(part)].astype(np.float32)
        first += count + int(random.uniform(0, 0.03) * RATE)
    return np.asarray(out * (level / np.sqrt(np.mean(out**2))), np.float32)


def take_of(timeline: Timeline, tempo: float = 1.0, later: float = 0.4) -> tuple[list[Tone], Performance]:
    """The tones of a lick played as written, and the Performance at the written tempo."""
    played = perform(timeline, percent=Fraction(round(100 * tempo)))
    return [tone_of(event, later) for event in played.notes], perform(timeline)


def timeline_of(text: str) -> Timeline:
    (lick,) = compile_text(text).licks
    assert lick.lowered is not None, lick.diagnostics
    return lick.lowered.timeline


def recorded(wave: Samples, rate: int = RATE) -> Recording:
    return resample_recording([wave[:, None]], rate)


def judged(timeline: Timeline, wave: Samples) -> Judgement:
    return judge_hearing(timeline, perform(timeline), hear_recording(recorded(wave)))


def matched_pass(timeline: Timeline, tones: Sequence[Tone], performance: Performance, left_out: int = -1) -> HeardPass:
    """A pass in which no stretch begins one of the groups (-1: each has one), with its times corrected."""
    return matched_wave(timeline, pluck(tones), tones, performance, left_out)


def matched_wave(
    timeline: Timeline, wave: Samples, tones: Sequence[Tone], performance: Performance, left_out: int = -1
) -> HeardPass:
    """The same of samples in which the tones were played."""
    hearing, groups = hear_recording(recorded(wave)), expected_groups(timeline, performance)
    starts: list[float | None] = [
        min((t.start for t in tones if t.sound in {s.index for s in group.sounds}), default=None) for group in groups
    ]
    begins = [None if s is None else int(np.argmin(np.abs(hearing.starts - s))) for s in starts]
    if left_out >= 0:
        starts[left_out] = begins[left_out] = None
    heard = HeardPass(hearing, groups, pass_times(groups, begins, starts, 1.0), 1.0, 0.0)
    return replace(heard, times=corrected_times(heard))


def write_wave(path: str, wave: Samples, rate: int = RATE) -> str:
    import soundfile

    soundfile.write(Path(path), wave, rate)
    return path
