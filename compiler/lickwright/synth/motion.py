"""What a string does over time: length and losses of its loop at knots, pulses, and where it sounds at all.

In: knots. Out: stretches in which everything stays, or moves.
"""

from __future__ import annotations

from enum import Enum
from itertools import pairwise
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import record
from lickwright.synth.loop_filters import Samples

CELL = 256  # samples in which one design of a stiff string goes over into the next


class Pulse(Protocol):
    """Samples of a pulse, stored or computed where they are asked for."""

    def __len__(self) -> int: ...

    def __getitem__(self, part: slice, /) -> Samples: ...


@record
class Motion:
    """Length and losses of one plane of a string. Between two knots all values run straight; before the first and after the last they stay."""

    at: NDArray[np.int64]  # (n,) samples, ascending
    length: Samples  # (n,) samples that the loop holds for low frequencies
    g0: Samples  # (n,) middle tap of the loss filter
    g1: Samples  # (n,) its outer taps
    wide: Samples  # (n,) outer taps of the second filter, whose taps add up to one
    stiff: Samples  # (n,) share of the dispersion of the open string
    pulses: tuple[tuple[int, Pulse], ...]  # sample and shape of what is put into the loop, by sample
    spans: tuple[tuple[int, int], ...]  # samples in which the string can sound; it is still elsewhere
    cuts: tuple[
        tuple[int, int], ...
    ] = ()  # samples at which a hand touches it, and at which nothing is left on it: another span begins there

    @property
    def values(self) -> tuple[Samples, Samples, Samples, Samples, Samples]:
        """The arguments of `loop_taps` at the knots, and the share of the dispersion."""
        return self.length, self.g0, self.g1, self.wide, self.stiff


class Movement(Enum):
    """How all values of a string are in a stretch of time."""

    STEADY = 0
    MOVING = 1
    MUFFLED = 2  # moving, with the second loss filter at work


class MotionStretch(NamedTuple):
    """Samples in which the values of a string stay, or all the time move."""

    start: int
    stop: int
    motion: Movement
    since: int  # where it began, before some of it was played


def joined_motions(old: Motion, new: Motion, past: int) -> Motion:
    """Return `new` with the knots of `old` from number `past` on before its own."""
    both = zip((old.at, *old.values), (new.at, *new.values), strict=True)
    at, length, g0, g1, wide, stiff = (np.concatenate((before[past:], after)) for before, after in both)
    cuts = tuple(cut for cut in old.cuts if cut[1] > at[0]) + new.cuts
    return Motion(at.astype(np.int64), length, g0, g1, wide, stiff, new.pulses, new.spans, cuts)


def motion_stretches(motion: Motion) -> list[MotionStretch]:
    """Return the spans, cut wherever the values begin or cease to move, or the second loss filter to work; what moves does so for whole cells."""
    moving = np.zeros(max(0, len(motion.at) - 1), dtype=bool)  # between each two knots
    for value in motion.values:
        moving |= np.diff(value) != 0
    for _, anew in motion.cuts:
        if before := int(np.searchsorted(motion.at, anew)):
            moving[before - 1] = False  # there they jump
    muffled = motion.wide != 0
    move, muffle = (_whole_cells(motion.at, part) for part in (moving, moving & (muffled[1:] | muffled[:-1])))
    cut = sorted({*move.tolist(), *muffle.tolist()})
    found: list[MotionStretch] = []
    for start, stop in motion.spans:
        edges = [start, *(at for at in cut if start < at < stop), stop]
        inside = [sum(int(np.searchsorted(of, a, "right")) % 2 for of in (move, muffle)) for a in edges[:-1]]
        found += [MotionStretch(a, b, Movement(kind), a) for (a, b), kind in zip(pairwise(edges), inside, strict=True)]
    return found


def _whole_cells(at: NDArray[np.int64], chosen: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the edges of all cells that a chosen one of the stretches between the knots `at` lies in: begin and end by turns."""
    begins = at[:-1][chosen] // CELL * CELL
    ends = -(-at[1:][chosen] // CELL) * CELL
    apart = begins[1:] > ends[:-1]
    first, last = begins[np.append(True, apart)[: len(begins)]], ends[np.append(apart, True)[: len(ends)]]
    return np.stack((first, last), axis=1).reshape(-1)
