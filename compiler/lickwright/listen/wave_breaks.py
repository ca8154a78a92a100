"""Whether the wave of a sounding string breaks off and begins anew.

In: a `Recording`, an instant and the pitch that sounds there. Out: how far the wave is unlike its own periods before, and how far its partials are out of
phase. A string that rings on repeats itself whether it is bent, swung or leveled by an amplifier; a new stroke breaks that, however little it changes the
level. A click beside the string breaks the period too, but afterwards the partials go on in phase.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.picks import pitch_hertz
from lickwright.listen.recording import RATE, Recording

_LENGTH = round(0.012 * RATE)  # samples that are compared with those a period or more before
_LEAST_LAG = 0.003  # seconds between them at least
_DETUNED = 0.015  # share by which the period may be another than that of the pitch
_LOUDEST, _SOFTEST = 2.0, 0.3  # times by which the later samples may be louder
_EXACT = 1e-4  # share that is left of a wave which repeats itself exactly
# Seconds from the instant at which the wave breaks, and at which it must repeat itself before and after that.
_AT = np.arange(-0.012, 0.020, 0.003)
_EARLIER, _LATER = (-0.075, -0.060, -0.045, -0.030), (0.040, 0.050, 0.065, 0.080, 0.095)
_PARTIALS, _HIGHEST = 12, 5_500.0  # partials that are followed, and the hertz of the highest
_FOLLOWED = round(0.030 * RATE)  # samples of a spectrum by which they are
_CENTERS = np.array((-0.050, -0.035, -0.020, 0.020, 0.035, 0.050))  # seconds from the instant of each
_SOFT, _QUIET = 0.02, 1e-5  # share of the loudest partial, and magnitude, below which one is not followed
_TURNS = np.linspace(
    -1.2, 1.2, 49
)  # radians by which the fundamental may turn between, as it does where the pitch moves

Values = NDArray[np.float64]


def period_break(recording: Recording, instant: float, pitch: float) -> float:
    """Return by how many decibels a wave of a MIDI pitch is less like its own periods at an instant (seconds) than before and after."""
    period = RATE / pitch_hertz(pitch)
    periods = max(1, int(np.ceil(_LEAST_LAG * RATE / period)))
    lags = np.arange(
        int(np.floor(periods * period * (1 - _DETUNED))), int(np.ceil(periods * period * (1 + _DETUNED))) + 2
    )
    firsts = np.array([round((instant + distance) * RATE) - _LENGTH // 2 for distance in (*_AT, *_EARLIER, *_LATER)])
    shares = _new_shares(recording, firsts, lags)
    here, earlier, later = np.split(10 * np.log10(shares + _EXACT), np.cumsum((len(_AT), len(_EARLIER))))
    return float(here.max() - max(np.median(earlier), np.median(later)))


def _new_shares(recording: Recording, firsts: NDArray[np.int_], lags: NDArray[np.int_]) -> Values:
    """Return for each of some stretches of `_LENGTH` samples, by the first, the share that none explains which is some lag (samples) before it."""
    begin, end = int(firsts.min() - lags[-1]), int(firsts.max()) + _LENGTH
    wave = recording.read(begin, end).astype(np.float64)
    now = wave[lags[-1] :]
    before = np.lib.stride_tricks.sliding_window_view(wave, len(now))[lags[-1] - lags]
    at = firsts - begin - lags[-1]
    power, common, powers = (
        _sums(values, at) + 1e-9 for values in (now[None] ** 2, now[None] * before, before * before)
    )
    gains = np.clip(common / powers, _SOFTEST, _LOUDEST)
    left = power - 2 * gains * common + gains * gains * powers
    return np.asarray(np.clip(left.min(axis=0) / power[0], 0, 1), np.float64)


def _sums(values: Values, firsts: NDArray[np.int_]) -> Values:
    """Return the sum of the `_LENGTH` values of each row from each of some columns on."""
    sums = np.concatenate((np.zeros((len(values), 1)), np.cumsum(values, axis=1)), axis=1)
    return np.asarray(sums[:, firsts + _LENGTH] - sums[:, firsts], np.float64)


def phase_break(recording: Recording, instant: float, pitch: float) -> float:
    """Return how far the partials of a MIDI pitch after an instant (seconds) are out of phase with those before it: 0 not at all, 1 altogether.

    All partials may turn as the fundamental does. 0 where they cannot be followed, but 1 where none sounds before.
    """
    numbers = np.arange(1, _PARTIALS + 1)
    hertz = np.asarray(numbers * pitch_hertz(pitch), np.float64)
    numbers, hertz = numbers[hertz < _HIGHEST], hertz[hertz < _HIGHEST]
    if len(hertz) < 2:
        return 0.0
    partials = _followed(recording, instant, hertz)
    levels = np.abs(partials).min(axis=0)
    floor = max(_QUIET, _SOFT * float(np.abs(partials).max()))
    weights = np.where(levels > floor, np.log1p(levels / floor), 0.0)
    if not weights.any():
        return float((np.abs(partials[3:]).min(axis=0) > floor).any())
    off = _phase_at(partials[3:], _CENTERS[3:]) - _phase_at(partials[:3], _CENTERS[:3])
    in_phase = np.cos(off - np.outer(_TURNS, numbers)) @ weights / weights.sum()
    return float(1 - np.clip(in_phase.max(), 0, 1))


def _followed(recording: Recording, instant: float, hertz: Values) -> NDArray[np.complex128]:
    """Return the partials in each window, shape (windows, partials); their phases are those of a steady partial at the instant."""
    window = np.hanning(_FOLLOWED + 2)[1:-1]
    window *= 2 / window.sum()
    found = []
    for center in _CENTERS:
        first = round((instant + center) * RATE) - _FOLLOWED // 2
        seconds = (first + np.arange(_FOLLOWED)) / RATE - instant
        wave = recording.read(first, first + _FOLLOWED) * window
        found.append(np.exp(-2j * np.pi * np.outer(hertz, seconds)) @ wave)
    return np.array(found)


def _phase_at(partials: NDArray[np.complex128], seconds: Values) -> Values:
    """Return the phase that each partial has at the instant, by those in windows so many seconds from it."""
    phases = np.unwrap(np.angle(partials), axis=0)
    return np.asarray(np.polyfit(seconds, phases, 1)[1], np.float64)
