"""Text tab: strings as lines of dashes, frets on them, the count below.

In: a lick as drawn. Out: UTF-8 text for a fixed-width font, with its heading, its legend and its rights. Everything
that the notation can say has a place on it, so nothing is lost. `drawing.py` draws a line, `lines.py` decides where lines end,
`tab_spacing.py` where columns stand, `lanes.py` sets the rows over the strings, `heading.py` says what stands above and below.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from lickwright.core.diagnostics import Rule
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.tab.drawing import LET_RING_SHORT, draw_line
from lickwright.export.tab.heading import (
    PrintedMarks,
    closing_lines,
    heading_lines,
    legend_lines,
    needs_caution,
    tempo_words,
)
from lickwright.export.tab.lanes import wrap_words
from lickwright.export.tab.lines import Line, break_lines
from lickwright.hand.measures import CAUTION
from lickwright.layout.chord_tones import mark_chord_tones
from lickwright.layout.grid import Grid, RowEntry
from lickwright.notation.techniques import MARKS

RULES: tuple[Rule, ...] = ()
GHOST = MARKS["?"]
WIDTH_MIN, WIDTH_MAX = 40, 400  # characters: a width beyond them is taken as the nearest of them; estimates


def emit(lowered: LoweredLick, options: Options) -> Export:
    """Return the text tab of a lick, without losses."""
    grid, timeline = lowered.grid(), lowered.timeline
    if options.chord_tones:
        grid = mark_chord_tones(grid)
    width = min(WIDTH_MAX, max(WIDTH_MIN, options.width))
    lines = break_lines(grid, width)
    parts = [heading_lines(grid, width, tempo_words(timeline, options.tempo_percent, options.tempo_bpm))]
    held = _held_note(lines)
    for line, above in zip(lines, _entries_by_line(grid, lines), strict=True):
        # A ghost note is told from a held one by a letter, where there are both.
        shown = above if held else [item for item in above if item.technique is not GHOST]
        parts.append(draw_line(grid, line, shown, width))
    short = any(LET_RING_SHORT in row for part in parts[1:] for row in part)
    parts += [legend_lines(grid, PrintedMarks(held, short), width), closing_lines(timeline.settings, width)]
    if needs_caution(timeline):
        parts.append(wrap_words(CAUTION, width))
    return Export("\n\n".join("\n".join(part) for part in parts if part).encode() + b"\n")


def _held_note(lines: Sequence[Line]) -> str:
    """Return the first note that is shown again in parentheses; "" for none."""
    marks = (mark for line in lines for placed in line.pieces for block in placed.blocks for mark in block.marks)
    return next((mark.text[: mark.text.index(")") + 1] for mark in marks if mark.held), "")


def _entries_by_line(grid: Grid, lines: Sequence[Line]) -> list[list[RowEntry]]:
    """Return for each line what stands above its columns, by row."""
    starts = [line.pieces[0].piece.first for line in lines]
    shares: list[list[RowEntry]] = [[] for _ in lines]
    for above in grid.above:
        for index in range(bisect_right(starts, above.first) - 1, bisect_right(starts, above.last)):
            shares[index].append(above)
    return shares
