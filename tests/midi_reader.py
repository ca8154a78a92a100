"""Reading MIDI files back without any of the code that wrote them, but for the types of what was asked."""

from __future__ import annotations

import glob
import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import mido

from lickwright.compiler import compile_file, compile_text
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.midi import emit
from lickwright.export.midi.channel_voices import OVERLAP
from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent

SAMPLES = sorted(glob.glob(str(Path(__file__).parent.parent / "samples" / "**" / "*.lick"), recursive=True))
OWN = r"""
tempo 97
feel swing 5:3
pickup 1/8
lick "Every turn ♯"
| (rake: D G B e8^10) |: (trill: G5h7) - (tremolo: B5^7) - (pm: D5) D5, @tempo=60 G<4> Gx |
| G7/9//12 G9\ /G7 A5h7p5 | A5/9/12~ \5 @fermata (grace: A4) h5 - - - |
| (dive: G7 -) (dip: G5) (scoop: G5) 5:4[1/16 G5~ G7 G5 G7 G5] . . |
| (roll: A0=&D2=&G2=&B0=&e0) - B8^^10 -r~ e5&B8^full - 3[1/16 G5 G7 G5] . :| % ||
"""
CHANNELS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13)


def made(music: str, *fields: str, options: Options = Options()) -> tuple[LoweredLick, Export]:  # noqa: B008 (frozen)
    head = "".join(f"{field}\n" for field in fields)
    if not any(field.startswith("tempo") for field in fields):
        head += "tempo 120\n"
    timeline = compile_text(f'{head}lick "Test"\n{music}\n').licks[0].timeline
    assert timeline is not None
    stages = LoweredLick(timeline)
    return stages, emit(stages, options)


def read(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


@cache
def licks() -> list[LoweredLick]:
    compiled = [lick for path in SAMPLES for lick in compile_file(path).licks] + list(compile_text(OWN).licks)
    found = [lick.lowered for lick in compiled if lick.lowered is not None]
    assert len(found) > 20
    assert found[-1].timeline.title == "Every turn ♯"
    return found


class Reader:
    """Ticks to seconds by a file's own tempo events, as any reader does it."""

    def __init__(self, file: mido.MidiFile) -> None:
        self.steps: list[tuple[int, float, float]] = []  # tick, seconds, seconds a tick
        tick, seconds, pace = 0, 0.0, 0.5 / file.ticks_per_beat
        for message in file.tracks[0]:
            tick, seconds = tick + message.time, seconds + message.time * pace
            if message.type == "set_tempo":
                pace = message.tempo / 1e6 / file.ticks_per_beat
                self.steps.append((tick, seconds, pace))

    def seconds(self, tick: int) -> float:
        at, seconds, pace = next(step for step in reversed(self.steps) if step[0] <= tick)
        return seconds + (tick - at) * pace


def timed(track: mido.MidiTrack) -> Iterator[tuple[int, Any]]:
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


class Heard(NamedTuple):
    """One note-on with its note-off, in ticks."""

    on: int
    off: int
    number: int
    velocity: int


def heard(track: mido.MidiTrack) -> list[Heard]:
    found: list[Heard] = []
    sounding: dict[int, tuple[int, int]] = {}
    for tick, message in timed(track):
        if message.type == "note_on":
            assert message.note not in sounding
            sounding[message.note] = tick, message.velocity
        elif message.type == "note_off":
            on, velocity = sounding.pop(message.note)
            found.append(Heard(on, tick, message.note, velocity))
    assert not sounding
    return found


def sounds_until(voices: list[list[NoteEvent]], at: int) -> float:
    """Ticks beyond its end that a voice sounds at most: those of `OVERLAP` where a slurred one follows at once."""
    if at + 1 == len(voices):
        return 0.0
    following = voices[at + 1][0]
    slurred = following.joined and following.stroke in (Stroke.HAMMER, Stroke.PULL)
    return float(OVERLAP) if slurred and abs(voices[at][-1].end - following.start) < 1e-3 else 0.0


def strings(stages: LoweredLick) -> list[list[list[NoteEvent]]]:
    """The notes of each string, a stroke together with what it slides on to."""
    performance = stages.performance(Options())
    found: list[list[list[NoteEvent]]] = [[] for _ in range(stages.timeline.settings.tuning.strings)]
    for note in performance.notes:
        own = found[note.string - 1]
        if note.stroke is Stroke.NONE and abs(note.pitch - own[-1][0].pitch) <= 12:
            own[-1].append(note)
        elif note.stroke is not Stroke.SCRAPE:
            own.append([note])
    return found
