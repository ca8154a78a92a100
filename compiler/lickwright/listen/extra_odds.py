"""How likely a stretch begins a note that the lick has not.

In: a `HeardPass`, a stretch and the groups around it. Out: `ExtraOdds`: the pitch of the note, and the logarithm of the odds that it is one. A logistic
regression weighs what is heard: how surely and how sharply a string is struck, by how much the partials of the pitch rise there, and whether the pitch, or the
one that the lick has there, sounded before.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.combs import Spectrum, comb_strength
from lickwright.listen.entries import Entry
from lickwright.listen.expected import LOWEST, ExpectedGroup
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.picks import attack_sharpness
from lickwright.listen.second_opinion import is_misheard, new_spectrum
from lickwright.listen.stretches import clear_pitch

_AROUND = 0.020  # seconds on either side of the beginning of a stretch in which the partials of its pitch rise
_NEAR = 0.6  # semitones: what is nearer is the same pitch
_STEP = 1.5  # semitones: of two pitches that are nearer only the high partials are told apart, whose level says nothing
_MOVES = 0.4  # semitones that a group moves by: it has a bend, a slide or a vibrato
# Seconds before a stretch from which and until which the pitch is the one that sounded before.
_BEFORE, _GAP = 0.080, 0.020
_RINGS_ON = 2.5  # decibels: a pitch that sounds already is struck again only where its partials rise by more, whatever knocks or rattles there
_SOFTEST = -30.0  # decibels of an entry: softer ones are as doubtful


class ExtraOdds(NamedTuple):
    """A note that the lick has not, if it is one."""

    pitch: float  # MIDI, as the lick would write it
    odds: float  # their logarithm
    same: bool  # the lick has that pitch there


class NewSound(NamedTuple):
    """What is new where a stretch begins."""

    pitch: float  # MIDI, as the lick would write it
    same: bool  # the lick has that pitch there
    spectrum: Spectrum
    entry: Entry | None  # of the pitch; None where the lick's has all its partials

    @property
    def rings_on(self) -> bool:
        """Whether it is the lick's own pitch, which is not struck again."""
        return self.same and (self.entry is None or self.entry.rise <= _RINGS_ON)


class ExtraEvidence(NamedTuple):
    """What speaks for an extra note, and what against it; each about 1 at most."""

    one: float
    picked: float  # odds of the pick, a tenth of their logarithm
    sharp: float  # sharpness of the attack, a tenth of the decibels
    rises: float  # of another pitch: the rise of its partials, a tenth of the decibels
    same: float  # 1 of the pitch that the lick has there
    new: float  # of another pitch: by how much it is stronger than the lick's in what is new
    loud: float  # level of the stretch below the loudest, a tenth of the decibels
    enters: float  # of a pitch that is far from the one before: level of its partials, a tenth of the decibels
    moving: float  # 1 where the lick has a bend, a slide or a vibrato
    rings: float  # 1 of another pitch that sounded before


# A logistic regression on 207 extra notes and 756 stretches that are none, of 680 takes of the sets of tests/bench/listening.py. Left out of it a tenth at a
# time, 204 of the former have odds above -0.5 (their logarithm), and 10 of the latter, in none of the takes without a mistake.
_WEIGHTS = ExtraEvidence(-2.53, 4.03, 2.89, 0.86, -1.49, 1.63, 1.45, 1.64, -3.27, -1.42)


def extra_odds(heard: HeardPass, k: int, around: Sequence[ExpectedGroup]) -> ExtraOdds:
    """Return the pitch of the extra note that stretch `k` may begin, and its odds. `around`: the group that sounds and the one that follows, if one does."""
    sound = new_sound(heard, k, around)
    if sound.rings_on:
        return ExtraOdds(sound.pitch, -np.inf, True)
    evidence = extra_evidence(heard, k, around[0], sound)
    return ExtraOdds(sound.pitch, sum(w * e for w, e in zip(_WEIGHTS, evidence, strict=True)), sound.same)


def new_sound(heard: HeardPass, k: int, around: Sequence[ExpectedGroup]) -> NewSound:
    """Return what is new where stretch `k` begins. `around`: the group that sounds and the one that follows, if one does."""
    hearing, group, at = heard.hearing, around[0], float(heard.hearing.starts[k])
    spectrum = new_spectrum(hearing.recording, at, float(hearing.starts[k + 1]))
    pitch = float(hearing.pitches[k]) - heard.higher
    if not pitch > LOWEST:  # a thump, or no pitch
        pitch = _newest_pitch(spectrum, around, heard.higher)
    pitch = next((p for p in group.pitches if is_misheard(pitch, p)), pitch)
    same = any(low - _NEAR <= pitch <= high + _NEAR for low, high in _ways(group))
    entry = heard.entry((at - _AROUND, at + _AROUND), pitch, [p for p in group.pitches if abs(p - pitch) > _NEAR])
    return NewSound(pitch, same, spectrum, entry)


def extra_evidence(heard: HeardPass, k: int, group: ExpectedGroup, sound: NewSound) -> ExtraEvidence:
    """Return what speaks for an extra note that stretch `k` begins while a group sounds."""
    hearing, pitch, other = heard.hearing, sound.pitch, not sound.same
    at, rise, level = float(hearing.starts[k]), 0.0, _SOFTEST
    if sound.entry is not None:
        rise, level = float(np.clip(sound.entry.rise, -3, 20)), float(np.clip(sound.entry.level, _SOFTEST, 0))
    before = clear_pitch(hearing.features, at - _BEFORE, at - _GAP) - heard.higher
    return ExtraEvidence(
        one=1.0,
        picked=float(np.clip(hearing.picks[k], -8, 10)) / 10,
        sharp=float(np.clip(attack_sharpness(hearing.features, at), 0, 15)) / 10,
        rises=other * rise / 10,
        same=float(sound.same),
        new=other * _newness(sound.spectrum, pitch, group, heard.higher),
        loud=min(0.0, float(hearing.levels[k]) - hearing.features.loud) / 10,
        enters=0.0 if sound.same or abs(pitch - before) < _STEP else level / 10,
        moving=float(group.high - group.low > _MOVES),
        rings=float(other and abs(pitch - before) < _NEAR),
    )


def _newness(spectrum: Spectrum, pitch: float, group: ExpectedGroup, higher: float) -> float:
    """Return by how much a pitch is stronger than those of a group in what is new, -0.2 to 0.8."""
    written = max(comb_strength(spectrum, p + higher) for p in group.pitches)
    return float(np.clip(comb_strength(spectrum, pitch + higher) - written, -0.2, 0.8))


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
