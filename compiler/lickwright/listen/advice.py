"""What a teacher would say besides: what was good, and what to practice first.

In: a `Judgement` and the remarks about its best pass. Out: sentences. Praise is only what was measured; of things to practice there are three at most, the most
useful first, each with its bars and a tempo.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from math import inf
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind
from lickwright.listen.model import HeardNote, JudgedPass, Judgement, NoteVerdict
from lickwright.listen.remarks import Remark
from lickwright.music.practice import Ladder
from lickwright.report.console import join_words
from lickwright.timeline.model import SoundingNote, Timeline

_STEADY = 0.025  # seconds: the median lateness of somebody who plays in time
_FEW = 6  # notes from which on a time is steady
_MOST = 3
DRIFT = 0.06  # share of the tempo from which on a drift is mentioned,
_DRIFT = 0.08  # and from which on it is worth practice
TUNED = 0.08  # semitones from which on the tuning of the guitar is mentioned
_SLOWER = 0.8  # of the tempo that was played: where to practice what went wrong
_UNSTEADY = 3  # one of so many passes, in which a bar is not right, is more than a slip
_SAME = 1.01  # tempos that are this near are one: a tempo is heard, and never to the last digit
_READY = 1.02  # times the tempo that was played: where the top of the ladder lies within that, it is reached
_BAR_WORDS = 4  # bars that a sentence names at most


def written_bpm(timeline: Timeline) -> Fraction:
    """Return the beats a minute at which a lick is written, in beats of its own."""
    settings = timeline.settings
    return settings.tempo.beats_per_minute(timeline.tempos[0].qpm, settings.meter)


def played_bpm(timeline: Timeline, one: JudgedPass) -> float:
    """Return the beats a minute at which a pass was played."""
    return float(written_bpm(timeline)) / one.pace


class _Earned(NamedTuple):
    """What praise is given for."""

    one: JudgedPass
    told: list[HeardNote]
    about: set[str]  # what there are remarks about
    in_tune: bool  # the guitar is
    good_bars: list[int]  # numbers of the bars about which there is nothing to say


def praise_words(judgement: Judgement, remarks: Sequence[Remark]) -> str:
    """Return a line of praise that is earned; "" where there is none."""
    one = judgement.passes[judgement.best]
    told = [n for n in one.notes if n.verdict is not NoteVerdict.UNTOLD]
    earned = _Earned(
        one, told, {remark.about for remark in remarks}, abs(judgement.tuning) < TUNED, _good_bars(judgement, told, remarks)
    )  # fmt: skip
    return next((words for praise in _PRAISES if (words := praise(earned))), "")


def _praise_all(earned: _Earned) -> str:
    """Every note is right: in time where that could be told and nothing stopped, in tune where the guitar is."""
    if earned.about or not earned.told:
        return ""
    off = _median_lateness(earned.told)
    in_time = off < _STEADY and earned.one.is_through and abs(earned.one.drift) < DRIFT
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


def listed_bars(numbers: Sequence[int]) -> str:
    """Return `bar 2`, `bars 1, 2 and 4`, `bars 1-4 and 6` or `the pick-up and bar 1`; of many the first ones."""
    words = ["the pick-up"] if 0 in numbers else []
    bars = [n for n in numbers if n]
    if bars:
        words.append(f"bar{'s' if len(bars) > 1 else ''} {_run_words(bars)}")
    return join_words(words) if words else ""


def _run_words(bars: Sequence[int]) -> str:
    """Return `1-4, 6 and 8`; of many runs the first ones, and how many bars are left."""
    parts = [part for run in _runs(bars) for part in _bar_run(run)]
    left = sum(map(len, parts[_BAR_WORDS:]))
    words = [f"{part[0]}-{part[-1]}" if len(part) > 1 else str(part[0]) for part in parts[:_BAR_WORDS]]
    return join_words([*words, f"{left} more"] if left else words)


def _runs(numbers: Iterable[int]) -> list[list[int]]:
    """Return numbers that follow each other together."""
    found: list[list[int]] = []
    for n in numbers:
        if found and found[-1][-1] == n - 1:
            found[-1].append(n)
        else:
            found.append([n])
    return found


def _bar_run(run: Sequence[int]) -> list[list[int]]:
    """Return a run of bars whole; one of two bars in two, since `2-3` is no shorter than both."""
    return [list(run)] if len(run) > 2 else [[n] for n in run]


class _Order(NamedTuple):
    """What to do about remarks of one kind."""

    weight: int  # how much one stands in the way of the next step: wrong notes are put right before time, and time before tone
    words: str


_ORDERS = {
    "note": _Order(5, "find the notes of {bars} slowly, at {bpm} beats a minute, until they are right three times in a row"),
    "extra": _Order(4, "play only the written notes in {bars} and keep the other strings quiet, at {bpm} beats a minute"),
    "time": _Order(3, "count {bars} aloud, then play along with a click at {bpm} beats a minute"),
    "bend": _Order(3, "in {bars}, play the fret that the bend should reach, then bend to that pitch, at {bpm} beats a minute"),
    "late bend": _Order(3, "start the bend in {bars} sooner and be at its pitch on the count, with a click at {bpm} beats a minute"),
    "pre-bend": _Order(3, "in {bars}, bend without a sound, then pick: the note begins at its full pitch, at {bpm} beats a minute"),
    "release": _Order(2, "let the bend all the way down in {bars}, in time with a click at {bpm} beats a minute"),
    "late release": _Order(2, "start to let the bend down in {bars} on the count, with a click at {bpm} beats a minute"),
    "vibrato": _Order(1, "hold the notes with vibrato in {bars} and move the pitch up and back evenly; speed comes later"),
}  # fmt: skip
_PART_READY = "this part is ready: play it from memory, then with the bars before and after it"
_TO_BE_READY = 3  # the weight of what stands in the way, up to which a faster tempo may be tried


def practice_advice(
    judgement: Judgement, remarks: Sequence[Remark], unsteady: Sequence[int] = (), is_part: bool = False
) -> list[str]:
    """Return three things to practice at most, the most useful first. `unsteady` are bars that are right in some of the times only."""
    one, timeline = judgement.passes[judgement.best], judgement.timeline
    slower, faster = _tempos(timeline, one)
    found = [*_about_remarks(remarks, slower), *_about_whole(timeline, one, slower)]
    found += _about_unsteady(sorted(set(unsteady) - {remark.place.bar for remark in remarks}), slower)
    found.sort(key=lambda pair: -pair[0])
    advice = [words for _, words in found[:_MOST]]
    if one.ends_at is None and sum(weight for weight, _ in found) <= _TO_BE_READY:
        advice += _next_step(faster, bool(found), is_part)
    return advice[:_MOST]


def _about_remarks(remarks: Sequence[Remark], bpm: float) -> Iterator[tuple[int, str]]:
    """Yield what to do about remarks of each kind, with its weight, at so many beats a minute."""
    for name, order in _ORDERS.items():
        here = [remark for remark in remarks if _order_name(remark) == name]
        if here:
            bars = sorted({remark.place.bar for remark in here})
            yield order.weight * len(here), order.words.format(bars=listed_bars(bars), bpm=f"{bpm:g}")


def _about_whole(timeline: Timeline, one: JudgedPass, bpm: float) -> Iterator[tuple[int, str]]:
    """Yield what to do about the tempo of a whole pass and where it stops, with its weight."""
    if abs(one.drift) >= _DRIFT:
        how = "faster" if one.drift > 0 else "slower"
        yield (
            4,
            f"play it with a click at {bpm:g} beats a minute: you get {how} by {100 * abs(one.drift):.0f} % on the way",
        )
    if one.pauses:
        bars = sorted({score_position(timeline, pause.before).bar for pause in one.pauses})
        yield 4 * len(one.pauses), f"join the parts at {listed_bars(bars)} without a pause, at {bpm:g} beats a minute"
    if one.skips:
        bars = sorted({score_position(timeline, skip.before).bar for skip in one.skips})
        yield 4 * len(one.skips), f"count aloud on the way to {listed_bars(bars)}, at {bpm:g} beats a minute"
    if one.ends_at is not None and (rest := _bars_after(timeline, one, one.ends_at)):
        yield 1, f"go on from there: {listed_bars(rest)} slowly, at {bpm:g} beats a minute"
    if one.again:
        yield 4, f"play through to the end whatever happens instead of beginning again, at {bpm:g} beats a minute"


def _bars_after(timeline: Timeline, one: JudgedPass, last: SoundingNote) -> list[int]:
    """Return the numbers of the bars that have notes after a note."""
    after = [note.sound for note in one.notes if note.sound.start > last.start]
    return sorted({score_position(timeline, sound).bar for sound in after})


def _about_unsteady(bars: Sequence[int], bpm: float) -> Iterator[tuple[int, str]]:
    """Yield what to do about bars that came out right in the best pass, and not in others."""
    if bars:
        it = "it is" if len(bars) == 1 else "they are"
        words = f"make {listed_bars(bars)} sure, at {bpm:g} beats a minute, until {it} right three times in a row"
        yield _TO_BE_READY + len(bars), words


def unsteady_bars(judgement: Judgement, pass_remarks: Sequence[Sequence[Remark]]) -> list[tuple[int, int, int]]:
    """Return the bars that there are remarks about in a third or more of the passes: number, passes in which it is right, and all that have it.

    There are none where the lick was played once.
    """
    right: dict[int, list[bool]] = {}
    for one, remarks in zip(judgement.passes, pass_remarks, strict=True):
        told = [note.sound for note in one.notes if note.verdict is not NoteVerdict.UNTOLD]
        wrong = {remark.place.bar for remark in remarks}
        for bar in {score_position(judgement.timeline, sound).bar for sound in told}:
            right.setdefault(bar, []).append(bar not in wrong)
    counts = [(bar, sum(found), len(found)) for bar, found in sorted(right.items()) if len(found) > 1]
    return [(bar, good, times) for bar, good, times in counts if (times - good) * _UNSTEADY >= times]


def _order_name(remark: Remark) -> str:
    """Return the name in `_ORDERS` of what is to be done about a remark."""
    if remark.kind is DifferenceKind.EXTRA:
        return "extra"
    if remark.kind is DifferenceKind.LATE and remark.about in ("bend", "release"):
        return f"late {remark.about}"
    return "pre-bend" if remark.about == "bend" and remark.kind is DifferenceKind.TECHNIQUE else remark.about


def _next_step(faster: float | None, anything: bool, is_part: bool) -> list[str]:
    """Return what comes next for somebody who is ready for it."""
    if faster is not None:
        return [f"climb: the next tempo is {faster:g} beats a minute"]
    if anything:
        return []
    return [_PART_READY if is_part else "it is ready: play it from memory, then in another key"]


def _tempos(timeline: Timeline, one: JudgedPass) -> tuple[float, float | None]:
    """Return a tempo at or below four fifths of the one that was played, and the next one half a rung or more above that, None on the top.

    Both are rungs of the practice ladder, where it reaches down so far.
    """
    bpm = written_bpm(timeline)
    ladder = Ladder()
    rungs = [float(rung) for rung in ladder.rungs(bpm)]
    played = played_bpm(timeline, one)
    below = [rung for rung in rungs if rung <= _SLOWER * played * _SAME]
    above = [rung for rung in rungs[:-1] if rung >= played + ladder.step / 2]
    above += rungs[-1:] if rungs[-1] > played * _READY else []
    return round(below[-1] if below else _SLOWER * played), round(above[0]) if above else None
