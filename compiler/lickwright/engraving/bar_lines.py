"""Bar lines, repeats and the sign for "as before", of a staff of any height.

In: a placed piece and the height of a staff. Out: groups of the display list.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Item, ItemGroup, Path, box, disc, line
from lickwright.engraving.placed import PlacedPiece, PlacedSystem


class StaffHeight(NamedTuple):
    """Where the lines of a staff are."""

    top: float
    bottom: float
    dots: tuple[float, float]  # of a repeat

    @property
    def middle(self) -> float:
        """Half way between the outer lines."""
        return (self.top + self.bottom) / 2


def tab_height(system: PlacedSystem) -> StaffHeight:
    """The strings; a repeat's dots stand in the gaps beside the middle."""
    middle, step = system.bottom / 2, m.STRING if system.strings % 2 == 0 else m.STRING / 2
    return StaffHeight(0.0, system.bottom, (middle - step, middle + step))


def bar_line(x: float, height: StaffHeight) -> ItemGroup:
    """A plain bar line."""
    return ItemGroup((line(x, height.top, x, height.bottom, m.BAR_LINE),), "bar-line")


def bar_lines(system: PlacedSystem, placed: PlacedPiece, height: StaffHeight) -> Iterator[ItemGroup]:
    """The signs at both ends of a piece; a part of a bar that goes on ends with a dotted line."""
    piece, bar = placed.piece, system.grid.bars[placed.piece.bar].bar
    right = placed.right
    if piece.repeat_start:
        yield ItemGroup(_heavy(placed.left, 1.0, height, True), "repeat-start")
    if not piece.closes:
        yield ItemGroup((line(right, height.top, right, height.bottom, m.BAR_LINE, (1.5, 2.0)),), "bar-goes-on")
    elif piece.repeat_end:
        yield ItemGroup(_heavy(right, -1.0, height, True), "repeat-end")
    elif bar.double and piece.bar + 1 == len(system.grid.bars):
        yield ItemGroup(_heavy(right, -1.0, height, False), "end")
    else:
        yield bar_line(right, height)
        if bar.double:
            yield bar_line(right - 2.4, height)
    if piece.same:
        yield ItemGroup(_as_before((placed.left + right) / 2, height.middle), "as-before")


def _heavy(x: float, inwards: float, height: StaffHeight, dotted: bool) -> tuple[Item, ...]:
    """A thick line at x and a thin one beside it, towards the bar: 1 to the right, -1 to the left."""
    thick = sorted((x, x + m.THICK_BAR * inwards))
    thin = x + 4.2 * inwards
    items = [box(thick[0], height.top, thick[1], height.bottom), line(thin, height.top, thin, height.bottom, m.BAR_LINE)]  # fmt: skip
    return (*items, *(disc(x + 7.0 * inwards, y, 1.1) for y in (height.dots if dotted else ())))


def _as_before(x: float, y: float) -> tuple[Item, ...]:
    """The sign for a bar that is played like the one before."""
    corners = ((x - 5.5, y + 5), (x - 2.5, y + 5), (x + 5.5, y - 5), (x + 2.5, y - 5))
    commands = tuple(("M" if n == 0 else "L", *corner) for n, corner in enumerate(corners))
    return Path((*commands, ("Z",)), 0.0), disc(x - 4.6, y - 2.8, 1.3), disc(x + 4.6, y + 2.8, 1.3)
