"""Text tab: strings as lines of dashes, frets on them, the count below.

In: a lick as drawn. Out: UTF-8 text for a fixed-width font, with its heading, its legend and its rights. Everything
that the notation can say has a place on it, so nothing is lost.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from lickwright.backends import Emission, Options, Stages
from lickwright.backends.tab_draw import draw_line, wrapped
from lickwright.backends.tab_heading import ending, heading, is_hard, legend, tempo_words
from lickwright.backends.tab_lines import Line, break_lines
from lickwright.diagnostics import Rule
from lickwright.grid import Above, Grid
from lickwright.hand import CAUTION

RULES: tuple[Rule, ...] = ()
WIDTH_MIN, WIDTH_MAX = 40, 400  # characters; asked for less or more, these


def emit(stages: Stages, options: Options) -> Emission:
    """The whole sheet."""
    grid, timeline = stages.grid(), stages.timeline
    width = min(WIDTH_MAX, max(WIDTH_MIN, options.width))
    lines = break_lines(grid, width)
    parts = [heading(grid, width, tempo_words(timeline, options.tempo_percent, options.tempo_bpm))]
    parts += [draw_line(grid, line, above, width) for line, above in zip(lines, _reaching(grid, lines), strict=True)]
    ties = any(mark.held for line in lines for mark in line.pieces[0].blocks[0].marks)
    parts += [legend(grid, ties, width), ending(timeline.settings, width)]
    if is_hard(timeline):
        parts.append(wrapped(CAUTION, width))
    return Emission("\n\n".join("\n".join(part) for part in parts if part).encode() + b"\n")


def _reaching(grid: Grid, lines: Sequence[Line]) -> list[list[Above]]:
    """For each line what stands above its columns, by row."""
    starts = [line.pieces[0].piece.first for line in lines]
    shares: list[list[Above]] = [[] for _ in lines]
    for above in grid.above:
        for index in range(bisect_right(starts, above.first) - 1, bisect_right(starts, above.last)):
            shares[index].append(above)
    return shares
