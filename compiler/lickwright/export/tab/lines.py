"""Breaks a lick into lines of tab no wider than asked.

In: the pieces of a `Grid` and a width. Out: for each line its pieces, placed. Lines break at bar lines; only a bar that
is too long for a line by itself breaks at a beat.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from operator import attrgetter
from typing import NamedTuple

from lickwright.core.fast_dataclass import replace
from lickwright.export.tab.tab_spacing import TIGHT, ColumnBlock, SpacingScale, TabPiece, bar_pieces, cut_piece
from lickwright.layout.grid import Grid
from lickwright.timeline.bar_count import count_shift
from lickwright.timeline.model import Bar

_NARROW = 2  # characters a step where a bar does not fit otherwise; an estimate
Sign = tuple[str, str]  # a bar line: on most strings, and on the two in the middle, where repeats have their dots
CONTINUED: Sign = (">", ">")  # ends a line in the middle of a bar, and starts the next


class PlacedBar(NamedTuple):
    """A piece at its place on a line; positions are in characters from the start of the line."""

    piece: TabPiece
    left: int  # character where it starts, just after the bar line before it
    xs: tuple[int, ...]  # characters of its columns
    right: int  # character where the bar line after it starts
    blocks: tuple[ColumnBlock, ...]  # as drawn here: at the start of a line with what is held over


class Line(NamedTuple):
    """One line of tab: pieces beside each other, with the bar lines between them."""

    pieces: tuple[PlacedBar, ...]
    signs: tuple[Sign, ...]  # the bar line before the first piece, and after each
    width: int  # characters in all
    continued: bool  # it starts in the middle of a bar


def bar_line_sign(left: Bar | None, right: Bar | None) -> Sign:
    """Return the bar line between two bars of one line; None is an end of the line."""
    ends, starts = left is not None and left.repeat_end > 0, right is not None and right.repeat_start
    if ends or starts:
        sides = "-" if ends else "", "-" if starts else ""
        return "||".join(sides), "||".join(side.replace("-", ":") for side in sides)
    return ("||", "||") if left is not None and left.double else ("|", "|")


def break_lines(grid: Grid, width: int) -> list[Line]:
    """Return the lick in lines of at most `width` characters.

    One scale serves the whole lick where that costs no line, else one a line where it fits, else one a bar.
    """
    labels = max(map(len, grid.timeline.settings.tuning.labels))
    pieces: list[TabPiece] = []
    for piece in bar_pieces(grid):
        pieces += _fitting(grid, piece, width - labels)
    breaker = _Breaker(grid, pieces, width, labels)
    own = [piece.scale for piece in pieces]
    widest = max(own, key=_ratio, default=TIGHT)
    if any(scale.ratio not in (0, widest.ratio) for scale in own):
        common = [scale if scale.chars == 0 else widest for scale in own]
        wanted, evened = breaker.best(common)
        if wanted == 1 or wanted <= breaker.best(own)[0]:
            return [breaker.line(first, last, common) for first, last in evened]
    _, lines = breaker.best(own)
    return [_evened(breaker, first, last, own, width) for first, last in lines]


_ratio = attrgetter("ratio")


def _evened(breaker: _Breaker, first: int, last: int, own: Sequence[SpacingScale], width: int) -> Line:
    """Return one line, with the widest scale of its bars for all of them where they fit."""
    line = breaker.line(first, last, own)
    widest = max(own[first:last], key=_ratio)
    if all(scale.ratio in (0, widest.ratio) for scale in own[first:last]):
        return line
    common = [scale if scale.chars == 0 else widest for scale in own]
    wide = breaker.line(first, last, common)
    return wide if wide.width <= width else line


def _fitting(grid: Grid, piece: TabPiece, room: int) -> list[TabPiece]:
    """Return the piece as it is, or narrower, or else in parts: a long bar is better narrow than broken."""
    bar = grid.bars[piece.index].bar
    room -= len(bar_line_sign(None, bar)[0]) + max(len(bar_line_sign(bar, None)[0]), len(CONTINUED[0]))
    if piece.spaced(piece.scale, True).length <= room:
        return [piece]
    for scale in (SpacingScale(min(_NARROW, piece.scale.chars), piece.scale.grains), TIGHT):
        if piece.spaced(scale, True).length <= room:
            return [replace(piece, scale=scale)]
    return _parts(grid, piece, room)


def _parts(grid: Grid, piece: TabPiece, room: int) -> list[TabPiece]:
    """Return a piece in parts: as many beats to a line as fit; where a single beat does not, as many columns."""
    beats, count = _beat_columns(grid, piece), len(piece.blocks)
    parts: list[TabPiece] = []
    first = 0
    while first < count:
        ends = [i for i in beats if i > first] + [count]
        farthest_first = (*reversed(ends), *range(ends[0] - 1, first, -1))
        last = next((i for i in farthest_first if _fits(grid, piece, first, i, room)), first + 1)
        parts.append(cut_piece(grid, piece, first, last))
        first = last
    return [_easiest(made, room) for made in parts]


def _beat_columns(grid: Grid, piece: TabPiece) -> list[int]:
    """Return the columns of a piece that stand on a beat, by their number in it; no stroke before the beat is cut off from it."""
    timeline, columns = grid.timeline, grid.columns[piece.first : piece.first + len(piece.blocks)]
    meter, shift = timeline.settings.meter, count_shift(timeline, timeline.bars[piece.index])
    beat = meter.beat.numerator * timeline.grain
    return [
        i
        for i, column in enumerate(columns)
        if not (i and columns[i - 1].lead) and (column.at + shift) * meter.beat.denominator % beat == 0
    ]


def _fits(grid: Grid, piece: TabPiece, first: int, last: int, room: int) -> bool:
    return cut_piece(grid, piece, first, last).spaced(TIGHT, True).length <= room


def _easiest(piece: TabPiece, room: int) -> TabPiece:
    """Return a piece with the roomiest scale that fits."""
    scales = [piece.scale, SpacingScale(min(_NARROW, piece.scale.chars), piece.scale.grains)]
    return replace(piece, scale=next((scale for scale in scales if piece.spaced(scale, True).length <= room), TIGHT))


class _Breaker:
    """Finds where lines end: as few lines as possible, ended where the writer ended them, and of even length.

    Dynamic programming over the pieces: the cheapest lines up to each piece are kept.
    """

    def __init__(self, grid: Grid, pieces: Sequence[TabPiece], width: int, labels: int) -> None:
        self._pieces, self._width, self._labels = pieces, width, labels
        bars = [grid.bars[piece.index].bar for piece in pieces]
        self._asked = [*(bar.newline for bar in bars[:-1]), True]  # by piece: the writer ended a line, or all, after it
        self._starts: list[Sign] = []  # by piece: the bar line before it, where it starts a line
        self._joins: list[Sign] = []  # the one after it, where the line goes on
        self._ends: list[Sign] = []  # the one after it, where the line ends
        broken = False
        for piece, bar, following in zip(pieces, bars, [*bars[1:], None], strict=False):
            self._starts.append(CONTINUED if broken else bar_line_sign(None, bar))
            broken = piece.goes_on
            self._joins.append(CONTINUED if broken else bar_line_sign(bar, following))
            self._ends.append(CONTINUED if broken else bar_line_sign(bar, None))

    def best(self, scales: Sequence[SpacingScale]) -> tuple[int, list[tuple[int, int]]]:
        """Return how many lines it takes (far too many where one is too wide), and the first and last (excluded) piece of each."""
        count = len(self._pieces)
        costs: list[tuple[int, int, int]] = [(0, 0, 0)] + [(count + 1, 0, 0)] * count  # lines, unasked ends, unevenness
        came = [0] * (count + 1)
        inner, outer = self._lengths(scales)
        for first in range(count):
            lines_before, unasked, uneven = costs[first]
            for last, total in self._candidate_lines(first, inner, outer):
                lines = lines_before + (
                    1 if total <= self._width else count + 1
                )  # too wide even alone: the last resort
                cost = (lines, unasked + (not self._asked[last]), uneven + (self._width - total) ** 2)
                if cost < costs[last + 1]:
                    costs[last + 1], came[last + 1] = cost, first
        found: list[tuple[int, int]] = []
        end = count
        while end > 0:
            found.append((came[end], end))
            end = came[end]
        return costs[count][0], found[::-1]

    def _lengths(self, scales: Sequence[SpacingScale]) -> tuple[list[int], list[int]]:
        """Return the characters of each piece within a line, and of each at the start of one."""
        inner = [piece.spaced(scale).length for piece, scale in zip(self._pieces, scales, strict=True)]
        outer = [
            length if piece.opening is piece.blocks else piece.spaced(scale, True).length
            for piece, scale, length in zip(self._pieces, scales, inner, strict=True)
        ]
        return inner, outer

    def _candidate_lines(self, first: int, inner: Sequence[int], outer: Sequence[int]) -> Iterator[tuple[int, int]]:
        """Yield the last piece and the characters of each line that may begin with a piece: those that fit, or that piece alone."""
        width = self._labels + len(self._starts[first][0])
        for last in range(first, len(self._pieces)):
            width += outer[first] if last == first else inner[last]
            total = width + len(self._ends[last][0])
            if total > self._width and last > first:
                return
            yield last, total
            if self._pieces[last].goes_on:
                return
            width += len(self._joins[last][0])

    def line(self, first: int, last: int, scales: Sequence[SpacingScale]) -> Line:
        """Return pieces `first` to `last` (excluded) as a line."""
        signs = [self._starts[first], *self._joins[first : last - 1], self._ends[last - 1]]
        left = self._labels + len(signs[0][0])
        placed = []
        for index in range(first, last):
            piece = self._pieces[index]
            spaced = piece.spaced(scales[index], index == first)
            right = left + spaced.length
            blocks = piece.opening if index == first else piece.blocks
            placed.append(PlacedBar(piece, left, tuple(left + x for x in spaced.xs), right, blocks))
            left = right + len(signs[index - first + 1][0])
        return Line(tuple(placed), tuple(signs), left, first > 0 and self._pieces[first - 1].goes_on)
