"""A second opinion before a note is called wrong or missing: what began to sound there, without what rang on.

In: a `Recording`, an onset and pitches. Out: how strong each pitch is in what is new. A string that still rings is no wrong note, and a pitch that is
an octave or a twelfth off is most often misheard.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.combs import Spectrum, comb_strength, partial_levels, stretch_spectrum, without_before
from lickwright.listen.recording import Recording

MISHEARD = (12.0, -12.0, 19.0, -19.0, -24.0, 24.0)  # semitones by which a pitch is often misheard
_NEAR = 0.5  # semitones
_PARTIALS = 9
_APART = 14.0  # hertz from which on two partials are told apart, unless it is told otherwise


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
