"""What it costs that a stretch of a recording begins a group of a lick, or goes on in it, by pitch.

In: a `Hearing`, groups and how much higher the whole sounds. Out: `PitchCosts`, arrays of groups by stretches. Costs are in parts of a note left out, all
estimates (tests/bench/listening.py measures what they find).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import record
from lickwright.listen.combs import comb_table
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.second_opinion import MISHEARD
from lickwright.listen.stretches import PICKED, Hearing

Costs = NDArray[np.float32]

EXTRA = 0.75
_STRONG, _STRONG_SPAN = 0.72, 0.35  # strength of a comb that costs nothing, and by how much less costs a whole note
_SECOND = 0.05  # of a group that is told by its partials only
# Of a group that is told by its partials in what is no string, since noise has something at each; a pair has no one pitch that tells it.
_NO_STRING = 0.4
_UNCLEAR, _SILENT = 0.5, 0.9  # of a group that begins where no pitch is clear, and where there is no sound
_STEP_ONLY, _STEP_ONLY_STRUCK = (
    0.1,
    0.3,
)  # of a group that begins where only the pitch steps: of a joined one, of a struck one
_NO_PICK = 0.85  # of a group that begins where nothing rises and nothing steps
_NO_PICK_SWELL = 0.1  # of a swell, which begins so
# What is passed over and has pitches, so that the lick is known by it though it is not judged.
_TUNEFUL = (
    "swells", "tremolo picking", "harmonics in a double stop", "grace notes", "chords of three notes and more",
    "notes below the E string's open one", "notes above the 24th fret", "notes too short to hear",
)  # fmt: skip
_LOOSE = (ExpectedKind.PASSED, ExpectedKind.UNPITCHED)  # what begins at any pitch
_STRUCK_ON = (
    "tremolo picking",
    "dead notes and rakes",
    "scrapes",
    "swells",
)  # what goes on by more strokes, or louder ones
_TUNEFUL_LEAST, _TUNEFUL_MOST = 0.06, 0.5  # of such a group that begins at its pitch, and of one that does not
_MISHEARD = 0.3  # of a pitch that is often taken for the right one
_NEAR, _FAR = 0.42, 1.0  # semitones off: up to the first it is right, from the second on another note
# A note that a student gets wrong is seldom far from the right one; what is far is more often no note of the lick, as a click or talk before it.
_FAR_AWAY, _FARTHEST, _FAR_MORE = (
    5.0,
    13.0,
    0.3,
)  # semitones from which and up to which more is charged, and how much more


@record
class PitchCosts:
    """Costs by pitch, shape (groups, stretches)."""

    begin: Costs  # that the group begins with the stretch
    inside: Costs  # that the stretch belongs to the group, which began before
    foreign: NDArray[np.bool_]  # shape (stretches,): the pitch of the stretch is none of the lick's


def is_tuneful(group: ExpectedGroup) -> bool:
    """Return whether a group has pitches that a lick is known by, be they judged or not."""
    return group.kind in (ExpectedKind.SINGLE, ExpectedKind.PAIR) or group.why in _TUNEFUL


def distance_costs(off: NDArray[np.float32]) -> Costs:
    """Return what a pitch costs that is so many semitones away from where it should be."""
    return np.asarray(np.clip((off - _NEAR) / (_FAR - _NEAR), 0, 1), np.float32)


def _interval_costs(pitches: NDArray[np.float32], lows: NDArray[np.float32], highs: NDArray[np.float32]) -> Costs:
    """Return the cost of each pitch (columns) against each interval (rows); NaN where there is no pitch."""

    def off(misheard: float) -> NDArray[np.float32]:
        p = pitches[None, :] - np.float32(misheard)
        return np.asarray(np.maximum(np.maximum(lows[:, None] - p, p - highs[:, None]), 0), np.float32)

    away = off(0.0)
    best = distance_costs(away)
    for misheard in MISHEARD:
        best = np.minimum(best, np.maximum(distance_costs(off(misheard)), _MISHEARD))
    farther = np.clip((away - _FAR_AWAY) / (_FARTHEST - _FAR_AWAY), 0, 1)
    return np.asarray(np.where(best < 1, best, 1 + _FAR_MORE * farther), np.float32)


def pitch_costs(hearing: Hearing, groups: Sequence[ExpectedGroup], higher: float) -> PitchCosts:
    """Return the costs of a hearing whose pitches are `higher` semitones above those of the groups."""
    pitches = hearing.pitches - np.float32(higher)
    lows, highs = (np.array(v, np.float32) for v in ([g.low for g in groups], [g.high for g in groups]))
    weight = np.clip(np.diff(hearing.starts) / 0.10, 0.3, 1.0).astype(np.float32)
    silent = ~np.isfinite(hearing.pitches) & (hearing.levels < hearing.features.loud - 42)
    sure = 1 / (1 + np.exp(-np.clip(hearing.picks, -20, 20)))  # that it is a pick
    firsts = _interval_costs(pitches, *(np.array([g.first[n] for g in groups], np.float32) for n in (0, 1)))
    begin = _begin_costs(hearing, groups, firsts, _comb_costs(hearing, groups, higher), weight)
    begin[:, silent] = _SILENT
    begin += _unstruck_costs(hearing, groups, sure)
    inside = _inside_costs(hearing, groups, _interval_costs(pitches, lows, highs), weight, sure)
    inside *= hearing.weights
    inside[:, silent] = 0
    away = np.maximum(lows[:, None] - pitches[None, :], pitches[None, :] - highs[:, None]).min(axis=0)
    return PitchCosts(begin.astype(np.float32), inside.astype(np.float32), ~(away < _FAR))


def _begin_costs(
    hearing: Hearing, groups: Sequence[ExpectedGroup], firsts: Costs, combs: Costs, weight: Costs
) -> NDArray[np.floating]:
    """Return what it costs that each group begins with each stretch, by the pitch and by the partials; `weight`: how much a stretch tells by its length."""
    unclear = ~np.isfinite(hearing.pitches)
    begin = firsts * weight + (1 - weight) * 0.3 * (firsts > 0)
    told = combs + _NO_STRING * (1 - hearing.plucked)
    begin = np.where(unclear, np.clip(told, 0.1, _UNCLEAR), np.minimum(begin, told + _SECOND))
    pairs = _are_of(groups, ExpectedKind.PAIR)
    begin[pairs] = combs[pairs]
    begin[_are_of(groups, *_LOOSE)] = 0.12
    tuneful = np.array([is_tuneful(g) and bool(g.why) for g in groups])
    many = np.array([len(g.pitches) > 1 for g in groups])
    pitched = np.where(unclear | many[:, None], 1.0, firsts * weight)
    begin[tuneful] = np.clip(np.minimum(pitched, told), _TUNEFUL_LEAST, _TUNEFUL_MOST)[tuneful]
    return begin


def _unstruck_costs(
    hearing: Hearing, groups: Sequence[ExpectedGroup], sure: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Return what it costs besides that each group begins with a stretch where no string is struck for sure."""
    struck = np.array([g.struck for g in groups])[:, None]
    stepped = np.where(struck, _STEP_ONLY_STRUCK, _STEP_ONLY)
    no_pick = np.array([_NO_PICK_SWELL if g.why == "swells" else _NO_PICK for g in groups])[:, None]
    return np.asarray(np.minimum(no_pick * (1 - sure), np.where(hearing.steps, stepped, 1.0)))


def _inside_costs(
    hearing: Hearing, groups: Sequence[ExpectedGroup], wholes: Costs, weight: Costs, sure: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Return what it costs that each stretch belongs to each group, which began before."""
    inside = np.where(~np.isfinite(hearing.pitches), 0.0, wholes * weight * EXTRA)
    inside[_are_of(groups, ExpectedKind.PAIR)] = 0.0
    inside = np.maximum(inside, EXTRA * weight * sure)
    again = np.array([g.why in _STRUCK_ON or any(s.trill for s in g.sounds) for g in groups])
    inside[again] *= 0.1
    inside[_are_of(groups, *_LOOSE) & ~again] *= 0.6
    return inside


def _are_of(groups: Sequence[ExpectedGroup], *kinds: ExpectedKind) -> NDArray[np.bool_]:
    """Return which groups are of one of some kinds."""
    return np.array([g.kind in kinds for g in groups])


def _comb_costs(hearing: Hearing, groups: Sequence[ExpectedGroup], higher: float) -> Costs:
    """Return what it costs that each group begins with each stretch, by the partials that are new there."""
    pitched = [is_tuneful(g) for g in groups]
    needed = sorted({round(p + higher, 2) for g, told in zip(groups, pitched, strict=True) if told for p in g.pitches})
    table = comb_table(hearing.recording, hearing.starts, hearing.picks > PICKED, needed)
    costs = np.clip((_STRONG - table) / _STRONG_SPAN, 0, 1)
    column = {pitch: n for n, pitch in enumerate(needed)}
    found = np.ones((len(groups), hearing.count), np.float32)
    for n, group in enumerate(groups):
        if pitched[n]:
            found[n] = np.mean([costs[:, column[round(p + higher, 2)]] for p in group.pitches], axis=0)
    return found
