"""Fretboard diagrams as text, for a terminal or a mail: a line a string, the thinnest on top, as in a tab.

In: `FretboardDiagram` values and the width of the screen. Out: plain ASCII, lines without trailing blanks. The tonic
stands in square brackets, the chord shape in round ones, the blue note has a star, so that no color is needed.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.diagram.model import Dot, FretboardDiagram

_NARROWEST = 5  # columns of a fret, wire aside
_BETWEEN = "   "  # pictures side by side


def diagram_text(diagrams: Sequence[FretboardDiagram], columns: int = 80) -> str:
    """Return the diagrams side by side, as many as `columns` take, with one title and one legend; "" for none."""
    if not diagrams:
        return ""
    parts = [diagrams[0].title]
    row: list[list[str]] = []
    for block in map(_block, diagrams):
        if row and _width(row) + len(_BETWEEN) + len(block[1]) > columns:
            parts.append(_side_by_side(row))
            row = []
        row.append(block)
    parts.append(_side_by_side(row))
    parts.append("\n".join(line for line in (_legend(diagrams), diagrams[0].remark) if line))
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


def _block(diagram: FretboardDiagram) -> list[str]:
    """Return the lines of one diagram, all of one width: caption, strings, fret numbers."""
    cell = max([_NARROWEST, *(len(_marked(dot)) + 1 for dot in diagram.dots)])
    names = max(map(len, diagram.strings))
    known = {dot.place: _marked(dot) for dot in diagram.dots}
    lines = [
        _line(
            diagram,
            name.ljust(names),
            [known.get((string, fret), "") for fret in range(diagram.low, diagram.high + 1)],
            cell,
        )
        for string, name in enumerate(diagram.strings, 1)
    ]
    lines.append(_numbers(diagram, names, cell))
    width = max(map(len, (diagram.caption, *lines)))
    return [line.ljust(width) for line in (diagram.caption, *lines)]


def _marked(dot: Dot) -> str:
    """Return a dot's label with its sign: `[1]` the tonic, `(5)` in the chord shape, `b5*` the blue note."""
    if dot.root:
        return f"[{dot.label}]"
    return f"({dot.label})" if dot.chord else f"{dot.label}{'*' if dot.blue else ''}"


def _line(diagram: FretboardDiagram, name: str, labels: list[str], cell: int) -> str:
    """Return one string: `e |[1]--|-----|`; with open strings `e [1] ||-----|`; mirrored for the left hand."""
    opened = labels.pop(0).center(cell) if diagram.has_open else ""
    cells = [label.center(cell, "-") if label else "-" * cell for label in labels]
    nut = "||" if diagram.has_open else "|"
    if diagram.left_handed:
        return f"|{'|'.join(reversed(cells))}{nut}{opened} {name}"
    return f"{name} {opened}{nut}{'|'.join(cells)}|"


def _numbers(diagram: FretboardDiagram, names: int, cell: int) -> str:
    numbers = [str(fret).center(cell) for fret in diagram.frets]
    opened = "0".center(cell) if diagram.has_open else ""
    gap = "  " if diagram.has_open else " "
    if diagram.left_handed:
        return f" {' '.join(reversed(numbers))}{gap}{opened} {' ' * names}"
    return f"{' ' * names} {opened}{gap}{' '.join(numbers)} "


def _legend(diagrams: Sequence[FretboardDiagram]) -> str:
    chords = sorted({diagram.chord for diagram in diagrams if diagram.chord})
    words = {
        "root": "[ ] root",
        "chord": f"( ) chord tones of {', '.join(chords)} (with the root)",
        "blue": "* blue note",
    }
    kinds = {kind for diagram in diagrams for kind in diagram.legend}
    return "   ".join(word for kind, word in words.items() if kind in kinds)
