"""Rows of texts over the strings, each row on as many lines as it takes for no text to touch another.

In: texts with their row and the character where they start. Out: lines of text, the rows in the order of `GridRow`. Knows nothing
of licks; widths are those of a fixed-width font.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from unicodedata import combining, east_asian_width

from lickwright.layout.grid import GridRow

Item = tuple[int, str]  # the character where a text starts, and the text
Lane = list[Item]  # one line of a row
_SHORTEST_WORDS = 24  # characters to which words are broken near the end of a line; an estimate
_ENDING_ROOM = 4  # characters between a bar's number and an ending, which begins with a number too
_BESIDE_NUMBER = (GridRow.ENDING, GridRow.TEMPO, GridRow.CHORD, GridRow.WORDS)  # no digits alone stand in these rows


class Lanes:
    """The rows over one line of tab, filled text by text."""

    def __init__(self, width: int) -> None:
        self._width = width
        self._rows: dict[GridRow, list[Lane]] = {}

    def lay(self, row: GridRow, start: int, text: str) -> None:
        """Put a text into the first line of its row that has room at this very place."""
        lanes = self._rows.setdefault(row, [])
        end = start + text_columns(text)
        for lane in lanes:
            if all(start > at + text_columns(known) or end < at for at, known in lane):
                lane.append((start, text))
                return
        lanes.append([(start, text)])

    def lay_words(self, row: GridRow, start: int, text: str) -> None:
        """Put words at their place; moved to the left, or broken, where the line would get too long."""
        width = self._width
        if start + text_columns(text) <= width:
            self.lay(row, start, text)
            return
        lanes = self._rows.setdefault(row, [])
        start = max(0, min(start, width - min(text_columns(text), _SHORTEST_WORDS)))
        lines = wrap_words(text, width - start)
        start = max(0, min(start, width - max(map(text_columns, lines))))
        free = next(
            (i for i in range(len(lanes) + 1) if all(_ends_before(lane, start) for lane in lanes[i:])), len(lanes)
        )
        for index, line in enumerate(lines, free):
            if index == len(lanes):
                lanes.append([])
            lanes[index].append((start, line))

    def label(self, row: GridRow, label: str) -> None:
        """Put a label behind the last text of a row's first line, if the row has one and the line is wide enough."""
        for lane in self._rows.get(row, ())[:1]:
            end = max(at + len(text) for at, text in lane) + 2
            if end + len(label) <= self._width:
                lane.append((end, label))

    def lines(self, number: str) -> list[str]:
        """Return the rows from the top, with the bar's number at the left of the first or on a line of its own."""
        top = min(self._rows, default=None)
        lanes = [lane for row in sorted(self._rows) for lane in self._rows[row]]
        room = len(number) + (_ENDING_ROOM if top is GridRow.ENDING else 0)
        if top in _BESIDE_NUMBER and min(lanes[0])[0] > room:
            lanes[0].append((0, number))
        else:
            lanes.insert(0, [(0, number)])
        return [lane_text(lane) for lane in lanes]


def _ends_before(lane: Sequence[Item], start: int) -> bool:
    return all(at + text_columns(text) < start for at, text in lane)


def lane_text(lane: Iterable[Item]) -> str:
    """Return texts as one line, each at its place, without trailing blanks."""
    line, end = "", 0
    for start, text in sorted(lane):
        line += " " * (start - end) + text
        end = (start if start > end else end) + (len(text) if text.isascii() else text_columns(text))
    return line.rstrip()


def wrap_words(text: str, width: int) -> list[str]:
    """Return the words in lines no wider than `width` characters; a word that is wider alone is left whole."""
    if len(text) <= width and text.isascii():
        return [text]
    lines = [""]
    for word in text.split():
        if lines[-1] and text_columns(lines[-1]) + 1 + text_columns(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}" if lines[-1] else word
    return lines


def text_columns(text: str) -> int:
    """Return the columns that a text takes in a fixed-width font: two for wide characters, none for combining marks."""
    if text.isascii():
        return len(text)
    return sum(0 if combining(char) else 2 if east_asian_width(char) in "WF" else 1 for char in text)
