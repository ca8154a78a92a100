"""One string as a delay loop: what it does when its length, its losses and the pulses on it change.

In: a `Motion`, which says for each knot in time how long the loop is and how much it loses, and pulses. Out: the velocity
of the string at one place, in samples, any number at a time. The loop is y[t] = x[t] + Σ K_j(t) · y[t − i(t) − j]: a six-tap Lagrange read
(Laakso et al. 1996) convolved with a three-tap loss filter, and for what is muffled with another one whose taps are wide apart. All taps read
what is at least `i` samples old, so that numpy computes a whole period at a time (Karplus & Strong 1983; Jaffe & Smith 1983).
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import record

Samples: TypeAlias = NDArray[np.float64]

TAPS = 8  # of the loop: six to read between samples, three for the loss
WIDE = 4  # samples between the taps of the second loss filter: at 48 kHz it takes most at 6 kHz
SHORTEST = 10.0  # samples that a loop has at least
_TOGETHER = 4096  # samples whose taps are worked out together
_MEAN = 0.9999  # of a loop's mean, left after a period at most
_TIME = 3000.0  # Hz at which the second decay time is meant


class Pulse(Protocol):
    """A pulse, known as a whole or worked out where it is asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> Samples: ...


@record
class Motion:
    """What is done to one string. Between two knots all values run straight; before the first and after the last they stay."""

    at: NDArray[np.int64]  # (n,) samples, ascending
    length: Samples  # (n,) samples that the loop holds, its period
    g0: Samples  # (n,) middle tap of the loss filter
    g1: Samples  # (n,) its outer taps
    wide: Samples  # (n,) outer taps of the second filter, whose taps add up to one
    pulses: tuple[tuple[int, Pulse], ...]  # sample and shape of what is put into the loop, by sample
    spans: tuple[tuple[int, int], ...]  # samples in which the string can sound; it is still elsewhere

    @property
    def values(self) -> tuple[Samples, Samples, Samples, Samples]:
        """All that `kernels` wants."""
        return self.length, self.g0, self.g1, self.wide


def loss_filter_taps(hertz: Samples, low: Samples, high: Samples, rate: int) -> tuple[Samples, Samples, Samples]:
    """Taps g0, g1 and `wide` of the loss filters for strings at `hertz` that lose 60 dB in `low` seconds at their fundamental and in
    `high` seconds at 3 kHz (at the octave where that is higher). All arrays of one shape.

    G(f) = g0 + 2 g1 cos ω must be 10^(−3/(f0·T60(f))) at both places (Karjalainen, Välimäki & Tolonen 1998). Where that would favour the
    highest partials (g0 < 2 g1), the steepest that does not is taken, and 1 − 2 w (1 − cos 4ω) beside it for what is missing, as far as it goes.
    """
    w0 = 2 * np.pi * hertz / rate
    w1 = 2 * np.pi * np.minimum(np.maximum(_TIME, 2 * hertz), 0.45 * rate) / rate
    cos0, cos1 = np.cos(w0), np.cos(w1)
    gain0 = 10 ** (-3 / (hertz * low))
    gain1 = np.minimum(gain0, 10 ** (-3 / (hertz * high)))
    g1 = np.minimum((gain0 - gain1) / (2 * (cos0 - cos1)), (_MEAN - gain0) / (2 * (1 - cos0)))  # a mean must die out
    g0 = gain0 - 2 * g1 * cos0
    steep = g0 < 2 * g1
    missing = np.where(steep, gain1 / gain0 * (1 + cos0) / (1 + cos1), 1.0)  # of the gain at the second place
    far0, far1 = 1 - np.cos(WIDE * w0), 1 - np.cos(WIDE * w1)
    wide = np.clip((1 - missing) / np.maximum(2 * (far1 - missing * far0), 1e-9), 0.0, 0.25)
    steepest = gain0 / ((1 + cos0) * (1 - 2 * wide * far0))
    return np.where(steep, steepest, g0), np.where(steep, steepest / 2, g1), wide


def kernels(length: Samples, g0: Samples, g1: Samples, wide: Samples) -> tuple[NDArray[np.int64], Samples]:
    """Where the taps begin, shape (n,), and what they are, shape (taps, n), for loops of `length` samples.

    The read lies in the central interval of its six taps, where it is most exact (fifth order).
    """
    delay = np.maximum(length, SHORTEST) - 1  # the loss filter holds one sample
    first = np.floor(delay).astype(np.int64) - 2
    d = delay - first
    d1, d2, d3, d4, d5 = d - 1, d - 2, d - 3, d - 4, d - 5
    low, high = d * d1 * d2, d3 * d4 * d5
    read = (
        d1 * d2 * high / -120, d * d2 * high / 24, d * d1 * high / -12,
        low * d4 * d5 / 12, low * d3 * d5 / -24, low * d3 * d4 / 120,
    )  # fmt: skip
    taps = np.zeros((TAPS, len(d)))
    for k, tap in enumerate(read):
        outer = tap * g1
        taps[k] += outer
        taps[k + 1] += tap * g0
        taps[k + 2] += outer
    if not wide.any():
        return first, taps
    muffled = np.zeros((TAPS + 2 * WIDE, len(d)))
    muffled[:TAPS] = muffled[2 * WIDE :] = taps * wide
    muffled[WIDE : WIDE + TAPS] += taps * (1 - 2 * wide)
    return first - WIDE, muffled


class _Stretch(NamedTuple):
    """Samples in which all of a string's values stay, or all the time move."""

    start: int
    stop: int
    steady: bool


class DelayLoop:
    """One string in motion. Ask for its samples from the first to the last, in pieces of any size; tell it in time how it goes on."""

    def __init__(self, motion: Motion) -> None:
        self._motion = motion  # its knots from the last one that is past on
        self._stretches: list[_Stretch] = []
        self._pulses: list[tuple[int, int, Pulse]] = []  # sample, how much of the shape is in already, shape
        self._now = 0  # the next sample to be asked for
        self._past = np.zeros(0)  # samples that the loop reads, the longest that is known
        self._learn(motion)

    def go_on(self, motion: Motion) -> None:
        """What is done to the string after all that is known: all of it later than what was asked for so far, by a period at least."""
        past = max(0, int(np.searchsorted(self._motion.at, self._now, "right")) - 1)
        both = zip((self._motion.at, *self._motion.values), (motion.at, *motion.values), strict=True)
        at, length, g0, g1, wide = (np.concatenate((old[past:], new)) for old, new in both)
        self._motion = Motion(at.astype(np.int64), length, g0, g1, wide, motion.pulses, motion.spans)
        self._learn(self._motion)

    def _learn(self, motion: Motion) -> None:
        """Takes up the pulses and spans of `motion`, and how long the loop gets."""
        for stretch in _stretches(motion):
            last = self._stretches[-1] if self._stretches else None
            if last is not None and (last.stop, last.steady) == (stretch.start, stretch.steady):
                self._stretches[-1] = last._replace(stop=stretch.stop)
            else:
                self._stretches.append(stretch)
        self._pulses += [(at, 0, shape) for at, shape in motion.pulses]
        self._pulses.sort(key=lambda pulse: pulse[0])
        keep = int(motion.length.max(initial=SHORTEST)) + TAPS + WIDE + 2
        if keep > len(self._past):
            self._past = np.concatenate((np.zeros(keep - len(self._past)), self._past))

    def samples(self, start: int, stop: int) -> Samples | None:
        """Samples `start` to `stop`; None where the string is still all the time."""
        self._now, keep = stop, len(self._past)
        if not self._stretches or self._stretches[0].start >= stop:
            self._past = np.concatenate((self._past, np.zeros(min(stop - start, keep))))[-keep:]
            return None
        y = np.concatenate((self._past, np.zeros(stop - start)))
        offset = keep - start  # from a sample's number to its place in `y`
        self._strike(y, offset)
        while self._stretches and (stretch := self._stretches[0]).start < stop:
            end = min(stretch.stop, stop)
            swing = self._hold if stretch.steady else self._move
            swing(y, stretch.start + offset, end + offset, offset)
            if end < stretch.stop:
                self._stretches[0] = stretch._replace(start=end)
                break
            del self._stretches[0]
        self._past = y[-keep:].copy()
        return y[keep:]

    def _strike(self, y: Samples, offset: int) -> None:
        """Lays the pulses into `y`; what of one lies beyond its end waits for the next piece."""
        waiting = []
        while self._pulses and self._pulses[0][0] + offset < len(y):
            at, done, shape = self._pulses.pop(0)
            begin = at + offset
            part = shape[done : done + len(y) - begin]
            y[begin : begin + len(part)] += part
            if done + len(part) < len(shape):
                waiting.append((at + len(part), done + len(part), shape))
        self._pulses[:0] = waiting

    def _hold(self, y: Samples, start: int, stop: int, offset: int) -> None:
        """Lets a string swing that does not change."""
        motion = self._motion
        knot = [min(len(motion.at) - 1, int(np.searchsorted(motion.at, start - offset, "right")))]
        firsts, taps = kernels(motion.length[knot], motion.g0[knot], motion.g1[knot], motion.wide[knot])
        first, oldest, reverse = int(firsts[0]), int(firsts[0]) + len(taps) - 1, np.ascontiguousarray(taps[::-1, 0])
        for at in range(start, stop, first):
            end = min(at + first, stop)
            y[at:end] += np.correlate(y[at - oldest : end - first], reverse, "valid")

    def _move(self, y: Samples, start: int, stop: int, offset: int) -> None:
        """Lets a string swing whose length or losses change from sample to sample."""
        motion = self._motion
        for begin in range(start, stop, _TOGETHER):
            n = min(_TOGETHER, stop - begin)
            when = np.arange(begin - offset, begin + n - offset)
            first, taps = kernels(*(np.interp(when, motion.at, v) for v in motion.values))
            reads = np.arange(begin, begin + n) - first - np.arange(len(taps))[:, None]
            at = 0
            while at < n:
                end = min(n, at + int(first[at]))
                end = at + int(first[at:end].min())  # a string that grows shorter must not read what is not there yet
                y[begin + at : begin + min(end, n)] += np.einsum("ij,ij->j", y[reads[:, at:end]], taps[:, at:end])
                at = end


def _stretches(motion: Motion) -> list[_Stretch]:
    """The spans, cut wherever the values begin or cease to move."""
    moves = np.zeros(len(motion.at) + 1, dtype=bool)  # between each two knots, and before and after all of them
    for value in motion.values:
        moves[1:-1] |= np.diff(value) != 0
    cut = np.unique(motion.at[moves[1:] != moves[:-1]])
    found: list[_Stretch] = []
    for start, stop in motion.spans:
        edges = [start, *cut[(cut > start) & (cut < stop)].tolist(), stop]
        found += [_Stretch(a, b, not moves[np.searchsorted(motion.at, a, "right")]) for a, b in pairwise(edges)]
    return found
