"""How much of a note is in a stretch of sound, by the partials where it would have them.

In: a `Recording`, stretches and pitches. Out: for each a strength from 0 to 1. Works where several notes sound together, which the pitch of one
string (`pitch.py`) cannot tell.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.recording import RATE, Recording

SIZE = 8_192  # of the FFT: bins of 2.9 Hz
PARTIALS = 8
LATE, _LONGEST = 0.025, 0.26  # seconds: from when on, and until when, a stretch is looked at
_AHEAD = 0.012  # seconds before an onset that are left out of what was there before
_LOOK = 0.11  # seconds before it that are looked at
_NEAR = 0.35  # semitones around a partial
_SPAN, _DEPTH = 30.0, 42.0  # decibels: of the range that counts; below the loudest bin where it begins
_WEIGHTS = 1 / np.sqrt(np.arange(1, PARTIALS + 1))

Spectrum = NDArray[np.float64]


def stretch_spectrum(recording: Recording, start: float, stop: float, late: float = LATE) -> Spectrum:
    """Return the magnitudes of a stretch (seconds), from a little after its beginning on."""
    first = round((start + late) * RATE)
    last = round(min(stop, start + _LONGEST) * RATE)
    wave = recording.read(first, max(first + 480, last))
    return np.asarray(np.abs(np.fft.rfft(wave * np.hanning(len(wave)), SIZE)) / len(wave), np.float64)


def partial_levels(spectrum: Spectrum, pitch: float, partials: int = PARTIALS) -> NDArray[np.float64]:
    """Return the magnitude at each partial of a pitch, the highest within reach of it; 0 above the spectrum."""
    levels: NDArray[np.float64] = _levels_at(spectrum, _partial_bins([pitch], partials))[0]
    return levels


def _partial_bins(pitches: Sequence[float], partials: int = PARTIALS) -> NDArray[np.intp]:
    """Return the first bin of each partial of each pitch, and the one after its last: shape (pitches, partials, 2)."""
    hertz = 440 * 2 ** ((np.asarray(pitches, np.float64)[:, None] - 69) / 12) * np.arange(1, partials + 1)
    width = 2 ** (_NEAR / 12)
    low, high = np.floor(hertz / width * SIZE / RATE), np.ceil(hertz * width * SIZE / RATE) + 1
    return np.asarray(np.stack((low, high), axis=-1), np.intp)


def _levels_at(spectrum: Spectrum, bins: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the highest magnitude within each pair of bins, shape (pitches, partials); 0 where a pair ends above the spectrum."""
    count = len(spectrum)
    padded = np.append(spectrum, 0.0)
    highest = np.maximum.reduceat(padded, np.minimum(bins, count).ravel())[::2].reshape(bins.shape[:2])
    return np.asarray(np.where(bins[:, :, 1] <= count, highest, 0.0), np.float64)


def comb_strength(spectrum: Spectrum, pitch: float) -> float:
    """Return how much of a note of this pitch is in a spectrum, 0 to 1."""
    return float(comb_strengths(spectrum, [pitch])[0])


def comb_strengths(spectrum: Spectrum, pitches: Sequence[float]) -> NDArray[np.float64]:
    """Return how much of a note of each pitch is in a spectrum, 0 to 1."""
    return _strengths_at(spectrum, _partial_bins(pitches))


def _strengths_at(spectrum: Spectrum, bins: NDArray[np.intp]) -> NDArray[np.float64]:
    loudest = float(spectrum.max())
    if loudest <= 0:
        return np.zeros(len(bins))
    levels = _levels_at(spectrum, bins)
    shares = np.clip((20 * np.log10(levels / loudest + 1e-9) + _DEPTH) / _SPAN, 0, 1)
    return np.asarray((shares * _WEIGHTS).sum(axis=1) / _WEIGHTS.sum(), np.float64)


def comb_table(
    recording: Recording, starts: NDArray[np.float64], picks: NDArray[np.bool_], pitches: Sequence[float]
) -> NDArray[np.float32]:
    """Return the strength of each pitch in each stretch, shape (stretches, pitches); where a string is struck, in what is new there."""
    table = np.zeros((len(starts) - 1, len(pitches)), np.float32)
    bins = _partial_bins(pitches)
    for k in range(len(starts) - 1):
        spectrum = stretch_spectrum(recording, starts[k], starts[k + 1])
        if picks[k]:
            spectrum = without_before(recording, starts[k], spectrum)
        table[k] = _strengths_at(spectrum, bins)
    return table


def without_before(recording: Recording, start: float, spectrum: Spectrum) -> Spectrum:
    """Return a spectrum less that of what sounded just before an instant (seconds)."""
    first = round((start - _AHEAD - _LOOK) * RATE)
    wave = recording.read(first, round((start - _AHEAD) * RATE))
    before = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), SIZE)) / len(wave)
    return np.maximum(spectrum - before, 0.02 * spectrum)
