"""`lickwright make --watch`: builds again whenever something changed, and shows only what is new.

In: what is to be built. Out: text on both streams, and the exit code. A finding that was shown and still holds is not shown again.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from lickwright.build.summary import SourceReport
from lickwright.cli import terminal
from lickwright.cli.build_view import BuildView, source_counts
from lickwright.core.source import Source
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.build.build_config import BuildConfig


class _Round(BuildView):
    """The view of one round, which shows what is new since the round before."""

    def __init__(self, last: Mapping[str, str], everything: bool, strict: bool) -> None:
        super().__init__(everything=everything, strict=strict)
        self.said: dict[str, str] = {}  # what there is to say about each source, by path
        self._last = last
        self._new: list[SourceReport] = []

    def source(self, report: SourceReport) -> None:
        self.said[report.path] = _text(report)
        if self._last.get(report.path) != self.said[report.path]:
            self._new.append(report)

    def news(self) -> str:
        """Show what is wrong with the sources that changed, the one edited last at the end; return it with the sources that are well again."""
        for report in sorted(self._new, key=lambda report: _edited(report.path)):
            super().source(report)
        well = [path for path in self._last if path not in self.said]
        lines = [f"{console.safe_text(path)}: nothing is wrong anymore\n" for path in well[:_NAMED]]
        if len(well) > _NAMED:
            lines.append(f"and {console.counted_noun(len(well) - _NAMED, 'more source')} with nothing wrong anymore\n")
        return self.findings(sorted({os.path.dirname(report.path) or "." for report in self._new})) + "".join(lines)


_NAMED = 5  # sources that are well again and named


def _text(report: SourceReport) -> str:
    """Return all that would be shown about a source: equal texts mean equal findings in two rounds."""
    troubles = "".join(console.format_findings(Source(t.path, ""), (t.finding,)) for t in report.troubles)
    return (
        console.format_findings(Source(report.path, report.text), report.findings)
        + troubles
        + repr((report.refused, report.bugs))
    )


def _edited(path: str) -> int:
    try:
        return os.stat(path).st_mtime_ns
    except OSError:  # gone since
        return 0


def watch(
    next_build: Callable[[], BuildConfig],
    ended: Callable[[], terminal.Exit],
    everything: bool = False,
    strict: bool = False,
) -> int:
    """Build, and again whenever something changed, until the program is told to end; return the exit code.

    `next_build` gives the build of each round, since a `lickwright.toml` may change too. `ended` gives the exit code of an interrupt.
    """
    from time import sleep

    from lickwright.build.engine import build_library

    last: Mapping[str, str] = {}
    first = True
    while True:
        view = _Round(last, everything, strict)
        build = next_build()
        try:
            summary = build_library(build, view)
            news = view.news()
            if news:
                terminal.err(news)
            if first:
                terminal.out(view.summary(summary, build.out, True))
                terminal.err("watching: press Ctrl-C to stop\n")
            elif summary.built or summary.removed or news:
                terminal.out(f"{console.counted_noun(summary.written, 'file')} written; {source_counts(summary)}\n")
            terminal.flush()
            if summary.stopped:
                return ended()
            first, last = False, view.said
            sleep(max(0.5, 4 * summary.seconds))  # so that looking takes a fifth of one core at most
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()
