"""How a recording is read as a lick: which stretch begins which group, how much higher the whole is played than written, and with which feel.

In: a `Hearing`, the groups of a lick and the tuning of the guitar. Out: a `Reading`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.expected import ExpectedGroup, expected_groups
from lickwright.listen.false_starts import with_false_starts
from lickwright.listen.lateness import overall_pace
from lickwright.listen.match import MatchedPass, Matching, match_groups
from lickwright.listen.match_costs import pitch_costs
from lickwright.listen.played_feel import Onset, played_feel, with_feel
from lickwright.listen.recognition import CAPO
from lickwright.listen.stretches import Hearing
from lickwright.listen.told_times import has_own_time
from lickwright.listen.tuning import likely_shifts
from lickwright.music.rhythm import Feel
from lickwright.performance.note_events import Performance, perform
from lickwright.timeline.model import Timeline

_WELL = 0.30  # cost a group of a reading that needs no other shift
_NEAR_SHIFT, _FAR_SHIFT = 0.04, 0.08  # cost a group by which a reading that is shifted so, or by more, must be cheaper
LEAST_READ = 0.2  # share of the groups that a pass has at least
_MOST_TEMPOS = 3  # different ones in one recording, that are refined


class Reading(NamedTuple):
    """The best reading of a recording."""

    groups: Sequence[ExpectedGroup]  # of the lick with the feel as played
    performance: Performance  # of the same
    matching: Matching
    shift: int  # semitones that the whole is played higher than written
    feel: Feel  # as played


def read_as_lick(
    hearing: Hearing, timeline: Timeline, performance: Performance, groups: Sequence[ExpectedGroup], tuning: float
) -> Reading:
    """Return the best reading of a recording as a lick, which has these groups as written. A feel that is not the written one is found first."""
    matching, shift = _best_matching(hearing, groups, tuning)
    written = timeline.settings.feel
    onsets = [list(_onsets(hearing, groups, one)) for one in matching.passes if one.whole]
    feel = played_feel(timeline, performance, onsets)
    if feel == written:
        return Reading(groups, performance, matching, shift, written)
    played = with_feel(timeline, feel)
    performance = perform(played)
    groups = expected_groups(played, performance)
    return Reading(groups, performance, *_best_matching(hearing, groups, tuning), feel)


def _onsets(hearing: Hearing, groups: Sequence[ExpectedGroup], one: MatchedPass) -> Iterator[Onset]:
    """Yield the onsets of a pass that tell its time."""
    for group, begin in zip(groups, one.begins, strict=True):
        if begin is not None and has_own_time(group):
            yield Onset(group.sounds[0].start, float(hearing.starts[begin]))


def _best_matching(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float) -> tuple[Matching, int]:
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
