"""What a report says of a whole recording, the same in the text and in the JSON: several times through, what was left out, what comes next."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from lickwright.core.fast_dataclass import replace
from lickwright.listen.advice import practice_advice
from lickwright.listen.bar_runs import listed_bars
from lickwright.listen.deviations import note_deviations
from lickwright.listen.judge import judge_hearing
from lickwright.listen.model import Judgement, NoteVerdict, Refusal, RefusalKind, TakeContext
from lickwright.listen.picture import draw_take
from lickwright.listen.remarks import find_remarks, lateness_words
from lickwright.listen.report import judgement_text
from lickwright.listen.report_json import judgement_as_json
from lickwright.listen.stretches import hear_recording
from lickwright.listen.summary import refusal_hints, summarize_take
from lickwright.music.practice import Ladder
from lickwright.performance.note_events import perform
from plucked import Samples, Tone, judged, pluck, recorded, take_of, timeline_of

WALK = (
    'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- '
    "| B1 G2 G0 D2 D0 A3 A0 E3 | A0--- D2--- ||\n"
)


def _later(tone: Tone, by: float) -> Tone:
    return tone._replace(start=tone.start + by, end=tone.end + by, pitch=lambda t: tone.pitch(t - by))


@cache
def _played(*wrong: int) -> Judgement:
    """`WALK` played once, these notes a whole step too high."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    for n in wrong:
        tones[n] = tones[n]._replace(pitch=lambda t, pitch=tones[n].pitch: pitch(t) + 2)
    return judged(timeline, pluck(tones))


def _times(*times: tuple[int, ...]) -> Judgement:
    """`WALK` played several times, each with these notes wrong, the second time best."""
    passes = tuple(_played(*wrong).passes[0] for wrong in times)
    return replace(_played(), passes=passes, best=1)


def _skipping_wave() -> Samples:
    """`WALK` without bar 2: bar 3 comes at once."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    gone, after = (min(t.start for t in tones if timeline.sounds[t.sound].bar == bar) for bar in (1, 2))
    kept = [t for t in tones if timeline.sounds[t.sound].bar != 1]
    return pluck([_later(t, gone - after) if t.start >= after else t for t in kept])


@cache
def _skipped() -> Judgement:
    return judged(timeline_of(WALK), _skipping_wave())


def _text(judgement: Judgement) -> str:
    return "\n".join(judgement_text(judgement, 400, False))


def _json(judgement: Judgement) -> dict[str, Any]:
    found = judgement_as_json(judgement, TakeContext("Walk", recording="take.wav"))
    schema = json.loads((files("lickwright.listen") / "report.schema.json").read_text("utf-8"))
    Draft202012Validator(schema).validate(found)
    return found


def test_bars_that_are_right_in_some_times_only_are_to_be_made_sure() -> None:
    """The best time alone would have it that the lick is ready."""
    found = _times((3,), (), (3, 10))
    said = _text(found)
    assert "played 3 times: this is time 2, the best; they came out with scores of " in said
    often = "bar 1 is right in 1 of 3 (beat 2 &, fret 2 on the D string: F# was heard, a whole step too high)"
    rare = "bar 2 is right in 2 of 3 (beat 2, open D string: E was heard, a whole step too high)"
    assert f"over all times: {often}; {rare}\n" in said
    assert "make bars 1 and 2 sure, at 80 beats a minute, until they are right three times in a row" in said
    assert "it is ready" not in said
    assert _json(found)["practice"] == [
        "make bars 1 and 2 sure, at 80 beats a minute, until they are right three times in a row"
    ]


def test_a_slip_in_one_of_many_times_is_no_bar_to_be_made_sure() -> None:
    said = _text(_times((3,), (), (), ()))
    assert "over all times" not in said
    assert "it is ready" in said


def test_what_goes_wrong_each_time_is_practiced_once() -> None:
    said = _text(_times((3,), (3,)))
    assert "over all times: bar 1 is right in 0 of 2" in said
    assert "find the notes of bar 1 slowly" in said
    assert "make bar" not in said


def test_bars_that_are_left_out_are_in_the_json() -> None:
    found = _json(_skipped())
    (skip,) = found["passes"][0]["skips"]
    assert (skip["from_bar"], skip["from_beat"], skip["bar"], skip["beat"]) == (1, "4 &", 3, "1")
    assert 2.3 < skip["seconds"] < 2.5
    assert found["passes"][0]["pauses"] == []
    assert (
        "it goes from bar 1, beat 4 & straight to bar 3, beat 1: 2.4 s, about 4 beats, are left out" in found["facts"]
    )


def test_a_place_in_a_repeat_says_which_time() -> None:
    text = 'key A minor\ntempo 120\nstep 1/8\nlick "Twice"\n|: A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- :|\n'
    timeline = timeline_of(text)
    tones = take_of(timeline)[0]
    again = [n for n, sound in enumerate(timeline.sounds) if sound.pass_no][4]
    found = judged(timeline, pluck([_later(t, 1.0) if t.sound >= again else t for t in tones]))
    assert "before bar 1, time 2, beat 3" in _text(found)
    (pause,) = _json(found)["passes"][0]["pauses"]
    assert (pause["bar"], pause["time"], pause["beat"]) == (1, 2, "3")
    assert (pause["from_bar"], pause["from_time"], pause["from_beat"]) == (1, 2, "2 &")


def test_the_json_has_the_words_of_the_text() -> None:
    found = _skipped()
    said, value = _text(found), _json(found)
    assert said.splitlines()[0] == f'"Walk": {value["headline"]}'
    assert f"score {value['passes'][0]['score']['of_100']} of 100: {value['counts']}\n" in said
    assert f"just right by bar: {value['by_bar']}\n" in said
    for remark in value["passes"][0]["remarks"]:
        assert f"{remark['place']}  {remark['words']}" in said
    for words in (*value["facts"], *value["practice"], *value["never_judged"], *value["passes"][0]["not_told"]):
        assert words in said


def test_what_follows_a_part_that_breaks_off_comes_next() -> None:
    timeline = timeline_of(WALK)
    tones = [t for t in take_of(timeline)[0] if timeline.sounds[t.sound].bar == 0]
    found = judged(timeline, pluck(tones, tones[-1].end + 3))
    assert "it breaks off after bar 1, beat 4 &" in _text(found)
    assert _json(found)["practice"] == ["go on from there: bars 2-4 slowly, at 80 beats a minute"]


@pytest.mark.parametrize("kind", RefusalKind)
def test_what_to_do_about_a_refusal_goes_by_its_kind(kind: RefusalKind) -> None:
    """It is no matter of its words. About a lick that has no note to judge nothing can be done."""
    hints = refusal_hints(replace(_played(), refusal=Refusal(kind, "in other words"), passes=()))
    assert len(hints) == (0 if kind is RefusalKind.NO_NOTE else 1)


def test_a_refusal_has_no_passes() -> None:
    value = _json(judged(timeline_of(WALK), np.zeros(48_000, np.float32)))
    assert value["passes"] == []
    assert "best" not in value


def _drawn(wave: Samples) -> ElementTree.Element:
    """Draw a take of `WALK`."""
    timeline = timeline_of(WALK)
    hearing, performance = hear_recording(recorded(wave)), perform(timeline)
    return ElementTree.fromstring(draw_take(judge_hearing(timeline, performance, hearing), hearing, performance))


def _picture(wave: Samples) -> list[tuple[str, str]]:
    """Return the parts of a picture, the name of each with its words."""
    return [(one.tag.rpartition("}")[2], one.text or "") for one in _drawn(wave).iter()]


def test_a_picture_says_where_notes_were_left_out() -> None:
    """They are not heaped up where the music leaps, and their bar has no line of its own."""
    words = [text for name, text in _picture(_skipping_wave()) if name == "text"]
    assert "5 notes left out" in words
    assert [text for text in words if text.startswith("bar ")] == ["bar 1", "bar 3", "bar 4"]
    assert "it goes from bar 1, beat 4 & straight to bar 3, beat 1: 2.4 s, about 4 beats, are left out" in words


def test_a_picture_ends_where_the_take_breaks_off() -> None:
    timeline = timeline_of(WALK)
    tones = [t for t in take_of(timeline)[0] if timeline.sounds[t.sound].bar == 0]
    words = [text for name, text in _picture(pluck(tones, tones[-1].end + 3)) if name == "text"]
    assert [text for text in words if text.startswith("bar ")] == ["bar 1"]
    assert words.count("A0") == 1  # it stands in bar 2 and bar 4, too


def test_a_picture_shows_a_pause() -> None:
    tones = take_of(timeline_of(WALK))[0]
    wave = pluck([_later(t, 1.2) if t.sound >= 8 else t for t in tones])
    assert ("text", "pause 1.2 s") in _picture(wave)


def test_a_pause_at_the_end_of_a_row_is_drawn_once() -> None:
    """The next row begins with the note after it."""
    tones = take_of(timeline_of(WALK))[0]
    shifted = [_later(t, 1.2) if timeline_of(WALK).sounds[t.sound].bar >= 3 else t for t in tones]
    words = [text for name, text in _picture(pluck(shifted)) if name == "text"]
    assert words.count("pause 1.2 s") == 1


def test_a_note_of_which_the_time_is_not_told_has_a_ring() -> None:
    """It was heard; a note that was not has nothing in that line."""
    timeline = timeline_of(WALK)
    hearing, performance = hear_recording(recorded(pluck(take_of(timeline)[0]))), perform(timeline)
    judgement = judge_hearing(timeline, performance, hearing)
    judgement.passes[0].notes[2].late = None
    judgement.passes[0].notes[4].onset = judgement.passes[0].notes[4].late = None
    drawn = ElementTree.fromstring(draw_take(judgement, hearing, performance))
    circles = [one.get("fill") for one in drawn.iter("{http://www.w3.org/2000/svg}circle")]
    assert (circles.count("none"), len(circles)) == (1, len(judgement.passes[0].notes) - 1)


def test_the_name_of_a_short_pick_up_does_not_lie_over_that_of_bar_1() -> None:
    text = 'key A minor\ntempo 160\npickup 1/8\nstep 1/8\nlick "Up"\n| e0 | A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- | A0 A3 D0 D2 G0 G2 B1 G2 ||\n'
    timeline = timeline_of(text)
    hearing, performance = hear_recording(recorded(pluck(take_of(timeline)[0]))), perform(timeline)
    drawn = ElementTree.fromstring(draw_take(judge_hearing(timeline, performance, hearing), hearing, performance))
    names = {one.text: one for one in drawn.iter("{http://www.w3.org/2000/svg}text")}
    assert names["pick-up"].get("text-anchor") == "end"
    assert names["bar 1"].get("text-anchor") == "start"
    assert float(names["pick-up"].get("x", 0)) < float(names["bar 1"].get("x", 0))


def test_the_milliseconds_of_a_note_are_not_cut_off_where_a_row_begins() -> None:
    """They are wider than the note and begin before it, so they are outside of what is clipped."""
    tones = take_of(timeline_of(WALK))[0]
    drawn = _drawn(pluck([_later(t, 0.15) if t.sound == 8 else t for t in tones]))
    svg = "{http://www.w3.org/2000/svg}"
    late = [one.text for one in drawn.findall(f"{svg}text") if (one.text or "").startswith("+1")]
    assert len(late) == 1
    assert not [one.text for one in drawn.findall(f"{svg}g/{svg}text") if (one.text or "")[0] in "+-"]


def test_a_picture_calls_no_note_late_that_the_report_does_not() -> None:
    """A joined note may be later than a picked one; that its pitch is wrong does not make it late."""
    timeline = timeline_of('key A minor\ntempo 100\nstep 1/8\nlick "Joined"\n| A0 A3 D0 h2 G0 G2 B1 G2 ||\n')
    hearing, performance = hear_recording(recorded(pluck(take_of(timeline)[0]))), perform(timeline)
    judgement = judge_hearing(timeline, performance, hearing)
    notes = judgement.passes[0].notes
    for note, late in ((notes[3], 0.07), (notes[5], 0.08)):
        note.late, note.verdict = late, NoteVerdict.WRONG
        note.kinds |= {deviation.kind for deviation in note_deviations(note)}
    drawn = ElementTree.fromstring(draw_take(judgement, hearing, performance))
    bold = {one.text: one.get("font-weight") for one in drawn.iter("{http://www.w3.org/2000/svg}text")}
    assert (bold["+70"], bold["+80"]) == (None, "bold")


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ([], ""), ([2], "bar 2"), ([0], "the pick-up"), ([0, 1], "the pick-up and bar 1"), ([1, 2], "bars 1 and 2"),
        ([1, 2, 3, 4, 6], "bars 1-4 and 6"), ([0, 1, 2, 3], "the pick-up and bars 1-3"),
        ([1, 3, 5, 7, 9, 10, 11], "bars 1, 3, 5, 7 and 3 more"),
    ],
)  # fmt: skip
def test_bars_are_listed_in_runs(numbers: list[int], words: str) -> None:
    assert listed_bars(numbers) == words


@pytest.mark.parametrize(
    ("percent", "next_step"),
    [
        (68, "climb: the next tempo is 75 beats a minute"),  # 70 would be no step up
        (75, "climb: the next tempo is 80 beats a minute"),
        (97, "climb: the next tempo is 100 beats a minute"),
        (99, "it is ready: play it from memory, then in another key"),
    ],
)
def test_the_next_tempo_is_a_step_up(percent: int, next_step: str) -> None:
    one = replace(_played().passes[0], pace=100 / percent)
    assert [step.words for step in practice_advice(replace(_played(), passes=(one,)), [])] == [next_step]


@pytest.mark.parametrize(
    ("ladder", "percent", "next_step", "bpm"),
    [
        (Ladder(60, 10, 90), 68, "climb: the next tempo is 80 beats a minute", 80),
        (Ladder(60, 10, 90), 89, "it is ready: play it from memory, then in another key", None),
        (Ladder(60, 10, 120), 100, "climb: the next tempo is 110 beats a minute", 110),
    ],
)
def test_the_next_tempo_is_of_the_ladder_that_is_asked_for(
    ladder: Ladder, percent: int, next_step: str, bpm: float | None
) -> None:
    one = replace(_played().passes[0], pace=100 / percent)
    (step,) = practice_advice(replace(_played(), passes=(one,)), [], (), TakeContext(ladder=ladder))
    assert (step.words, step.bpm) == (next_step, bpm)
    assert step.bars == (((1, 4),) if bpm else ())


def test_a_tempo_to_practice_at_is_the_highest_rung_that_is_slow_enough() -> None:
    """A ladder that climbs above the tempo comes back to it at its end."""
    note = find_remarks(_played(3).timeline, _played(3).passes[0])
    one = replace(_played(3).passes[0], pace=100 / 140)
    (first, *_) = practice_advice(replace(_played(3), passes=(one,)), note, (), TakeContext(ladder=Ladder(60, 10, 120)))
    assert first.bpm == 110


def test_what_to_practice_has_the_bars_that_a_player_can_loop() -> None:
    """Where the music stops or leaps, from the note before to the one after."""
    steps = _json(_played(3, 18))["practice_steps"]
    assert steps[0] == {
        "words": "find the notes of bars 1 and 3 slowly, at 80 beats a minute, until they are right three times in a row",
        "short": "find the notes of bars 1 and 3 slowly, at 80 beats a minute, until they are right three times in a row",
        "bars": [{"from": 1, "to": 1}, {"from": 3, "to": 3}], "bpm": 80,
    }  # fmt: skip
    found = _json(_skipped())
    (leap,) = (step for step in found["practice_steps"] if step["words"].startswith("count aloud on the way to bar 3"))
    assert (leap["bars"], leap["bpm"]) == ([{"from": 1, "to": 3}], 80)
    assert [step["words"] for step in found["practice_steps"]] == found["practice"]


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        (1, "a half step higher than written: a capo at fret 1 does that"),
        (-2, "a whole step lower than written: check tuning and capo"),
        (3, "3 half steps higher than written: a capo at fret 3 does that"),
        (12, "an octave higher than written: see where on the neck it is written"),
        (-12, "an octave lower than written: see where on the neck it is written"),
    ],
)
def test_a_take_that_is_higher_or_lower_is_said(shift: int, words: str) -> None:
    assert f"all of it is {words}" in summarize_take(replace(_played(), shift=shift)).facts


def test_a_lateness_has_the_values_that_players_name() -> None:
    timeline = timeline_of(WALK)
    assert lateness_words(timeline, 0.08, 1.0) == "80 ms late, about a thirty-second note"
    assert lateness_words(timeline, -0.08, 2.0) == "80 ms early"


@pytest.mark.parametrize(
    ("feel", "notes", "words"),
    [
        ("straight", "A0 A3", "about a thirty-second note"),
        ("shuffle", "A0 A3", "about a triplet sixteenth note"),
        ("straight", "3[A0 A3 D0]", "about a triplet sixteenth note"),
    ],
)
def test_a_lateness_is_a_triplet_only_where_the_lick_has_some(feel: str, notes: str, words: str) -> None:
    text = f'feel {feel}\ntempo 120\nstep 1/8\nlick "Late"\n| {notes} D0 D2 G0 G2 B1 G2 ||\n'
    timeline = timeline_of(text)
    assert lateness_words(timeline, 0.08, 1.0) == f"80 ms late, {words}"


def test_a_time_that_cannot_be_told_is_said_not_to_be_judged() -> None:
    """Its note is right, and that says nothing of when it begins."""
    one = _played().passes[0]
    notes = tuple(replace(note, late=None) if n < 3 else note for n, note in enumerate(one.notes))
    found = replace(_played(), passes=(replace(one, notes=notes),))
    assert "whether notes are early or late" not in _text(_played())
    assert "not judged: whether notes are early or late (3); which string" in _text(found)
    assert _json(found)["passes"][0]["not_told"] == ["whether notes are early or late (3)"]
