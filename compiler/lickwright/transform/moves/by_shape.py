"""A lick moved by shape: every finger keeps its place in the hand, and the hand goes so many frets on.

In: a counted lick and an aim. Out: `Places`, or nothing where the neck ends.
"""

from __future__ import annotations

from lickwright.timeline.model import Timeline
from lickwright.transform.moves.note_positions import NotePositions, stopped_fret, written_sounds
from lickwright.transform.moves.target import MoveTarget


def place_by_shape(timeline: Timeline, aim: MoveTarget) -> NotePositions | None:
    """Every note so many frets on, on its own string; None where the neck ends."""
    at: dict[int, tuple[int, int | None]] = {}
    frets = aim.semitones
    for sound in written_sounds(timeline):
        fret = stopped_fret(sound)
        moved = None if fret is None else fret + frets
        highest = max([moved or 0, *(float(shape.to_fret or 0) + frets for shape in sound.shapes)])
        if moved is not None and not (moved >= 0 and highest <= aim.frets):
            return None
        if sound.trill is not None and not 0 <= sound.trill + frets <= aim.frets:
            return None
        at[sound.index] = (sound.string, moved)
    opened = sum(stopped_fret(sound) == 0 for sound in written_sounds(timeline)) if frets else 0
    said = (f"{opened} open string{'s are' if opened > 1 else ' is'} fretted now",) if opened else ()
    return NotePositions(at, frets, said)
