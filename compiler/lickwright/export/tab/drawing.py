"""Draws one line of tab: the strings, the rows above them, the count below.

In: a `Line` with its places. Out: lines of text without trailing blanks. String lines are ASCII and of one length.
"""

from __future__ import annotations

from collections.abc import Sequence
from unicodedata import combining, east_asian_width

from lickwright.export.tab.lines import Line, PlacedBar
from lickwright.export.tab.spacing import Block, count_lead
from lickwright.layout.grid import Grid, GridRow, RowEntry
from lickwright.notation.techniques import WORDS, Damping

Item = tuple[int, str]  # the character where a text starts, and the text
_BESIDE_NUMBER = (
    GridRow.ENDING,
    GridRow.TEMPO,
    GridRow.CHORD,
    GridRow.WORDS,
)  # rows that may start with the bar number: no digits alone stand in them
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
_ENDING_ROOM = 4  # characters between a bar's number and an ending, which begins with a number too
_SHORTEST_WORDS = 24  # characters to which words are broken near the end of a line


def draw_line(grid: Grid, line: Line, above: Sequence[RowEntry], width: int) -> list[str]:
    """The rows above, the strings and the count of one line; `above` is all that reaches into it, by row."""
    blocks = [pair for placed in line.pieces for pair in zip(placed.xs, placed.blocks, strict=True)]
    counts = [(x - count_lead(block.said), block.said) for x, block in blocks if block.said]
    return [*_rows(grid, line, blocks, above, width), *_strings(grid, line, blocks), *_set([counts])]


def _strings(grid: Grid, line: Line, blocks: Sequence[tuple[int, Block]]) -> list[str]:
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
    """The bar lines on a string; `side` 1 is one in the middle."""
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
    grid: Grid, line: Line, blocks: Sequence[tuple[int, Block]], above: Sequence[RowEntry], width: int
) -> list[str]:
    rows: dict[GridRow, list[list[Item]]] = {}
    spans = _Spans(grid, line)
    holds = [(spans.start(item), item) for item in above if item.row is GridRow.BEND]
    for item in above:
        if item.row is GridRow.BEND:
            continue
        if item.lasts:
            _lay(rows.setdefault(item.row, []), *spans.text(item))
        elif item.row is GridRow.HOW:  # it is said of this very instant: it never moves
            _lay(rows.setdefault(item.row, []), spans.at[item.first], item.text)
        elif item.text.strip():
            _lay_words(rows.setdefault(item.row, []), spans.at[item.first], item.text, width)
    for x, block in blocks:
        for n, (offset, amount) in enumerate(block.bends, 1):
            held = next((item for start, item in holds if start == x and item.first in spans.at), None)
            text = spans.held(held, x + offset, amount) if held and n == len(block.bends) else amount
            _lay(rows.setdefault(GridRow.BEND, []), x + offset, text)
    for start, item in holds:
        if item.first not in spans.at:  # goes on from the line before
            _lay(rows.setdefault(GridRow.BEND, []), start, spans.held(item, start, ""))
    for placed, sign in zip(line.pieces, line.signs[1:], strict=True):
        bar = grid.bars[placed.piece.index].bar
        times = bar.repeat_end
        for node in bar.marks:
            text = node.mark.printed
            if node.mark.opens and placed.piece.first == grid.bars[placed.piece.index].first:
                _lay(rows.setdefault(GridRow.NAVIGATION, []), placed.left, text)
            elif not node.mark.opens and not placed.piece.goes_on:
                _lay(rows.setdefault(GridRow.NAVIGATION, []), max(0, placed.right + len(sign[0]) - len(text)), text)
        if times > 2 and not placed.piece.goes_on:
            text = f"x{times}"
            _lay(rows.setdefault(GridRow.ENDING, []), placed.right + len(sign[0]) - len(text), text)
    for row, label in _LABELS.items():
        for lane in rows.get(row, ())[:1]:
            end = max(at + len(text) for at, text in lane) + 2
            if end + len(label) <= width:
                lane.append((end, label))
    number = _number(grid, line)
    top = min(rows, default=None)
    lanes = [lane for row in sorted(rows) for lane in rows[row]]
    room = len(number) + (_ENDING_ROOM if top is GridRow.ENDING else 0)
    if top in _BESIDE_NUMBER and min(lanes[0])[0] > room:
        lanes[0].append((0, number))
    else:
        lanes.insert(0, [(0, number)])
    return _set(lanes)


def _number(grid: Grid, line: Line) -> str:
    """The number of the bar that starts the line; in parentheses where it started on the line before."""
    number = grid.bars[line.pieces[0].piece.index].bar.number
    return f"({number})" if line.continued else str(number)


class _Spans:
    """Turns what lasts into text: `PM----|`, closed where the line ends and opened again on the next."""

    def __init__(self, grid: Grid, line: Line) -> None:
        self.at: dict[int, int] = {}  # columns of this line: where they stand
        self._line, self._columns = line, grid.columns
        for placed in line.pieces:
            self.at.update(enumerate(placed.xs, placed.piece.first))

    def _holds(self, column: int) -> PlacedBar | None:
        """The piece of this line that has a column."""
        held = (p for p in self._line.pieces if p.piece.first <= column < p.piece.first + len(p.xs))
        return next(held, None)

    def _stop(self, item: RowEntry) -> int:
        """The last character that its last column has for itself."""
        placed = self._holds(item.last)
        if placed is None:
            return self._line.pieces[-1].right - 1
        if item.row is GridRow.ENDING:
            return placed.right
        index = item.last - placed.piece.first
        following = placed.xs[index + 1] if index + 1 < len(placed.xs) else placed.right + 1
        return max(placed.xs[index], following - 2)

    def start(self, item: RowEntry) -> int:
        """The character where a span begins."""
        return self.at.get(item.first, self._line.pieces[0].left + 1)

    def text(self, item: RowEntry) -> Item:
        """What is said and where. A span that has no room for its word and its end is the word alone."""
        start, stop = self.start(item), self._stop(item)
        if self._columns[item.first].lead and item.row is not GridRow.ENDING:
            stop = self.at.get(item.last, stop)  # a rake or grace note ends on the note it leads to
        room = stop - start + 1
        if item.row is GridRow.TUPLET:
            return start, f"|{item.text:-^{room - 2}}|" if room >= len(item.text) + 2 else item.text
        if item.technique is None or item.technique.damping is not Damping.RING:
            return start, f"{item.text:-<{room - 1}}|" if room > len(item.text) else item.text
        return start, self._rings(item, room)

    def held(self, item: RowEntry, start: int, amount: str) -> str:
        """A bend's amount and the line that it is held for: `full hold----|`, without the word where it is short."""
        room = self._stop(item) - start + 1
        word = f"{amount} {item.text}".lstrip()
        return self._closed(item, word if room > len(word) else amount, room)

    def _rings(self, item: RowEntry, room: int) -> str:
        """How long strings ring, with a short word where the long one has no room; of one column only, the word alone."""
        if room > len(item.text):
            return self._closed(item, item.text, room)
        one = item.first == item.last or self.at.get(item.first, self._line.pieces[0].xs[0]) == self.at.get(item.last)
        if one or item.text != LET_RING:
            return item.text
        return self._closed(item, LET_RING_SHORT, room)

    def _closed(self, item: RowEntry, word: str, room: int) -> str:
        """A word and its line to the end of the room; left open where it goes on in the next line."""
        goes_on = item.last not in self.at and item.last > max(self.at, default=0)
        return word.ljust(room, "-") if goes_on else f"{word.ljust(room - 1, '-')}|"


def _lay(lanes: list[list[Item]], start: int, text: str) -> None:
    """Puts a text into the first line of its row that has room."""
    for lane in lanes:
        if all(start > at + _wide(known) or start + _wide(text) < at for at, known in lane):
            lane.append((start, text))
            return
    lanes.append([(start, text)])


def _lay_words(lanes: list[list[Item]], start: int, text: str, width: int) -> None:
    """Puts words at their place; moved to the left, or broken, where the line would get too long."""
    if start + _wide(text) <= width:
        _lay(lanes, start, text)
        return
    start = max(0, min(start, width - min(_wide(text), _SHORTEST_WORDS)))
    lines = wrap_words(text, width - start)
    start = max(0, min(start, width - max(map(_wide, lines))))
    free = next((i for i in range(len(lanes) + 1) if all(_is_free(lane, start) for lane in lanes[i:])), len(lanes))
    for index, line in enumerate(lines, free):
        if index == len(lanes):
            lanes.append([])
        lanes[index].append((start, line))


def _is_free(lane: Sequence[Item], start: int) -> bool:
    return all(at + _wide(text) < start for at, text in lane)


def wrap_words(text: str, width: int) -> list[str]:
    """Words in lines no wider than `width`; a word that is wider alone is left whole."""
    if len(text) <= width and text.isascii():
        return [text]
    lines = [""]
    for word in text.split():
        if lines[-1] and _wide(lines[-1]) + 1 + _wide(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}" if lines[-1] else word
    return lines


def _wide(text: str) -> int:
    """Columns that a text takes in a fixed-width font."""
    if text.isascii():
        return len(text)
    return sum(0 if combining(char) else 2 if east_asian_width(char) in "WF" else 1 for char in text)


def _set(lanes: Sequence[Sequence[Item]]) -> list[str]:
    lines = []
    for lane in lanes:
        line, end = "", 0
        for start, text in sorted(lane):
            line += " " * (start - end) + text
            end = (start if start > end else end) + (len(text) if text.isascii() else _wide(text))
        lines.append(line.rstrip())
    return lines
