"""Whether a string is struck at a boundary, and exactly when.

In: a `Recording`, instants, and the pitches before and after each. Out: by how many decibels the partials of the new pitch rise, and the instant of the
steepest rise. A pick makes all partials rise at once; a bend, a vibrato, a click of a metronome or a noise make none of them rise, since
each partial is followed at the pitch that it has on either side.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import MILLISECOND, Features, Values
from lickwright.listen.recording import RATE, Recording

PARTIALS = 10
_BEFORE, _AFTER = 0.030, 0.040  # seconds that are compared
_GAP = 0.004  # seconds before the instant, and after it, that are left out
_HIGHEST = 0.42 * RATE  # hertz
_MOST = 30.0  # decibels that a rise counts for at most


def partial_rises(
    recording: Recording, instants: Sequence[float], before: Sequence[float], after: Sequence[float]
) -> Values:
    """Return for each instant (seconds) the median rise of ten partials, in decibels; pitches are MIDI. Nothing there: 0."""
    return np.array([_rise(recording, *one) for one in zip(instants, before, after, strict=True)], np.float32)


def _rise(recording: Recording, instant: float, before: float, after: float) -> float:
    at = round(instant * RATE)
    early = recording.read(at - round((_GAP + _BEFORE) * RATE), at - round(_GAP * RATE))
    late = recording.read(at + round(_GAP * RATE), at + round((_GAP + _AFTER) * RATE))
    numbers = np.arange(1, PARTIALS + 1)
    now = numbers[numbers * pitch_hertz(after) < _HIGHEST].astype(np.float64)
    new = partial_strengths(late, now * pitch_hertz(after))
    old = partial_strengths(early, now * pitch_hertz(before))
    floor = 1e-5 + 0.02 * float(new.max(initial=0.0))
    told = new > floor
    if not told.any():
        return 0.0
    rises = 20 * np.log10((new[told] + floor / 4) / (old[told] + floor / 4))
    return float(np.clip(np.median(rises), -_MOST, _MOST))


def pitch_hertz(pitch: float) -> float:
    """Return the frequency of a MIDI pitch."""
    return float(440 * 2 ** ((pitch - 69) / 12))


def partial_strengths(wave: Values, hertz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the magnitude of a stretch of samples at each frequency, through a Hann window."""
    if not len(wave) or not len(hertz):
        return np.zeros(len(hertz))
    window = np.hanning(len(wave) + 2)[1:-1]
    phase = np.exp(-2j * np.pi / RATE * np.outer(hertz, np.arange(len(wave))))
    return np.asarray(np.abs(phase @ (wave * window)) / window.sum() * 2)


def attack_sharpness(features: Features, instant: float) -> float:
    """Return by how many decibels the high band is louder in the 14 ms after an onset (seconds) than in those before it."""
    at = round(instant * 1000)
    if at + 14 > len(features.crisp):
        return 0.0
    before, after = _crisp(features, at - 14, at - 1), _crisp(features, at, at + 14)
    floor = features.crisp_floor + 1e-15
    return float(10 * np.log10((np.sort(after)[-6:].mean() + floor) / (before.mean() + floor)))


def _crisp(features: Features, first: int, last: int) -> Values:
    """Return the energy of the high band from millisecond `first` to `last`; before the recording begins there is silence."""
    part = features.crisp[max(0, first) : max(0, last)]
    return np.concatenate((np.zeros(min(last, 0) - min(first, 0), np.float32), part))


def lasting_change(recording: Recording, instant: float) -> float:
    """Return the share of the spectrum from 30 to 90 ms after an instant (seconds) that was not there before it: of a click next to nothing."""
    late = recording.read(round((instant + 0.03) * RATE), round((instant + 0.09) * RATE))
    early = recording.read(round((instant - 0.075) * RATE), round((instant - 0.015) * RATE))
    window = np.hanning(len(late))
    after, before = np.abs(np.fft.rfft(late * window)), np.abs(np.fft.rfft(early * window))
    return float(np.maximum(after - before, 0).sum() / (after.sum() + 1e-9))


def onset_instant(features: Features, instant: float, early: float = 0.030, late: float = 0.022) -> float:
    """Return when the high band rises steepest near an instant, in seconds; the instant itself where nothing rises there."""
    first, last = round((instant - early) * 1000), round((instant + late) * 1000)
    first, last = max(0, first), min(len(features.crisp) - 4, last)
    if last - first < 4:
        return instant
    part = _crisp(features, first - 4, last + 4)
    floor = 1e-3 * float(part.max()) + 1e-12
    log = np.log10(part + floor)
    rise = log[4:] - log[:-4]  # over four milliseconds
    ahead = np.convolve(part, np.ones(3) / 3, "same")[4:] - np.convolve(part, np.ones(3) / 3, "same")[:-4]
    weight = rise * (ahead > 0.05 * max(1e-12, float(ahead.max())))
    best = int(np.argmax(weight))
    if weight[best] <= 0.1:
        return instant
    step = log[best : best + 5]
    inside = int(np.argmax(np.diff(step)))  # the steepest millisecond of the four
    return (first - 4 + best + inside + 1) * MILLISECOND / RATE
