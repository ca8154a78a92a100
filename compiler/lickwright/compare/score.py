"""The score of a comparison, and the formula that it comes from.

In: pairs with what differs in them. Out: `Score`. Facts about the whole phrase cost nothing.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.compare.model import DifferenceKind, Pair, Score

# What a note of the teacher's is worth, in points; estimates: a right note late is worth more than a wrong one in time, and how it is played
# counts least, since that comes last in learning. Of a wrong note only its start counts.
NOTE, START, LENGTH, HOW = 5, 2, 1, 2
WHOLE = NOTE + START + LENGTH + HOW
EXTRA = 5  # taken off for a note that the teacher has not

FORMULA = (
    f"{WHOLE} points a note, {NOTE} for the pitch (of a bend: the one it arrives at), {START} for starting on time, "
    f"{LENGTH} for length, {HOW} for how it is played; a wrong note keeps the points for its start, an extra note costs {EXTRA}"
)


def score_pairs(pairs: Sequence[Pair]) -> Score:
    """Return the points of every note of the teacher's, less those for extra notes; never below 0."""
    notes = [pair for pair in pairs if pair.theirs is not None]
    extra = len(pairs) - len(notes)
    possible = WHOLE * len(notes)
    points = max(0, sum(map(_points, notes)) - EXTRA * extra)
    of_100 = 100 * points // possible if possible else 0 if extra else 100
    return Score(points, possible, of_100, sum(pair.right for pair in notes), len(notes), extra)


def _points(pair: Pair) -> int:
    kinds = pair.kinds
    if DifferenceKind.MISSING in kinds:
        return 0
    start = 0 if kinds & {DifferenceKind.EARLY, DifferenceKind.LATE} else START
    if kinds & {DifferenceKind.FRET, DifferenceKind.NOTE, DifferenceKind.BEND}:
        return start
    length = 0 if kinds & {DifferenceKind.SHORT, DifferenceKind.LONG} else LENGTH
    manner = kinds & {DifferenceKind.STRING, DifferenceKind.TECHNIQUE, DifferenceKind.INTONATION}
    return NOTE + start + length + max(0, HOW - len(manner))
