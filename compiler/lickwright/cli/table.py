"""Rows in columns that fit the screen.

In: heads and cells. Out: lines. What does not fit is cut with `…`, the widest columns first; no text of a user's steers the
screen.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from lickwright.report.console import display_width, safe_text

_BETWEEN = 2  # blanks
_LEAST = 5  # columns to which a cell is cut, at most


def format_table(heads: Sequence[str], rows: Sequence[Sequence[str]], columns: int, least: str = "") -> str:
    """A line of heads, if there are any, and one a row, at most `columns` wide where that can be. Numbers stand to the right.

    The last column is a place: of a long one its end is kept. `least` is the head of the column that is cut first, down to
    that head, and left out where the rest has no room even so.
    """
    cells = [[" ".join(safe_text(cell).split()) for cell in row] for row in rows]
    widest = [max(map(display_width, column)) for column in zip_longest(heads, *cells, fillvalue="")]
    over = sum(widest) + _BETWEEN * (len(widest) - 1) - columns
    if least in heads and over > 0:
        at = list(heads).index(least)
        if over <= widest[at] - len(least):
            widest[at] -= over
        else:
            heads, *cells = [[*row[:at], *row[at + 1 :]] for row in (heads, *cells)]
            del widest[at]
    while sum(widest) + _BETWEEN * (len(widest) - 1) > columns:
        most = max(widest)
        if most <= _LEAST:
            break
        over = sum(widest) + _BETWEEN * (len(widest) - 1) - columns
        second = max((w for w in widest if w < most), default=_LEAST)
        alike = widest.count(most)
        lower = max(_LEAST, second, most - -(-over // alike))
        widest = [lower if w == most else w for w in widest]
    right = [
        all(cell.replace(".", "", 1).isdigit() or not cell for cell in column) for column in zip(*cells, strict=True)
    ]
    lines = [*([_line(heads, widest, right)] if heads else []), *(_line(row, widest, right) for row in cells)]
    return "".join(line.rstrip() + "\n" for line in lines)


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    last = len(cells) - 1
    fitted = [_fitted(cell, widths[n], right[n], n == last) for n, cell in enumerate(cells)]
    return (" " * _BETWEEN).join(fitted)


def _fitted(cell: str, wide: int, to_right: bool, its_end: bool) -> str:
    if display_width(cell) > wide:
        cell = cut(cell[::-1], wide)[::-1] if its_end else cut(cell, wide)
    blank = " " * (wide - display_width(cell))
    return blank + cell if to_right else cell + blank


def cut(text: str, columns: int) -> str:
    """The beginning of a text that fits, `…` where it goes on."""
    if display_width(text) <= columns:
        return text
    kept, taken = "", 0
    for char in text:
        taken += display_width(char)
        if taken > columns - 1:
            break
        kept += char
    return kept.rstrip() + "…"
