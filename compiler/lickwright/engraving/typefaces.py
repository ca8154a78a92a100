"""The faces that text is set in: widths of characters, and which a face has.

In: the TrueType files in `fonts/`. Out: widths in points. Each file is read once, when first asked for. Both faces of a kind have the same ascent.
"""

from __future__ import annotations

import os
import struct
from functools import lru_cache
from typing import NamedTuple

FACES = ("sans", "sans-bold", "serif", "serif-italic")
ASCENT, DESCENT = 0.75, 0.22  # of a line of text, in its size: capitals and figures, and what hangs below
CAPITAL = 0.714  # height of capitals and figures, in the size of the text
_FOLDER = os.path.join(os.path.dirname(__file__), "fonts")
_INSTEAD = {"→": "-", "’": "'", "\t": " "}  # what a face lacks, but can say otherwise


class MissingFace(Exception):
    """A face or the outlines of the music signs cannot be read; its text says which file and why, in a player's words."""


class Typeface(NamedTuple):
    """One face as its file describes it."""

    data: bytes  # the whole file
    tables: dict[str, tuple[int, int]]  # by tag: where a table starts, and its length
    glyphs: dict[str, int]  # by character
    advances: tuple[int, ...]  # by glyph, in font units
    units: int  # to the em


def face_file(name: str) -> str:
    """The path of the file of one of the `FACES`."""
    return os.path.join(_FOLDER, f"{name}.ttf")


@lru_cache(maxsize=len(FACES))
def typeface(name: str) -> Typeface:
    """The face of one of the `FACES`. Raises `MissingFace` where its file cannot be read or is no font."""
    try:
        with open(face_file(name), "rb") as file:
            data = file.read()
    except OSError as e:
        raise MissingFace(f"{name}.ttf cannot be read") from e
    try:
        count = struct.unpack_from(">H", data, 4)[0]
        tables = {}
        for n in range(count):
            tag, _, start, length = struct.unpack_from(">4sIII", data, 12 + 16 * n)
            tables[tag.decode("ascii")] = (start, length)
        units = struct.unpack_from(">H", data, tables["head"][0] + 18)[0]
        measured = struct.unpack_from(">H", data, tables["hhea"][0] + 34)[0]
        every = struct.unpack_from(">H", data, tables["maxp"][0] + 4)[0]
        wide = struct.unpack_from(f">{2 * measured}H", data, tables["hmtx"][0])[::2]
        advances = wide + (wide[-1],) * (every - measured)
        return Typeface(data, tables, _characters(data, tables["cmap"][0]), advances, units)
    except (struct.error, KeyError, IndexError, UnicodeDecodeError) as e:
        raise MissingFace(f"{name}.ttf is not a TrueType font") from e


def _characters(data: bytes, cmap: int) -> dict[str, int]:
    """The characters of a face and their glyphs, from a table of format 4 (OpenType, `cmap`)."""
    for n in range(struct.unpack_from(">H", data, cmap + 2)[0]):
        start = cmap + struct.unpack_from(">I", data, cmap + 8 + 8 * n)[0]
        if struct.unpack_from(">H", data, start)[0] == 4:
            break
    else:
        raise KeyError("cmap")
    count = struct.unpack_from(">H", data, start + 6)[0] // 2
    ends = struct.unpack_from(f">{count}H", data, start + 14)
    firsts = struct.unpack_from(f">{count}H", data, start + 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}H", data, start + 16 + 4 * count)
    offsets_at = start + 16 + 6 * count
    offsets = struct.unpack_from(f">{count}H", data, offsets_at)
    found = {}
    for n, (first, end) in enumerate(zip(firsts, ends, strict=True)):
        for code in range(first, min(end, 0xFFFE) + 1):
            glyph = code
            if offsets[n]:
                glyph = struct.unpack_from(">H", data, offsets_at + 2 * n + offsets[n] + 2 * (code - first))[0]
            found[chr(code)] = (glyph + deltas[n]) & 0xFFFF
    return found


@lru_cache(maxsize=8192)
def text_width(text: str, face: str, size: float) -> float:
    """The width of a line of text in points; a character that the face lacks is as wide as its substitute."""
    font = typeface(face)
    return sum(font.advances[font.glyphs.get(char, 0)] for char in printable(text, face)) * size / font.units


@lru_cache(maxsize=8192)
def printable(text: str, face: str) -> str:
    """The text with what the face lacks replaced: `-` for an arrow, `?` where there is nothing like it."""
    known = typeface(face).glyphs
    if all(char in known for char in text):
        return text
    return "".join(char if char in known else _INSTEAD.get(char, "?") for char in text)


def lacking(text: str, face: str = "sans") -> str:
    """The characters of a text that no face can print and nothing stands in for, each once, in order."""
    known = typeface(face).glyphs
    return "".join(dict.fromkeys(char for char in text if char not in known and char not in _INSTEAD))
