"""The order in which written bars are played: repeats and endings.

In: written bars. Out: their indices as played, or how many events that would be. `:|` returns to the nearest earlier
`|:` or `:|`, else to the start.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.source import Span
from lickwright.timeline import rules
from lickwright.timeline.model import Bar
from lickwright.timeline.rules import Report


class Section(NamedTuple):
    """Bars `first` to `last` (excluded), and how they are played."""

    first: int
    last: int
    times: int
    first_ending: int | None  # where the bars begin that the last time leaves out


def repeat_sections(bars: tuple[Bar, ...], report: Report) -> list[Section]:
    """Return the bars cut at their repeats; endings that lack their other half or their repeat are reported."""
    builder = _SectionBuilder(bars, report)
    for n, bar in enumerate(bars):
        builder.add(n, bar)
    builder.finish()
    return builder.sections


class _SectionBuilder:
    """Cuts bars at their repeats, one bar after another."""

    def __init__(self, bars: tuple[Bar, ...], report: Report) -> None:
        self.sections: list[Section] = []
        self._bars = bars
        self._report = report
        self._start = 0  # of the section being filled
        self._before = 0  # the start of the section before
        self._first_ending: int | None = None  # in the section being filled
        self._awaits_second: Bar | None = None  # the first ending of the section that has just ended

    def add(self, n: int, bar: Bar) -> None:
        """Add bar number `n`, from 0."""
        if bar.repeat_start and n > self._start:
            self._close(n, 1, None)
        self._judge_second(n, bar)
        self._awaits_second = None
        if bar.ending == 1:
            self._first_ending = n
        if bar.repeat_end:
            first_ending = self._first_ending
            self._awaits_second = None if first_ending is None else self._bars[first_ending]
            self._before = self._start
            self._close(n + 1, bar.repeat_end, first_ending)

    def finish(self) -> None:
        """Close the last section."""
        if self._first_ending is not None:
            self._wrong(self._bars[self._first_ending], "a first ending that no repeat ends", "end it with `:|`")
        self._judge_second(len(self._bars), None)
        if self._start < len(self._bars):
            self._close(len(self._bars), 1, None)

    def _close(self, last: int, times: int, first_ending: int | None) -> None:
        self.sections.append(Section(self._start, last, times, first_ending))
        self._start, self._first_ending = last, None

    def _judge_second(self, n: int, bar: Bar | None) -> None:
        """Report a first ending without a second in bar `n` (None after the last bar), or a second without a first."""
        second = bar is not None and bar.ending == 2
        if self._awaits_second is not None and not second and (bar is None or bar.sure):
            self._wrong(
                self._awaits_second,
                "a first ending with no second after its repeat",
                "the last time through takes the second: begin it with `|2nd` right after `:|`",
            )
        if (
            bar is not None
            and second
            and self._awaits_second is None
            and all(b.sure for b in self._bars[self._before : n])
        ):
            self._wrong(
                bar,
                "a second ending with no first before its repeat",
                "the first ending begins with `|1st` and ends at `:|`",
            )

    def _wrong(self, bar: Bar, message: str, hint: str) -> None:
        start = bar.span.start  # where its sign stands, `1st` or `2nd`
        self._report(rules.ENDINGS, Span(start, start + len("1st")), message, hint)


def played_events(parts: list[Section], bars: tuple[Bar, ...]) -> int:
    """Return how many slots the music has with its repeats."""
    return sum(_events(bars, part.first, part.last) * part.times for part in parts)


def _events(bars: tuple[Bar, ...], first: int, last: int) -> int:
    return sum(max(1, bar.last - bar.first) for bar in bars[first:last])


def playing_order(parts: list[Section]) -> list[int]:
    """Return the indices of the bars as played."""
    out: list[int] = []
    for part in parts:
        whole = range(part.first, part.last)
        out += [*whole] * (part.times - 1)
        out += range(part.first, part.first_ending) if part.first_ending is not None else whole
    return out
