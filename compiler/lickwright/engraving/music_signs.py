"""Signs of printed music as paths: rests, flags, clef, accidentals, fermata, segno, coda.

In: `fonts/music.json`, outlines from Noto Music in staff spaces with the middle line of the staff at 0. Out: filled paths at a place and size.
"""

from __future__ import annotations

import json
import os
import re
from functools import cache
from typing import NamedTuple

from lickwright.engraving.display_list import INK, Command, Path
from lickwright.engraving.typefaces import MissingFace

_FILE = os.path.join(os.path.dirname(__file__), "fonts", "music.json")
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6}


FLAG_TOP = 2.036  # spaces from a flag's top to the middle line that it is drawn for


class MusicSign(NamedTuple):
    """One sign, in staff spaces."""

    width: float
    top: float
    bottom: float
    commands: tuple[Command, ...]


@cache
def _signs() -> dict[str, list[object]]:
    try:
        with open(_FILE, encoding="utf-8") as file:
            found: dict[str, list[object]] = json.load(file)
    except (OSError, ValueError) as e:
        raise MissingFace("music.json cannot be read") from e
    return found


@cache
def music_sign(name: str) -> MusicSign:
    """The sign of a name such as "rest-4". Raises `KeyError` for another name and `MissingFace` where the outlines are missing."""
    width, top, bottom, path = _signs()[name]
    return MusicSign(float(str(width)), float(str(top)), float(str(bottom)), tuple(_commands(str(path))))


def _commands(path: str) -> list[Command]:
    """A path in the words of SVG, all of them absolute, as commands."""
    found: list[Command] = []
    x = y = 0.0
    for sign, numbers in re.findall(r"([MLHVCZ])([^MLHVCZ]*)", path):
        values = [float(number) for number in re.findall(r"-?[0-9.]+", numbers)]
        if sign == "Z":
            found.append(("Z",))
            continue
        taken = _ARGUMENTS[sign]
        for n in range(0, len(values), taken):
            part = values[n : n + taken]
            x, y = (part[0], y) if sign == "H" else (x, part[0]) if sign == "V" else (part[-2], part[-1])
            found.append(("C", *part) if sign == "C" else ("M" if sign == "M" and n == 0 else "L", x, y))
    return found


def place_sign(name: str, x: float, y: float, space: float, ink: str = INK, flip: bool = False) -> Path:
    """A sign with its left edge at x and the staff's middle line at y; `space` points to a staff space.

    `flip` turns it upside down about that line.
    """
    down = -space if flip else space
    commands: list[Command] = []
    for command in music_sign(name).commands:
        numbers = [number for number in command[1:] if not isinstance(number, str)]
        moved = [y + number * down if n % 2 else x + number * space for n, number in enumerate(numbers)]
        commands.append((command[0], *moved))
    return Path(tuple(commands), 0.0, (), ink)
