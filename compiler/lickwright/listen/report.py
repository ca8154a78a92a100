"""The report on a recording as text: how good it is, what to look at, what to practice, and what was not judged.

In: a `Judgement`. Out: lines of plain text no wider than asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.compare.diff import score_position
from lickwright.compare.model import DifferenceKind
from lickwright.compare.report import praise_for
from lickwright.export.tab.heading import needs_caution
from lickwright.export.tab.lanes import wrap_words
from lickwright.hand.measures import CAUTION
from lickwright.listen.advice import DRIFT, TUNED, listed_bars, played_bpm, practice_advice, praise_words, written_bpm
from lickwright.listen.model import JudgedPass, Judgement, NoteVerdict
from lickwright.listen.remarks import Remark, find_remarks
from lickwright.report.console import counted_noun
from lickwright.timeline.model import SoundingNote, Timeline, bar_name

LISTED = 14  # remarks where not all are asked for
NEVER_JUDGED = (
    "which string and fret you used", "how long and how loud notes are, and whether they are picked or hammered",
    "timing within 25 ms", "bends within 25 cents",
)  # fmt: skip
_NARROW = 24  # columns in which words beside a place can still be read


def judgement_text(judgement: Judgement, width: int, everything: bool, drawn: bool = True) -> Iterator[str]:
    """Yield the report line by line."""
    for line in _lines(judgement, width, everything, drawn):
        yield from _hung(line, width)
    if caution := caution_words(judgement):
        yield ""
        yield from _hung(caution, width)


def _lines(judgement: Judgement, width: int, everything: bool, drawn: bool) -> Iterator[str]:
    timeline = judgement.timeline
    if judgement.refusal:
        yield f'"{timeline.title}": {judgement.refusal}'
        yield from refusal_hints(judgement)
        return
    one = judgement.passes[judgement.best]
    remarks = find_remarks(timeline, one)
    score = one.score
    perfect = not remarks and one.is_through
    yield f'"{timeline.title}": {praise_for(score.of_100 if perfect else min(99, score.of_100))}'
    yield f"score {score.of_100} of 100: {_counted(one)}"
    praise = praise_words(judgement, remarks)
    if praise:
        yield f"good: {praise}"
    yield from whole_facts(judgement)
    yield from _bar_line(timeline, one)
    listed = remarks if everything else remarks[:LISTED]
    if listed:
        yield ""
        places = [remark_place(remark) for remark in listed]
        wide = max(map(len, places))
        for number, (remark, place) in enumerate(zip(listed, places, strict=True), 1):
            yield from _beside(f"{number:2}  {place:{wide}}  ", remark.words, width)
        if len(listed) < len(remarks):
            yield f"and {len(remarks) - len(listed)} more after that: --all lists them"
        if drawn:
            yield ""
            yield from _tab(timeline, listed, width)
    advice = practice_advice(judgement, remarks)
    if advice:
        yield ""
        yield "to practice:"
        for number, words in enumerate(advice, 1):
            yield from _beside(f" {number}. ", words, width)
    yield ""
    yield f"not judged: {'; '.join((*not_told(one), *NEVER_JUDGED))}"


def caution_words(judgement: Judgement) -> str:
    """Return the caution that the text tab of a lick carries where it stretches, hurries or bends far; "" where none is due."""
    return CAUTION if needs_caution(judgement.timeline) else ""


_HINTS = {
    "sample rate": "save the recording again, at the rate at which it was made",
    "sound like this lick": "if it is this lick, play it alone and near the microphone, as slowly as you like; of a part, name the bars, --bars 1-2",
    "nothing was heard": "check that the microphone is on, near the guitar, and that it is loud enough to be heard when you play it back",
}  # by words of the refusal


def refusal_hints(judgement: Judgement) -> list[str]:
    """Return what to do where nothing is judged."""
    return [hint for words, hint in _HINTS.items() if words in judgement.refusal]


def _counted(one: JudgedPass) -> str:
    late = sum(bool(n.kinds) and n.kinds <= {DifferenceKind.EARLY, DifferenceKind.LATE} for n in one.notes)
    words = f"{one.score.right} of {counted_noun(one.judged, 'note')} just right"
    words += f"; {late} right but for {'its' if late == 1 else 'their'} time" if late else ""
    return words + (f"; {counted_noun(len(one.extras), 'note')} too many" if one.extras else "")


def whole_facts(judgement: Judgement) -> list[str]:
    """Return what holds for the whole recording; none of it costs a point."""
    timeline, one = judgement.timeline, judgement.passes[judgement.best]
    bpm, written = played_bpm(timeline, one), float(written_bpm(timeline))
    facts = [f"played at {bpm:.0f} beats a minute, {100 * bpm / written:.0f} % of the written tempo"]
    if len(judgement.passes) > 1:
        facts.append(f"played {len(judgement.passes)} times: this is time {judgement.best + 1}, the best")
    if abs(one.drift) >= DRIFT:
        facts.append(
            f"it gets {'faster' if one.drift > 0 else 'slower'} by {100 * abs(one.drift):.0f} % from beginning to end"
        )
    if judgement.shift:
        facts.append(_shift_words(judgement.shift))
    if abs(judgement.tuning) >= TUNED:
        how = "sharp" if judgement.tuning > 0 else "flat"
        facts.append(
            f"the guitar is tuned {100 * abs(judgement.tuning):.0f} cents {how}: tune it before the next take; this one is judged by its own tuning"
        )
    facts += [f"begun again after {_place(timeline, sound)}" for sound in one.again]
    facts += [
        f"a pause of {_length(pause.seconds, bpm)} before {_place(timeline, pause.before)}" for pause in one.pauses
    ]
    facts += [f"{_place(timeline, skip.before)} comes {_length(skip.seconds, bpm)} too soon" for skip in one.skips]
    if one.ends_at is not None:
        facts.append(f"it breaks off after {_place(timeline, one.ends_at)}: what follows is not judged")
    return facts


def _length(seconds: float, bpm: float) -> str:
    """Return `1.2 s, about 2 beats,` for a length of time at a tempo; the seconds alone where it is less than half a beat."""
    halves = round(2 * seconds * bpm / 60)
    if not halves:
        return f"{seconds:.1f} s"
    beats = {1: "half a beat", 2: "a beat"}.get(halves, f"{halves / 2:g} beats")
    return f"{seconds:.1f} s, about {beats},"


def _shift_words(shift: int) -> str:
    count = "1 half step" if abs(shift) == 1 else f"{abs(shift)} half steps"
    why = f"a capo at fret {shift} does that" if 0 < shift < 10 else "check tuning and capo"
    return f"all of it is {count} {'higher' if shift > 0 else 'lower'} than written: {why}"


def _place(timeline: Timeline, sound: SoundingNote) -> str:
    place = score_position(timeline, sound)
    return f"{bar_name(place.bar)}, beat {place.beat}"


def remark_place(remark: Remark) -> str:
    """Return `bar 2, beat 1 &`."""
    return f"{bar_name(remark.place.bar, remark.time)}, beat {remark.place.beat}"


def bar_scores(timeline: Timeline, one: JudgedPass) -> list[tuple[int, int, int]]:
    """Return number, right notes and judged notes of each written bar that has any."""
    counts: dict[int, list[int]] = {}
    for note in one.notes:
        if note.verdict is not NoteVerdict.UNTOLD:
            row = counts.setdefault(timeline.bars[note.sound.bar].number, [0, 0])
            row[0] += not note.kinds
            row[1] += 1
    return [(bar, right, told) for bar, (right, told) in sorted(counts.items())]


def _bar_line(timeline: Timeline, one: JudgedPass) -> Iterator[str]:
    rows = bar_scores(timeline, one)
    good = [bar for bar, right, told in rows if right == told]
    parts = [f"{right} of {told} in {listed_bars([bar])}" for bar, right, told in rows if right < told]
    if good:
        parts.insert(0, f"all of {listed_bars(good)}")
    if len(rows) > 1:
        yield "just right by bar: " + "; ".join(parts)


def not_told(one: JudgedPass) -> list[str]:
    """Return the kinds of notes of a pass that the ear cannot tell, in words, with their number."""
    counts: dict[str, int] = {}
    for note in one.notes:
        if note.verdict is NoteVerdict.UNTOLD:
            counts[note.why] = counts.get(note.why, 0) + 1
    return [f"{why} ({number})" for why, number in counts.items()]


def _tab(timeline: Timeline, remarks: Sequence[Remark], width: int) -> Iterator[str]:
    """Yield the tab with the numbers of the remarks under the notes."""
    from lickwright.compare.tabs import MarkedTab
    from lickwright.layout.columns import lay_out_bars

    grid = lay_out_bars(timeline)
    marks: dict[int, list[int]] = {}
    for number, remark in enumerate(remarks, 1):
        marks.setdefault(remark.sound.index, []).append(number)
    yield from MarkedTab(grid, (0, len(grid.bars)), width, marks).drawn("the lick, with the numbers of the remarks")


def _beside(head: str, words: str, width: int) -> Iterator[str]:
    """Yield words beside a head, in lines that fit, the following ones under the first where there is room for that."""
    room = width - len(head)
    if room < _NARROW:
        yield head + words
        return
    for n, line in enumerate(wrap_words(words, room)):
        yield (" " * len(head) if n else head) + line


def _hung(line: str, width: int) -> Iterator[str]:
    """Yield a line in parts that fit, what follows hung under it; a line of tab stays whole."""
    if len(line) <= width or not line.strip() or "|--" in line:
        yield line
        return
    first, *rest = wrap_words(line, width - 4)
    yield first
    yield from ("    " + part for part in rest)
