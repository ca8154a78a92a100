"""How likely a string is struck once more at the pitch that sounds already.

In: a `HeardPass`, an instant and the group that sounds there. Out: the logarithm of the odds. The pitch tells nothing there, and the level little where the
string was stopped for a moment only. A logistic regression weighs what else a stroke does: the wave of the string breaks off, its partials begin with other
phases, all bands rise together, and the high band rises sharply.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lickwright.listen.expected import ExpectedGroup
from lickwright.listen.features import FRAME, Features
from lickwright.listen.heard_pass import NEVER, HeardPass
from lickwright.listen.renewals import steepest_renewal
from lickwright.listen.stretches import clear_pitch
from lickwright.listen.wave_breaks import period_break, phase_break

_AROUND = 0.030  # seconds on either side of the instant in which the string is struck
_BEFORE, _GAP = 0.080, 0.015  # seconds before the instant between which its pitch is measured
_BENT = 2.5  # semitones from its written pitch that it may be bent by then
_LOUD_FROM, _LOUD_TO = 0.010, 0.100  # seconds after the instant between which it is loudest
LIKELY = 0.8  # odds (their logarithm) above which a string is struck once more
# Decibels of either without which no string is struck: of 614 strokes 12 have less.
_LEAST_SHARP, _LEAST_LOUD = 2.0, -15.0
# Tens of decibels of `breaks`, and `turned`, of which one at least has as much where a string is struck: of 614 strokes 7 have less of both.
_LEAST_BREAKS, _LEAST_TURNED = 0.3, 0.15
# Decibels from and up to which each counts.
_BREAKS, _BANDS, _SHARP, _RISES, _LOUD = (0.0, 12.0), (-2.0, 10.0), (0.0, 15.0), (-3.0, 12.0), (-30.0, 0.0)


class AgainEvidence(NamedTuple):
    """What speaks for one more stroke, and what against it; decibels are tenths."""

    one: float = 0.0
    breaks: float = 0.0  # decibels by which the wave is unlike its own periods
    bands: float = 0.0  # decibels by which all bands rise together
    sharp: float = 0.0  # decibels by which the high band rises
    loud: float = 0.0  # decibels of the sound after it against the loud parts
    moving: float = 0.0  # 1 where the lick has a bend, a slide or a vibrato
    rises: float = (
        0.0  # decibels by which the partials of the pitch rise, as they also do where the string rings in a room
    )
    turned: float = 0.0  # how far the partials are out of phase, 0 to 1


# A logistic regression on 614 strokes and 20,151 other changes of the sound of notes that ring on, of 947 takes; a quarter of these takes have several such
# strokes each. Of the strokes one in 20 has less than 2 dB of `breaks`, half have 12 or more; of the other changes half have none, one in 20 more than 4, one
# in 100 more than 8. The partials of half of the strokes are out of phase by more than .5, those of half of the others by less than .02, of one in 20 by more
# than .45, as where a string glides. Left out of it a tenth at a time, 540 of the former have odds above .8 (their logarithm), and 8 of the latter.
_WEIGHTS = AgainEvidence(-9.47, 5.98, 4.99, 5.39, 3.85, -5.10, -1.24, 6.19)


def again_odds(heard: HeardPass, at: float, group: ExpectedGroup, pitch: float) -> float:
    """Return the logarithm of the odds that a string is struck once more at a pitch (MIDI, as written) which sounds at an instant (seconds).

    `NEVER` where little speaks for it, so that what is slow to measure is left out.
    """
    hearing = heard.hearing
    features, window = hearing.features, (at - _AROUND, at + _AROUND)
    loud = _level_after(features, at)
    if loud < _LEAST_LOUD:
        return NEVER
    sharp = heard.sharpest(*window)[0]
    if sharp < _LEAST_SHARP:
        return NEVER
    sounding = pitch + heard.higher
    before = clear_pitch(features, at - _BEFORE, at - _GAP)
    tuned = before if abs(before - sounding) < _BENT else sounding
    evidence = AgainEvidence(
        one=1.0,
        breaks=_tenths(period_break(hearing.recording, at, tuned), _BREAKS),
        bands=_tenths(steepest_renewal(hearing.recording, features.loud, *window)[0], _BANDS),
        sharp=_tenths(sharp, _SHARP),
        loud=_tenths(loud, _LOUD),
        moving=float(group.is_moving),
    )
    if _odds(evidence._replace(turned=1.0)) < LIKELY:
        return NEVER
    turned = phase_break(hearing.recording, at, tuned)
    if evidence.breaks < _LEAST_BREAKS and turned < _LEAST_TURNED:
        return NEVER
    entry = heard.entry(window, pitch, ())
    rises = 0.0 if entry is None else _tenths(entry.rise, _RISES)
    return _odds(evidence._replace(rises=rises, turned=turned))


def _level_after(features: Features, at: float) -> float:
    """Return the highest level just after an instant (seconds), in decibels against the loud parts."""
    level = features.level[max(0, round((at + _LOUD_FROM) / FRAME)) : round((at + _LOUD_TO) / FRAME) + 1]
    return float(level.max(initial=-120.0)) - features.loud


def _tenths(decibels: float, ends: tuple[float, float]) -> float:
    return float(np.clip(decibels, *ends)) / 10


def _odds(evidence: AgainEvidence) -> float:
    return float(np.dot(_WEIGHTS, evidence))
