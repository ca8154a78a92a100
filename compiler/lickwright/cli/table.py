"""Rows in columns that fit the screen.

In: heads and cells. Out: lines. What does not fit is cut with `…`, the widest columns first; control characters in cells are shown by number.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import zip_longest

from lickwright.report.console import display_width, safe_text

_BETWEEN = 2  # blanks
_LEAST = 5  # columns to which a cell is cut, at most


def format_table(heads: Sequence[str], rows: Sequence[Sequence[str]], columns: int, least: str = "") -> str:
    """Return a line of heads, if there are any, and one for each row, at most `columns` wide if that can be.

    Columns of numbers are set to the right. The last column is a place: of a long one its end is kept. `least` is the head of the
    column that is cut first, down to that head; it is left out if the rest has no room even so.
    """
    cells = [[" ".join(safe_text(cell).split()) for cell in row] for row in rows]
    widths = [max(map(display_width, column)) for column in zip_longest(heads, *cells, fillvalue="")]
    over = _width(widths) - columns
    if over > 0 and least in heads:
        at = list(heads).index(least)
        if over <= widths[at] - len(least):
            widths[at] -= over
        else:
            heads, *cells = [[*row[:at], *row[at + 1 :]] for row in (heads, *cells)]
            del widths[at]
    widths = _narrowed(widths, columns)
    right = [_is_number_column(column) for column in zip(*cells, strict=True)]
    lines = [_line(heads, widths, right)] if heads else []
    lines += [_line(row, widths, right) for row in cells]
    return "".join(line.rstrip() + "\n" for line in lines)


def _width(widths: Sequence[int]) -> int:
    return sum(widths) + _BETWEEN * (len(widths) - 1)


def _narrowed(widths: list[int], columns: int) -> list[int]:
    """Return the widths with the widest made narrower, all equal ones alike, until they fit or none is above `_LEAST`."""
    while (over := _width(widths) - columns) > 0:
        most = max(widths)
        if most <= _LEAST:
            break
        second = max((w for w in widths if w < most), default=_LEAST)
        lower = max(_LEAST, second, most - -(-over // widths.count(most)))
        widths = [lower if w == most else w for w in widths]
    return widths


def _is_number_column(cells: Sequence[str]) -> bool:
    return all(cell.replace(".", "", 1).isdigit() or not cell for cell in cells)


def _line(cells: Sequence[str], widths: Sequence[int], right: Sequence[bool]) -> str:
    last = len(cells) - 1
    fitted = [_fitted(cell, widths[n], right[n], n == last) for n, cell in enumerate(cells)]
    return (" " * _BETWEEN).join(fitted)


def _fitted(cell: str, wide: int, to_right: bool, its_end: bool) -> str:
    if display_width(cell) > wide:
        cell = truncate(cell[::-1], wide)[::-1] if its_end else truncate(cell, wide)
    blank = " " * (wide - display_width(cell))
    return blank + cell if to_right else cell + blank


def truncate(text: str, columns: int) -> str:
    """Return the beginning of a text that fits into `columns`, with `…` if it goes on."""
    if display_width(text) <= columns:
        return text
    kept, taken = "", 0
    for char in text:
        taken += display_width(char)
        if taken > columns - 1:
            break
        kept += char
    return kept.rstrip() + "…"
