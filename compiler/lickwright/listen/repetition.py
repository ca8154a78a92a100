"""Where a recording repeats itself: a phrase that is begun, given up and begun again sounds twice alike, in the same rhythm.

In: a `Hearing`, the stretches in which something may have been begun, and those that begin the notes of a pass. Out: a `Repetition`. Notes are compared by
their sound, so that low chords and notes in a noisy room are told as well, or by the pitch that is written.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.match_costs import Costs
from lickwright.listen.recording import RATE
from lickwright.listen.stretches import PICKED, Hearing

_AFTER, _LENGTH = (
    0.020,
    0.150,
)  # seconds after the beginning of a note from which on, and for which, its sound is compared
_SHORTEST = 0.020  # seconds of it that can be compared
_SIZE = 8_192  # samples of a transform
_LOWEST, _HIGHEST = 70.0, 4_000.0  # hertz
_BANDS = 24  # an octave
_SOFT = 1e-3  # share of the loudest band below which one is not looked at
# Correlation of two spectra from which on two notes are alike, and below which they are not: of some 220 notes and their repeats by the students of
# tests/listening 19 in 20 have 0.84 and more, of as many other pairs 0.66 and less. A note that is repeated surely is worth 1, one that surely is not -1.
_UNLIKE, _ALIKE = 0.65, 0.85
_RIGHT, _WRONG = (
    0.7,
    1.7,
)  # worth of a note that has the pitch of its repeat as written, and how much less is one whose pitch costs a whole note
_NOT_REPEATED = -0.5  # worth of a note that has no counterpart
_NEAR, _NEAR_SHARE = 0.045, 0.05  # seconds, and share of the time since the first note, that a counterpart may be off
_FIRST = 3  # notes of the second time of which one must be found in the first time
_MOST = 160  # stretches that are looked at before the second time
_ENOUGH = 1.8  # worth of a repetition,
_BETWEEN, _MOST_BETWEEN = (
    0.25,
    6,
)  # and how much more for each pick between the two times, up to so many: they may be music of another kind


class Repetition(NamedTuple):
    """A beginning that is played again."""

    begins: tuple[tuple[int, int], ...]  # each group that is begun twice, and the stretch that begins it the first time
    worth: float  # notes that are surely repeated, less what is not


def find_repetition(
    hearing: Hearing, between: tuple[int, int], again: Sequence[tuple[int, int]], pitches: Costs
) -> Repetition | None:
    """Return what is begun in the stretches from one to another (left out) and repeated after them; None where nothing is.

    `again` are the groups of a pass in order, each with the stretch that begins it. `pitches` is what it costs by pitch that a group begins with a stretch.
    """
    first, stop = max(between[0], between[1] - _MOST), between[1]
    if stop <= first:
        return None
    likeness = _Likeness(hearing, pitches)
    tried = [
        _aligned(likeness, (first, stop), again, k, anchor)
        for anchor in again[:_FIRST]
        for k in range(first, stop)
        if likeness.worth(k, anchor) > 0
    ]
    best = max(tried, key=lambda found: found.worth, default=None)
    if best is None or len(best.begins) < 2:
        return None
    picks = int((hearing.picks[best.begins[-1][1] + 1 : stop] > PICKED).sum())
    return best if best.worth > _ENOUGH + _BETWEEN * min(picks, _MOST_BETWEEN) else None


def _aligned(
    likeness: _Likeness, between: tuple[int, int], again: Sequence[tuple[int, int]], k: int, anchor: tuple[int, int]
) -> Repetition:
    """Return the best repetition in which stretch `k` is repeated by the group and stretch `anchor`."""
    hearing = likeness.hearing
    here = hearing.starts[between[0] : between[1]]
    shift = hearing.starts[anchor[1]] - hearing.starts[k]
    best, worth = Repetition((), 0.0), 0.0
    begins: list[tuple[int, int]] = []
    for group, stretch in again:
        due = hearing.starts[stretch] - shift
        if due > hearing.starts[between[1]] - _NEAR:
            break
        near = between[0] + int(np.argmin(np.abs(here - due)))
        before = begins[-1][1] if begins else between[0] - 1
        off = abs(hearing.starts[near] - due)
        if near <= before or off > _NEAR + _NEAR_SHARE * abs(due - hearing.starts[k]):
            worth += _NOT_REPEATED
            continue
        skipped = int((hearing.picks[before + 1 : near] > PICKED).sum()) if begins else 0
        worth += likeness.worth(near, (group, stretch)) + _NOT_REPEATED * skipped
        begins.append((group, near))
        if worth > best.worth:
            best = Repetition(tuple(begins), worth)
    return best


class _Likeness:
    """How alike two notes are."""

    def __init__(self, hearing: Hearing, pitches: Costs) -> None:
        self.hearing, self.pitches = hearing, pitches
        self.spectra: dict[int, NDArray[np.float64] | None] = {}
        edges = _LOWEST * 2 ** (np.arange(0, _BANDS * np.log2(_HIGHEST / _LOWEST) + 1) / _BANDS)
        self.bands = np.digitize(np.fft.rfftfreq(_SIZE, 1 / RATE), edges)
        self.count = len(edges)

    def worth(self, stretch: int, again: tuple[int, int]) -> float:
        """Return 1 where a stretch is what a group and its stretch repeat, down to -1 where it is not."""
        group, other = again
        by_pitch = _RIGHT - _WRONG * float(self.pitches[group, stretch])
        a, b = self._spectrum(stretch), self._spectrum(other)
        by_sound = -1.0 if a is None or b is None else 2 * (float(a @ b) - _UNLIKE) / (_ALIKE - _UNLIKE) - 1
        return float(np.clip(max(by_pitch, by_sound), -1.0, 1.0))

    def _spectrum(self, k: int) -> NDArray[np.float64] | None:
        if k not in self.spectra:
            self.spectra[k] = self._measured(k)
        return self.spectra[k]

    def _measured(self, k: int) -> NDArray[np.float64] | None:
        """Return the logarithms of the bands' magnitudes of a stretch, their mean 0 and their length 1; None where it is too short, or silent."""
        start = self.hearing.starts[k] + _AFTER
        samples = self.hearing.recording.read(round(start * RATE), round((start + _LENGTH) * RATE))
        if len(samples) < _SHORTEST * RATE or not samples.any():
            return None
        magnitudes = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), _SIZE))
        level = np.bincount(self.bands, magnitudes, minlength=self.count + 1)[1 : self.count]
        log = np.log10(level + _SOFT * float(level.max()) + 1e-12)
        log -= log.mean()
        size = float(np.linalg.norm(log))
        return np.asarray(log / size, np.float64) if size > 0 else None
