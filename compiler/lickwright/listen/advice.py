"""What to practice first after a recording.

In: a `Judgement`, the remarks about its best pass, and the practice ladder. Out: `PracticeStep`s, three at most, the most useful first, each with its bars and
a tempo.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind
from lickwright.listen.bar_runs import bar_runs, listed_bars
from lickwright.listen.model import NO_CONTEXT, HeardPause, JudgedPass, Judgement, NoteVerdict, TakeContext
from lickwright.listen.remarks import Remark
from lickwright.music.practice import Ladder
from lickwright.music.rhythm import value_name
from lickwright.timeline.model import SoundingNote, Timeline

_MOST = 3
_DRIFT = 0.08  # share of the tempo from which on a drift is worth practice
_SLOWER = 0.8  # of the tempo that was played: where to practice what went wrong
_UNSTEADY = 3  # one of so many passes, in which a bar is not right, is more than a slip
_SAME = 1.01  # tempos that are this near are one: a tempo is heard, and never to the last digit
_READY = 1.02  # times the tempo that was played: where the top of the ladder lies within that, it is reached


def written_bpm(timeline: Timeline) -> Fraction:
    """Return the beats a minute at which a lick is written, in beats of its own."""
    settings = timeline.settings
    return settings.tempo.beats_per_minute(timeline.tempos[0].qpm, settings.meter)


def played_bpm(timeline: Timeline, one: JudgedPass) -> float:
    """Return the beats a minute at which a pass was played."""
    return float(written_bpm(timeline)) / one.pace


class PracticeStep(NamedTuple):
    """One thing to practice."""

    words: str
    short: str  # the same in a few words, for a list
    bars: tuple[tuple[int, int], ...] = ()  # first and last number of each run of written bars; () if not about bars
    bpm: float | None = None  # at which to practice them, in beats of the lick's own; None if not about bars


class _Weighed(NamedTuple):
    """A step, and how much stands in the way of the next one."""

    weight: int
    step: PracticeStep


def _step(weight: int, words: str, bars: Iterable[int], bpm: float, short: str = "") -> _Weighed:
    """Return a step about the bars of these numbers, in order; `short` is left out where its words are needed whole."""
    runs = tuple((run[0], run[-1]) for run in bar_runs(bars))
    return _Weighed(weight, PracticeStep(words, short or words, runs, bpm))


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
_READY_WORDS = "it is ready: play it from memory, then in another key"
_TO_BE_READY = 3  # the weight of what stands in the way, up to which a faster tempo may be tried


def practice_advice(
    judgement: Judgement, remarks: Sequence[Remark], unsteady: Sequence[int] = (), context: TakeContext = NO_CONTEXT
) -> list[PracticeStep]:
    """Return three things to practice at most, the most useful first. `unsteady` are bars that are right in some of the times only."""
    one, timeline = judgement.passes[judgement.best], judgement.timeline
    slower, faster = _tempos(timeline, one, context.ladder)
    found = [*_about_remarks(remarks, slower), *_about_whole(timeline, one, slower)]
    found += _about_feel(judgement, slower)
    found += _about_unsteady(sorted(set(unsteady) - {remark.place.bar for remark in remarks}), slower)
    found.sort(key=lambda weighed: -weighed.weight)
    advice = [step for _, step in found[:_MOST]]
    if one.ends_at is None and sum(weight for weight, _ in found) <= _TO_BE_READY:
        advice += _next_step(timeline, faster, bool(found), context.is_part)
    return advice[:_MOST]


def _about_remarks(remarks: Sequence[Remark], bpm: float) -> Iterator[_Weighed]:
    """Yield what to do about remarks of each kind, with its weight, at so many beats a minute."""
    for name, order in _ORDERS.items():
        here = [remark for remark in remarks if _order_name(remark) == name]
        if here:
            bars = sorted({remark.place.bar for remark in here})
            words = order.words.format(bars=listed_bars(bars), bpm=f"{bpm:g}")
            yield _step(order.weight * len(here), words, bars, bpm)


def _about_whole(timeline: Timeline, one: JudgedPass, bpm: float) -> Iterator[_Weighed]:
    """Yield what to do about the tempo of a whole pass and where it stops, with its weight."""
    if abs(one.drift) >= _DRIFT:
        how = "faster" if one.drift > 0 else "slower"
        words = (
            f"play it with a click at {bpm:g} beats a minute: you get {how} by {100 * abs(one.drift):.0f} % on the way"
        )
        yield _step(4, words, _all_bars(timeline), bpm, f"it gets {how}")
    if one.pauses:
        words = f"join the parts at {listed_bars(_bars_to(timeline, one.pauses))} without a pause, at {bpm:g} beats a minute"
        yield _step(4 * len(one.pauses), words, _bars_across(timeline, one, one.pauses), bpm)
    if one.skips:
        words = f"count aloud on the way to {listed_bars(_bars_to(timeline, one.skips))}, at {bpm:g} beats a minute"
        yield _step(4 * len(one.skips), words, _bars_across(timeline, one, one.skips), bpm)
    if one.ends_at is not None and (rest := _bars_after(timeline, one, one.ends_at)):
        yield _step(1, f"go on from there: {listed_bars(rest)} slowly, at {bpm:g} beats a minute", rest, bpm)
    if one.again:
        words = f"play through to the end whatever happens instead of beginning again, at {bpm:g} beats a minute"
        yield _step(4, words, _all_bars(timeline), bpm)


def _about_feel(judgement: Judgement, bpm: float) -> Iterator[_Weighed]:
    """Yield what to do where the lick is played with another feel than written."""
    if judgement.in_other_feel:
        timeline, written = judgement.timeline, judgement.timeline.settings.feel
        if written.is_swung:
            long, short = written.ratio
            how = f"swing the {value_name(written.unit)} notes, {long}:{short},"
        else:
            how = f"play the {value_name(judgement.feel.unit)} notes evenly"
        yield _step(4, f"{how} with a click at {bpm:g} beats a minute", _all_bars(timeline), bpm, how.rstrip(","))


def _all_bars(timeline: Timeline) -> list[int]:
    """Return the numbers of the bars that are played."""
    return sorted({timeline.bars[turn.bar].number for turn in timeline.passes})


def _bars_to(timeline: Timeline, jumps: Sequence[HeardPause]) -> list[int]:
    """Return the numbers of the bars in which the music goes on after pauses or leaps."""
    return sorted({score_position(timeline, jump.before).bar for jump in jumps})


def _bars_across(timeline: Timeline, one: JudgedPass, jumps: Sequence[HeardPause]) -> list[int]:
    """Return the numbers of the bars from the last note before each pause or leap to the first one after it."""
    found: set[int] = set()
    for jump in jumps:
        to = score_position(timeline, jump.before).bar
        before = one.sound_before(jump)
        start = to if before is None else score_position(timeline, before).bar
        found |= set(range(min(start, to), to + 1))  # from a later bar on it is the beginning of a repeat
    return sorted(found)


def _bars_after(timeline: Timeline, one: JudgedPass, last: SoundingNote) -> list[int]:
    """Return the numbers of the bars that have notes after a note."""
    after = [note.sound for note in one.notes if note.sound.start > last.start]
    return sorted({score_position(timeline, sound).bar for sound in after})


def _about_unsteady(bars: Sequence[int], bpm: float) -> Iterator[_Weighed]:
    """Yield what to do about bars that came out right in the best pass, and not in others."""
    if bars:
        it = "it is" if len(bars) == 1 else "they are"
        short = f"make {listed_bars(bars)} sure"
        words = f"{short}, at {bpm:g} beats a minute, until {it} right three times in a row"
        yield _step(_TO_BE_READY + len(bars), words, bars, bpm, short)


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


def _next_step(timeline: Timeline, faster: float | None, anything: bool, is_part: bool) -> list[PracticeStep]:
    """Return what comes next for somebody who is ready for it."""
    if faster is not None:
        words = f"climb: the next tempo is {faster:g} beats a minute"
        return [_step(0, words, _all_bars(timeline), faster, f"climb to {faster:g} beats a minute").step]
    if anything:
        return []
    return [PracticeStep(_PART_READY if is_part else _READY_WORDS, "ready")]


def _tempos(timeline: Timeline, one: JudgedPass, ladder: Ladder) -> tuple[float, float | None]:
    """Return a tempo at or below four fifths of the one that was played, and the next one half a rung or more above that, None on the top.

    Both are rungs of the practice ladder, where it reaches down so far.
    """
    bpm = written_bpm(timeline)
    rungs = [float(rung) for rung in ladder.rungs(bpm)]
    played = played_bpm(timeline, one)
    below = [rung for rung in rungs if rung <= _SLOWER * played * _SAME]
    above = [rung for rung in rungs[:-1] if rung >= played + ladder.step / 2]
    above += rungs[-1:] if rungs[-1] > played * _READY else []
    return round(max(below) if below else _SLOWER * played), round(above[0]) if above else None
