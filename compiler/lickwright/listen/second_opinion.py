"""A second opinion before a note is called wrong or missing: what began to sound there, without what rang on.

In: a `Recording`, an onset and pitches. Out: how strong each pitch is in what is new. A string that still rings is no wrong note, and a pitch that is
an octave or a twelfth off is most often misheard.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.combs import LATE, Spectrum, comb_strength, partial_levels, stretch_spectrum, without_before
from lickwright.listen.recording import Recording

MISHEARD = (12.0, -12.0, 19.0, -19.0, -24.0, 24.0)  # semitones by which a pitch is often misheard
_NEAR = 0.5  # semitones
_PARTIALS = 9
_APART = 14.0  # hertz from which on two partials are told apart, unless it is told otherwise
_LONGEST, _LEAST = 0.26, 0.10  # seconds over which a note is looked at
_TURNS = 2.3  # between two partials over a look that tells them apart
_OWN = 2  # partials that a pitch must have for itself
# By how much a pitch must be the stronger one in what is new, and in all that sounds, to be surely another note: of wrong notes 19 in 20 have more.
_SURELY = 0.2
# Strength of the odd partials of the lower of two pitches an octave apart: of 13 notes an octave too high they have 0.05 at most in what is new, of those that
# are misheard so 0.4 and more; of 8 that are too low 0.53 and more, of those that are misheard so nothing is new.
_NO_ODD, _ODD, _ALL = 0.15, 0.45, 0.5


class Look(NamedTuple):
    """What is seen of a note, or of a double stop."""

    new: Spectrum  # less what sounded before
    whole: Spectrum
    apart: float  # hertz between two partials that are told apart

    def strengths(self, pitch: float, others: Sequence[float]) -> tuple[float, float]:
        """Return how strong a pitch is by its own partials in what is new and in all that sounds; 0 where it has too few of them to tell."""
        new, whole = (own_strengths(spectrum, pitch, others, self.apart) for spectrum in (self.new, self.whole))
        return (new[0], whole[0]) if new[1] >= _OWN else (0.0, 0.0)


def look_at(recording: Recording, start: float, stop: float) -> Look:
    """Return what is seen of what begins at `start`, until `stop` at most (seconds)."""
    end = min(max(stop, start + _LEAST), start + _LONGEST)
    whole = stretch_spectrum(recording, start, end)
    return Look(without_before(recording, start, whole), whole, _TURNS / (end - start - LATE))


def is_surely_another(look: Look, heard: float, expected: float) -> bool:
    """Return whether a heard pitch is clearly there and the expected one is not, by the partials that only one of them has."""
    there, here = look.strengths(heard, [expected]), look.strengths(expected, [heard])
    return all(one - other > _SURELY for one, other in zip(there, here, strict=True))


def is_octave_off(look: Look, heard: float, expected: float) -> bool:
    """Return whether a pitch that is heard an octave off is played so and not misheard, by the odd partials of the lower of the two."""
    if abs(abs(heard - expected) - 12) > _NEAR:
        return False
    odd = look.strengths(min(heard, expected), [max(heard, expected)])
    if heard > expected:
        return max(odd) < _NO_ODD and comb_strength(look.new, heard) > _ALL
    return min(odd) > _ODD


def new_spectrum(recording: Recording, start: float, stop: float) -> Spectrum:
    """Return the spectrum of a stretch (seconds) less that of what sounded just before it."""
    return without_before(recording, start, stretch_spectrum(recording, start, stop))


def is_misheard(heard: float, expected: float) -> bool:
    """Return whether a pitch is the expected one, or one that it is often taken for."""
    return any(abs(heard - expected - off) < _NEAR for off in (0.0, *MISHEARD))


def beats_expected(spectrum: Spectrum, heard: float, expected: float) -> bool:
    """Return whether a heard pitch explains what is new better than the expected one."""
    return comb_strength(spectrum, heard) > comb_strength(spectrum, expected) + 0.05


def own_strengths(
    spectrum: Spectrum, pitch: float, others: Sequence[float], hertz_apart: float = _APART
) -> tuple[float, int]:
    """Return how strong a note is by the partials that are `hertz_apart` from those of other pitches, 0 to 1, and how many these are."""
    levels = partial_levels(spectrum, pitch, _PARTIALS)
    numbers = np.arange(1, _PARTIALS + 1)
    heights = pitch + 12 * np.log2(numbers)
    taken = np.concatenate([other + 12 * np.log2(np.arange(1, 64)) for other in others])
    hertz = 440 * 2 ** ((pitch - 69) / 12) * numbers
    apart = np.abs(heights[:, None] - taken[None, :]).min(axis=1)
    own = (apart > 0.45) & (apart * 0.0595 * hertz > hertz_apart) & (hertz < 5_000)
    if not own.any():
        return 0.0, 0
    loudest = float(spectrum.max())
    shares = np.clip(1 + 20 * np.log10(levels[own] / max(1e-12, loudest) + 1e-9) / 45, 0, 1)
    weights = 1 / np.sqrt(numbers[own])
    return float((shares * weights).sum() / weights.sum()), int(own.sum())
