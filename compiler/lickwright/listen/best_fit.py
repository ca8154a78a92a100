"""Which of many licks a recording is of, where its name does not say it.

In: a `Hearing` and the groups of each lick. Out: the index of the lick that fits best. Licks whose pitches are heard least are left out first, since a whole
match of each takes too long.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.match import match_groups
from lickwright.listen.match_costs import pitch_costs
from lickwright.listen.stretches import Hearing
from lickwright.listen.tuning import overall_tuning

_TRIED = 12  # licks that are matched as a whole
_SHIFTS = range(-6, 7)  # semitones by which a whole may be shifted


def best_fit(hearing: Hearing, licks: Sequence[Sequence[ExpectedGroup]]) -> int | None:
    """Return the index of the lick that a recording fits best; None where nothing was heard, or there are no licks."""
    if not licks or not np.isfinite(hearing.pitches).any():
        return None
    tuning = overall_tuning(hearing)
    heard = _heard_pitches(hearing, tuning)
    wanted = [_wanted_pitches(groups) for groups in licks]
    shifts = [max(_SHIFTS, key=lambda by: (_likeness(heard, pitches, by), -abs(by))) for pitches in wanted]
    likeness = [_likeness(heard, pitches, shift) for pitches, shift in zip(wanted, shifts, strict=True)]
    likeliest = sorted(range(len(licks)), key=lambda n: -likeness[n])[:_TRIED]
    costs = {n: _cost(hearing, licks[n], tuning, shifts[n]) for n in likeliest}
    return min(costs, key=lambda n: costs[n])


def _cost(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float, shift: int) -> float:
    """Return what a lick costs as written, or shifted as its pitches suggest, whichever is less."""
    return min(match_groups(hearing, groups, pitch_costs(hearing, groups, tuning + by)).cost for by in {0, shift})


def _heard_pitches(hearing: Hearing, tuning: float) -> NDArray[np.float64]:
    """Return for each MIDI pitch the seconds that it was heard, at most half a second at a time."""
    found = np.zeros(128)
    lengths = np.minimum(np.diff(hearing.starts), 0.5)
    for pitch, length in zip(hearing.pitches, lengths, strict=True):
        if np.isfinite(pitch):
            found[int(np.clip(round(float(pitch) - tuning), 0, 127))] += length
    return found / max(1e-9, float(np.linalg.norm(found)))


def _wanted_pitches(groups: Sequence[ExpectedGroup]) -> NDArray[np.float64]:
    found = np.zeros(128)
    for group in groups:
        if group.kind in (ExpectedKind.SINGLE, ExpectedKind.PAIR):
            for pitch in group.pitches:
                found[round(pitch)] += min(0.5, group.length)
    return found / max(1e-9, float(np.linalg.norm(found)))


def _likeness(heard: NDArray[np.float64], wanted: NDArray[np.float64], shift: int) -> float:
    return float(heard @ np.roll(wanted, shift))
