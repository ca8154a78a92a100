"""Fretboard diagrams as SVG, in black on white.

In: `FretboardDiagram` values. Out: an SVG document as text, the same for the same values on every machine. The shapes
need no color: the tonic is a black square, other notes are rings, those of the chord shape have a thick one, the blue
note is a grey diamond.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.core.xml_text import escape_xml
from lickwright.diagram.model import Dot, FretboardDiagram

# All in SVG units; at 100 % on paper one is 1/96 inch, a dot then is 8 mm across.
_FRET, _STRING = 62, 36  # from wire to wire, from string to string
_DOT = 15  # radius
_LABEL, _SMALL = 16, 15  # size of one letter in a dot, and of all outside
_SIDE, _TOP, _BOTTOM = 44, 40, 38  # round the strings: their names, caption, fret numbers
_OPEN = 36  # more at the nut, for open strings
_MARGIN, _HEAD, _FOOT = 20, 44, 48  # round the whole: title above, legend below
_ACROSS = 3  # pictures in a row
_NARROWEST = 440  # the legend's width
_FONT = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"


def diagram_svg(diagrams: Sequence[FretboardDiagram]) -> str:
    """Return an SVG document of the diagrams, three to a row, under one title and over one legend."""
    rows = [diagrams[i : i + _ACROSS] for i in range(0, len(diagrams), _ACROSS)]
    width = max([*(sum(_size(diagram)[0] for diagram in row) for row in rows), _NARROWEST]) + 2 * _MARGIN
    remark = diagrams[0].remark
    height = _HEAD + sum(max(_size(diagram)[1] for diagram in row) for row in rows) + _FOOT + (24 if remark else 0)
    body = [_text(_MARGIN, 32, diagrams[0].title, 22, "start", bold=True)]
    y = _HEAD
    for row in rows:
        left = _MARGIN
        for diagram in row:
            body += [f'<g transform="translate({left} {y})">', *_diagram(diagram), "</g>"]
            left += _size(diagram)[0]
        y += max(_size(diagram)[1] for diagram in row)
    body += _legend(diagrams, y + 22)
    if remark:
        body.append(_text(_MARGIN, y + 22 + 36, remark, _SMALL, "start"))
    about = escape_xml(f"{diagrams[0].title}: " + "; ".join(diagram.caption for diagram in diagrams))
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" role="img" font-family="{_FONT}">'
    )
    white = f'<rect width="{width}" height="{height}" fill="#fff"/>'
    return "\n".join([head, f"<title>{about}</title>", white, *body, "</svg>"]) + "\n"


def _size(diagram: FretboardDiagram) -> tuple[int, int]:
    """Return width and height of one diagram with its names, caption and fret numbers."""
    width = 2 * _SIDE + _OPEN * diagram.has_open + _FRET * len(diagram.frets)
    return width, _TOP + 2 * _DOT + _STRING * (len(diagram.strings) - 1) + _BOTTOM


def _x(diagram: FretboardDiagram, frets: float) -> float:
    """Return the x of a point `frets` from the wire where the diagram begins, which is at the right for the left hand."""
    along = _SIDE + _OPEN * diagram.has_open + frets * _FRET
    return _size(diagram)[0] - along if diagram.left_handed else along


def _y(string: int) -> int:
    return _TOP + _DOT + _STRING * (string - 1)


def _diagram(diagram: FretboardDiagram) -> Iterable[str]:
    yield _text(_size(diagram)[0] / 2, 20, diagram.caption, _SMALL, "middle", bold=True)
    count = len(diagram.frets)
    bottom = _y(len(diagram.strings))
    for string, name in enumerate(diagram.strings, 1):
        thick = 1 + 0.35 * (string - 1)  # wound strings are thicker
        yield _line(_x(diagram, 0), _y(string), _x(diagram, count), _y(string), thick, "#555")
        yield _text(_x(diagram, -1 if diagram.has_open else -0.42), _y(string) + 5, name, _SMALL, "middle")
    for wire in range(count + 1):
        nut = wire == 0 and diagram.has_open
        yield _line(_x(diagram, wire), _y(1), _x(diagram, wire), bottom, 7 if nut else 2, "#000")
    for n, fret in enumerate(diagram.frets):
        yield _text(_x(diagram, n + 0.5), bottom + _DOT + 22, str(fret), _SMALL, "middle", bold=True)
    for dot in diagram.dots:
        string, fret = dot.place
        at = -0.45 if fret == 0 else diagram.frets.index(fret) + 0.5
        yield from _dot(_x(diagram, at), _y(string), dot)


def _dot(x: float, y: float, dot: Dot) -> Iterable[str]:
    """Yield the elements of a dot: its shape tells its kind, its shade repeats it."""
    outline = 4 if dot.chord else 1.6
    r = _DOT - outline / 2
    if dot.root:
        side = _number(2 * _DOT - 3)
        corner = f'x="{_number(x - _DOT + 1.5)}" y="{_number(y - _DOT + 1.5)}"'
        yield f'<rect {corner} width="{side}" height="{side}" fill="#000"/>'
    elif dot.blue:
        r = _DOT + 3
        corners = ((x, y - r), (x + r, y), (x, y + r), (x - r, y))
        points = " ".join(f"{_number(across)},{_number(down)}" for across, down in corners)
        yield f'<polygon points="{points}" fill="#ccc" stroke="#000" stroke-width="1.6"/>'
    else:
        ring = f'fill="#fff" stroke="#000" stroke-width="{_number(outline)}"'
        yield f'<circle cx="{_number(x)}" cy="{_number(y)}" r="{_number(r)}" {ring}/>'
    size = max(10, _LABEL + 2 - 2 * len(dot.label))  # longer words are smaller, to stay inside the ring
    yield _text(x, y + size * 0.35, dot.label, size, "middle", bold=True, fill="#fff" if dot.root else "#000")


def _legend(diagrams: Sequence[FretboardDiagram], y: int) -> Iterable[str]:
    chords = ", ".join(sorted({diagram.chord for diagram in diagrams if diagram.chord}))
    words = {"root": "root", "chord": f"chord tones of {chords} (with the root)", "blue": "blue note"}
    kinds = {kind for diagram in diagrams for kind in diagram.legend}
    x: float = _MARGIN + _DOT
    for kind, word in words.items():
        if kind in kinds:
            yield from _dot(x, y, Dot((1, 1), "", kind == "root", kind == "blue", kind == "chord"))
            yield _text(x + _DOT + 8, y + 5, word, _SMALL, "start")
            x += _DOT * 2 + 22 + 7 * len(word)


def _line(x1: float, y1: float, x2: float, y2: float, thick: float, color: str) -> str:
    ends = " ".join(f'{name}="{_number(at)}"' for name, at in (("x1", x1), ("y1", y1), ("x2", x2), ("y2", y2)))
    return f'<line {ends} stroke="{color}" stroke-width="{_number(thick)}"/>'


def _text(
    x: float, y: float, words: str, size: int, anchor: str, bold: bool = False, fill: str = "#000"
) -> str:  # fmt: skip
    if not words:
        return ""
    weight = ' font-weight="bold"' if bold else ""
    place = f'x="{_number(x)}" y="{_number(y)}" font-size="{size}" text-anchor="{anchor}"{weight}'
    return f'<text {place} fill="{fill}">{escape_xml(words)}</text>'


def _number(value: float) -> str:
    """Return a number with two decimals at most and no trailing zeros: the same on every machine."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
