"""Before a note is called missing: what tells that it was played all the same, or that it was not."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.judge_doubts import take_back_doubts
from lickwright.listen.judge_notes import judge_pitches
from lickwright.listen.model import HeardNote, NoteVerdict
from plucked import RATE, Samples, Tone, matched_pass, matched_wave, moved, pluck, take_of, timeline_of

PAIRS = 'key G major\ntempo 80\nstep 1/4\nlick "Pairs"\n| G4&B5 G5&B7 G7&B8 G4&B5 | G2&B3 G4&B5 G7&B8 G5&B7 ||\n'
LOW = 'tempo 100\nstep 1/4\nlick "Low"\n| E3 E3 E3 E3 | A0 A2 A3 D0 ||\n'
LINE = 'tempo 100\nstep 1/8\nlick "Line"\n| A0 A3 D0 D2 G0 G2 B1 B3 | G0 D2 D0 A3 A0--- ||\n'


def _again(heard: HeardPass, verdicts: dict[int, NoteVerdict]) -> dict[int, HeardNote]:
    """The notes of a pass after some had these verdicts at first."""
    notes = judge_pitches(heard.hearing, heard.groups, heard.times, heard.higher)
    for note in notes:
        note.verdict = verdicts.get(note.sound.index, note.verdict)
    take_back_doubts(heard, notes)
    return {note.sound.index: note for note in notes}


def test_a_note_of_a_double_stop_whose_partials_enter_is_not_missing() -> None:
    timeline = timeline_of(PAIRS)
    tones, performance = take_of(timeline)
    gone = 3
    found = matched_pass(timeline, [t for t in tones if t.sound != gone], performance)
    notes = _again(found, dict.fromkeys((0, 2, gone), NoteVerdict.MISSING))
    assert {n for n, note in notes.items() if note.verdict is NoteVerdict.MISSING} == {gone}
    assert notes[0].verdict is notes[2].verdict is NoteVerdict.RIGHT
    assert notes[2].onset == found.times.starts[1]


def test_a_double_stop_that_no_stretch_begins_is_missing_only_where_nothing_enters() -> None:
    timeline = timeline_of(PAIRS)
    tones, performance = take_of(timeline)
    gone = {4, 5}
    for kept, verdict in (
        (tones, NoteVerdict.UNTOLD),
        ([t for t in tones if t.sound not in gone], NoteVerdict.MISSING),
    ):
        found = matched_wave(timeline, _noisy(kept), tones, performance, 2)
        notes = _again(found, {})
        assert found.times.starts[2] is None
        assert {notes[n].verdict for n in gone} == {verdict}


def test_a_note_that_is_left_out_is_not_right_by_the_ring_of_the_one_before() -> None:
    """The pitch of the one before goes on, and explains what is new no better than the one that was left out."""
    timeline = timeline_of(LINE)
    tones, performance = take_of(timeline)
    ring = tones[4]._replace(end=tones[5].end)
    found = matched_wave(timeline, _noisy([*tones[:4], ring, *tones[6:]]), tones, performance)
    found.hearing.picks[found.times.begins[5] or 0] = -1.0  # a noise in the room that may be a pick
    verdicts = {5: NoteVerdict.RIGHT, 6: NoteVerdict.RIGHT}
    notes = _again(found, verdicts)
    assert notes[5].verdict is NoteVerdict.MISSING
    assert notes[6].verdict is NoteVerdict.RIGHT
    assert _again(matched_wave(timeline, _noisy(tones), tones, performance), verdicts)[5].verdict is NoteVerdict.RIGHT


def test_a_note_that_is_left_out_is_not_right_by_its_own_pitch_that_rings_faintly_from_before() -> None:
    timeline = timeline_of('tempo 100\nstep 1/8\nlick "Ring"\n| A0 A3 D0 G2 G0 G2 B1 B3 | G0 D2 D0 A3 A0--- ||\n')
    tones, performance = take_of(timeline)
    wave = _noisy([*tones[:5], *tones[6:]])
    _sounding(wave, tones[3].start, tones[5].end, 57, [(0.0, 0.03), (0.9, 0.02)])
    found = matched_wave(timeline, wave, tones, performance)
    begin = found.times.begins[5] or 0
    found.hearing.picks[begin], found.hearing.steps[begin] = -5.0, False  # where the note before stops
    notes = _again(found, {5: NoteVerdict.RIGHT})
    assert notes[5].pitch == pytest.approx(57, abs=0.1)
    assert notes[5].verdict is NoteVerdict.MISSING


def _noisy(tones: Sequence[Tone]) -> Samples:
    """Tones in a quiet room."""
    wave = pluck(tones)
    return wave + np.random.default_rng(3).normal(0, 1e-3, len(wave)).astype(np.float32)


def _sounding(wave: Samples, first: float, last: float, pitch: float, levels: Sequence[tuple[float, float]]) -> None:
    """Add a tone without any attack, at levels by seconds since it begins."""
    time = np.arange(round((last - first) * RATE)) / RATE
    hertz = 440 * 2 ** ((pitch - 69) / 12)
    tone = sum(np.sin(2 * np.pi * n * hertz * time) / n for n in range(1, 9))
    at = round(first * RATE)
    level = np.interp(time, *zip(*levels, strict=True)) * np.clip(time / 0.02, 0, 1)
    wave[at : at + len(time)] += (0.3 * level * tone).astype(np.float32)


@pytest.mark.parametrize(
    ("levels", "verdict"),
    [
        ([(0.0, 1.0), (0.6, 0.9), (0.68, 0.25), (1.2, 0.25)], NoteVerdict.UNTOLD),
        ([(0.0, 1.0), (0.6, 0.9), (0.68, 0.0), (1.2, 0.0)], NoteVerdict.MISSING),
        ([(0.0, 1.0), (0.6, 0.6), (1.2, 0.3)], NoteVerdict.MISSING),
    ],
    ids=["softer", "stopped", "rings on"],
)
def test_a_repeated_note_that_goes_on_more_softly_is_not_missing(
    levels: Sequence[tuple[float, float]], verdict: NoteVerdict
) -> None:
    """A computer that levels a recording takes the attack away; the string is stopped, and sounds on at a lower level."""
    timeline = timeline_of(LOW)
    tones, performance = take_of(timeline)
    wave = _noisy(tones[2:])
    _sounding(wave, tones[0].start, tones[1].end, 43, levels)
    found = matched_wave(timeline, wave, tones, performance, 1)
    assert found.times.starts[1] is None
    assert _again(found, {1: NoteVerdict.MISSING})[1].verdict is verdict


def test_a_repeated_note_is_not_missing_where_the_others_are_heard_as_faintly() -> None:
    timeline = timeline_of(LOW)
    tones, performance = take_of(timeline)
    wave = _noisy(tones[4:])
    _sounding(wave, tones[0].start, tones[3].end, 43, [(0.0, 1.0), (2.4, 0.4)])
    found = matched_wave(timeline, wave, tones, performance, 1)
    assert found.repeats_are_faint(1)
    assert _again(found, {1: NoteVerdict.MISSING})[1].verdict is NoteVerdict.UNTOLD
    clear = matched_wave(timeline, _noisy(tones), tones, performance)
    assert not clear.repeats_are_faint(1)


@pytest.mark.parametrize(("pitch", "verdict"), [(57.7, NoteVerdict.RIGHT), (55.0, NoteVerdict.MISSING)])
def test_a_soft_note_is_right_where_its_pitch_comes_out_near_it(pitch: float, verdict: NoteVerdict) -> None:
    timeline = timeline_of(LINE)
    tones, performance = take_of(timeline)
    wave = _noisy([*tones[:4], tones[4]._replace(end=tones[5].end), *tones[6:]])
    wave += pluck([tones[5]._replace(picked=False)], tones[-1].end + 0.5, 0.008)
    found = matched_wave(timeline, wave, tones, performance)
    found.hearing.picks[found.times.begins[5] or 0] = -3.0
    notes = judge_pitches(found.hearing, found.groups, found.times, found.higher)
    notes[5].verdict, notes[5].pitch = NoteVerdict.RIGHT, pitch
    take_back_doubts(found, notes)
    assert notes[5].verdict is verdict


@pytest.mark.parametrize(("level", "verdict"), [(0.008, NoteVerdict.UNTOLD), (0.0, NoteVerdict.MISSING)])
def test_a_hammered_note_that_enters_softly_under_a_ringing_one_is_not_missing(
    level: float, verdict: NoteVerdict
) -> None:
    timeline = timeline_of('tempo 80\nstep 1/4\nlick "Slur"\n| A0 A2 A3 D0 | G0 h2 B1 B3 ||\n')
    tones, performance = take_of(timeline)
    ring = tones[4]._replace(end=tones[5].end)
    wave = _noisy([*tones[:4], ring, *tones[6:]]) + pluck([tones[5]._replace(picked=False)], tones[-1].end + 0.5, level)
    found = matched_wave(timeline, wave, tones, performance, 5)
    assert _again(found, {5: NoteVerdict.MISSING})[5].verdict is verdict


def test_a_note_before_a_pause_is_looked_for_at_its_distance_from_the_one_before() -> None:
    timeline = timeline_of(LINE)
    tones, performance = take_of(timeline)
    tones = [moved(t, later=1.1) if t.sound >= 6 else t for t in tones]
    found = matched_pass(timeline, tones, performance, 5)
    assert found.times.starts[5] == pytest.approx(tones[5].start, abs=0.015)


def test_a_repeated_note_of_which_only_the_octave_comes_out_is_not_missing() -> None:
    timeline = timeline_of('tempo 120\nstep 1/8\nlick "Low"\n| E0 E0 A0 A2 D0 D2 G0 G2 ||\n')
    tones, performance = take_of(timeline)
    octave = moved(tones[1], 12.0)._replace(picked=False)
    found = matched_pass(timeline, [tones[0], octave, *tones[2:]], performance)
    found.hearing.picks[found.times.begins[1] or 0] = -5.0  # a room in which picks are not heard
    note = _again(found, {})[1]
    assert note.pitch == pytest.approx(52, abs=0.1)
    assert note.verdict is NoteVerdict.UNTOLD  # its own odd partials are not there: it may have been the octave
