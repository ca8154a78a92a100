"""Which of many licks a recording is of, where its name does not say it.

In: a `Hearing` and the groups of each lick. Out: the indices of the licks that fit best. A whole match of each would take too long, so that those whose
pitches are heard least are left out first. A library may have one lick in every key: a lick that fits as it is written comes before one that has to be
shifted. It may have one lick several times, as at other tempos: licks of the same notes in the same rhythm are matched once, and the first is named.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.match import match_groups
from lickwright.listen.match_costs import pitch_costs
from lickwright.listen.stretches import Hearing
from lickwright.listen.tuning import heard_combs, overall_tuning

_BY_PITCH, _BY_COMB = 14, 16  # licks that are matched as a whole, of the likeliest by either
_SHIFTS = sorted(range(-6, 7), key=abs)  # semitones by which a whole may be shifted, none first
_LESS_LIKE = 0.15  # likeness by which a shift must be better than none for it to be tried
_COSTLIER = 0.08  # cost a group by which a shifted reading must be cheaper
_LONGEST = 0.5  # seconds that a note counts for at most
_FINE = 100  # parts of a lick's length in which two rhythms are compared


class LickLibrary:
    """The licks that recordings may be of, prepared once for many recordings."""

    def __init__(self, licks: Sequence[Sequence[ExpectedGroup]]) -> None:
        first: dict[Hashable, int] = {}
        for n, groups in enumerate(licks):
            first.setdefault(_notes_in_rhythm(groups), n)
        self._licks = [(n, licks[n]) for n in first.values()]
        self._wanted = np.array([_wanted_pitches(groups) for _, groups in self._licks]).reshape(-1, 128)

    def best_fits(self, hearing: Hearing, most: int) -> list[int]:
        """Return the indices of the licks that a recording fits best, the best first; none where nothing was heard."""
        if not self._licks or not np.isfinite(hearing.pitches).any():
            return []
        tuning = overall_tuning(hearing)
        shifts = self._likeliest(_heard_pitches(hearing, tuning), _BY_PITCH)
        # Where two strings sound at once, their partials are heard, and no one pitch.
        for n, shift in self._likeliest(heard_combs(hearing, tuning), _BY_COMB).items():
            shifts.setdefault(n, shift)
        costs = {
            self._licks[n][0]: _lick_cost(hearing, self._licks[n][1], tuning, shift) for n, shift in shifts.items()
        }
        return sorted(costs, key=lambda index: costs[index])[:most]

    def _likeliest(self, heard: NDArray[np.float64], most: int) -> dict[int, int]:
        """Return the licks whose pitches are heard most, each with the semitones by which it is likeliest shifted. `heard`: how long each MIDI pitch is."""
        heard = heard / max(1e-9, float(np.linalg.norm(heard)))
        likeness = np.array([self._wanted @ np.roll(heard, -by) - _LESS_LIKE * (by != 0) for by in _SHIFTS])
        likeliest = np.argsort(-likeness.max(axis=0), kind="stable")[:most]
        return {int(n): _SHIFTS[int(np.argmax(likeness[:, n]))] for n in likeliest}


def _lick_cost(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float, shift: int) -> float:
    """Return what a lick costs as written, or shifted as its pitches suggest, whichever is less."""
    cost = match_groups(hearing, groups, pitch_costs(hearing, groups, tuning)).cost
    if not shift:
        return cost
    return min(cost, match_groups(hearing, groups, pitch_costs(hearing, groups, tuning + shift)).cost + _COSTLIER)


def _notes_in_rhythm(groups: Sequence[ExpectedGroup]) -> Hashable:
    """Return what is equal for two licks of the same notes, as they sound, in the same rhythm at any tempo."""
    end = max((group.at for group in groups), default=0.0) or 1.0
    return tuple((round(_FINE * g.at / end), g.pitches, round(g.low), round(g.high)) for g in groups)


def _heard_pitches(hearing: Hearing, tuning: float) -> NDArray[np.float64]:
    """Return for each MIDI pitch the seconds that it was heard, at most half a second at a time."""
    found = np.zeros(128)
    lengths = np.minimum(np.diff(hearing.starts), _LONGEST)
    for pitch, length in zip(hearing.pitches, lengths, strict=True):
        if np.isfinite(pitch):
            found[int(np.clip(round(float(pitch) - tuning), 0, 127))] += length
    return found


def _wanted_pitches(groups: Sequence[ExpectedGroup]) -> NDArray[np.float64]:
    found = np.zeros(128)
    for group in groups:
        if group.kind in (ExpectedKind.SINGLE, ExpectedKind.PAIR):
            for pitch in group.pitches:
                found[round(pitch)] += min(_LONGEST, group.length)
    return found / max(1e-9, float(np.linalg.norm(found)))
