"""Repeats: dots at bar lines, `|---4x---|`, and a number of times in words.

In: bars whose segments hold the signs, or words. Out: the bars' repeats, with dashes in the place of the signs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from lickwright.importers.text_tab.bar_lines import Station
from lickwright.importers.text_tab.tab_bar import Segment, TabBar

_TIMES = re.compile(
    r"(?:\(|\b)(?:x\s?(\d{1,2})(?!\d)|(\d{1,2})\s?x\b|(\d{1,2})\s?times|(?:repeat|play)\s(?:x\s?)?(\d{1,2})|(twice)|(thrice)|(three times))",
    re.IGNORECASE,
)
_INSIDE = re.compile(r"(?<![\dxX])(?:(\d{1,2})[xX]|[xX](\d{1,2}))(?![\dxX])")
_DOTS = ":*.oO"
_MOST_TIMES = 64
_MOST_INSIDE = 16


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


def read_dots(bar: TabBar, before: Station, after: Station) -> None:
    """Read the dots of repeat signs at both ends of a bar, and put dashes in their place."""
    if _dotted(bar, 0, any(end - start > 1 for start, end in before)):
        bar.repeat_start = True
    if _dotted(bar, -1, any(end - start > 1 for start, end in after)):
        bar.repeat_end = 2


def _dotted(bar: TabBar, side: int, doubled: bool) -> bool:
    """Return True if a bar has repeat dots at its first (0) or last (-1) character; they are taken away."""
    marked = [n for n, s in enumerate(bar.segments) if len(s.text) > 1 and s.text[side] in _DOTS]
    signs = {bar.segments[n].text[side] for n in marked}
    pair = len(marked) == 2 and signs <= set("*oO.")
    if ":" not in signs and not (pair or (doubled and len(marked) >= 2)):
        return False
    for n in marked:
        text = bar.segments[n].text
        bar.segments[n] = bar.segments[n]._replace(text="-" + text[1:] if side == 0 else _undotted(text))
    return True


def _undotted(text: str) -> str:
    """Return a string without the one or two dots at its end."""
    two = len(text) > 1 and text[-2] in ".:*" and not text[-3:-2].isdigit()
    return text[:-2] + "--" if two else text[:-1] + "-"


def read_times_inside(bars: Sequence[TabBar]) -> None:
    """Read `|---4x---|`: a bar that is played four times; where nothing else stands in it, the bar before."""
    for k, bar in enumerate(bars):
        for n, segment in enumerate(bar.segments):
            found = _times_on(segment)
            if found is None:
                continue
            alone, last = _stands(found, segment)
            others = last or _has_notes(bar.segments[:n] + bar.segments[n + 1 :])
            if not (alone or last) or (not others and k == 0):
                continue
            text = segment.text
            bar.segments[n] = segment._replace(text=text[: found.start()] + "-" * len(found[0]) + text[found.end() :])
            target = bar if others else bars[k - 1]
            target.repeat_start, target.repeat_end, target.guessed_times = True, int(found[1] or found[2]), True
            break


def _has_notes(segments: Sequence[Segment]) -> bool:
    """Return whether anything is played on some strings of a bar."""
    return any(re.search(r"[\dxX]", segment.text) for segment in segments)


def _times_on(segment: Segment) -> re.Match[str] | None:
    """Return the `4x` on one string of a bar, where so many times can be meant."""
    found = _INSIDE.search(segment.text)
    return found if found is not None and 2 <= int(found[1] or found[2]) <= _MOST_INSIDE else None


def _stands(found: re.Match[str], segment: Segment) -> tuple[bool, bool]:
    """Return whether `4x` stands alone on its string, and whether it comes last, apart from the notes before it."""
    before, after = segment.text[: found.start()], segment.text[found.end() :]
    alone = not (before + after).strip("- ")
    return alone, bool(found[1]) and not after.strip("- ") and before.endswith("--")
