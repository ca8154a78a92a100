"""Bends and vibrato: a string that is heard faster or slower than it swings.

In: samples of a string of fixed length, and the pace of its own time. Out: the string as it is heard. What moves the pitch of a whole string, its
tension or a vibrato bar, moves all partials by one factor, as if time ran faster; so a bent string costs no more than a held one and a read between
samples (six-tap Lagrange, Laakso et al. 1996). Where the pace is 1 and a whole number of samples lies between both times, nothing is read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache, reduce
from math import ceil, floor, inf

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import record
from lickwright.performance.pitch_curves import PitchRamp
from lickwright.synth.loop_filters import Samples

_TAPS = 6
_BEFORE = _TAPS // 2 - 1  # samples read before a place
_AFTER = _TAPS // 2  # and after it
_PART = 2048  # samples that are read together
CONTROL = 0.002  # seconds between two points of a pitch curve; 0.02 cents off a straight line in the quickest bend


def curve_instants(moves: Sequence[PitchRamp], begin: float, until: float) -> Samples:
    """Return the seconds after `begin` and not after `until` at which a pitch curve is sampled, ascending."""
    times: list[Samples] = [np.zeros(0)]
    for start, end, _, _ in moves:
        if count := ceil((end - start) / CONTROL):
            step = (end - start) / count
            first, last = floor((begin - start) / step) - 1, ceil((until - start) / step) + 1
            some = np.arange(max(0, first), min(count, last) + 1, dtype=np.float64) * step + start
            if last >= count and len(some):
                some[-1] = end
            times.append(some)
        else:
            times.append(np.array((start - CONTROL, start)))
    every = np.sort(np.concatenate(times))  # `np.unique` would load masked arrays, for ten milliseconds
    found = every[(every > begin) & (every <= until)]
    return found[np.diff(found, prepend=-inf) > 0]


@record
class Warp:
    """The pace of a string's own time at some knots, straight between them."""

    at: Samples  # (n,) heard samples, ascending; at least 0 is among them
    own: Samples  # (n,) the string's samples that are heard there; of two knots at one place the second counts for what follows
    pace: Samples  # (n,) samples of the string for each that is heard

    def places(self, heard: NDArray[np.int64]) -> Samples:
        """Return the samples of the string that are heard at samples `heard`, none of them before the first knot."""
        knot = np.searchsorted(self.at, heard, "right") - 1
        since = heard - self.at[knot]
        places: Samples = self.own[knot] + since * (self.pace[knot] + self._rises()[knot] / 2 * since)
        return places

    def place(self, heard: int) -> float:
        """Return the same for one sample."""
        return float(self.run(heard, heard + 1)[0])

    def run(self, start: int, stop: int) -> Samples:
        """Return the same for samples `start` to `stop`, one after the other."""
        first = int(np.searchsorted(self.at, start, "right")) - 1
        knots = slice(first, int(np.searchsorted(self.at, stop - 1, "right")) + 1)
        part = Warp(self.at[knots], self.own[knots], self.pace[knots])
        edges = np.ceil(np.minimum(part.at[1:], stop)).astype(np.int64)
        knot = np.repeat(np.arange(len(part.at)), np.diff(edges, prepend=start, append=stop))
        since = np.arange(start, stop) - part.at[knot]
        half = part._rises() / 2
        places: Samples = part.own[knot] + since * (part.pace[knot] + half[knot] * since)
        return places

    def _rises(self) -> Samples:
        """Return by how much the pace rises from sample to sample after each knot."""
        rises: Samples = np.append(np.diff(self.pace) / np.maximum(np.diff(self.at), 1.0), 0.0)
        return rises

    def shifts(self) -> Samples:
        """Return by how many samples the string's own number is larger after each knot; infinity where that is no whole number, or changes."""
        shifts = self.own - self.at
        return np.where((self._rises() == 0) & (self.pace == 1) & (shifts == np.floor(shifts)), shifts, inf)

    def since(self, heard: int) -> Warp:
        """Return what is needed from sample `heard` on."""
        first = int(np.searchsorted(self.at, heard, "right")) - 1
        return Warp(self.at[first:], self.own[first:], self.pace[first:])

    def joined(self, other: Warp) -> Warp:
        """Return both, `other` being what follows."""
        pairs = (self.at, other.at), (self.own, other.own), (self.pace, other.pace)
        return Warp(*(np.concatenate(pair) for pair in pairs))


class StringTime:
    """The time of one string while it is planned. All places are samples, those that are heard or the string's own."""

    def __init__(self) -> None:
        """Begin with a string that is heard as it swings."""
        self._last = (0.0, 0.0, 1.0)  # the last knot: heard sample, own sample, pace
        self._trace = Warp(*(np.array([value]) for value in self._last))  # knots since the last window of a note began
        self._fresh = [self._trace]  # not given away yet

    def place(self, heard: float) -> float:
        """Return the string's sample that is heard at sample `heard`."""
        at, own, pace = self._last
        return own + (heard - at) * pace if heard >= at else float(self.places(np.array([heard]))[0])

    def places(self, heard: Samples) -> Samples:
        """Return the string's samples that are heard at samples `heard`."""
        return self._trace.places(np.maximum(heard, self._trace.at[0]))

    def pace(self, heard: float) -> float:
        """Return the pace at sample `heard`."""
        return self._last[2] if heard >= self._last[0] else float(np.interp(heard, self._trace.at, self._trace.pace))

    def change(self, begin: float, at: Samples, paces: Samples) -> None:
        """Let the pace stay until sample `begin`, and be `paces` at samples `at`, ascending and later."""
        known, own, pace = self._last
        later = at > max(begin, known)
        if later.any():
            first = [known, begin] if begin > known else [known]
            at, paces = np.append(first, at[later]), np.append([pace] * len(first), paces[later])
            steps = np.diff(at) * (paces[1:] + paces[:-1]) / 2
            self._add(Warp(at[1:], np.cumsum(np.append(own, steps))[1:], paces[1:]))

    def restart(self, at: int, least: int) -> None:
        """Be heard as it swings from sample `at` on, where the string begins anew: at a whole sample of its own, not before `least`."""
        own = self.place(at)
        anew = max(ceil(own), least)
        if self._last[2] != 1.0 or own != anew:
            self._add(Warp(np.array([at, at], float), np.array([own, anew], float), np.array([self._last[2], 1.0])))

    def _add(self, knots: Warp) -> None:
        self._last = (float(knots.at[-1]), float(knots.own[-1]), float(knots.pace[-1]))
        self._trace = self._trace.since(knots.at[0]).joined(knots)
        self._fresh.append(knots)

    def given(self) -> Warp:
        """Return all knots since this was asked for before."""
        fresh, self._fresh = self._fresh, []
        return reduce(Warp.joined, fresh, Warp(np.zeros(0), np.zeros(0), np.zeros(0)))


class WarpedString:
    """What is heard of a string. Ask for its samples from the first to the last; add what follows with `extend` before it is needed."""

    def __init__(self, string: Callable[[int, int], Samples | None], warp: Warp) -> None:
        """Begin with a function that gives the string's own samples in order, None for silence."""
        self._string, self._warp = string, warp
        self._first, self._past = (
            -_BEFORE,
            np.zeros(_BEFORE),
        )  # number of the first of the string's samples that may be read again, and these

    def extend(self, warp: Warp) -> None:
        """Add what follows the paces that are known."""
        self._warp = self._warp.joined(warp)

    def place(self, heard: int) -> float:
        """Return the sample of the string that is heard at sample `heard`, if nothing comes that is not known."""
        return self._warp.place(heard)

    def samples(self, start: int, stop: int) -> Samples | None:
        """Return samples `start` to `stop` as they are heard; None for silence."""
        self._warp = self._warp.since(start)
        last = int(self.place(stop - 1))
        known = self._first + len(self._past)
        if last + _AFTER >= known:
            fresh = self._string(known, last + _AFTER + 1)
            if fresh is None and not self._past.any():
                self._first, self._past = last - _BEFORE, np.zeros(_TAPS)
                return None
            self._past = np.concatenate((self._past, np.zeros(last + _AFTER + 1 - known) if fresh is None else fresh))
        runs = [self._read(*run) for run in self._runs(start, stop)]
        self._past, self._first = self._past[last - _BEFORE - self._first :], last - _BEFORE
        return runs[0] if len(runs) == 1 else np.concatenate(runs)

    def _runs(self, start: int, stop: int) -> Iterator[tuple[int, int, float]]:
        """Yield the parts of samples `start` to `stop` with one shift each, and that shift."""
        shifts = self._warp.shifts()
        begins = np.flatnonzero(np.append(True, shifts[1:] != shifts[:-1]))
        edges = np.minimum(np.append(self._warp.at[begins[1:]], stop), stop).astype(int).tolist()
        for end, shift in zip(edges, shifts[begins].tolist(), strict=True):
            if start < end:
                yield start, end, shift
                start = end

    def _read(self, begin: int, end: int, shift: float) -> Samples:
        """Return samples `begin` to `end` as they are heard, `shift` samples of the string after their own number; infinity stands for a changing number."""
        if shift < inf:
            return self._past[begin + int(shift) - self._first :][: end - begin]
        parts = []
        run = self._warp.run(begin, end) - (_BEFORE + self._first)
        for start in range(0, len(run), _PART):  # small enough for the processor's nearest memory
            places = run[start : start + _PART]
            first = places.astype(np.int64)
            powers = np.ones((_TAPS, len(places)))
            np.subtract(places, first, out=powers[-2])
            for n in range(_TAPS - 3, -1, -1):
                np.multiply(powers[n + 1], powers[-2], out=powers[n])
            taps = _lagrange() @ powers
            for n in range(_TAPS):
                taps[n] *= self._past.take(first + n)
            parts.append(taps.sum(axis=0))
        return np.concatenate(parts)


@lru_cache(maxsize=1)
def _lagrange() -> Samples:
    """Return the matrix that gives, of falling powers of a place between 0 and 1, the taps that read there, from `_BEFORE` samples before 0 on."""
    return np.ascontiguousarray(np.linalg.inv(np.vander(np.arange(-_BEFORE, _AFTER + 1.0), _TAPS)).T)
