"""The bars of a draft in the order in which they are played, the first two times: repeats, endings, jumps back.

In: `DraftBar`s with their signs. Out: indices of bars. Only what follows what matters here, so a repeat of many times is walked twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.importers.draft import DraftBar

_TIMES = 2  # that a repeat is walked: what goes on over its sign is known then


def played_order(bars: Sequence[DraftBar]) -> list[int]:
    """Return the bars as played."""
    jump = next((n for n, bar in enumerate(bars) for mark in bar.marks if mark.target), None)
    first = list(_repeated(bars))
    if jump is None or jump not in first:
        return first
    sign = next(mark for mark in bars[jump].marks if mark.target)
    until = len(first) - first[::-1].index(jump)
    return first[:until] + list(_after_jump(bars, sign.target, sign.until))


def _repeated(bars: Sequence[DraftBar]) -> Iterator[int]:
    start = 0
    for index, bar in enumerate(bars):
        if bar.repeat_start:
            start = index
        yield index
        if bar.repeat_end:
            ending = next((n for n in range(start, index + 1) if bars[n].ending == 1), None)
            for time in range(2, min(bar.repeat_end, _TIMES) + 1):
                last = ending if ending is not None and time == min(bar.repeat_end, _TIMES) else index + 1
                yield from range(start, last)
            start = index + 1


def _after_jump(bars: Sequence[DraftBar], target: str, until: str) -> Iterator[int]:
    at = (
        next((n for n, bar in enumerate(bars) if any(mark.sign == "segno" for mark in bar.marks)), 0)
        if target == "segno"
        else 0
    )
    for _ in range(2 * len(bars)):
        if at >= len(bars):
            return
        if bars[at].ending == 1:
            at = next((n for n in range(at, len(bars)) if bars[n].ending == 2), len(bars))
            continue
        yield at
        signs = {mark.sign for mark in bars[at].marks}
        if "fine" in signs and until != "to-coda":
            return
        coda = next((n for n, bar in enumerate(bars) if any(mark.sign == "coda" for mark in bar.marks)), len(bars))
        at = coda if "to-coda" in signs and until == "to-coda" else at + 1
