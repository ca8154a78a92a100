"""A metronome that is heard in the room: its clicks are no notes, and what is played beside them is judged as without them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from lickwright.listen.features import measure_recording
from lickwright.listen.room_clicks import ClickTrain, find_clicks
from plucked import RATE, Samples, judged, pluck, recorded, steady, take_of, timeline_of

WALK = 'key A minor\ntempo 100\nstep 1/4\nlick "Walk"\n| A0 A3 D0 D2 | G0 - G2 - | D0 - A3 - | A0 --- ||\n'
BEAT = 0.6  # seconds
BEHIND = 0.05  # seconds that the player is behind the beat


def _clicks(seconds: float, at: Sequence[float], level: float = 0.5) -> Samples:
    """Short noises with a tone of 1.6 kHz, all alike."""
    out = np.zeros(round(seconds * RATE), np.float32)
    time = np.arange(round(0.04 * RATE)) / RATE
    noise = np.random.default_rng(2).standard_normal(len(time))
    click = level * (np.sin(2 * np.pi * 1600 * time) + 0.7 * noise) * np.exp(-time / 0.006)
    for one in at:
        first = round(one * RATE)
        out[first : first + len(click)] += click[: len(out) - first].astype(np.float32)
    return out


def _beats(first: float, seconds: float) -> list[float]:
    return list(np.arange(first, seconds - 0.1, BEAT))


def test_the_clicks_of_a_metronome_are_no_notes() -> None:
    """The player comes in after four clicks, and is behind the beat all the time."""
    timeline = timeline_of(WALK)
    wave = np.concatenate((np.zeros(round(4 * BEAT * RATE), np.float32), pluck(take_of(timeline)[0])))
    first = take_of(timeline)[0][0].start - BEHIND
    found = judged(timeline, wave + _clicks(len(wave) / RATE, _beats(first, len(wave) / RATE)))
    one = found.passes[found.best]
    assert not one.extras
    assert {n.sound.index: n.kinds for n in one.notes if n.kinds} == {}


def test_a_note_too_many_is_told_beside_clicks() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    middle = tones[4].start + 0.9
    tones.append(steady(middle, middle + 0.3, 60))
    tones[4] = tones[4]._replace(end=middle)
    wave = pluck(sorted(tones, key=lambda tone: tone.start))
    first = tones[0].start - BEHIND
    found = judged(timeline, wave + _clicks(len(wave) / RATE, _beats(first, len(wave) / RATE)))
    assert [round(extra.at - middle, 1) for extra in found.passes[found.best].extras] == [0]


@pytest.mark.parametrize(("off", "found"), [(0.0, True), (0.012, False)])
def test_clicks_are_told_by_how_even_they_are(off: float, found: bool) -> None:
    """A player's own noises, of as little as 12 ms off, are none."""
    at = np.array(_beats(0.3, 9.0)) + off * np.random.default_rng(4).standard_normal(len(_beats(0.3, 9.0)))
    wave = _clicks(9.5, list(at)) + 0.001 * np.random.default_rng(1).standard_normal(round(9.5 * RATE)).astype(
        np.float32
    )
    train = find_clicks(measure_recording(recorded(wave)), [0.85, 3.83])
    assert (train is not None) == found
    assert train is None or all(train.is_at(float(one)) for one in at)


def test_too_few_clicks_are_no_metronome() -> None:
    wave = _clicks(3.0, [0.5, 1.1, 1.7, 2.3])
    features = measure_recording(recorded(wave))
    assert find_clicks(features, [0.8]) is None
    assert find_clicks(features, []) is None


def test_a_click_is_near_a_place_of_the_train() -> None:
    train = ClickTrain(0.5, 0.6)
    assert [train.is_at(at) for at in (0.5, 1.11, 2.29, 0.52, 0.8)] == [True, True, True, False, False]
