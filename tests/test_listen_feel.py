"""A lick that is swung where it is written straight, or the other way round, or that slows down to its end: said once, with notes judged by that."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from lickwright.listen.model import NO_CONTEXT, Judgement
from lickwright.listen.played_feel import Onset, played_feel, with_feel
from lickwright.listen.report_json import judgement_as_json
from lickwright.listen.summary import summarize_take
from lickwright.music.rhythm import parse_feel
from lickwright.performance.note_events import perform
from lickwright.timeline.model import Timeline
from plucked import judged, moved, pluck, take_of, timeline_of

STEPS = 'key A minor\ntempo 80\n{feel}step 1/8\nlick "Steps"\n| A0 A3 D0 D2 G0 G2 B1 G2 | G0 D2 D0 A3 A0--- | B1 G2 G0 D2 D0 A3 A0 E3 | A0------- ||\n'


def _lick(feel: str) -> Timeline:
    return timeline_of(STEPS.format(feel=f"feel {feel}\n"))


def _differing(judgement: Judgement) -> dict[int, set[str]]:
    """What differs in the best pass, by index of the sound."""
    return {note.sound.index: set(note.kinds) for note in judgement.passes[judgement.best].notes if note.kinds}


def _judged(written: str, played: str, late: int = -1) -> Judgement:
    """What is heard of a lick that is written and played so, one note 150 ms late."""
    timeline = _lick(written)
    tones = take_of(with_feel(timeline, parse_feel(played)))[0]
    if late >= 0:
        tones[late] = moved(tones[late], later=0.15)
    return judged(timeline, pluck(tones))


@pytest.mark.parametrize(
    ("written", "played", "said"),
    [
        ("straight", "shuffle", "you swing the eighth notes, about 2:1, where they are written even"),
        pytest.param(
            "straight",
            "swing 3:2",
            "you swing the eighth notes, about 3:2, where they are written even",
            marks=pytest.mark.slow,
        ),
        ("shuffle", "straight", "you play the eighth notes even, where they are written to swing, 2:1"),
    ],
)
def test_another_feel_is_said_once_and_makes_no_note_late(written: str, played: str, said: str) -> None:
    found = _judged(written, played)
    assert found.in_other_feel
    assert found.differs
    assert _differing(found) == {}
    assert found.passes[0].pace == pytest.approx(1, abs=0.01)
    summary = summarize_take(found)
    assert [fact.partition(":")[0] for fact in summary.facts if "eighth" in fact] == [said.partition(":")[0]]
    assert any(fact.startswith(said) for fact in summary.facts)
    assert "in time" not in summary.praise
    assert "evenly" in summary.practice[0].words if written == "straight" else "swing" in summary.practice[0].words
    report = judgement_as_json(found, NO_CONTEXT)
    assert (report["written_feel"], report["played_feel"]) == (written, str(found.feel))


@pytest.mark.parametrize("feel", ["straight", "shuffle", pytest.param("swing 3:2", marks=pytest.mark.slow)])
def test_nothing_is_said_of_the_written_feel(feel: str) -> None:
    found = _judged(feel, feel)
    assert not found.in_other_feel
    assert not any("eighth" in fact for fact in summarize_take(found).facts)
    assert "in time" in summarize_take(found).praise


def test_another_ratio_of_swing_is_no_other_feel() -> None:
    found = _judged("shuffle", "swing 3:2")
    assert found.feel.ratio[0] == pytest.approx(60, abs=1)
    assert not found.in_other_feel
    assert _differing(found) == {}


def test_a_note_is_late_against_the_swing_that_is_played() -> None:
    found = _judged("straight", "shuffle", late=10)
    assert found.in_other_feel
    assert _differing(found) == {10: {"late"}}


def test_a_lick_that_slows_down_to_its_end_has_no_late_note() -> None:
    timeline = _lick("straight")
    tones = take_of(timeline)[0]
    first = tones[-5].start
    for n in range(-4, 0):
        tones[n] = moved(tones[n], later=0.25 * (tones[n].start - first) ** 2)
    found = judged(timeline, pluck(tones))
    assert found.passes[0].slows_from is not None
    assert _differing(found) == {}
    assert any(fact.startswith("it slows down to the end from bar 3, beat 3") for fact in summarize_take(found).facts)


def _onsets(timeline: Timeline, shares: Sequence[float], unit: int) -> list[Onset]:
    """Onsets of an even lick of pairs of notes at intervals of `unit` grains, the first notes of the pairs with these shares of them."""
    seconds = perform(timeline).straight_seconds
    pairs = [(2 * n * unit, share) for n, share in enumerate(shares)]
    found = [(Onset(at, seconds(at)), Onset(at + unit, seconds(at + 2 * share * unit))) for at, share in pairs]
    end = 2 * len(shares) * unit
    return [*(onset for pair in found for onset in pair), Onset(end, seconds(end))]


@pytest.mark.parametrize(
    ("shares", "feel"),
    [
        ((0.66, 0.67, 0.66, 0.68), "swing 66:34"),
        ((0.66, 0.67, 0.66), "straight"),  # too few to tell a feel
        ((0.5, 0.5, 0.67, 0.67, 0.67, 0.5, 0.5), "straight"),  # a few late notes
        ((0.55, 0.56, 0.54, 0.55, 0.56), "straight"),  # within what players do
        ((0.5, 0.58, 0.66, 0.74, 0.49, 0.67, 0.55), "straight"),  # no two alike
        ((0.3, 0.31, 0.3, 0.3, 0.31), "straight"),  # no swing: the first notes are the short ones
    ],
)
def test_a_feel_is_told_by_pairs_that_are_alike(shares: Sequence[float], feel: str) -> None:
    timeline = _lick("straight")
    unit = timeline.grain // 8
    assert str(played_feel(timeline, perform(timeline), [_onsets(timeline, shares, unit)])) == feel


def test_pairs_of_several_times_through_are_counted_together() -> None:
    timeline = _lick("straight")
    once = _onsets(timeline, (0.66, 0.67), timeline.grain // 8)
    again = [onset._replace(at=onset.at + 20) for onset in once]
    assert played_feel(timeline, perform(timeline), [once]).name == "straight"
    assert played_feel(timeline, perform(timeline), [once, again]).is_swung
