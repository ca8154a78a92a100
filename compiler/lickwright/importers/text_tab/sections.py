"""The parts of a text that become licks of their own, and the prose around the systems of each.

In: lines and systems. Out: `TabSection`s. Our own tabs of several licks are parted at their headings; what others write is one lick.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from lickwright.importers.text_tab.heading import is_ours
from lickwright.importers.text_tab.systems import TabSystem
from lickwright.importers.text_tab.text_lines import TextLine

_METER = re.compile(r"meter +\d+/\d+")


class TabSection(NamedTuple):
    """One lick's part of a text."""

    lines: tuple[TextLine, ...]
    systems: tuple[TabSystem, ...]
    ours: bool

    def prose(self) -> list[TextLine]:
        """Return the lines that are no strings."""
        taken = {number for system in self.systems for number in range(system.first, system.last + 1)}
        strings = {
            n for s in self.systems for row in s.rows for n in (row.line.number, *range(row.line.number, row.last + 1))
        }
        return [
            line
            for line in self.lines
            if line.number not in strings and (line.number not in taken or line.text.strip())
        ]


def find_sections(lines: Sequence[TextLine], systems: Sequence[TabSystem]) -> list[TabSection]:
    """Return the sections of a text."""
    if not is_ours(lines):
        return [TabSection(tuple(lines), tuple(systems), False)]
    starts = [_title_line(lines, k) for k, line in enumerate(lines) if _METER.match(line.text)]
    starts = sorted({0 if n == 0 else start for n, start in enumerate(starts)}) or [0]  # no meter can be read
    found = []
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        part = tuple(lines[start:end])
        inside = tuple(s for s in systems if start <= s.first < end)
        if inside:
            found.append(TabSection(part, inside, is_ours(part)))
    return found


def _title_line(lines: Sequence[TextLine], k: int) -> int:
    """Return the index of the line on which the heading that has line `k` begins: its title stands a blank line above its list."""
    while k > 0 and lines[k - 1].text.strip():
        k -= 1
    k -= 1
    while k > 0 and lines[k - 1].text.strip():
        k -= 1
    return max(k, 0)
