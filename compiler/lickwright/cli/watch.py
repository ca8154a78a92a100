"""`lickwright make --watch`: builds again whenever something changed, and says only what is new.

In: what is to be built. Out: text on both streams, and the exit code. What has been said and still stands is not said again.
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
    """Tells what is new since the round before."""

    def __init__(self, last: Mapping[str, str], everything: bool, strict: bool) -> None:
        super().__init__(everything=everything, strict=strict)
        self.said: dict[str, str] = {}  # what there is to say about each source, by path
        self._last = last
        self._new: list[SourceReport] = []

    def source(self, told: SourceReport) -> None:
        self.said[told.path] = _text(told)
        if self._last.get(told.path) != self.said[told.path]:
            self._new.append(told)

    def news(self) -> str:
        """What is wrong with the sources that changed, the one that was edited last at the end, and which are well again."""
        for told in sorted(self._new, key=lambda told: _edited(told.path)):
            super().source(told)
        well = [path for path in self._last if path not in self.said]
        lines = [f"{console.safe_text(path)}: nothing is wrong anymore\n" for path in well[:_NAMED]]
        if len(well) > _NAMED:
            lines.append(f"and {console.counted_noun(len(well) - _NAMED, 'more source')} with nothing wrong anymore\n")
        return self.findings(sorted({os.path.dirname(told.path) or "." for told in self._new})) + "".join(lines)


_NAMED = 5  # sources that are well again and named


def _text(told: SourceReport) -> str:
    """What would be said about a source: the same text means the same findings, in this round and the last."""
    troubles = "".join(console.format_findings(Source(t.path, ""), (t.finding,)) for t in told.troubles)
    return (
        console.format_findings(Source(told.path, told.text), told.findings)
        + troubles
        + repr((told.refused, told.bugs))
    )


def _edited(path: str) -> int:
    try:
        return os.stat(path).st_mtime_ns
    except OSError:  # gone since
        return 0


def watch(
    wish_of: Callable[[], BuildConfig],
    ended: Callable[[], terminal.Exit],
    everything: bool = False,
    strict: bool = False,
) -> int:
    """Builds, and again whenever something changed, until it is told to end; gives the exit code.

    The wish is asked for each time, since a `lickwright.toml` may change too.
    """
    from time import sleep

    from lickwright.build.engine import build_library

    last: Mapping[str, str] = {}
    first = True
    while True:
        teller = _Round(last, everything, strict)
        wish = wish_of()
        try:
            account = build_library(wish, teller)
            news = teller.news()
            if news:
                terminal.err(news)
            if first:
                terminal.out(teller.summary(account, wish.out, True))
                terminal.err("watching: press Ctrl-C to stop\n")
            elif account.built or account.removed or news:
                terminal.out(f"{console.counted_noun(account.written, 'file')} written; {source_counts(account)}\n")
            terminal.flush()
            if account.stopped:
                return ended()
            first, last = False, teller.said
            sleep(max(0.5, 4 * account.seconds))  # so that looking takes a fifth of one core at most
        except KeyboardInterrupt:
            terminal.err("stopped\n")
            return ended()
