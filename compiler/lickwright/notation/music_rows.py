"""The rows of a lick's music: bars under one another, remarks in a column, lines that are too long broken where their writer broke them.

In: rows. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.core.fast_dataclass import mutable_record
from lickwright.notation.text_columns import WIDTH, MusicLine, aligned_lines, plain_line, with_remarks

_INDENT = "  "  # of a line that begins within a bar


@mutable_record
class MusicRow:
    """A line that has been written: music, a comment, or music with a remark."""

    music: MusicLine | None
    remark: str = ""
    blank: bool = False  # a blank line stands before it
    whole: bool = False  # it begins and ends with bars


def row_lines(rows: Sequence[MusicRow]) -> list[str]:
    """Return the text of rows; those of whole bars that follow one another stand in columns."""
    lines: list[str] = []
    block: list[MusicRow] = []
    for row in rows:
        texts = _split(row.music) if row.music is not None else []
        whole = row.whole and len(texts) == 1
        if block and (row.blank or not whole):
            lines += _block_lines(block)
            block = []
        if row.blank:
            lines.append("")
        if whole:
            block.append(row)
        else:
            lines += _with_remark(texts, row.remark)
    return lines + _block_lines(block)


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
