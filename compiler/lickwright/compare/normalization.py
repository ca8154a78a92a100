"""Normalization: how a student's phrase is spelled in another way as a whole, transposed or in other note values.

In: the moments of both. Out: semitones and a factor on the note values, both 0 and 1 unless most of the phrase says
otherwise.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from lickwright.compare.align import ComparedMoment, Link, align_moments

_VOTERS = 3  # neighbouring places to each side that a step of the melody is looked for
_TRANSPOSED = 50  # a transposed reading has to be cheaper by this, hundredths of a note
_CARRIED = 35  # and may leave no more than this a note: about half of them are right then
_MOST = Fraction(3, 5)  # the share of steps that has to agree on other note values
# The same for triplets for eighths, say: fewer are a rushed or dragged figure, not another spelling
_MOST_IN_THREES = Fraction(3, 4)
# Eighths for sixteenths and the like; a dotted quarter for a quarter, where 12/8 is written for a shuffle.
_FACTORS = frozenset(Fraction(*f) for f in ((2, 1), (1, 2), (4, 1), (1, 4), (3, 2), (2, 3), (3, 1), (1, 3)))


def transposition(mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment]) -> tuple[int, list[Link]]:
    """Return the semitones to add to the student's pitches, and the pairing, time left aside."""
    straight, links = align_moments(mine, theirs, 0, 0)
    best = (straight - _TRANSPOSED, 0, links)
    for semitones in _candidates(mine, theirs) if straight > _TRANSPOSED else ():
        cost, links = align_moments(mine, theirs, semitones, 0, best[0])
        if links and cost <= _CARRIED * max(len(mine), len(theirs)):
            best = min(best, (cost, semitones, links), key=lambda found: found[0])
    return best[1], best[2]


def _candidates(mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment]) -> list[int]:
    """Return the two likeliest transpositions, by how many steps of the melody they carry over at about the same place."""
    one, other = _melody(mine), _melody(theirs)
    votes: Counter[int] = Counter()
    for i in range(len(one) - 1):
        step = one[i + 1] - one[i]
        middle = i * len(other) // len(one)
        for j in range(max(0, middle - _VOTERS), min(len(other) - 1, middle + _VOTERS + 1)):
            if other[j + 1] - other[j] == step:
                votes[round(other[j] - one[i])] += 1 if step == 0 else 3
    return [semitones for semitones, _ in votes.most_common(3) if semitones][:2]


def _melody(phrase: Sequence[ComparedMoment]) -> list[float]:
    """Return the highest clear pitch of each moment."""
    return [max(s.pitch for s in m.notes if not s.dead) for m in phrase if any(not s.dead for s in m.notes)]


def note_value_ratio(
    mine: Sequence[ComparedMoment], theirs: Sequence[ComparedMoment], links: Sequence[Link]
) -> Fraction:
    """Return by what the student's note values are multiplied to be the teacher's."""
    ratios: Counter[Fraction] = Counter()
    before: tuple[int, int] | None = None
    for i, j in links:
        if i is None or j is None:
            before = None
            continue
        if before is not None:
            one, other = mine[i].at - mine[before[0]].at, theirs[j].at - theirs[before[1]].at
            if one and other:
                ratios[Fraction(other, one)] += 1
        before = (i, j)
    if not ratios:
        return Fraction(1)
    (ratio, times), *_ = ratios.most_common(1)
    most = _MOST_IN_THREES if 3 in ratio.as_integer_ratio() else _MOST
    return ratio if ratio in _FACTORS and times >= 2 and times >= most * ratios.total() else Fraction(1)
