"""How the whole guitar is tuned, and whether all of it is played higher or lower than written.

In: the pitches of stretches, and the groups of a lick. Out: semitones. Pure functions on arrays.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.stretches import Hearing

_SHIFTS = range(-12, 13)  # semitones that are tried
_SHORT = 0.08  # seconds: stretches below say nothing about the tuning


def overall_tuning(hearing: Hearing) -> float:
    """Return how far the guitar's pitches lie above those of A 440, −0.5 to 0.5 semitones: the circular mean, long notes first."""
    lengths = np.minimum(np.diff(hearing.starts), 0.6)
    told = np.isfinite(hearing.pitches) & (lengths > _SHORT)
    if not told.any():
        return 0.0
    turns = 2j * np.pi * hearing.pitches[told].astype(np.float64)
    return float(np.angle((lengths[told] * np.exp(turns)).sum()) / (2 * np.pi))


def likely_shifts(hearing: Hearing, groups: Sequence[ExpectedGroup], tuning: float, most: int = 5) -> list[int]:
    """Return the semitones by which all may be shifted, the likeliest first, by how long each pitch is heard; 0 is left out."""
    lengths = np.minimum(np.diff(hearing.starts), 0.8)
    told = np.isfinite(hearing.pitches) & (lengths > _SHORT)
    heard = np.zeros(128)
    for pitch, length in zip(np.round(hearing.pitches[told] - tuning).astype(int), lengths[told], strict=True):
        heard[min(127, max(0, pitch))] += length
    wanted = np.zeros(128)
    for group in groups:
        if group.kind in (ExpectedKind.SINGLE, ExpectedKind.PAIR):
            for pitch in group.pitches:
                wanted[round(pitch)] += min(0.8, group.length)
    scores = {shift: float(np.sqrt(heard * np.roll(wanted, shift)).sum()) for shift in _SHIFTS if shift}
    return sorted(scores, key=lambda shift: (-scores[shift], abs(shift)))[:most]
