"""What is said of a recording: a right take is praised, each mistake is found where it was made, and another lick is refused."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest

from lickwright.compare.model import DifferenceKind, ScorePosition
from lickwright.core.fast_dataclass import replace
from lickwright.listen import heard_pass
from lickwright.listen.advice import PracticeStep, practice_advice
from lickwright.listen.expected import expected_groups
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.lateness import judge_onsets
from lickwright.listen.match import match_groups
from lickwright.listen.match_costs import pitch_costs
from lickwright.listen.model import HeardNote, HeardPause, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.praise import praise_words
from lickwright.listen.recognition import UNLIKE
from lickwright.listen.remarks import Remark, find_remarks
from lickwright.listen.report import judgement_text
from lickwright.listen.stretches import hear_recording
from lickwright.listen.told_times import times_told
from lickwright.performance.note_events import perform
from plucked import (
    RATE,
    Samples,
    Tone,
    judged,
    matched_pass,
    moved,
    pluck,
    recorded,
    steady,
    take_of,
    talk,
    timeline_of,
)

WALK = 'key A minor\ntempo 100\nstep 1/8\nlick "Walk"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- ||\n'
BENDS = 'key A minor\ntempo 90\nstep 1/8\nlick "Bends"\n| G7^9-- -r p5 D7- | G7^9--- B8~--- | e5- B8- G5~--- ||\n'
TRIPLETS = 'key A minor\ntempo 90\nstep 1/8\nlick "Triplets"\n| 3[A5 A7 D5] 3[D7 G5 G7] 3[B5 B8 e5] e8- | B8 B5 G7 G5 D7- A7- ||\n'
SLOW = 'key A minor\ntempo 60\nstep 1/2\nlick "Slow"\n| B5 e5 | G5 e8 | B8 G7 | B6 e5 ||\n'
PAIRS = 'key G major\ntempo 80\nstep 1/4\nlick "Pairs"\n| G4&B5 G5&B7 G7&B8 G4&B5 | G2&B3 G4&B5 G7&B8 G5&B7 ||\n'
LOW = (
    'tuning 7 string\nkey B minor\ntempo 100\nstep 1/8\nlick "Low"\n'
    "| 7:0 7:0 7:3&E5 7:0 7:5&E7 7:5&E7 7:0 7:3&E5 | 7:0- 7:7&E9- 7:8&E10 7:0 7:0- ||\n"
)


def best(judgement: Judgement) -> JudgedPass:
    assert not judgement.refusal, judgement.refusal
    return judgement.passes[judgement.best]


def note_at(judgement: Judgement, index: int) -> HeardNote:
    return next(n for n in best(judgement).notes if n.sound.index == index)


def differing(judgement: Judgement) -> dict[int, set[DifferenceKind]]:
    return {n.sound.index: n.kinds for n in best(judgement).notes if n.kinds}


@cache
def right_take(text: str) -> Judgement:
    timeline = timeline_of(text)
    return judged(timeline, pluck(take_of(timeline)[0]))


@pytest.mark.parametrize("text", [WALK, BENDS, PAIRS], ids=["walk", "bends", "pairs"])
def test_a_right_take_has_nothing_said_against_it(text: str) -> None:
    found = right_take(text)
    assert differing(found) == {}
    assert best(found).extras == ()
    assert best(found).score.of_100 == 100
    assert found.shift == 0
    assert abs(found.tuning) < 0.03


@pytest.mark.parametrize("text", [pytest.param(BENDS, marks=pytest.mark.slow), PAIRS], ids=["bends", "pairs"])
def test_a_take_that_begins_with_its_first_note_is_right(text: str) -> None:
    timeline = timeline_of(text)
    tones = take_of(timeline)[0]
    first = min(t.start for t in tones)
    assert differing(judged(timeline, pluck(tones)[round(first * RATE) :])) == {}


def test_a_slower_sharper_take_with_a_capo_is_right_and_that_is_said() -> None:
    timeline = timeline_of(WALK)
    tones = [moved(t, 2.25) for t in take_of(timeline, 0.7)[0]]
    found = judged(timeline, pluck(tones))
    assert differing(found) == {}
    assert found.shift == 2
    assert found.tuning == pytest.approx(0.25, abs=0.03)
    assert 1 / best(found).pace == pytest.approx(0.7, abs=0.02)
    said = "\n".join(judgement_text(found, 100, False))
    assert "70 beats a minute, 70 % of the written tempo" in said
    assert "a whole step higher than written: a capo at fret 2 does that" in said
    assert "tuned 25 cents sharp" in said or "tuned 24 cents sharp" in said or "tuned 26 cents sharp" in said


def test_a_wrong_note() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    tones[5] = moved(tones[5], 1.0)
    found = judged(timeline, pluck(tones))
    assert differing(found) == {5: {DifferenceKind.NOTE}}
    assert note_at(found, 5).verdict is NoteVerdict.WRONG
    (remark,) = find_remarks(timeline, best(found))
    assert remark.words == "fret 2 on the G string: Bb was heard, a half step too high"
    assert (remark.place.bar, remark.place.beat) == (1, "3 &")
    lines = list(judgement_text(found, 60, False))
    assert all(len(line) <= 60 or "|" in line for line in lines)
    at = lines.index(" 1  bar 1, beat 3 &  fret 2 on the G string: Bb was heard, a")
    assert lines[at + 1] == " " * 21 + "half step too high"
    at = lines.index("to practice:")
    assert lines[at + 1 : at + 3] == [
        " 1. find the notes of bar 1 slowly, at 80 beats a minute,",
        "    until they are right three times in a row",
    ]


@pytest.mark.parametrize(("which", "by"), [(0, 12), (5, 12), (5, -12), (7, -12)])
def test_a_note_an_octave_off_is_wrong(which: int, by: float) -> None:
    """All its partials may be those of the right note, but not the other way around."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    tones[which] = moved(tones[which], by)
    found = judged(timeline, pluck(tones))
    assert differing(found) == {which: {DifferenceKind.NOTE}}
    (remark,) = find_remarks(timeline, best(found))
    assert remark.words.endswith(f"was heard, an octave too {'high' if by > 0 else 'low'}")


def test_a_missing_note_and_an_extra_one() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    last = tones[-1]
    extra = steady(last.start + 0.9, last.end, 52)
    tones = [*tones[:4], *tones[5:-1], last._replace(end=extra.start), extra]
    found = judged(timeline, pluck(tones))
    assert differing(found) == {4: {DifferenceKind.MISSING}}
    (one,) = best(found).extras
    assert one.at == pytest.approx(extra.start, abs=0.02)
    assert round(one.pitch) == 52
    assert best(found).score.extra == 1


@pytest.mark.parametrize(("n", "by"), [(3, -1), (5, 1), (8, -1)])
def test_an_extra_note_a_half_step_away_is_no_glide(n: int, by: int) -> None:
    """The window of the pitch lies across the step, so that the pitch seems to glide from one note to the other."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    note, middle = tones[n], (tones[n].start + tones[n].end) / 2
    extra = moved(note, by)._replace(start=middle)
    found = judged(timeline, pluck([*tones[:n], note._replace(end=middle), extra, *tones[n + 1 :]]))
    assert differing(found) == {}
    assert [round(one.at - middle, 2) for one in best(found).extras] == [0]


def test_a_thump_is_no_extra_note() -> None:
    """The guitar is knocked while its last note rings: a low tone, gone at once, and a rattle."""
    timeline = timeline_of(WALK)
    wave = pluck(take_of(timeline)[0])
    at = len(wave) - RATE
    time = np.arange(RATE // 4) / RATE
    knock = np.sin(2 * np.pi * 69 * time) * np.exp(-time * 30)
    knock[:200] += np.random.default_rng(3).standard_normal(200) * np.linspace(0.5, 0, 200)
    wave[at : at + len(knock)] += (0.5 * knock).astype(np.float32)
    assert best(judged(timeline, wave)).extras == ()


def test_an_extra_note_of_the_pitch_that_comes_next_is_not_that_note_too_early() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    early = tones[9].start - 0.17
    tones[8] = tones[8]._replace(end=early)
    tones.insert(9, steady(early, tones[9].start, 52))
    found = judged(timeline, pluck(tones))
    assert differing(found) == {}
    (one,) = best(found).extras
    assert one.at == pytest.approx(early, abs=0.02)


def test_a_note_that_an_extra_one_follows_at_once_is_still_right() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    middle = tones[4].start + 0.13
    tones.insert(5, steady(middle, tones[4].end, 52))
    tones[4] = tones[4]._replace(end=middle)
    found = judged(timeline, pluck(tones))
    assert differing(found) == {}
    assert [round(one.pitch) for one in best(found).extras] == [52]


@pytest.mark.parametrize("late", [-0.1, 0.09])
def test_a_note_out_of_time(late: float) -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    tones[6] = tones[6]._replace(start=tones[6].start + late)
    tones[5] = tones[5]._replace(end=min(tones[5].end, tones[6].start))
    found = judged(timeline, pluck(tones))
    assert differing(found) == {6: {DifferenceKind.LATE if late > 0 else DifferenceKind.EARLY}}
    assert note_at(found, 6).late == pytest.approx(late, abs=0.015)
    (remark,) = find_remarks(timeline, best(found))
    assert "ms late, about a" in remark.words if late > 0 else "ms early, about a" in remark.words


@pytest.mark.parametrize(("sound", "early", "ring"), [(4, 0.12, 0.0), (5, 0.16, -0.03), (10, 0.12, 0.02)])
def test_an_early_note_under_the_ring_of_the_one_before_is_early(sound: int, early: float, ring: float) -> None:
    """Its pitch comes out alone only when the other string stops, at about the time at which it should have been played."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    due = tones[sound].start
    tones[sound] = tones[sound]._replace(start=due - early)
    tones[sound - 1] = tones[sound - 1]._replace(end=due + ring)
    found = judged(timeline, pluck(tones))
    assert differing(found) == {sound: {DifferenceKind.EARLY}}
    assert note_at(found, sound).late == pytest.approx(-early, abs=0.025)
    assert not best(found).extras


def _with_bend(change: float, end: float = 1.0) -> Judgement:
    """The take of `BENDS` whose second bend goes so many semitones further, or less."""
    timeline = timeline_of(BENDS)
    tones = take_of(timeline)[0]
    index = next(n for n, t in enumerate(tones) if t.sound == 3)
    old = tones[index]
    tones[index] = old._replace(pitch=lambda t: 62 + (old.pitch(t) - 62) * (2 + change) / 2)
    return judged(timeline, pluck(tones))


def test_a_flat_bend_and_one_that_is_missing() -> None:
    flat = _with_bend(-0.6)
    assert differing(flat) == {3: {DifferenceKind.INTONATION}}
    assert note_at(flat, 3).bend_reached == pytest.approx(1.4, abs=0.08)
    (remark,) = find_remarks(flat.timeline, best(flat))
    assert (
        remark.words.startswith("the bend at fret 7 on the G string is a half step short") or "short, 6" in remark.words
    )
    assert differing(_with_bend(-2.0)) == {3: {DifferenceKind.BEND}}
    assert differing(_with_bend(0.1)) == {}


def test_a_bend_that_is_not_released() -> None:
    timeline = timeline_of(BENDS)
    tones = take_of(timeline)[0]
    old = tones[0]
    tones[0] = old._replace(pitch=lambda t: np.maximum.accumulate(old.pitch(t)))
    found = judged(timeline, pluck(tones))
    assert differing(found) == {0: {DifferenceKind.INTONATION}}
    (remark,) = find_remarks(timeline, best(found))
    assert "is not released" in remark.words


def test_vibrato_that_is_missing() -> None:
    timeline = timeline_of(BENDS)
    tones = [t._replace(pitch=lambda s: np.full(len(s), 67.0)) if t.sound == 4 else t for t in take_of(timeline)[0]]
    assert differing(judged(timeline, pluck(tones))) == {4: {DifferenceKind.TECHNIQUE}}


SLURS = 'key A minor\ntempo 100\nstep 1/8\nlick "Slurs"\n| A0 h3 D0 h2 G0 h2 B1 G2 | G0 h2 D0 h2 A0--- ||\n'


def _slurred(ring: float, left_out: int = -1) -> Judgement:
    """The take of `SLURS` with hammered notes that are 16 dB softer, while what was picked before rings on for so many seconds."""
    timeline = timeline_of(SLURS)
    soft = {s.index for s in timeline.sounds if s.source is not None}
    tones = [t for t in take_of(timeline)[0] if t.sound != left_out]
    picked = [t._replace(end=t.end + ring) for t in tones if t.sound not in soft]
    hammered = [t._replace(picked=False) for t in tones if t.sound in soft]
    seconds = tones[-1].end + ring + 0.3
    return judged(timeline, pluck(picked, seconds) + pluck(hammered, seconds, 0.05))


def test_a_soft_hammered_note_under_a_ringing_one_is_there() -> None:
    assert differing(_slurred(0.4)) == {}


def test_a_hammered_note_that_is_left_out_is_missing() -> None:
    assert differing(_slurred(0.4, 3)) == {3: {DifferenceKind.MISSING}}


UNISON = 'key A minor\ntempo 80\nstep 1/4\nlick "Unison"\n| B8^full&e5- e8 e5 | B8 G7 G5 G7 ||\n'


def test_a_note_that_is_bent_to_the_pitch_of_another_cannot_be_told() -> None:
    timeline = timeline_of(UNISON)
    found = judged(timeline, pluck(take_of(timeline)[0]))
    assert differing(found) == {}
    untold = {n.sound.index: n.why for n in best(found).notes if n.verdict is NoteVerdict.UNTOLD}
    assert untold == {0: "bent notes of a double stop", 1: "notes of a double stop that share their overtones"}


def test_a_lick_of_harmonics_alone_is_judged() -> None:
    timeline = timeline_of(
        'key E minor\ntempo 90\nstep 1/4\nlick "Bells"\n| D<12> G<12> B<12> e<12> | B<7> G<7> D<7>- ||\n'
    )
    tones = take_of(timeline)[0]
    assert differing(judged(timeline, pluck(tones))) == {}
    tones[2] = moved(tones[2], -2)
    assert differing(judged(timeline, pluck(tones))) == {2: {DifferenceKind.NOTE}}


def test_a_slide_takes_its_time() -> None:
    timeline = timeline_of(
        'key A minor\ntempo 90\nstep 1/8\nlick "Slide"\n| D5 D7 G5 /7- G5 D7 D5 | A7 D5 D7 G5 G7--- ||\n'
    )
    (slid,) = (s.index for s in timeline.sounds if s.source is not None)
    tones = [t._replace(pitch=lambda x: np.full(len(x), 62.0)) if t.sound == slid else t for t in take_of(timeline)[0]]
    for early, said in ((0.12, False), (0.2, True)):
        whole = [moved(t, 0, -early) if t.sound == slid else t for t in tones]
        whole = [t._replace(end=t.end - early) if t.sound == slid - 1 else t for t in whole]
        assert (differing(judged(timeline, pluck(whole))) == {slid: {DifferenceKind.EARLY}}) == said


@pytest.mark.parametrize("music", ["D2- G0&B1&e0-", "D2- Gx B1 | A0 A3 D0 D2"], ids=["chord", "dead note"])
def test_an_extra_note_well_before_what_is_not_judged_is_told(music: str) -> None:
    """A chord is not judged, nor is a dead note, and no note of it is extra."""
    timeline = timeline_of(f'tempo 100\nstep 1/4\nlick "Close"\n| A0 A3 D0 D2 | {music} ||\n')
    tones = take_of(timeline)[0]
    middle = tones[4].start + 0.6
    assert best(judged(timeline, pluck(tones))).extras == ()
    tones.insert(5, steady(middle, tones[4].end, 59))
    tones[4] = tones[4]._replace(end=middle)
    found = judged(timeline, pluck(tones))
    assert differing(found) == {}
    assert [(round(one.at - middle, 2), round(one.pitch)) for one in best(found).extras] == [(0, 59)]


def test_a_soft_sound_beside_the_guitar_is_no_extra_note() -> None:
    """Somebody else's note, 26 dB softer, between two of the lick's; the same note as loud as the others is an extra one."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    last = tones[-1]
    other = steady(last.start + 0.7, last.end, 63, string=9)
    for level, extras in ((0.015, 0), (0.3, 1)):
        wave = pluck(tones)
        found = judged(timeline, wave + pluck([other], len(wave) / RATE, level)[: len(wave)])
        assert differing(found) == {}
        assert len(best(found).extras) == extras


def test_a_take_with_a_capo_and_false_starts_is_still_the_lick() -> None:
    timeline = timeline_of(WALK)
    tones = [moved(t, 2) for t in take_of(timeline)[0]]
    first = [moved(t, 2) for t in tones[:3]]
    later = first[-1].end + 0.8
    whole = [*first, *(moved(t, 0, later + (1.2 if t.sound >= 9 else 0)) for t in tones)]
    found = judged(timeline, pluck(whole))
    assert found.shift == 2
    assert differing(found) == {}


@pytest.mark.parametrize("higher", [0, 2])
def test_a_take_that_a_third_of_the_notes_are_left_out_of_is_still_the_lick(higher: int) -> None:
    timeline = timeline_of(WALK)
    tones = [moved(t, higher) for t in take_of(timeline)[0] if t.sound not in (2, 5, 8, 10)]
    found = judged(timeline, pluck(tones))
    assert found.shift == higher
    assert set(differing(found)) == {2, 5, 8, 10}


def test_a_take_with_a_capo_and_nearly_half_of_its_notes_wrong_is_still_the_lick() -> None:
    """All are in time, and the others where the capo puts them."""
    timeline = timeline_of(WALK)
    wrong = {0, 2, 4, 6, 8, 10}
    found = judged(timeline, pluck([moved(t, 3.0 if t.sound in wrong else 2.0) for t in take_of(timeline)[0]]))
    assert found.shift == 2
    assert set(differing(found)) == wrong


def test_a_lick_is_known_though_a_bar_is_skipped_with_a_capo_on() -> None:
    timeline = timeline_of(
        'key A minor\ntempo 110\nstep 1/8\nlick "Bars"\n'
        "| A0 A3 D0 D2 G0 G2 B1 G2 | e0 B3 e3 B1 e5 e3 B3 e0 | G0 D2 D0 A3 A0--- ||\n"
    )
    tones, bar = take_of(timeline)[0], 8 * 30 / 110
    kept = [moved(t, 2, -bar if t.sound > 15 else 0) for t in tones if not 8 <= t.sound <= 15]
    found = judged(timeline, pluck(kept))
    assert found.shift == 2
    assert {n for n, kinds in differing(found).items() if DifferenceKind.MISSING in kinds} == set(range(8, 16))


def test_a_lick_is_known_by_low_chords_that_are_not_judged() -> None:
    timeline = timeline_of(LOW)
    found = judged(timeline, pluck([moved(t, 1.0) for t in take_of(timeline)[0]]))
    assert found.shift == 1
    assert differing(found) == {}


@pytest.mark.slow
def test_a_slow_lick_is_known_under_a_voice() -> None:
    timeline = timeline_of(SLOW)
    wave = pluck(take_of(timeline)[0], level=0.1)
    assert differing(judged(timeline, wave)) == {}
    found = judged(timeline, wave + talk(len(wave) / RATE + 1, 0.006, seed=5)[: len(wave)])
    assert not found.refusal
    assert all(n.verdict is NoteVerdict.RIGHT for n in best(found).notes)


def test_a_long_note_is_followed_over_any_number_of_syllables() -> None:
    timeline = timeline_of(
        SLOW.replace("step 1/2", "step 1/1").replace("| B5 e5 | G5 e8 | B8 G7 | B6 e5 |", "| B5 | e5 | G5 | e8 | B8 |")
    )
    wave = pluck(take_of(timeline)[0], level=0.1)
    hearing = hear_recording(recorded(wave + talk(len(wave) / RATE + 1, 0.003)[: len(wave)]))
    groups = expected_groups(timeline, perform(timeline))
    (one,) = match_groups(hearing, groups, pitch_costs(hearing, groups, 0.0)).passes
    begun = [np.nan if b is None else hearing.starts[b] for b in one.begins]
    assert begun == pytest.approx([0.4, 4.4, 8.4, 12.4, 16.4], abs=0.02)
    assert np.diff([b for b in one.begins if b is not None]).max() > 22


def test_the_height_of_a_bend_is_not_that_of_a_voice() -> None:
    timeline = timeline_of(SLOW.replace("B5 e5 | G5 e8 | B8 G7 | B6", "B8^10 e5 | B8^10 e8 | G7^9 G7 | B8^10"))
    wave = pluck(take_of(timeline)[0], level=0.1)
    found = best(judged(timeline, wave + talk(len(wave) / RATE + 1, 0.006, seed=5)[: len(wave)]))
    bent = [note.bend_reached for note in found.notes if note.bend_wanted]
    assert bent == pytest.approx([2.0] * 4, abs=0.7)


def test_a_wrong_and_a_missing_note_of_a_double_stop() -> None:
    timeline = timeline_of(PAIRS)
    tones = take_of(timeline)[0]
    wrong = next(n for n, t in enumerate(tones) if t.sound == 2)
    tones[wrong] = moved(tones[wrong], 1.0)
    tones = [t for t in tones if t.sound != 9]
    found = judged(timeline, pluck(tones))
    assert {2: {DifferenceKind.NOTE}, 9: {DifferenceKind.MISSING}} == differing(found)


def test_a_phrase_begun_again_does_not_belong_to_a_dead_note() -> None:
    """Picks may follow a dead note, but not for seconds. The first note is wrong the second time."""
    timeline = timeline_of(WALK.replace("A3 D0", "Ax D0", 1))
    tones = take_of(timeline)[0]
    tones[1] = tones[1]._replace(end=tones[1].start + 0.03)
    first = [t for t in tones if t.sound < 4]
    again = [moved(t, 2.0 if t.sound == 0 else 0.0, first[-1].start + 1.1) for t in tones]
    found = judged(timeline, pluck([*first, *again]))
    assert differing(found) == {0: {DifferenceKind.NOTE}}
    assert len(best(found).again) == 1
    assert not best(found).pauses


def test_a_phrase_begun_again_and_a_pause_are_each_said_once() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    first = [t for t in tones if t.start < tones[5].start]
    gone = tones[5].start + 0.8
    again = [moved(t, 0, gone) for t in tones]
    again = [moved(t, 0, 0.7) if t.sound >= 9 else t for t in again]
    found = judged(timeline, pluck([*first, *again]))
    one = best(found)
    assert differing(found) == {}
    assert len(one.again) == 1
    assert [p.before.index for p in one.pauses] == [9]
    assert one.pauses[0].seconds == pytest.approx(0.7, abs=0.05)
    facts = "\n".join(judgement_text(found, 100, False))
    assert facts.count("begun again") == 1
    assert "a pause of 0.7 s, about a beat, before bar 2, beat 1 &" in facts
    assert "in time" not in facts
    assert "instead of beginning again" in facts


def _given_up(count: int, gone: float, talk: Sequence[Tone] = ()) -> Judgement:
    """A take of `WALK` that is given up after so many notes and begun again `gone` seconds after the next one was due, behind other sounds."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    before = max((t.end for t in talk), default=0.0)
    first = [moved(t, 0.0, before) for t in tones if t.start < tones[count].start]
    again = [moved(t, 0.0, before + tones[count].start + gone) for t in tones]
    return judged(timeline, pluck([*talk, *first, *again]))


@pytest.mark.parametrize(("count", "sounds"), [(4, 0), (5, 12), (9, 12)])
def test_a_phrase_begun_again_is_said_once_whatever_stands_before_it(count: int, sounds: int) -> None:
    """Other notes before the lick do not hide its false start, and are none themselves."""
    talk = [steady(0.3 + 0.21 * n, 0.4 + 0.21 * n, 66.5 + 3.7 * (n * 5 % 7)) for n in range(sounds)]
    found = _given_up(count, 0.6, talk)
    assert differing(found) == {}
    assert [sound.index for sound in best(found).again] == [count - 1]
    assert not best(found).pauses


@pytest.mark.parametrize("gone", [0.8, pytest.param(5.0, marks=pytest.mark.slow)])
def test_the_first_half_then_talk_then_the_whole_is_one_time_begun_again(gone: float) -> None:
    """Talk that follows the first half at once is not the rest of it."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    half, count = tones[8].start, round(gone / 0.21)
    talk = [steady(half + 0.3 + 0.21 * n, half + 0.42 + 0.21 * n, 47.5 + 3.7 * (n * 5 % 7)) for n in range(count)]
    again = [moved(t, 0.0, half + gone + 0.6) for t in tones]
    found = judged(timeline, pluck([*tones[:8], *talk, *again]))
    assert len(found.passes) == 1
    assert differing(found) == {}
    assert [sound.index for sound in best(found).again] == [7]
    assert not best(found).pauses


@pytest.mark.parametrize("count", [3, 5])
def test_a_phrase_begun_again_with_wrong_notes_is_not_a_pause_after_the_right_ones(count: int) -> None:
    """The first time is right where the second is wrong, but the second counts."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    again = [moved(t, 2.0 if t.sound < 2 else 0.0, tones[count].start + 0.4) for t in tones]
    found = judged(timeline, pluck([*tones[:count], *again]))
    assert differing(found) == {0: {DifferenceKind.NOTE}, 1: {DifferenceKind.NOTE}}
    assert [sound.index for sound in best(found).again] == [count - 1]
    assert not best(found).pauses


def test_a_phrase_begun_again_in_its_midst_keeps_its_beginning() -> None:
    """What was played on, up to where it was given up, lies as long after the beginning as that lasts, but is not that."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    again = [moved(t, 0.0, tones[11].start - tones[6].start + 0.3) for t in tones[6:]]
    found = judged(timeline, pluck([*tones[:11], *again]))
    assert differing(found) == {}
    assert [sound.index for sound in best(found).again] == [10]
    assert not best(found).pauses


def test_chords_that_are_begun_again_are_told_by_their_sound() -> None:
    """No single pitch comes out of them, but the second time sounds like the first, and what sounds before does not."""
    timeline = timeline_of(
        'tempo 100\nstep 1/8\nlick "Chords"\n| E3&A2&D0 E3&A2&D0 E0&A2&D2 E3&A2&D0 | A0 A3 D0 D2 G0 G2 B1 G2 ||\n'
    )
    talk = [steady(0.3 + 0.21 * n, 0.4 + 0.21 * n, 66.5 + 3.7 * (n * 5 % 7)) for n in range(8)]
    tones = [moved(t, 0.0, talk[-1].end) for t in take_of(timeline)[0]]
    stop = tones[9].start
    found = judged(timeline, pluck([*talk, *tones[:9], *(moved(t, 0.0, stop - talk[-1].end + 0.4) for t in tones)]))
    assert differing(found) == {}
    assert [sound.index for sound in best(found).again] == [6]


def test_sounds_before_a_take_are_no_phrase_begun_again() -> None:
    timeline = timeline_of(WALK)
    talk = [steady(0.3 + 0.24 * n, 0.45 + 0.24 * n, 47.5 + 2.6 * (n * 3 % 7)) for n in range(10)]
    found = judged(timeline, pluck([*talk, *(moved(t, 0.0, 3.1) for t in take_of(timeline)[0])]))
    assert differing(found) == {}
    assert not best(found).again


def _is_told_late(found: HeardPass, n: int, start: float, late: float) -> None:
    """Group `n` begins where it was played, and so many seconds late."""
    assert found.times.starts[n] == pytest.approx(start, abs=0.012)
    timing = judge_onsets(np.array([g.at for g in found.groups]), np.array(found.times.starts, float))
    assert times_told(found, timing)[n]
    assert timing.late[n] == pytest.approx(late, abs=0.02)


@pytest.mark.parametrize("late", [-0.12, 0.0, 0.12])
def test_a_repeated_note_that_no_stretch_begins_is_heard_where_the_string_is_struck(late: float) -> None:
    """Nothing of its pitch is new, and the attack may come early or late."""
    timeline = timeline_of('tempo 100\nstep 1/4\nlick "Again"\n| E3 E3 E3 E3 | A0 A2 A3 D0 ||\n')
    tones, performance = take_of(timeline)
    tones[1] = moved(tones[1], 0.0, late)
    tones[0] = tones[0]._replace(end=tones[1].start)
    found = matched_pass(timeline, tones, performance, 1)
    _is_told_late(found, 1, tones[1].start, late)


@pytest.mark.parametrize("late", [-0.1, 0.1, 0.14])
def test_a_note_that_no_stretch_begins_is_told_to_be_early_or_late_where_its_partials_rise(late: float) -> None:
    timeline = timeline_of(WALK)
    tones, performance = take_of(timeline)
    tones[4] = moved(tones[4], 0.0, late)
    tones[3] = tones[3]._replace(end=tones[4].start)
    found = matched_pass(timeline, tones, performance, 4)
    _is_told_late(found, 4, tones[4].start, late)


def test_a_note_as_soft_as_the_room_is_told_to_be_late_where_all_bands_rise() -> None:
    """28 decibels softer than the others and under the ring of the one before it, it has no clear attack, but its partials rise and all bands do."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    tones[6] = moved(tones[6], 0.0, 0.1)
    tones[5] = tones[5]._replace(end=tones[6].start + 0.05)
    seconds = tones[-1].end + 0.5
    others = pluck([tone for tone in tones if tone is not tones[6]], seconds)
    found = judged(timeline, others + 0.04 * pluck([tones[6]], seconds))
    assert differing(found) == {6: {DifferenceKind.LATE}}


def test_the_stretch_that_a_note_without_one_begins_with_is_a_free_one() -> None:
    timeline = timeline_of(WALK)
    tones, performance = take_of(timeline)
    found = matched_pass(timeline, tones, performance, 4)
    assert found.times.begins[4] is None
    own = found.stretch_at(4, min(found.hearing.starts, key=lambda at: abs(at - tones[4].start)))
    assert own is not None
    assert found.hearing.starts[own] == pytest.approx(tones[4].start, abs=0.01)
    assert found.stretch_at(4, tones[4].start + 0.05) is None
    assert found.stretch_at(4, float(found.hearing.starts[found.times.begins[3] or 0])) is None
    assert found.stretch_at(3, tones[4].start) == found.times.begins[3]


def test_a_repeated_note_that_is_left_out_is_not_heard_in_the_ring_of_the_one_before() -> None:
    timeline = timeline_of('tempo 100\nstep 1/4\nlick "Again"\n| E3 E3 E3 E3 | A0 A2 A3 D0 ||\n')
    tones, performance = take_of(timeline)
    tones[0] = tones[0]._replace(end=tones[1].end)
    found = matched_pass(timeline, [tones[0], *tones[2:]], performance, 1)
    assert found.times.starts[1] is None


def _overdriven(left_out: int = -1, late: tuple[int, float] = (0, 0.0)) -> Judgement:
    """What is heard of repeated notes that are struck softly through an overdriven amplifier; one may be left out, its string rings on, and one late."""
    timeline = timeline_of(
        'tempo 100\nstep 1/8\nlick "Again"\n| A0 E3 E3 E3 E3 E3 A0 A2 | B8 B8 B8 B8 A3 D0 D2 G0 ||\n'
    )
    tones = [t._replace(picked=t.sound not in (2, 3, 4, 5, 9, 10, 11)) for t in take_of(timeline)[0]]
    n, seconds = late
    if seconds:
        tones[n] = tones[n]._replace(start=tones[n].start + seconds)
        tones[n - 1] = tones[n - 1]._replace(end=tones[n].start)
    if left_out >= 0:
        tones[left_out - 1] = tones[left_out - 1]._replace(end=tones[left_out].end)
        del tones[left_out]
    return judged(timeline, (0.3 * np.tanh(30 * pluck(tones))).astype(np.float32))


def _heard_verdicts(found: Judgement) -> dict[int, NoteVerdict]:
    """The verdicts on the notes that were heard to begin."""
    return {n.sound.index: n.verdict for n in best(found).notes if n.onset is not None}


def test_repeated_notes_are_heard_where_an_amplifier_levels_them() -> None:
    """Neither the level nor the high band tells that a string is struck again."""
    assert _heard_verdicts(_overdriven()) == dict.fromkeys(range(16), NoteVerdict.RIGHT)
    assert set(range(16)) - set(_heard_verdicts(_overdriven(10))) == {10}


@pytest.mark.parametrize(("n", "late"), [(10, 0.08), (11, -0.1), pytest.param(11, 0.08, marks=pytest.mark.slow)])
def test_a_repeated_note_is_told_to_be_late_where_an_amplifier_levels_it(n: int, late: float) -> None:
    """No pitch rises there, and the high band hardly: that all bands rise together tells that the string is struck."""
    found = _overdriven(late=(n, late))
    assert differing(found) == {n: {DifferenceKind.LATE if late > 0 else DifferenceKind.EARLY}}
    assert note_at(found, n).late == pytest.approx(late, abs=0.015)


@pytest.mark.parametrize("again", [False, True])
def test_one_more_stroke_is_heard_where_an_amplifier_levels_it(again: bool) -> None:
    """The last note is struck twice: its partials rise by little, but all bands rise together."""
    timeline = timeline_of(WALK.replace("tempo 100", "tempo 80"))
    *tones, last = take_of(timeline)[0]
    middle = (last.start + last.end) / 2
    played = [last._replace(end=middle), last._replace(start=middle)] if again else [last]
    found = judged(timeline, (0.3 * np.tanh(30 * pluck([*tones, *played]))).astype(np.float32))
    assert differing(found) == {}
    assert [round(one.at - middle, 2) for one in best(found).extras] == [0] * again


@pytest.mark.parametrize(("frets", "told"), [("E3 E3 E3 E3", False), ("E0 E3 E1 E5", True)])
def test_a_hesitation_of_one_note_is_not_told_where_a_note_of_the_same_pitch_may_be_lost(
    frets: str, told: bool
) -> None:
    timeline = timeline_of(f'tempo 120\nstep 1/8\nlick "Again"\n| A0 A2 A3 {frets} D0 ||\n')
    tones, performance = take_of(timeline)
    tones = [moved(t, 0.0, 0.25) if t.sound >= 4 else t for t in tones]
    found = matched_pass(timeline, tones, performance, -1)
    timing = judge_onsets(np.array([g.at for g in found.groups]), np.array(found.times.starts, float))
    assert timing.late[4] == pytest.approx(0.25, abs=0.02)
    assert times_told(found, timing)[4] == told


def test_what_holds_for_a_whole_recording_is_measured_once_for_all_its_passes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half an hour of practice may have a thousand passes; time must not grow with its square."""
    looked: list[float] = []
    monkeypatch.setattr(heard_pass, "attack_sharpness", lambda features, at: looked.append(at) or 3.0)
    timeline = timeline_of(WALK)
    tones, performance = take_of(timeline)
    found = matched_pass(timeline, tones, performance)
    looked.clear()
    assert found.unstruck_sharpness() == 3.0
    assert len(looked) > 12
    looked.clear()
    assert replace(found, tempo=0.9).unstruck_sharpness() == 3.0
    assert not looked


def test_each_time_through_is_judged_and_the_best_is_named() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    length = tones[-1].end + 0.6
    passes = []
    for n, by in enumerate((1.0, 0.0, 2.0)):
        passes += [moved(moved(t, by if t.sound == 3 else 0.0), 0, n * length) for t in tones]
    found = judged(timeline, pluck(passes))
    assert [p.score.of_100 == 100 for p in found.passes] == [False, True, False]
    assert found.best == 1
    assert "played 3 times: this is time 2, the best" in "\n".join(judgement_text(found, 100, False))


def test_a_time_that_breaks_off_is_not_better_than_a_whole_one() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    length = tones[-1].end + 0.6
    whole = [moved(t, 1.0 if t.sound == 3 else 0.0) for t in tones]
    broken = [moved(t, 0, length) for t in tones if t.sound < 8]
    found = judged(timeline, pluck([*whole, *broken], length + tones[-1].end))
    assert [p.ends_at is None for p in found.passes] == [True, False]
    assert found.best == 0
    assert "played 2 times: this is time 1, the best" in "\n".join(judgement_text(found, 100, False))


@pytest.mark.parametrize("left", [pytest.param(n, marks=[] if n % 4 == 0 else pytest.mark.slow) for n in range(13)])
def test_each_note_that_is_left_out_is_missing(left: int) -> None:
    """The note before ends at once where the next one should begin, and silence follows."""
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    wave = pluck([tone for tone in tones if tone.sound != left], tones[-1].end + 0.5)
    assert differing(judged(timeline, wave)) == {left: {DifferenceKind.MISSING}}


JUMP = 'key A minor\ntempo 80\nlick "Jump"\n| e5 e8 B8^10 -r p5 G7~-- | D7 G5h7 e5&B8 A5/10 A12 - | e8 e5 B8 e5 B8 B5 G7 - ||\n'


def test_notes_that_were_cut_out_of_a_recording_are_not_right() -> None:
    """What begins after the cut is not taken for the notes that have no room before it."""
    timeline = timeline_of(JUMP)
    tones = take_of(timeline)[0]
    gone = {s.index for s in timeline.sounds if s.string in (3, 4)} - {timeline.sounds[-1].index}
    first, chord = (min(t.start for t in tones if t.sound >= n) for n in (min(gone), max(gone) + 1))
    kept = [t if t.start < first else moved(t, 0.0, first - chord) for t in tones if t.sound not in gone]
    right = {n.sound.index for n in best(judged(timeline, pluck(kept))).notes if n.verdict is NoteVerdict.RIGHT}
    assert not right & gone
    assert len(right) == len(timeline.sounds) - len(gone)


def test_a_pass_that_is_not_like_the_lick_is_none() -> None:
    """Bar 2 is no second time of bar 1."""
    from lickwright.timeline.excerpt import cut_bars

    timeline = timeline_of(WALK)
    part, _ = cut_bars(timeline, 1, 1)
    found = judged(part, pluck(take_of(timeline)[0]))
    assert differing(found) == {}
    assert len(found.passes) == 1


def test_a_hole_in_a_take_is_said_and_the_rest_is_judged() -> None:
    timeline = timeline_of(WALK)
    found = judged(timeline, pluck([t for t in take_of(timeline)[0] if not 4 <= t.sound < 8]))
    assert differing(found) == {n: {DifferenceKind.MISSING} for n in range(4, 8)}
    (remark,) = find_remarks(timeline, best(found))
    assert remark.words == "4 notes missing, from open G string to fret 2 on the G string at beat 4 &"
    assert best(found).is_through


def test_bars_that_are_skipped_are_said_once_and_leave_no_praise_for_time() -> None:
    text = WALK.replace("||", "| B1 G2 G0 D2 D0 A3 A0 E3 | A0--- D2--- ||")
    timeline = timeline_of(text)
    tones = take_of(timeline)[0]
    gone, after = (min(t.start for t in tones if timeline.sounds[t.sound].bar == bar) for bar in (1, 2))
    played = [moved(t, 0.0, gone - after) if t.start >= after else t for t in tones]
    found = judged(timeline, pluck([t for t in played if timeline.sounds[t.sound].bar != 1]))
    assert {n for n, kinds in differing(found).items() if kinds == {DifferenceKind.MISSING}} == set(range(8, 13))
    assert [remark.words for remark in find_remarks(timeline, best(found))] == ["all of bar 2 is missing: 5 notes"]
    said = "\n".join(judgement_text(found, 100, False))
    assert "it goes from bar 1, beat 4 & straight to bar 3, beat 1: 2.4 s, about 4 beats, are left out" in said.replace(
        "\n    ", " "
    )
    assert "steady" not in said
    assert "count aloud on the way to bar 3" in said


def test_a_recording_that_breaks_off_is_judged_as_far_as_it_goes() -> None:
    timeline = timeline_of(WALK)
    found = judged(timeline, pluck(take_of(timeline)[0][:8]))
    assert differing(found) == {}
    assert best(found).ends_at is not None
    assert best(found).ends_at.index == 7
    assert [n.verdict for n in best(found).notes[8:]] == [NoteVerdict.UNTOLD] * 5


OTHERS = [
    'key C major\ntempo 96\nstep 1/8\nlick "Other"\n| B1 B5 e1 e3 e5 e8 e5 e3 | e1 B5 B3 B1 G2--- ||\n',
    'key E major\ntempo 120\nstep 1/8\nlick "Other"\n| E0 E4 A2 D1 D4 G1 G4 B0 | B5 G4 G1 D4 D1 A2 E4 E0 ||\n',
    'key A minor\ntempo 80\nstep 1/8\nlick "Other"\n| G7 G5 D7 D5 A7 A5 A3 A0 | D5- D7- G5- G7- ||\n',
]


@pytest.mark.parametrize("other", [pytest.param(OTHERS[0], marks=pytest.mark.slow), *OTHERS[1:]])
def test_another_lick_is_never_judged(other: str) -> None:
    found = judged(timeline_of(WALK), pluck(take_of(timeline_of(other))[0]))
    assert found.refusal == UNLIKE
    assert found.passes == ()
    assert "score" not in "\n".join(judgement_text(found, 80, False))


def test_what_is_played_between_two_passes_takes_neither_away() -> None:
    """However much it is, as where a student talks or tries something: here thirty notes at random."""
    timeline = timeline_of(WALK)
    first, _ = take_of(timeline)
    random = np.random.default_rng(8)
    at = first[-1].end + 0.5 + np.cumsum(random.uniform(0.1, 0.3, 30))
    between = [steady(float(t), float(t) + 0.2, float(random.uniform(45, 75))) for t in at]
    second, _ = take_of(timeline, later=float(at[-1]) + 1.0)
    found = judged(timeline, pluck([*first, *between, *second]))
    assert [one.score.of_100 for one in found.passes] == [100, 100]
    assert [round(one.start, 1) for one in found.passes] == [0.4, round(float(at[-1]) + 1.0, 1)]


@pytest.mark.parametrize("text", [WALK, TRIPLETS], ids=["walk", "triplets"])
def test_drums_in_the_rhythm_of_a_lick_are_not_the_lick(text: str) -> None:
    """A struck skin has something at every partial of every note, and begins when it should."""
    timeline = timeline_of(text)
    wave, random = _noise(9.0) * 0.02, np.random.default_rng(3)
    for note in perform(timeline).notes:
        count = round(0.3 * RATE)
        first = round((0.5 + note.start) * RATE)
        stroke = random.standard_normal(count) * np.exp(-np.arange(count) / (0.07 * RATE))
        wave[first : first + count] += (0.2 * stroke).astype(np.float32)
    assert judged(timeline, wave).refusal == UNLIKE


def _noise(seconds: float) -> Samples:
    return (0.1 * np.random.default_rng(1).standard_normal(round(seconds * RATE))).astype(np.float32)


@pytest.mark.parametrize(
    "wave",
    [
        np.zeros(2 * RATE, np.float32),
        np.full(2 * RATE, 0.7, np.float32),
        _noise(2.0),
        (0.3 * np.sin(2 * np.pi * 50 * np.arange(2 * RATE) / RATE)).astype(np.float32),
        _noise(0.05),
        np.zeros(0, np.float32),
    ],
    ids=["silence", "a constant", "noise", "hum", "50 ms", "nothing"],
)
def test_what_is_no_music_is_not_judged(wave: Samples) -> None:
    found = judged(timeline_of(WALK), wave)
    assert found.refusal
    assert not found.passes


def test_a_clipped_recording_is_still_heard() -> None:
    timeline = timeline_of(WALK)
    wave = np.clip(6 * pluck(take_of(timeline)[0]), -1, 1).astype(np.float32)
    assert differing(judged(timeline, wave)) == {}


def test_what_the_ear_cannot_tell_is_named_and_costs_nothing() -> None:
    timeline = timeline_of('key A minor\nlick "Chords"\n| A0&D2&G2- G2 G0 D2 Dx A3 A0 ||\n')
    found = judged(timeline, pluck(take_of(timeline)[0]))
    assert differing(found) == {}
    assert set(found.passed_over) == {"chords of three notes and more", "dead notes and rakes"}
    assert "not judged: chords of three notes and more (3)" in "\n".join(judgement_text(found, 400, False))


def test_a_lick_without_a_note_to_judge_is_refused() -> None:
    timeline = timeline_of('lick "Thuds"\n| Ax Ax Dx Dx Gx Gx Bx Bx ||\n')
    found = judged(timeline, pluck([steady(0.3, 1.0, 50)]))
    assert found.refusal is not None
    assert "no note in this lick that can be judged by ear" in found.refusal.words


def test_praise_is_earned_and_practice_comes_with_bars_and_a_tempo() -> None:
    timeline = timeline_of(WALK)
    tones = take_of(timeline)[0]
    right = right_take(WALK)
    assert praise_words(right, []) == "every note that can be judged is right, in time and in tune"
    tones[2], tones[5] = moved(tones[2], 2.0), moved(tones[5], -2.0)
    wrong = judged(timeline, pluck(tones))
    remarks = find_remarks(timeline, best(wrong))
    assert praise_words(wrong, remarks) != praise_words(right, [])
    first = practice_advice(wrong, remarks)[0].words
    assert "bar 1" in first
    assert "beats a minute" in first


SOUND = timeline_of(WALK).sounds[0]
_PAUSED = (HeardPause(3.0, 0.8, SOUND),)
_RIGHT = "every note that can be judged is right"


@pytest.mark.parametrize(
    ("changes", "tuning", "about", "praise"),
    [
        ({}, 0.0, (), f"{_RIGHT}, in time and in tune"),
        ({}, 0.12, (), f"{_RIGHT}, in time"),
        ({"pauses": _PAUSED}, 0.0, (), f"{_RIGHT}, in tune"),
        ({"skips": _PAUSED}, 0.12, (), _RIGHT),
        ({"again": (SOUND,)}, 0.0, (), f"{_RIGHT}, in tune"),
        ({"drift": -0.07}, 0.0, (), f"{_RIGHT}, in tune"),
        ({"ends_at": SOUND}, 0.0, (), "every note that you played and that can be judged is right, in tune"),
        ({}, 0.0, ("time",), "all notes are the right ones"),
        ({"ends_at": SOUND}, 0.0, ("time",), "all notes that you played are the right ones"),
        ({}, 0.0, ("note",), "your time is steady: half of the notes or more are within 25 ms"),
        ({"pauses": _PAUSED}, 0.0, ("note",), "bar 2 is just right"),
        ({"skips": _PAUSED}, 0.0, ("note",), "bar 2 is just right"),
        ({"again": (SOUND,)}, 0.0, ("note",), "bar 2 is just right"),
        ({"ends_at": SOUND}, 0.0, ("note",), "bar 2 is just right"),
        ({"drift": 0.07}, 0.0, ("note",), "bar 2 is just right"),
        ({}, 0.0, ("note", "time"), "bar 2 is just right"),
    ],
)
def test_each_praise_is_earned(changes: dict[str, object], tuning: float, about: Sequence[str], praise: str) -> None:
    right = right_take(WALK)
    one = replace(best(right), **changes)
    judgement = replace(right, tuning=tuning, passes=(one,))
    assert praise_words(judgement, [_remark(right, DifferenceKind.NOTE, name) for name in about]) == praise


def test_bends_are_praised_only_where_all_come_and_go_as_written() -> None:
    right = right_take(BENDS)
    wrong = [_remark(right, DifferenceKind.NOTE, "note")]
    assert praise_words(right, wrong) == "both bends reach their pitch"
    for kind, name in ((DifferenceKind.LATE, "bend"), (DifferenceKind.INTONATION, "release")):
        assert "bends" not in praise_words(right, [*wrong, _remark(right, kind, name)])


def _remark(judgement: Judgement, kind: DifferenceKind, about: str, bar: int = 1) -> Remark:
    return Remark(kind, ScorePosition(bar, "1"), 0, best(judgement).notes[0].sound, "", about, 0.0)


@pytest.mark.parametrize(
    ("kind", "about", "words"),
    [
        (DifferenceKind.NOTE, "note", "find the notes of bar 1 slowly, at 80 beats a minute, until"),
        (DifferenceKind.EXTRA, "note", "play only the written notes in bar 1 and keep the other strings quiet, at 80 beats a minute"),
        (DifferenceKind.LATE, "time", "count bar 1 aloud, then play along with a click at 80 beats a minute"),
        (DifferenceKind.BEND, "bend", "in bar 1, play the fret that the bend should reach, then bend to that pitch, at 80 beats a minute"),
        (DifferenceKind.LATE, "bend", "start the bend in bar 1 sooner and be at its pitch on the count"),
        (DifferenceKind.INTONATION, "release", "let the bend all the way down in bar 1, in time with a click at 80 beats a minute"),
        (DifferenceKind.TECHNIQUE, "vibrato", "hold the notes with vibrato in bar 1 and move the pitch up and back evenly"),
    ],
)  # fmt: skip
def test_each_mistake_has_its_own_advice(kind: DifferenceKind, about: str, words: str) -> None:
    right = right_take(WALK)
    first, *_ = practice_advice(right, [_remark(right, kind, about)])
    assert first.words.startswith(words)
    assert (first.bars, first.bpm) == (((1, 1),), 80)


def _words(steps: Sequence[PracticeStep]) -> list[str]:
    return [step.words for step in steps]


def test_what_comes_next_follows_the_tempo_that_was_played() -> None:
    """Slower than a slow take, up the ladder from a clean one, and past its top something else."""
    right = right_take(WALK)
    note = [_remark(right, DifferenceKind.NOTE, "note")] * 2

    def played(bpm: float) -> Judgement:
        return replace(right, passes=(replace(best(right), pace=100 / bpm),))

    assert "at 32 beats a minute" in practice_advice(played(40), note)[0].words  # below the ladder, which begins at 60
    assert "at 60 beats a minute" in practice_advice(played(80), note)[0].words
    assert _words(practice_advice(played(60), [])) == ["climb: the next tempo is 65 beats a minute"]
    assert _words(practice_advice(played(100), [])) == ["it is ready: play it from memory, then in another key"]


def test_no_praise_where_nothing_is_right_in_any_bar() -> None:
    timeline = timeline_of(WALK)
    tones = [moved(t, 1.0) if t.sound in (5, 10) else t for t in take_of(timeline)[0]]
    found = judged(timeline, pluck(tones))
    remarks = find_remarks(timeline, best(found))
    assert {remark.place.bar for remark in remarks} == {1, 2}
    assert "bar" not in praise_words(found, remarks)


def test_the_excerpt_of_a_lick_is_judged_alone() -> None:
    timeline = timeline_of(WALK)
    from lickwright.timeline.excerpt import cut_bars

    part, _ = cut_bars(timeline, 2, 2)
    found = judged(part, pluck(take_of(part)[0]))
    assert differing(found) == {}
    assert len(best(found).notes) == 5
