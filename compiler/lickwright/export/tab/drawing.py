"""One line of tab: the strings, the rows over them, the count below.

In: a `Line` with its places. Out: lines of text without trailing blanks. String lines are ASCII and of one length. Where a line of
the lick ends is decided in `lines.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.export.tab.lanes import Item, Lanes, lane_text
from lickwright.export.tab.lines import Line, PlacedBar
from lickwright.export.tab.tab_spacing import ColumnBlock, count_shape
from lickwright.layout.grid import Grid, GridRow, RowEntry
from lickwright.notation.techniques import WORDS, Damping

FINGERS = {  # by row: what it is about, and what its signs stand for
    GridRow.FINGER: ("fretting hand", {"1": "index", "2": "middle", "3": "ring", "4": "little finger", "T": "thumb"}),
    GridRow.PLUCK: (
        "plucking hand",
        {"p": "thumb", "i": "index", "m": "middle", "a": "ring", "c": "little finger"},
    ),
}
CHORD_TONES = "chord tones"
_LABELS = {GridRow.TONE: CHORD_TONES} | {row: label for row, (label, _) in FINGERS.items()}  # said at the end of a row
LET_RING, LET_RING_SHORT = WORDS["ring"].above, "LR"


def draw_line(grid: Grid, line: Line, above: Sequence[RowEntry], width: int) -> list[str]:
    """Return the rows over the strings, the strings and the count of one line; `above` is all that reaches into it, by row."""
    blocks = [pair for placed in line.pieces for pair in zip(placed.xs, placed.blocks, strict=True)]
    counts = [(x - count_shape(block.said).lead, block.said) for x, block in blocks if block.said]
    return [*_rows(grid, line, blocks, above, width), *_strings(grid, line, blocks), lane_text(counts)]


def _strings(grid: Grid, line: Line, blocks: Sequence[tuple[int, ColumnBlock]]) -> list[str]:
    tuning = grid.timeline.settings.tuning
    count = tuning.strings
    labels = max(map(len, tuning.labels))
    outer = _empty_string(line, labels, 0)
    alike = all(sign[0] == sign[1] for sign in line.signs) and not any(placed.piece.same for placed in line.pieces)
    empty = (outer, outer if alike else _empty_string(line, labels, 1))
    middle = (count // 2 - 1, count // 2 + count % 2)  # where repeats have their dots
    drawn = [bytearray(empty[number in middle]) for number in range(count)]
    for text, label in zip(drawn, tuning.labels, strict=True):
        text[:labels] = label.ljust(labels).encode()
    for x, block in blocks:
        for string, mark, lead, reach, _ in block.marks:
            drawn[string - 1][x - lead : x + reach] = mark.encode()
    return [text.decode() for text in drawn]


def _empty_string(line: Line, labels: int, side: int) -> bytes:
    """Return a string with its bar lines and no notes; `side` 1 is one in the middle."""
    text = bytearray(b"-" * line.width)
    x = labels
    for sign, placed in zip(line.signs, (*line.pieces, None), strict=True):
        text[x : x + len(sign[side])] = sign[side].encode()
        if placed is not None:
            x = placed.right
            if side and placed.piece.same:
                text[(placed.left + x) // 2] = ord("%")
    return bytes(text)


def _rows(
    grid: Grid, line: Line, blocks: Sequence[tuple[int, ColumnBlock]], above: Sequence[RowEntry], width: int
) -> list[str]:
    lanes = Lanes(width)
    spans = _Spans(grid, line)
    _lay_entries(lanes, spans, above)
    _lay_bends(lanes, spans, blocks, [entry for entry in above if entry.row is GridRow.BEND])
    _lay_bar_marks(lanes, grid, line)
    for row, label in _LABELS.items():
        lanes.label(row, label)
    return lanes.lines(_number(grid, line))


def _lay_entries(lanes: Lanes, spans: _Spans, above: Sequence[RowEntry]) -> None:
    for entry in above:
        if entry.row is GridRow.BEND:
            continue  # these stand beside the amounts: `_lay_bends`
        if entry.lasts:
            lanes.lay(entry.row, *spans.text(entry))
        elif entry.row is GridRow.HOW:  # it is said of this very instant: it never moves
            lanes.lay(entry.row, spans.at[entry.first], entry.text)
        elif entry.text.strip():
            lanes.lay_words(entry.row, spans.at[entry.first], entry.text)


def _lay_bends(
    lanes: Lanes, spans: _Spans, blocks: Sequence[tuple[int, ColumnBlock]], entries: Sequence[RowEntry]
) -> None:
    """Put the amount of every bend over its mark, and behind it the line that the bend is held for."""
    holds = [(spans.start(entry), entry) for entry in entries]
    for x, block in blocks:
        for n, (offset, amount) in enumerate(block.bends, 1):
            held = next((entry for start, entry in holds if start == x and entry.first in spans.at), None)
            text = spans.held(held, x + offset, amount) if held and n == len(block.bends) else amount
            lanes.lay(GridRow.BEND, x + offset, text)
    for start, entry in holds:
        if entry.first not in spans.at:  # goes on from the line before
            lanes.lay(GridRow.BEND, start, spans.held(entry, start, ""))


def _lay_bar_marks(lanes: Lanes, grid: Grid, line: Line) -> None:
    """Put signs of navigation over the bar line that they belong to, and how often a bar is repeated over its end."""
    for placed, sign in zip(line.pieces, line.signs[1:], strict=True):
        drawn, piece = grid.bars[placed.piece.index], placed.piece
        end = placed.right + len(sign[0])
        for node in drawn.bar.marks:
            text = node.mark.printed
            if node.mark.opens and piece.first == drawn.first:
                lanes.lay(GridRow.NAVIGATION, placed.left, text)
            elif not node.mark.opens and not piece.goes_on:
                lanes.lay(GridRow.NAVIGATION, max(0, end - len(text)), text)
        if drawn.bar.repeat_end > 2 and not piece.goes_on:
            text = f"x{drawn.bar.repeat_end}"
            lanes.lay(GridRow.ENDING, end - len(text), text)


def _number(grid: Grid, line: Line) -> str:
    """Return the number of the bar that starts the line; in parentheses where it started on the line before."""
    number = grid.bars[line.pieces[0].piece.index].bar.number
    return f"({number})" if line.continued else str(number)


class _Spans:
    """The texts of what lasts: `PM----|`, left open where the line ends and opened again on the next."""

    def __init__(self, grid: Grid, line: Line) -> None:
        self.at: dict[int, int] = {}  # columns of this line: where they stand
        self._line, self._columns = line, grid.columns
        for placed in line.pieces:
            self.at.update(enumerate(placed.xs, placed.piece.first))

    def _holds(self, column: int) -> PlacedBar | None:
        """Return the piece of this line that has a column; None where it is on another line."""
        held = (p for p in self._line.pieces if p.piece.first <= column < p.piece.first + len(p.xs))
        return next(held, None)

    def _stop(self, entry: RowEntry) -> int:
        """Return the last character that the last column of an entry has for itself."""
        placed = self._holds(entry.last)
        if placed is None:
            return self._line.pieces[-1].right - 1
        if entry.row is GridRow.ENDING:
            return placed.right
        index = entry.last - placed.piece.first
        following = placed.xs[index + 1] if index + 1 < len(placed.xs) else placed.right + 1
        return max(placed.xs[index], following - 2)

    def start(self, entry: RowEntry) -> int:
        """Return the character where a span begins on this line."""
        return self.at.get(entry.first, self._line.pieces[0].left + 1)

    def text(self, entry: RowEntry) -> Item:
        """Return where a span starts and its text. One that has no room for its word and its end is the word alone."""
        start, stop = self.start(entry), self._stop(entry)
        if self._columns[entry.first].lead and entry.row is not GridRow.ENDING:
            stop = self.at.get(entry.last, stop)  # a rake or grace note ends on the note it leads to
        room = stop - start + 1
        if entry.row is GridRow.TUPLET:
            return start, f"|{entry.text:-^{room - 2}}|" if room >= len(entry.text) + 2 else entry.text
        if entry.technique is None or entry.technique.damping is not Damping.RING:
            return start, f"{entry.text:-<{room - 1}}|" if room > len(entry.text) else entry.text
        return start, self._rings(entry, room)

    def held(self, entry: RowEntry, start: int, amount: str) -> str:
        """Return a bend's amount and the line that it is held for: `full hold----|`, without the word where it is short."""
        room = self._stop(entry) - start + 1
        word = f"{amount} {entry.text}".lstrip()
        return self._closed(entry, word if room > len(word) else amount, room)

    def _rings(self, entry: RowEntry, room: int) -> str:
        """Return how long strings ring, with a short word where the long one has no room; of one column only, the word alone."""
        if room > len(entry.text):
            return self._closed(entry, entry.text, room)
        one = entry.first == entry.last or self.at.get(entry.first, self._line.pieces[0].xs[0]) == self.at.get(
            entry.last
        )
        if one or entry.text != LET_RING:
            return entry.text
        return self._closed(entry, LET_RING_SHORT, room)

    def _closed(self, entry: RowEntry, word: str, room: int) -> str:
        """Return a word and its line to the end of the room; left open where it goes on in the next line."""
        goes_on = entry.last not in self.at and entry.last > max(self.at, default=0)
        return word.ljust(room, "-") if goes_on else f"{word.ljust(room - 1, '-')}|"
