"""Bends, releases, vibrato and double stops as students play them: each mistake in its own words, and no false word about what is fair."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from lickwright.compare.model import DifferenceKind
from lickwright.listen.advice import practice_advice
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.remarks import find_remarks
from plucked import RATE, Samples, Tone, judged, pluck, take_of, timeline_of

BENT = (
    'key A minor\ntempo 120\nstep 1/8\nlick "Up and down"\n'
    "| G7^9--- -r--- | G7^^9--- D7--- | B8^10------- | G7~~------- | D7- G5- B5- G7- ||\n"
)
COVERED = 'key G major\ntempo 84\nstep 1/8\nlick "Held"\n| G14^16 G-&B15 G-&e15- G-r&B15 B17 e15- | G14 B15 G16 B17 G14--- ||\n'
PAIRS = 'key A minor\ntempo 120\nstep 1/4\nlick "Pairs"\n| D7&B6 D5&B5 D9&B8 D7&B6 | D5&B5 D7&B6 D9&B8 D5&B5 ||\n'
Times = np.ndarray
RELEASED, PRE_BENT, BENT_UP, SHAKEN = 0, 1, 3, 4  # sounds


def best(judgement: Judgement) -> JudgedPass:
    assert not judgement.refusal, judgement.refusal
    return judgement.passes[judgement.best]


def played(sound: int, offsets: Callable[[Times], Times], text: str = BENT, tempo: float = 1.0) -> Judgement:
    """The take of a lick in which the pitch of one sound, in semitones above its fret, goes by seconds from its beginning."""
    timeline = timeline_of(text)
    tones, performance = take_of(timeline, tempo)
    fret = next(event.pitch for event in performance.notes if event.sound == sound)

    def bent(tone: Tone) -> Tone:
        return tone._replace(pitch=lambda t: fret + offsets(t - tone.start))

    return judged(timeline, pluck([bent(tone) if tone.sound == sound else tone for tone in tones]))


def ramp(*points: tuple[float, float]) -> Callable[[Times], Times]:
    """A pitch that goes in straight lines from one point, in seconds and semitones, to the next."""
    return lambda t: np.interp(t, *zip(*points, strict=True))


def differing(judgement: Judgement) -> dict[int, set[DifferenceKind]]:
    assert not best(judgement).extras
    return {n.sound.index: n.kinds for n in best(judgement).notes if n.kinds}


def words(judgement: Judgement) -> list[str]:
    return [remark.words for remark in find_remarks(judgement.timeline, best(judgement))]


def advice(judgement: Judgement) -> str:
    return practice_advice(judgement, find_remarks(judgement.timeline, best(judgement)))[0].words


def note_of(judgement: Judgement, sound: int) -> HeardNote:
    return next(n for n in best(judgement).notes if n.sound.index == sound)


def test_as_written_nothing_is_said() -> None:
    timeline = timeline_of(BENT)
    assert differing(judged(timeline, pluck(take_of(timeline)[0]))) == {}


def test_a_pre_bend_that_is_bent_after_the_pick() -> None:
    found = played(PRE_BENT, ramp((0.06, 0), (0.2, 2)))
    assert differing(found) == {PRE_BENT: {DifferenceKind.TECHNIQUE}}
    assert words(found) == ["the bend at fret 7 on the G string comes after the pick: bend first, then pick"]
    assert "bend without a sound, then pick" in advice(found)


@pytest.mark.parametrize(("height", "said"), [(1.1, "is a half step short, "), (0.0, "is missing: it should go up ")])
def test_a_pre_bend_that_is_flat_or_missing_is_only_that(height: float, said: str) -> None:
    found = played(PRE_BENT, ramp((0, height)))
    assert differing(found) == {PRE_BENT: {DifferenceKind.BEND}}
    assert words(found)[0].startswith(f"the bend at fret 7 on the G string {said}")


@pytest.mark.parametrize(("late", "said"), [(0.05, False), (0.18, True)])
def test_a_release_that_comes_late(late: float, said: bool) -> None:
    fall = 1.0 + late
    found = played(RELEASED, ramp((0.03, 0), (0.2, 2), (fall, 2), (fall + 0.2, 0)))
    assert differing(found) == ({RELEASED: {DifferenceKind.LATE}} if said else {})
    assert [one.startswith("the release at fret 7 on the G string is ") for one in words(found)] == [True] * said
    if said:
        assert note_of(found, RELEASED).release_late == pytest.approx(late, abs=0.05)
        assert "let the bend down in bar 1 on the count" in advice(found)


@pytest.mark.parametrize(
    ("end", "said"), [(0, set()), (2, {DifferenceKind.INTONATION})], ids=["comes down", "stays up"]
)
def test_a_release_that_other_strings_sound_over(end: float, said: set[DifferenceKind]) -> None:
    """The pitch cannot be followed to the release, since three notes on other strings begin before it."""
    found = played(0, ramp((0.0, 0), (0.2, 2), (1.43, 2), (1.64, end)), COVERED)
    assert differing(found) == ({0: said} if said else {})
    assert note_of(found, 0).release_off == end


def test_a_bend_that_overshoots_and_comes_back() -> None:
    found = played(BENT_UP, ramp((0.03, 0), (0.2, 3), (0.34, 3), (0.42, 2)))
    assert differing(found) == {BENT_UP: {DifferenceKind.BEND}}
    (said,) = words(found)
    assert said.startswith("the bend at fret 8 on the B string goes a half step too far and then comes back, ")


@pytest.mark.parametrize(
    ("late", "takes", "said"),
    [
        (0.0, 0.40, False),
        (0.105, 0.25, True),
        pytest.param(0.0, 0.25, False, marks=pytest.mark.slow),
        pytest.param(0.15, 0.40, True, marks=pytest.mark.slow),
    ],
)
def test_a_bend_of_a_slow_take_is_late_by_how_quickly_the_finger_goes(late: float, takes: float, said: bool) -> None:
    """At 60 % of the tempo a player may bend as quickly as at the written one, or as much more slowly."""
    text = 'key A minor\ntempo 60\nstep 1/8\nlick "Slow"\n| B8^10-- B5 G7 G5 D7 | B5 G7 G5 B5 G7--- ||\n'
    found = played(0, ramp((late, 0), (late + takes, 2)), text, 0.6)
    assert differing(found) == ({0: {DifferenceKind.LATE}} if said else {})
    assert note_of(found, 0).bend_late == pytest.approx(late, abs=0.035)


def test_a_bend_that_goes_on_up_a_little_early_is_not_sharp() -> None:
    """The first of two steps is heard until the second is due, not into it."""
    text = (
        'key A minor\ntempo 90\nstep 1/8\nlick "Steps"\n| B8^9- -^10- -r- G7- | D7- G5- B5- G7- | B8- G7- G5- D7- ||\n'
    )
    found = played(0, ramp((0.0, 0), (0.25, 1), (0.62, 1), (0.87, 2), (1.33, 2), (1.55, 0)), text)
    assert differing(found) == {}
    assert note_of(found, 0).bend_reached == pytest.approx(note_of(found, 0).bend_wanted, abs=0.15)


def test_a_bend_that_goes_far_too_far_is_no_wrong_note() -> None:
    found = played(BENT_UP, ramp((0.03, 0), (0.2, 3.3)))
    assert note_of(found, BENT_UP).verdict is NoteVerdict.RIGHT
    assert differing(found) == {BENT_UP: {DifferenceKind.BEND}}
    assert "too far, 1" in words(found)[0]


def test_a_vibrato_that_is_wider_than_written_is_fair() -> None:
    found = played(SHAKEN, lambda t: 0.6 - 0.6 * np.cos(2 * np.pi * 5 * t))
    assert differing(found) == {}


def test_a_bend_on_its_way_is_no_note_too_many() -> None:
    """The partials of a slow bend rise where it arrives, as those of a new note do."""
    timeline = timeline_of(BENT)
    tones, performance = take_of(timeline)
    wave = pluck(tones)
    start = next(t.start for t in tones if t.sound == BENT_UP)
    random = np.random.default_rng(2)
    at = round((start + 0.14) * RATE)  # a finger squeaks on the string
    wave[at : at + 240] += 0.05 * random.standard_normal(240).astype(np.float32) * np.hanning(240).astype(np.float32)
    assert differing(judged(timeline, wave)) == {}


# --- slides ------------------------------------------------------------------------------------------------------------

SLIDES = 'key A minor\ntempo 84\nstep 1/8\nlick "Slides"\n| G5/7 - D7 G9\\7 - D7 | B5/8 - G7 D7 A7 D7 A5 | G7 D7 A5 D7 A7--- ||\n'
UP, DOWN = 1, 4  # sounds that are slid to


def slid(sound: int, semitones: float) -> Judgement:
    """The take of `SLIDES` in which one slide goes so many semitones farther up, of all its way."""
    timeline = timeline_of(SLIDES)
    tones, performance = take_of(timeline)
    (end,) = (event.pitch for event in performance.notes if event.sound == sound)
    (start,) = (event.pitch for event in performance.notes if event.sound == sound - 1)
    scale = (end + semitones - start) / (end - start)
    first, last = (next(tone for tone in tones if tone.sound == one) for one in (sound - 1, sound))

    def pitch(t: Times) -> Times:
        return start + scale * (np.where(t < last.start, first.pitch(t), last.pitch(t)) - start)

    one = first._replace(end=last.end, pitch=pitch)  # the string sounds on
    return judged(timeline, pluck([one, *(tone for tone in tones if tone not in (first, last))]))


@pytest.mark.parametrize(
    ("sound", "semitones", "said"),
    [
        (UP, 0, None),
        (UP, -1, "fret 7 on the G string: C# was heard, a half step too low"),
        pytest.param(UP, 1, "fret 7 on the G string: Eb was heard, a half step too high", marks=pytest.mark.slow),
        (DOWN, 1, "fret 7 on the G string: Eb was heard, a half step too high"),
    ],
)
def test_a_slide_that_stops_at_another_fret_is_wrong_and_not_missing(
    sound: int, semitones: float, said: str | None
) -> None:
    found = slid(sound, semitones)
    assert differing(found) == ({} if said is None else {sound: {DifferenceKind.NOTE}})
    assert words(found) == ([] if said is None else [said])


def test_a_slide_that_is_not_made_is_missing() -> None:
    assert note_of(slid(UP, -2), UP).verdict is NoteVerdict.MISSING


def test_slides_that_are_picked_instead_are_right() -> None:
    """How a note begins is not judged."""
    timeline = timeline_of(SLIDES)
    tones = [tone._replace(picked=True) for tone in take_of(timeline)[0]]
    starts = {tone.sound: tone.pitch(np.array([tone.start]))[0] for tone in tones}
    tones = [tone._replace(pitch=lambda t, p=starts[tone.sound]: np.full(len(t), p)) for tone in tones]
    assert differing(judged(timeline, pluck(tones))) == {}


# --- double stops ------------------------------------------------------------------------------------------------------


VERY_DULL = {1: 1.0, 2: 0.06, 3: 0.006, 5: 0.01, 7: 0.008}
DULL = {1: 1.0, 2: 0.2, 3: 0.1, 4: 0.02, 5: 0.03, 7: 0.008}


def dull_take(levels: dict[int, float], left_out: int = -1, higher: dict[int, int] | None = None) -> Judgement:
    """The take of `PAIRS` on a guitar whose wound strings are old: the lower notes have weak overtones, of these levels."""
    timeline = timeline_of(PAIRS)
    tones = [tone for tone in take_of(timeline)[0] if tone.sound != left_out]
    pitches = {sound.index: sound.pitch for sound in timeline.sounds}
    low = [tone for tone in tones if pitches[tone.sound] < 62]
    wave = pluck([tone for tone in tones if tone not in low], max(t.end for t in tones) + 0.5)
    for tone in low:
        wave += _dull(tone, pitches[tone.sound] + (higher or {}).get(tone.sound, 0), levels, len(wave))
    return judged(timeline, wave)


def _dull(tone: Tone, pitch: float, levels: dict[int, float], count: int) -> Samples:
    out = np.zeros(count, np.float32)
    time = np.arange(round((tone.end - tone.start) * RATE)) / RATE
    turns = 2 * np.pi * 440 * 2 ** ((pitch - 69) / 12) * time
    partials = (np.sin(n * turns) * level for n, level in levels.items())
    first = round(tone.start * RATE)
    out[first : first + len(time)] = (
        0.3 * sum(partials) * np.exp(-1.5 * time) * np.minimum(1, np.arange(len(time)) / 60)
    )
    return out


def test_the_dull_note_of_a_double_stop_is_there() -> None:
    assert differing(dull_take(VERY_DULL)) == {}


def test_the_dull_note_of_a_double_stop_is_left_out() -> None:
    assert differing(dull_take(VERY_DULL, left_out=4)) == {4: {DifferenceKind.MISSING}}


@pytest.mark.parametrize("by", [-1, 1])
def test_the_dull_note_of_a_double_stop_is_wrong(by: int) -> None:
    assert differing(dull_take(DULL, higher={4: by})) == {4: {DifferenceKind.NOTE}}
