"""What sounds between two boundaries: stretches of a recording, each with its pitch, its level and how it begins.

In: a `Recording` and its `Features`. Out: `Hearing`: parallel arrays with one value a stretch. Boundaries at which nothing begins are left out, and a
pitch that is unclear just after a pick makes none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import field, record
from lickwright.listen.boundaries import Boundary, find_boundaries, sound_gate
from lickwright.listen.features import FRAME, Features, Values, measure_recording
from lickwright.listen.picks import attack_sharpness, lasting_change, onset_instant, partial_rises
from lickwright.listen.plucked import plucked_likelihoods
from lickwright.listen.recording import Recording

CLEAR = 0.72  # clarity of frames that tell a pitch
# Logarithms of the odds that a boundary is a pick: by how much its partials rise (a share of 10 dB), by its change against that of a strong
# peak, and by how sharply the high band rises (a share of 10 dB). A logistic regression on the picks of 120 takes of the tuning set of
# tests/bench/listening.py, 98 % of which it tells.
_ODDS = (-7.8, 3.6, 5.5, 5.1)
PICKED = 0.0  # odds (their logarithm) from which on a boundary is a pick
_RISEN = 0.5  # of 10 dB: where the partials rise by less, what is new must last, or it is a click:
_LASTING = 0.17  # share of the spectrum
_CLICK = -4.0  # odds of a click
_WEAK = -2.5  # odds below which a boundary without a step is none
_SETTLING = 0.095  # seconds after a pick in which steps are the pick's own noise
_AGAIN, _AGAIN_SHARE = (
    2.5,
    0.4,
)  # odds that a second pick within that time must have, and share of the change of the first
_ATTACK = 0.030  # seconds before a pick in which a boundary is its own
_GLIDING = 0.8  # clarity of each frame of a pitch that goes on
_SAME = 0.8  # semitones
_SKIPPED = 0.035  # seconds after a boundary whose pitch still has the sound before in it
_NO_STRING, _SURE_STRING = 0.5, 0.8  # likelihood of a string
_BODY = 0.40  # seconds that the pitch of a stretch is taken from
_CHANGED = 0.1  # share of a strong peak's change from which on a boundary that begins no stretch may be a stroke


@record
class Hearing:
    """The stretches of a recording, in order; stretch k lasts from `starts[k]` to `starts[k + 1]`."""

    recording: Recording
    features: Features
    starts: NDArray[np.float64]  # seconds, with the end of the recording after the last
    picks: Values  # logarithm of the odds that a string is struck there
    pitches: Values  # MIDI; NaN where there is none
    levels: Values  # decibels
    steps: NDArray[np.bool_]  # the pitch steps there
    plucked: Values  # how likely it is a string and no voice or noise, 0 to 1
    changes: NDArray[np.float64]  # seconds at which the spectrum changes, but no stretch begins
    # What `HeardPass.unstruck_sharpness` measured, once it was asked for: it is of the whole recording, and a recording may have a thousand passes.
    unstruck: list[float] = field(default_factory=list, init=False, repr=False, compare=False)

    @property
    def count(self) -> int:
        """How many stretches there are."""
        return len(self.picks)

    @property
    def weights(self) -> Values:
        """How much of each stretch must be explained, 0 to 1: nothing of what is likelier no string, all of what is surely one."""
        weights = np.clip((self.plucked - _NO_STRING) / (_SURE_STRING - _NO_STRING), 0, 1)
        return np.asarray(weights, np.float32)


def hear_recording(recording: Recording) -> Hearing:
    """Return the stretches of a recording."""
    features = measure_recording(recording)
    found = find_boundaries(features)
    instants = np.array([b.frame * FRAME for b in found])
    picks = _pick_odds(recording, features, found)
    kept = _kept(found, instants, picks)
    onsets = [onset_instant(features, instants[k]) if picks[k] > PICKED else float(instants[k]) for k in kept]
    starts = np.array([*np.maximum.accumulate(onsets), recording.seconds]) if kept else np.array([recording.seconds])
    pitches, levels = _bodies(features, starts)
    struck = picks[kept].astype(np.float32) if kept else np.zeros(0, np.float32)
    return Hearing(
        recording, features, starts, struck, pitches, levels, np.array([found[k].step for k in kept], bool),
        plucked_likelihoods(features, starts, struck, levels), _other_changes(found, instants, starts),
    )  # fmt: skip


def _other_changes(
    found: list[Boundary], instants: NDArray[np.float64], starts: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the instants (seconds) of boundaries at which the spectrum changes, and that are apart from where any stretch begins."""
    changed = instants[np.array([b.flux > _CHANGED for b in found], bool)]
    after = np.searchsorted(starts, changed)
    near = np.minimum(
        np.abs(changed - starts[np.maximum(after - 1, 0)]), np.abs(changed - starts[np.minimum(after, len(starts) - 1)])
    )
    return np.asarray(changed[near > _ATTACK], np.float64)


def clear_pitch(features: Features, start: float, stop: float) -> float:
    """Return the median pitch of clear frames between two instants (seconds); NaN where fewer than two are clear."""
    first, last = max(0, round(start / FRAME)), min(len(features.pitch), round(stop / FRAME) + 1)
    clear = features.clarity[first:last] > CLEAR
    if clear.sum() < 2:
        return float("nan")
    return float(np.median(features.pitch[first:last][clear]))


def _pick_odds(recording: Recording, features: Features, found: list[Boundary]) -> Values:
    """Return the logarithm of the odds that each boundary is a pick."""
    rises = np.clip(_rises(recording, features, found), -4, 15) / 10
    changes = np.clip(np.array([b.flux for b in found], np.float32), 0, 1.5)
    sharp = [
        attack_sharpness(features, onset_instant(features, b.frame * FRAME)) if b.flux > 0.05 else 0.0 for b in found
    ]
    sharpness = np.clip(np.array(sharp, np.float32), -1, 10) / 10
    base, rise, change, sharply = _ODDS
    odds = np.asarray(base + rise * rises + change * changes + sharply * sharpness, np.float32)
    for k in np.flatnonzero((odds > PICKED) & (rises < _RISEN)):
        if lasting_change(recording, found[k].frame * FRAME) < _LASTING:
            odds[k] = _CLICK
    return odds


def _rises(recording: Recording, features: Features, found: list[Boundary]) -> Values:
    """Return by how many decibels the partials rise at each boundary, each partial followed where the pitch glides."""
    before, after = [], []
    for b in found:
        at = b.frame * FRAME
        if _glides(features, b.frame):
            early, late = clear_pitch(features, at - 0.035, at - 0.005), clear_pitch(features, at + 0.010, at + 0.040)
        else:
            early, late = clear_pitch(features, at - 0.075, at - 0.02), clear_pitch(features, at + 0.035, at + 0.09)
            late = late if np.isfinite(late) else float(features.pitch[min(len(features.pitch) - 1, b.frame + 8)])
            early = early if abs(early - late) < _SAME else late
        before.append(early)
        after.append(late)
    return partial_rises(recording, [b.frame * FRAME for b in found], before, after)


def _glides(features: Features, frame: int) -> bool:
    """Return whether the pitch goes on without a break across a frame."""
    part = slice(max(0, frame - 7), frame + 9)
    if len(features.pitch[part]) < 16 or features.clarity[part].min() < _GLIDING:
        return False
    return bool(np.abs(np.diff(features.pitch[part])).max() < 0.4)


def _kept(found: list[Boundary], instants: NDArray[np.float64], picks: Values) -> list[int]:
    """Return the indices of boundaries at which something begins or ends."""
    kept: list[int] = []
    picked = -1  # the last pick
    for k, b in enumerate(found):
        if picked >= 0 and instants[k] - instants[picked] < _SETTLING and not _is_again(found, picks, k, picked):
            continue
        is_pick = picks[k] > PICKED
        if is_pick and kept and instants[k] - instants[kept[-1]] < _ATTACK:
            kept.pop()
        if b.step or b.end or picks[k] > _WEAK:
            kept.append(k)
        if is_pick:
            picked = k
    return kept


def _is_again(found: list[Boundary], picks: Values, k: int, picked: int) -> bool:
    """Return whether a boundary so soon after a pick is another pick, not the noise of the first."""
    return bool(picks[k] > _AGAIN) and found[k].flux > _AGAIN_SHARE * found[picked].flux


def _bodies(features: Features, starts: NDArray[np.float64]) -> tuple[Values, Values]:
    """Return pitch and level of each stretch. Silence has no pitch."""
    gate = sound_gate(features)
    pitches, levels = [], []
    for start, stop in zip(starts[:-1], starts[1:], strict=True):
        first = round(start / FRAME)
        last = max(first + 1, min(round(stop / FRAME), first + round(_BODY / FRAME)))
        level = features.level[first:last]
        loud = float(level.max(initial=-120.0))
        levels.append(loud)
        late = start + _SKIPPED if stop - start > 2 * _SKIPPED else (start + stop) / 2
        pitches.append(clear_pitch(features, late, min(stop - 0.015, start + _BODY)) if loud > gate else np.nan)
    return np.array(pitches, np.float32), np.array(levels, np.float32)
