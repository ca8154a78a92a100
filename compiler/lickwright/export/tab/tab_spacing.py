"""Horizontal spacing of a text tab: where on a line of text each column of a lick stands.

In: the columns of a `Grid`. Out: `TabPiece`s, a bar each (or a part of one that is too long for a line), and character
positions for them at a scale: so many characters for so many grains. Space is in proportion to time, and gives way
where marks need more. Knows nothing of lines and draws nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record, replace
from lickwright.layout.columns import held_cells
from lickwright.layout.grid import Cell, Column, Grid, GridRow
from lickwright.layout.tab_marks import anchor_index, bend_amount, cell_text, held_text, note_text, shape_text
from lickwright.music.syllables import GROUP
from lickwright.music.tuning import STRINGS_MAX
from lickwright.notation.techniques import Damping

# Characters that the usual shortest step of a bar takes: room for a fret of two digits, and no more than fits a bend.
STEP_MIN, STEP_MAX = 3, 5
LONG_STEP_MIN = 4  # the same where that step is a quarter or longer
RING_APART = 3  # characters at least between columns under "ring" or "let ring"
SAME_BAR = 7  # characters of a bar that only says `%`


class SpacingScale(NamedTuple):
    """A scale of `chars` characters for `grains` grains; no characters: as tight as the marks allow."""

    chars: int
    grains: int

    @property
    def ratio(self) -> float:
        """Characters a grain, to compare scales by."""
        return self.chars / self.grains


TIGHT = SpacingScale(0, 1)


class TabMark(NamedTuple):
    """A mark on one string's line."""

    string: int
    text: str
    anchor: int  # which character of it stands at the column
    reach: int  # characters from the anchor on
    held: bool = False  # a note held over from the line before: its parenthesis may touch the bar line


class CountShape(NamedTuple):
    """What a printed count needs."""

    lead: int  # characters before its column: a parenthesis, the sign of a group
    reach: int  # characters from its column on
    before: int  # blanks that it needs before it: none where it begins with a parenthesis
    after: int  # the same after it


@lru_cache(maxsize=1024)  # few counts are said
def count_shape(said: str) -> CountShape:
    """Return what a printed count needs."""
    lead = len(said) - len(said.lstrip(f"{GROUP}("))
    return CountShape(lead, len(said) - lead, int(not said.startswith("(")), int(not said.endswith(")")))


class ColumnBlock(NamedTuple):
    """One column with all its texts that need room."""

    at: int  # grains in the bar
    back: int  # characters that a grace note or rake stroke stands before its beat; 0 on the beat
    marks: tuple[TabMark, ...]
    room: int  # characters at least to the next column: one more than its marks, more where a span over both must not look like one over this
    said: str  # the count as printed: "2", "(2)" for a rest
    spoken: CountShape | None  # what that needs; None where nothing is said
    chords: tuple[str, ...]
    bends: tuple[tuple[int, str], ...]  # amounts, with their distance from the anchor
    clear: bool = False  # a "hold" ends before it: it stands to the right of what is said of bends
    words: int = 0  # characters of what is said of this column alone, and stands just over it
    above: bool = False  # whether something of it stands in the rows above: `chords`, `bends`, `clear`, `words`


class SpacedColumns(NamedTuple):
    """The places of a piece's columns, in characters."""

    xs: tuple[int, ...]  # a column's characters from the bar line before it; 0 is the first after the line
    length: int  # characters to the bar line that ends it


@mutable_record
class TabPiece:
    """A bar, or a part of one. It is not changed once made; its places at each scale are kept."""

    index: int  # of its bar in Grid.bars
    first: int  # its columns: grid.columns[first:first + len(blocks)]
    blocks: tuple[ColumnBlock, ...]
    opening: tuple[ColumnBlock, ...]  # the same as the first of a line: with what is held over into it
    begin: int  # grains in the bar
    end: int  # grains in the bar
    scale: SpacingScale  # the one that suits it
    goes_on: bool = False  # the bar goes on in the next piece
    same: bool = False  # a `%`
    _known: dict[tuple[SpacingScale, bool], SpacedColumns] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    def spaced(self, scale: SpacingScale, first: bool = False) -> SpacedColumns:
        """Return its places at a scale; `first` on a line, where held notes are shown again."""
        first = first and self.opening is not self.blocks
        found = self._known.get((scale, first))
        if found is None:
            blocks = self.opening if first else self.blocks
            found = space_blocks(blocks, self.begin, self.end, scale, SAME_BAR if self.same else 1)
            self._known[scale, first] = found
        return found


def bar_pieces(grid: Grid) -> list[TabPiece]:
    """Return a piece for each bar of the lick."""
    needs = _needs(grid)
    grain, beat = grid.timeline.grain, int(grid.timeline.settings.meter.beat * grid.timeline.grain)
    pieces = []
    for index, (bar, first, last) in enumerate(grid.bars):
        blocks = _blocks(grid.columns[first:last], needs, first)
        scale = TIGHT if bar.same or not blocks else _scale(blocks, bar.length, grain, beat)
        pieces.append(_opened(grid, TabPiece(index, first, blocks, blocks, 0, bar.length, scale, same=bar.same)))
    return pieces


class _Needs(NamedTuple):
    """What the rows above ask of the columns, by column."""

    above: dict[int, tuple[tuple[str, ...], bool, int]]  # chords, clear, words: see `ColumnBlock`
    apart: dict[int, int]


_NOTHING: tuple[tuple[str, ...], bool, int] = ((), False, 0)


def _needs(grid: Grid) -> _Needs:
    needs = _Needs({}, {})
    for row, text, first, last, lasts, technique in grid.above:
        chords, clear, words = needs.above.get(first, _NOTHING)
        if row is GridRow.CHORD:
            needs.above[first] = ((*chords, text), clear, words)
        elif (row is GridRow.HOW and not lasts) or row is GridRow.TONE:
            needs.above[first] = (chords, clear, max(len(text), words))
        elif row is GridRow.BEND:
            chords, _, words = needs.above.get(last + 1, _NOTHING)
            needs.above[last + 1] = (chords, True, words)
        elif row is GridRow.HOW and first < last and technique is not None and technique.damping is Damping.RING:
            needs.apart.update((column, RING_APART) for column in range(first, last + 1))
    return needs


def cut_piece(grid: Grid, piece: TabPiece, first: int, last: int) -> TabPiece:
    """Return blocks `first` to `last` (excluded) of a piece as a piece of its own."""
    blocks = piece.blocks[first:last]
    whole = last == len(piece.blocks)
    end = piece.end if whole else piece.blocks[last].at
    begin = piece.begin if first == 0 else blocks[0].at
    made = TabPiece(
        piece.index, piece.first + first, blocks, blocks, begin, end, piece.scale, piece.goes_on or not whole
    )
    return _opened(grid, made)


def _opened(grid: Grid, piece: TabPiece) -> TabPiece:
    """Return a piece with how it looks at the start of a line, where a tied note is shown again."""
    held = held_cells(grid, piece.first) if piece.blocks else ()
    if not held:
        return piece
    first = piece.blocks[0]
    tied = tuple(_held_mark(cell, first.marks) for cell in held)
    marks = (*(mark for mark in first.marks if mark.string not in {cell.string for cell in held}), *tied)
    opening = first._replace(back=0, marks=marks, room=max(first.room, 1 + max(mark.reach for mark in marks)))
    return replace(piece, opening=(opening, *piece.blocks[1:]))


def _held_mark(cell: Cell, marks: Sequence[TabMark]) -> TabMark:
    """Return `(7)`, and behind it what is done to it in this very step: `(8b10)r8`."""
    done = "".join(mark.text for mark in marks if mark.string == cell.string)
    return _mark(cell.string, held_text(cell) + done, True)


@lru_cache(maxsize=4096)
def _mark(string: int, text: str, held: bool = False) -> TabMark:
    at = anchor_index(text)
    return TabMark(string, text, at, len(text) - at, held)


def _blocks(columns: Sequence[Column], needs: _Needs, first: int) -> tuple[ColumnBlock, ...]:
    blocks: list[ColumnBlock] = []
    place, new = first + len(columns), tuple.__new__  # ColumnBlock(…) takes twice as long
    for _, at, lead, cells, silent, said in reversed(columns):  # strokes before a beat stand by it
        place -= 1
        marks, bends = _marks(cells) if cells else ((), ())
        width = marks[0].reach if len(marks) == 1 else max([mark.reach for mark in marks], default=0)
        back = _room_after(blocks) + width + 1 if lead else 0
        count = _rest(said) if silent and said else said
        spoken = count_shape(count) if count else None
        room = max(width + 1, needs.apart.get(place, 0)) if needs.apart else width + 1
        chords, clear, words = needs.above.get(place, _NOTHING)
        above = bool(bends) or place in needs.above
        blocks.append(new(ColumnBlock, (at, back, marks, room, count, spoken, chords, bends, clear, words, above)))
    blocks.reverse()
    return tuple(blocks)


def _rest(said: str) -> str:
    """Return the count of a rest; the sign of a new group stands before its parenthesis."""
    return f"{GROUP}({said[len(GROUP) :]})" if said.startswith(GROUP) else f"({said})"


def _room_after(blocks: Sequence[ColumnBlock]) -> int:
    """Return the characters between a stroke and the beat it leads to: the strokes there, and what stands before the beat's fret."""
    return blocks[-1].back or max((mark.anchor for mark in blocks[-1].marks), default=0) if blocks else 0


def _marks(cells: Sequence[Cell]) -> tuple[tuple[TabMark, ...], tuple[tuple[int, str], ...]]:
    """Return the marks of a column, and where in them bend amounts belong (equal ones of two strings once)."""
    if len(cells) == 1 and cells[0].starts and not cells[0].shapes:
        return (_mark(cells[0].string, note_text(cells[0].sound)),), ()
    marks = []
    bends: dict[tuple[int, str], None] = {}
    for cell in cells:
        string, sound, starts, shapes = cell
        if cell.held:
            marks.append(_mark(string, held_text(cell), True))
            continue
        mark = _mark(string, cell_text(cell) if shapes else note_text(sound))
        marks.append(mark)
        if shapes:
            at = len(note_text(sound)) - mark.anchor if starts else -mark.anchor
            for shape in shapes:
                if amount := bend_amount(shape):
                    bends[max(0, at), amount] = None
                at += len(shape_text(shape, sound))
    return tuple(marks), tuple(bends)


def _scale(blocks: Sequence[ColumnBlock], end: int, grain: int, beat: int) -> SpacingScale:
    """Return the scale at which the usual shortest step of a bar has room.

    The step is the length that a quarter of its notes and rests do not exceed (and no more than a beat), so that one
    quick ornament does not stretch the whole bar; its room is what most such steps need, within limits, and the few
    that need more push on what follows.
    """
    steps = _steps(blocks, end)
    lengths = sorted([length for length, _ in steps])
    step = min(beat, lengths[len(lengths) // 4]) if lengths else beat
    needs = sorted([need for length, need in steps if length <= step])
    least = LONG_STEP_MIN if step * 4 >= grain else STEP_MIN
    need = needs[len(needs) * 7 // 10] if needs else 0
    return SpacingScale(min(STEP_MAX, max(least, need)), max(1, step))


def _steps(blocks: Sequence[ColumnBlock], end: int) -> list[tuple[int, int]]:
    """Return the length in grains and the least room in characters of each step from a note or rest to the next, the last step first."""
    tight = space_blocks(blocks, 0, end, TIGHT)
    steps: list[tuple[int, int]] = []
    following, next_x = end, tight.length + 1
    for block, x in zip(reversed(blocks), reversed(tight.xs), strict=True):
        if not block.back and ("(" in block.said or _is_struck(block.marks)):
            steps.append((following - block.at, next_x - x))
            following, next_x = block.at, x
    return steps


def _is_struck(marks: Sequence[TabMark]) -> bool:
    """Return whether some mark is no held note; most columns have one mark."""
    return not marks[0].held if len(marks) == 1 else any(not mark.held for mark in marks)


class _RowsAbove:
    """How far the texts of chords and bends, and words, reach, in characters from the bar line. Few columns have any."""

    __slots__ = ("bend_free", "chord_free", "end")

    def __init__(self) -> None:
        self.bend_free = self.chord_free = 0
        self.end = 0  # the characters that a piece takes at least for them

    def place(self, x: int, block: ColumnBlock) -> int:
        """Return the first place from `x` on at which the texts of a column touch none before them."""
        if block.chords:
            x = max(x, self.chord_free)
        if block.clear and x <= self.bend_free:
            x = self.bend_free + 1
        return max(x, self.bend_free - block.bends[0][0]) if block.bends else x

    def take(self, x: int, block: ColumnBlock) -> None:
        """Note how far the texts of a column at `x` reach."""
        if block.chords:
            self.chord_free = x + max(map(len, block.chords)) + 1
        if block.bends:
            self.bend_free = x + max(offset + len(amount) for offset, amount in block.bends) + 1
        self.end = max(self.end, self.chord_free - 2, self.bend_free - 2, x + block.words - 1 if block.words else 0)


def space_blocks(
    blocks: Sequence[ColumnBlock], begin: int, end: int, scale: SpacingScale, least: int = 1
) -> SpacedColumns:
    """Return places for columns: each stands where its time asks, or as far on as what is before it needs.

    There is one `-` at least between marks of a string, no mark over another's column, and a blank between counts, chords and
    bend amounts. `begin` and `end` are grains in the bar, `least` the fewest characters to the bar line. It is the innermost loop
    of a text tab, so that it is kept in one function.
    """
    chars, grains, half = *scale, scale.grains // 2
    base, base_at = 1, begin  # from here space is counted, so that roundings do not add up
    busy = [0] * (STRINGS_MAX + 1)  # by string: the first free character
    rows = _RowsAbove()
    free = said_free = blank = 0  # blank: what the count before needs after it
    xs: list[int] = []
    for block in blocks:
        at, back, marks, room, _, spoken, _, _, _, _, above = block
        asked = x = base + ((at - base_at) * chars + half) // grains - back
        if x < free:
            x = free
        for string, _, lead, _, held in marks:
            needed = busy[string] + lead + (held <= busy[string])  # a held note with nothing before it needs no `-`
            if x < needed:
                x = needed
        if above:
            x = rows.place(x, block)
        if spoken is not None:
            lead, reach, before, after = spoken
            needed = said_free + lead + (before & blank)
            if x < needed:
                x = needed
            said_free, blank = x + reach, after
        if above:
            rows.take(x, block)
        for string, _, _, reach, _ in marks:
            busy[string] = x + reach
        if x > asked and not back:
            base, base_at = x, at
        xs.append(x)
        free = x + room
    length = base + ((end - base_at) * chars + half) // grains
    return SpacedColumns(tuple(xs), max(length, free, said_free, rows.end, least))
