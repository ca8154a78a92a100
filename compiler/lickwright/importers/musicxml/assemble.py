"""The notes of a part of a score → groups of a draft.

In: tied notes in order, each with its string and fret. Out: for each measure its `DraftGroup`s: chords, grace notes and rakes before what they lead to.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from lickwright.importers.draft import DraftGroup, DraftNote, GroupKind
from lickwright.importers.musicxml.bends import shapes_of
from lickwright.importers.musicxml.connections import beginnings
from lickwright.importers.musicxml.tied_notes import TiedNote
from lickwright.notation.techniques import HEADS, MARKS, WORDS, Technique, TechniqueKind

_TOUCHED_ABOVE = 12  # frets above a fretted one, where an artificial harmonic does not say where it is touched


def draft_note(note: TiedNote, begin: Technique, rings: bool) -> DraftNote:
    """Return a note of a draft; `rings`: it lies under "let ring"."""
    features = note.features
    marks = list(dict.fromkeys(features.marks))
    if features.lets_ring:
        marks.append(WORDS["ring"] if rings or MARKS[","] in marks else MARKS["="])
    fret, touch = _touched(note)
    trill = features.trill_fret
    if trill is None and features.trill is not None and fret is not None and not note.note.grace:
        trill = fret + features.trill
    shapes = shapes_of(note.parts, note.length, begin.kind is TechniqueKind.JOIN)
    return DraftNote(
        note.string, fret, note.length, begin, features.head, touch, tuple(marks), shapes, features.finger,
        features.pluck, trill,
    )  # fmt: skip


def _touched(note: TiedNote) -> tuple[int | None, Fraction | None]:
    """Return the fret of a note and where it is touched: a natural harmonic has no fret, a dead note has none that sounds."""
    features, fret = note.features, note.fret
    if features.head is HEADS["<>"]:
        return None, features.touch if features.touch is not None else Fraction(fret or _TOUCHED_ABOVE)
    if features.head is HEADS["n<>"]:
        return fret, features.touch if features.touch is not None else Fraction((fret or 0) + _TOUCHED_ABOVE)
    silent = features.head is HEADS["x"] or features.scrape or features.rake
    return None if silent else fret, None


def measure_groups(
    notes: Sequence[TiedNote], ring_spans: Sequence[tuple[Fraction, Fraction]], starts: Sequence[Fraction]
) -> dict[int, list[DraftGroup]]:
    """Return the groups of each measure, by its index. Spans and starts are in whole notes from the start of the part."""
    begins = beginnings(notes)
    groups: defaultdict[tuple[Fraction, int], list[tuple[TiedNote, DraftNote]]] = defaultdict(list)
    lead = 0
    for note, begin in zip(notes, begins, strict=True):
        rings = any(first <= note.start < last for first, last in ring_spans)
        stolen = note.note.grace or note.features.rake
        if stolen and not _is_chord(note):
            lead += 1
        groups[note.start, lead if stolen else 1 << 40].append((note, draft_note(note, begin, rings)))
    found: dict[int, list[DraftGroup]] = {}
    for start, place in sorted(groups):
        measure = _measure_at(starts, start)
        pairs = groups[start, place]
        for kind, some in _by_kind(pairs):
            played = tuple({one.string: one for _, one in some}.values())
            roll = any(note.features.roll for note, _ in some) and len(played) > 1
            found.setdefault(measure, []).append(DraftGroup(start - starts[measure], played, kind, roll))
    return found


def _is_chord(note: TiedNote) -> bool:
    return note.note.element.first("chord") is not None


def _measure_at(starts: Sequence[Fraction], at: Fraction) -> int:
    from bisect import bisect_right

    return max(0, bisect_right(starts, at) - 1)


def _by_kind(
    pairs: Iterable[tuple[TiedNote, DraftNote]],
) -> Iterator[tuple[GroupKind, list[tuple[TiedNote, DraftNote]]]]:
    """Yield notes that begin together by what they are."""
    kinds: dict[GroupKind, list[tuple[TiedNote, DraftNote]]] = {}
    for note, one in pairs:
        features = note.features
        kind = (
            GroupKind.RAKE
            if features.rake
            else GroupKind.SCRAPE
            if features.scrape
            else GroupKind.GRACE
            if note.note.grace
            else GroupKind.NOTE
        )
        kinds.setdefault(kind, []).append((note, one))
    yield from kinds.items()
