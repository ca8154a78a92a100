"""Drawing of a comparison: the two tabs one above the other, with the differences marked.

In: a `Comparison`. Out: lines of text no wider than asked. As many bars as fit both tabs stand together; under the strings of each
is a row of its own with the numbers of the differences, as the report lists them: `^3` is the third.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence

from lickwright.compare.model import Comparison
from lickwright.core.fast_dataclass import replace
from lickwright.export.tab.drawing import draw_line
from lickwright.export.tab.lines import Line, break_lines
from lickwright.layout.columns import lay_out_bars
from lickwright.layout.grid import Grid, RowEntry
from lickwright.timeline.model import SoundingNote, Timeline

MINE, THEIRS = "yours", "the teacher's"
_MOST_BARS = 8  # on one line: more cannot be read, and need not be tried

Marks = dict[int, list[int]]  # by index of a sound: the numbers of the differences there


def draw_tabs(comparison: Comparison, width: int, listed: Collection[int] | None = None) -> list[str]:
    """Return both tabs in lines; with `listed`, only those that have one of these differences (numbers from 1)."""
    mine, theirs = lay_out_bars(comparison.mine), lay_out_bars(comparison.theirs)
    mine_marks, their_marks = _marks(comparison)
    lines: list[str] = []
    for ours, other in _shares(comparison, mine, theirs, width):
        above, below = MarkedTab(theirs, other, width, their_marks), MarkedTab(mine, ours, width, mine_marks)
        if listed is None or (above.numbers | below.numbers) & set(listed):
            lines += ["", *above.drawn(THEIRS), *below.drawn(MINE)]
    return lines[1:]


def _marks(comparison: Comparison) -> tuple[Marks, Marks]:
    mine: Marks = {}
    theirs: Marks = {}
    for number, d in enumerate(comparison.differences, 1):
        for marks, sounds in ((mine, d.mine), (theirs, d.theirs)):
            if sounds:
                marks.setdefault(sounds[0].index, []).append(number)
    return mine, theirs


Bars = tuple[int, int]  # first and last (excluded) written bar


def _shares(comparison: Comparison, mine: Grid, theirs: Grid, width: int) -> Iterator[tuple[Bars, Bars]]:
    """Yield the bars that stand together: as many as fit on one line of each tab, at least one of the teacher's."""
    cuts = _cuts(comparison)
    first = first_mine = 0
    count = len(theirs.bars)
    while first < count:
        last = first + 1
        while last < min(count, first + _MOST_BARS):
            if not (_fits(theirs, (first, last + 1), width) and _fits(mine, (first_mine, cuts[last]), width)):
                break
            last += 1
        end = cuts[last - 1] if last < count else len(mine.bars)
        yield (first_mine, end), (first, last)
        first, first_mine = last, end


def _cuts(comparison: Comparison) -> list[int]:
    """Return for each of the teacher's bars after which of the student's bars what answers it is over."""
    cuts = [0] * len(comparison.theirs.bars)
    for pair in comparison.pairs:
        if pair.mine is not None and pair.theirs is not None and not pair.mine.pass_no and not pair.theirs.pass_no:
            cuts[pair.theirs.bar] = max(cuts[pair.theirs.bar], pair.mine.bar + 1)
    for index in range(1, len(cuts)):
        cuts[index] = max(cuts[index], cuts[index - 1])
    return cuts


def _part(grid: Grid, bars: Bars) -> Grid:
    """Return some bars of a lick as a lick."""
    return replace(grid, bars=grid.bars[bars[0] : bars[1]])


def _fits(grid: Grid, bars: Bars, width: int) -> bool:
    lines = break_lines(_part(grid, bars), width) if bars[0] < bars[1] else []
    return len(lines) <= 1 and all(line.width <= width for line in lines)


class MarkedTab:
    """Some bars of a tab, with the numbers of what there is to say under their notes."""

    def __init__(self, grid: Grid, bars: Bars, width: int, marks: Marks) -> None:
        self._grid, self._width = _part(grid, bars), width
        self._lines = break_lines(self._grid, width) if bars[0] < bars[1] else []
        self._strings = grid.timeline.settings.tuning.strings
        self._said: dict[int, list[int]] = {}  # by column
        for sound in grid.timeline.sounds:
            if sound.index in marks and bars[0] <= sound.bar < bars[1]:
                self._said.setdefault(_column(grid, sound), []).extend(marks[sound.index])
        self.numbers = {number for numbers in self._said.values() for number in numbers}

    def drawn(self, whose: str) -> Iterator[str]:
        """Yield its lines, headed by whose they are, with the marks between strings and count."""
        yield f"{whose}:"
        for line in self._lines:
            drawn = draw_line(self._grid, line, self._above(line), self._width)
            ends = next(n for n in range(len(drawn), 0, -1) if drawn[n - 1].endswith(("|", ">")))
            yield from drawn[:ends]
            marks = self._row(line)
            if marks:
                yield marks
            yield from drawn[ends:]

    def _above(self, line: Line) -> list[RowEntry]:
        first, last = line.pieces[0].piece.first, line.pieces[-1].piece.first + len(line.pieces[-1].xs)
        return [above for above in self._grid.above if above.first < last and above.last >= first]

    def _row(self, line: Line) -> str:
        """Return `^1   ^2,3`, each under its column; one that has no room goes on to the right."""
        row = ""
        for placed in line.pieces:
            for index, x in enumerate(placed.xs, placed.piece.first):
                if index in self._said:
                    row = row.ljust(x) if len(row) < x or not row else row + " "
                    row += "^" + ",".join(map(str, sorted(set(self._said[index]))))
        return row


def _column(grid: Grid, sound: SoundingNote) -> int:
    """Return the column that a note stands in; of a `%` its only one."""
    timeline: Timeline = grid.timeline
    drawn = grid.bars[sound.bar]
    at = timeline.slots[sound.slot].at
    keys: Sequence[tuple[int, int]] = [(c.at, -c.lead) for c in grid.columns[drawn.first : drawn.last]]
    return drawn.first + max(0, bisect_right(keys, (at, -sound.lead)) - 1)
