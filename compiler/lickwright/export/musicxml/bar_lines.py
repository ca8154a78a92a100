"""Bar lines: repeats, endings, the ends of sections.

In: the bars of a Timeline. Out: `barline` elements of each `measure`. Every repeat has both its signs, so that no reader has to guess where it
goes back to.
"""

from __future__ import annotations

from typing import NamedTuple
from xml.etree.ElementTree import Element

from lickwright.export.musicxml.elements import add
from lickwright.timeline.model import Bar, Timeline

_MOST_NUMBERS = 64  # of the times that a first ending is played, which are listed one by one; past it only the first and the last are


class BarSigns(NamedTuple):
    """What the lines of one bar say."""

    repeat_start: bool
    ending_start: str  # the times that it is played: "1, 2"; "" where no ending starts
    ending_stop: str  # the same, where an ending ends
    open_ended: bool  # the ending that ends here has no repeat sign


def bar_signs(timeline: Timeline) -> list[BarSigns]:
    """Return the signs of each bar."""
    bars = timeline.bars
    starts = {start for start, end in _repeats(bars) if start or bars[0].repeat_start}
    found = []
    ending = ""  # that is open
    for n, bar in enumerate(bars):
        started = _ending_numbers(bars, n)
        ending = started or ending
        ends = bool(bar.repeat_end) or bar.ending == 2
        found.append(BarSigns(n in starts, started, ending if ends else "", not bar.repeat_end))
        ending = "" if ends else ending
    return found


def _ending_numbers(bars: tuple[Bar, ...], index: int) -> str:
    """Return the times that the ending that starts with a bar is played; "" where none starts."""
    if bars[index].ending == 1:
        return _numbers(next((bar.repeat_end for bar in bars[index:] if bar.repeat_end), 2) - 1)
    if bars[index].ending:
        return str(next((bar.repeat_end for bar in reversed(bars[:index]) if bar.repeat_end), 2))
    return ""


def _numbers(last: int) -> str:
    """Return the times from the first to the last: "1, 2"."""
    if last > _MOST_NUMBERS:
        return f"1, {last}"
    return ", ".join(map(str, range(1, last + 1)))


def _repeats(bars: tuple[Bar, ...]) -> list[tuple[int, int]]:
    """Return the first and the last bar of each repeat, by index."""
    found, start = [], 0
    for n, bar in enumerate(bars):
        if bar.repeat_start:
            start = n
        if bar.repeat_end:
            found.append((start, n))
            start = n + 1
    return found


def add_left_line(measure: Element, signs: BarSigns) -> None:
    """Append the line at the start of a bar, where it says something."""
    if not signs.repeat_start and not signs.ending_start:
        return
    line = add(measure, "barline", location="left")
    if signs.repeat_start:
        add(line, "bar-style", "heavy-light")
    if signs.ending_start:
        add(line, "ending", number=signs.ending_start, type="start")
    if signs.repeat_start:
        add(line, "repeat", direction="forward")


def add_right_line(measure: Element, bar: Bar, signs: BarSigns, is_last: bool) -> None:
    """Append the line at the end of a bar, where it says something."""
    style = "light-heavy" if is_last or bar.repeat_end else "light-light" if bar.double else ""
    if not style and not signs.ending_stop:
        return
    line = add(measure, "barline", location="right")
    if style:
        add(line, "bar-style", style)
    if signs.ending_stop:
        add(line, "ending", number=signs.ending_stop, type="discontinue" if signs.open_ended else "stop")
    if bar.repeat_end:
        times = {} if bar.repeat_end == 2 else {"times": bar.repeat_end}
        add(line, "repeat", direction="backward", **times)
