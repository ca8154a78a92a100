"""What it costs to read a recording as a lick, against reading it as mirrors of that lick: backwards, upside down, both, or some steps higher or lower.

In: a `Hearing`, the groups of a lick and how much higher they sound. Out: a `Fit`. A mirror has notes of the lick and its rhythm, and steps and leaps like
its own, but nobody plays it. Another lick fits the recording about as badly as the mirrors do. The lick itself fits far better, and pauses and talk cost it
as much as they cost its mirrors.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup
from lickwright.listen.match import match_groups
from lickwright.listen.match_costs import PitchCosts, is_tuneful, pitch_costs
from lickwright.listen.stretches import Hearing

_STEPS = 2  # of the lick's own pitches, by which a mirror is higher or lower
_MATCHED = 3  # mirrors, those that are the least like the lick: some licks are the same backwards, or upside down
# Cost a group of a reading of another lick, in the middle: of the notes that a mirror has at the same place as the lick, as of a lick of one pitch.
_ELSEWHERE = 0.9


class Fit(NamedTuple):
    """What the best reading costs a group, in parts of a note left out, where the tempo is not known before."""

    cost: float  # of the lick
    mirrored: float  # of its mirrors, in the mean, as if they had no note where the lick has it


def fit_against_mirrors(hearing: Hearing, groups: Sequence[ExpectedGroup], higher: float) -> Fit:
    """Return how a lick that sounds `higher` semitones above what is written fits a recording, and how its mirrors do."""
    readings = [list(groups), *mirrored_groups(groups)]
    # The costs of all are measured at once: their pitches are the same, and the partials of each are looked for only once.
    costs = pitch_costs(hearing, [group for reading in readings for group in reading], higher)
    rows = [slice(n * len(groups), (n + 1) * len(groups)) for n in range(len(readings))]
    found = [
        match_groups(hearing, reading, PitchCosts(costs.begin[part], costs.inside[part], costs.foreign)).cost
        for reading, part in zip(readings, rows, strict=True)
    ]
    same = float(np.mean([_likeness(groups, mirror) for mirror in readings[1:]]))
    return Fit(found[0], float(np.mean(found[1:])) + same * max(0.0, _ELSEWHERE - found[0]))


def mirrored_groups(groups: Sequence[ExpectedGroup]) -> list[list[ExpectedGroup]]:
    """Return the mirrors that are the least like a lick, in its rhythm. What has no pitch stays."""
    tuneful = [n for n, group in enumerate(groups) if is_tuneful(group)]
    pitches = [groups[n].pitches[0] for n in tuneful]
    ladder = sorted(set(pitches))
    rungs = np.searchsorted(ladder, pitches)
    top = len(ladder) - 1
    mirrors = [rungs[::-1], top - rungs, top - rungs[::-1]]
    mirrors += [_turned_back(rungs + by, top) for by in (_STEPS, -_STEPS)]
    mirrors.sort(key=lambda mirror: int((mirror == rungs).sum()))
    return [_at_pitches(groups, tuneful, [ladder[k] for k in mirror]) for mirror in mirrors[:_MATCHED]]


def _likeness(groups: Sequence[ExpectedGroup], mirror: Sequence[ExpectedGroup]) -> float:
    """Return the share of the groups that have pitches which are the same in a mirror."""
    same = [group.pitches == other.pitches for group, other in zip(groups, mirror, strict=True) if is_tuneful(group)]
    return sum(same) / max(1, len(same))


def _turned_back(rungs: NDArray[np.intp], top: int) -> NDArray[np.intp]:
    """Return places on a ladder from 0 to `top`, where those beyond an end are as far on this side of it."""
    if not top:
        return np.zeros_like(rungs)
    around = np.mod(rungs, 2 * top)
    return np.asarray(np.minimum(around, 2 * top - around), np.intp)


def _at_pitches(groups: Sequence[ExpectedGroup], which: Sequence[int], pitches: Sequence[float]) -> list[ExpectedGroup]:
    """Return groups, some of them moved as a whole so that their first pitch is another one."""
    found = list(groups)
    for n, pitch in zip(which, pitches, strict=True):
        group = groups[n]
        by = pitch - group.pitches[0]
        found[n] = group._replace(
            pitches=tuple(p + by for p in group.pitches), first=(group.first[0] + by, group.first[1] + by),
            low=group.low + by, high=group.high + by,
        )  # fmt: skip
    return found
