"""Bar lines, repeats and the sign for "as before", of a staff of any height, and what joins two staves.

In: a placed piece and the height of a staff. Out: groups of the display list.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from lickwright.engraving import measures as m
from lickwright.engraving.display_list import Extent, Item, ItemGroup, Path, box, disc, line
from lickwright.engraving.placed import PlacedPiece, PlacedSystem

_CLEAR = 1.2  # kept clear between a line that joins two staves and what stands there
_LEAST = 2.0  # a shorter piece of such a line is left out
_BRACKET, _HOOK = 1.5, 3.5  # width of the bracket before two staves, length of its hooks
_BEYOND = 3.6  # how far it reaches over and below the staves, clear of the names of the strings


class StaffHeight(NamedTuple):
    """Where the lines of a staff are."""

    top: float
    bottom: float
    dots: tuple[float, float] = (0.0, 0.0)  # of a repeat

    @property
    def middle(self) -> float:
        """Half way between the outer lines."""
        return (self.top + self.bottom) / 2


class BarEnd(NamedTuple):
    """The sign at one end of a piece."""

    role: str
    x: float
    strokes: tuple[tuple[float, float], ...]  # left and right edges of its lines
    dash: tuple[float, ...] = ()
    dots: float | None = None  # the x of a repeat's dots


def tab_height(system: PlacedSystem) -> StaffHeight:
    """The strings; a repeat's dots stand in the gaps beside the middle."""
    middle, step = system.bottom / 2, m.STRING if system.strings % 2 == 0 else m.STRING / 2
    return StaffHeight(0.0, system.bottom, (middle - step, middle + step))


def bar_line(x: float, height: StaffHeight) -> ItemGroup:
    """A plain bar line."""
    return _drawn(_plain(x), height)


def bar_lines(system: PlacedSystem, placed: PlacedPiece, height: StaffHeight) -> Iterator[ItemGroup]:
    """The signs at both ends of a piece; a part of a bar that goes on ends with a dotted line."""
    for end in _ends(system, placed):
        yield _drawn(end, height)
    if placed.piece.same:
        yield ItemGroup(_as_before((placed.left + placed.right) / 2, height.middle), "as-before")


def join_staves(system: PlacedSystem, start: float, height: StaffHeight, between: Iterable[Extent]) -> Iterator[ItemGroup]:  # fmt: skip
    """Yield the bar lines in the gap between two staves, with a gap where something stands in their way.

    `height` is from the bottom of the upper staff to the top of the lower one; `between` are the boxes of what stands there.
    """
    boxes = list(between)
    yield _drawn(_plain(start), height)
    for placed in system.pieces:
        for end in _ends(system, placed):
            edges = [edge for stroke in end.strokes for edge in stroke]
            for top, bottom in _free(min(edges), max(edges), height, boxes):
                yield _drawn(end._replace(role="bar-join", dots=None), StaffHeight(top, bottom))


def bracket(x: float, height: StaffHeight) -> ItemGroup:
    """A bracket round two staves: an upright bar with a hook at either end, to the left of x."""
    top, bottom = height.top - _BEYOND, height.bottom + _BEYOND
    hooks = (line(x - _BRACKET, y, x + _HOOK, y, m.BAR_LINE) for y in (top, bottom))
    return ItemGroup((box(x - _BRACKET, top, x, bottom), *hooks), "bracket")


def _free(left: float, right: float, height: StaffHeight, boxes: Iterable[Extent]) -> Iterator[tuple[float, float]]:
    """Yield the stretches of a height in which nothing stands between two places."""
    top = height.top
    ways = sorted((box.top, box.bottom) for box in boxes if box.left - _CLEAR < right and left < box.right + _CLEAR)
    for first, last in (*ways, (height.bottom + _CLEAR, height.bottom)):
        if min(first - _CLEAR, height.bottom) - top >= _LEAST:
            yield top, min(first - _CLEAR, height.bottom)
        top = max(top, last + _CLEAR)


def _ends(system: PlacedSystem, placed: PlacedPiece) -> Iterator[BarEnd]:
    """Yield the signs at both ends of a piece."""
    piece, bar, right = placed.piece, system.grid.bars[placed.piece.bar].bar, placed.right
    if piece.repeat_start:
        yield _heavy("repeat-start", placed.left, 1.0, True)
    if not piece.closes:
        yield _plain(right)._replace(role="bar-goes-on", dash=(1.5, 2.0))
    elif piece.repeat_end:
        yield _heavy("repeat-end", right, -1.0, True)
    elif bar.double and piece.bar + 1 == len(system.grid.bars):
        yield _heavy("end", right, -1.0, False)
    else:
        yield _plain(right)
        if bar.double:
            yield _plain(right - 2.4)


def _plain(x: float) -> BarEnd:
    return BarEnd("bar-line", x, ((x - m.BAR_LINE / 2, x + m.BAR_LINE / 2),))


def _heavy(role: str, x: float, inwards: float, dotted: bool) -> BarEnd:
    """A thick line at x and a thin one beside it, towards the bar: 1 to the right, -1 to the left."""
    left, right = sorted((x, x + m.THICK_BAR * inwards))
    thin = x + 4.2 * inwards
    strokes = ((left, right), (thin - m.BAR_LINE / 2, thin + m.BAR_LINE / 2))
    return BarEnd(role, x, strokes, (), x + 7.0 * inwards if dotted else None)


def _drawn(end: BarEnd, height: StaffHeight) -> ItemGroup:
    items: list[Item] = []
    for left, right in end.strokes:
        if right - left > m.BAR_LINE + 0.1:
            items.append(box(left, height.top, right, height.bottom))
        else:
            x = (left + right) / 2
            items.append(line(x, height.top, x, height.bottom, m.BAR_LINE, end.dash))
    if end.dots is not None:
        items += [disc(end.dots, y, 1.1) for y in height.dots]
    return ItemGroup(tuple(items), end.role)


def _as_before(x: float, y: float) -> tuple[Item, ...]:
    """The sign for a bar that is played like the one before."""
    corners = ((x - 5.5, y + 5), (x - 2.5, y + 5), (x + 5.5, y - 5), (x + 2.5, y - 5))
    commands = tuple(("M" if n == 0 else "L", *corner) for n, corner in enumerate(corners))
    return Path((*commands, ("Z",)), 0.0), disc(x - 4.6, y - 2.8, 1.3), disc(x + 4.6, y + 2.8, 1.3)
