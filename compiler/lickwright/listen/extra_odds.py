"""How likely a stretch begins a note that the lick has not.

In: a `HeardPass`, a stretch and the groups around it. Out: the pitch of the note, None where it is unlikely. A logistic regression weighs what is heard: how
surely and how sharply a string is struck, by how much the partials of the pitch rise there, and whether the pitch sounded before. One more stroke of the
pitch that sounds already, whose partials tell little, is weighed in `again_odds.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.again_odds import LIKELY, again_odds
from lickwright.listen.combs import Spectrum, comb_strength
from lickwright.listen.entries import Entry
from lickwright.listen.expected import LOWEST, ExpectedGroup, ExpectedKind
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.picks import attack_sharpness
from lickwright.listen.second_opinion import is_misheard, new_spectrum
from lickwright.listen.stretches import clear_pitch
from lickwright.notation.techniques import Curve

_LIKELY = -0.5  # odds (their logarithm) from which on a stretch is an extra note
_AROUND = 0.020  # seconds on either side of the beginning of a stretch in which the partials of its pitch rise
_NEAR = 0.6  # semitones: what is nearer is the same pitch
_STEP = 1.5  # semitones: of two pitches that are nearer only the high partials are told apart, whose level says nothing
_BEFORE, _GAP = 0.080, 0.020  # seconds before a stretch between which the pitch is the one that sounded before
_SETTLED, _SOUNDED = 0.030, 0.120  # seconds after an instant between which its pitch is measured
_NO_PICK = -3.0  # odds of a pick below which no stretch is an extra note of another pitch
_MOST_RISE, _NEWEST = 20.0, 0.8  # decibels, and strength of a comb, beyond which more tells no more
_SOFT = -12.0  # decibels of an entry than which most notes of the player's own are louder
_SOFTEST = -30.0  # decibels of an entry: softer ones are as doubtful


class ExtraEvidence(NamedTuple):
    """What speaks for an extra note, and what against it; each about 1 at most."""

    one: float = 0.0
    picked: float = 0.0  # odds of the pick, a tenth of their logarithm
    sharp: float = 0.0  # sharpness of the attack, a tenth of the decibels
    rises: float = 0.0  # of another pitch: the rise of its partials, a tenth of the decibels
    new: float = 0.0  # of another pitch: by how much it is stronger than the lick's in what is new
    loud: float = 0.0  # level of the stretch below the loudest, a tenth of the decibels
    enters: float = 0.0  # of a pitch that is far from the one before: level of its partials, a tenth of the decibels
    moving: float = 0.0  # 1 where the lick has a bend, a slide or a vibrato
    rings: float = 0.0  # 1 of another pitch that sounded before
    soft: float = (
        0.0  # decibels, below 0, by which its partials are softer than `_SOFT`, a tenth: those of a guitar farther away
    )


# A logistic regression on 207 extra notes and 756 stretches that are none, of 680 takes of the sets of tests/bench/listening.py. Left out of it a tenth at a
# time, 204 of the former have odds above -0.5 (their logarithm), and 10 of the latter, in none of the takes without a mistake.
# The last weight was added afterwards: of 119 extra notes 1 in 20 has partials softer than `_SOFT`, of 16 stretches that were taken for one 12 have.
_WEIGHTS = ExtraEvidence(-2.53, 4.03, 2.89, 0.86, 1.63, 1.45, 1.64, -3.27, -1.42, 1.5)
# What its partials add at most to the odds of another pitch.
_MOST_BY_PARTIALS = _WEIGHTS.rises * _MOST_RISE / 10 + _WEIGHTS.new * _NEWEST


def likely_extra(heard: HeardPass, k: int, around: Sequence[ExpectedGroup]) -> float | None:
    """Return the pitch of the extra note that stretch `k` begins, as the lick would write it; None where it likely begins none.

    `around` are the group that sounds and the one that follows, if one does.
    """
    group = around[0]
    pitch = _pitch_of(heard, k, around)
    if _is_own(group, pitch):
        return pitch if _is_struck_again(heard, float(heard.hearing.starts[k]), group, pitch) else None
    evidence = _attack_evidence(heard, k, group)
    if heard.hearing.picks[k] <= _NO_PICK or _extra_odds(evidence) + _MOST_BY_PARTIALS <= _LIKELY:
        return None
    entry = _entry(heard, k, group, pitch)
    return pitch if _extra_odds(_with_partials(evidence, heard, k, group, pitch, entry)) > _LIKELY else None


def likely_again(heard: HeardPass, at: float, group: ExpectedGroup) -> float | None:
    """Return the pitch of the group that sounds, as written, where its string is likely struck once more at an instant (seconds) that begins no stretch."""
    pitch = clear_pitch(heard.hearing.features, at + _SETTLED, at + _SOUNDED) - heard.higher
    pitch = _known_pitch(pitch if np.isfinite(pitch) else group.pitches[0], group)
    return pitch if _is_own(group, pitch) and _is_struck_again(heard, at, group, pitch) else None


def _is_own(group: ExpectedGroup, pitch: float) -> bool:
    """Return whether a group has a pitch, or comes to it on its way or by its vibrato."""
    shapes = [shape for sound in group.sounds for shape in sound.shapes]
    wobble = max((shape.amount for shape in shapes if shape.technique.curve is Curve.VIBRATO), default=0.0)
    return any(low - _NEAR <= pitch <= high + _NEAR + wobble for low, high in _ways(group))


def _is_struck_again(heard: HeardPass, at: float, group: ExpectedGroup, pitch: float) -> bool:
    """Return whether a string is likely struck once more at an instant (seconds); one that is struck many times, as in a tremolo, never is."""
    own = group.pitches[0] if len(group.pitches) == 1 else pitch
    return group.kind is not ExpectedKind.PASSED and again_odds(heard, at, group, own) > LIKELY


def _extra_odds(evidence: ExtraEvidence) -> float:
    """Return the logarithm of the odds that a stretch begins an extra note."""
    return sum(weight * value for weight, value in zip(_WEIGHTS, evidence, strict=True))


def _entry(heard: HeardPass, k: int, group: ExpectedGroup, pitch: float) -> Entry | None:
    """Return how a pitch enters with stretch `k`, by the partials that no other pitch of a group has."""
    at = float(heard.hearing.starts[k])
    return heard.entry((at - _AROUND, at + _AROUND), pitch, [p for p in group.pitches if abs(p - pitch) > _NEAR])


def _pitch_of(heard: HeardPass, k: int, around: Sequence[ExpectedGroup]) -> float:
    """Return the pitch of a stretch, as the lick would write it."""
    pitch = float(heard.hearing.pitches[k]) - heard.higher
    if not pitch > LOWEST:  # a thump, or no pitch
        pitch = _newest_pitch(_new_spectrum(heard, k), around, heard.higher)
    return _known_pitch(pitch, around[0])


def _known_pitch(pitch: float, group: ExpectedGroup) -> float:
    """Return the pitch of a group that is often heard as this one, else this one."""
    return next((p for p in group.pitches if is_misheard(pitch, p)), pitch)


def _attack_evidence(heard: HeardPass, k: int, group: ExpectedGroup) -> ExtraEvidence:
    """Return what speaks for an extra note by how stretch `k` begins."""
    hearing = heard.hearing
    return ExtraEvidence(
        one=1.0,
        picked=float(np.clip(hearing.picks[k], -8, 10)) / 10,
        sharp=float(np.clip(attack_sharpness(hearing.features, float(hearing.starts[k])), 0, 15)) / 10,
        loud=min(0.0, float(hearing.levels[k]) - hearing.features.loud) / 10,
        moving=float(group.is_moving),
    )


def _with_partials(
    evidence: ExtraEvidence, heard: HeardPass, k: int, group: ExpectedGroup, pitch: float, entry: Entry | None
) -> ExtraEvidence:
    """Return the evidence for another pitch than the group's, with what its partials tell."""
    rise, level = 0.0, _SOFTEST
    if entry is not None:
        rise, level = float(np.clip(entry.rise, -3, _MOST_RISE)), float(np.clip(entry.level, _SOFTEST, 0))
    at = float(heard.hearing.starts[k])
    before = clear_pitch(heard.hearing.features, at - _BEFORE, at - _GAP) - heard.higher
    return evidence._replace(
        rises=rise / 10,
        new=_newness(_new_spectrum(heard, k), pitch, group, heard.higher),
        enters=0.0 if abs(pitch - before) < _STEP else level / 10,
        rings=float(abs(pitch - before) < _NEAR),
        soft=min(0.0, level - _SOFT) / 10 if entry is not None else 0.0,
    )


def _new_spectrum(heard: HeardPass, k: int) -> Spectrum:
    return new_spectrum(heard.hearing.recording, float(heard.hearing.starts[k]), float(heard.hearing.starts[k + 1]))


def _newness(spectrum: Spectrum, pitch: float, group: ExpectedGroup, higher: float) -> float:
    """Return by how much a pitch is stronger than those of a group in what is new, -0.2 to `_NEWEST`."""
    written = max(comb_strength(spectrum, p + higher) for p in group.pitches)
    return float(np.clip(comb_strength(spectrum, pitch + higher) - written, -0.2, _NEWEST))


def _ways(group: ExpectedGroup) -> list[tuple[float, float]]:
    """Return the lowest and the highest pitch of each note of a chord, or of a group as a whole."""
    chord = len(group.pitches) > 2 and not any(sound.shapes for sound in group.sounds)
    return [(p, p) for p in group.pitches] if chord else [(group.low, group.high)]


def _newest_pitch(spectrum: Spectrum, groups: Sequence[ExpectedGroup], higher: float) -> float:
    """Return the pitch that is strongest in what is new, within an octave of the groups."""
    low, high = min(min(g.pitches) for g in groups), max(max(g.pitches) for g in groups)
    return max(
        (float(p) for p in np.arange(round(low) - 12, round(high) + 13)),
        key=lambda p: comb_strength(spectrum, p + higher),
    )
