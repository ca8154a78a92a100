"""The click that a student hears in the headphones while a recording is made: a bar of count-in, then on.

In: a Timeline and seconds. Out: a `ClickTrack`. The first beat of a bar is higher.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.timeline.model import Timeline

CLICK_RATE = 48_000  # samples a second, where the device takes them
_LENGTH = 0.03  # seconds of a click
_HERTZ, _HERTZ_FIRST = 1_000.0, 1_600.0
_LEVEL = 0.3  # of full scale: gentle in headphones


class ClickTrack(NamedTuple):
    """What is played while one records."""

    samples: NDArray[np.float32]  # shape (n,)
    count_in: float  # seconds: one bar
    beat: float  # seconds


def click_track(timeline: Timeline, percent: float, seconds: float, rate: int = CLICK_RATE) -> ClickTrack:
    """Return clicks for a bar of count-in and `seconds` of recording after it, at `rate` samples a second.

    `percent` is that of the lick's tempo.
    """
    meter = timeline.settings.meter
    quarter = 60 / float(timeline.tempos[0].qpm) * 100 / percent
    beat, bar = 4 * float(meter.beat) * quarter, 4 * float(meter.length) * quarter
    out = np.zeros(round((bar + seconds) * rate), np.float32)
    beats = max(1, round(bar / beat))
    time = np.arange(round(_LENGTH * rate)) / rate
    n = 0
    while n * beat < bar + seconds - _LENGTH:
        first = round(n * beat * rate)
        hertz = _HERTZ if n % beats else _HERTZ_FIRST
        click = _LEVEL * np.sin(2 * np.pi * hertz * time) * np.exp(-time / 0.006)
        out[first : first + len(click)] += click[: len(out) - first].astype(np.float32)
        n += 1
    return ClickTrack(out, bar, beat)
