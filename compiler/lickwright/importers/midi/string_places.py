"""Strings and frets of played notes: those that their channels say, else chosen.

In: played notes with the places where they begin. Out: string and fret of each.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from fractions import Fraction

from lickwright.importers.fret_choice import PitchedNote, PitchMoment, choose_places
from lickwright.importers.midi.pitch_moves import MoveKind
from lickwright.importers.midi.played_notes import PlayedNote
from lickwright.music.fretboard import MAX_FRET, Place
from lickwright.music.tuning import Tuning
from lickwright.notation.techniques import JOINS, TechniqueKind

_LATER = 1 << 60  # the order of notes that are not stolen, after all that are
NOWHERE: Place = (0, 0)


def string_places(
    notes: Sequence[PlayedNote],
    starts: Sequence[Fraction],
    seconds: Callable[[float], float],
    tuning: Tuning,
    capo: int,
    box: frozenset[Place] | None,
) -> tuple[list[Place], int]:
    """Return string and fret of each note, `NOWHERE` for one without a place, and how many of them were chosen."""
    own = [_own_place(note, tuning, capo) for note in notes]
    unknown = [n for n, place in enumerate(own) if place == NOWHERE]
    if not unknown:
        return own, 0
    moments: defaultdict[tuple[Fraction, int], list[int]] = defaultdict(list)
    for n, note in enumerate(notes):
        moments[starts[n], note.on if note.words.stolen else _LATER].append(n)
    asked = [_moment([notes[n] for n in group], seconds) for group in moments.values()]
    found = list(own)
    for group, places in zip(moments.values(), choose_places(asked, tuning, capo, box=box), strict=True):
        for n, place in zip(group, places, strict=True):
            if own[n] == NOWHERE:
                found[n] = place or NOWHERE
    return found, len(unknown)


def _own_place(note: PlayedNote, tuning: Tuning, capo: int) -> Place:
    """Return the place that a note's string gives it; a dead note or a harmonic need not lie on a fret."""
    if not 0 < note.string <= tuning.strings:
        return NOWHERE
    fret = note.pitch - tuning.sounding[note.string - 1] - capo
    if 0 <= fret <= MAX_FRET:
        return note.string, fret
    return (note.string, max(0, fret)) if note.words.head is not None else NOWHERE


def _moment(notes: Sequence[PlayedNote], seconds: Callable[[float], float]) -> PitchMoment:
    at = seconds(notes[0].on)
    until = max(at, *(seconds(note.off) for note in notes))
    return PitchMoment(at, until, tuple(map(_pitched, notes)))


def _pitched(note: PlayedNote) -> PitchedNote:
    bent = any(move.kind in (MoveKind.BEND, MoveKind.PREBEND) and move.level >= 1 for move in note.moves)
    joined = note.begin.kind is TechniqueKind.JOIN
    return PitchedNote(note.pitch, note.string, bent, joined, note.begin in (JOINS["/"], JOINS["\\"]))
