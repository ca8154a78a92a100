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
    ties = _Ties(starts)
    for index, measure in enumerate(part.measures):
        ties.enter(index, signs_of(measure).ending)
        for note in sorted(measure.notes, key=lambda one: (one.at, one.order)):
            if staff in (0, note.staff):
                ties.add(index, note)
    ties.let_ring()
    return sorted(ties.found, key=lambda one: (one.start, one.note.order))


class _Ties:
    """Joins the notes of a part as they come."""

    def __init__(self, starts: Sequence[Fraction]) -> None:
        self.found: list[TiedNote] = []
        self._starts = starts
        self._tied: dict[_TieName, TiedNote] = {}  # what goes on
        self._forked: dict[_TieName, TiedNote] = {}  # what went on into a first ending

    def enter(self, index: int, ending: int) -> None:
        """Begin a measure; a second ending goes on from where the first began."""
        if ending == 1:
            self._forked = dict(self._tied)
        elif ending == 2:
            self._tied = _gone_on(self._tied, self._starts[index]) | _gone_on(self._forked, self._starts[index])

    def add(self, index: int, note: ScoreNote) -> None:
        """Add a note, or a note value to the note that is tied to it."""
        features = note_features(note.element)
        name = (note.string, None) if note.string else (0, note.pitch)
        before = self._tied.pop(name, None) if features.tie_stop else None
        start = self._starts[index] + note.at
        if before is not None and before.end == start and not note.grace:
            before.parts.append(TiedPart(before.length, note.length, note.element, features))
            before.length += note.length
            before.features.lets_ring |= features.lets_ring
        else:
            value = TiedPart(Fraction(0), note.length, note.element, features)
            before = TiedNote(index, note.at, start, note.length, note, features, [value], note.string or 0, note.fret)
            self.found.append(before)
        if features.tie_start:
            self._tied[name] = before

    def let_ring(self) -> None:
        """Let the notes ring whose tie leads nowhere, which is how ringing is printed."""
        played = {id(note) for note in self.found}
        for one in self._tied.values():
            one.features.lets_ring |= id(one) in played


def _gone_on(tied: dict[_TieName, TiedNote], start: Fraction) -> dict[_TieName, TiedNote]:
    """Return stand-ins for the notes that go on into a second ending, to which its notes are tied."""
    return {name: replace(note, start=start - note.length, parts=[]) for name, note in tied.items()}
