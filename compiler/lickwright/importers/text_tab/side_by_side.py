"""Parts of several guitars: systems that stand side by side on the same lines, or under the names of different guitars.

In: a `TabSystem` with the rows around it. Out: the systems that it is made of, from left to right, each with its part of every line. A system is
parted only where every one of its lines has the name of a string again, in one column and behind blanks.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from lickwright.importers.text_tab.string_lines import StringLine, string_line
from lickwright.importers.text_tab.systems import TabSystem
from lickwright.importers.text_tab.text_lines import TextLine, part_of_line

_NEXT_NAME = re.compile(r"(?<=[-|:])\s+(?=(?:[A-Ha-h][#b]?|\d)\s?[|:])")

_PART = re.compile(
    r"\W*(?:(?:lead|rhythm|acoustic|electric|clean)\s+)?(?P<who>gtr|guitar|bass)\b\.?\s*#?(?P<which>\d|[IV]+|[AB])?\W*(?:\(|$|\s{2})",
    re.IGNORECASE,
)


def systems_side_by_side(system: TabSystem) -> list[TabSystem]:
    """Return the systems that stand on the lines of one; where there is one, it alone."""
    if not all(row.label for row in system.rows) or system.joined:
        return [system]
    found: list[TabSystem] = []
    rest = system
    while (at := _next_column(rest.rows)) is not None:
        right = _part(rest, at, None)
        left = _part(rest, 0, at)
        if right is None or left is None:
            break
        left.side_by_side = True
        found.append(left)
        rest = right
    return [*found, rest]


def other_part(systems: Sequence[TabSystem]) -> TextLine | None:
    """Return the first line of a part that is not the first one's; None where all systems are one part."""
    names: set[str] = set()
    for system in systems:
        if system.side_by_side:
            return system.rows[0].line
        for line in system.above:
            if (name := _PART.match(line.text)) is not None:
                names.add(f"{name['who'][0]}{name['which'] or ''}".lower())
                if len(names) > 1:
                    return line
    return None


def _next_column(rows: Sequence[StringLine]) -> int | None:
    """Return the column at which all lines have the name of a string again; None where they have not."""
    columns = [{match.end() for match in _NEXT_NAME.finditer(row.line.text, row.body)} for row in rows]
    return min(set.intersection(*columns), default=None)


def _part(system: TabSystem, first: int, last: int | None) -> TabSystem | None:
    """Return what stands between two columns as a system; None where a line of it is no string."""
    rows = [string_line(part_of_line(row.line, first, last)) for row in system.rows]
    found = [row for row in rows if row is not None and row.label]
    if len(found) < len(rows):
        return None
    above = [part_of_line(line, first, last) for line in system.above]
    below = [part_of_line(line, first, last) for line in system.below]
    return TabSystem(found, above, below, system.joined, system.spread, system.dashes, system.long_dashes)
