"""How likely each stretch of a recording is a string, and not a voice or a noise beside the guitar.

In: `Features` and stretches. Out: a likelihood for each. The pitch of a plucked string stands still or is bent after a clear pick; that of a voice glides all
the time, begins softly, and is mostly softer than the guitar that the recording is of; a click is gone at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import FRAME, Features, Values

# A logistic regression on the 8,369 picks of 377 takes of the sets of tests/bench/listening.py without a second guitar, 721 of which are a voice, a click or
# another noise: by the odds of the pick (a share of 10), by how far the pitch strays within the stretch (the logarithm of semitones), where no pitch is
# clear, by the level below the loudest and by how much more than `_USUAL_FALL` the level falls in a tenth of a second (shares of 10 dB). Below a
# likelihood of a half are 61 % of the noises and 1.5 % of the notes.
_BASE, _BY_PICK, _BY_STRAY, _UNCLEAR, _BY_LEVEL, _BY_FALL = -3.81, 4.75, -2.61, -0.62, 1.54, -1.82
_USUAL_FALL = 6.0  # decibels
_USUAL_STRAY = 0.02  # semitones, where no pitch is clear
_LEAST_STRAY = 0.003  # semitones: what the ear resolves
_UNPICKED = 5.0  # odds of a pick that stand for what goes on without one, as a bend does
_CLEAR = 0.72  # clarity of frames that tell a pitch
_FEWEST = 4  # of them
_PEAK, _FALLEN, _SETTLED = (
    0.04,
    0.08,
    0.117,
)  # seconds of a stretch up to which it is loudest, and between which it has fallen
_ATTACK, _TOLD = 0.03, 0.35  # seconds of a stretch from which on and up to which its pitch is looked at


def plucked_likelihoods(features: Features, starts: NDArray[np.float64], picks: Values, levels: Values) -> Values:
    """Return how likely each stretch is a string, 0 to 1; `picks` are the logarithms of the odds that it begins with a pick, `levels` in decibels."""
    if not len(picks):
        return np.zeros(0, np.float32)
    stray = np.array([_stray(features, *ends) for ends in zip(starts[:-1], starts[1:], strict=True)])
    unclear = np.isnan(stray)
    spread = np.log10(np.where(unclear, _USUAL_STRAY, stray) + _LEAST_STRAY)
    struck = np.clip(np.where(picks > 0, picks, _UNPICKED), 0, 11) / 10
    level = np.clip(levels - features.loud, -30, 0) / 10
    odds = _BASE + _BY_PICK * struck + _BY_STRAY * np.clip(spread, -2.5, 0) + _UNCLEAR * unclear + _BY_LEVEL * level
    falls = np.array([_fall(features, start) for start in starts[:-1]])
    odds += _BY_FALL * np.clip(falls - _USUAL_FALL, 0, 20) / 10
    return np.asarray(1 / (1 + np.exp(-odds)), np.float32)


def _stray(features: Features, start: float, stop: float) -> float:
    """Return the middle distance of the pitch from its median within a stretch, in semitones; NaN where no pitch is clear."""
    first = round((start + _ATTACK) / FRAME)
    part = slice(first, max(first + 2, round(min(stop - 0.01, start + _TOLD) / FRAME)))
    told = features.pitch[part][features.clarity[part] > _CLEAR]
    return float(np.median(np.abs(told - np.median(told)))) if len(told) >= _FEWEST else float("nan")


def _fall(features: Features, start: float) -> float:
    """Return by how many decibels the level falls within a tenth of a second from an instant on; 0 at the end of the recording."""
    first, peak, fallen, settled = (round((start + later) / FRAME) for later in (0, _PEAK, _FALLEN, _SETTLED))
    if settled > len(features.level):
        return 0.0
    return float(features.level[first:peak].max() - np.median(features.level[fallen:settled]))
