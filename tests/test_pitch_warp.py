"""A string whose time runs faster or slower: what is heard of it, and where."""

from __future__ import annotations

import numpy as np
import pytest

from lickwright.music.instruments import INSTRUMENTS
from lickwright.performance.pitch_curves import CurveShape, PitchRamp
from lickwright.synth.loop_filters import Samples
from lickwright.synth.pitch_warp import StringTime, WarpedString
from sound_measure import note, plan_string

RATE = 48_000


def sine(start: int, stop: int) -> Samples:
    return np.sin(2 * np.pi * 3000 / RATE * np.arange(start, stop))


def paced(*steps: tuple[float, float]) -> StringTime:
    """A time that runs at a pace from one sample to the next."""
    time = StringTime()
    time.change(0.0, np.array([at for at, _ in steps]), np.array([pace for _, pace in steps]))
    return time


@pytest.mark.parametrize("sizes", [(20_000,), (1, 777, 4096, 5)])
def test_a_faster_time_is_a_higher_pitch(sizes: tuple[int, ...]) -> None:
    """At every sample the sine is where the area below the pace has come to."""
    string = WarpedString(sine, paced((4000, 1.0), (9000, 1.2), (12_000, 0.9)).given())
    heard, at = [], 0
    for size in np.resize(sizes, 20_000):
        if at < 20_000:
            part = string.samples(at, min(20_000, at + int(size)))
            assert part is not None
            heard.append(part)
            at += int(size)
    pace = np.interp(np.arange(20_000.0), [0, 4000, 9000, 12_000], [1, 1, 1.2, 0.9])
    own = np.concatenate(([0.0], np.cumsum((pace[1:] + pace[:-1]) / 2)))
    assert np.abs(np.concatenate(heard) - np.sin(2 * np.pi * 3000 / RATE * own)).max() < 1e-4


def test_a_string_that_is_heard_as_it_swings_is_not_read() -> None:
    string = WarpedString(sine, StringTime().given())
    part = string.samples(0, 500)
    assert part is not None and np.array_equal(part, sine(0, 500))


def test_the_time_of_a_string_comes_back_to_whole_samples() -> None:
    time = paced((1000, 1.1234), (2000, 1.05))
    own = time.place(3000)
    assert own != int(own)
    time.restart(3000, 0)
    assert own < time.place(3000) < own + 1
    time.restart(3100, 5000)
    warp = time.given()
    assert np.all(np.diff(warp.own) >= 0)
    assert warp.pace[-1] == 1 and warp.own[-1] == 5000 and warp.shifts()[-1] == 1900


def test_a_bent_string_is_held_and_one_along_which_a_finger_slides_is_not() -> None:
    """The loop of a bent one has one length, so that it may ring as the sum of its modes; that of the other moves, and its time does not."""
    bend, vibrato = PitchRamp(0.2, 0.4, 2.0), PitchRamp(0.5, 1.0, 0.4, CurveShape.AROUND)
    slide = PitchRamp(0.2, 0.4, 2.0, CurveShape.FRETS)
    bent, slid = (
        plan_string([note(0.01, 1.0, 62, moves=moves)], 55, INSTRUMENTS["clean"].guitar, RATE)
        for moves in ((bend, vibrato), (slide,))
    )
    assert len(np.unique(bent.motion.length)) == 1 and len(np.unique(bent.warp.pace)) > 200
    assert len(np.unique(slid.motion.length)) > 20 and np.all(slid.warp.pace == 1)
