"""The music of a lesson page: the drawings of which the page's style shows the one that fits the width.

In: a lowered lick. Out: `Markup`, SVG as `engraving/` makes it, with what the page's style says anyway left out. A page that becomes narrow shows other
line breaks, not smaller music.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from lickwright.engraving.display_list import Item, ItemGroup, extents
from lickwright.engraving.svg import PAGE_INKS, music_svg, svg_document
from lickwright.export import LoweredLick, Options
from lickwright.export.page.markup import Markup
from lickwright.export.sheet.content import engraving_options
from lickwright.export.sheet.legend import SIGN

# The classes of lesson.css, each with its width: the narrowest screen that it is shown on, less the page's margins, in CSS pixels.
WIDTHS = {"narrow": 332, "broad": 624}
_SCALE = 1.5  # CSS pixels a point: numbers of 12 pixels
_MOST_EVENTS = 1_000  # of the lick, up to which both widths are drawn: a page must stay one that a phone opens
_MARK_TOP, _MARK_HEIGHT = 11.0, 14.0  # of the drawing of a mark: its base line, its height at least
_SANS = "'Noto Sans', 'Helvetica Neue', Arial, sans-serif"
_SERIF = "'Noto Serif', Georgia, serif"
_SHORTER = (  # attributes, and the classes of lesson.css that say the same
    (f' font-family="{_SANS}" font-weight="700" fill="currentColor"', ' class="b"'),
    (f' font-family="{_SANS}" fill="currentColor" fill-opacity="0.72"', ' class="f"'),
    (f' font-family="{_SANS}" fill="currentColor"', ""),
    (f' font-family="{_SERIF}" font-style="italic" fill="currentColor"', ' class="i"'),
    (f' font-family="{_SERIF}" fill="currentColor"', ' class="r"'),
    (' fill="none" stroke="currentColor"', ""),
    (' text-anchor="middle"', ' class="m"'),
    (' font-size="9"', ""),
    ("\n", ""),
)
_UNUSED = re.compile(
    r' data-(?:string|fret|touch|start|end|technique|value)="[^"]*"| data-role="(?!instant|system)[^"]*"'
)
_BARE_GROUP = re.compile(r"<g>((?:(?!</?g\b).)*)</g>")
_INSTANT = re.compile(r'<g data-role="instant" data-bar="([^"]*)" data-at="([^"]*)" data-x="([^"]*)"></g>')
_STRAIGHT = r'<path d="[MLZ][-0-9.MLZ ]*" '  # a path without curves
_ALIKE = re.compile(
    rf'{_STRAIGHT}(stroke-width="[^"]*"|fill="currentColor")/>(?:{_STRAIGHT}\1/>)*'
)  # one after the other
_COMMAND = re.compile(r"([MLZ]) ?(?:([-0-9.]+) ([-0-9.]+))?")
_TWO_CLASSES = re.compile(r' class="(\w)" class="(\w)"')


def drawings(lowered: LoweredLick, options: Options) -> list[Markup]:
    """Return the music at each width; of a very long lick at one width for all."""
    grid, wanted = lowered.grid(), engraving_options(options.sheet)
    if len(grid.timeline.sounds) > _MOST_EVENTS:
        return [_drawn(music_svg(grid, WIDTHS["narrow"] / _SCALE, wanted), "narrow broad")]
    return [_drawn(music_svg(grid, width / _SCALE, wanted), name) for name, width in WIDTHS.items()]


def draw_mark(items: Sequence[Item]) -> Markup:
    """Return the drawing of one mark of the legend, whose base line is at y 0."""
    around = extents(items)
    top, height = max(_MARK_TOP, -around.top + 1), max(_MARK_HEIGHT, around.bottom - around.top + 2)
    svg = svg_document((ItemGroup(tuple(items), y=top),), SIGN, height, PAGE_INKS, "")
    return _slim(svg.replace("<title></title>", ""), f'class="mark" aria-hidden="true" width="{SIGN * _SCALE:g}"')


def _drawn(svg: str, kind: str) -> Markup:
    """A picture of music with its class."""
    return _slim(svg, f'role="img" class="{kind}"')


def _slim(svg: str, attributes: str) -> Markup:
    """A picture without the size that it would have on paper and without what the player does not read."""
    head, _, rest = svg.partition(">")
    (box,) = re.findall(r'viewBox="[^"]*"', head)
    for long, short in _SHORTER:
        rest = rest.replace(long, short)
    rest = _TWO_CLASSES.sub(r' class="\1 \2"', _BARE_GROUP.sub(r"\1", _UNUSED.sub("", rest)))
    rest = _ALIKE.sub(_as_one_path, rest)
    rest = "".join(_with_instants(system) for system in re.split('(?=<g data-role="system")', rest))
    return Markup(f"<svg {box} {attributes}>{rest}")


def _as_one_path(paths: re.Match[str]) -> str:
    """Straight paths that follow each other and look alike as one: the lines of the strings are broken at every number, and stems and beams come in rows."""
    drawn = "".join(map(_short_path, re.findall(r' d="([^"]*)"', paths[0])))
    return f'<path d="{drawn}" {paths[1]}/>'


def _short_path(path: str) -> str:
    """A path of straight lines with what is level or upright written by one number."""
    x = y = ""
    parts = []
    for command, to_x, to_y in _COMMAND.findall(path):
        if command == "Z":
            parts.append("Z")
        elif command == "L" and to_y == y:
            parts.append(f"H{to_x}")
        elif command == "L" and to_x == x:
            parts.append(f"V{to_y}")
        else:
            parts.append(f"{command}{to_x} {to_y}")
        x, y = to_x, to_y
    return "".join(parts)


def _with_instants(system: str) -> str:
    """A system with its instants in one attribute, `BAR AT X` each, instead of a group each."""
    found = ";".join(" ".join(match) for match in _INSTANT.findall(system))
    bare = _INSTANT.sub("", system)
    return bare.replace('data-role="system"', f'data-role="system" data-instants="{found}"', 1) if found else bare
