"""Recorded strings read as one plays them: each note on the string it is fingered on, a joined note read on from where the string is.

In: a `Take`, a `Guitar`, a random generator. Out: mono samples at 48 kHz. `takes.py` reads the nearest recording in pitch with straight lines between
samples, and begins it anew for a hammered note; here the curve between samples is cubic and the decay goes on. Besides the open strings of
`guitar_strings.py` there are the fretted ones of Debian's `freepats` (GF1 patches).
"""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
from guitar_strings import LEAD, RATE, Guitar, RecordedString, Samples, Unavailable, cut_string
from played import Stroked, Take, picked_runs, pitches_at, strokes_by_string
from rooms import level

from lickwright.notation.techniques import Damping, Stroke

Random = np.random.Generator
PATCHES = Path("/usr/share/midi/freepats/Tone_000")
_OPEN_STRINGS = 6  # a guitar of so many recordings has one for each string, thickest first
_REACH = 9  # semitones that a recording may be raised before the next string serves better
_LEGATO = (Stroke.HAMMER, Stroke.PULL, Stroke.TAP)
_DAMPED = {Damping.DEAD: 0.015, Damping.PALM: 0.14}  # seconds to fall to 1/e


def patch_guitar(name: str, file: str) -> Guitar:
    """Return the recordings of a GF1 patch, each held by its loop while it dies away. Raises Unavailable."""
    path = PATCHES / file
    if not path.is_file():
        raise Unavailable("the package freepats is not installed")
    data = path.read_bytes()
    strings, at = [], 239  # after the headers of file, instrument and layer
    for _ in range(data[198]):
        _, _, size, first, last, rate, _, _, root, _ = struct.unpack_from("<7sBiiiHiiih", data, at)
        samples = np.frombuffer(data, "<i2", size // 2, at + 96).astype(np.float32) / 32768
        near = 69 + 12 * np.log2(root / 1000 / 440 * RATE / rate)  # read at our own rate
        strings.append(cut_string(_hold(samples, first // 2, last // 2), float(near)))
        at += 96 + size
    return Guitar(name, tuple(strings))


def _hold(samples: Samples, first: int, last: int) -> Samples:
    """Return six seconds of a string that is recorded to `last`: its loop again and again, falling as the recording fell."""
    loud = [float(np.sqrt((samples[a : a + 4096] ** 2).mean())) for a in (last // 3, max(0, last - 4096))]
    a_sample = min(-3e-6, np.log(max(1e-6, loud[1] / loud[0])) / max(1, last - 4096 - last // 3))
    loop = samples[first:last]
    again = np.tile(loop, int(np.ceil(6 * RATE / len(loop))))[: 6 * RATE]
    return np.concatenate((samples[:last], again * np.exp(a_sample * np.arange(len(again))))).astype(np.float32)


def sound_recorded(take: Take, guitar: Guitar, random: Random, silence: float) -> Samples:
    """Return the samples, loudest at 0.5; the music begins after `silence` seconds."""
    out = np.zeros(int((silence + max(n.end for n in take.notes) + 1.0) * RATE), np.float32)
    for notes in strokes_by_string(take):
        for note, tail, following in picked_runs(notes, _LEGATO):
            stop = min((tail or [note])[-1].end, following - 0.003)
            if stop - note.start > 0.006:
                _add_note(out, note, tail, stop, guitar, random, silence)
    return 0.5 * out / max(1e-9, float(np.abs(out).max()))


def _recording(note: Stroked, guitar: Guitar) -> RecordedString:
    if len(guitar.strings) == _OPEN_STRINGS:
        own = guitar.strings[6 - note.event.string]
        if -2.5 < note.pitch - own.pitch <= _REACH:
            return own
    return min(guitar.strings, key=lambda s: abs(note.pitch - s.pitch - 0.5))


def _add_note(
    out: Samples, note: Stroked, tail: list[Stroked], stop: float, guitar: Guitar, random: Random, silence: float
) -> None:
    count = int((stop - note.start) * RATE)
    times = note.start + np.arange(0, count + 120, 120) / RATE
    pitch = pitches_at(note, tail, times)
    recorded = _recording(note, guitar)
    speed = np.interp(np.arange(count), np.arange(len(times)) * 120, 2 ** ((pitch - recorded.pitch) / 12))
    struck = note.event.stroke not in _LEGATO
    begin = LEAD - 48.0 if struck else LEAD + 0.03 * RATE
    wave = _read(recorded.samples, begin + np.concatenate(([0.0], np.cumsum(speed[:-1]))))
    size = note.event.loudness * (1.0 if struck else 0.6)
    envelope = np.full(count, size)
    if not struck:
        rise = min(count, int(0.004 * RATE))
        envelope[:rise] *= np.linspace(0, 1, rise)
    for part in tail:
        first = int((part.start - note.start) * RATE)
        if part.event.stroke in _LEGATO and first < count - 400:
            tap = int(0.006 * RATE)
            length = min(tap * 3, count - first)
            knock = np.diff(random.standard_normal(length + 1)) * np.exp(-np.arange(length) / tap)
            wave[first : first + length] += level(-30) * knock / max(1e-6, size)
    fade = min(count // 2, int(random.uniform(0.008, 0.03) * RATE))
    envelope[-fade:] *= np.linspace(1, 0, fade)
    if note.event.damping in _DAMPED:
        envelope *= np.exp(-np.arange(count) / (_DAMPED[note.event.damping] * RATE))
    first = int((silence + note.start) * RATE)
    end = min(len(out), first + count)
    out[first:end] += (wave * envelope)[: end - first].astype(np.float32)


def _read(samples: Samples, at: np.ndarray) -> np.ndarray:
    """Return the samples at places between them, on the cubic curve through four neighbors (Catmull and Rom); silence past the end."""
    padded = np.concatenate((samples[:1], samples, np.zeros(4, np.float32))).astype(np.float64)
    at = np.clip(at, 0, len(samples))
    whole = at.astype(np.int64)
    part = at - whole
    a, b, c, d = (padded[whole + k] for k in range(4))
    return b + 0.5 * part * (c - a + part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a)))
