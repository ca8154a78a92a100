"""What a sheet is made of, and its pages: blocks one below the other, never cut, headings with what follows them.

In: `SheetBlock`s. Out: pages of them, each block with its place. Knows no lick.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from lickwright.engraving.display_list import FAINT, INK, Item, ItemGroup, Text
from lickwright.engraving.paragraph import wrap_text

LEADING = 1.34  # from line to line, in the size of the text
_LINES = 24  # of a paragraph in one block: a longer one may be parted between pages


class SheetBlock(NamedTuple):
    """Something that is not parted between pages."""

    items: tuple[ItemGroup, ...]
    height: float
    gap: float = 0.0  # before it, but for the first of a page
    keep: bool = False  # on the page of what follows
    bookmark: str = ""
    new_page: bool = False  # it begins a page

    @property
    def is_section(self) -> bool:
        """Return True for the heading of a section."""
        return bool(self.items) and self.items[0].role == "section"


class PlacedBlock(NamedTuple):
    """A block on its page."""

    block: SheetBlock
    y: float
    scale: float = 1.0  # less than 1 for one that is higher than a page


def paginate(blocks: Sequence[SheetBlock], height: float) -> list[list[PlacedBlock]]:
    """Pages of blocks, each `height` points high at most."""
    pages: list[list[PlacedBlock]] = [[]]
    y = 0.0
    for run in _runs(blocks):
        needed = sum(block.height for block in run) + sum(block.gap for block in run[1:])
        if pages[-1] and (run[0].new_page or y + run[0].gap + needed > height):
            pages.append([])
            y = 0.0
        for block in run:
            y += block.gap if pages[-1] else 0.0
            if pages[-1] and y + block.height > height:
                pages.append([])
                y = 0.0
            scale = min(1.0, height / block.height) if block.height else 1.0
            pages[-1].append(PlacedBlock(block, y, scale))
            y += block.height * scale
    return pages


def _runs(blocks: Iterable[SheetBlock]) -> Iterator[list[SheetBlock]]:
    """Blocks that stay together."""
    run: list[SheetBlock] = []
    for block in blocks:
        run.append(block)
        if not block.keep:
            yield run
            run = []
    if run:
        yield run


def text_lines(lines: Sequence[str], face: str, size: float, x: float = 0.0, y: float = 0.0, ink: str = INK) -> tuple[Text, ...]:  # fmt: skip
    """Lines of text one below the other; the first stands at the top of y."""
    return tuple(Text(x, y + size + n * size * LEADING, line, face, size, "start", ink) for n, line in enumerate(lines))


def paragraph(
    text: str, width: float, size: float, face: str = "sans", gap: float = 4.0, ink: str = INK, bullet: str = ""
) -> Iterator[SheetBlock]:
    """A paragraph as blocks: one, but for a very long one."""
    indent = 9.0 if bullet else 0.0
    lines = wrap_text(text, face, size, width - indent)
    for n in range(0, len(lines), _LINES):
        part = lines[n : n + _LINES]
        items: tuple[Item, ...] = text_lines(part, face, size, indent, 0.0, ink)
        if bullet and n == 0:
            items = (Text(0.0, size, bullet, face, size, "start", FAINT), *items)
        yield SheetBlock((ItemGroup(items, "paragraph"),), len(part) * size * LEADING, gap if n == 0 else 0.0)
