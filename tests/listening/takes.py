"""Takes as sound: the strokes of a student on a guitar's recorded strings, read at a speed that follows the pitch.

In: a `Take`, a `Guitar`, a random generator. Out: mono samples at 48 kHz, half a second of silence before them; the take's times are moved by as much.
"""

from __future__ import annotations

import numpy as np
from guitar_strings import LEAD, RATE, Guitar, Samples
from played import Stroked, Take, pitches_at, strokes_by_string

from lickwright.notation.techniques import Damping, Stroke

SILENCE = 0.5  # seconds before the music
_JOINED_AT = 0.045  # seconds into a recorded string at which a hammered or pulled note begins: its pick is over
_SOFT = {Stroke.HAMMER: 0.75, Stroke.PULL: 0.7, Stroke.TAP: 0.8}
_DECAYS = {Damping.DEAD: 0.012, Damping.PALM: 0.12}  # seconds to fall to 1/e


def sound_take(take: Take, guitar: Guitar, random: np.random.Generator, silence: float = SILENCE) -> Samples:
    """The samples; `take.onsets` and the extras are moved to where they are heard."""
    end = max(n.end for n in take.notes)
    out = np.zeros(int((silence + end + 1.0) * RATE), np.float32)
    for string in strokes_by_string(take):
        _sound_string(out, string, guitar, random, silence)
    take.onsets = {index: at + silence for index, at in take.onsets.items()}
    take.extras = [at + silence for at in take.extras]
    return 0.5 * out / max(1e-9, float(np.abs(out).max()))


def _sound_string(
    out: Samples, notes: list[Stroked], guitar: Guitar, random: np.random.Generator, silence: float
) -> None:
    for k, note in enumerate(notes):
        going_on = note.event.stroke is Stroke.NONE and note.event.joined
        if going_on and k:
            continue  # sounded with the note that it goes on from
        tail = []
        for later in notes[k + 1 :]:
            if later.event.stroke is not Stroke.NONE or not later.event.joined:
                break
            tail.append(later)
        stop = tail[-1].end if tail else note.end
        if k + 1 + len(tail) < len(notes):
            stop = min(stop, notes[k + 1 + len(tail)].start)
        _sound_note(out, note, tail, stop, guitar, random, silence)


def _sound_note(
    out: Samples,
    note: Stroked,
    tail: list[Stroked],
    stop: float,
    guitar: Guitar,
    random: np.random.Generator,
    silence: float,
) -> None:
    count = int((stop - note.start) * RATE)
    if count < 200:
        return
    count += RATE // 50  # its end fades
    times = note.start + np.arange(0, count + 240, 240) / RATE
    pitch = pitches_at(note, tail, times)
    recorded = guitar.nearest(note.pitch)
    speed = np.interp(np.arange(count), np.arange(len(times)) * 240, 2 ** ((pitch - recorded.pitch) / 12))
    struck = note.event.stroke not in _SOFT
    begin = float(LEAD) if struck else LEAD + _JOINED_AT * RATE
    at = begin + np.concatenate(([0.0], np.cumsum(speed[:-1])))
    heard = np.interp(at, np.arange(len(recorded.samples)), recorded.samples, right=0.0)
    level = note.event.loudness * 10 ** (random.normal(0, 1) / 20) * _SOFT.get(note.event.stroke, 1.0)
    envelope = np.full(count, level)
    fade = RATE // 50
    envelope[-fade:] *= np.linspace(1, 0, fade) ** 2
    if not struck:
        envelope[:240] *= np.linspace(0, 1, 240)
    if note.event.damping in _DECAYS:
        envelope *= np.exp(-np.arange(count) / (_DECAYS[note.event.damping] * RATE))
    first = int((silence + note.start) * RATE)
    stop_at = min(len(out), first + count)
    out[first:stop_at] += (heard * envelope)[: stop_at - first].astype(np.float32)
