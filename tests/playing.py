"""One lick, written in a test, as counted and as played."""

from __future__ import annotations

from lickwright.compiler import compile_text
from lickwright.performance.note_events import NoteEvent, perform
from lickwright.performance.pitch_curves import pitch_offsets
from lickwright.timeline.model import Timeline


def counted(music: str, *fields: str) -> Timeline:
    """The Timeline of one lick at 120 quarters a minute, so that an eighth takes a quarter of a second."""
    head = "".join(f"{field}\n" for field in fields)
    if not any(field.startswith("tempo") for field in fields):
        head += "tempo 120\n"
    lick = compile_text(f'{head}lick "Test"\n{music}\n').licks[0]
    assert lick.timeline is not None
    return lick.timeline


def played(music: str, *fields: str) -> tuple[NoteEvent, ...]:
    return perform(counted(music, *fields)).notes


def starts(music: str, *fields: str) -> list[float]:
    return [note.start for note in played(music, *fields)]


def pitch(note: NoteEvent, *seconds: float) -> list[float]:
    return [note.pitch + offset for offset in pitch_offsets(note.moves, seconds)]
