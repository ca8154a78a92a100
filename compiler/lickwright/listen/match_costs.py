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
_UNCLEAR, _SILENT = 0.5, 0.9  # of a group that begins where no pitch is clear, and where there is no sound
_STEP_ONLY, _STEP_ONLY_STRUCK = (
    0.1,
    0.3,
)  # of a group that begins where only the pitch steps: of a joined one, of a struck one
_NO_PICK = 0.85  # of a group that begins where nothing rises and nothing steps
_NO_PICK_SWELL = 0.1  # of a swell, which begins so
_TUNEFUL = (
    "swells",
    "tremolo picking",
    "harmonics",
    "grace notes",
)  # what is passed over and has a pitch, so that the lick is known by it
_MISHEARD = 0.3  # of a pitch that is often taken for the right one
_NEAR, _FAR = 0.42, 1.0  # semitones off: up to the first it is right, from the second on another note


@record
class PitchCosts:
    """Costs by pitch, shape (groups, stretches)."""

    begin: Costs  # that the group begins with the stretch
    inside: Costs  # that the stretch belongs to the group, which began before


def distance_costs(off: NDArray[np.float32]) -> Costs:
    """Return what a pitch costs that is so many semitones away from where it should be."""
    return np.asarray(np.clip((off - _NEAR) / (_FAR - _NEAR), 0, 1), np.float32)


def _interval_costs(pitches: NDArray[np.float32], lows: NDArray[np.float32], highs: NDArray[np.float32]) -> Costs:
    """Return the cost of each pitch (columns) against each interval (rows); NaN where there is no pitch."""
    best: Costs | None = None
    for misheard in (0.0, *MISHEARD):
        p = pitches[None, :] - np.float32(misheard)
        off = np.maximum(np.maximum(lows[:, None] - p, p - highs[:, None]), 0)
        cost = np.maximum(distance_costs(off), _MISHEARD if misheard else 0)
        best = cost if best is None else np.minimum(best, cost)
    assert best is not None
    return best.astype(np.float32)


def pitch_costs(hearing: Hearing, groups: Sequence[ExpectedGroup], higher: float) -> PitchCosts:
    """Return the costs of a hearing whose pitches are `higher` semitones above those of the groups."""
    pitches = hearing.pitches - np.float32(higher)
    lengths = np.diff(hearing.starts)
    weight = np.clip(lengths / 0.10, 0.3, 1.0).astype(np.float32)
    silent = ~np.isfinite(hearing.pitches) & (hearing.levels < hearing.features.loud - 42)
    unclear = ~np.isfinite(hearing.pitches)
    firsts = _interval_costs(pitches, *(np.array([g.first[n] for g in groups], np.float32) for n in (0, 1)))
    lows, highs = (np.array(v, np.float32) for v in ([g.low for g in groups], [g.high for g in groups]))
    wholes = _interval_costs(pitches, lows, highs)
    begin = np.where(unclear, _UNCLEAR, firsts * weight + (1 - weight) * 0.3 * (firsts > 0))
    combs = _comb_costs(hearing, groups, higher)
    pairs = [n for n, g in enumerate(groups) if g.kind is ExpectedKind.PAIR]
    begin = np.where(unclear, np.clip(combs, 0.1, _UNCLEAR), np.minimum(begin, combs + _SECOND))
    begin[pairs] = combs[pairs]
    loose = np.array([g.kind in (ExpectedKind.PASSED, ExpectedKind.UNPITCHED) for g in groups])
    begin[loose] = 0.12
    tuneful = np.array([g.kind is ExpectedKind.PASSED and g.why in _TUNEFUL and len(g.pitches) == 1 for g in groups])
    begin[tuneful] = np.where(unclear, 0.12, np.clip(firsts[tuneful] * weight, 0.06, _UNCLEAR))
    begin[:, silent] = _SILENT
    sure = 1 / (1 + np.exp(-np.clip(hearing.picks, -20, 20)))  # that it is a pick
    struck = np.array([g.struck for g in groups])[:, None]
    stepped = np.where(struck, _STEP_ONLY_STRUCK, _STEP_ONLY)
    no_pick = np.array([_NO_PICK_SWELL if g.why == "swells" else _NO_PICK for g in groups])[:, None]
    begin += np.minimum(no_pick * (1 - sure), np.where(hearing.steps, stepped, 1.0))
    inside = np.where(unclear, 0.0, wholes * weight * EXTRA)
    inside[pairs] = 0.0
    inside = np.maximum(inside, EXTRA * weight * sure)
    again = np.array(
        [
            g.why in ("tremolo picking", "dead notes and rakes", "scrapes", "swells") or any(s.trill for s in g.sounds)
            for g in groups
        ]
    )
    inside[again] *= 0.1
    inside[loose & ~again] *= 0.6
    inside[:, silent] = 0
    return PitchCosts(begin.astype(np.float32), inside.astype(np.float32))


def _comb_costs(hearing: Hearing, groups: Sequence[ExpectedGroup], higher: float) -> Costs:
    """Return what it costs that each group begins with each stretch, by the partials that are new there."""
    judged = [g.kind in (ExpectedKind.SINGLE, ExpectedKind.PAIR) for g in groups]
    needed = sorted({round(p + higher, 2) for g, told in zip(groups, judged, strict=True) if told for p in g.pitches})
    table = comb_table(hearing.recording, hearing.starts, hearing.picks > PICKED, needed)
    costs = np.clip((_STRONG - table) / _STRONG_SPAN, 0, 1)
    column = {pitch: n for n, pitch in enumerate(needed)}
    found = np.ones((len(groups), hearing.count), np.float32)
    for n, group in enumerate(groups):
        if judged[n]:
            found[n] = np.mean([costs[:, column[round(p + higher, 2)]] for p in group.pitches], axis=0)
    return found
