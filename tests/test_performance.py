"""A lick as sounded: seconds, loudness and pitch, held to the rules of the notation and of the trade."""

from __future__ import annotations

import glob
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from dumps import performance_text
from lickwright.compiler import compile_file
from lickwright.notation.techniques import Damping, Stroke
from lickwright.performance.note_events import Performance, perform
from lickwright.timeline.model import Timeline
from lickwright.timeline.swing import swing_of
from playing import counted, pitch, played, starts

SAMPLES = sorted(glob.glob(str(Path(__file__).parent.parent / "samples" / "**" / "*.lick"), recursive=True))


# --- time ----------------------------------------------------------------------------------------------------------


def test_seconds_are_exact_at_a_tempo_that_no_float_holds() -> None:
    performance = perform(counted("| G5 G7 3[G5 G7 G5] G5 G7 G5 G7 | G5 - - - - - - - ||", "tempo 97"))
    eighth = Fraction(60, 97) / 2
    expected = [float(at * eighth) for at in (0, 1, 2, Fraction(8, 3), Fraction(10, 3), 4, 5, 6, 7, 8)]
    assert [note.start for note in performance.notes] == pytest.approx(expected, abs=1e-12)
    assert performance.bars == pytest.approx([0, float(8 * eighth)], abs=1e-12)
    assert performance.end == pytest.approx(float(16 * eighth), abs=1e-12)


@pytest.mark.parametrize(
    ("feel", "late"), [("straight", 1 / 2), ("shuffle", 2 / 3), ("swing", 3 / 5), ("swing 5:3", 5 / 8)]
)
def test_swing_moves_the_middle_of_a_pair(feel: str, late: float) -> None:
    assert starts("| G5 G7 B5 B8 G5 - - G7 ||", f"feel {feel}") == pytest.approx(
        [0, late / 2, 0.5, 0.5 + late / 2, 1, 1.5 + late / 2]
    )


def test_a_pair_with_another_onset_inside_stays_straight_on_any_string() -> None:
    one_string = starts("| 1/16 G5 G7 G5 - G7 - G5 - G7 - - - G5 - G7 - ||", "feel shuffle")
    assert one_string == pytest.approx([0, 0.125, 0.25, 0.5, 0.5 + 1 / 3, 1, 1.5, 1.5 + 1 / 3])
    other_string = starts("| 1/16 e5= B5 G5 - e5 - e5 - e5 - - - - - - - ||", "feel shuffle")
    assert other_string[:3] == pytest.approx([0, 0.125, 0.25])


def test_triplets_do_not_swing() -> None:
    assert starts("| 3[G5 G7 G5] 3[G7 - G5] 1/4 3[G5 G7 G5] ||", "feel shuffle") == pytest.approx(
        [0, 1 / 6, 1 / 3, 0.5, 0.5 + 1 / 3, 1, 1 + 1 / 3, 1 + 2 / 3]
    )


def test_sixteenths_swing_when_the_feel_says_so() -> None:
    music = "| 1/16 G5 G7 G5 G7 G5 - G7 - 1/8 G5 G7 G5 G7 ||"
    assert starts(music, "feel swing 3:1 1/16") == pytest.approx(
        [0, 0.1875, 0.25, 0.4375, 0.5, 0.75, 1, 1.25, 1.5, 1.75]
    )


def test_a_note_before_a_rest_keeps_its_share_of_a_swung_pair() -> None:
    first, second = played("| G5 . G7 G5 . . . . ||", "feel shuffle")[:2]
    assert first.end == pytest.approx(1 / 3)
    assert second.start == pytest.approx(0.5)
    quick = played("| 1/16 G5 . G7 . 1/8 G5 - - - - - ||", "feel shuffle")
    assert [quick[0].end, quick[1].start, quick[1].end] == pytest.approx([1 / 6, 1 / 3, 5 / 12])


def test_a_pick_up_swings_as_the_end_of_a_bar() -> None:
    performance = perform(counted("| G5 | G7 G5 G7 - - - - - ||", "feel shuffle", "pickup 1/8"))
    assert [note.start for note in performance.notes][:3] == pytest.approx([1 / 12, 0.25, 0.25 + 1 / 3])
    assert performance.bars == pytest.approx([0, 0.25])
    assert starts("| G5 G7 G5 | G7 - - - - - - - ||", "feel shuffle", "pickup 3/8") == pytest.approx(
        [1 / 12, 0.25, 0.25 + 1 / 3, 0.75]
    )


def test_tempo_changes_and_pauses() -> None:
    performance = perform(counted("| G5 - - - @tempo=60 G7 - @fermata G5 - | G7 - - - @tempo=240 G5 - - - ||"))
    assert [note.start for note in performance.notes] == pytest.approx([0, 1, 2, 4, 6])
    assert performance.end == pytest.approx(6.5)
    assert [(t.quarters, t.seconds, t.qpm) for t in performance.tempos] == [
        (0, 0, 120), (2, 1, 60), (3, 2, 30), (4, 4, 60), (6, 6, 240),
    ]  # fmt: skip


def test_repeats_are_played_out_with_their_bars() -> None:
    performance = perform(counted("|: G5 - - - - - - - :|x3"))
    assert performance.bars == pytest.approx([0, 2, 4])
    assert [note.start for note in performance.notes] == pytest.approx([0, 2, 4])


def test_slower_by_percent_and_by_beats() -> None:
    timeline = counted("| G5 - - - @tempo=60 G7 - - - ||")
    assert [note.start for note in perform(timeline, percent=Fraction(50)).notes] == pytest.approx([0, 2])
    assert perform(timeline, percent=Fraction(50)).end == pytest.approx(6)
    assert perform(timeline, bpm=Fraction(240)).end == pytest.approx(1.5)
    dotted = counted("| G5 - - - - - - - - - - - ||", "meter 12/8", "tempo 60")
    assert perform(dotted).end == pytest.approx(4)
    assert perform(dotted, bpm=Fraction(30)).end == pytest.approx(8)


def test_seconds_of_a_counted_instant() -> None:
    timeline = counted("| G5 G7 G5 G7 G5 G7 G5 G7 ||", "feel shuffle")
    performance = perform(timeline)
    assert [performance.seconds(sound.start) for sound in timeline.sounds] == [n.start for n in performance.notes]


# --- stolen time ---------------------------------------------------------------------------------------------------


def test_grace_notes_take_at_most_half_of_the_note_before() -> None:
    slow = played("| G5 - - - (grace: G5 G7) G9 - - - ||")
    assert [note.start for note in slow] == pytest.approx([0, 0.86, 0.93, 1])
    assert slow[0].end == pytest.approx(0.86)
    quick = played("| 1/32 G5 (grace: G5 G7) G9 1/16. G5 1/8 G5 - - - - - ||")
    assert [note.start for note in quick][:4] == pytest.approx([0, 0.03125, 0.046875, 0.0625])
    after_a_rest = played("| G5 . (grace: G5 G7 G5 G7) G9 - - - - - ||")
    assert [note.start for note in after_a_rest] == pytest.approx([0, 0.22, 0.29, 0.36, 0.43, 0.5])
    assert after_a_rest[0].end == pytest.approx(0.22)


def test_a_rake_drags_across_dead_strings_just_before_the_beat() -> None:
    notes = played("| A5 - - - (rake: D G B e8) - - - ||")
    strokes = notes[1:4]
    assert [note.start for note in strokes] == pytest.approx([0.946, 0.964, 0.982])
    assert [note.string for note in strokes] == [4, 3, 2]
    assert all(note.damping is Damping.DEAD and note.end - note.start < 0.02 for note in strokes)
    assert all(note.loudness < notes[4].loudness for note in strokes)
    assert (notes[4].start, notes[4].string) == (pytest.approx(1), 1)


def test_silence_is_put_before_a_first_beat_that_is_led_to() -> None:
    timeline = counted("| (rake: D G B e8) - - - G5 - - - | G5 - - - - - - - ||")
    performance = perform(timeline)
    assert performance.lead_in == Fraction(1, 32)  # 62.5 ms, of which three strokes take 54
    assert [note.start for note in performance.notes] == pytest.approx([0.0085, 0.0265, 0.0445, 0.0625, 1.0625, 2.0625])
    assert performance.bars == pytest.approx([0.0625, 2.0625])
    assert performance.seconds(0) == pytest.approx(0.0625)
    assert performance.end == pytest.approx(4.0625)
    assert perform(counted("| G5 - - - - - - - ||")).lead_in == 0


def test_a_grace_note_connects_to_its_note() -> None:
    grace, note = played("| . . . . (grace: G5) h7 - - - ||")
    assert grace.end == note.start == pytest.approx(1)
    assert (note.stroke, note.joined) == (Stroke.HAMMER, True)


# --- strokes, loudness, damping --------------------------------------------------------------------------------------


def test_a_trill_alternates_whole_pairs_eight_to_ten_a_second() -> None:
    notes = played("| (trill: G5h7) - - - - - - - ||", "tempo 60")
    assert len(notes) % 2 == 0
    assert 8 <= len(notes) / 4 <= 10
    assert [note.pitch for note in notes] == [60, 62] * (len(notes) // 2)
    assert [note.stroke for note in notes[:3]] == [Stroke.PICK, Stroke.HAMMER, Stroke.PULL]
    assert all(a.end == b.start for a, b in pairwise(notes))
    assert (notes[0].start, notes[-1].end) == (0, 4)


def test_tremolo_is_picked_again_and_again() -> None:
    notes = played("| (tremolo: G5 - - -) G7 - - - ||")
    assert len(notes) == 10
    assert {note.stroke for note in notes} == {Stroke.PICK}
    bent = played("| (tremolo: G5^7 - - -) G7 - - - ||")
    assert pitch(bent[4], bent[4].start) == [62]


def test_tremolo_keeps_what_else_is_asked_of_it() -> None:
    swelling = played("| (swell: (tremolo: G5 - - -)) . . . . ||")
    assert [note.loudness for note in swelling] == sorted(note.loudness for note in swelling)
    assert swelling[0].loudness < swelling[-1].loudness / 4
    source, *arrived = played("| G5 (tremolo: /7 - - -) . . . ||")
    assert [(note.stroke, note.joined) for note in arrived[:2]] == [(Stroke.NONE, True), (Stroke.PICK, False)]
    assert pitch(source, source.end) == [arrived[0].pitch]
    muted = played("| (pm: (tremolo: G5 - - -)) . . . . ||")
    assert all(a.end < b.start for a, b in pairwise(muted))


def test_a_roll_goes_up_the_strings_from_the_beat() -> None:
    notes = played("| (roll: A0&D2&G2&B2) - - - - - - - ||")
    assert [note.start for note in notes] == pytest.approx([0, 0.025, 0.05, 0.075])
    assert [note.string for note in notes] == [5, 4, 3, 2]
    assert len({note.end for note in notes}) == 1


def test_damped_notes_are_short() -> None:
    plain, dead, short, muted = played("| G7 Gx G7, (pm: G7) . . . . ||")
    assert plain.end - plain.start == pytest.approx(0.25)
    assert dead.end - dead.start == pytest.approx(0.06)
    assert short.end - short.start == pytest.approx(0.125)
    assert muted.end - muted.start == pytest.approx(0.15)
    long_muted = played("| (pm: G7) - - - - - - - ||", "tempo 60")[0]
    assert long_muted.end == pytest.approx(0.45)
    source, hammered = played("| (pm: G5 h7) - - - - - - ||")
    assert source.end == hammered.start == pytest.approx(0.25)


def test_ringing_strings_go_on() -> None:
    first, second = played("| e5= B5 - - - - . . ||")
    assert first.end == second.end == pytest.approx(1.5)


def test_loudness_follows_dynamics_and_touch() -> None:
    dynamics = played("| @pp G7 @p G7 @mp G7 @mf G7 @f G7 @ff G7 . . ||")
    assert [note.loudness * 127 for note in dynamics] == pytest.approx([33, 49, 64, 80, 96, 112], rel=0.08)
    accent, plain, ghost, hammered = played("| G5! G5 G5? G5 h7 . . . ||")[:3] + played("| G5 h7 . . . . . . ||")[1:]
    assert accent.loudness > plain.loudness > hammered.loudness > ghost.loudness
    bar = [note.loudness * 127 for note in played("| G5 G5 G5 G5 G5 G5 G5 G5")]
    assert bar[:4] == pytest.approx([84.8, 76.8, 80, 75.2])  # the first beat, its up-stroke, the second, its up-stroke
    assert bar[4] == pytest.approx(82.4)  # the middle of the bar
    loudest = played("| @ff (snap: G5!) . . . . . . . ||")[0]
    assert loudest.loudness == 1
    assert loudest.stroke is Stroke.SNAP


def test_a_swell_fades_in() -> None:
    (note,) = played("| (swell: G7) - - - - - - - ||")
    assert note.stroke is Stroke.SWELL
    assert note.fade_in == pytest.approx(0.8)


# --- the whole -------------------------------------------------------------------------------------------------------


def performances() -> list[tuple[Timeline, Performance]]:
    timelines = [lick.timeline for path in SAMPLES for lick in compile_file(path).licks if lick.ok]
    return [(timeline, perform(timeline)) for timeline in timelines if timeline is not None]


def test_every_sample_can_be_played() -> None:
    found = performances()
    assert len(found) > 20
    for timeline, performance in found:
        notes = performance.notes
        assert {note.sound for note in notes} == set(range(len(timeline.sounds)))
        assert [n.start for n in notes] == sorted(n.start for n in notes)
        assert all(0 <= n.start < n.end <= performance.end + 1e-9 and 0 < n.loudness <= 1 for n in notes)
        for string in range(1, timeline.settings.tuning.strings + 1):
            own = [note for note in notes if note.string == string]
            assert all(a.end <= b.start for a, b in pairwise(own))


def test_the_same_lick_is_always_played_the_same() -> None:
    for timeline, performance in performances():
        assert performance_text(perform(timeline)) == performance_text(performance)


@pytest.mark.parametrize(("ratio", "tick"), [("1:1", 240), ("3:2", 288), ("2:1", 320), ("3:1", 360)])
def test_where_the_off_beat_falls(ratio: str, tick: int) -> None:
    """The trade's table at 480 ticks a beat."""
    timeline = counted("| B8 B5 G7 G5 D7 D5 A7 A5 ||", f"feel swing {ratio}")
    swing = swing_of(timeline)
    heard = [Fraction(swing.heard_at(sound.start), swing.parts * timeline.grain) * 4 * 480 for sound in timeline.sounds]
    assert heard == [480 * (n // 2) + (tick if n % 2 else 0) for n in range(8)]


def test_the_performance_as_text() -> None:
    timeline = counted("| B8^10 -r p5 G7~-- (pm: D5) D5 ||")
    assert performance_text(perform(timeline)) == (
        "lead-in 0, ends at 2.0000 s\n"
        "tempo 120.000 at quarter 0.0000, 0.0000 s\n"
        "bars 0.0000\n"
        "   0.0000    0.5000      0  string 2   67.0000  0.668  pick, "
        "ease 0.0000-0.1500 +2.0000, ease 0.2500-0.4000 -2.0000\n"
        "   0.5000    0.7500      1  string 2   64.0000  0.409  pull, joined\n"
        "   0.7500    1.5000      2  string 3   62.0000  0.592  pick, above 0.7500-1.5000 +0.3500\n"
        "   1.5000    1.6500      3  string 4   55.0000  0.535  pick, palm\n"
        "   1.7500    2.0000      4  string 4   55.0000  0.592  pick\n"
    )
