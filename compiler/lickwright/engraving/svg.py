"""A display list as SVG.

In: items of the display list. Out: text, the same for the same items. No style sheet and no script, only attributes, so that it can stand in a page
with a strict policy. What is drawn in ink has the color of the text around it (`currentColor`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lickwright.core.xml_text import escape_xml
from lickwright.engraving.display_list import ACCENT, FAINT, INK, PAPER, DrawnEvent, Item, ItemGroup, Path, Text
from lickwright.engraving.engrave import EngravedMusic, EngravingOptions, engrave
from lickwright.engraving.typefaces import printable
from lickwright.layout.grid import Grid

_FAMILIES = {
    "sans": "font-family=\"'Noto Sans', 'Helvetica Neue', Arial, sans-serif\"",
    "sans-bold": "font-family=\"'Noto Sans', 'Helvetica Neue', Arial, sans-serif\" font-weight=\"700\"",
    "serif": "font-family=\"'Noto Serif', Georgia, serif\"",
    "serif-italic": 'font-family="\'Noto Serif\', Georgia, serif" font-style="italic"',
}
PAGE_INKS = {INK: "currentColor", ACCENT: "currentColor", FAINT: "currentColor", PAPER: "Canvas"}  # for either scheme
PAPER_INKS = {INK: "#000", ACCENT: "#8a3324", FAINT: "#595959", PAPER: "#fff"}
BLACK_INKS = {INK: "#000", ACCENT: "#000", FAINT: "#000", PAPER: "#fff"}
_FAINTER = ' fill-opacity="0.72"'


def svg_document(items: Iterable[Item], width: float, height: float, inks: dict[str, str], about: str, background: str = "") -> str:  # fmt: skip
    """A whole picture of `width` by `height` points; `about` is what a reader hears who cannot see it."""
    size = f'width="{_number(width)}" height="{_number(height)}" viewBox="0 0 {_number(width)} {_number(height)}"'
    parts = [f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img">', f"<title>{escape_xml(about)}</title>"]
    if background:
        parts.append(f'<rect width="{_number(width)}" height="{_number(height)}" fill="{background}"/>')
    for item in items:
        parts += _written(item, inks)
    return "\n".join([*parts, "</svg>"]) + "\n"


def music_svg(grid: Grid, width: float, options: EngravingOptions = EngravingOptions()) -> str:  # noqa: B008 (a frozen value)
    """The music of a lick as a picture `width` points wide, for a page of either color scheme.

    Each number is a `g` with `data-event`, `data-string`, `data-fret`, `data-start` and `data-end` (whole notes) and `data-technique`; each system a `g`
    with `data-top` and `data-bottom` of its strings; and each instant a `g` with `data-role="instant"`, `data-bar` (counted from 0), `data-at` (whole
    notes from the start of the bar) and `data-x`.
    """
    score = engrave(grid, width, options)
    return svg_document(
        _score_items(grid, score), score.width, score.height, PAGE_INKS, f"tab of {grid.timeline.title}"
    )


def _score_items(grid: Grid, score: EngravedMusic) -> Iterator[ItemGroup]:
    """The systems of a score one below the other, each with the places of its instants for a cursor."""
    for system, group in zip(score.systems, score.stacked(), strict=True):
        instants = tuple(
            ItemGroup((), "instant", data=(
                ("bar", str(cursor.bar)), ("at", str(grid.timeline.fraction(cursor.at))), ("x", _number(cursor.x)),
            ))
            for cursor in system.cursors
        )  # fmt: skip
        yield group._replace(items=(*group.items, *instants))


def _written(item: Item, inks: dict[str, str]) -> Iterator[str]:
    if isinstance(item, Text):
        faint = _FAINTER if item.ink == FAINT and inks is PAGE_INKS else ""
        anchor = f' text-anchor="{item.anchor}"' if item.anchor != "start" else ""
        place = f'x="{_number(item.x)}" y="{_number(item.y)}" font-size="{_number(item.size)}"'
        text = escape_xml(printable(item.text, item.face))
        yield f'<text {place} {_FAMILIES[item.face]} fill="{inks[item.ink]}"{faint}{anchor}>{text}</text>'
    elif isinstance(item, Path):
        yield f"<path {_path(item, inks)}/>"
    elif isinstance(item, ItemGroup):
        yield f"<g{_about(item)}>"
        for inner in item.items:
            yield from _written(inner, inks)
        yield "</g>"


def _path(item: Path, inks: dict[str, str]) -> str:
    words = " ".join(f"{command[0]}{' '.join(_number(float(n)) for n in command[1:])}" for command in item.commands)
    if item.filled:
        return f'd="{words}" fill="{inks[item.ink]}"'
    dash = f' stroke-dasharray="{" ".join(map(_number, item.dash))}"' if item.dash else ""
    return f'd="{words}" fill="none" stroke="{inks[item.ink]}" stroke-width="{_number(item.width)}"{dash}'


def _about(group: ItemGroup) -> str:
    """The attributes of a group."""
    found = [f' data-role="{group.role}"'] if group.role else []
    if group.event is not None:
        found += [f' data-{name}="{escape_xml(value)}"' for name, value in _event(group.event)]
    found += [f' data-{name}="{escape_xml(value)}"' for name, value in group.data]
    if group.x or group.y or group.scale != 1:
        moved = f"translate({_number(group.x)} {_number(group.y)})"
        found.append(f' transform="{moved}{f" scale({_number(group.scale)})" if group.scale != 1 else ""}"')
    return "".join(found)


def _event(event: DrawnEvent) -> Iterator[tuple[str, str]]:
    yield "event", str(event.number)
    yield "string", str(event.string)
    if event.fret is not None:
        yield "fret", str(event.fret)
    if event.touch is not None:
        yield "touch", str(event.touch)
    yield "start", str(event.start)
    yield "end", str(event.end)
    if event.technique:
        yield "technique", event.technique


def _number(value: float) -> str:
    """A length with two decimals at most."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if value else "0"
