"""The bars of a system: which characters of each string lie between two bar lines, and what repeats.

In: a `TabSystem`. Out: `TabBar`s. Where the bar lines of the strings do not stand under one another (`bar_lines.py`), each string's own
are believed, and a bar whose
strings are not equally long says so.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from lickwright.importers.text_tab.bar_lines import Station, find_stations, plain_bar_lines, split_remarks
from lickwright.importers.text_tab.repeat_signs import read_dots, read_times_inside, repeat_bars, said_times
from lickwright.importers.text_tab.systems import TabSystem
from lickwright.importers.text_tab.tab_bar import Segment, SystemBars, TabBar

_CUT_SHARE = 0.75  # of the usual length: an open string that is shorter was cut
_DRIFT = 3  # characters that a string with a lost dash or two differs by
_PICKUP = 2  # characters before the first bar line that are no bar


def find_bars(system: TabSystem) -> SystemBars:
    """Return the bars of a system."""
    offset = Counter(row.body for row in system.rows).most_common(1)[0][0]
    texts, remarks = split_remarks([row.line.text[row.body :].rstrip() for row in system.rows])
    texts = plain_bar_lines(texts)
    bars = _between(texts, find_stations(texts), system)
    times = next((found for _, text in remarks if (found := said_times(text))), 0)
    if times and bars:
        repeat_bars(bars, times)
        remarks = [(n, text) for n, text in remarks if not said_times(text)]
    read_times_inside(bars)
    return SystemBars(bars, offset, remarks)


def _between(texts: Sequence[str], stations: Sequence[Station], system: TabSystem) -> list[TabBar]:
    """Return the bars between the bar lines; what stands before the first or behind the last one is a bar too, if it is more than an edge."""
    edges = _with_first_edge(texts, stations)
    goes_on = bool(texts) and all(text.endswith("\0") for text in texts)
    closed = _is_closed(texts, stations) and not goes_on and len(edges) > 1
    if not closed and (goes_on or len(edges) == 1 or _is_open(texts, edges[-1])):
        edges.append([(len(text) - goes_on, len(text)) for text in texts])
    bars = [
        _bar(texts, before, after, system)
        for before, after in zip(edges, edges[1:], strict=False)
        if _is_wide(before, after)
    ]
    if bars and not closed:
        bars[-1].closed, bars[-1].goes_on = False, goes_on
        bars[-1].uneven = _cut(bars[-1], sum(text.endswith("|") for text in texts) * 2 >= len(texts))
    return bars


def _with_first_edge(texts: Sequence[str], stations: Sequence[Station]) -> list[Station]:
    """Return the bar lines, and before them the edge of the text where more than an edge stands before the first one."""
    if not stations or stations[0][0][0] > _PICKUP or _any_marks(texts, stations[0]):
        return [[(0, 0)] * len(texts), *stations]
    return list(stations)


def _is_wide(before: Station, after: Station) -> bool:
    """Return True if something stands between two bar lines on any string."""
    return any(start > end for (_, end), (start, _) in zip(before, after, strict=True))


def _any_marks(texts: Sequence[str], station: Station) -> bool:
    """Return True if a string has more than dashes before a bar line."""
    return any(text[: edge[0]].strip("-— _") for text, edge in zip(texts, station, strict=True))


def _is_closed(texts: Sequence[str], stations: Sequence[Station]) -> bool:
    """Return True if every string ends with a bar line."""
    return bool(stations) and all(end >= len(text) - 1 for (_, end), text in zip(stations[-1], texts, strict=True))


def _is_open(texts: Sequence[str], station: Station) -> bool:
    """Return True if a string goes on after its last bar line."""
    return any(_has_notes(text[end:]) for text, (_, end) in zip(texts, station, strict=True))


def _cut(bar: TabBar, barred: bool) -> tuple[int, ...]:
    """Return the lines whose string ends elsewhere than the others in a bar that not all strings close.

    Where bar lines end the others, that is one that ends before them. Open strings have ends of all kinds: there, one that was cut well
    before the others, or one that is a little longer or shorter, as where a dash was lost.
    """
    lengths = [len(segment.text) for segment in bar.segments]
    usual = sorted(lengths)[len(lengths) // 2]
    if barred:
        return tuple(n for n, length in enumerate(lengths) if length < usual)
    return tuple(
        n for n, length in enumerate(lengths) if length < usual * _CUT_SHARE or 0 < abs(length - usual) <= _DRIFT
    )


def _has_notes(text: str) -> bool:
    return any(char in "0123456789xX" for char in text) or text.count("-") > 2


def _bar(texts: Sequence[str], before: Station, after: Station, system: TabSystem) -> TabBar:
    left = Counter(end for _, end in before).most_common(1)[0][0]
    segments = [
        Segment(text[b[1] : max(b[1], a[0])], row.body + b[1], left)
        for text, b, a, row in zip(texts, before, after, system.rows, strict=True)
    ]
    right = Counter(start for start, _ in after).most_common(1)[0][0]
    bar = TabBar(segments, left, max(right, left + max(len(segment.text) for segment in segments)))
    bar.double = all(end - start > 1 for start, end in after)
    read_dots(bar, before, after)
    lengths = [len(segment.text) for segment in bar.segments]
    usual = Counter(lengths).most_common(1)[0][0]
    bar.uneven = tuple(n for n, length in enumerate(lengths) if length != usual)
    bar.same = any("%" in s.text for s in bar.segments) and not any(re.search(r"[\dxX]", s.text) for s in bar.segments)
    return bar
