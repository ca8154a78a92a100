"""Placing a lick by shape: every finger keeps its place in the hand, and the hand goes so many frets on.

In: a counted lick and a target. Out: `NotePositions`, or None where the neck ends.
"""

from __future__ import annotations

from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.note_positions import NotePositions, stopped_fret, written_sounds
from lickwright.transform.moves.target import MoveTarget


def place_by_shape(timeline: Timeline, target: MoveTarget) -> NotePositions | None:
    """Return every note so many frets on, on its own string; None where the neck ends."""
    frets = target.semitones
    at: dict[int, tuple[int, int | None]] = {}
    opened = 0
    for sound in written_sounds(timeline):
        if not _stays_on_neck(sound, frets, target.frets):
            return None
        fret = stopped_fret(sound)
        at[sound.index] = (sound.string, None if fret is None else fret + frets)
        opened += fret == 0 != frets
    said = (f"{opened} open string{'s are' if opened > 1 else ' is'} fretted now",) if opened else ()
    return NotePositions(at, frets, said)


def _stays_on_neck(sound: SoundingNote, frets: int, highest: int) -> bool:
    """Return whether a note, what it slides or bends to and what it trills with are all on the neck, so many frets on."""
    fret = stopped_fret(sound)
    if fret is not None:
        tops = [fret + frets, *(float(shape.to_fret or 0) + frets for shape in sound.shapes)]
        if fret + frets < 0 or max(tops) > highest:
            return False
    return sound.trill is None or 0 <= sound.trill + frets <= highest
