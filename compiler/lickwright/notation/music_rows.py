"""The rows of a lick's music: bars under one another, remarks in a column, lines that are too long broken where their writer broke them.

In: rows. Out: lines of text.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from lickwright.core.fast_dataclass import mutable_record
from lickwright.notation.text_columns import WIDTH, MusicLine, aligned_lines, plain_line, with_remarks

_WORD = re.compile(r"[^\s|#]+")
_COUNT = re.compile(r"(?:[0-9]{1,2}|[&+ea.]|and|trip|let)\*?")
_INDENT = "  "  # of a line that begins within a bar


@mutable_record
class MusicRow:
    """A line that has been written: music, a comment, or music with a remark."""

    music: MusicLine | None
    remark: str = ""
    blank: bool = False  # a blank line stands before it
    whole: bool = False  # it begins and ends with bars
    written: str = ""  # as the writer wrote it, where it was one line


def row_lines(rows: Sequence[MusicRow], above: str = "") -> list[str]:
    """Return the text of rows; those of whole bars that follow one another stand in columns.

    What a comment counts over stays as it was written, up to the next blank line or comment; `above` is the comment that stands over the first row.
    """
    lines: list[str] = []
    block: list[MusicRow] = []
    counted = {n - 1 for n in _rows_under_counts([MusicRow(None, written=above), *rows])}
    for n, row in enumerate(rows):
        texts = [row.written] if n in counted else _split(row.music) if row.music is not None else []
        whole = row.whole and len(texts) == 1 and n not in counted
        if block and (row.blank or not whole):
            lines += _block_lines(block)
            block = []
        if row.blank:
            lines.append("")
        if whole:
            block.append(row)
        else:
            lines += texts if n in counted else _with_remark(texts, row.remark)
    return lines + _block_lines(block)


def _rows_under_counts(rows: Sequence[MusicRow]) -> set[int]:
    """Return the indices of comments that count the beats over the notes below them, `# 1 & 2 &`, and of the lines that they count over."""
    found: set[int] = set()
    for n, (row, below) in enumerate(pairwise(rows)):
        if (
            row.music is None
            and below.music is not None
            and not below.blank
            and _counts_over(row.written, below.written)
        ):
            found |= {n, n + 1}
        elif n in found and row.music is not None and below.music is not None and below.written and not below.blank:
            found.add(n + 1)
    return found


def _counts_over(comment: str, music: str) -> bool:
    """Return True if each word of a comment is one of a count, and stands over a word of the music, give or take a column."""
    words = list(_WORD.finditer(comment))
    return len(words) > 1 and all(
        _COUNT.fullmatch(word[0]) and music[word.start() : word.start() + 2].strip() for word in words
    )


def _block_lines(block: Sequence[MusicRow]) -> list[str]:
    texts = aligned_lines([row.music for row in block if row.music is not None])
    return with_remarks([(text, row.remark) for text, row in zip(texts, block, strict=True)])


def _with_remark(texts: list[str], remark: str) -> list[str]:
    if not texts or not remark:
        return texts or [remark]
    return [*texts[:-1], f"{texts[-1]}  {remark}"]


def _split(line: MusicLine) -> list[str]:
    """Return the text of a line by itself, in several lines as its writer broke it where it is too long."""
    indent = "" if line.cells[0].sign else _INDENT
    whole = indent + plain_line(line)
    if len(whole) <= WIDTH:
        return [whole]
    lines: list[list[str]] = [[]]
    for cell in line.cells:
        lines[-1] += [cell.sign] if cell.sign else []
        for word in cell.words:
            if word.breaks:
                lines.append([])
            lines[-1].append(word.lead + word.text)
    lines[-1] += [line.end] if line.end else []
    return [(_INDENT if n else indent) + " ".join(words) for n, words in enumerate(lines)]
