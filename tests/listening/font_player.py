"""Takes played by `fluidsynth` with a SoundFont: each string a channel of its own, its pitch moved by the wheel.

In: a `Take`, a program of General MIDI (from 0), a SoundFont. Out: mono samples at 48 kHz. Bends, slides and vibrato are the synthesizer's here, and
a hammered note begins anew, softer.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from guitar_strings import RATE, SOUND_FONT, Samples, Unavailable
from played import Stroked, Take, picked_runs, pitches_at, strokes_by_string

from lickwright.notation.techniques import Damping, Stroke

TIM_GM = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
_SOFT = {Stroke.HAMMER: 0.65, Stroke.PULL: 0.65, Stroke.TAP: 0.65}
_SOUNDS = {Damping.DEAD: 0.03, Damping.PALM: 0.18}  # seconds at most
_TICKS = 1920  # a second: 960 to the quarter at 120
_RANGE = 12  # semitones of the wheel


def sound_by_font(take: Take, program: int, silence: float, font: Path = SOUND_FONT) -> Samples:
    """Return the samples, loudest at 0.5; the music begins after `silence` seconds. Raises Unavailable."""
    if shutil.which("fluidsynth") is None or not font.is_file():
        raise Unavailable(f"fluidsynth and the SoundFont {font.name} are not installed")
    import mido

    events: list[tuple[int, int, mido.Message]] = []  # when, what goes first, what
    for channel, notes in zip([c for c in range(16) if c != 9], strokes_by_string(take), strict=False):
        events.append((0, 0, mido.Message("program_change", channel=channel, program=program)))
        for control, value in ((101, 0), (100, 0), (6, _RANGE), (38, 0)):
            events.append((0, 1, mido.Message("control_change", channel=channel, control=control, value=value)))
        for note, tail, following in picked_runs(notes, ()):
            events += _messages(note, tail, following, channel, silence)
    end = max(n.end for n in take.notes) + 1.0
    events.sort(key=lambda e: (e[0], e[1]))
    track, now = mido.MidiTrack(), 0
    for at, _, message in events:
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track", time=max(0, _tick(end, silence) - now)))
    wave = _play(mido.MidiFile(tracks=[track], ticks_per_beat=_TICKS // 2), font)[: int((end + silence + 1) * RATE)]
    return 0.5 * wave / max(1e-9, float(np.abs(wave).max()))


def _tick(seconds: float, silence: float) -> int:
    return max(0, round((seconds + silence) * _TICKS))


def _messages(note: Stroked, tail: list[Stroked], following: float, channel: int, silence: float) -> list:  # type: ignore[type-arg]
    import mido

    stop = min((tail or [note])[-1].end, following - 0.001)
    if stop - note.start < 0.005:
        return []
    stop = min(stop, note.start + _SOUNDS.get(note.event.damping, stop))
    key = round(note.pitch)
    times = np.arange(note.start, stop, 0.004)
    pitch = pitches_at(note, tail, times)
    wheel = np.clip(np.round((pitch - key) / _RANGE * 8192), -8192, 8191).astype(int)
    moves = [k for k in range(len(times)) if not k or wheel[k] != wheel[k - 1]]
    found = [
        (_tick(float(times[k]), silence), 2, mido.Message("pitchwheel", channel=channel, pitch=int(wheel[k])))
        for k in moves
    ]
    velocity = int(np.clip(100 * note.event.loudness, 4, 120) * _SOFT.get(note.event.stroke, 1.0))
    found.append(
        (_tick(note.start, silence), 3, mido.Message("note_on", channel=channel, note=key, velocity=max(1, velocity)))
    )
    last = 1 if stop > following - 0.01 else -1  # the next note of the string begins after it
    found.append((_tick(stop, silence), last, mido.Message("note_off", channel=channel, note=key)))
    return found


def _play(score, font: Path) -> Samples:  # type: ignore[no-untyped-def]
    with tempfile.TemporaryDirectory() as folder:
        midi, wave = Path(folder) / "take.mid", Path(folder) / "take.wav"
        score.save(midi)
        command = ["fluidsynth", "-ni", "-R", "0", "-C", "0", "-r", str(RATE), "-g", "0.6", "-F", str(wave), str(font), str(midi)]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        return soundfile.read(wave, dtype="float32", always_2d=True)[0].mean(axis=1)
