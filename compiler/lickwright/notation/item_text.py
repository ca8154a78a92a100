"""The text of one item of a lick's music, as the canonical form spells it.

In: an event, a bar line, a step, a direction. Out: its text, without white space around it. What stands between items is `music_text.py`'s.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from lickwright.music.rhythm import usual_time
from lickwright.notation.techniques import HEADS, TechniqueKind
from lickwright.notation.tree import (
    Bare,
    BarLine,
    DirectionNode,
    Event,
    Hold,
    Item,
    MarkNode,
    Navigation,
    Note,
    Part,
    Rest,
    SameBar,
    Step,
    Tuplet,
)

_AMOUNTS = {Fraction(2): "full", Fraction(1): "half", Fraction(1, 2): "quarter"}  # semitones


def quoted(text: str) -> str:
    """Return a text in straight double quotes."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def closing_sign(line: BarLine) -> str:
    """Return the sign that ends the bar before a bar line: `|`, `||`, `:|`, `:|x3`."""
    times = f"x{line.repeat_end}" if line.repeat_end > 2 else ""
    return f"{':' if line.repeat_end else ''}{'||' if line.double else '|'}{times}"


def opening_sign(line: BarLine) -> str:
    """Return the sign that begins a line after a bar line: `|`, or `|:` where a repeat starts."""
    return "|:" if line.repeat_start else "|"


def bar_sign(line: BarLine) -> str:
    """Return the sign of a bar line that stands within a line."""
    sign = closing_sign(line)
    if not line.repeat_start:
        return sign
    return f"{sign} |:" if line.repeat_end > 2 else f"{sign}:"


def tuplet_opener(tuplet: Tuplet) -> str:
    """Return `3[`, or `5:3[` where the second number is not the usual one."""
    return f"{tuplet.count}[" if tuplet.normal == usual_time(tuplet.count) else f"{tuplet.count}:{tuplet.normal}["


def item_text(item: Item) -> str:
    """Return the text of an item that holds no others. Raises `ValueError` for what could not be read."""
    match item:
        case Event():
            return "&".join(_part(part, item.count) for part in item.parts)
        case Step():
            return step_text(item.value)
        case Navigation(mark):
            return f"@{mark.sign}"
        case DirectionNode("words", text):
            return f"@{quoted(text)}"
        case DirectionNode("tempo", text):
            return f"@tempo={text.replace(' ', '')}"
        case DirectionNode("fermata"):
            return "@fermata"
        case DirectionNode(_, text):
            return f"@{text}"
        case SameBar():
            return "%"
    raise ValueError("what could not be read cannot be written")


def step_text(value: Fraction) -> str:
    """Return a note value, of a whole note, as written: 3/16 is `1/8.`, 7/16 is `1/4..`. Raises `ValueError` for what is none."""
    for dots in range(3):
        plain = value / (2 - Fraction(1, 2**dots))
        if plain.numerator == 1:
            return f"1/{plain.denominator}{'.' * dots}"
    raise ValueError(f"{value} is not a note value")


def _part(part: Part, count: int) -> str:
    match part:
        case Hold():
            return part.string + "-" * count + _marks(part.marks)
        case Rest():
            return part.string + "." * count
        case Bare():
            return part.string
        case Note():
            return _note(part)


def _note(note: Note) -> str:
    begin = note.begin.sign
    lead = begin + note.string if note.begin.kind is TechniqueKind.ENTRY else note.string + begin
    place = "" if note.fret is None else str(note.fret)
    if note.head is HEADS["x"]:
        place = "x"
    elif note.head is HEADS["*"]:
        place += "*"
    elif note.touch is not None:
        place += f"<{_decimal(note.touch)}>"
    fingers = (f"'{note.finger}" if note.finger else "") + (f"'{note.pluck}" if note.pluck else "")
    apart = _first_apart(note.marks)
    return lead + place + _marks(note.marks[:apart]) + fingers + _marks(note.marks[apart:])


def _first_apart(marks: tuple[MarkNode, ...]) -> int:
    """Return the index of the first mark that must not touch the one before it, else how many there are: `~` and `~` would be read as `~~`."""
    for n, (one, other) in enumerate(pairwise(marks), 1):
        if one.fret is None and one.by is None and one.technique.sign[0] == other.technique.sign[0]:
            return n
    return len(marks)


def _marks(marks: tuple[MarkNode, ...]) -> str:
    return "".join(mark.technique.sign + _target(mark) for mark in marks)


def _target(mark: MarkNode) -> str:
    if mark.fret is not None:
        return _decimal(mark.fret)
    return _AMOUNTS[mark.by] if mark.by is not None else ""


def _decimal(value: Fraction) -> str:
    return f"{float(value):g}"
