"""A string that nobody touches, as the sum of its modes: partials that each die away at their own pace.

In: the kernels of a string's loops, one a plane, and the samples before an instant. Out: the samples from there on. A loop y = K y swings in the zeros of
1 − K(z), and how much of each there is follows from what is on the string: these are the residues of the loop's z-transform. All modes of some
samples are one product of matrices, and a mode is left out once nobody could hear it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from lickwright.synth.loop_filters import Samples

Poles: TypeAlias = NDArray[np.complex128]

SETTLING = 8  # ways round the loop after which only the modes that are looked for are left
CHUNK = 2048  # samples that are added up together
_ROW, _SPLIT = 64, 16  # samples of a chunk in one row of the product; of a transform that are worked out together
_LEAST = 0.13  # gain of a way round, down to which modes are looked for: its eighth power is −140 dB
_STILL = 1e-9  # amplitude of a mode that is left out
_KEPT = 0.85  # share of the modes from which on the others are not thrown away
_GRID = 2048  # samples of the transform on which modes are looked for
_STEPS, _EXACT = 2, 1e-10  # of Newton's method; error of a mode's gain and phase on a way round, at most


class Kernel(NamedTuple):
    """What a loop reads: y[t] is the sum of taps[k] · y[t − newest − k]."""

    newest: int
    data: bytes  # of the taps

    @property
    def taps(self) -> Samples:
        return np.frombuffer(self.data)

    @property
    def oldest(self) -> int:
        """Samples that the last of the taps is back."""
        return self.newest + len(self.data) // 8 - 1


class _Modes(NamedTuple):
    """The modes of one loop, from 0 Hz upwards."""

    poles: Poles  # logarithms of z
    ways: Poles  # samples of a way round, −dK/d(log z)


class Ringing:
    """A string from sample 0 on. Ask for its samples from the first to the last."""

    def __init__(self, modes: Sequence[_Modes], strengths: Sequence[Poles], shares: Sequence[float]) -> None:
        """Begin with the modes of each plane, how strong they are, and the share of each plane in what is heard."""
        self._poles, self._strengths = np.concatenate([of.poles for of in modes]), np.concatenate(strengths)
        self._plane = np.repeat(np.arange(len(modes)), [len(of.poles) for of in modes])
        self._shares, self._only = np.array(shares), np.eye(len(modes))
        turn = np.exp(self._poles)
        row = _powers(turn, _ROW)
        self._row = np.stack((row.real, -row.imag), axis=1)  # of each mode
        self._rows = np.ascontiguousarray(_powers(turn**_ROW, CHUNK // _ROW).T)
        self._known, self._heard = -1, np.zeros(0)  # the chunk that was added up last

    def heard(self, start: int, stop: int) -> Samples:
        """Return samples `start` to `stop` of all planes together."""
        parts = []
        for chunk in range(start // CHUNK, -(-stop // CHUNK)):
            if self._known != chunk:
                self._known, self._heard = chunk, self._chunk(chunk, self._shares)
            parts.append(self._heard[max(0, start - chunk * CHUNK) : stop - chunk * CHUNK])
        return np.concatenate(parts)

    def plane(self, number: int, start: int, stop: int) -> Samples:
        """Return samples `start` to `stop` of one plane, in which nothing was left out after them."""
        first, last = start // CHUNK, -(-stop // CHUNK)
        whole = np.concatenate([self._chunk(chunk, self._only[number]) for chunk in range(first, last)])
        return whole[start - first * CHUNK : stop - first * CHUNK]

    def _chunk(self, chunk: int, shares: Samples) -> Samples:
        """Return the samples of a chunk, with a share of each plane."""
        now = self._strengths * np.exp(self._poles * (chunk * CHUNK))
        loud = np.abs(now) > _STILL
        if np.count_nonzero(loud) < _KEPT * len(now):
            self._poles, self._strengths, self._plane = self._poles[loud], self._strengths[loud], self._plane[loud]
            self._row, self._rows, now = self._row[loud], np.ascontiguousarray(self._rows[:, loud]), now[loud]
        now *= shares[self._plane]
        summed: Samples = (self._rows * now).view(np.float64) @ self._row.reshape(-1, _ROW)
        return summed.reshape(-1)


def ring_on(kernels: Sequence[Kernel], past: Samples, shares: Sequence[float]) -> Ringing:
    """Return how a string rings on whose last samples in each plane are `past`, shape (planes, n), and whose `loop_modes` can all be told."""
    found, strengths = [], []
    for kernel, wave in zip(kernels, past, strict=True):
        modes = loop_modes(kernel)
        assert modes is not None
        known = np.concatenate((wave[-kernel.oldest :], np.zeros(kernel.oldest - kernel.newest)))
        coming = np.correlate(known, kernel.taps[::-1], "valid")  # what comes back of the past
        found.append(modes)
        strengths.append(_transforms(modes.poles, coming[None], 0)[0] / modes.ways)
        strengths[-1][1:] *= 2  # and their mirror images
    return Ringing(found, strengths, shares)


@lru_cache(maxsize=256)  # of some kilobytes each
def loop_modes(kernel: Kernel) -> _Modes | None:
    """Return the modes of a loop that lose less than nearly all on one way round; None where they cannot be told."""
    newest, taps = kernel.newest, kernel.taps
    response = np.fft.rfft(taps, _GRID)
    gain, at = np.abs(response), np.arange(len(response)) * (2 * np.pi / _GRID)
    edge = int(np.argmax(gain < _LEAST))
    turns = (at * newest - np.unwrap(np.angle(response)))[: edge + 1] / (2 * np.pi)
    if edge == 0 or gain[edge:].max() > 2 * _LEAST or np.diff(turns).min() <= 0:
        return None
    places = np.interp(np.arange(int(turns[-1]) + 1), turns, at[: edge + 1])
    lost = np.log(np.interp(places, at, gain)) * np.interp(places, at[:edge], np.diff(at[: edge + 1]) / np.diff(turns))
    poles = lost / (2 * np.pi) + 1j * places
    both = np.stack((taps, taps * np.arange(newest, newest + len(taps))))
    gone, ways = _transforms(poles, both, newest)
    for _ in range(_STEPS):
        poles += np.log(gone) * gone / ways  # Newton's method for log K = 0
        gone, ways = _transforms(poles, both, newest)
    return _Modes(poles, ways) if np.abs(gone - 1).max() < _EXACT else None


def _transforms(poles: Poles, waves: Samples, first: int) -> Poles:
    """Return the z-transforms of waves, shape (waves, n), whose first samples have number `first`, at the exponentials of `poles`."""
    count = -(-waves.shape[1] // _SPLIT)
    rows = np.zeros((len(waves), count * _SPLIT))
    rows[:, : waves.shape[1]] = waves
    back = np.exp(-poles)
    near, far = _powers(back, _SPLIT), _powers(back**_SPLIT, count)
    far *= np.exp(-first * poles)[:, None]
    turned: Poles = (
        ((near @ rows.reshape(-1, _SPLIT).T).reshape(len(poles), len(waves), count) * far[:, None]).sum(axis=2).T
    )
    return turned


def _powers(of: Poles, count: int) -> Poles:
    """Return the powers 0 to `count` − 1 of each number, shape (numbers, count)."""
    table = np.ones((len(of), count), complex)
    done = 1
    while done < count:
        more = min(done, count - done)
        table[:, done : done + more] = table[:, :more] * (table[:, done - 1] * of)[:, None]
        done += more
    return table
