"""The notes of a part that count, ties joined.

In: a `PartMusic`. Out: `TiedNote`s in order, each with its instant from the start of the part and the note values that it is tied of. Where a tab staff shows
the music of another staff, the tab staff counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from typing import TypeAlias

from lickwright.core.fast_dataclass import field, mutable_record, replace
from lickwright.importers.musicxml.bars import signs_of
from lickwright.importers.musicxml.bends import TiedPart
from lickwright.importers.musicxml.note_features import NoteFeatures, note_features
from lickwright.importers.musicxml.part_music import PartMusic, ScoreNote

_TieName: TypeAlias = tuple[int, int | None]  # a string, or 0 and a pitch


@mutable_record
class TiedNote:
    """One note as it is played."""

    measure: int  # index
    at: Fraction  # whole notes from the start of the measure
    start: Fraction  # whole notes from the start of the part
    length: Fraction  # whole notes; 0 for a grace note
    note: ScoreNote
    features: NoteFeatures  # of its first value
    parts: list[TiedPart] = field(default_factory=list)
    string: int = 0  # 0 where none is written, or chosen yet
    fret: int | None = None

    @property
    def end(self) -> Fraction:
        """Whole notes from the start of the part to where it ends."""
        return self.start + self.length


def counting_staff(part: PartMusic) -> int:
    """Return the number of the tab staff whose notes count; 0 where all staves do."""
    stringed = Counter(note.staff for measure in part.measures for note in measure.notes if note.string)
    if not stringed:
        return 0
    staff, most = stringed.most_common(1)[0]
    others = sum(note.staff != staff for measure in part.measures for note in measure.notes)
    return staff if others and most * 2 >= others else 0


def tied_notes(part: PartMusic, starts: Sequence[Fraction], staff: int) -> list[TiedNote]:
    """Return the notes of one staff, of all where `staff` is 0, by start; `starts` are those of the measures in whole notes."""
    found: list[TiedNote] = []
    tied: dict[_TieName, TiedNote] = {}  # by string or pitch, the note that goes on
    forked: dict[tuple[int, int | None], TiedNote] = {}
    for index, measure in enumerate(part.measures):
        ending = signs_of(measure).ending
        if ending == 1:
            forked = dict(tied)
        elif ending == 2:
            tied = _gone_on(tied, starts[index]) | _gone_on(forked, starts[index])
        for note in sorted(measure.notes, key=lambda one: (one.at, one.order)):
            if staff and note.staff != staff:
                continue
            features = note_features(note.element)
            name = (note.string, None) if note.string else (0, note.pitch)
            before = tied.pop(name, None) if features.tie_stop else None
            start = starts[index] + note.at
            if before is not None and before.end == start and not note.grace:
                before.parts.append(TiedPart(before.length, note.length, note.element, features))
                before.length += note.length
                before.features.lets_ring |= features.lets_ring
            else:
                part_of = TiedPart(Fraction(0), note.length, note.element, features)
                before = TiedNote(
                    index, note.at, start, note.length, note, features, [part_of], note.string or 0, note.fret
                )
                found.append(before)
            if features.tie_start:
                tied[name] = before
    played = {id(note) for note in found}
    for one in (one for one in tied.values() if id(one) in played):
        one.features.lets_ring = True  # a tie that leads nowhere is how ringing is printed
    return sorted(found, key=lambda one: (one.start, one.note.order))


def _gone_on(tied: dict[_TieName, TiedNote], start: Fraction) -> dict[_TieName, TiedNote]:
    """Return stand-ins for the notes that go on into a second ending, to which its notes are tied."""
    return {name: replace(note, start=start - note.length, parts=[]) for name, note in tied.items()}
