"""The shapes of a note as they are written: which of them share one step.

In: a `DraftNote` and where it begins. Out: `ShapeRun`s. Several shapes that a writer put into one step share it evenly, `B8^10r`; each of the
others stands in a step of its own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.importers.draft import DraftNote, DraftShape
from lickwright.notation.techniques import UPWARD_BENDS, Curve
from lickwright.notation.tree import MarkNode

_FINE = 8  # a grid up to which shapes stand in steps of their own


class ShapeRun(NamedTuple):
    """Shapes in one step."""

    at: Fraction  # whole notes from the start of the bar
    end: Fraction | None  # None: as long as its step happens to be
    marks: tuple[MarkNode, ...]
    bent: bool  # the string is bent after it


def shape_runs(note: DraftNote, origin: Fraction, step: Fraction, bent: bool) -> list[ShapeRun]:
    """Return the shapes of a note that begins at `origin`, in whole notes from the start of the bar, on a string that is bent or not before it."""
    runs: list[ShapeRun] = []
    rest = note.shapes
    while rest:
        count = _sharing(rest, origin, step)
        first, shared, rest = rest[0], rest[:count], rest[count:]
        length = first.length if first.technique.curve is not Curve.VIBRATO or count > 1 else None
        end = None if length is None else origin + first.at + length * count
        bent = _is_bent(shared, bent)
        runs.append(ShapeRun(origin + first.at, end, _marks(note, shared), bent))
    return runs


def whole_run(note: DraftNote, at: Fraction) -> ShapeRun | None:
    """Return all shapes of a note that takes no time; None where it has none."""
    return ShapeRun(at, None, _marks(note, note.shapes), False) if note.shapes else None


def _sharing(shapes: Sequence[DraftShape], origin: Fraction, step: Fraction) -> int:
    """Return how many of the first shapes share one step evenly: those that begin between two instants of a coarser grid."""
    count, first = 1, shapes[0]
    together = sum(shape.at == first.at for shape in shapes)
    if together > 1:
        return together
    if first.length is None or first.length >= step:
        return 1
    grid = (origin + first.at).denominator
    for n, shape in enumerate(shapes[1:], 1):
        if shape.at != first.at + n * first.length or shape.length not in (first.length, None):
            break
        end = origin + first.at + (n + 1) * first.length
        if (origin + shape.at).denominator > max(end.denominator, min(grid, _FINE)):
            count = n + 1
    return count


def _is_bent(shapes: Iterable[DraftShape], bent: bool) -> bool:
    for shape in shapes:
        if shape.technique.curve in UPWARD_BENDS:
            bent = True
        elif shape.technique.curve is Curve.RELEASE:
            bent = bool(shape.by)
    return bent


def _marks(note: DraftNote, shapes: Iterable[DraftShape]) -> tuple[MarkNode, ...]:
    """Return shapes as they are written: to the pitch of a fret, which is how a player says a bend."""
    return tuple(MarkNode(one.technique, None if one.by is None else (note.fret or 0) + one.by) for one in shapes)
