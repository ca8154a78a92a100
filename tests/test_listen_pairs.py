"""Double stops: which of the two notes is wrong, and what was played instead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from lickwright.listen.expected import ExpectedGroup, expected_groups
from lickwright.listen.judge_pairs import judge_pair
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.stretches import hear_recording
from lickwright.performance.note_events import perform
from plucked import Samples, pluck, recorded, steady, timeline_of

PAIRS = 'key G major\ntempo 80\nstep 1/2\nlick "Pairs"\n| G4&B5 D5&G5 | D5&B5 D5&G7 | D5&B8 A5&B5 ||\n'
_LASTS = 0.5  # seconds


def _groups() -> list[ExpectedGroup]:
    timeline = timeline_of(PAIRS)
    return expected_groups(timeline, perform(timeline))


def _heard(group: ExpectedGroup, pitches: Sequence[float | None], wave: Samples | None = None) -> list[HeardNote]:
    """The notes of a double stop where these pitches are played; None: its string is not."""
    tones = [steady(0.3, 0.3 + _LASTS, p, 4 - n) for n, p in enumerate(pitches) if p is not None]
    hearing = hear_recording(recorded(pluck(tones) if wave is None else wave))
    return judge_pair(hearing, group, 0.3, 0.3 + _LASTS, 0.0)


def _shares(pitch: float, other: float) -> bool:
    """Whether all partials of one of two pitches are those of the other."""
    return round(abs(pitch - other)) in (0, 12, 19, 24, 28, 31, 34, 36)


@pytest.mark.parametrize("which", [0, 1], ids=["lower", "upper"])
@pytest.mark.parametrize(
    "n",
    [pytest.param(n, marks=[] if n in (0, 4) else pytest.mark.slow) for n in range(6)],
    ids=["third", "fourth", "sixth", "fifth", "octave", "ninth"],
)
def test_a_wrong_note_of_a_double_stop_is_told_with_what_was_played(n: int, which: int) -> None:
    group = _groups()[n]
    for by in (-4, -3, -2, -1, 1, 2, 3, 4):
        played = [float(pitch) for pitch in group.pitches]
        played[which] += by
        if _shares(*played):
            continue
        notes = _heard(group, played)
        assert notes[which].verdict is NoteVerdict.WRONG, (by, notes[which])
        assert notes[which].pitch == group.pitches[which] + by
        assert notes[1 - which].verdict is NoteVerdict.RIGHT or _shares(*played), (by, notes[1 - which])


def test_both_notes_of_a_double_stop_a_fret_too_high() -> None:
    for group in _groups()[:4]:
        notes = _heard(group, [pitch + 1 for pitch in group.pitches])
        assert [note.verdict for note in notes] == [NoteVerdict.WRONG] * 2
        assert [note.pitch for note in notes] == [pitch + 1 for pitch in group.pitches]


def test_a_right_double_stop_through_an_overdriven_amplifier() -> None:
    """The amplifier adds the sums and differences of the two: some are where a wrong note would be."""
    for group in _groups():
        tones = [steady(0.3, 0.3 + _LASTS, p, 4 - n) for n, p in enumerate(group.pitches)]
        wave = np.asarray(0.3 * np.tanh(12 * pluck(tones)), np.float32)
        verdicts = {note.verdict for note in _heard(group, group.pitches, wave)}
        assert verdicts <= {NoteVerdict.RIGHT, NoteVerdict.UNTOLD}


@pytest.mark.parametrize("which", [0, 1], ids=["lower", "upper"])
def test_a_note_of_a_double_stop_that_is_left_out_is_not_another_one(which: int) -> None:
    for group in _groups()[:4]:
        played: list[float | None] = list(group.pitches)
        played[which] = None
        notes = _heard(group, played)
        assert notes[which].verdict is NoteVerdict.MISSING
        assert notes[1 - which].verdict is NoteVerdict.RIGHT
