"""Finds the licks of a source that crash the program, so that the others can still be made.

In: a source that crashed its worker even when it was alone. Out: items to try, a lick each, the other licks of the source blanked; then
one for all licks that are not to blame. Blanking keeps every line and column where it was. Licks are found by the first word of their line and not by
the parser, which may be what crashes.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.source import Span, Unreadable
from lickwright.store.sources import read_source
from lickwright.store.types import WorkItem

MOST_LICKS = 500  # licks of one source that are tried one by one
_LICK = re.compile(r"(?m)^[ \t]*lick\b.*$")


def count_licks(item: WorkItem) -> int:
    """Return how many licks the source seems to have; 0 where that cannot be told."""
    try:
        return len(_LICK.findall(read_source(item.path).decode("utf-8"))) if item.path != "-" else 0
    except (Unreadable, UnicodeDecodeError):
        return 0


def blank_licks(text: str, gone: Callable[[int], bool]) -> tuple[str, tuple[Span, ...]]:
    """Return the text with nothing left of the licks that are `gone` (counted from 0) but their titles; and their spans."""
    starts = [(match.start(), match.end()) for match in _LICK.finditer(text)]
    ends = [start for start, _ in starts[1:]] + [len(text)]
    spans = tuple(Span(start, end) for n, ((start, _), end) in enumerate(zip(starts, ends, strict=True)) if gone(n))
    for n, ((_, after_title), end) in enumerate(zip(starts, ends, strict=True)):
        if gone(n):
            text = text[:after_title] + re.sub(r"[^\r\n]", " ", text[after_title:end]) + text[end:]
    return text, spans


class CrashIsolation:
    """The search for bad licks in one source."""

    def __init__(self, item: WorkItem, licks: int) -> None:
        self._item = item
        self._licks = licks
        self._at = -1  # the lick that is being tried
        self._bad: list[tuple[int, str]] = []  # licks that crashed the worker, and how

    def next(self) -> WorkItem | None:
        """Return what to try next: each lick alone, then all that did not crash together; None when there is nothing more to learn."""
        self._at += 1
        if self._at < self._licks:
            return self._item._replace(only=self._at)
        if self._at == self._licks and 0 < len(self._bad) < self._licks:
            return self._item._replace(without=tuple(self._bad))
        return None

    def note_crash(self, why: str) -> None:
        """Note that the last attempt crashed its worker."""
        self._bad.append((self._at, why))
