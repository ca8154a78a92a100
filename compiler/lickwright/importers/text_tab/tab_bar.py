"""One bar of a system, as characters. Values only."""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.fast_dataclass import mutable_record


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
