"""Text broken into lines of a width.

In: words and a face. Out: lines. What is longer than a line by itself is broken where the line ends.
"""

from __future__ import annotations

from lickwright.engraving.typefaces import text_width


def wrap_text(text: str, face: str, size: float, width: float, most: int = 0) -> list[str]:
    """The lines of a text; `most` of them at most, the last one then with an ellipsis; 0 for as many as there are."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines[-1] else word
        if text_width(longer, face, size) <= width:
            lines[-1] = longer
            continue
        if lines[-1]:
            lines.append("")
        *whole, rest = _broken(word, face, size, width)
        lines[-1:] = [*whole, rest]
        if most and len(lines) > most:
            break
    if most and len(lines) > most:
        return [*lines[: most - 1], _shortened(lines[most - 1], face, size, width)]
    return lines


def _broken(word: str, face: str, size: float, width: float) -> list[str]:
    """A word in parts that fit."""
    parts, part, wide = [], "", 0.0
    for char in word:
        advance = text_width(char, face, size)
        if part and wide + advance > width:
            parts.append(part)
            part, wide = "", 0.0
        part += char
        wide += advance
    return [*parts, part]


def _shortened(line: str, face: str, size: float, width: float) -> str:
    while line and text_width(line + "…", face, size) > width:
        line = line[:-1]
    return line.rstrip() + "…"
