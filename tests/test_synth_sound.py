"""What comes out: the valve folds nothing back, every recording is as loud as it should be, guitars are even and alive."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import numpy as np
import pytest

import sound_recordings as goals
from lickwright.music.instruments import INSTRUMENTS
from lickwright.synth.loudness import integrated_loudness, step_energies, true_peak
from sound_measure import OPEN, centroid, crest, level, lufs, normalize_samples, note
from sound_measure import true_peak as measured_peak

RATE = goals.RATE


def _strokes() -> Iterator[object]:
    """Strokes into each valve; every day the hardest on the highest tone and a soft one."""
    for name, tone, strength in product(
        [name for name, row in INSTRUMENTS.items() if row.guitar.drive], [82.41, 329.63, 1318.5], [0.3, 2.0]
    ):
        daily = (name, tone, strength) in (("lead", 1318.5, 2.0), ("crunch", 329.63, 0.3))
        yield pytest.param(name, tone, strength, marks=() if daily else pytest.mark.slow)


@pytest.mark.parametrize(("name", "tone", "strength"), [*_strokes()])
def test_the_valve_folds_nothing_back(name: str, tone: float, strength: float) -> None:
    assert goals.alias(name, tone, strength) <= -80


def test_recordings_are_equally_loud_and_safe() -> None:
    off, peak, mean = goals.recordings(slice(40, 41))
    assert off <= 0.5
    assert peak <= -1
    assert mean < 1e-4


@pytest.mark.slow
def test_all_recordings_are_equally_loud_and_safe() -> None:
    off, peak, mean = goals.recordings()
    assert off <= 0.5
    assert peak <= -1
    assert mean < 1e-4


@pytest.mark.parametrize("case", list(goals.hostile()), ids=lambda case: case[0])
def test_whatever_is_written_is_safe_in_headphones(case: tuple[str, list, str, float]) -> None:
    _, notes, name, seconds = case
    wave = normalize_samples(goals.rendered(notes, INSTRUMENTS[name].guitar, seconds), RATE)
    assert np.isfinite(wave).all()
    assert measured_peak(wave) <= -1
    assert abs(lufs(wave) + 16) <= 0.5 if notes else not wave.any()


def test_loudness_is_the_standard_s() -> None:
    """A full sine of 997 Hz in one channel is −3.01 LUFS (ITU-R BS.1770-4), and quiet parts are not counted."""
    time = np.arange(4 * RATE) / RATE
    tone = np.stack((np.sin(2 * np.pi * 997 * time), 0 * time)).astype(np.float32)
    assert integrated_loudness(step_energies(tone, RATE)) == pytest.approx(-3.01, abs=0.01)
    for wave in (tone, np.concatenate((tone, tone * 0.01), axis=1), tone[:, : RATE // 3] * 0.2):
        assert integrated_loudness(step_energies(wave, RATE)) == pytest.approx(lufs(wave), abs=0.02)


def test_peaks_between_samples_are_seen() -> None:
    time = np.arange(RATE)
    for tone in (RATE / 4, 7010.0):
        wave = np.stack((np.sin(2 * np.pi * tone / RATE * time + np.pi / 4),) * 2).astype(np.float32)
        assert 20 * np.log10(true_peak(wave)) == pytest.approx(measured_peak(wave), abs=0.15)


@pytest.mark.parametrize(
    "name", ["acoustic", *(pytest.param(n, marks=pytest.mark.slow) for n in INSTRUMENTS if n != "acoustic")]
)
def test_strings_are_equally_loud(name: str) -> None:
    assert goals.loudest_string(name, (0, 7)) <= 4


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_a_guitar_is_alive(name: str) -> None:
    """Harder is louder and brighter; the stroke stands out of what follows; what follows gets duller as it dies."""
    tuning = (43, 38, 33, 28) if name == "bass" else OPEN
    soft, hard = (
        goals.rendered([note(0.1, 1.6, tuning[2] + 5, 3, loudness=loudness)], INSTRUMENTS[name].guitar, 1.8, tuning)[0]
        for loudness in (0.38, 0.88)
    )
    assert level(hard, RATE, 0.1, 0.4) > (1.1 if name == "lead" else 1.5) * level(soft, RATE, 0.1, 0.4)
    assert centroid(hard, RATE, 0.1, 0.3) > 1.1 * centroid(soft, RATE, 0.1, 0.3)
    assert centroid(hard, RATE, 0.1, 0.2) > centroid(hard, RATE, 1.0, 1.3)
    assert crest(hard[int(0.1 * RATE) : int(0.5 * RATE)]) > 7
    assert level(hard, RATE, 1.2, 1.5) < level(hard, RATE, 0.15, 0.45)


def test_guitars_come_out_alike() -> None:
    """Without levelling, the same notes are within some decibels on all guitars."""
    notes = [note(0.1 + 0.2 * i, 0.3 + 0.2 * i, 57 + 2 * i, 4) for i in range(4)]
    loud = [lufs(goals.rendered(notes, row.guitar, 1.2)) for row in INSTRUMENTS.values()]
    assert max(loud) - min(loud) < 8


@pytest.mark.slow
def test_memory_does_not_grow_with_the_piece() -> None:
    """Twenty seconds more cost less than a tenth of their two channels as samples (8 MB)."""
    assert goals.memory(25, "clean") - goals.memory(5, "clean") < 0.8


@pytest.mark.slow
def test_ten_minutes_need_no_more_memory() -> None:
    assert goals.memory(600, "lead") - goals.memory(40, "lead") < 23
