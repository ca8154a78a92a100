"""What is said of a recording, in words, once for all that show it: the text report, the JSON and the picture.

In: a `Judgement`. Out: a `TakeSummary`, and for a recording of which nothing is judged what to do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind
from lickwright.compare.report import praise_for
from lickwright.export.tab.heading import needs_caution
from lickwright.hand.measures import CAUTION
from lickwright.listen.advice import PracticeStep, played_bpm, practice_advice, unsteady_bars, written_bpm
from lickwright.listen.bar_runs import listed_bars
from lickwright.listen.model import NO_CONTEXT, JudgedPass, Judgement, NoteVerdict, RefusalKind, TakeContext
from lickwright.listen.praise import DRIFT, TUNED, praise_words
from lickwright.listen.remarks import Remark, find_remarks
from lickwright.music.rhythm import value_name
from lickwright.report.console import counted_noun, join_words
from lickwright.timeline.model import SoundingNote, Timeline, bar_name

NEVER_JUDGED = (
    "which string and fret you used", "how long and how loud notes are, and whether they are picked or hammered",
    "timing that is off by less than 25 ms", "bends that are off by less than 25 cents, a quarter of a half step",
)  # fmt: skip
_TIME = "whether notes are early or late"
_OCTAVE = 12  # half steps
_LISTED_TIMES = 8  # times through whose scores are listed; of more there are the first and the last one
_SWINGS = (3, 2), (2, 1), (3, 1)  # long to short, by which a swing is named
_LISTED_BARS = 4  # bars of which it is said how often they are right


class TakeSummary(NamedTuple):
    """What is said of the best pass of a recording, and of the recording as a whole."""

    headline: str  # "very close"
    counts: str  # "24 of 25 notes just right; 1 right but for its time"
    praise: str  # "" where none is earned
    facts: list[str]  # what holds for the whole; none of it costs a point
    by_bar: str  # "all of bars 1 and 2; 7 of 8 in bar 3"; "" for a single bar
    remarks: list[Remark]  # about the best pass
    pass_remarks: list[list[Remark]]  # about each pass
    practice: list[PracticeStep]  # the most useful first


def summarize_take(judgement: Judgement, context: TakeContext = NO_CONTEXT) -> TakeSummary:
    """Return what is said of a recording that was recognized."""
    timeline, one = judgement.timeline, judgement.passes[judgement.best]
    pass_remarks = [find_remarks(timeline, a_pass) for a_pass in judgement.passes]
    remarks = pass_remarks[judgement.best]
    score = one.score.of_100
    whole = not remarks and one.is_through and not judgement.in_other_feel
    unsteady = unsteady_bars(judgement, pass_remarks)
    return TakeSummary(
        praise_for(score if whole else min(99, score)), _counted(one), praise_words(judgement, remarks),
        [*_whole_facts(judgement), *_steadiness(unsteady, judgement.best, pass_remarks)], _by_bar(timeline, one), remarks, pass_remarks,
        practice_advice(judgement, remarks, [bar for bar, *_ in unsteady], context),
    )  # fmt: skip


def caution_words(judgement: Judgement) -> str:
    """Return the caution that the text tab of a lick carries where it stretches, hurries or bends far; "" where none is due."""
    return CAUTION if needs_caution(judgement.timeline) else ""


_HINTS = {
    RefusalKind.RATE: "save the recording again, at the rate at which it was made",
    RefusalKind.UNLIKE: "if it is this lick, play it alone and near the microphone, as slowly as you like; of a part, name the bars, --bars 1-2",
    RefusalKind.SILENT: "check that the microphone is on, near the guitar, and that it is loud enough to be heard when you play it back",
}


def refusal_hints(judgement: Judgement) -> list[str]:
    """Return what to do where nothing is judged."""
    refusal = judgement.refusal
    return [_HINTS[refusal.kind]] if refusal is not None and refusal.kind in _HINTS else []


def bar_scores(timeline: Timeline, one: JudgedPass) -> list[tuple[int, int, int]]:
    """Return number, right notes and judged notes of each written bar that has any."""
    counts: dict[int, list[int]] = {}
    for note in one.notes:
        if note.verdict is not NoteVerdict.UNTOLD:
            row = counts.setdefault(timeline.bars[note.sound.bar].number, [0, 0])
            row[0] += not note.kinds
            row[1] += 1
    return [(bar, right, told) for bar, (right, told) in sorted(counts.items())]


def not_told(one: JudgedPass) -> list[str]:
    """Return the kinds of notes of a pass that the ear cannot tell, in words, with their number, and of how many it cannot tell when they begin."""
    counts: dict[str, int] = {}
    for note in one.notes:
        if note.verdict is NoteVerdict.UNTOLD:
            counts[note.why] = counts.get(note.why, 0) + 1
        elif note.onset is not None and note.late is None:
            counts[_TIME] = counts.get(_TIME, 0) + 1
    return [f"{why} ({number})" for why, number in counts.items()]


def length_words(seconds: float, bpm: float) -> str:
    """Return `1.2 s, about 2 beats,` for a length of time at a tempo; the seconds alone where it is less than half a beat."""
    halves = round(2 * seconds * bpm / 60)
    if not halves:
        return f"{seconds:.1f} s"
    beats = {1: "half a beat", 2: "a beat"}.get(halves, f"{halves / 2:g} beats")
    return f"{seconds:.1f} s, about {beats},"


def _counted(one: JudgedPass) -> str:
    late = sum(bool(n.kinds) and n.kinds <= {DifferenceKind.EARLY, DifferenceKind.LATE} for n in one.notes)
    words = f"{one.score.right} of {counted_noun(one.judged, 'note')} just right"
    words += f"; {late} right but for {'its' if late == 1 else 'their'} time" if late else ""
    return words + (f"; {counted_noun(len(one.extras), 'note')} too many" if one.extras else "")


def _by_bar(timeline: Timeline, one: JudgedPass) -> str:
    rows = bar_scores(timeline, one)
    good = [bar for bar, right, told in rows if right == told]
    parts = [f"{right} of {told} in {listed_bars([bar])}" for bar, right, told in rows if right < told]
    if good:
        parts.insert(0, f"all of {listed_bars(good)}")
    return "; ".join(parts) if len(rows) > 1 else ""


def _whole_facts(judgement: Judgement) -> list[str]:
    """Return what holds for the whole recording."""
    one = judgement.passes[judgement.best]
    return [words for fact in _FACTS for words in fact(judgement, one)]


def _tempo(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    bpm, written = played_bpm(judgement.timeline, one), float(written_bpm(judgement.timeline))
    yield f"played at {bpm:.0f} beats a minute, {100 * bpm / written:.0f} % of the written tempo"


def _times(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    scores = [str(a_pass.score.of_100) for a_pass in judgement.passes]
    if len(scores) > _LISTED_TIMES:
        said = f"the first with a score of {scores[0]}, the last with {scores[-1]}"
    else:
        said = f"with scores of {join_words(scores)}"
    if len(scores) > 1:
        yield f"played {len(scores)} times: this is time {judgement.best + 1}, the best; they came out {said}"


def _drift(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    if abs(one.drift) >= DRIFT:
        how = "faster" if one.drift > 0 else "slower"
        yield f"it gets {how} by {100 * abs(one.drift):.0f} % from beginning to end"


def _slowing(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    if one.slows_from is not None:
        yield f"it slows down to the end from {_place(judgement.timeline, one.slows_from)} on"


def _feel(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    feel, written = judgement.feel, judgement.timeline.settings.feel
    if not judgement.in_other_feel:
        return
    if feel.is_swung:
        ratio = min(_SWINGS, key=lambda pair: abs(pair[0] / sum(pair) - feel.ratio[0] / sum(feel.ratio)))
        words = f"you swing the {value_name(feel.unit)} notes, about {ratio[0]}:{ratio[1]}, where they are written even"
        yield f"{words}: their time is judged by your swing"
    else:
        long, short = written.ratio
        words = f"you play the {value_name(written.unit)} notes even, where they are written to swing, {long}:{short}"
        yield f"{words}: their time is judged as you play them"


def _shift(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    shift = judgement.shift
    if shift:
        count = {1: "a half step", 2: "a whole step", _OCTAVE: "an octave"}.get(abs(shift), f"{abs(shift)} half steps")
        why = f"a capo at fret {shift} does that" if 0 < shift < 10 else "check tuning and capo"
        why = "see where on the neck it is written" if abs(shift) == _OCTAVE else why
        yield f"all of it is {count} {'higher' if shift > 0 else 'lower'} than written: {why}"


def _tuning(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    if abs(judgement.tuning) >= TUNED:
        how = "sharp" if judgement.tuning > 0 else "flat"
        cents = f"{100 * abs(judgement.tuning):.0f} cents"
        yield f"the guitar is tuned {cents} {how}: tune it before the next take; this one is judged by its own tuning"


def _restarts(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    for sound in one.again:
        yield f"begun again after {_place(judgement.timeline, sound)}"


def _pauses(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    for pause in one.pauses:
        length = length_words(pause.seconds, played_bpm(judgement.timeline, one))
        yield f"a pause of {length} before {_place(judgement.timeline, pause.before)}"


def _skips(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    for skip in one.skips:
        length, to = (
            length_words(skip.seconds, played_bpm(judgement.timeline, one)),
            _place(judgement.timeline, skip.before),
        )
        before = one.sound_before(skip)
        if before is None:
            yield f"{to} comes {length} too soon"
        else:
            yield f"it goes from {_place(judgement.timeline, before)} straight to {to}: {length} are left out"


def _end(judgement: Judgement, one: JudgedPass) -> Iterator[str]:
    if one.ends_at is not None:
        yield f"it breaks off after {_place(judgement.timeline, one.ends_at)}: what follows is not judged"


_FACTS = (_tempo, _times, _drift, _slowing, _feel, _shift, _tuning, _restarts, _pauses, _skips, _end)


def _steadiness(unsteady: list[tuple[int, int, int]], best: int, pass_remarks: list[list[Remark]]) -> Iterator[str]:
    """Yield how often the bars are right that often are not, the least first, and what is most often wrong where the best pass does not show it."""
    shown = sorted(unsteady, key=lambda row: (row[1] / row[2], row[0]))[:_LISTED_BARS]
    in_best = {remark.place.bar for remark in pass_remarks[best]}
    parts = []
    for bar, right, times in shown:
        common = (
            None if bar in in_best else _commonest([r for found in pass_remarks for r in found if r.place.bar == bar])
        )
        why = f" (beat {common.place.beat}, {common.words})" if common is not None else ""
        parts.append(f"{listed_bars([bar])} is right in {right} of {times}{why}")
    if parts:
        yield "over all times: " + "; ".join(parts)


def _commonest(remarks: list[Remark]) -> Remark | None:
    """Return a remark that is made most often, of one note and one kind, the first of them."""
    counts = Counter((remark.sound.index, remark.kind, remark.about) for remark in remarks)
    return max(remarks, key=lambda r: counts[r.sound.index, r.kind, r.about], default=None)


def _place(timeline: Timeline, sound: SoundingNote) -> str:
    place = score_position(timeline, sound)
    return f"{bar_name(place.bar, sound.pass_no)}, beat {place.beat}"
