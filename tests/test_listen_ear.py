"""The ear, step by step, on sines and plucked tones whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from lickwright.listen.boundaries import find_boundaries
from lickwright.listen.combs import comb_strength, stretch_spectrum
from lickwright.listen.entries import strongest_entry
from lickwright.listen.features import FRAME, measure_recording
from lickwright.listen.gestures import bend_height, crossing, move_time, unbroken, wobble_width
from lickwright.listen.lateness import SURE, judge_onsets
from lickwright.listen.pitch import BEFORE, frame_pitches
from lickwright.listen.recording import LONGEST, RATE, resample_recording
from lickwright.listen.renewals import renewal_odds, steepest_renewal
from lickwright.listen.second_opinion import is_octave_off, is_surely_another, look_at, own_strengths
from lickwright.listen.stretches import PICKED, hear_recording
from lickwright.listen.tuning import KnownNote, measured_tuning, overall_tuning
from plucked import Tone, pluck, recorded, steady, talk


def _sine(hertz: float, seconds: float, rate: int) -> np.ndarray[tuple[int], np.dtype[np.float32]]:
    return (0.5 * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)).astype(np.float32)


@pytest.mark.parametrize("rate", [8_000, 11_025, 24_000, 44_100, 44_099, 192_000])
def test_any_rate_comes_out_as_the_same_sound(rate: int) -> None:
    wave = _sine(440, 3.3, rate)
    blocks = (wave[i : i + 10_001, None] for i in range(0, len(wave), 10_001))
    heard = resample_recording(blocks, rate)
    assert heard.seconds == pytest.approx(3.3, abs=1e-3)
    expected = _sine(440, 3.3, RATE)[: heard.count]
    assert np.abs(heard.read(0, len(expected)) - expected)[3000:-3000].max() < 1e-3


@pytest.mark.parametrize("rate", [7_999, 192_001, 0, -5])
def test_other_rates_are_refused(rate: int) -> None:
    with pytest.raises(ValueError, match="samples a second"):
        resample_recording([], rate)


def test_a_recording_is_read_beyond_its_ends_as_silence() -> None:
    heard = recorded(_sine(440, 1.5, RATE))
    part = heard.read(-100, 50)
    assert len(part) == 150
    assert not part[:100].any()
    assert not heard.read(heard.count, heard.count + 10).any()


def test_only_half_an_hour_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    assert LONGEST == 30 * 60
    monkeypatch.setattr("lickwright.listen.recording.LONGEST", 10)
    block = np.zeros((8_000, 1), np.float32)
    heard = resample_recording((block for _ in range(40)), 8_000)
    assert heard.seconds == 10


def test_channels_that_cancel_each_other_are_heard() -> None:
    wave = _sine(330, 1.0, RATE)
    heard = resample_recording([np.stack((wave, -wave), axis=1)], RATE)
    assert np.abs(heard.read(6_000, 12_000)).max() > 0.4


def test_what_is_no_number_is_silence() -> None:
    wave = np.full((RATE, 1), np.nan, np.float32)
    wave[:50] = np.inf
    assert not resample_recording([wave], RATE).read(0, RATE).any()


def test_hum_below_a_guitar_is_left_out() -> None:
    heard = recorded(_sine(50, 2.0, RATE) + np.float32(0.3))
    assert np.abs(heard.read(RATE // 2, RATE)).max() < 0.01


@pytest.mark.parametrize("pitch", [40, 45.3, 52, 64, 76.1, 88])
def test_a_pitch_is_exact_to_two_cents(pitch: float) -> None:
    hertz = 440 * 2 ** ((pitch - 69) / 12)
    time = np.arange(RATE) / RATE
    wave = sum(np.sin(2 * np.pi * n * hertz * time) / n for n in (1, 2, 3, 4) if n * hertz < 11_000)
    found, clarity = frame_pitches(np.asarray(wave, np.float32), 128, 100)
    assert np.abs(found - pitch).max() < 0.02
    assert clarity.min() > 0.95


def test_the_frame_of_a_pitch_stands_for_its_middle() -> None:
    """A glide of an octave a second is read where it is, to 3 ms."""
    time = np.arange(RATE) / RATE
    wave = np.sin(2 * np.pi * np.cumsum(440 * 2 ** (time - 0.5)) / RATE).astype(np.float32)
    found, _ = frame_pitches(wave, 128, 120)
    at = (np.arange(120) * 128 + BEFORE) / RATE
    assert np.abs(found - (69 + 12 * (at - 0.5)))[20:].max() < 12 * 0.003


def test_picks_of_one_pitch_are_found_to_three_milliseconds() -> None:
    starts = [0.5, 0.9, 1.1, 1.8]
    ends = [*starts[1:], 2.5]
    heard = hear_recording(recorded(pluck([steady(a, b, 57) for a, b in zip(starts, ends, strict=True)])))
    picks = heard.starts[:-1][heard.picks > PICKED]
    assert picks == pytest.approx(starts, abs=0.003)
    assert np.nanmax(np.abs(heard.pitches[heard.picks > PICKED] - 57)) < 0.02


def test_a_bend_and_a_vibrato_are_no_picks() -> None:
    def bent(t: np.ndarray) -> np.ndarray:
        return 62 + 2 * np.clip((t - 0.8) / 0.2, 0, 1) + 0.3 * np.sin(2 * np.pi * 5.5 * t) * (t > 1.2)

    heard = hear_recording(recorded(pluck([Tone(0.5, 2.2, bent)])))
    assert (heard.picks > PICKED).sum() == 1


def test_a_click_is_no_pick() -> None:
    wave = pluck([steady(0.5, 2.5, 50)])
    for at in (1.2, 1.7):
        first = round(at * RATE)
        wave[first : first + 200] += (0.05 * np.sin(2 * np.pi * 3000 * np.arange(200) / RATE)).astype(np.float32)
    heard = hear_recording(recorded(wave))
    assert (heard.picks > PICKED).sum() == 1


def test_a_string_is_likelier_plucked_than_a_voice() -> None:
    strings = [steady(0.5 + n, 1.5 + n, pitch, string=n) for n, pitch in enumerate((57, 64, 48))]
    wave = pluck(strings, 8.0)
    wave[4 * RATE :] += talk(4.0, 0.02)[: len(wave) - 4 * RATE]
    heard = hear_recording(recorded(wave))
    struck = [float(heard.plucked[np.abs(heard.starts[:-1] - note.start).argmin()]) for note in strings]
    spoken = heard.plucked[heard.starts[:-1] > 4.05]
    assert min(struck) > 0.9
    assert len(spoken) > 8
    assert np.median(spoken) < 0.3


def test_a_step_without_a_pick_is_a_boundary() -> None:
    def slurred(t: np.ndarray) -> np.ndarray:
        return np.where(t < 1.0, 60.0, 62.0)

    features = measure_recording(recorded(pluck([Tone(0.5, 1.6, slurred)])))
    steps = [b.frame * FRAME for b in find_boundaries(features) if b.step]
    assert any(abs(at - 1.0) < 0.02 for at in steps)


@pytest.mark.parametrize("samples", [0, 1, 100, 300, 700])
def test_a_recording_of_a_few_milliseconds_is_heard(samples: int) -> None:
    wave = pluck([steady(0.0, 0.5, 60)], 0.5)[:samples]
    assert hear_recording(recorded(wave)).count <= 1


@pytest.mark.parametrize("cents", [-34, 0, 27])
def test_the_tuning_of_the_whole_guitar(cents: float) -> None:
    tones = [steady(0.3 + 0.4 * n, 0.7 + 0.4 * n, p + cents / 100) for n, p in enumerate((52, 57, 59, 60, 64))]
    assert 100 * overall_tuning(hear_recording(recorded(pluck(tones)))) == pytest.approx(cents, abs=2)


def test_the_pick_of_a_string_does_not_sharpen_its_tuning() -> None:
    """Strings that are 40 cents sharp where they are picked, and sink within a tenth of a second."""

    def note(start: float, pitch: float) -> Tone:
        return Tone(start, start + 0.4, lambda t: pitch + 0.4 * np.exp(-(t - start) / 0.04))

    pitches = (45, 50, 52, 55, 57)
    heard = recorded(pluck([note(0.3 + 0.4 * n, p) for n, p in enumerate(pitches)]))
    known = [KnownNote(0.3 + 0.4 * n, 0.7 + 0.4 * n, p, ()) for n, p in enumerate(pitches)]
    assert abs(100 * measured_tuning(heard, known)) < 3
    assert measured_tuning(heard, known[:2]) == 0


def test_a_note_enters_where_its_own_partials_rise() -> None:
    low, soft = pluck([steady(0.2, 1.5, 45)]), pluck([steady(0.8, 1.5, 61)], 2.0, 0.04)
    heard = recorded(np.concatenate((low, np.zeros(len(soft) - len(low), np.float32))) + soft)
    features = measure_recording(heard)
    entry = strongest_entry(heard, features, (0.7, 0.9), 61, [45])
    assert entry is not None
    assert all(type(value) is float for value in entry)
    assert entry.at == pytest.approx(0.8, abs=0.015)
    assert entry.rise > 20
    absent = strongest_entry(heard, features, (0.7, 0.9), 62, [45, 61])
    assert absent is not None
    assert absent.strength < entry.strength - 10
    assert strongest_entry(heard, features, (0.7, 0.9), 57, [45]) is None  # an octave above it
    assert strongest_entry(heard, features, (0.9, 0.7), 61, [45]) is None


def test_all_bands_rise_where_a_string_is_struck_again_and_not_while_it_rings() -> None:
    heard = recorded(pluck([steady(0.2, 1.0, 45), steady(1.0, 2.0, 45)]))
    rise, at = steepest_renewal(heard, -20.0, 0.94, 1.06)
    assert rise > 4
    assert at == pytest.approx(1.0, abs=0.015)
    rings, _ = steepest_renewal(heard, -20.0, 0.5, 0.62)
    assert rings < 1
    assert renewal_odds(rise, 8.0, 3.0) > 3 > -1 > renewal_odds(rings, 1.0, 0.0)
    assert abs(steepest_renewal(recorded(np.zeros(RATE, np.float32)), -120.0, 0.2, 0.2)[0]) < 1e-6


def test_combs_tell_which_note_is_there() -> None:
    heard = recorded(pluck([steady(0.2, 1.0, 57)]))
    spectrum = stretch_spectrum(heard, 0.2, 1.0)
    strengths = {p: comb_strength(spectrum, p) for p in (55, 56, 57, 58, 59)}
    assert max(strengths, key=lambda p: strengths[p]) == 57
    assert strengths[57] > 0.8 > 0.5 > max(strengths[p] for p in (55, 56, 58, 59))


def test_both_notes_of_a_double_stop_are_told_by_their_own_partials() -> None:
    heard = recorded(pluck([steady(0.2, 1.0, 57, 3), steady(0.2, 1.0, 61, 2)]))
    spectrum = stretch_spectrum(heard, 0.2, 1.0)
    assert own_strengths(spectrum, 57, [61])[0] > 0.5 > own_strengths(spectrum, 58, [61])[0]
    assert own_strengths(spectrum, 61, [57])[0] > 0.5 > own_strengths(spectrum, 60, [57])[0]
    assert own_strengths(spectrum, 69, [57])[1] == 0  # an octave shares all of them


@pytest.mark.parametrize("by", [-12, 12])
def test_an_octave_off_is_told_from_an_octave_misheard_by_the_odd_partials(by: int) -> None:
    for pitch in (45, 57, 69):
        look = look_at(recorded(pluck([steady(0.2, 1.0, pitch)])), 0.2, 1.0)
        assert is_octave_off(look, pitch, pitch - by)  # played
        assert not is_octave_off(look, pitch + by, pitch)  # misheard
        assert not is_octave_off(look, pitch + 7, pitch)


def test_another_pitch_is_sure_where_its_partials_are_there_and_those_of_the_expected_one_are_not() -> None:
    for pitch in (43, 57, 69):
        look = look_at(recorded(pluck([steady(0.2, 1.0, pitch)])), 0.2, 1.0)
        assert all(is_surely_another(look, pitch, pitch + by) for by in (-7, -4, -3, -2, -1, 1, 2, 3, 4, 5))
        assert not any(is_surely_another(look, pitch + by, pitch) for by in (-12, -7, -2, -1, 0, 1, 2, 5, 12))


def test_the_height_and_the_time_of_a_bend() -> None:
    time = np.arange(0, 1, FRAME)
    curve = 1.8 * np.clip((time - 0.3) / 0.2, 0, 1)
    assert bend_height(curve, False) == pytest.approx(1.8, abs=0.01)
    assert crossing(curve, 0.9, True) == pytest.approx(0.4, abs=0.01)
    assert np.isnan(crossing(curve, 2.5, True))
    assert np.isnan(bend_height(curve[:0], False))


@pytest.mark.parametrize("upwards", [True, False])
def test_how_long_a_bend_takes(upwards: bool) -> None:
    way = 0.5 - 0.5 * np.cos(np.pi * np.clip((np.arange(0, 1, FRAME) - 0.3) / 0.24, 0, 1))
    curve, start, stop = (2 * way, 0.0, 2.0) if upwards else (2 - 2 * way, 2.0, 0.0)
    assert move_time(curve, start, stop) == pytest.approx(0.24, abs=0.05)
    assert np.isnan(move_time(curve, start, 2 * stop - start))


def test_what_jumps_away_from_a_string_and_back_is_another_sound() -> None:
    """A voice, or the note before in a room, over which a bend rises."""
    curve = 2 * np.clip((np.arange(0, 0.5, FRAME) - 0.1) / 0.2, 0, 1)
    curve[:6], curve[60:65] = 1.9, 0.4
    clear = np.ones(len(curve), np.bool_)
    clear[30:40] = False
    kept = unbroken(curve, clear)
    assert set(np.flatnonzero(clear & ~kept)) == {*range(6), *range(60, 65)}
    assert not kept[30:40].any()


@pytest.mark.parametrize("width", [0.0, 0.35, 0.7])
def test_the_width_of_a_vibrato_on_a_drifting_pitch(width: float) -> None:
    time = np.arange(0, 0.8, FRAME)
    curve = 0.2 * time + width / 2 * np.sin(2 * np.pi * 5.5 * time)
    assert wobble_width(curve) == pytest.approx(width, abs=0.08 * width + 0.02)
    assert np.isnan(wobble_width(curve[:10]))


def test_lateness_is_against_the_neighbors() -> None:
    """A student who speeds up, pauses and plays one note late is late once."""
    written = np.arange(24) * 0.25
    heard = 1.0 + 1.3 * written - 0.01 * written**2
    heard[15:] += 0.9
    heard[6] += 0.09
    timing = judge_onsets(written, heard)
    assert [k for k, _ in timing.pauses] == [15]
    assert timing.pauses[0][1] == pytest.approx(0.9, abs=0.05)
    assert timing.late[6] == pytest.approx(0.09, abs=0.01)
    assert np.nanmax(np.abs(np.delete(timing.late, 6))) < 0.02


def test_two_late_notes_beside_each_other_do_not_make_the_others_early() -> None:
    written = np.arange(12) * 0.3
    heard = written * 1.1
    heard[[0, 1]] += 0.1
    late = judge_onsets(written, heard).late
    assert np.abs(late[2:]).max() < 0.02
    assert late[:2] == pytest.approx([0.1, 0.1], abs=0.02)


def test_a_late_note_before_a_pause_is_late() -> None:
    """Four notes on either side of a pause are enough, since the pace is that of the whole."""
    written = np.arange(8) * 0.5
    heard = 1.1 * written + np.array([0, 0.09, 0, 0.01, 0.9, 0.9, 0.91, 0.9])
    timing = judge_onsets(written, heard)
    assert timing.late[1] == pytest.approx(0.09, abs=0.015)
    assert timing.late[1] > SURE * timing.error[1]
    assert np.nanmax(np.abs(np.delete(timing.late, 1))) < 0.03
    assert [k for k, _ in timing.pauses] == [4]


def _loose(seed: int, count: int = 16, off: float = 0.008) -> NDArray[np.float64]:
    """How far a player's onsets scatter, in seconds."""
    return np.clip(np.random.default_rng(seed).normal(0, off, count), -2 * off, 2 * off)


@pytest.mark.parametrize(("last", "most"), [(3, 1.25), (3, 1.5), (5, 1.7)])
def test_who_slows_down_to_the_end_is_not_late_there(last: int, most: float) -> None:
    written = np.arange(16) * 0.3
    steps = np.full(15, 0.3)
    steps[-last:] *= np.linspace(1, most, last + 1)[1:]
    timing = judge_onsets(written, np.concatenate(([0], np.cumsum(steps))) + _loose(last), 0.004)
    assert timing.slows == pytest.approx(15 - last, abs=1)
    assert not (np.abs(timing.late) > np.maximum(SURE * timing.error, 0.06)).any()


@pytest.mark.parametrize("late", [{15: 0.1}, {13: 0.1}, {14: -0.1}, {}])
def test_who_is_late_at_the_end_does_not_slow_down(late: dict[int, float]) -> None:
    heard = np.arange(16) * 0.315 + _loose(1)
    for n, seconds in late.items():
        heard[n] += seconds
    timing = judge_onsets(np.arange(16) * 0.3, heard, 0.004)
    assert timing.slows is None
    assert set(np.flatnonzero(np.abs(timing.late) > np.maximum(SURE * timing.error, 0.06))) == set(late)


@pytest.mark.parametrize(("late", "told"), [([0, 0, 0.12], [False, False, True]), ([0, 0, 0.12, -0.2], [False] * 4)])
def test_of_few_notes_after_a_leap_a_single_one_is_late(late: list[float], told: list[bool]) -> None:
    """With two notes that agree a third can be held against them; where two of four are off, the notes may have been taken for others."""
    count = 10 + len(late)
    heard = np.arange(count) * 0.4 + _loose(2, count, 0.004)
    heard[10:] += np.array(late) - 0.7
    timing = judge_onsets(np.arange(count) * 0.4, heard, 0.004)
    assert [k for k, _ in timing.pauses] == [10]
    assert list(np.nan_to_num(np.abs(timing.late[10:])) > 0.06) == told


@pytest.mark.parametrize("seed", range(4))
def test_a_late_note_of_a_loose_player_in_a_long_bar_is_late(seed: int) -> None:
    """Few notes, far apart, that scatter by 15 ms: one of them is 90 ms late, and none of the others is called so."""
    written = np.array([0, 0.55, 0.85, 2.05, 3.05, 3.35, 3.65, 5.0, 6.2, 6.5, 7.1, 7.7])
    scatter = np.clip(np.random.default_rng(seed).normal(0, 0.015, len(written)), -0.02, 0.02)
    heard = 1.4 * written * (1 - 0.003 * written) + scatter
    heard[4] += 0.09
    timing = judge_onsets(written, heard)
    assert list(np.flatnonzero(np.abs(timing.late) > np.maximum(SURE * timing.error, 0.06))) == [4]


@pytest.mark.parametrize("seconds", [0.5, 14.0])
def test_a_pause_of_any_length_leaves_the_notes_around_it_in_time(seconds: float) -> None:
    written = np.arange(16) * 0.3
    timing = judge_onsets(written, written + seconds * (np.arange(16) >= 9))
    assert timing.pauses == [(9, pytest.approx(seconds, rel=0.02))]
    assert np.nanmax(np.abs(timing.late)) < 0.02


def test_the_first_note_after_a_pause_is_neither_early_nor_late() -> None:
    """It is played when the student is ready; what counts in time with the others begins after it."""
    written = np.arange(16) * 0.3
    timing = judge_onsets(written, written + 0.7 * (np.arange(16) >= 9) - 0.1 * (np.arange(16) == 9))
    assert [k for k, _ in timing.pauses] == [9]
    assert np.isnan(timing.late[9])
    assert np.abs(np.delete(timing.late, 9)).max() < 0.02


def test_a_short_hesitation_makes_one_note_late_and_none_early() -> None:
    """All that follows comes as much later: that is said once, of the note after the hesitation."""
    written = np.arange(16) * 0.3
    timing = judge_onsets(written, written + 0.15 * (np.arange(16) >= 9))
    assert timing.late[9] == pytest.approx(0.15, abs=0.02)
    assert np.abs(np.delete(timing.late, 9)).max() < 0.02
    assert not timing.pauses


def test_the_time_of_a_note_after_a_long_rest_is_less_sure() -> None:
    """Four quick notes say little about the time of one that comes two seconds later."""
    written = np.array([0.0, 0.3, 0.6, 0.9, 2.9])
    timing = judge_onsets(written, written + np.array([0, 0.01, 0, 0.01, 0.08]))
    assert timing.error[4] > 2 * np.nanmedian(timing.error)
    assert timing.late[4] < SURE * timing.error[4]


def test_the_looseness_of_a_player_and_the_blur_of_the_ear_are_known() -> None:
    written = np.arange(40) * 0.3
    loose = np.random.default_rng(3).normal(0, 0.02, 40)
    assert np.nanmedian(judge_onsets(written, written + loose).error) == pytest.approx(0.022, abs=0.008)
    assert np.nanmax(judge_onsets(written, 1.2 * written).error) < 0.012
    blur = np.where(np.arange(40) == 7, 0.03, 0.004)
    error = judge_onsets(written, 1.2 * written, blur).error
    assert error[7] > 0.03 > 2 * np.delete(error, 7).max()


def test_a_long_take_is_judged_in_parts_as_a_whole() -> None:
    """Five hundred notes of a take that gets faster, with late ones where the parts meet."""
    written = np.arange(500) * 0.25
    heard = 1.2 * written * (1 - written / 2_000)
    late = [5, 128, 143, 144, 160, 272, 499]
    heard[late] += 0.1
    timing = judge_onsets(written, heard)
    assert list(np.flatnonzero(np.abs(timing.late) > 0.06)) == late
    assert np.isfinite(timing.pace).all()


def test_too_few_onsets_are_not_judged() -> None:
    assert np.isnan(judge_onsets(np.arange(3) * 0.5, np.array([0.0, 0.7, 1.0])).late).all()
    assert np.isnan(judge_onsets(np.arange(4) * 0.5, np.full(4, np.nan)).late).all()
