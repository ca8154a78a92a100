"""Whether a note begins at an instant, by the partials that it shares with no other note around it.

In: a `Recording`, a window of time, a pitch and the pitches that may sound besides. Out: `Entry`: where in the window the partials of the pitch rise most, by
how much, and how loud they are then. Unlike a pick (`picks.py`), which is told from the sound alone, an entry is looked for where a note is expected: it is
found in the ring of other strings, and where a hammered note has no attack.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import Features
from lickwright.listen.picks import pitch_hertz
from lickwright.listen.recording import RATE, Recording

_PARTIALS = 12
_HIGHEST = 6_000.0  # hertz of the highest partial that is looked at
_APART = 28.0  # hertz between two partials that a window of `_WINDOW` tells apart
_FEWEST = 2  # own partials without which nothing is told
_WINDOW = round(0.050 * RATE)  # samples before and after an instant that are compared
_GAP = round(0.008 * RATE)  # samples on each side of it that are left out
_FADES = 12.0  # decibels by which a note may be softer in the next window: what falls by more is the end of another one, whose cut spreads over the spectrum
_STEP = 0.006  # seconds between the instants of a window that are tried
_SOFT = 0.03  # share of the loudest partial below which one is not looked at
_QUIET = 1e-5  # magnitude that counts as silence
# Decibels, from some 4,000 notes of the sets of tests/bench/listening.py: of 80 notes that were left out none has an entry as strong as `SURE_STRENGTH`; of
# those that were played, and that no stretch begins, 3 in 4 have.
RISEN = 4.0  # that a pitch rises by where it begins: of wrong notes 5 and more, of strings that ring on 3.3 at most
SURE_STRENGTH, DOUBTFUL_STRENGTH = -6.0, -12.0  # strength of an entry that is one, and of one that may be one

Values = NDArray[np.float64]


class Entry(NamedTuple):
    """Where a note begins, if it does."""

    at: float  # seconds
    rise: float  # decibels, the median of its own partials
    level: float  # decibels of its loudest partial while it lasts, against the level of the loud parts of the recording

    @property
    def strength(self) -> float:
        """How sure it is, in decibels: what rises far and is loud is a note; what rises from silence and stays soft is noise."""
        return self.rise + self.level

    @property
    def is_sure(self) -> bool:
        """Whether a note surely begins here."""
        return self.rise > RISEN and self.strength > SURE_STRENGTH


def strongest_entry(
    recording: Recording, features: Features, window: tuple[float, float], pitch: float, others: Sequence[float]
) -> Entry | None:
    """Return the strongest rise of a pitch (MIDI, as sounding) within a window (seconds).

    None where the window is empty, or the pitch shares its partials with `others` so that nothing can be told.
    """
    hertz = _own_partials(pitch, others)
    if len(hertz) < _FEWEST or window[1] < window[0]:
        return None
    turns = np.exp(-2j * np.pi / RATE * np.outer(hertz, np.arange(_WINDOW)))
    turns *= np.hanning(_WINDOW + 2)[1:-1] * (4 / (_WINDOW + 1))
    found = [
        _entry_at(recording, float(at), turns, features.loud)
        for at in np.arange(window[0], window[1] + _STEP / 2, _STEP)
    ]
    return max(found, key=lambda entry: entry.strength)


def _own_partials(pitch: float, others: Sequence[float]) -> Values:
    """Return the frequencies of the partials of a pitch that no other pitch has."""
    own = pitch_hertz(pitch) * np.arange(1, _PARTIALS + 1)
    own = own[own < _HIGHEST]
    if not others:
        return np.asarray(own, np.float64)
    shared = np.concatenate([pitch_hertz(other) * np.arange(1, 4 * _PARTIALS) for other in others])
    return np.asarray(own[np.abs(own[:, None] - shared[None, :]).min(axis=1) > _APART], np.float64)


def _entry_at(recording: Recording, at: float, turns: NDArray[np.complex128], loud: float) -> Entry:
    middle = round(at * RATE)
    after = np.abs(turns @ recording.read(middle + _GAP, middle + _GAP + _WINDOW))
    before = np.abs(turns @ recording.read(middle - _GAP - _WINDOW, middle - _GAP))
    floor = _QUIET + _SOFT * float(after.max())
    told = after > floor
    later = np.abs(turns @ recording.read(middle + _GAP + _WINDOW, middle + _GAP + 2 * _WINDOW))
    lasts = min(float(after.max()), float(later.max()) * 10 ** (_FADES / 20))
    level = 20 * float(np.log10(lasts + 1e-9)) - loud
    if told.sum() < _FEWEST:
        return Entry(at, 0.0, level)
    rises = 20 * np.log10((after[told] + floor / 2) / (before[told] + floor / 2))
    return Entry(at, float(np.median(rises)), level)
