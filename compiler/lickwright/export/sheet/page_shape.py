"""The paper of a sheet: its size, its margins, how large the print is; and blocks put on it.

In: a `SheetRequest`, and pages of blocks. Out: `PrintedPage`s.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.engraving.display_list import FAINT, ItemGroup, Text
from lickwright.export import SheetRequest
from lickwright.export.sheet.blocks import PlacedBlock
from lickwright.export.sheet.pdf import PrintedPage

PAPER = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # points
SCALE = {"small": 0.9, "normal": 1.12, "large": 1.5}
MARGIN, TOP, BOTTOM = 50.0, 46.0, 50.0
_NUMBER = 26.0  # of the page number's base line over the edge of the paper


class PageShape(NamedTuple):
    """A paper and the scale of what is printed on it."""

    paper: tuple[float, float]  # points
    scale: float

    @property
    def column(self) -> float:
        """The width of the text, in points before the scale."""
        return (self.paper[0] - 2 * MARGIN) / self.scale

    @property
    def room(self) -> float:
        """The height of the text, in points before the scale."""
        return (self.paper[1] - TOP - BOTTOM) / self.scale


def page_shape(request: SheetRequest, shrink: float = 1.0) -> PageShape:
    """The pages that are asked for; `shrink` makes the print so much smaller."""
    return PageShape(PAPER[request.paper], SCALE[request.size] * shrink)


def print_pages(pages: Sequence[Sequence[PlacedBlock]], shape: PageShape) -> list[PrintedPage]:
    """Pages of blocks with their margins, page numbers and bookmarks."""
    printed = []
    for n, page in enumerate(pages, 1):
        marks = tuple((p.block.bookmark, TOP + p.y * shape.scale) for p in page if p.block.bookmark)
        printed.append(PrintedPage((*place_blocks(page, shape.scale), _number(n, len(pages), shape)), marks))
    return printed


def place_blocks(page: Sequence[PlacedBlock], scale: float) -> Iterator[ItemGroup]:
    """The groups of a page at their places on the paper."""
    for placed in page:
        inner = placed.scale * scale
        for group in placed.block.items:
            x, y = MARGIN + group.x * inner, TOP + placed.y * scale + group.y * inner
            yield group._replace(x=x, y=y, scale=group.scale * inner)


def _number(page: int, pages: int, shape: PageShape) -> ItemGroup:
    """The number of a page; nothing where it is the only one."""
    x, y = shape.paper[0] - MARGIN, shape.paper[1] - _NUMBER
    return ItemGroup((Text(x, y, f"{page} of {pages}", "sans", 7.5, "end", FAINT),) if pages > 1 else ())
