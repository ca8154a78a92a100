"""A recording as a plan: when each note, click and chord of it sounds. No sample is made here."""

from __future__ import annotations

from fractions import Fraction

import pytest

from lickwright.music.practice import MAX_RUNGS, Ladder, parse_ladder
from lickwright.performance.note_events import perform
from lickwright.synth.arrangement import RecordingPlan, arrange
from playing import counted

PLAIN = "| G5 G7 G5 G7 G5 G7 G5 G7 | G7 - - - - - - - ||"  # two bars of 4/4


def taken(music: str, *fields: str, bpm: tuple[int, ...] = (), **asked: int | bool) -> RecordingPlan:
    timeline = counted(music, *fields)
    tempi = [(Fraction(one), perform(timeline, bpm=Fraction(one))) for one in bpm]
    return arrange(timeline, tempi or [(None, perform(timeline))], **asked)  # type: ignore[arg-type]


def times(found: RecordingPlan) -> list[float]:
    return [round(click.at, 6) for click in found.clicks]


def test_a_plain_recording_is_the_performance() -> None:
    timeline = counted(PLAIN, "tempo 120")
    performance = perform(timeline)
    found = arrange(timeline, [(None, performance)])
    assert found.notes == performance.notes
    assert found.clicks == found.chords == ()
    assert [(mark.at, mark.name) for mark in found.marks] == [(0.0, "bar 1"), (2.0, "bar 2")]
    assert found.end == pytest.approx(4.0 + 1.0)


def test_a_count_in_comes_before_beat_one() -> None:
    found = taken(PLAIN, "tempo 120", count_in=2)
    assert times(found) == [0.5 * n for n in range(8)]
    assert [click.first for click in found.clicks] == [True, False, False, False] * 2
    assert found.notes[0].start == pytest.approx(4.0)
    assert found.marks[0] == (0.0, "count-in")


def test_after_a_count_in_a_pick_up_enters_on_its_own_syllable() -> None:
    found = taken("| G5 | G7 - - - - - - - ||", "tempo 120", "pickup 1/8", count_in=1)
    assert times(found) == [0.0, 0.5, 1.0, 1.5]  # 1 2 3 4, the pick-up on 4 &
    assert [note.start for note in found.notes] == pytest.approx([1.75, 2.0])
    longer = taken("| G5 G7 G5 | G7 - - - - - - - ||", "tempo 120", "pickup 3/8", count_in=1)
    assert times(longer) == [0.0, 0.5, 1.0]  # the pick-up takes beat 4


def test_the_click_goes_on_with_the_beats_and_swing_does_not_move_it() -> None:
    found = taken(PLAIN, "tempo 120", "feel shuffle", click=True)
    assert times(found) == [0.5 * n for n in range(8)]
    assert [click.first for click in found.clicks] == [True, False, False, False] * 2
    compound = taken("| G5 G7 G5 G7 G5 G7 ||", "tempo 60", "meter 6/8", click=True)
    assert times(compound) == [0.0, 1.0]
    upbeat = taken("| G5 G7 G5 | G7 - - - - - - - ||", "tempo 120", "pickup 3/8", click=True)
    assert times(upbeat) == [0.25, 0.75, 1.25, 1.75, 2.25]  # beat 4 of the pick-up, then the bar
    assert [click.first for click in upbeat.clicks] == [False, True, False, False, False]


def test_the_click_follows_tempo_changes_and_pauses() -> None:
    found = taken("| G5 - G5 - @fermata G5 - G5 - ||", "tempo 120", click=True)
    assert times(found) == [0.0, 0.5, 1.0, 2.0]


def test_a_count_in_does_not_wait_for_a_pause_on_the_first_note() -> None:
    found = taken("| @fermata G5 - G5 - G5 - G5 - ||", "tempo 120", click=True, count_in=1)
    assert times(found) == [0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 3.5, 4.0]


def test_repeats_follow_each_other_bar_by_bar() -> None:
    found = taken(PLAIN, "tempo 120", repeat=3)
    assert [one.at for one in found.rounds] == pytest.approx([0.0, 4.0, 8.0])
    assert len(found.notes) == 27
    assert found.notes[9].start == pytest.approx(4.0)
    assert found.marks[2].name == "round 2, bar 1"
    for earlier, later in zip(found.notes, found.notes[1:], strict=False):
        assert earlier.end <= later.start + 1e-9  # all on one string


def test_an_answer_is_a_silence_as_long_as_the_call() -> None:
    found = taken(PLAIN, "tempo 120", "chords A7 | D7", repeat=2, answer=True, click=True, backing=True, count_in=1)
    assert [one.at for one in found.rounds] == pytest.approx([2.0, 10.0])
    assert [(mark.at, mark.name) for mark in found.marks if "answer" in mark.name] == [
        (pytest.approx(6.0), "round 1, answer"),
        (pytest.approx(14.0), "round 2, answer"),
    ]
    assert times(found) == [0.5 * n for n in range(36)]  # the click goes on
    assert [round(chord.start, 6) for chord in found.chords] == [2, 4, 6, 8, 10, 12, 14, 16]  # and so do the chords
    assert found.end == pytest.approx(18.0 + 1.0)
    assert not [note for note in found.notes if 6.01 < note.start < 9.99]
    alone = taken(PLAIN, "tempo 120", answer=True)
    assert (alone.end, len(alone.marks), alone.clicks) == (pytest.approx(9.0), 3, ())
    assert taken(PLAIN, "tempo 10", answer=True, repeat=100).end <= 30 * 60


def test_the_answer_to_a_pick_up_begins_where_the_pick_up_would() -> None:
    found = taken("| G5 | G7 - - - - - - - ||", "tempo 120", "pickup 1/8", answer=True, repeat=2)
    assert [one.at for one in found.rounds] == pytest.approx([0.0, 4.5])
    assert found.marks[2] == (pytest.approx(2.25), "round 1, answer")


def test_what_rings_over_a_repeat_is_stopped_by_its_string() -> None:
    found = taken("| (grace: G5) G7 - - - - - - - ||", "tempo 120", repeat=2)
    first, _, grace, _ = found.notes[1], found.notes[2], found.notes[2], found.notes[3]
    assert first.end <= grace.start + 1e-9


def test_bends_move_with_their_notes() -> None:
    found = taken("| B8^10 - - - - - - - ||", "tempo 120", repeat=2, count_in=1)
    one, two = found.notes
    assert two.moves[0].start - one.moves[0].start == pytest.approx(2.0)
    assert two.moves[0].start == pytest.approx(two.start)


def test_chords_are_held_under_every_time_through() -> None:
    music = "| G5 - - - - - - - | G5 - - - - - - - | G5 - - - - - - - ||"
    found = taken(music, "tempo 120", "chords A7 | D7 E7 |", backing=True, repeat=2)
    assert [(round(c.start, 6), round(c.end, 6)) for c in found.chords[:4]] == [(0, 2), (2, 3), (3, 4), (4, 6)]
    assert {pitch % 12 for pitch in found.chords[0].pitches} == {9, 1, 4, 7}
    assert found.chords[0].pitches[0] == 45  # A, the bass
    assert found.chords[3].pitches == found.chords[2].pitches  # the last chord stays
    assert len(found.chords) == 8
    capo = taken(music, "tempo 120", "chords A7", "capo 2", backing=True)
    assert capo.chords[0].pitches[0] == 47
    silent = taken(music, "tempo 120", "chords A7 | N.C.", backing=True)
    assert [round(c.end) for c in silent.chords] == [2]


def test_without_chords_the_key_is_held() -> None:
    found = taken(PLAIN, "tempo 120", "key A minor", backing=True)
    assert [(c.start, c.end, c.pitches) for c in found.chords] == [(0, pytest.approx(4.0), (45, 57, 64))]
    assert taken(PLAIN, backing=True).chords == ()


def test_a_ladder_counts_in_every_rung() -> None:
    found = taken(PLAIN, "tempo 120", bpm=(60, 120), count_in=1)
    first, second = found.rounds
    assert (first.at, second.at) == pytest.approx((4.0, 4.0 + 8.0 + 2.0))
    assert [click.at for click in found.clicks if click.first] == pytest.approx([0.0, 12.0])
    assert found.marks[-1].name == "1/4 = 120, bar 2"


def test_rounds_that_would_be_too_long_are_left_out_and_counted() -> None:
    found = taken(PLAIN, "tempo 10", repeat=100)  # 48 seconds each
    assert len(found.rounds) + found.left_out == 100
    assert found.left_out > 0
    assert found.end <= 30 * 60


# --- ladders ----------------------------------------------------------------------------------------------------------


def test_a_ladder_climbs_to_its_top() -> None:
    assert Ladder().rungs(Fraction(120)) == (*(Fraction(n) for n in range(72, 120, 5)), 120)
    assert Ladder(50, 5, 100).rungs(Fraction(120)) == tuple(Fraction(n) for n in range(60, 121, 5))
    assert Ladder(60, 20, 110).rungs(Fraction(100)) == (60, 80, 100, 110, 100)  # above the target, then back to it
    assert len(Ladder(20, 1, 200).rungs(Fraction(400))) <= MAX_RUNGS + 2
    assert Ladder(step=4).rungs(Fraction(152))[-2:] == (147, 152)  # and not 151: nobody hears a step of less than 2 %
    assert Ladder(99, 5, 100).rungs(Fraction(100)) == (99, 100)  # where it begins is asked for


def test_a_ladder_in_words() -> None:
    assert parse_ladder(" 50%, 4,105% ") == Ladder(50, 4, 105)
    assert parse_ladder(str(Ladder())) == Ladder()
    for wrong in ("", "50", "50%,4", "50,4,100", "100%,5,60%", "50%,0,100%", "5%,5,100%", "50%,5,900%"):
        with pytest.raises(ValueError, match="ladder"):
            parse_ladder(wrong)
