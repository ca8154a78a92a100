"""The report on a recording as text: how good it is, what to look at, what to practice, and what was not judged.

In: a `Judgement`. Out: lines of plain text no wider than asked.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.export.tab.lanes import wrap_words
from lickwright.listen.model import NO_CONTEXT, Judgement, TakeContext
from lickwright.listen.remarks import Remark
from lickwright.listen.summary import (
    NEVER_JUDGED,
    TakeSummary,
    caution_words,
    not_told,
    refusal_hints,
    summarize_take,
)  # fmt: skip
from lickwright.timeline.model import Timeline

LISTED = 14  # remarks where not all are asked for
_NARROW = 24  # columns in which words beside a place can still be read


def judgement_text(
    judgement: Judgement, width: int, everything: bool, context: TakeContext = NO_CONTEXT
) -> Iterator[str]:
    """Yield the report line by line."""
    for line in _lines(judgement, width, everything, context):
        yield from _hung(line, width)
    if caution := caution_words(judgement):
        yield ""
        yield from _hung(caution, width)


def _lines(judgement: Judgement, width: int, everything: bool, context: TakeContext) -> Iterator[str]:
    title = f'"{judgement.timeline.title}"'
    if judgement.refusal:
        yield f"{title}: {judgement.refusal.words}"
        yield from refusal_hints(judgement)
        return
    one, summary = judgement.passes[judgement.best], summarize_take(judgement, context)
    yield f"{title}: {summary.headline}"
    yield f"score {one.score.of_100} of 100: {summary.counts}"
    yield from _whole(summary)
    yield from _remarks(judgement.timeline, summary.remarks, width, everything)
    if summary.practice:
        yield ""
        yield "to practice:"
        for number, step in enumerate(summary.practice, 1):
            yield from _beside(f" {number}. ", step.words, width)
    yield ""
    yield f"not judged: {'; '.join((*not_told(one), *NEVER_JUDGED))}"


def _whole(summary: TakeSummary) -> Iterator[str]:
    if summary.praise:
        yield f"good: {summary.praise}"
    yield from summary.facts
    if summary.by_bar:
        yield f"just right by bar: {summary.by_bar}"


def _remarks(timeline: Timeline, remarks: Sequence[Remark], width: int, everything: bool) -> Iterator[str]:
    """Yield the remarks with their numbers, as many as are asked for, and the tab with these numbers."""
    listed = remarks if everything else remarks[:LISTED]
    if not listed:
        return
    yield ""
    wide = max(len(remark.place_words) for remark in listed)
    for number, remark in enumerate(listed, 1):
        yield from _beside(f"{number:2}  {remark.place_words:{wide}}  ", remark.words, width)
    if len(listed) < len(remarks):
        yield f"and {len(remarks) - len(listed)} more after that: --all lists them"
    yield ""
    yield from _tab(timeline, listed, width)


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
