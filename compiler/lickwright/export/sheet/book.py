"""Many licks as one document: a title, a table of contents that leads to each lick, and their sheets.

In: licks as drawn, each with its options. Out: the bytes of a PDF file, the same for the same licks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from lickwright.engraving.display_list import ACCENT, FAINT, Item, ItemGroup, Link, Text, line
from lickwright.engraving.paragraph import wrap_text
from lickwright.export import Options, SheetRequest
from lickwright.export.sheet.blocks import LEADING, PlacedBlock, SheetBlock, paginate, text_lines
from lickwright.export.sheet.content import MARKS, caution_blocks, engraving_options, legend_blocks, lick_blocks
from lickwright.export.sheet.legend import LegendRow, legend_of, merge_legends
from lickwright.export.sheet.page_shape import page_shape, print_pages
from lickwright.export.sheet.pdf import DocumentFacts, write_pdf
from lickwright.layout.grid import Grid
from lickwright.music.accidentals import accidental_signs
from lickwright.timeline.model import Timeline

_TITLE, _ENTRY = 27.0, 10.5  # sizes of text
_NUMBER = 34.0  # room for a page number
_NAME = "lick-{}"  # by which a link finds a lick; the legend comes after the last
_BETWEEN = 34.0  # between two licks on one page


class BookLick(NamedTuple):
    """One lick of a book."""

    grid: Grid
    options: Options


def book_pdf(licks: Iterable[BookLick], title: str, request: SheetRequest, share_pages: bool) -> bytes:
    """The book; each lick begins a page, unless they share pages. One legend for all of them stands at the end. Raises `MissingFace`."""
    shape = page_shape(request)
    width, height = shape.column, shape.room
    blocks: list[SheetBlock] = []
    heads: list[tuple[str, str]] = []  # title and key of each
    marks: list[LegendRow] = []
    timelines = []
    for grid, options in licks:
        first, *rest = lick_blocks(grid, options, width, _NAME.format(len(heads)), False)
        timelines.append(grid.timeline)
        marks = merge_legends(marks, legend_of(grid, engraving_options(options.sheet)))
        blocks += [first._replace(new_page=not share_pages or not heads, gap=_BETWEEN), *rest]
        heads.append((grid.timeline.title, accidental_signs(str(grid.timeline.settings.key or ""))))
    if heads:
        blocks += _closing_blocks(marks, timelines, width, _NAME.format(len(heads)), not share_pages)
        heads += [(MARKS, "")] if marks else []
    pages = paginate(blocks, height) if blocks else []
    contents = _numbered_contents(title, heads, pages, width, height)
    facts = DocumentFacts(title)
    return write_pdf(print_pages([*contents, *pages], shape), shape.paper, facts, request.black)


def _closing_blocks(
    marks: Sequence[LegendRow], timelines: Sequence[Timeline], width: float, name: str, new_page: bool
) -> list[SheetBlock]:
    """The legend of all licks, which the table of contents leads to by its name, and the words of caution."""
    legend = list(legend_blocks(marks, width))
    if legend:
        heading = legend[0].items[0]._replace(name=name)
        legend[0] = legend[0]._replace(items=(heading,), bookmark=MARKS, new_page=new_page)
    return [*legend, *caution_blocks(timelines, width)]


def _numbered_contents(
    title: str, heads: Sequence[tuple[str, str]], pages: Sequence[Sequence[PlacedBlock]], width: float, height: float
) -> list[list[PlacedBlock]]:
    """The pages of contents, with the numbers of the pages behind them on which licks begin."""
    starts = [n for n, page in enumerate(pages) for placed in page if placed.block.bookmark]
    before = len(paginate(_contents(title, heads, [0] * len(heads), width), height))
    return paginate(_contents(title, heads, [before + n + 1 for n in starts], width), height)


def _contents(title: str, heads: Iterable[tuple[str, str]], numbers: Iterable[int], width: float) -> list[SheetBlock]:
    """The title and a line for each lick."""
    lines = wrap_text(title, "serif", _TITLE, width, 3)
    height = len(lines) * _TITLE * LEADING
    rule = ItemGroup((line(0.0, height + 4.0, width, height + 4.0, 0.8, ink=ACCENT),))
    found = [SheetBlock((ItemGroup(text_lines(lines, "serif", _TITLE), "title"), rule), height + 16.0, keep=True)]
    for n, ((name, key), page) in enumerate(zip(heads, numbers, strict=True)):
        said = wrap_text(name, "serif", _ENTRY, width - _NUMBER - 90.0, 2)
        high = len(said) * _ENTRY * LEADING
        items: list[Item] = [*text_lines(said, "serif", _ENTRY)]
        if key:
            items.append(Text(width - _NUMBER, _ENTRY, key, "sans", 8.0, "end", FAINT))
        items += [Text(width, _ENTRY, str(page), "sans", 9.0, "end"), Link(0.0, 0.0, width, high, _NAME.format(n))]
        found.append(SheetBlock((ItemGroup(tuple(items), "entry"),), high, 3.5))
    return found
