"""The order in which written bars are played: repeats and endings.

In: written bars. Out: their indices as played, or how many events that would be. `:|` returns to the nearest earlier `|:` or `:|`, else to the start.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.source import Span
from lickwright.timeline import rules
from lickwright.timeline.model import Bar
from lickwright.timeline.rules import Report


class Section(NamedTuple):
    """A stretch of bars, and how it is played."""

    first: int
    last: int  # past its last bar
    times: int
    first_ending: int | None  # where the bars begin that the last time leaves out


def repeat_sections(bars: tuple[Bar, ...], report: Report) -> list[Section]:
    """The bars cut at their repeats."""
    out: list[Section] = []
    start = since = 0
    ending: int | None = None
    awaits_second: Bar | None = None
    for n, bar in enumerate(bars):
        if bar.repeat_start and n > start:
            out.append(Section(start, n, 1, None))
            start, ending = n, None
        if awaits_second is not None and bar.ending != 2 and bar.sure:
            report(
                rules.ENDINGS,
                _sign(awaits_second),
                "a first ending with no second after its repeat",
                "the last time through takes the second: begin it with `|2nd` right after `:|`",
            )
        if bar.ending == 2 and awaits_second is None and all(b.sure for b in bars[since:n]):
            report(
                rules.ENDINGS,
                _sign(bar),
                "a second ending with no first before its repeat",
                "the first ending begins with `|1st` and ends at `:|`",
            )
        awaits_second = None
        if bar.ending == 1:
            ending = n
        if bar.repeat_end:
            out.append(Section(start, n + 1, bar.repeat_end, ending))
            awaits_second = bars[ending] if ending is not None else None
            since, start, ending = start, n + 1, None
    if ending is not None:
        report(rules.ENDINGS, _sign(bars[ending]), "a first ending that no repeat ends", "end it with `:|`")
    if awaits_second is not None:
        report(
            rules.ENDINGS,
            _sign(awaits_second),
            "a first ending with no second after its repeat",
            "the last time through takes the second: begin it with `|2nd` right after `:|`",
        )
    if start < len(bars):
        out.append(Section(start, len(bars), 1, None))
    return out


def _sign(bar: Bar) -> Span:
    return Span(bar.span.start, bar.span.start + len("1st"))  # which the bar begins with


def played_events(parts: list[Section], bars: tuple[Bar, ...]) -> int:
    """How many slots the music has with its repeats, without playing it."""
    return sum(_events(bars, part.first, part.last) * part.times for part in parts)


def _events(bars: tuple[Bar, ...], first: int, last: int) -> int:
    return sum(max(1, bar.last - bar.first) for bar in bars[first:last])


def playing_order(parts: list[Section]) -> list[int]:
    """Indices of bars as played."""
    out: list[int] = []
    for part in parts:
        whole = range(part.first, part.last)
        out += [*whole] * (part.times - 1)
        out += range(part.first, part.first_ending) if part.first_ending is not None else whole
    return out
