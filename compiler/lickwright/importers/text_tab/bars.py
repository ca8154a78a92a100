"""The bars of a system: where bar lines stand, what repeats, and which characters of each string lie between them.

In: a `TabSystem`. Out: `TabBar`s. Columns count from the first character of the strings. Where the bar lines of the strings do not stand under
one another, each
string's own are believed, and a bar whose strings are not equally long says so.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from lickwright.core.fast_dataclass import mutable_record
from lickwright.importers.text_tab.systems import TabSystem

_LINES = re.compile(r"\|+")
_AFTER = re.compile(r"(?<=\|)\s*([^-|\s][^|]*)$")
_WORDS = re.compile(r"(?<=[-|])\s+(\(?[A-Za-z][A-Za-z']{2,}.*)$")  # remarks behind a string without a bar line
_TIMES = re.compile(
    r"(?:\(|\b)(?:x\s?(\d{1,2})(?!\d)|(\d{1,2})\s?x\b|(\d{1,2})\s?times|(?:repeat|play)\s(?:x\s?)?(\d{1,2})|(twice)|(thrice)|(three times))",
    re.IGNORECASE,
)
_INSIDE = re.compile(r"(?<![\dxX])(?:(\d{1,2})[xX]|[xX](\d{1,2}))(?![\dxX])")
_DOTS = ":*.oO"
_MOST_TIMES = 64
_CUT_SHARE = 0.75  # of the usual length: an open string that is shorter was cut


class Segment(NamedTuple):
    """The characters of one string in one bar."""

    text: str
    raw: int  # index of its first character in the line
    left: int  # column at which the bar begins for all strings


@mutable_record
class TabBar:
    """One bar of a system."""

    segments: list[Segment]  # by line from the top
    left: int  # column of its first character
    right: int  # column of the bar line that ends it, or of the end of the strings
    repeat_start: bool = False
    repeat_end: int = 0  # times in all
    double: bool = False
    goes_on: bool = False  # the bar ends in the next system
    same: bool = False
    closed: bool = True  # a bar line ends it
    uneven: tuple[int, ...] = ()  # lines whose string is longer or shorter than the others
    guessed_times: bool = False


class SystemBars(NamedTuple):
    """The bars of a system, and what stands behind its strings."""

    bars: list[TabBar]
    offset: int  # index in the lines of column 0, as it usually is
    remarks: list[tuple[int, str]]  # what stands behind a string: line from the top, text


def find_bars(system: TabSystem) -> SystemBars:
    """Return the bars of a system."""
    offset = Counter(row.body for row in system.rows).most_common(1)[0][0]
    texts, remarks = [], []
    raw = [row.line.text[row.body :].rstrip() for row in system.rows]
    closed = sum(text.endswith("|") for text in raw) * 2 >= len(raw)
    ends = Counter(len(text) for text in raw if text.endswith("|"))
    end = ends.most_common(1)[0][0] if closed and ends else 0
    for n, text in enumerate(raw):
        if len(text) > end > 1 and text[end - 1] == "|" and ends[end] * 2 >= len(raw):
            remarks.append((n, text[end:].strip(" -")))
            text = text[:end]  # noqa: PLW2901
        if words := _WORDS.search(text):
            remarks.append((n, words[1].strip()))
            text = text[: words.start()]  # noqa: PLW2901
        behind = _AFTER.search(text)
        if behind and (closed or not re.fullmatch(r"[\d\-~/\\hpbrx:*. ]+", behind[1])):
            remarks.append((n, behind[1].strip()))
            text = text[: behind.start()]  # noqa: PLW2901
        texts.append(_signs(text))
    texts = _continued(_upright(texts))
    stations = _stations(texts)
    bars = _between(texts, stations, system)
    remarks = [(n, text) for n, text in remarks if text]
    times = next((found for _, text in remarks if (found := said_times(text))), 0)
    if times and bars:
        repeat_bars(bars, times)
        remarks = [(n, text) for n, text in remarks if not said_times(text)]
    _times_inside(bars)
    return SystemBars(bars, offset, remarks)


def said_times(text: str) -> int:
    """Return how many times something is to be played; 0 where that is not said."""
    found = _TIMES.search(text)
    if found is None:
        return 0
    number = next((group for group in found.groups()[:4] if group), None)
    times = int(number) if number else 2 if found[5] else 3
    return times if 2 <= times <= _MOST_TIMES else 0


def repeat_bars(bars: Sequence[TabBar], times: int) -> None:
    """Repeat from the nearest start of a repeat to the last bar."""
    bars[-1].repeat_end = times
    if not any(bar.repeat_start for bar in bars):
        bars[0].repeat_start = True


def _signs(text: str) -> str:
    """Return a string whose first character is its bar line, whatever stands for it."""
    lead = re.match(r"[:\]!)I]+(?=[-—–\s\d|])", text)
    if lead and "|" not in lead[0]:
        text = "|" + "-" * (len(lead[0]) - 1) + text[lead.end() :]
    return text


def _upright(texts: list[str]) -> list[str]:
    """Return strings with bar lines where all of them have an `I`, `l` or `!` in one column, as a scanner reads them."""
    if len(texts) < 4 or not any(char in text for text in texts for char in "Il!"):
        return texts
    columns = [x for x in range(min(map(len, texts))) if all(text[x] in "Il!|" for text in texts)]
    for x in columns:
        texts = [text[:x] + "|" + text[x + 1 :] for text in texts]
    return texts


def _continued(texts: list[str]) -> list[str]:
    """Return strings whose `>` at both ends, which say that a bar goes on in the next line, are bar lines marked by `\\0`."""
    if texts and all(text.endswith(">") for text in texts):
        texts = [text[:-1] + "\0" for text in texts]
    if texts and all(text.startswith(">") for text in texts):
        texts = ["|" + text[1:] for text in texts]
    return texts


# --- where bar lines stand -------------------------------------------------------------------------------------------

Station = list[tuple[int, int]]  # by line: where the bar line begins and ends


def _stations(texts: Sequence[str]) -> list[Station]:
    found = [[(m.start(), m.end()) for m in _LINES.finditer(text)] for text in texts]
    counts = Counter(map(len, found))
    if len(counts) == 1:
        return [list(station) for station in zip(*found, strict=True)]
    usual = max(counts, key=lambda count: (counts[count], count))
    if counts[usual] * 2 > len(texts) and usual:
        pattern = next(lines for lines in found if len(lines) == usual)
        return [[_nearest(lines, at) for lines in found] for at in pattern]
    columns = Counter(start for lines in found for start, _ in lines)
    kept = [column for column in sorted(columns) if columns[column] * 2 >= len(texts)]
    return [[_nearest(lines, (column, column + 1)) for lines in found] for column in kept]


def _nearest(lines: Sequence[tuple[int, int]], at: tuple[int, int]) -> tuple[int, int]:
    """Return the bar line of a string nearest to where others have it; that place itself where it has none near."""
    best = min(lines, key=lambda line: abs(line[0] - at[0]), default=at)
    return best if abs(best[0] - at[0]) <= 2 else at


def _between(texts: Sequence[str], stations: Sequence[Station], system: TabSystem) -> list[TabBar]:
    lengths = [len(text) for text in texts]
    edges: list[Station] = list(stations)
    leads = (
        any(any(char not in "-— _" for char in text[: edge[0]]) for text, edge in zip(texts, edges[0], strict=True))
        if edges
        else True
    )
    starts = edges[0][0][0] if edges else 0
    if not edges or leads or starts > 2:
        edges.insert(0, [(0, 0)] * len(texts))
    goes_on = bool(texts) and all(text.endswith("\0") for text in texts)
    closed = bool(stations) and all(end >= length - 1 for (_, end), length in zip(stations[-1], lengths, strict=True))
    if (
        goes_on
        or (not closed and any(_has_notes(text[end:]) for text, (_, end) in zip(texts, edges[-1], strict=True)))
        or len(edges) == 1
    ):
        edges.append([(length - goes_on, length) for length in lengths])
        closed = False
    bars = [
        _bar(texts, before, after, system)
        for before, after in zip(edges, edges[1:], strict=False)
        if any(after[n][0] > before[n][1] for n in range(len(texts)))
    ]
    if bars and not closed:
        bars[-1].closed, bars[-1].goes_on = False, goes_on
        bars[-1].uneven = _cut(bars[-1], sum(text.endswith("|") for text in texts) * 2 >= len(texts))
    return bars


def _cut(bar: TabBar, barred: bool) -> tuple[int, ...]:
    """Return the lines whose string ends too early in a bar that not all strings close: well before the others, or before their bar lines."""
    lengths = sorted(len(segment.text) for segment in bar.segments)
    usual = lengths[len(lengths) // 2]
    least = usual if barred else usual * _CUT_SHARE
    return tuple(n for n, segment in enumerate(bar.segments) if len(segment.text) < least)


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
    ended = [text[a[1] : a[1] + 1] for text, a in zip(texts, after, strict=True)]
    del ended
    bar.double = all(end - start > 1 for start, end in after)
    _dots(bar, before, after)
    lengths = [len(segment.text) for segment in bar.segments]
    usual = Counter(lengths).most_common(1)[0][0]
    bar.uneven = tuple(n for n, length in enumerate(lengths) if length != usual)
    bar.same = any("%" in s.text for s in bar.segments) and not any(re.search(r"[\dxX]", s.text) for s in bar.segments)
    return bar


def _dots(bar: TabBar, before: Station, after: Station) -> None:
    """Read the dots of repeat signs at both ends of a bar, and put dashes in their place."""
    doubled = (any(end - start > 1 for start, end in before), any(end - start > 1 for start, end in after))
    for side, index in ((0, 0), (1, -1)):
        marked = [n for n, s in enumerate(bar.segments) if s.text and s.text[index] in _DOTS and len(s.text) > 1]
        signs = {bar.segments[n].text[index] for n in marked}
        if not marked or not (
            ":" in signs or len(marked) >= 2 and (doubled[side] or signs <= set("*oO.") and len(marked) == 2)
        ):
            continue
        for n in marked:
            segment = bar.segments[n]
            text = "-" + segment.text[1:] if side == 0 else segment.text[:-1] + "-"
            if side == 1 and len(text) > 1 and text[-2] in ".:*" and not text[-3:-2].isdigit():
                text = text[:-2] + "--"
            bar.segments[n] = segment._replace(text=text)
        if side == 0:
            bar.repeat_start = True
        else:
            bar.repeat_end = 2


def _times_inside(bars: Sequence[TabBar]) -> None:
    """Read `|---4x---|`: a bar that is played four times; where nothing else stands in it, the bar before."""
    for k, bar in enumerate(bars):
        for n, segment in enumerate(bar.segments):
            found = _INSIDE.search(segment.text)
            rest = segment.text[: found.start()] + segment.text[found.end() :] if found else "x"
            last = (
                found is not None
                and found[1]
                and not segment.text[found.end() :].strip("- ")
                and segment.text[: found.start()].endswith("--")
            )
            if found is None or (rest.strip("- ") and not last):
                continue
            times = int(found[1] or found[2])
            others = bool(last) or any(re.search(r"[\dxX]", s.text) for m, s in enumerate(bar.segments) if m != n)
            if not 2 <= times <= 16 or (found[2] and not others and k == 0) or (not others and k == 0):
                continue
            blank = "-" * len(found[0])
            bar.segments[n] = segment._replace(text=segment.text[: found.start()] + blank + segment.text[found.end() :])
            target = bar if others else bars[k - 1]
            target.repeat_start, target.repeat_end, target.guessed_times = True, times, True
            break
