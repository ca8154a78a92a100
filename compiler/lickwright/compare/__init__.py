"""Two versions of one phrase beside each other: a student's and a teacher's.

In: two Timelines. Out: a `Comparison`: the paired notes, the differences in musical order, what is only spelled in
another way (said once), and a score. `wording.py` says it in sentences, `tabs.py` draws it; nothing here prints.
"""

from __future__ import annotations

from lickwright.compare.diff import find_differences
from lickwright.compare.match import match_phrases
from lickwright.compare.model import Comparison, Difference, DifferenceKind, Normalization, Pair, Score
from lickwright.compare.notation_equivalences import find_normalizations
from lickwright.compare.score import score_pairs
from lickwright.timeline.model import Timeline

__all__ = ["Comparison", "Difference", "DifferenceKind", "Pair", "Normalization", "Score", "compare"]


def compare(mine: Timeline, theirs: Timeline) -> Comparison:
    """Return what `mine` (a student's) does differently from `theirs` (a teacher's)."""
    matched = match_phrases(mine, theirs)
    pairs, differences = find_differences(matched)
    return Comparison(mine, theirs, find_normalizations(matched), pairs, differences, score_pairs(pairs))
