"""What is drawn on a page, whatever it is written as: text, lines, paths, boxes and groups of them.

In: nothing of its own. Out: values that `svg.py` and the sheet's PDF writer turn into their formats. Lengths are points (1/72 inch), x to the right
and y downwards. A group can say what it is (`role`) and which event of the lick it draws (`event`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple, TypeAlias

from lickwright.engraving.typefaces import ASCENT, DESCENT, text_width

Command: TypeAlias = tuple[str | float, ...]  # ("M", x, y), ("L", x, y), ("C", x1, y1, x2, y2, x, y), ("Z",)

INK, ACCENT, FAINT, PAPER = "ink", "accent", "faint", "paper"  # black; the one color; grey; the ground


class DrawnEvent(NamedTuple):
    """The event of the lick that a group draws."""

    number: int  # its place in `Timeline.sounds`
    string: int  # 1 is the thinnest
    fret: int | None  # None for a dead note without one and for a natural harmonic
    touch: Fraction | None  # the fret touched for a harmonic
    start: Fraction  # whole notes from the start of the music as played
    end: Fraction
    technique: str  # names of its techniques, with commas between; "" for a note that is only picked


class Text(NamedTuple):
    """One line of text."""

    x: float
    y: float  # of the base line
    text: str
    face: str = "sans"  # one of typefaces.FACES
    size: float = 8.0
    anchor: str = "start"  # what of it stands at x: "start", "middle" or "end"
    ink: str = INK

    @property
    def width(self) -> float:
        """Its width, in points."""
        return text_width(self.text, self.face, self.size)


class Path(NamedTuple):
    """Lines and curves, stroked or filled."""

    commands: tuple[Command, ...]
    width: float = 0.6  # of the stroke; 0 for a filled path
    dash: tuple[float, ...] = ()  # lengths of dashes and gaps; () for a solid line
    ink: str = INK

    @property
    def filled(self) -> bool:
        """Whether its inside is filled and its outline is not drawn."""
        return not self.width


class Link(NamedTuple):
    """An area that leads to a named group of the same document."""

    left: float
    top: float
    right: float
    bottom: float
    target: str


class ItemGroup(NamedTuple):
    """Items that belong together, moved and scaled as one."""

    items: tuple[Item, ...]
    role: str = ""  # what it is: "note", "bend", "system", "heading"
    event: DrawnEvent | None = None
    data: tuple[tuple[str, str], ...] = ()  # further facts for readers of the drawing: ("bar", "2")
    x: float = 0.0
    y: float = 0.0
    scale: float = 1.0
    alt: str = ""  # what a picture shows, in words
    name: str = ""  # by which a `Link` finds it


Item: TypeAlias = "Text | Path | Link | ItemGroup"


class Extent(NamedTuple):
    """The box round something drawn."""

    left: float
    top: float
    right: float
    bottom: float


def line(x1: float, y1: float, x2: float, y2: float, width: float = 0.6, dash: tuple[float, ...] = (), ink: str = INK) -> Path:  # fmt: skip
    """A straight line."""
    return Path((("M", x1, y1), ("L", x2, y2)), width, dash, ink)


def box(left: float, top: float, right: float, bottom: float, width: float = 0.0, ink: str = INK) -> Path:
    """A rectangle, filled unless a width for its outline is given."""
    corners: tuple[Command, ...] = (("M", left, top), ("L", right, top), ("L", right, bottom), ("L", left, bottom))
    return Path((*corners, ("Z",)), width, (), ink)


_ROUND = 0.5523  # distance of the control points of a cubic that draws a quarter of a circle of radius 1


def disc(x: float, y: float, radius: float, width: float = 0.0, ink: str = INK, tall: float = 1.0) -> Path:
    """A circle, filled unless a width for its outline is given; `tall` squeezes it to an ellipse."""
    r, v, c, d = radius, radius * tall, radius * _ROUND, radius * tall * _ROUND
    return Path((
        ("M", x + r, y), ("C", x + r, y + d, x + c, y + v, x, y + v), ("C", x - c, y + v, x - r, y + d, x - r, y),
        ("C", x - r, y - d, x - c, y - v, x, y - v), ("C", x + c, y - v, x + r, y - d, x + r, y), ("Z",),
    ), width, (), ink)  # fmt: skip


def extent(item: Item) -> Extent:
    """The box round an item; of a curve, that of its control points. A box of no size for an empty group."""
    if isinstance(item, Text):
        left = item.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor] * item.width
        return Extent(left, item.y - ASCENT * item.size, left + item.width, item.y + DESCENT * item.size)
    if isinstance(item, Link):
        return Extent(item.left, item.top, item.right, item.bottom)
    if isinstance(item, Path):
        numbers = [number for command in item.commands for number in command[1:] if not isinstance(number, str)]
        half = item.width / 2
        xs, ys = numbers[::2], numbers[1::2]
        return Extent(min(xs) - half, min(ys) - half, max(xs) + half, max(ys) + half)
    inner = extents(item.items)
    s = item.scale
    return Extent(item.x + inner.left * s, item.y + inner.top * s, item.x + inner.right * s, item.y + inner.bottom * s)


def extents(items: Iterable[Item]) -> Extent:
    """The box round all of them."""
    boxes = [extent(item) for item in items]
    if not boxes:
        return Extent(0.0, 0.0, 0.0, 0.0)
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return Extent(min(lefts), min(tops), max(rights), max(bottoms))


def groups(
    items: Iterable[Item], x: float = 0.0, y: float = 0.0, scale: float = 1.0
) -> Iterator[tuple[ItemGroup, Extent]]:
    """Every group below `items` with the box round it, in the coordinates of the whole."""
    for item in items:
        if isinstance(item, ItemGroup):
            own = extent(item)
            yield (
                item,
                Extent(x + own.left * scale, y + own.top * scale, x + own.right * scale, y + own.bottom * scale),
            )
            yield from groups(item.items, x + item.x * scale, y + item.y * scale, scale * item.scale)
