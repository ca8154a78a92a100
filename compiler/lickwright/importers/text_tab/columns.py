"""What is played together: the notes of all strings of a bar, brought into columns.

In: what each string has in a bar. Out: `Instant`s from left to right. Notes of different strings are together where their frets stand in a
common column, so that
a fret of two digits may stand left or right of one of one digit.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.text_tab.scanned import ScannedBar, ScannedNote, ScannedShape


@mutable_record
class Instant:
    """One column of a bar."""

    x: int
    end: int  # column after its widest fret
    notes: list[ScannedNote] = field(default_factory=list)
    shapes: list[tuple[ScannedNote, ScannedShape]] = field(default_factory=list)  # of notes that began before
    rest: bool = False


def find_instants(strings: Sequence[ScannedBar], tolerance: int) -> list[Instant]:
    """Return the columns of a bar. With a tolerance of 1, neighboring columns of strings that are out of line are one."""
    notes = [note for bar in strings for note in bar.notes]
    found: list[Instant] = []
    for note in sorted(notes, key=lambda note: (note.x, note.string)):
        last = found[-1] if found else None
        if last is not None and note.x < last.end + tolerance and all(n.string != note.string for n in last.notes):
            last.notes.append(note)
            last.end = max(last.end, note.end)
        else:
            found.append(Instant(note.x, note.end, [note]))
    at = {x: instant for instant in reversed(found) for x in range(instant.x, instant.end)}
    for bar in strings:
        for owner, shape in bar.shapes:
            instant = at.get(shape.x)
            if instant is None:
                instant = at[shape.x] = Instant(shape.x, shape.x + 1)
                found.append(instant)
            instant.shapes.append((owner, shape))
    return sorted(found, key=lambda instant: instant.x)
