"""The string: in tune on every fret, its pitch where the Performance wants it, no clicks where a technique takes it over."""

from __future__ import annotations

import numpy as np
import pytest

import sound_goals as goals
from lickwright.music.instruments import INSTRUMENTS
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.pitch_curves import PitchRamp, pitch_offsets
from lickwright.synth.guitar import Instrument
from lickwright.synth.humanizer import Humanizer
from lickwright.synth.waveguide import DelayLoop
from shares import every_nth
from sound_measure import OPEN, cents, decay, first_partial, hertz, level, note, plan_string, roughness, string_of

RATE = 48_000


@every_nth(6)
@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_every_fret_is_in_tune(rate: int, every: int) -> None:
    assert goals.pitch(rate, range(0, 25, every)) <= 0.5


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_what_is_heard_of_a_string_is_in_tune(name: str) -> None:
    assert goals.heard_pitch(name, (0, 12)) <= 0.5


def test_moving_pitches_follow_the_performance() -> None:
    staying, moving, squares, count = goals.bends(0.03, slice(6, None, 12))
    assert count > 250
    assert staying <= 1 and moving <= 5 and squares <= 2


@pytest.mark.slow
def test_all_moving_pitches_follow_the_performance() -> None:
    staying, moving, squares, count = goals.bends(0.005)
    assert count > 15_000
    assert staying <= 1 and moving <= 5 and squares <= 2


@pytest.mark.parametrize("amount", [0.5, 1, 2, 3, 4.5])
def test_a_bend_arrives(amount: float) -> None:
    move = PitchRamp(0.2, 0.4, amount)
    wave = string_of([note(0.01, 1.0, 62, moves=(move,))], RATE, open_pitch=55)
    want = hertz(62 + pitch_offsets((move,), [0.6])[0])
    assert abs(cents(first_partial(wave, RATE, 0.6, want), want)) <= 1


def test_a_bend_that_is_wrong_would_be_seen() -> None:
    """The measure can fail: a semitone more is a hundred cents more."""
    wave = string_of([note(0.01, 1.0, 62, moves=(PitchRamp(0.2, 0.4, 2.1),))], RATE, open_pitch=55)
    assert cents(first_partial(wave, RATE, 0.6, hertz(64)), hertz(64)) == pytest.approx(10, abs=0.5)


@every_nth(3)
def test_partials_die_as_asked(every: int) -> None:
    assert goals.partials((0, 12), slice(None, None, every)) <= 0.10
    assert goals.partials((24,), slice(None, None, every)) <= 0.25


@pytest.mark.parametrize(("phases", "every"), [(1, 4), pytest.param(3, 1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", goals.CHANGES)
def test_a_technique_takes_over_without_a_click(name: str, phases: int, every: int) -> None:
    rough, off = goals.change(name, phases, every)
    assert rough <= 4
    assert off <= 1.5


@pytest.mark.parametrize(("phases", "every"), [(1, 5), pytest.param(2, 1, marks=pytest.mark.slow)])
def test_a_string_picked_again_begins_anew(phases: int, every: int) -> None:
    rough, off = goals.repick(phases, every)
    assert rough <= 4
    assert off <= 1.5


def test_a_stroke_finds_nothing_on_the_string() -> None:
    """Not of a bent one either: from the stroke on it sounds as a string that was still."""
    before = note(0.01, 0.5, 62, moves=(PitchRamp(0.1, 0.3, 2.0),))
    both, alone = (string_of([*notes, note(0.5, 0.9, 67)], RATE, open_pitch=55) for notes in ([before], []))
    start = RATE // 2
    assert np.abs(both[start - 2400 : start - 1200]).max() > 0.01
    assert np.abs(both[start - 96 : start]).max() < 1e-3
    assert np.abs(both[start:] - alone[start:]).max() < 1e-12


@pytest.mark.parametrize("damping", [Damping.NONE, Damping.SHORT, Damping.PALM, Damping.DEAD])
def test_a_note_ends_without_a_click(damping: Damping) -> None:
    assert goals.ending(damping, phases=2) <= 1.5


@pytest.mark.parametrize("name", INSTRUMENTS)
@pytest.mark.parametrize("pitch", [40, 64, 88])
def test_a_string_let_go_is_still_before_it_is_left_out(name: str, pitch: int) -> None:
    """Both planes; what is left is 90 dB down when nothing more is worked out, so that nothing is cut off."""
    wave = Instrument([note(0.01, 0.4, pitch)], OPEN, INSTRUMENTS[name].guitar, RATE).samples(0, RATE)
    sounding = np.flatnonzero(wave)[-1] + 1
    assert 0.55 < sounding / RATE < 0.7
    assert np.abs(wave[sounding - 300 : sounding]).max() < 10 ** (-90 / 20) * np.abs(wave).max()


def test_a_swell_hides_its_stroke() -> None:
    """The one after another on the same string too: nothing is rougher than what swells."""
    notes = [note(0.05 + i, 0.95 + i, 69, stroke=Stroke.SWELL, fade_in=0.6) for i in range(2)]
    wave = Instrument(notes, OPEN, INSTRUMENTS["clean"].guitar, RATE).samples(0, 2 * RATE)
    calm = roughness(wave, RATE, 0.6, 0.9)
    assert roughness(wave, RATE, 0.0, 0.1) < calm
    assert roughness(wave, RATE, 0.94, 1.1) < calm


def test_a_harmonic_leaves_its_partials_only() -> None:
    assert goals.harmonics((2, 3, 4, 5, 7)) <= -30


@pytest.mark.parametrize(
    ("take", "least"), [(slice(16, None, 24), 50), pytest.param(slice(None, None, 4), 200, marks=pytest.mark.slow)]
)
def test_strokes_set_in_on_time(take: slice, least: int) -> None:
    worst, count = goals.onsets(take)
    assert count > least
    assert worst <= 3


def test_periods_at_a_time_are_the_plain_loop() -> None:
    assert goals.against_plain_loop() <= 1e-9


@pytest.mark.parametrize(("open_pitch", "fret"), [(64, 0), (64, 12), (40, 0), (28, 3)])
def test_a_string_that_rings_alone_is_the_sum_of_its_modes(open_pitch: int, fret: int) -> None:
    """Two planes, struck twice, and stopped by a hand at the end: all that is heard is what waves that go round give."""
    difference, worked_out = goals.modes_against_the_loop(open_pitch, fret)
    assert difference <= 1e-8
    assert worked_out


@pytest.mark.parametrize(
    ("sound", "open_pitch", "fret"), [("bass", 23, 19), ("bass", 23, 24), ("clean", 19, 0), ("acoustic", 12, 12)]
)
def test_slack_strings_die_away(sound: str, open_pitch: int, fret: int) -> None:
    """The high frets of a five-string bass, and the lowest strings that a tuning may have."""
    guitar = INSTRUMENTS[sound].guitar
    played = Instrument([note(0.01, 2.0, open_pitch + fret)], [open_pitch], guitar, RATE).samples(0, 2 * RATE)
    first, last = np.abs(played[: RATE // 2]).max(), np.abs(played[-RATE // 2 :]).max()
    assert 0.01 * first < last < 0.9 * first


def test_pieces_of_any_size_are_the_whole() -> None:
    assert goals.pieces() <= 1e-12


@pytest.mark.parametrize("damping", [Damping.PALM, Damping.DEAD])
def test_a_hand_on_the_string_muffles_it(damping: Damping) -> None:
    """High partials go first: an octave of low ones outlasts those at 3 kHz by far, on the lowest string too."""
    wave = string_of([note(0.01, 1.0, 40, 6, damping=damping)], RATE, open_pitch=40)
    low, high = (
        decay(wave, RATE, hertz(40), 0.03, 0.33),
        decay(wave, RATE, round(3000 / hertz(40)) * hertz(40), 0.02, 0.2),
    )
    assert high < 0.75 * low
    assert low < 0.5


def test_strings_ring_on_their_own() -> None:
    """What one string plays is the same whatever the others do."""
    held, other = note(0.05, 1.0, 64, 1), [note(0.1 * i, 0.1 * i + 0.1, 47, 5) for i in range(1, 9)]
    guitar, count = INSTRUMENTS["clean"].guitar, RATE
    both, one, rest = (
        Instrument(notes, OPEN, guitar, RATE).samples(0, count) for notes in ([held, *other], [held], other)
    )
    assert np.abs(both - one - rest).max() < 1e-12


def test_a_string_that_rests_is_silent() -> None:
    string = DelayLoop(
        plan_string([note(0.1, 0.2, 64), note(5.0, 5.2, 64)], 64, INSTRUMENTS["clean"].guitar, RATE).motion
    )
    assert string.samples(0, RATE) is not None
    assert string.samples(RATE, 4 * RATE) is None
    last = string.samples(4 * RATE, 6 * RATE)
    assert last is not None and level(last, RATE, 1.0, 1.2) > 0.03


def test_equal_notes_sound_equal_and_feel_varies_them_a_little() -> None:
    notes, guitar = [note(0.05 + 0.2 * i, 0.25 + 0.2 * i, 64) for i in range(6)], INSTRUMENTS["clean"].guitar
    plain, again = (Instrument(notes, OPEN, guitar, RATE).samples(0, 2 * RATE) for _ in range(2))
    assert np.array_equal(plain, again)
    felt, same, other = (
        Instrument(notes, OPEN, guitar, RATE, Humanizer(seed)).samples(0, 2 * RATE) for seed in (1, 1, 2)
    )
    assert np.array_equal(felt, same)
    assert not np.array_equal(felt, other)
    for i in range(6):
        start, stop = 0.06 + 0.2 * i, 0.22 + 0.2 * i
        assert 0.8 < level(felt, RATE, start, stop) / level(plain, RATE, start, stop) < 1.25


@pytest.mark.parametrize("stroke", list(Stroke))
@pytest.mark.parametrize("loudness", [0.0, 1.0])
def test_any_stroke_anywhere_is_a_number_within_reason(stroke: Stroke, loudness: float) -> None:
    """Shortest and highest notes too: nothing rings up, nothing is lost."""
    notes = [
        note(0.01 + 0.013 * i, 0.01 + 0.013 * (i + 1), 64 + 7 * i % 31, stroke=stroke, loudness=loudness)
        for i in range(20)
    ]
    notes += [note(0.4, 0.4, 100, stroke=stroke), note(0.4, 1.0, 30, stroke=stroke, joined=True, loudness=loudness)]
    wave = string_of(notes, RATE)
    assert np.isfinite(wave).all()
    assert np.abs(wave).max() < 4
