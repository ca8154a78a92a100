"""Reads engraved music back from its SVG, as a reader of the file would: shares no code with its writer.

In: the text of a picture. Out: the numbers with what their groups say, and, from the lines alone, the string that each stands on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


class ReadNumber(NamedTuple):
    """One number on a string."""

    role: str  # "note", or "held" for one in parentheses
    event: int
    string: int
    fret: int | None
    start: Fraction
    end: Fraction
    technique: str
    text: str
    x: float
    on_line: int  # the string whose line it stands on, 1 the highest


class ReadInstant(NamedTuple):
    """Where a cursor stands."""

    bar: int
    at: Fraction
    x: float


class ReadSystem(NamedTuple):
    """One system."""

    lines: tuple[float, ...]  # y of the strings, from the top
    numbers: tuple[ReadNumber, ...]
    instants: tuple[ReadInstant, ...]
    texts: tuple[tuple[str, str], ...]  # role of the group and text, in the order of the file


def read_systems(svg: str) -> list[ReadSystem]:
    """All systems from the top."""
    root = ElementTree.fromstring(svg)
    return [_system(group, place) for group, place, _ in _walk(root) if group.get("data-role") == "system"]


Place = tuple[float, float, float]  # x, y, scale


def _walk(node: ElementTree.Element, at: Place = (0.0, 0.0, 1.0), role: str = "") -> Iterator[tuple[ElementTree.Element, Place, str]]:  # fmt: skip
    for child in node:
        moved = at
        match = re.fullmatch(r"translate\(([-\d.]+) ([-\d.]+)\)(?: scale\(([\d.]+)\))?", child.get("transform", ""))
        if match:
            scale = float(match[3] or 1)
            moved = (at[0] + float(match[1]) * at[2], at[1] + float(match[2]) * at[2], at[2] * scale)
        own = child.get("data-role", role) if child.tag == SVG + "g" else role
        yield child, moved, own
        yield from _walk(child, moved, own)


def _system(group: ElementTree.Element, place: Place) -> ReadSystem:
    below = list(_walk(group, place))
    lines = sorted({
        round(at[1] + float(match[1]) * at[2], 1)
        for node, at, role in below
        if role == "strings" and (match := re.match(r"M[-\d.]+ ([-\d.]+) L", node.get("d", "")))
    })  # fmt: skip
    numbers, instants, texts = [], [], []
    for node, at, role in below:
        if node.tag == SVG + "text":
            texts.append((role, node.text or ""))
        if node.get("data-role") in ("note", "held"):
            numbers.append(_number(node, at, lines))
        elif node.get("data-role") == "instant":
            x = at[0] + float(node.attrib["data-x"]) * at[2]
            instants.append(ReadInstant(int(node.attrib["data-bar"]), Fraction(node.attrib["data-at"]), x))
    return ReadSystem(tuple(lines), tuple(numbers), tuple(instants), tuple(texts))


def _number(group: ElementTree.Element, at: Place, lines: list[float]) -> ReadNumber:
    (text,) = group.iter(SVG + "text")
    fret = group.get("data-fret")
    middle = at[1] + (float(text.attrib["y"]) - 0.36 * float(text.attrib["font-size"])) * at[2]
    nearest = min(range(len(lines)), key=lambda n: abs(lines[n] - middle))
    assert abs(lines[nearest] - middle) < 0.5, "a number stands on its string"
    return ReadNumber(
        group.attrib["data-role"], int(group.attrib["data-event"]), int(group.attrib["data-string"]),
        None if fret is None else int(fret), Fraction(group.attrib["data-start"]), Fraction(group.attrib["data-end"]),
        group.get("data-technique", ""), text.text or "", at[0] + float(text.attrib["x"]) * at[2], nearest + 1,
    )  # fmt: skip
