"""StereoSamples of a recording, in memory while it is short and in a given file when it is longer.

In: two channels of samples, a piece at a time. Out: the same, as often as wanted. A gain for the whole is stored as a number and applied when samples
are read. The largest sample of every `FRAME` is kept, four bytes each; nothing else in memory grows with the length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

FRAME = 64  # samples whose largest is known
PIECE = FRAME * 1024  # samples read together
SHORT = 48_000 * 60  # samples up to which a recording lies in memory: 23 MB
BYTES = 8  # of a sample of both channels in the file
_WIDTH = BYTES // 2

StereoSamples = NDArray[np.float32]  # shape (2, n)


class Wave:
    """A recording of `count` samples."""

    def __init__(self, count: int, file: BinaryIO, short: int = SHORT) -> None:
        """Begin with silence. A recording longer than `short` lies in `file`, which is empty."""
        self.count = count
        self.peaks = np.zeros(-(-count // FRAME), np.float32)  # of each frame, both channels
        self._file = file
        self._gains: list[np.float32] = []  # not yet applied to the stored samples, in this order
        self._array: StereoSamples | None = np.zeros((2, count), np.float32) if count <= short else None

    @classmethod
    def of(cls, array: StereoSamples) -> Wave:
        """Return a Wave that works on `array`, shape (channels, n), and changes it in place when `settle` is called."""
        wave = cls.__new__(cls)
        wave.count, wave._array, wave._gains = array.shape[1], array, []
        wave.peaks = np.zeros(-(-wave.count // FRAME), np.float32)
        for start in range(0, wave.count, PIECE):
            wave._measure_peaks(start, array[:, start : start + PIECE])
        return wave

    @property
    def peak(self) -> float:
        """The largest sample, 0 for silence."""
        return float(self.peaks.max(initial=0.0))

    def pieces(self) -> Iterator[StereoSamples]:
        """Yield all samples in order, `PIECE` at a time, shape (2, n). Raises OSError where the file does."""
        for start in range(0, self.count, PIECE):
            yield self.read(start, start + PIECE)

    def read(self, start: int, stop: int) -> StereoSamples:
        """Return samples `start` to `stop`, as far as there are any; they must not be changed. Raises OSError where the file does."""
        start, stop = max(0, start), min(stop, self.count)
        part = self._stored(start, stop) if self._array is None else self._array[:, start:stop]
        for gain in self._gains:
            part = part * gain
        return part

    def write(self, start: int, part: StereoSamples) -> None:
        """Put `part` in place from sample `start` on, a multiple of `FRAME`; earlier gains do not apply to it. Raises OSError where the file does."""
        if self._array is not None:
            self._array[:, start : start + part.shape[1]] = part
        else:
            for channel, samples in enumerate(part):
                self._file.seek((channel * self.count + start) * _WIDTH)
                self._file.write(np.ascontiguousarray(samples, np.float32).data)
        self._measure_peaks(start, part)

    def scale(self, gain: float) -> None:
        """Multiply all samples by `gain`."""
        factor = np.float32(gain)
        self._gains.append(factor)
        self.peaks *= factor  # as exact as to look again: rounding keeps the order of numbers

    def change(self, changed: Callable[[int, StereoSamples], StereoSamples]) -> None:
        """Replace every piece by what `changed` returns for its first sample and its samples. Raises OSError where the file does."""
        for start in range(0, self.count, PIECE):
            self.write(start, changed(start, self.read(start, start + PIECE)))
        self._gains = []

    def settle(self) -> None:
        """Apply the gains to the stored samples. Raises OSError where the file does."""
        if self._gains:
            self.change(lambda _, part: part)

    def _stored(self, start: int, stop: int) -> StereoSamples:
        part = np.zeros((2, stop - start), np.float32)
        for channel in (0, 1):
            self._file.seek((channel * self.count + start) * _WIDTH)
            self._file.readinto(part[channel].data)  # type: ignore[attr-defined]
        return part

    def _measure_peaks(self, start: int, part: StereoSamples) -> None:
        size = np.abs(part).max(axis=0)
        size = np.pad(size, (0, -len(size) % FRAME))
        found = size.reshape(-1, FRAME).max(axis=1)
        self.peaks[start // FRAME : start // FRAME + len(found)] = found
