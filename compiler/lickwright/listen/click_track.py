"""The click that a student hears in the headphones while a recording is made: a bar of count-in, then on.

In: a Timeline and seconds. Out: samples of the click, and how long the count-in lasts. The first beat of a bar is higher.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lickwright.timeline.model import Timeline

CLICK_RATE = 48_000  # samples a second
_LENGTH = 0.03  # seconds of a click
_HERTZ, _HERTZ_FIRST = 1_000.0, 1_600.0
_LEVEL = 0.3  # of full scale: gentle in headphones


def click_track(timeline: Timeline, percent: float, seconds: float) -> tuple[NDArray[np.float32], float]:
    """Return the samples of clicks, shape (n,), and the seconds of the count-in, one bar, before `seconds` of recording.

    `percent` is that of the lick's tempo.
    """
    meter = timeline.settings.meter
    quarter = 60 / float(timeline.tempos[0].qpm) * 100 / percent
    beat, bar = 4 * float(meter.beat) * quarter, 4 * float(meter.length) * quarter
    count_in = bar
    out = np.zeros(round((count_in + seconds) * CLICK_RATE), np.float32)
    beats = max(1, round(bar / beat))
    n = 0
    while n * beat < count_in + seconds - _LENGTH:
        first = round(n * beat * CLICK_RATE)
        time = np.arange(round(_LENGTH * CLICK_RATE)) / CLICK_RATE
        hertz = _HERTZ if n % beats else _HERTZ_FIRST
        click = _LEVEL * np.sin(2 * np.pi * hertz * time) * np.exp(-time / 0.006)
        out[first : first + len(click)] += click[: len(out) - first].astype(np.float32)
        n += 1
    return out, count_in
