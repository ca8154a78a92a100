"""How each note of a part begins: picked, connected to the note before on its string, or from nowhere.

In: the notes of a part with their strings. Out: rows of the technique table, one a note.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.importers.musicxml.tied_notes import TiedNote
from lickwright.importers.xml_tree import XmlElement
from lickwright.notation.techniques import ENTRIES, JOINS, PICKED, Technique


def ends_at(note: TiedNote, tag: str) -> bool:
    """Return whether a sign that joins two notes ends at a note: `slur`, `slide`, `hammer-on`."""
    return any(one.get("type") == "stop" for one in _signs(note.note.element, tag))


def _signs(element: XmlElement, tag: str) -> Iterator[XmlElement]:
    yield from element.all(f"notations/{tag}")
    yield from element.all(f"notations/technical/{tag}")


def _slur_numbers(note: TiedNote, end: str) -> set[str]:
    elements = [part.element for part in note.parts]
    return {one.get("number", "1") for element in elements for one in _signs(element, "slur") if one.get("type") == end}


def is_connected(note: TiedNote) -> bool:
    """Return whether a note is played on from the one before by the fretting hand, so that both share a string."""
    return any(ends_at(note, tag) for tag in ("hammer-on", "pull-off", "slide", "glissando"))


def beginnings(notes: Sequence[TiedNote]) -> list[Technique]:
    """Return how each note begins; notes are in order of time."""
    found = []
    last: dict[int, TiedNote] = {}  # by string
    for note in notes:
        before = last.get(note.string)
        found.append(_begin(note, before if before is not None and before.end >= note.start else None))
        last[note.string] = note
    return found


def _begin(note: TiedNote, before: TiedNote | None) -> Technique:
    features = note.features
    if features.tapped:
        return JOINS["t"] if before is not None and ends_at(note, "slur") else ENTRIES["t"]
    if before is None:
        otherwise = ENTRIES["h"] if ends_at(note, "hammer-on") else PICKED
        return features.entry or otherwise
    return _by_signs(note, before) or features.entry or _slurred(note, before) or PICKED


def _by_signs(note: TiedNote, before: TiedNote) -> Technique | None:
    """Return how a note is connected by a sign of its own; None where it has none."""
    if ends_at(note, "hammer-on"):
        return JOINS["h"]
    if ends_at(note, "pull-off"):
        return JOINS["p"]
    if ends_at(note, "slide") or ends_at(note, "glissando"):
        sign = "/" if _goes_up(note, before) else "\\"
        return JOINS[sign] if ends_at(note, "slur") else JOINS[sign * 2]
    return None


def _slurred(note: TiedNote, before: TiedNote) -> Technique | None:
    """Return how a note is connected that only a slur of two joins to the one before; None where none does."""
    if not _slur_numbers(note, "stop") & _slur_numbers(before, "start"):
        return None
    if note.fret is None or before.fret is None or note.fret == before.fret:
        return None
    return JOINS["h" if _goes_up(note, before) else "p"]


def _goes_up(note: TiedNote, before: TiedNote) -> bool:
    return (note.fret or 0) >= (before.fret or 0)
