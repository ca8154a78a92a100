"""How a recording is read as a lick: which stretch begins which group, and how much higher the whole is played than written.

In: a `Hearing`, the groups of a lick and the tuning of the guitar. Out: the best `Matching` and its shift.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.expected import ExpectedGroup
from lickwright.listen.false_starts import with_false_starts
from lickwright.listen.lateness import overall_pace
from lickwright.listen.match import MatchedPass, Matching, match_groups
from lickwright.listen.match_costs import pitch_costs
from lickwright.listen.recognition import CAPO
from lickwright.listen.stretches import Hearing
from lickwright.listen.tuning import likely_shifts

_WELL = 0.30  # cost a group of a reading that needs no other shift
_NEAR_SHIFT, _FAR_SHIFT = 0.04, 0.08  # cost a group by which a reading that is shifted so, or by more, must be cheaper
LEAST_READ = 0.2  # share of the groups that a pass has at least
_MOST_TEMPOS = 3  # different ones in one recording, that are refined


def best_matching(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float) -> tuple[Matching, int]:
    """Return the best reading and by how many semitones it is higher; other shifts are tried only where the written pitch costs much."""
    costs, shift = pitch_costs(hearing, groups, tuning), 0
    best = match_groups(hearing, groups, costs)
    if best.cost > _WELL:
        for other in likely_shifts(hearing, groups, tuning):
            others = pitch_costs(hearing, groups, tuning + other)
            found = match_groups(hearing, groups, others)
            margin = _NEAR_SHIFT if abs(other) <= CAPO else _FAR_SHIFT
            if found.cost < best.cost - (margin if _is_reading(best, len(groups)) else 0.0):
                best, costs, shift = found, others, other
    known = {
        round(1 / pace, 3) for one in best.passes if one.whole and (pace := _matched_pace(hearing, groups, one)) > 0
    }
    if known:
        best = match_groups(hearing, groups, costs, sorted(known)[:_MOST_TEMPOS])
    return with_false_starts(hearing, groups, costs, best), shift


def _is_reading(matching: Matching, count: int) -> bool:
    """Return whether a reading has more than a few notes of the lick, of `count` groups."""
    return any(sum(b is not None for b in one.begins) >= max(2, LEAST_READ * count) for one in matching.passes)


def _matched_pace(hearing: Hearing, groups: Sequence[ExpectedGroup], one: MatchedPass) -> float:
    """Return the seconds played for each second written, 0 where too little is matched."""
    told = [(g.at, float(hearing.starts[b])) for g, b in zip(groups, one.begins, strict=True) if b is not None]
    if len(told) < 3:
        return 0.0
    return overall_pace(*(np.array(column) for column in zip(*told, strict=True)))
