"""Bars in columns: the lines of a lick written under one another.

In: lines of cells, each with the sign before it and its words at their instants. Out: one text a line. Lines stand in one block as long as
that costs little; in a block the bar lines stand under one another, and so do the words that begin at one instant of a bar.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import zip_longest
from typing import NamedTuple

WIDTH = 100  # characters of a line
_LOOSE = 8  # blanks that a line may get for being in a block, and in addition one for each `_SHARE` characters
_SHARE = 3
_MOST_BLANK = 12  # blanks before a bar line
_MOST_AT_START = 12  # blanks before the first note of a bar, as wide as `(grace: G8) `
_MOST_AT_END = 14  # blanks before the last bar line of a line
_FARTHEST = 16  # characters that the shortest line with a remark may be away from the longest
_MOST_LINES = 24  # of a block that is not a whole paragraph, since each size of it is tried


class Word(NamedTuple):
    """Text without a blank at which a line may be aligned or broken."""

    at: Fraction  # its instant, from the start of its bar
    lead: str  # what stands before its note, a blank at its end: directions, openers of words, grace notes
    text: str  # what is aligned
    breaks: bool = False  # the writer began a line with it


class BarCell(NamedTuple):
    """One bar of a line."""

    sign: str  # the bar line before it; "" where the line begins within a bar
    words: tuple[Word, ...]


class MusicLine(NamedTuple):
    """One line of music."""

    cells: tuple[BarCell, ...]
    end: str  # the bar line that ends it; "" where it ends within a bar


def plain_line(line: MusicLine) -> str:
    """Return a line by itself, with one blank between its words."""
    parts = [part for cell in line.cells for part in (cell.sign, *(word.lead + word.text for word in cell.words))]
    return " ".join(filter(None, (*parts, line.end)))


def aligned_lines(lines: Sequence[MusicLine]) -> list[str]:
    """Return the text of each line of a paragraph, in as few blocks as look well."""
    out: list[str] = []
    alone: list[MusicLine] = []  # lines whose notes stand under no others': only their bars are aligned
    for block in _blocks(lines, True):
        if len(block) == 1:
            alone.append(lines[len(out) + len(alone)])
        else:
            out += _with_bars_aligned(alone) + block
            alone = []
    return out + _with_bars_aligned(alone)


def _with_bars_aligned(lines: Sequence[MusicLine]) -> list[str]:
    return [text for block in _blocks(lines, False) for text in block]


def _blocks(lines: Sequence[MusicLine], words: bool) -> Iterator[list[str]]:
    """Yield the texts of lines, block by block; `words`: the notes of a block stand under one another too."""
    if (whole := _block(lines, words)) is not None:
        yield whole
        return
    at = 0
    while at < len(lines):
        block = [plain_line(lines[at])]
        for size in range(2, min(len(lines) - at, _MOST_LINES) + 1):
            if (larger := _block(lines[at : at + size], words)) is None:
                break
            block = larger
        yield block
        at += len(block)


def _block(lines: Sequence[MusicLine], words: bool) -> list[str] | None:
    """Return the lines as one block; None where that leaves too much blank, or if `words` do not fit under one another."""
    plain = [plain_line(line) for line in lines]
    if len(lines) < 2:
        return plain
    texts = _column_by_column(lines, words)
    if texts is None or max(map(_blank_at_end, texts)) > _MOST_AT_END:
        return None
    for text, own, line in zip(texts, plain, lines, strict=True):
        if not _is_full(text.rstrip() + line.end, own):  # blank before a last bar line does no harm
            return None
    done = [(text + line.end).rstrip() for text, line in zip(texts, lines, strict=True)]
    return done if max(map(len, done)) <= max(WIDTH, *map(len, plain)) else None


def _column_by_column(lines: Sequence[MusicLine], words: bool) -> list[str] | None:
    """Return the bars of lines under one another, up to the last sign of each; None where a bar leaves too much blank or `words` do not fit."""
    texts = [""] * len(lines)
    for column in zip_longest(*(line.cells for line in lines)):
        bars = {n: cell for n, cell in enumerate(column) if cell is not None}
        aligned = _column_texts(list(bars.values()), words)
        if aligned is None or any(_blank_at_end(texts[n]) > _MOST_BLANK for n in bars):
            return None
        for n, text in zip(bars, aligned, strict=True):
            texts[n] += f"{text} "
    return texts


def _blank_at_end(text: str) -> int:
    return len(text) - len(text.rstrip())


def _column_texts(cells: Sequence[BarCell], words: bool) -> list[str] | None:
    """Return the bars of a column with the signs before them, all of one width; None if `words` do not fit under one another."""
    signs = _padded([cell.sign for cell in cells])
    bars = _aligned_words([cell.words for cell in cells], words)
    if bars is None:
        return None
    return [f"{sign} {bar}" if any(bars) else sign for sign, bar in zip(signs, bars, strict=True)]


def _padded(texts: Iterable[str]) -> list[str]:
    known = list(texts)
    width = max(map(len, known))
    return [text.ljust(width) for text in known]


def _aligned_words(bars: Sequence[Sequence[Word]], words: bool) -> list[str] | None:
    """Return bars that stand under one another, all of one width; `words`: their words too, None where that takes too much room."""
    plain = [" ".join(word.lead + word.text for word in bar) for bar in bars]
    if not words:
        return _padded(plain)
    places = _places(bars)
    aligned = [_placed(bar, places) for bar in bars]
    natural = max(map(len, plain))
    close = max(map(len, aligned)) <= natural + natural // 4 + 3
    begins = all(len(text) - len(text.lstrip()) <= _MOST_AT_START for text in aligned)
    return _padded(aligned) if close and begins else None


def _places(bars: Sequence[Sequence[Word]]) -> dict[Fraction, int]:
    """Return in which column the notes of each instant begin."""
    before: dict[
        Fraction, list[tuple[Fraction | None, int]]
    ] = {}  # what stands before them in a bar, and how much it takes
    for bar in bars:
        last: Word | None = None
        for word in bar:
            room = len(word.lead) + (len(last.text) + 1 if last else 0)
            before.setdefault(word.at, []).append((last.at if last else None, room))
            last = word
    places: dict[Fraction, int] = {}
    least = 0
    for at in sorted(before):
        least = max(least, *(room + (places[start] if start is not None else 0) for start, room in before[at]))
        places[at] = least
    return places


def _placed(bar: Sequence[Word], places: dict[Fraction, int]) -> str:
    text = ""
    for word in bar:
        text = text.ljust(places[word.at] - len(word.lead)) + word.lead + word.text
    return text


def with_remarks(lines: Sequence[tuple[str, str]]) -> list[str]:
    """Return lines with their remarks, "" for none, in one column where no line is much shorter than another."""
    lengths = [len(text) for text, remark in lines if remark]
    column = max(lengths, default=0)
    if column - min(lengths, default=0) > _FARTHEST:
        column = 0
    return [f"{text:<{column}}  {remark}" if remark else text for text, remark in lines]


def aligned_rows(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows of cells with ` | ` between them, in columns where that leaves little blank."""
    plain = [" ".join(" | ".join(row).split()) for row in rows]
    widths = [max(map(len, column)) for column in zip_longest(*rows, fillvalue="")]
    aligned = [
        " | ".join([*(cell.ljust(width) for cell, width in zip(row[:-1], widths, strict=False)), row[-1]])
        for row in rows
    ]
    return aligned if all(map(_is_full, aligned, plain)) else plain


def _is_full(text: str, plain: str) -> bool:
    """Return True if a line in columns is not much longer than it is without."""
    return len(text) - len(plain) <= _LOOSE + len(plain) // _SHARE
