"""Fretboard diagrams as text, for a terminal or a mail: a line a string, the thinnest on top, as in a tab.

In: `FretboardDiagram` values and the width of the screen. Out: plain ASCII, lines without trailing blanks. The tonic
stands in square brackets, the chord shape in round ones, the blue note has a star, so that no colour is needed.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.diagram.model import Dot, FretboardDiagram

_NARROWEST = 5  # columns of a fret, wire aside
_BETWEEN = "   "  # pictures side by side


def diagram_text(necks: Sequence[FretboardDiagram], columns: int = 80) -> str:
    """Return the diagrams side by side, as many as `columns` take, with one title and one legend; "" for none."""
    if not necks:
        return ""
    parts = [necks[0].title]
    row: list[list[str]] = []
    for block in map(_block, necks):
        if row and _width(row) + len(_BETWEEN) + len(block[1]) > columns:
            parts.append(_side_by_side(row))
            row = []
        row.append(block)
    parts.append(_side_by_side(row))
    parts.append("\n".join(line for line in (_legend(necks), necks[0].remark) if line))
    return "\n\n".join(part for part in parts if part) + "\n"


def _width(row: Sequence[Sequence[str]]) -> int:
    return sum(len(block[1]) for block in row) + len(_BETWEEN) * (len(row) - 1)


def _side_by_side(row: Sequence[Sequence[str]]) -> str:
    height = max(len(block) for block in row)
    lines = []
    for n in range(height):
        pieces = [(block[n] if n < len(block) else "").ljust(max(map(len, block))) for block in row]
        lines.append(_BETWEEN.join(pieces).rstrip())
    return "\n".join(lines)


def _block(neck: FretboardDiagram) -> list[str]:
    """Return the lines of one diagram, all of one width: caption, strings, fret numbers."""
    cell = max([_NARROWEST, *(len(_marked(dot)) + 1 for dot in neck.dots)])
    names = max(map(len, neck.strings))
    known = {dot.place: _marked(dot) for dot in neck.dots}
    lines = [
        _line(neck, name.ljust(names), [known.get((string, fret), "") for fret in range(neck.low, neck.high + 1)], cell)
        for string, name in enumerate(neck.strings, 1)
    ]
    lines.append(_numbers(neck, names, cell))
    width = max(map(len, (neck.caption, *lines)))
    return [line.ljust(width) for line in (neck.caption, *lines)]


def _marked(dot: Dot) -> str:
    """Return a dot's label with its sign: `[1]` the tonic, `(5)` in the chord shape, `b5*` the blue note."""
    if dot.root:
        return f"[{dot.label}]"
    return f"({dot.label})" if dot.chord else f"{dot.label}{'*' if dot.blue else ''}"


def _line(neck: FretboardDiagram, name: str, labels: list[str], cell: int) -> str:
    """Return one string: `e |[1]--|-----|`; with open strings `e [1] ||-----|`; mirrored for the left hand."""
    opened = labels.pop(0).center(cell) if neck.has_open else ""
    cells = [label.center(cell, "-") if label else "-" * cell for label in labels]
    nut = "||" if neck.has_open else "|"
    if neck.left_handed:
        return f"|{'|'.join(reversed(cells))}{nut}{opened} {name}"
    return f"{name} {opened}{nut}{'|'.join(cells)}|"


def _numbers(neck: FretboardDiagram, names: int, cell: int) -> str:
    numbers = [str(fret).center(cell) for fret in neck.frets]
    opened = "0".center(cell) if neck.has_open else ""
    gap = "  " if neck.has_open else " "
    if neck.left_handed:
        return f" {' '.join(reversed(numbers))}{gap}{opened} {' ' * names}"
    return f"{' ' * names} {opened}{gap}{' '.join(numbers)} "


def _legend(necks: Sequence[FretboardDiagram]) -> str:
    chords = sorted({neck.chord for neck in necks if neck.chord})
    words = {
        "root": "[ ] root",
        "chord": f"( ) chord tones of {', '.join(chords)} (with the root)",
        "blue": "* blue note",
    }
    kinds = {kind for neck in necks for kind in neck.legend}
    return "   ".join(word for kind, word in words.items() if kind in kinds)
