"""One string as a delay loop whose length and losses change over time.

In: a `Motion` for each plane, which gives length and losses of the loop at knots in time, and pulses. Out: the velocity
of the string at one place, in samples, any number at a time. The loop is y[t] = x[t] + Σ K_j(t) · y[t − i(t) − j]: a six-tap Lagrange read
(Laakso et al. 1996) convolved with a three-tap loss filter, and for what is muffled with another one whose taps are wide apart. Before it comes the
filter of the string's stiffness, which changes where the length does: from one design to the next over `CELL` samples. All taps read
what is at least some samples old, so that numpy computes most of a period at a time (Karplus & Strong 1983; Jaffe & Smith 1983).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.loop_filters import SHORTEST, TAPS, WIDE, Samples, loop_taps
from lickwright.synth.modes import SETTLING, Kernel, Ringing, loop_modes, ring_on
from lickwright.synth.motion import CELL, Motion, MotionStretch, Movement, Pulse, joined_motions, motion_stretches
from lickwright.synth.stiffness import NONE, Dispersion, Fade, StiffTaps

ROOM = TAPS + 8  # samples of a loop that a stiff string leaves, so that a block has some
DAMPS = 0.7  # share of the time between a touch and a stroke in which it damps a string
_TOGETHER = 8  # cells whose taps are worked out together
WORTH = 10_000  # samples that a string must ring alone for its modes to be worth working out


_LIMP = Fade(NONE, NONE, 0.0, 1.0)


class DelayLoop:
    """One string in one plane or several, whose knots, pulses and spans are the same.

    Ask for its samples from the first to the last, in pieces of any size; add what follows with `extend` before it is needed.
    """

    def __init__(self, *planes: Motion, stiff: Sequence[Dispersion] = (), shares: Sequence[float] = (1.0,)) -> None:
        """Begin with `planes`, the stiffness of each, and its share in what is heard; a string without stiffness is limp."""
        self._planes = planes  # their knots from the last one that is past on
        self._stiff = stiff
        self._shares = shares
        self._stretches: list[MotionStretch] = []
        self._strikes: list[tuple[int, int]] = []  # samples from and to which there are pulses
        self._ringing: tuple[int, Ringing] | None = None  # the string as the sum of its modes, from a sample on
        self._cuts = planes[0].cuts  # those that are not past
        self._pulses: list[tuple[int, int, Pulse]] = []  # sample, how much of the shape is in already, shape
        self._now = 0  # the next sample to be asked for
        self._past = np.zeros((len(planes), 0))  # samples that the loop reads, the longest that is known
        self._learn()

    def extend(self, *planes: Motion) -> None:
        """Add what is done to the string after all that is known: all of it later than what was asked for so far, by a period at least."""
        past = max(0, int(np.searchsorted(self._planes[0].at, self._now - CELL, "right")) - 1)
        self._cuts += planes[0].cuts
        self._planes = tuple(joined_motions(old, new, past) for old, new in zip(self._planes, planes, strict=True))
        self._learn()

    def _learn(self) -> None:
        """Take up the pulses and spans of the planes, and how long the loop gets."""
        motion = self._planes[0]
        for stretch in motion_stretches(motion):
            last = self._stretches[-1] if self._stretches else None
            joins = last is not None and (last.stop, last.motion) == (stretch.start, stretch.motion)
            if last is not None and joins and not self._cut(stretch.start):
                self._stretches[-1] = last._replace(stop=stretch.stop)
            else:
                self._stretches.append(stretch)
        self._pulses += [(at, 0, shape) for at, shape in motion.pulses]
        self._pulses.sort(key=lambda pulse: pulse[0])
        self._strikes += [(at, at + len(shape)) for at, shape in motion.pulses]
        keep = int(max(plane.length.max(initial=SHORTEST) for plane in self._planes)) + TAPS + WIDE + 2
        keep += max((len(stiff.design(1.0).taps) for stiff in self._stiff), default=0)
        if keep > self._past.shape[1]:
            self._past = np.pad(self._past, ((0, 0), (keep - self._past.shape[1], 0)))

    def samples(self, start: int, stop: int) -> Samples | None:
        """Return samples `start` to `stop` of all planes together; None where the string is still all the time."""
        self._now, keep = stop, self._past.shape[1]
        self._cuts = tuple(cut for cut in self._cuts if cut[1] >= start)
        if self._ringing is not None and self._untouched(self._stretches[0], self._ringing[0]) > stop:
            begun, ringing = self._ringing
            self._stretches[0] = self._stretches[0]._replace(start=stop)
            return self._damped(ringing.heard(start - begun, stop - begun), start)
        y = np.zeros((len(self._planes), keep + stop - start))
        y[:, :keep] = self._past
        if not self._stretches or self._stretches[0].start >= stop:
            self._past = y[:, -keep:].copy()
            return None
        self._strikes = [strike for strike in self._strikes if strike[1] >= start - SETTLING * keep]
        self._strike(y, keep - start)
        heard = np.zeros(stop - start)
        for at, samples in self._swing(y, stop, keep - start):
            heard[at - start :][: len(samples)] = samples
        self._past = y[:, -keep:].copy()
        return self._damped(heard, start)

    def _damped(self, heard: Samples, start: int) -> Samples:
        """Return the samples from `start` on, with what a hand does to them that touches the string."""
        for touch, cut in self._cuts:
            first, last = max(touch - start, 0), min(cut - start, len(heard))
            if first < last:
                gone = (np.arange(first, last) + start - touch) / (cut - touch)
                heard[first:last] *= np.cos(np.pi / 2 * np.minimum(gone / DAMPS, 1.0)) ** 2
        return heard

    def _cut(self, at: int) -> bool:
        """Return whether nothing is left on the string at sample `at` of what was there before."""
        return any(cut == at for _, cut in self._cuts)

    def _swing(self, y: Samples, stop: int, offset: int) -> Iterator[tuple[int, Samples]]:
        """Let a string swing until sample `stop`, `offset` before its place in `y`; yield a sample and what is heard from there on, of all of it."""
        while self._stretches and (stretch := self._stretches[0]).start < stop:
            if stretch.start == stretch.since and self._cut(stretch.start):
                y[:, : stretch.start + offset] = 0.0
            end = min(stretch.stop, stop)
            if stretch.motion is Movement.STEADY:
                yield from self._hold(y, stretch, end, offset)
            else:
                self._move(y, stretch.start, end, offset, stretch.motion is Movement.MUFFLED)
                yield stretch.start, self._mixed(y, stretch.start + offset, end + offset)
            if end < stretch.stop:
                self._stretches[0] = stretch._replace(start=end)
                break
            del self._stretches[0]

    def _mixed(self, y: Samples, start: int, stop: int) -> Samples:
        """Return what is heard of all planes from place `start` to `stop` of `y`."""
        heard: Samples = y[0, start:stop] * self._shares[0]
        for wave, share in zip(y[1:], self._shares[1:], strict=True):
            heard += wave[start:stop] * share
        return heard

    def _strike(self, y: Samples, offset: int) -> None:
        """Lay the pulses into `y`; what of one lies beyond its end waits for the next piece."""
        waiting = []
        while self._pulses and self._pulses[0][0] + offset < y.shape[1]:
            at, done, shape = self._pulses.pop(0)
            begin = at + offset
            part = shape[done : done + y.shape[1] - begin]
            y[:, begin : begin + len(part)] += part
            if done + len(part) < len(shape):
                waiting.append((at + len(part), done + len(part), shape))
        self._pulses[:0] = waiting

    def _hold(self, y: Samples, stretch: MotionStretch, end: int, offset: int) -> Iterator[tuple[int, Samples]]:
        """Let a string swing that does not change, from where `stretch` starts to sample `end`; yield what `_swing` does."""
        at = stretch.start
        while at < end:
            if self._ringing is None:
                until = self._go_round(y, stretch, at, end, offset)
                yield at, self._mixed(y, at + offset, until + offset)
                at = until
                continue
            begun, ringing = self._ringing
            free = self._untouched(stretch, begun)
            until = min(free, end)
            yield at, ringing.heard(at - begun, until - begun)
            if until == free:
                first = free if self._cut(free) else max(begun, free - self._past.shape[1])
                for p, plane in enumerate(y if first < free else ()):
                    plane[first + offset : free + offset] = ringing.plane(p, first - begun, free - begun)
                self._ringing = None
            at = until

    def _untouched(self, stretch: MotionStretch, at: int) -> int:
        """Return the sample until which nothing happens to the string from `at` on."""
        return min((start for start, _ in self._strikes if at < start < stretch.stop), default=stretch.stop)

    def _go_round(self, y: Samples, stretch: MotionStretch, at: int, end: int, offset: int) -> int:
        """Send the waves round the string from sample `at` on; return where that ends: at `end`, with a pulse, or where the string begins to ring alone."""
        kernels, free = self._kernels(at), self._untouched(stretch, at)
        begun = max((stop for start, stop in self._strikes if start <= at), default=0)
        settled = max(stretch.since, begun) + SETTLING * max(kernel.oldest for kernel in kernels)
        settled = max(settled, at)
        rings = free - settled >= WORTH and None not in [loop_modes(kernel) for kernel in kernels]
        until = min(settled if rings else free, end)
        for wave, kernel in zip(y, kernels, strict=True):
            newest, oldest, reverse = kernel.newest, kernel.oldest, kernel.taps[::-1].copy()
            for begin in range(at + offset, until + offset, newest):
                stop = min(begin + newest, until + offset)
                wave[begin:stop] += np.correlate(wave[begin - oldest : stop - newest], reverse, "valid")
        if rings and until == settled:
            self._ringing = until, ring_on(kernels, y[:, : until + offset], self._shares)
        return until

    def _kernels(self, at: int) -> list[Kernel]:
        """Return what the loop of each plane reads where the values at sample `at` stay."""
        knots = self._planes[0].at
        knot = min(len(knots) - 1, int(np.searchsorted(knots, at, "right")))
        length, g0, g1, wide, stiff = np.array([[value[knot] for value in plane.values] for plane in self._planes]).T
        firsts, loops = loop_taps(length, g0, g1, wide if wide.any() else None)
        found = []
        for p, (first, loop) in enumerate(zip(firsts.tolist(), loops.T, strict=True)):
            design = self._stiff[p].design(stiff[p]) if self._stiff else NONE
            found.append(Kernel(first - design.ahead, np.convolve(loop, design.taps).tobytes()))
        return found

    def _move(self, y: Samples, start: int, stop: int, offset: int, muffled: bool) -> None:
        """Let a string swing, from sample `start` to `stop`, whose length or losses change from sample to sample."""
        cells = list(_cells(start, stop))
        for n in range(0, len(cells), _TOGETHER):
            self._follow(y, cells[n : n + _TOGETHER], offset, muffled)

    def _follow(self, y: Samples, cells: Sequence[tuple[int, int]], offset: int, muffled: bool) -> None:
        """Let a string swing whose loop is worked out for every sample of `cells`."""
        begin, end = cells[0][0], cells[-1][1]
        first, taps = loop_taps(*self._values(np.arange(begin, end), muffled))
        edges = [at - begin for at, _ in cells]
        shortest = np.minimum.reduceat(first.min(axis=0), edges).tolist()
        longest = np.maximum.reduceat(first.max(axis=0), edges).tolist()
        newest = np.arange(begin + offset, end + offset) - first
        for (at, until), *reach, fades in zip(cells, shortest, longest, self._fades(cells, offset), strict=True):
            part = slice(at - begin, until - begin)
            self._read(y, at + offset, newest[:, part], taps[:, :, part], fades, *reach)

    def _read(
        self,
        y: Samples,
        start: int,
        newest: NDArray[np.int64],
        taps: Samples,
        fades: Sequence[Fade],
        shortest: int,
        longest: int,
    ) -> None:
        """Add what comes back to the samples from place `start` on: by `taps`, shape (taps, planes, n), from places `newest` on, shape (planes, n).

        These lie `shortest` to `longest` samples back.
        """
        count, known = newest.shape[1], start - longest - len(taps) + 1
        # A string that grows shorter must not read what is not there yet.
        block = max(1, shortest - max(fade.ahead for fade in fades))
        turned = np.empty((len(y), start + count - shortest - known))
        rows = turned.shape[1] * np.arange(len(y))[:, None] - known
        places, done = newest + rows - np.arange(len(taps))[:, None, None], 0
        for at in range(0, count, block):
            until = min(count, at + block)
            size = start + until - shortest - known
            for row, fade, wave in zip(turned, fades, y, strict=True):
                row[done : done + size] = fade.filtered(wave, known, known + size)
            known, done = known + size, done + size
            heard = turned.reshape(-1).take(places[:, :, at:until])
            y[:, start + at : start + until] += np.einsum("kpn,kpn->pn", heard, taps[:, :, at:until])

    def _fades(self, cells: Sequence[tuple[int, int]], offset: int) -> Iterator[Sequence[Fade]]:
        """Yield the filters of all planes in each cell, or part of one."""
        if not self._stiff:
            yield from ((_LIMP,) * len(self._planes) for _ in cells)
            return
        edges = cells[0][0] // CELL * CELL + CELL * np.arange(len(cells) + 1)
        planes = []
        for plane, stiff in zip(self._planes, self._stiff, strict=True):
            designs = [stiff.design(share) for share in np.interp(edges, plane.at, plane.stiff).tolist()]
            lengths = np.interp(edges, plane.at, plane.length).tolist()
            of_cells = zip((edges + offset).tolist(), pairwise(designs), pairwise(lengths), strict=False)
            planes.append([cell_fade(at, both, *length) for at, both, length in of_cells])
        yield from zip(*planes, strict=True)

    def _values(self, when: NDArray[np.int64], muffled: bool) -> tuple[Samples, Samples, Samples, Samples | None]:
        """Return the arguments of `loop_taps` at the samples `when`, each of shape (planes, n)."""
        at = self._planes[0].at
        begin = max(0, int(np.searchsorted(at, when[0], "right")) - 1)
        knots = slice(begin, int(np.searchsorted(at, when[-1])) + 1)
        found = np.empty((4 if muffled else 3, len(self._planes), len(when)))
        for p, plane in enumerate(self._planes):
            for k, values in enumerate(plane.values[: len(found)]):
                found[k, p] = np.interp(when, at[knots], values[knots])
        return found[0], found[1], found[2], found[3] if muffled else None


def cell_fade(at: float, designs: tuple[StiffTaps, StiffTaps], before: float, after: float) -> Fade:
    """Return the filter of a cell that begins at place `at`, where the loop holds so many samples before and after it; it is read a turn later."""
    return Fade(*designs, at - before, CELL).within(min(before, after) - ROOM)


def _cells(start: int, stop: int) -> Iterator[tuple[int, int]]:
    """Yield the cells that samples `start` to `stop` lie in, as far as they do."""
    while start < stop:
        end = min(stop, (start // CELL + 1) * CELL)
        yield start, end
        start = end
