"""A student's phrase beside a teacher's: what is said of it, in which order, and what is not."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from functools import partial
from pathlib import Path
from random import Random

import pytest

from counted import timeline
from effort import steps
from lickwright.compare import Comparison, DifferenceKind, compare
from lickwright.compare.report import LISTED, comparison_as_json, comparison_text
from lickwright.compare.shift import lasting_shifts
from lickwright.compare.wording import difference_sentence, length_in_words
from lickwright.compiler import compile_text
from shares import every_nth

SAMPLES = Path(__file__).parent.parent / "samples"
TEACHER = "| B5 B8 e5 e8 G7^9~- -r p5 | D7 D5 B5h8 B5 G7 - . | B5 G7 B5 G7 D7~--- ||"


def _compare(mine: str, theirs: str = TEACHER, fields: str = "", their_fields: str = "") -> Comparison:
    return compare(timeline(mine, fields), timeline(theirs, their_fields))


def _said(c: Comparison) -> list[str]:
    return [f"{d.place.bar} {d.place.beat}: {difference_sentence(c.mine, c.theirs, d)}" for d in c.differences]


def test_the_same_is_alike() -> None:
    c = _compare(TEACHER)
    assert c.alike
    assert not c.said
    assert c.score.of_100 == 100
    assert c.score.right == c.score.notes == len(c.pairs) == 17


# What a student does in bar 1 or 2, and what is said of it: each exactly once, and no consequence of it.
ONE_THING = [
    ("B5 B8 e5 e8 G7^9~-", "B6 B8 e5 e8 G7^9~-", "1 1: fret 6 on the B string: the teacher plays fret 5, one fret lower"),
    ("B5 B8 e5 e8", "B5 B8 e5 e5", "1 2 &: fret 5 on the e string: the teacher plays fret 8, three frets higher"),
    ("B5 B8 e5 e8", "B5 e3 e5 e8", "1 1 &: the right note, at fret 3 on the e string; the teacher takes fret 8 on the B string"),
    ("B5 B8 e5 e8", "B5 B8 B5 e8", "1 2: fret 5 on the B string: the teacher plays fret 5 on the e string"),
    ("B5 B8 e5 e8", "B5 B8 - e8", "1 2: missing: fret 5 on the e string"),
    ("B5 B8 e5 e8", "B5 B8 . e8", "1 2: missing: fret 5 on the e string"),
    ("G7 - . |", "G7 - e5 |", "2 4 &: one more than the teacher plays: fret 5 on the e string"),
    ("B5 B8 e5 e8", "1/16 B5 - - B8 1/8 e5 e8", "1 1 &: fret 8 on the B string is a sixteenth note late"),
    ("B5 B8 e5 e8", "1/16 B5 - B8 e5 - - 1/8 e8", "1 2: fret 5 on the e string is a sixteenth note early"),
    ("G7 - . |", "G7 . . |", "2 3 &: fret 7 on the G string stops an eighth note too soon"),
    ("G7 - . |", "G7 - - |", "2 3 &: fret 7 on the G string is held an eighth note too long"),
    ("B5h8", "B5 B8", "2 2 &: a hammer-on is missing at fret 8 on the B string"),
    ("B5h8", "B5/8", "2 2 &: a slide up at fret 8 on the B string, where the teacher has a hammer-on"),
    ("D7 D5", "D7~ D5", "2 1: vibrato at fret 7 on the D string, where the teacher has none"),
    ("D7 D5", "D7! D5", "2 1: an accent at fret 7 on the D string, where the teacher has none"),
    ("D7~---", "D7---", "3 3: vibrato is missing at fret 7 on the D string"),
    ("G7^9~-", "G7^8~-", "1 3: fret 7 on the G string is bent a half step; the teacher bends a whole step"),
    ("D7~---", "D7~-^9--", "3 3: a bend at fret 7 on the D string, where the teacher has none: it arrives a whole step too high"),
    ("G7^9~- -r p5", "G7~- - p5", "1 3: the bend is missing: fret 7 on the G string stays a whole step too low"),
    ("G7^9~-", "G7^^9~-", "1 3: a pre-bend at fret 7 on the G string, where the teacher has a bend"),
    ("B5 G7 B5 G7", "(pm: B5 G7 B5 G7)", "3 1: palm mute over these 4 notes, where the teacher has none"),
    ("D7 D5", "Dx D5", "2 1: a dead note on the D string, where the teacher plays fret 7 on the D string"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), ONE_THING)
def test_one_thing_is_said_once(old: str, new: str, words: str) -> None:
    assert old in TEACHER
    c = _compare(TEACHER.replace(old, new, 1))
    assert _said(c) == [words]
    assert not c.said
    assert c.score.of_100 < 100


def test_musical_order() -> None:
    c = _compare("| B6 B8 e5 e8 G7^8~- -r p5 | D7 D5 B5 B8 B5 G7 . . | B5 G7 e12 G7 D7--- ||")
    assert [d.kind for d in c.differences] == [
        DifferenceKind.FRET, DifferenceKind.BEND, DifferenceKind.TECHNIQUE, DifferenceKind.SHORT, DifferenceKind.NOTE, DifferenceKind.TECHNIQUE,
    ]  # fmt: skip
    assert [d.place.bar for d in c.differences] == [1, 1, 2, 2, 3, 3]


def test_chords_count_as_one() -> None:
    theirs = "| E0&A2&D2 - G7 - E0&A2&D2 - - - ||"
    assert _said(_compare("| E0&A2&D2 - G7 - 1/16 . E0&A2&D2 ------ ||", theirs)) == [
        "1 3: the three notes here are a sixteenth note late"
    ]
    assert _said(_compare("| E0&A2&D2 - G7 - - - - - ||", theirs)) == [
        "1 3: missing: open E string and fret 2 on the A string and fret 2 on the D string"
    ]
    assert _said(_compare("| E0&A2&D2 - G7 - E0&A3&D2 - - - ||", theirs)) == [
        "1 3: fret 3 on the A string: the teacher plays fret 2, one fret lower"
    ]


# ---- bends: judged by the pitch arrived at


BENT = "| B5 B8 e5 e8 B8^10 - G7 G5 ||"


@pytest.mark.parametrize(
    ("mine", "words", "points"),
    [
        ("B10", "fret 10 on the B string is the right pitch; the teacher bends up to it from fret 8", 9),
        ("e5", "fret 5 on the e string is the right pitch; the teacher bends up to it from fret 8 on the B string", 9),
        ("B7^10", "you bend up to the right pitch from fret 7 on the B string, the teacher from fret 8", 9),
        ("B8^^10", "a pre-bend at fret 8 on the B string, where the teacher has a bend", 9),
        ("B8^9.5", "fret 8 on the B string is bent three quarter steps; the teacher bends a whole step", 9),
        ("B8", "the bend is missing: fret 8 on the B string stays a whole step too low", 2),
        ("B8^9", "fret 8 on the B string is bent a half step; the teacher bends a whole step", 2),
        ("B8^11", "fret 8 on the B string is bent a whole step and a half; the teacher bends a whole step", 2),
        ("B9", "fret 9 on the B string: the teacher bends fret 8 up a whole step, so yours is a half step too low", 2),
        ("B7^9", "fret 7 on the B string, bent a whole step: the teacher bends fret 8 up a whole step, so yours is a half step too low", 2),
        ("G12", "fret 12 on the G string: the teacher bends fret 8 on the B string up a whole step, so yours is a whole step too low", 2),
    ],
)  # fmt: skip
def test_a_bend_is_judged_by_the_pitch_it_arrives_at(mine: str, words: str, points: int) -> None:
    c = _compare(BENT.replace("B8^10", mine), BENT)
    assert _said(c) == [f"1 3: {words}"]
    assert c.score.points == c.score.possible - 10 + points
    alone = _compare(f"| {mine} - - - - - - - ||", "| B8^10 - - - - - - - ||")
    assert (len(alone.differences), alone.score.of_100) == (1, 10 * points)


def test_bends_are_judged_in_another_key_too() -> None:
    up = "| B7 B10 e7 e10 {} - G9 G7 ||"
    assert _said(_compare(up.format("B12"), BENT)) == [
        "1 3: fret 12 on the B string is the right pitch; the teacher bends up to it from fret 8"
    ]
    assert _said(_compare(up.format("B10"), BENT)) == [
        "1 3: the bend is missing: fret 10 on the B string stays a whole step too low"
    ]


def test_a_bend_that_the_teacher_does_not_play() -> None:
    plain = BENT.replace("B8^10", "B10")
    assert _said(_compare(BENT, plain)) == [
        "1 3: you bend up to the right pitch from fret 8 on the B string; the teacher frets it, at fret 10"
    ]
    wrong = _compare(BENT.replace("B8^10", "B10^12"), plain)
    assert _said(wrong) == [
        "1 3: a bend at fret 10 on the B string, where the teacher has none: it arrives a whole step too high"
    ]
    assert wrong.score.points == wrong.score.possible - 8


@pytest.mark.parametrize("mine", ["G9~- G7 p5", "G9 - G7 G5", "G9 - - G5", "B5 - G7 p5"])
def test_a_bend_and_its_release_fretted_are_one_thing(mine: str) -> None:
    theirs = "| G7^9~- -r p5 D7 D5 - . ||"
    c = _compare(f"| {mine} D7 D5 - . ||", theirs)
    (first, *others) = _said(c)
    assert first.startswith("1 1: fret ") and "is the right pitch; the teacher bends up to it from fret 7" in first
    assert all("pull-off" in words for words in others)
    assert c.score.extra == 0
    back = _compare(theirs, f"| {mine} D7 D5 - . ||")
    assert back.score.notes == 4 and not {DifferenceKind.MISSING, DifferenceKind.EXTRA} & {
        d.kind for d in back.differences
    }


def test_a_bend_held_under_taps_is_told_once() -> None:
    theirs = "| G5 G7 e5 B15^17- tB20 p15 - ||"
    c = _compare("| G5 G7 e5 B15- tB20 p15 - ||", theirs)
    assert _said(c) == ["1 2 &: the bend is missing: fret 15 on the B string stays a whole step too low"]
    assert c.score.right == 3


def test_a_note_after_the_bend_has_ended_is_no_release_of_it() -> None:
    c = _compare("| G9~- - p5 D7 D5 G7 . ||", "| G7^9~- -r p5 D7 D5 . . ||")
    assert [(d.kind, d.place.beat) for d in c.differences if d.kind is DifferenceKind.EXTRA] == [
        (DifferenceKind.EXTRA, "4")
    ]


# ---- rushed, dragged, late, split: one thing each, against the teacher's beat


EVEN = "| A5 B5 D5 G5 e5 E5 E8 A7 ||"
PAIR = "| e5&B8^full - G7 G5 D7 D5 A7 A5 ||"
OUT_OF_TIME = [
    (EVEN, "| A5 B5 3[D5 G5 e5] E5 E8 A7 . ||", "1 2: these three notes are rushed; from E5 on everything is an eighth note early", 3),
    (EVEN, "| A5 B5 3[D5 G5 e5] . E5 E8 A7 ||", "1 2: these three notes are rushed: the last one is a triplet eighth note early", 6),
    (EVEN, "| A5 B5 D5 G5 e5 3[E5 E8 A7] . ||", "1 3 &: these three notes are rushed: the last one is a triplet eighth note early", 6),
    (EVEN, "| A5 B5 D5 G5 1/16 e5 E5 1/8 E8 A7 . ||", "1 3: these two notes are rushed; from E8 on everything is an eighth note early", 5),
    (
        "| A5 B5 D5 G5 e5 E5 E8 A7 | - ------- ||", "| A5 B5 3[D5- G5- e5-] E5 E8 | A7 ------- ||",
        "1 2: these three notes are dragged; from E5 on everything is an eighth note late", 3,
    ),
    (
        "| A5 B5 D5 G5 e5 E5 E8 . | A5 B5 D5 G5 e5 E5 E8 A7 ||", "| . A5 B5 D5 G5 e5 E5 E8 | A5 B5 D5 G5 e5 E5 E8 A7 ||",
        "1 1: you come in an eighth note late, and stay so up to bar 1, beat 4", 8,
    ),
    ("| e8 e5 B8 G7 G5 D7 -- ||", "| 3[e8 e5 B8] G7 G5 D7 -- . ||", "1 1: these three notes are rushed; from G7 on everything is an eighth note early", 1),
    ("| A5 B5 D5 G5 e5 E5 E8 A7 | - ------- ||", "| . A5 B5 D5 G5 e5 E5 E8 | A7 ------- ||", "1 1: you come in an eighth note late, and stay so", 0),
    ("| . A5 B5 D5 G5 e5 E5 E8 | A7 ------- ||", "| A5 B5 D5 G5 e5 E5 E8 A7 | - ------- ||", "1 1 &: you come in an eighth note early, and stay so", 0),
    (PAIR, "| e5 B8^full G7 G5 D7 D5 A7 A5 ||", "1 1: you split the pair: the bend at fret 8 on the B string is an eighth note late", 7),
    (PAIR, "| B8^full e5 G7 G5 D7 D5 A7 A5 ||", "1 1: you split the pair: fret 5 on the e string is an eighth note late", 7),
    (
        "| e5&B8^full - G7 G5 D7 D5 A7 . ||", "| e5 B8^full - G7 G5 D7 D5 A7 ||",
        "1 1: you split the pair: the bend at fret 8 on the B string is an eighth note late, and so is everything after it", 1,
    ),
    (
        "| e5&B8^full - - - G7 G5 D7 D5 ||", "| e5 - B8^full - G7 G5 D7 D5 ||",
        "1 1: you split the pair: the bend at fret 8 on the B string is a quarter note late", 5,
    ),
    (
        "| e5 B8^full G7 G5 D7 D5 A7 A5 ||", PAIR,
        "1 1 &: you play these two together: the bend at fret 8 on the B string is an eighth note early", 7,
    ),
    (
        "| E0&A2&D2 - - - G7 - - - ||", "| E0 A2&E- D2&A-&E- - G7 - - - ||",
        "1 1: you split the chord: its last note is a quarter note late", 2,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("theirs", "mine", "words", "right"), OUT_OF_TIME)
def test_what_is_out_of_time_is_said_once(theirs: str, mine: str, words: str, right: int) -> None:
    c = _compare(mine, theirs)
    assert _said(c) == [words]
    assert not c.said
    assert c.score.right == right
    assert c.score.points == c.score.possible - 2 * (c.score.notes - right)


@pytest.mark.parametrize("first", range(6))
@pytest.mark.parametrize("rushed", [True, False])
def test_what_is_early_is_never_called_late(first: int, rushed: bool) -> None:
    """A figure of three anywhere in a bar, rushed or dragged; what follows stays early or late to the end of the bar."""
    words, after = ["A5", "B5", "D5", "G5", "e5", "E5", "E8", "A7"], " | D7 D5 G7 G5 B8 B5 e8 e5 ||"
    whole = words if rushed else [*words[:7], "-"]
    if not rushed and first == 5:
        return  # no room in the bar
    hold = " " if rushed else "- "
    figure = "3[" + hold.join(words[first : first + 3]) + (hold if not rushed else "") + "]"
    mine = [*words[:first], figure, *whole[first + 3 : None if rushed else 7], *(["."] if rushed else [])]
    c = _compare(f"| {' '.join(mine)}{after}", f"| {' '.join(whole)}{after}")
    assert {d.kind for d in c.differences} == {DifferenceKind.EARLY if rushed else DifferenceKind.LATE}
    (line,) = _said(c)
    assert ("rushed" if rushed else "dragged") in line
    assert c.score.right == c.score.notes - (len(whole) - (not rushed) - first - 1)


def test_a_swallowed_note_leaves_the_rest_early() -> None:
    theirs = "| A5 B5 D5 G5 e5 E5 E8 A7 | D5 D7 D5 D7 D5 D7 D5 D7 ||"
    c = _compare("| A5 B5 G5 e5 E5 E8 A7 D5 | D7 D5 D7 D5 D7 D5 D7 - ||", theirs)
    assert _said(c) == [
        "1 2: missing: fret 5 on the D string",
        "1 2 &: from here on everything is an eighth note early",
    ]
    assert c.score.right == 2


def test_a_note_held_too_long_moves_the_rest_and_is_no_second_thing() -> None:
    theirs = "| B5 B8 e5 e8 G7 G5 D7 D5 | A7 A5 E8 E5 - - . . ||"
    c = _compare("| B5 B8 e5 e8 - G7 G5 D7 | D5 A7 A5 E8 E5 - - . ||", theirs)
    assert _said(c) == ["1 3: from here on everything is an eighth note late"]


def test_a_wrong_note_is_not_asked_for_its_release_too() -> None:
    theirs = "| B5 B8 e5 e8 G7^9 -r D7 D5 ||"
    c = _compare("| B5 B8 e5 e8 G6 - D7 D5 ||", theirs)
    assert [d.kind for d in c.differences] == [DifferenceKind.FRET]


def test_silence_of_whole_bars_is_free_in_other_note_values_too() -> None:
    theirs = "| B5 B8 e5 e8 G7 G5 D7 D5 | A7 A5 E8 E5 - - . . ||"
    mine = "| 1/4 . . . . | 1/4 . . . . | 1/4 B5 B8 e5 e8 | 1/4 G7 G5 D7 D5 | 1/4 A7 A5 E8 E5 | 1/4 - - . . ||"
    c = _compare(mine, theirs, "tempo 200\n", "tempo 100\n")
    assert c.alike, _said(c)
    assert [said.kind for said in c.said] == ["spelling", "start"]


def test_a_version_that_is_early_throughout_plays_nothing_together_by_that() -> None:
    """Its one slow note meets the next one: that note is where it always was."""
    c = _compare("| A5 - B5&D5 G5 e5 E5 E8 A7 | - ------- ||", "| . A5 B5 D5 G5 e5 E5 E8 | A7 ------- ||")
    assert not [words for words in _said(c) if "together" in words]
    assert _said(c)[0] == "1 1 &: you come in an eighth note early, and stay so"


def test_a_pick_up_written_as_a_full_bar_is_in_its_place() -> None:
    theirs = "| e5 e8 | A5 B5 D5 G5 e5 E5 E8 A7 | A5 - - - - - ||"
    c = _compare("| . . . . . . e5 e8 | A5 B5 D5 G5 e5 E5 E8 A7 | A5 - - - - - . . ||", theirs, "", "pickup 1/4\n")
    assert c.alike, _said(c)
    assert [said.kind for said in c.said] == ["start"]
    assert c.score.of_100 == 100


def test_a_repeat_is_judged_once() -> None:
    c = _compare("|: B5 B7 e5 e8 :|x3", "|: B5 B8 e5 e8 :|x3", "meter 2/4\n", "meter 2/4\n")
    words = "1 1 &: fret 7 on the B string: the teacher plays fret 8, one fret higher (3 times, as it is repeated)"
    assert _said(c) == [words]
    assert len(c.pairs) == 4


def test_a_repeat_written_out_is_the_same() -> None:
    assert _compare("| B5 B8 e5 e8 | B5 B8 e5 e8 ||", "|: B5 B8 e5 e8 :|", "meter 2/4\n", "meter 2/4\n").alike


def test_a_bar_left_out_is_one_thing() -> None:
    theirs = "| B5 B8 e5 e8 G7 G5 D7 D5 | A5 A7 A5 D7 D5 A7 E5 E8 | e12 e10 B12 B10 e8 e5 B8 B5 ||"
    c = _compare("| B5 B8 e5 e8 G7 G5 D7 D5 | e12 e10 B12 B10 e8 e5 B8 B5 ||", theirs)
    assert _said(c) == ["2 1: missing: 8 notes, up to bar 2, beat 4 &"]
    assert c.score.right == 16


def test_a_beat_too_many_moves_the_rest_along() -> None:
    theirs = "| B5 B8 e5 e8 G7 G5 D7 D5 | e12 e10 B12 B10 e8 e5 B8 B5 ||"
    c = _compare("| B5 B8 e5 e8 . G7 G5 D7 | D5 e12 e10 B12 B10 e8 e5 B8 | B5 . . . . . . . ||", theirs)
    assert _said(c) == ["1 3: from here on everything is an eighth note late"]


# ---- said once, and free of charge


@pytest.mark.parametrize(
    ("mine", "fields", "kind", "words"),
    [
        (
            "| B7 B10 e7 e10 G9^11~- -r p7 | D9 D7 B7h10 B7 G9 - . | B7 G9 B7 G9 D9~--- ||", "", "transposed",
            "you play it a whole step higher: the same tune, and compared as such",
        ),
        (
            "| B17 B20 e17 e20 G19^21~- -r p17 | D19 D17 B17h20 B17 G19 - . | B17 G19 B17 G19 D19~--- ||", "", "octave",
            "you play it an octave higher: the same tune, and compared as such",
        ),
        (
            "| 1/16 B5 B8 e5 e8 G7^9~- -r p5 D7 D5 B5h8 B5 G7 - . | 1/16 B5 G7 B5 G7 D7~--- . . . . . . . . ||", "tempo 50\n", "spelling",
            "you write sixteenths where the teacher writes eighths; your tempo is 50, the teacher's 100, so it sounds the same",
        ),
        (TEACHER, "tempo 80\n", "tempo", "your tempo is 80, the teacher's 100: you play at 80 % of the speed"),
        (TEACHER, "feel shuffle\n", "feel", "you play a shuffle, the teacher plays it straight; compared as written"),
        (TEACHER, "capo 2\n", "capo", "your capo is at fret 2, the teacher's off; frets are counted from it"),
        (
            "| . . . . . . . . " + TEACHER, "", "start",
            "you rest longer before the first note, and come in on the right beat: compared from there",
        ),
    ],
)  # fmt: skip
def test_said_once(mine: str, fields: str, kind: str, words: str) -> None:
    c = _compare(mine, fields=fields)
    assert [(said.kind, said.words) for said in c.said] == [(kind, words)]
    assert c.alike, _said(c)
    assert c.score.of_100 == 100


def test_what_the_student_does_not_write_is_not_held_against_them() -> None:
    c = _compare(TEACHER, their_fields="tempo 84\nfeel shuffle\n")
    assert [said.words for said in c.said] == [
        "you write no tempo: the teacher's is 84",
        "you write no feel: the teacher plays a shuffle; compared as written",
    ]
    assert c.alike


def test_a_shuffle_spelled_out_is_the_same() -> None:
    theirs = "| B5 B8 e5 e8 G7^9 -r p5 D7 | D5 - B5h8 B5 - G7 . ||"
    mine = "| B5- B8 e5- e8 G7^9- -r p5- D7 | D5- - B5-h8 B5- - G7- . ||"
    c = _compare(mine, theirs, "meter 12/8\ntempo 90\n", "feel shuffle\ntempo 90\n")
    assert [said.words for said in c.said] == [
        "you write it straight in 12/8, the teacher writes a shuffle in 4/4; compared as it sounds"
    ]
    assert c.alike, _said(c)
    assert {note["theirs"]["length"] for note in comparison_as_json(c)["notes"]} == {"1/8", "1/4"}
    slip = _compare(mine.replace("e8", "e7"), theirs, "meter 12/8\ntempo 90\n", "feel shuffle\ntempo 90\n")
    assert _said(slip) == ["1 2 &: fret 7 on the e string: the teacher plays fret 8, one fret higher"]


def test_a_slip_in_another_key_is_judged_in_it() -> None:
    c = _compare("| B7 B10 e7 e10 G9^11~- -r p7 | D9 D7 B7h10 B7 G9 - . | B8 G9 B7 G9 D9~--- ||")
    assert _said(c) == [
        "3 1: fret 8 on the B string: the teacher plays fret 5 on the B string, so yours is a half step too high"
    ]
    assert [said.kind for said in c.said] == ["transposed"]


def test_another_place_on_the_neck_is_said_once() -> None:
    c = _compare("| G9 G12 B10 B13 D12 D10 A12 A10 ||", "| B5 B8 e5 e8 G7 G5 D7 D5 ||")
    assert [(said.kind, said.words) for said in c.said] == [
        ("place", "you play it around fret 12, the teacher around fret 7: another place, the same notes")
    ]
    assert c.alike


def test_one_wrong_note_is_not_another_key() -> None:
    assert not _compare("| B6 - - - ||", "| B5 - - - ||", "meter 2/4\n", "meter 2/4\n").said


# ---- parts


def test_words_for_lengths() -> None:
    lengths = [Fraction(*f) for f in ((1, 8), (1, 16), (3, 16), (1, 12), (1, 2), (1, 1), (5, 16), (1, 4))]
    assert list(map(length_in_words, lengths)) == [
        "an eighth note", "a sixteenth note", "a dotted eighth note", "a triplet eighth note", "a half note", "a whole note",
        "five sixteenth notes", "a quarter note",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("late", "cheap", "found"),
    [
        ([0, 0, 1, 0, 0], (), [0, 0, 0, 0, 0]),
        ([0, 0, 2, 2, 2, 2], (), [0, 0, 2, 2, 2, 2]),
        ([0, 0, 2, 2], (), [0, 0, 0, 0]),
        ([0, 0, 2, 2], (2,), [0, 0, 2, 2]),
        ([3, 3, 3], (), [3, 3, 3]),
        ([3, 0, 0], (), [0, 0, 0]),
        ([], (), []),
    ],
)
def test_shifts(late: list[int], cheap: tuple[int, ...], found: list[int]) -> None:
    assert lasting_shifts(late, [k in cheap for k in range(len(late))]) == found


def test_the_score_adds_up() -> None:
    # Of 17 notes: one at the wrong fret keeps 2 of 10, a missing one 0, one late 8, one without its hammer-on 9; one is extra.
    c = _compare("| B6 - 1/16 - e5 1/8 e8 G7^9~- -r p5 | D7 D5 B5 B8 B5 G7 - e5 | B5 G7 B5 G7 D7~--- ||")
    assert [d.kind for d in c.differences] == [
        DifferenceKind.FRET,
        DifferenceKind.MISSING,
        DifferenceKind.LATE,
        DifferenceKind.TECHNIQUE,
        DifferenceKind.EXTRA,
    ]
    assert (c.score.points, c.score.possible) == (170 - 8 - 10 - 2 - 1 - 5, 170)
    assert c.score.of_100 == 100 * 144 // 170
    assert (c.score.right, c.score.notes, c.score.extra) == (13, 17, 1)


def _phrase(notes: int, seed: int) -> str:
    chance = Random(seed)
    events = [chance.choice(["G5", "G7", "B5", "B8", "e5", "e8", "D5", "D7", "B8^10", "G7~"]) for _ in range(notes)]
    return "| " + " | ".join(" ".join(events[k : k + 8]) for k in range(0, notes, 8)) + " ||"


def _damaged(notes: int, seed: int) -> str:
    """The phrase of that seed with a wrong note in every tenth place."""
    words, count = _phrase(notes, seed).split(), 0
    for k, word in enumerate(words):
        count += word[0] != "|"
        if word[0] != "|" and count % 10 == 0:
            words[k] = "A3"
    return " ".join(words)


@pytest.mark.parametrize(
    ("notes", "mine", "most"),
    [(200, _damaged(200, 1), 500_000), (100, _phrase(100, 2), 1_600_000)],
    ids=["alike", "nothing in common"],
)
def test_hundreds_of_notes_take_no_more_work_than_they_did(notes: int, mine: str, most: int) -> None:
    """The limits are twice what was measured, 250,000 and 810,000 lines of Python: 15 and 25 ms on a desktop machine."""
    one, other = timeline(mine), timeline(_phrase(notes, 1))
    assert compare(one, other).score.notes == notes
    assert steps(lambda: compare(one, other)) < most


def test_the_work_of_a_comparison_grows_with_the_square_of_the_length_at_most() -> None:
    small, large = (
        steps(partial(compare, timeline(_phrase(notes, 2)), timeline(_phrase(notes, 1)))) for notes in (40, 80)
    )
    assert large < 5 * small


def test_the_report_is_short_unless_asked() -> None:
    mine, theirs = timeline(_phrase(64, 3)), timeline(_phrase(64, 4))
    c = compare(mine, theirs)
    assert len(c.differences) > LISTED
    short, full = (list(comparison_text(c, 80, everything, drawn=False)) for everything in (False, True))
    assert len(short) <= 20
    assert any("--all" in line for line in short)
    assert len(full) >= len(c.differences)
    assert all(len(line) <= 80 for line in short + full)


def test_the_tabs_are_marked() -> None:
    c = _compare(TEACHER.replace("e5 e8", "e5 e7").replace("D7~---", "D7---"))
    lines = list(comparison_text(c, 80, everything=False))
    first, second = lines.index("the teacher's:"), lines.index("yours:")
    marks = [line for line in lines[first:] if line.lstrip().startswith("^")]
    assert marks[0].split() == marks[1].split() == ["^1"]
    strings = [line for line in lines[first:second] if line.startswith("e|")]
    assert strings[0][marks[0].index("^")] == "8"
    assert lines[second:][lines[second:].index(marks[1])] == marks[1]
    assert all(len(line) <= 80 for line in lines[first:])


def test_a_bar_with_mistakes_in_it_can_be_compared() -> None:
    head = 'key A minor\nlick "Gate"\n'
    mine, theirs = (
        compile_text(head + music).licks[0]
        for music in (
            "| B5 B8 e5 e8 G7 G5 D7 | e5 e8 B5 B8 ||\n",
            "| B5 B8 e5 e8 G7 G5 D7 D5 | e5 e8 B5 B8 - - - - ||\n",
        )
    )
    assert not mine.ok
    assert mine.timeline is not None
    assert theirs.timeline is not None
    c = compare(mine.timeline, theirs.timeline)
    assert [(d.kind, d.place) for d in c.differences][:1] == [(DifferenceKind.MISSING, (1, "4 &"))]
    assert {d.kind for d in c.differences} <= {DifferenceKind.MISSING, DifferenceKind.SHORT}
    assert list(comparison_text(c, 80, True))


def test_the_value_for_programs_is_complete() -> None:
    c = _compare(TEACHER.replace("e5 e8", "e5 e7"))
    found = comparison_as_json(c)
    assert found["alike"] is False
    assert found["score"]["of_100"] == c.score.of_100
    assert len(found["notes"]) == 17
    (one,) = found["differences"]
    assert (one["kind"], one["bar"], one["beat"], one["by"]) == ("fret", 1, "2 &", "-1")
    assert one["mine"][0]["fret"] == 7
    assert one["theirs"][0]["fret"] == 8


@every_nth(4)
def test_any_two_licks_can_be_compared(every: int) -> None:
    """Bass with guitar, a riff with a tune: nothing breaks, every number of the report is in the tabs."""
    licks = [one for path in sorted(SAMPLES.rglob("*.lick")) for one in compile_text(path.read_text("utf-8")).licks]
    assert len(licks) > 50
    for one, other in [*zip(licks, licks[7:] + licks[:7], strict=True)][::every]:
        assert one.timeline is not None
        assert other.timeline is not None
        c = compare(one.timeline, other.timeline)
        assert not c.alike
        lines = list(comparison_text(c, 100, everything=True))
        marks = {n for line in lines if line.lstrip()[:1] == "^" for n in re.findall(r"\d+", line)}
        assert marks == {str(n) for n in range(1, len(c.differences) + 1)}
        assert 0 <= c.score.of_100 < 100
        assert json.loads(json.dumps(comparison_as_json(c)))["score"]["points"] == c.score.points


def test_every_lick_is_alike_to_itself() -> None:
    for path in sorted(SAMPLES.rglob("*.lick")):
        for lick in compile_text(path.read_text("utf-8")).licks:
            assert lick.timeline is not None
            c = compare(lick.timeline, lick.timeline)
            assert c.alike
            assert not c.said
            assert c.score.of_100 == 100


# ---- swung notes are compared where they are heard


SWUNG_16 = "| e8 e5 B8 B5 G7 G5 D7 D5 | A7 A5 E8 E5 E8 A5 A7 D5 ||"

TWINS = [  # music with a feel, the same spelled out, fields of both
    ("| e8 e5 B8 B5 G7 G5 D7 D5 ||", "| 3[e8 - e5] 3[B8 - B5] 3[G7 - G5] 3[D7 - D5] ||", "feel shuffle\n"),
    ("| D7 D5 - A7 A5 - - . ||", "| 3[D7 - D5] 3[- - A7] 3[A5 - -] 3[- - .] ||", "feel shuffle\n"),
    (
        "| e8 e5 B8 B5 G7 - G5 - D7 - D5 - A7 - - - ||",
        "| e8 e5 B8 B5 3[G7 - - - G5 -] 3[D7 - - - D5 -] A7 - - - ||", "step 1/16\nfeel shuffle\n",
    ),
    (  # one swung note in a long passage
        "| e8 - e5 - B8 - B5 - | G7 - G5 - D7 - D5 - | A7 - A5 - E8 - E5 E8 | A5 ------- ||",
        "| e8 - e5 - B8 - B5 - | G7 - G5 - D7 - D5 - | A7 - A5 - E8 - 3[E5 - E8] | A5 ------- ||", "feel shuffle\n",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("swung", "spelled", "fields"), TWINS)
def test_what_is_swung_and_what_is_spelled_out_are_alike(swung: str, spelled: str, fields: str) -> None:
    straight = fields.replace("feel shuffle\n", "")
    for mine, theirs in ((swung, spelled), (spelled, swung)):
        c = _compare(mine, theirs, *(fields if music is swung else straight for music in (mine, theirs)))
        assert c.alike, _said(c)
        assert c.score.of_100 == 100
        assert [said.kind for said in c.said] == ["feel"]


@pytest.mark.parametrize("pickup", [1, 2, 3, 5])
def test_swing_is_counted_from_the_bar_in_comparisons_too(pickup: int) -> None:
    """A pick-up of eighths is the end of a full bar, so which of its notes come late depends on how many there are."""
    first = ["B5", "B8", "e5", "e8", "e5"][:pickup]
    rest = " - | D7 " + "- " * (7 - pickup) + "||"
    swung = f"| {' '.join(first)} | G7 G5 D7 D5 A7 A5 G5{rest}"
    lone = f"1/16 3[. {first.pop(0)} -] 1/8 " if pickup % 2 else ""  # the middle of a pair
    triplets = " ".join(f"3[{first[n]} - {first[n + 1]}]" for n in range(0, len(first), 2))
    spelled = f"| {lone}{triplets} | 3[G7 - G5] 3[D7 - D5] 3[A7 - A5] G5{rest}"
    c = _compare(swung, spelled, f"pickup {pickup}/8\nfeel shuffle\n", f"pickup {pickup}/8\n")
    assert c.alike, _said(c)


@pytest.mark.parametrize(("late", "heard"), [(2, False), (5, False), (7, True), (8, True)])
def test_a_version_that_swings_hardly_anything_is_compared_as_written(late: int, heard: bool) -> None:
    """Of eight pairs some are spelled out as a shuffle."""
    words = SWUNG_16.replace("|", "").split()
    pairs = [(words[n], words[n + 1]) for n in range(0, 16, 2)]
    mine = [f"3[{one} - {two}]" if n < late else f"{one} {two}" for n, (one, two) in enumerate(pairs)]
    c = _compare(f"| {' '.join(mine[:4])} | {' '.join(mine[4:])} ||", SWUNG_16, "", "feel shuffle\n")
    assert [said.words.endswith("as it sounds") for said in c.said if said.kind == "feel"] == [heard]


@pytest.mark.parametrize(
    ("mine", "theirs", "said"),
    [
        ("G7 . .", "G7 -^9 -", ["the bend is missing: fret 7 on the G string stays a whole step too low"]),
        ("G7 . .", "G7 -^9 -r", ["the bend is missing: fret 7 on the G string stays a whole step too low"]),
        ("G7^9 - .", "G7^9 - -r", ["a release is missing at fret 7 on the G string"]),
        ("G7 - -~", "G7 - .", ["vibrato at fret 7 on the G string, where the teacher has none"]),
        (
            "G7 . .", "G7^9 - -",
            ["fret 7 on the G string stops a quarter note too soon", "the bend is missing: fret 7 on the G string stays a whole step too low"],
        ),
    ],
)  # fmt: skip
def test_a_note_that_stops_before_its_bend_is_said_once(mine: str, theirs: str, said: list[str]) -> None:
    """What is bent from the start and held shorter are two things."""
    rest = "B5 G7 B5 G7 D7"
    c = _compare(f"| {mine} {rest} ||", f"| {theirs} {rest} ||")
    assert _said(c) == [f"1 1: {words}" for words in said]
