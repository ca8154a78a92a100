"""A source text and positions in it.

In: a name and a text (or raw bytes). Out: `Source`, which turns an offset into line and column, and `Span`, a stretch
of it. Knows nothing of the notation. All offsets count code points of the normalized text (no byte-order mark, LF line
ends), which gives the lines and columns that an editor shows.
"""

from __future__ import annotations

from bisect import bisect_right
from typing import NamedTuple

from lickwright.core.unreadable import MAX_BYTES as MAX_BYTES
from lickwright.core.unreadable import Unreadable as Unreadable


class Span(NamedTuple):
    """A stretch of a source: offsets in code points, `end` exclusive."""

    start: int
    end: int


class Position(NamedTuple):
    """A line and a column, both from 1, columns in code points."""

    line: int
    column: int


class Source:
    """One text, and its name as the user gave it; `-` for standard input."""

    __slots__ = ("_starts", "name", "text")

    def __init__(self, name: str, text: str) -> None:
        self.name = name
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        self.text = text.removeprefix("\ufeff")
        self._starts: list[int] | None = None

    def _line_starts(self) -> list[int]:
        if self._starts is None:  # only needed when there is a position to report
            starts, at = [0], self.text.find("\n")
            while at >= 0:
                starts.append(at + 1)
                at = self.text.find("\n", at + 1)
            self._starts = starts
        return self._starts

    def position(self, offset: int) -> Position:
        """Return the line and column of `offset`; past the end counts as the end."""
        offset = max(0, min(offset, len(self.text)))
        starts = self._line_starts()
        line = bisect_right(starts, offset)
        return Position(line, offset - starts[line - 1] + 1)

    def line(self, number: int) -> str:
        """Return the text of line `number` (from 1), without its line end."""
        starts = self._line_starts()
        end = starts[number] - 1 if number < len(starts) else len(self.text)
        return self.text[starts[number - 1] : end]


def decode_source(name: str, data: bytes) -> Source:
    """Return the bytes of a file as a `Source`. Raises Unreadable for too many bytes and for bytes that are not UTF-8."""
    if len(data) > MAX_BYTES:
        raise Unreadable(f"the file is larger than 1 MiB ({len(data):,} bytes)", "split it into several files")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Unreadable("the file is UTF-16 text, not UTF-8", "save it again as UTF-8")
    try:
        return Source(name, data.decode("utf-8"))
    except UnicodeDecodeError as e:
        line = data.count(b"\n", 0, e.start) + 1
        column = len(data[data.rfind(b"\n", 0, e.start) + 1 : e.start].decode("utf-8", "replace")) + 1
        message = f"the file is not UTF-8 text: byte {data[e.start]:#04x} at line {line}, column {column}"
        raise Unreadable(
            message, "was it saved as Latin-1 or by a word processor? save it again as plain text, UTF-8"
        ) from None
