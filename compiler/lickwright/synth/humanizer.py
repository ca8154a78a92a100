"""Small variation from stroke to stroke, so that equal notes do not sound like copies.

In: the notes of a string, a seed. Out: the same notes, a little louder or softer, a little late. The same seed gives the same variation.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from lickwright.notation.techniques import Stroke
from lickwright.performance.note_events import NoteEvent
from lickwright.synth import pulses


class Humanizer(NamedTuple):
    """Small variation from stroke to stroke, the same for the same seed."""

    seed: int
    loudness: float = 0.08  # at most, of a note's own, up or down
    place: float = 0.06  # of the distance from the bridge
    time: float = 0.002  # seconds late, at most

    def turn(self, string: int, index: int, what: int) -> float:
        """Return a number between −1 and 1 for the stroke `index` of a string; `what` names the quantity, so that each has numbers of its own."""
        return float(pulses.white_noise(1, self.seed * 1_000_003 + string * 65_537 + index * 7 + what)[0])


def goes_on(note: NoteEvent) -> bool:
    """Return whether a note is no stroke, but the note before it held on."""
    return note.joined and note.stroke is Stroke.NONE


def vary_strokes(notes: Iterable[NoteEvent], feel: Humanizer) -> Iterator[NoteEvent]:
    """Yield the notes with struck ones a little louder or softer and a little late; the note before a late one lasts until then."""
    before: NoteEvent | None = None
    for n, note in enumerate(notes):
        if not goes_on(note):
            late = min(feel.time * abs(feel.turn(note.string, n, 1)), (note.end - note.start) / 4)
            if before is not None and before.end >= note.start:
                before = before._replace(end=note.start + late)
            loudness = min(1.0, note.loudness * (1 + feel.loudness * feel.turn(note.string, n, 0)))
            note = note._replace(start=note.start + late, loudness=loudness)
        if before is not None:
            yield before
        before = note
    if before is not None:
        yield before
