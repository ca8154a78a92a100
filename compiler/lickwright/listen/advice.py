"""What a teacher would say besides: what was good, and what to practice first.

In: a `Judgement` and the remarks about its best pass. Out: sentences. Praise is only what was measured; of things to practice there are three at most, the most
useful first, each with its bars and a tempo.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from math import inf

from lickwright.compare.diff import score_position
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.remarks import Remark
from lickwright.music.practice import Ladder
from lickwright.report.console import join_words
from lickwright.timeline.model import Timeline

_STEADY = 0.025  # seconds: the median lateness of somebody who plays in time
_FEW = 6  # notes from which on a time is steady
_MOST = 3
# Weights: how much a remark of each kind stands in the way of the next step; wrong notes are put right before time, and time before tone.
_WEIGHTS = {"note": 5, "time": 3, "bend": 3, "release": 2, "vibrato": 1}
_BAR_WORDS = 4  # bars that a sentence names at most


def written_bpm(timeline: Timeline) -> Fraction:
    """Return the beats a minute at which a lick is written, in beats of its own."""
    settings = timeline.settings
    return settings.tempo.beats_per_minute(timeline.tempos[0].qpm, settings.meter)


def played_bpm(timeline: Timeline, one: JudgedPass) -> float:
    """Return the beats a minute at which a pass was played."""
    return float(written_bpm(timeline)) / one.pace


def praise_words(judgement: Judgement, remarks: Sequence[Remark]) -> str:
    """Return a line of praise that is earned; "" where there is none."""
    told = [n for n in judgement.passes[judgement.best].notes if n.verdict is not NoteVerdict.UNTOLD]
    about = {remark.about for remark in remarks}
    bends = sum(note.bend_reached is not None for note in told)
    right = sum(note.verdict is NoteVerdict.RIGHT for note in told)
    off = _median_lateness(told)
    good = _good_bars(judgement, told, remarks)
    are = "is" if len(good) == 1 else "are"
    return next(words for earned, words in (
        (not remarks, "every note that can be judged is right, in time and in tune"),
        ("note" not in about, "all notes are right"),
        (bends > 1 and not about & {"bend", "release"}, f"all {bends} bends reach their pitch"),
        (off < _STEADY and "time" not in about, f"your time is steady: half of the notes are within {1000 * off:.0f} ms"),
        (good, f"{listed_bars(good)} {are} just right"),
        (right * 2 >= len(told), f"{right} of {len(told)} pitches are right"),
        (True, ""),
    ) if earned)  # fmt: skip


def _median_lateness(notes: Sequence[HeardNote]) -> float:
    """Return the seconds by which half of the notes are off at most; infinity where too few can be told."""
    late = sorted(abs(note.late) for note in notes if note.late is not None)
    return late[len(late) // 2] if len(late) >= _FEW else inf


def _good_bars(judgement: Judgement, told: Sequence[HeardNote], remarks: Sequence[Remark]) -> list[int]:
    """Return the numbers of the bars about which there is no remark."""
    wrong = {remark.place.bar for remark in remarks}
    return sorted({score_position(judgement.timeline, note.sound).bar for note in told} - wrong)


def listed_bars(numbers: Sequence[int]) -> str:
    """Return `bar 2`, `bars 1, 2 and 4` or `the pick-up and bar 1`; of many the first ones."""
    bars = [n for n in numbers if n]
    words = [] if 0 not in numbers else ["the pick-up"]
    if bars:
        shown = [str(n) for n in bars[:_BAR_WORDS]] + (
            [f"{len(bars) - _BAR_WORDS} more"] if len(bars) > _BAR_WORDS else []
        )
        words.append(f"bar{'s' if len(bars) > 1 else ''} {join_words(shown)}")
    return join_words(words) if words else ""


def practice_advice(judgement: Judgement, remarks: Sequence[Remark]) -> list[str]:
    """Return three things to practice at most, the most useful first."""
    one, timeline = judgement.passes[judgement.best], judgement.timeline
    found: list[tuple[int, str]] = []
    slower, faster = _tempos(timeline, one)
    for about, order in _ORDERS.items():
        here = [remark for remark in remarks if remark.about == about]
        if here:
            bars = sorted({remark.place.bar for remark in here})
            found.append((_WEIGHTS[about] * len(here), order.format(bars=listed_bars(bars), bpm=f"{slower:g}")))
    if abs(one.drift) >= 0.08:
        how = "faster" if one.drift > 0 else "slower"
        found.append(
            (4, f"play it with a click at {slower:g}: you get {how} by {100 * abs(one.drift):.0f} % on the way")
        )
    if one.pauses:
        bars = sorted({score_position(timeline, pause.before).bar for pause in one.pauses})
        found.append((4 * len(one.pauses), f"join the parts at {listed_bars(bars)} without a pause, at {slower:g}"))
    found.sort(key=lambda pair: -pair[0])
    advice = [words for _, words in found[:_MOST]]
    serious = sum(weight for weight, _ in found)
    if faster and serious <= 3:
        advice.append(f"climb: the next tempo is {faster:g} beats a minute")
    return advice[:_MOST]


_ORDERS = {
    "note": "find the notes of {bars}, slowly: {bpm} beats a minute, until it is right three times in a row",
    "time": "count {bars} aloud, and play it with a click at {bpm}",
    "bend": "bend to the pitch of the fretted note in {bars}: play the goal first, then bend to it, at {bpm}",
    "release": "let the bend all the way down in {bars}, in time with a click at {bpm}",
    "vibrato": "hold the last notes of {bars} and swing the pitch up and back evenly, before any speed",
}


def _tempos(timeline: Timeline, one: JudgedPass) -> tuple[float, float | None]:
    """Return the rung of the practice ladder at or below four fifths of the tempo that was played, and the one above that tempo, None on the top."""
    bpm = written_bpm(timeline)
    rungs = [float(rung) for rung in Ladder().rungs(bpm)]
    played = played_bpm(timeline, one)
    below = [rung for rung in rungs if rung <= 0.8 * played]
    above = [rung for rung in rungs if rung > played * 1.02]
    return round(below[-1] if below else rungs[0]), round(above[0]) if above else None
