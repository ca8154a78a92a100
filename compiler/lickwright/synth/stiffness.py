"""Stiffness of a string: a filter of unit gain in its loop, by which high partials travel round faster and so lie sharp.

In: a string's inharmonicity B when it is open, its pitch, the share of that dispersion that a shorter string has. Out: taps of finite filters. The partials
of a stiff string are n f0 √(1 + B n²) (Fletcher 1964), so that a wave of frequency f goes through n(f) turns on its way round. What these turns
fall short of f/f0 is a phase that the filter has in advance of the loop; it is proportional to the length of the string. The filter reads
samples that are newer than those of the loop's delay, so that whole blocks can be computed as without it.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, pi
from typing import NamedTuple

import numpy as np

from lickwright.music.instruments import Guitar, interpolate
from lickwright.music.pitch import frequency
from lickwright.synth.loop_filters import Samples

HIGHEST = 6500.0  # hertz up to which the phase is exact
FADED = 0.48  # of the rate: where the filter lets nothing through, from `HIGHEST` on less and less
ADVANCE = 0.32  # of an open string's period that the highest partials may be ahead, at most
STEP = 0.2  # radians at `HIGHEST` between two designs
SHORTER = 1.0  # power of the length to which the dispersion goes
SHORT = 20.0  # samples of a period, up to which a string has none; twice as long ones have all of it
MARGIN = (6.0, 3.0)  # samples before and after what a design is ahead: so many, and so many times the root of that
LASTING = 2500.0  # hertz below which partials last longest and the gain must be most exact
WEIGHTS = (1e3, 1.0, 1e-2)  # of an error below `LASTING`, up to the highest exact frequency, and above it
LOUDEST = (
    1.019  # gain of a design at most, chosen by trial: most loops lose more on their way round, else they would swell
)
HEAVIER = 30.0  # by which an error weighs more for each unit that it makes a design too loud, chosen by trial
TRIES = 24  # designs at most


class StiffTaps(NamedTuple):
    """The taps of one design."""

    taps: Samples  # from the newest sample that is read to the oldest; their sum is 1
    ahead: int  # samples that the newest is newer than a loop's own delay


NONE = StiffTaps(np.ones(1), 0)


class Dispersion:
    """The stiffness of one string: designs for each share of its dispersion when open, 0 to 1."""

    def __init__(self, stiffness: float, hertz: float, rate: int) -> None:
        """Prepare for a string that is `hertz` when open, with B = `stiffness`."""
        self.stiffness, self.hertz, self._rate = stiffness, hertz, rate
        self._highest = _highest(stiffness, hertz, rate)
        self._steps = max(16, ceil(float(phase_ahead(stiffness, hertz, np.array(self._highest))) / STEP))

    def design(self, share: float) -> StiffTaps:
        """Return the taps for a share, rounded to `STEP`."""
        step = round(share * self._steps)
        if step <= 0:
            return NONE
        return _design(self.stiffness, self.hertz, step / self._steps, self._highest, self._rate)

    def share(self, hertz: Samples) -> Samples:
        """Return the share of the dispersion of the open string that it has where it sounds at `hertz`; very short strings have none."""
        longest = np.clip((self._rate / hertz - SHORT) / SHORT, 0.0, 1.0)
        share: Samples = longest * np.minimum(1.0, (self.hertz / hertz) ** SHORTER)
        return share

    def longer(self, hertz: Samples, share: Samples) -> Samples:
        """Return by which factor loops must be longer than a period, so that the first partial lies at `hertz` with a share of the dispersion."""
        ahead: Samples = 1 + share * phase_ahead(self.stiffness, self.hertz, hertz) / (2 * pi)
        return ahead

    def turns(self, hertz: float, at: Samples) -> Samples:
        """Return how often waves of frequencies `at` swing on one way round the string where it sounds at `hertz`: a whole number for its partials."""
        base = np.array(hertz)
        share = self.share(base)
        turns: Samples = at / hertz * self.longer(base, share) - share * phase_ahead(self.stiffness, self.hertz, at) / (
            2 * pi
        )
        return turns


def string_dispersion(guitar: Guitar, open_pitch: float, rate: int) -> Dispersion:
    """Return the stiffness of a guitar's string that is tuned to `open_pitch` (MIDI)."""
    return Dispersion(interpolate(guitar.stiffness, open_pitch), frequency(open_pitch), rate)


def phase_ahead(stiffness: float, hertz: float, at: Samples) -> Samples:
    """Return the radians by which a wave of frequencies `at` (hertz) is ahead after one way round the open string."""
    x = at / hertz
    turns = x * np.sqrt(2 / (np.sqrt(1 + 4 * stiffness * x * x) + 1))
    ahead: Samples = 2 * pi * (x - turns)
    return ahead


@lru_cache(maxsize=256)
def _highest(stiffness: float, hertz: float, rate: int) -> float:
    """Return the frequency up to which the phase is exact: `HIGHEST`, on slack strings less, where they would be further ahead than `ADVANCE`."""
    at: Samples = np.linspace(hertz, HIGHEST, 256)
    ahead = np.gradient(phase_ahead(stiffness, hertz, at), at) / (2 * pi)  # seconds
    return float(at[int(np.searchsorted(ahead, ADVANCE / hertz)) - 1])


@lru_cache(maxsize=4096)  # of 30 to 300 numbers each
def _design(stiffness: float, hertz: float, share: float, highest: float, rate: int) -> StiffTaps:
    """Return the taps of one design: those whose response is nearest to the wanted one by weighted least squares.

    The phase is that of the string up to `highest`; from there the advance stays and the gain falls. On slack strings the best taps would be too
    loud there: errors weigh more where they are, in the manner of Lawson 1961, until `LOUDEST` holds; what is left of it after `TRIES` is taken off everywhere.
    """
    size = 1024
    while True:
        at = np.arange(size // 2 + 1, dtype=np.float64) * (rate / size)
        phase = phase_ahead(stiffness, hertz, at) * share
        ahead = np.gradient(phase) * (size / (2 * pi))  # samples
        edge = int(highest / rate * size)
        most = float(ahead[edge])
        margin = ceil(MARGIN[0] + MARGIN[1] * most**0.5)
        if 3 * (most + 2 * margin) < size:
            break
        size *= 2
    phase[edge:] = phase[edge] + np.arange(len(phase) - edge) * (most * 2 * pi / size)
    fade = np.cos(pi / 2 * np.clip((at - highest) / (FADED * rate - highest), 0, 1)) ** 2
    weight = np.select([at < LASTING, at < highest], WEIGHTS[:2], WEIGHTS[2])
    newer, older = ceil(most) + margin, margin + 1
    target = fade * np.exp(1j * phase)
    for _ in range(TRIES):
        wanted = np.fft.irfft(weight * target, size)
        taps = _solve_toeplitz(
            np.fft.irfft(weight, size)[: newer + older], np.concatenate((wanted[-newer:], wanted[:older]))
        )
        taps /= taps.sum()
        gain = np.abs(np.fft.rfft(taps, size))
        loudest = float(gain.max())
        if loudest <= LOUDEST:
            break
        weight *= 1 + HEAVIER * np.maximum(gain - 1, 0.0)
    return StiffTaps(taps / max(1.0, loudest / LOUDEST), newer)


def _solve_toeplitz(row: Samples, wanted: Samples) -> Samples:
    """Return x of T x = `wanted`, T being the symmetric matrix with `row` along its first row and equal diagonals (Levinson 1946)."""
    ahead, x = np.zeros(len(row)), np.zeros(len(row))  # T times `ahead`: one, then nothing
    ahead[0], x[0] = 1 / row[0], wanted[0] / row[0]
    for n in range(1, len(row)):
        back = row[n:0:-1]
        missing = back @ ahead[:n]
        longer = ahead[: n + 1]
        longer[:] = (longer - missing * longer[::-1]) / (1 - missing * missing)
        x[: n + 1] += (wanted[n] - back @ x[:n]) * longer[::-1]
    return x


class Fade(NamedTuple):
    """One design that goes over into another while waves leave for the next way round."""

    before: StiffTaps
    after: StiffTaps
    start: float  # place at which it begins
    length: float  # places that it takes

    @property
    def ahead(self) -> int:
        """Samples that the newest which is read is newer than a loop's own delay."""
        return max(self.before.ahead, self.after.ahead)

    def within(self, room: float) -> Fade:
        """Return itself, or no fade but the lesser of its designs, or none, where a loop has not the `room` (samples) for what is ahead."""
        if self.ahead < room:
            return self
        lesser = min(self[:2], key=lambda design: design.ahead)
        lesser = lesser if lesser.ahead < room else NONE
        return self._replace(before=lesser, after=lesser)

    def aligned(self) -> tuple[Samples, Samples, int]:
        """Return the taps of both designs, filled up with zeros to begin at one place and to be equally many, and the samples that this is ahead."""
        if self.after is self.before:
            return self.before.taps, self.before.taps, self.before.ahead
        ahead = self.ahead
        count = max(ahead - design.ahead + len(design.taps) for design in self[:2])
        both = np.zeros((2, count))
        for row, design in zip(both, self[:2], strict=True):
            row[ahead - design.ahead :][: len(design.taps)] = design.taps
        return both[0], both[1], ahead

    def filtered(self, wave: Samples, start: int, stop: int) -> Samples:
        """Return places `start` to `stop` of `wave` behind the filter."""
        heard = _filtered(self.before, wave, start, stop)
        if self.after is self.before:
            return heard
        way = np.clip((np.arange(start, stop) - self.start) / self.length, 0.0, 1.0)
        faded: Samples = heard + way * (_filtered(self.after, wave, start, stop) - heard)
        return faded


def _filtered(design: StiffTaps, wave: Samples, start: int, stop: int) -> Samples:
    if design is NONE:
        return wave[start:stop]
    taps, ahead = design
    return np.correlate(wave[start + ahead - len(taps) + 1 : stop + ahead], taps[::-1], "valid")
