"""The samples of a recording while it is made: what is played next, and what was heard until now.

In: a `ClickTrack` and blocks from the sound device. Out: blocks for it, and at the end the samples after the count-in. The click is played and never
recorded. Knows no device.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.click_track import ClickTrack

_LEAD = 0.5  # of a beat before the first one, which is kept for those who come in early


class TakeBuffer:
    """One recording of a fixed length."""

    def __init__(self, clicks: ClickTrack, rate: int, channels: int, latency: float) -> None:
        """`latency` is the seconds from a click on its way to the ears to the same instant on its way in."""
        self._clicks, self._rate, self._latency = clicks, rate, latency
        self._recorded = np.zeros((len(clicks.samples) + round(latency * rate), channels), np.float32)
        self.done = 0  # frames

    @property
    def full(self) -> bool:
        """True if all is recorded."""
        return self.done >= len(self._recorded)

    @property
    def seconds(self) -> float:
        """What was recorded after the count-in, in seconds."""
        return max(0.0, self.done / self._rate - self._clicks.count_in - self._latency)

    def turn(self, heard: NDArray[np.float32], out: NDArray[np.float32]) -> None:
        """Keep a block that was heard, and fill the one that is played next; both have the shape (frames, channels)."""
        out[:] = 0
        part = self._clicks.samples[self.done : self.done + len(out)]
        out[: len(part)] = part[:, None]
        kept = self._recorded[self.done : self.done + len(heard)]
        kept[:] = heard[: len(kept)]
        self.done += len(kept)

    def take(self) -> NDArray[np.float32]:
        """Return what was recorded from shortly before the first beat on, shape (frames, channels)."""
        begins = self._clicks.count_in + self._latency - _LEAD * self._clicks.beat
        return self._recorded[max(0, round(begins * self._rate)) : self.done]
