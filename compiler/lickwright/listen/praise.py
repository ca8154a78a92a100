"""What was good in a recording, as a teacher would say it first.

In: a `Judgement` and the remarks about its best pass. Out: a sentence, or "" where none is earned: praise is only what was measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.listen.bar_runs import listed_bars
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.remarks import Remark
from lickwright.report.console import join_words

_STEADY = 0.025  # seconds: the median lateness of somebody who plays in time
_FEW = 6  # notes from which on a time is steady
DRIFT = 0.06  # share of the tempo from which on a drift is mentioned,
TUNED = 0.08  # semitones from which on the tuning of the guitar is mentioned


class _Earned(NamedTuple):
    """What praise is given for."""

    one: JudgedPass
    told: list[HeardNote]
    about: set[str]  # what there are remarks about
    in_tune: bool  # the guitar is
    in_feel: bool  # swung or straight, as written
    good_bars: list[int]  # numbers of the bars about which there is nothing to say


def praise_words(judgement: Judgement, remarks: Sequence[Remark]) -> str:
    """Return a line of praise that is earned; "" where there is none."""
    one = judgement.passes[judgement.best]
    told = [n for n in one.notes if n.verdict is not NoteVerdict.UNTOLD]
    earned = _Earned(
        one, told, {remark.about for remark in remarks}, abs(judgement.tuning) < TUNED, not judgement.in_other_feel,
        _good_bars(judgement, told, remarks),
    )  # fmt: skip
    return next((words for praise in _PRAISES if (words := praise(earned))), "")


def _praise_all(earned: _Earned) -> str:
    """Every note is right: in time where that could be told and nothing stopped or was swung otherwise, in tune where the guitar is."""
    if earned.about or not earned.told:
        return ""
    off = _median_lateness(earned.told)
    in_time = off < _STEADY and earned.in_feel and earned.one.is_through and abs(earned.one.drift) < DRIFT
    more = [words for words, is_earned in (("in time", in_time), ("in tune", earned.in_tune)) if is_earned]
    which = (
        "every note that you played and that can be judged" if earned.one.ends_at else "every note that can be judged"
    )
    return f"{which} is right" + (f", {join_words(more)}" if more else "")


def _praise_notes(earned: _Earned) -> str:
    """No note is wrong, missing or too many."""
    if "note" in earned.about or not earned.told:
        return ""
    return "all notes that you played are the right ones" if earned.one.ends_at else "all notes are the right ones"


def _praise_bends(earned: _Earned) -> str:
    """Two bends or more were heard, each reaches its pitch in time, and is let down where it should be."""
    bends = sum(note.bend_reached is not None for note in earned.told)
    every = "both" if bends == 2 else f"all {bends}"
    return f"{every} bends reach their pitch" if bends > 1 and not earned.about & {"bend", "release"} else ""


def _praise_time(earned: _Earned) -> str:
    """No note is early or late, nothing stops, leaps or is begun again, and the tempo does not drift."""
    steady = earned.one.is_through and "time" not in earned.about and abs(earned.one.drift) < DRIFT
    if not steady or _median_lateness(earned.told) >= _STEADY:
        return ""
    return f"your time is steady: half of the notes or more are within {1000 * _STEADY:.0f} ms"


def _praise_bars(earned: _Earned) -> str:
    """There are bars about which there is nothing to say."""
    good = earned.good_bars
    return f"{listed_bars(good)} {'is' if len(good) == 1 else 'are'} just right" if good else ""


def _praise_pitches(earned: _Earned) -> str:
    """Half of the pitches or more are right."""
    right = earned.one.right_pitches
    return f"{right} of {len(earned.told)} pitches are right" if right * 2 >= len(earned.told) > 0 else ""


# From the best to the least; the first one that is earned is said.
_PRAISES = (_praise_all, _praise_notes, _praise_bends, _praise_time, _praise_bars, _praise_pitches)


def _median_lateness(notes: Sequence[HeardNote]) -> float:
    """Return the seconds by which half of the notes are off at most; infinity where too few can be told."""
    late = sorted(abs(note.late) for note in notes if note.late is not None)
    return late[len(late) // 2] if len(late) >= _FEW else inf


def _good_bars(judgement: Judgement, told: Sequence[HeardNote], remarks: Sequence[Remark]) -> list[int]:
    """Return the numbers of the bars about which there is no remark, and before no note of which the music stops or leaps."""
    one = judgement.passes[judgement.best]
    wrong = {remark.place.bar for remark in remarks}
    wrong |= {score_position(judgement.timeline, jump.before).bar for jump in (*one.pauses, *one.skips)}
    return sorted({score_position(judgement.timeline, note.sound).bar for note in told} - wrong)
