"""Two drafts compared: what one plays that the other does not.

In: two `LickDraft`s of the same lick. Out: the bars that differ, each with what is different in words. Fields, comments and line breaks do not count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from itertools import zip_longest
from typing import Any, NamedTuple

from lickwright.importers.draft import DraftBar, DraftNote, DraftShape, GroupKind, LickDraft
from lickwright.notation.techniques import QUARTER_BEND, SHAPES, Curve, Damping

_SIGNS = ("same", "repeat_start", "repeat_end", "ending", "marks")


class DraftDifference(NamedTuple):
    """A bar that is not the same in two drafts."""

    bar: int  # index
    message: str  # one line: what the first has and the second has not


def draft_differences(read: LickDraft, written: LickDraft) -> Iterator[DraftDifference]:
    """Yield the bars in which `written` plays otherwise than `read`, one difference a bar."""
    limits = _limits(written)
    for n, (one, other) in enumerate(zip_longest(read.bars, written.bars)):
        if one is None or other is None:
            yield DraftDifference(n, "there is one bar more" if one is None else "a bar is missing")
            continue
        message = _bar_difference(one, other, limits[n])
        if message:
            yield DraftDifference(n, message)


def _limits(draft: LickDraft) -> list[Fraction | None]:
    """Return for each bar how long it is to the next place from which the music may go back; past it lengths say what is played next."""
    found: list[Fraction | None] = []
    left: Fraction | None = None
    for bar in reversed(draft.bars):
        length = bar.length or Fraction(1)
        if bar.repeat_end or bar.marks:
            left = Fraction(0)
        left = None if left is None else left + length
        found.append(left)
    return found[::-1]


def _bar_difference(one: DraftBar, other: DraftBar, limit: Fraction | None) -> str:
    for name in _SIGNS:
        if getattr(one, name) != getattr(other, name):
            return f"its signs differ: {name.replace('_', ' ')}"
    notes, others = _keys(one, limit), _keys(other, limit)
    lost, more = sum((notes - others).values()), sum((others - notes).values())
    if lost or more:
        return f"{lost} of {notes.total()} notes {'is' if lost == 1 else 'are'} not as they were read, {more} otherwise"
    paces = _paces_differ(one, other)
    if paces:
        return f"{paces} bends or releases take longer or shorter than they were read"
    if _said(one) != _said(other):
        return "words, loudness or tempo differ"
    return ""


def _keys(bar: DraftBar, limit: Fraction | None) -> Counter[tuple[Any, ...]]:
    """Return what tells the notes of a bar; `limit`: where a repeat ends, up to which lengths are compared."""
    found: Counter[tuple[Any, ...]] = Counter()
    order: Counter[Fraction] = Counter()
    for group in bar.groups:
        lead = order[group.at] if group.kind is not GroupKind.NOTE else -1
        order[group.at] += 1
        for note in group.notes:
            left = None if limit is None else limit - group.at
            found[(group.at, group.kind, lead, group.roll, *note_key(note, left))] += 1
    return found


def note_key(note: DraftNote, most: Fraction | None = None) -> tuple[Any, ...]:
    """Return what a note plays, for comparing; of its length `most` counts, where that is given."""
    length = note.length if most is None else min(note.length, most)
    marks = tuple(sorted({mark.name if mark.damping is Damping.RING else mark.sign for mark in note.marks}))
    shapes = tuple(_shape_key(one) for one in note.shapes if not _goes_on(one, note.shapes))
    place = (note.string, note.fret, note.touch, note.head)
    return (*place, length, note.begin, marks, shapes, note.finger, note.pluck, note.trill)


def _shape_key(shape: DraftShape) -> tuple[Any, ...]:
    """Return what a shape does, its length aside."""
    quarter = shape.technique is QUARTER_BEND
    name = SHAPES["^"].name if quarter else shape.technique.name
    return name, shape.at, Fraction(1, 2) if quarter else shape.by


def _said(bar: DraftBar) -> Counter[tuple[Fraction, str, str]]:
    """Return what stands over the notes, tempos without their spaces."""
    return Counter((d.at, d.kind, d.text.replace(" ", "") if d.kind == "tempo" else d.text) for d in bar.directions)


def _paces_differ(one: DraftBar, other: DraftBar) -> int:
    """Return how many bends and releases take longer or shorter; one whose length was not read takes as long as it may."""
    return sum(
        bend.length != again.length
        for pair in zip(_moving(one), _moving(other), strict=False)
        for bend, again in zip(*pair, strict=False)
        if None not in (bend.length, again.length)
    )


def _moving(bar: DraftBar) -> list[list[DraftShape]]:
    """Return the bends and releases of each note, in an order that does not depend on how it was read."""
    notes = sorted(
        ((group.at, note.string, note.shapes) for group in bar.groups for note in group.notes if note.shapes),
        key=lambda one: one[:2],
    )
    return [[one for one in shapes if one.technique.curve in (Curve.BEND, Curve.RELEASE)] for _, _, shapes in notes]


def _goes_on(shape: DraftShape, shapes: tuple[DraftShape, ...]) -> bool:
    """Return whether a shape is a vibrato that was there before it."""
    index = next(n for n, one in enumerate(shapes) if one is shape)
    return index > 0 and shape.technique.curve is Curve.VIBRATO and shapes[index - 1].technique is shape.technique
