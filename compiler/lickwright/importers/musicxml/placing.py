"""Strings and frets of the notes of a score: its own, else chosen.

In: the notes of a part. Out: those that have a place on the neck, and what is doubtful about that.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from lickwright.importers.draft import Doubt
from lickwright.importers.fret_choice import PitchedNote, PitchMoment, choose_places
from lickwright.importers.musicxml.connections import ends_at, is_connected
from lickwright.importers.musicxml.tied_notes import TiedNote
from lickwright.importers.rules import NO_PLACE, PLACES_CHOSEN
from lickwright.music.fretboard import Place
from lickwright.music.tuning import Tuning

_USUAL_SECONDS = 2.4  # of a whole note, for the hand, where a score's tempo is not looked at
_LATER = 1 << 40  # the order of notes that are no grace notes, after all that are


def with_places(
    notes: list[TiedNote], tuning: Tuning, capo: int, box: frozenset[Place] | None
) -> tuple[list[TiedNote], list[Doubt]]:
    """Return the notes that have a place on the neck, each with it, and the doubts about that."""
    missing = [note for note in notes if not _is_placed(note, tuning)]
    if not missing:
        return notes, []
    moments: dict[tuple[Fraction, int], list[TiedNote]] = {}
    for note in notes:
        moments.setdefault((note.start, note.note.order if note.note.grace else _LATER), []).append(note)
    asked = [_moment(group) for group in moments.values()]
    kept = []
    for group, places in zip(moments.values(), choose_places(asked, tuning, capo, box=box), strict=True):
        for note, place in zip(group, places, strict=True):
            if not _is_placed(note, tuning) and place is not None:
                note.string, note.fret = place
            if _is_placed(note, tuning):
                kept.append(note)
    found = [
        Doubt(
            PLACES_CHOSEN,
            f"strings and frets of {len(missing)} of {len(notes)} notes are chosen by Lickwright",
            "name a box with --box to move them",
        )
    ]
    lost = len(notes) - len(kept)
    if lost:
        found.append(
            Doubt(
                NO_PLACE,
                f"{lost} of {len(notes)} notes lie on no string that is free, and are left out",
                "is it written for this tuning?",
            )
        )
    return sorted(kept, key=lambda note: (note.start, note.note.order)), found


def _is_placed(note: TiedNote, tuning: Tuning) -> bool:
    placed = note.fret is not None or note.features.head is not None or note.features.rake or note.features.scrape
    return 1 <= note.string <= tuning.strings and placed


def _moment(group: Sequence[TiedNote]) -> PitchMoment:
    seconds = float(group[0].start) * _USUAL_SECONDS
    notes = tuple(
        PitchedNote(
            note.note.pitch if note.note.pitch is not None else 0,
            note.string,
            any(True for part in note.parts for _ in part.element.all("notations/technical/bend")),
            is_connected(note),
            ends_at(note, "slide"),
        )
        for note in group
    )
    return PitchMoment(seconds, seconds + float(group[0].length) * _USUAL_SECONDS, notes)
