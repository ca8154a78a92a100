"""Whether a string is struck again whose pitch sounds already.

In: a `Recording`, a window of time. Out: by how many decibels all bands of the spectrum rise together at most, and when. The pitch and its partials tell
little there, since they sound before and after; but a pick stops the string and sets it off anew, which is seen from the lowest band to the highest.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.recording import RATE, Recording

_EDGES = (60, 150, 300, 600, 1_200, 2_400, 4_800, 11_000)  # hertz of the bands, an octave or a little more each
_WINDOW, _HOP = 512, 64  # samples of a spectrum, 21 ms, and from one to the next, 2.7 ms
_AFTER, _BEFORE, _GAP = 8, 12, 3  # spectra that are averaged after an instant and before it, and left out on each side
_FLOOR = 1e-8  # share of the power of the loud parts below which a band is silent
# Logarithm of the odds that a string is struck again in a window of 120 ms: by how much the bands rise together, by how sharply the high band rises, and by
# how much the partials of the pitch rise, in decibels. A logistic regression on the sets of tests/bench/listening.py: 476 repeated notes that were played, and
# the middles of 3,787 notes that ring on. Of the former 99 % have more than -1.3, 94 % more than 2.9; of the latter 2 % and one in a thousand.
_ODDS = (-5.7, 1.34, 0.49, 0.45)
_LEAST, _MOST = -2.0, 10.0  # decibels that each counts for

Values = NDArray[np.float64]


def renewal_odds(bands: float, sharpness: float, partials: float) -> float:
    """Return the logarithm of the odds that a string is struck again, by three rises in decibels: of all bands, of the high band, of the partials."""
    base, *weights = _ODDS
    rises = np.clip((bands, sharpness, partials), _LEAST, _MOST)
    return base + float(np.dot(weights, rises))


def steepest_renewal(recording: Recording, loud: float, first: float, last: float) -> tuple[float, float]:
    """Return by how many decibels the bands rise together at most between two instants (seconds), and when.

    `loud` is the level of the loud parts of the recording, in decibels.
    """
    start, count = round(first * RATE / _HOP), max(1, round((last - first) * RATE / _HOP))
    around = _BEFORE + _GAP
    levels = _band_levels(recording, start - around, count + around + _GAP + _AFTER, loud)
    sums = np.concatenate(([0.0], np.cumsum(levels.mean(axis=1))))
    at = np.arange(around, around + count)
    after = (sums[at + _GAP + _AFTER] - sums[at + _GAP]) / _AFTER
    before = (sums[at - _GAP] - sums[at - around]) / _BEFORE
    best = int(np.argmax(after - before))
    return float((after - before)[best]), (start + best) * _HOP / RATE


def _band_levels(recording: Recording, first: int, count: int, loud: float) -> Values:
    """Return the level of each band in `count` spectra, in decibels; spectrum i lies around sample `(first + i) * _HOP`."""
    begin = first * _HOP - _WINDOW // 2
    wave = recording.read(begin, begin + (count - 1) * _HOP + _WINDOW)
    window = np.hanning(_WINDOW)
    spectra = np.fft.rfft(np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[::_HOP] * window, axis=1)
    bins = np.searchsorted(np.fft.rfftfreq(_WINDOW, 1 / RATE), _EDGES)
    powers = np.add.reduceat(np.abs(spectra) ** 2, bins, axis=1)[:, :-1]
    whole = 10 ** (loud / 10) * float((window**2).sum()) * _WINDOW / 2  # the power of all bands where it is loud
    return np.asarray(10 * np.log10(powers + _FLOOR * whole + 1e-12), np.float64)
