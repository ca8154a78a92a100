"""The plain-text marks of notes: what stands on a string line for a cell of the grid.

In: a cell. Out: short ASCII strings, made from the technique table's `tab` column; no technique is known here by its
name. Where a mark stands on a line is decided by the export.
"""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from lickwright.layout.grid import Cell
from lickwright.notation.techniques import BEND_CURVES, HEADS, PICKED, SHAPES, Technique
from lickwright.timeline.model import PitchGesture, SoundingNote


class EventAbove(NamedTuple):
    """How an event word that is no technique (grace, rake, trill, roll, scrape) is shown."""

    above: str  # what the row above says
    sentence: str  # the legend's explanation
    lasts: bool = True  # as long as its note; False: said of the stroke alone


# One for each of techniques.EVENT_WORDS.
EVENT_ABOVE: dict[str, EventAbove] = {
    "grace": EventAbove("gr", "grace note: squeezed in just before the beat, takes no count"),
    "rake": EventAbove("rake", "drag the pick over muted strings and on into the note"),
    "trill": EventAbove("tr", "trill: alternate with the fret in parentheses, fast"),
    "roll": EventAbove("roll", "play the strings one after another, low to high", False),
    "scrape": EventAbove("scrape", "run the edge of the pick along the wound string"),
}

_DEAD, _BEND = HEADS["x"], SHAPES["^"]
_STEPS = {0.0: "", 0.5: "1/4", 1.0: "1/2", 1.5: "3/4"}  # semitones past whole steps, in steps


def fret_text(fret: Fraction | float) -> str:
    """Return a fret, or a place between two frets (a harmonic's) to four digits: `7`, `3.2`."""
    return str(int(fret)) if fret == int(fret) else f"{float(fret):.4g}"


def note_text(sound: SoundingNote) -> str:
    """Return how a note starts and where: `7`, `h7`, `/9`, `x`, `<12>`, `(5)`."""
    plain = sound.head is None and sound.begin is PICKED and not sound.marks and sound.kind != "rake"
    if plain and sound.fret is not None:
        return str(sound.fret)
    text = head_text(_DEAD if sound.dead else sound.head, sound)
    for mark in sound.marks:
        if mark.tab:
            text = mark.tab.format(text)
    return sound.begin.tab.format(text)


def head_text(head: Technique | None, sound: SoundingNote) -> str:
    """Return the fret with its head alone, without marks and connections: `x`, `<12>`."""
    fret = "" if sound.fret is None else str(sound.fret)
    if head is None:
        return fret
    touch = "" if sound.touch is None else fret_text(sound.touch)
    return head.tab.format(fret, touch) if head.tab.count("{}") == 2 else head.tab.format(touch or fret)


def shape_text(shape: PitchGesture, sound: SoundingNote) -> str:
    """Return the mark of a bend with its target fret (`b10`), of a release, of a vibrato.

    A target between two frets is left out: the amount above the strings says it.
    """
    tab = shape.technique.tab
    return tab.format(_target(shape, sound)) if "{}" in tab else tab


def _target(shape: PitchGesture, sound: SoundingNote) -> str:
    if shape.to_fret is not None:
        return str(shape.to_fret.numerator) if shape.to_fret.denominator == 1 else ""
    if sound.fret is None or shape.amount != int(shape.amount):
        return ""
    return str(sound.fret + int(shape.amount))


def cell_text(cell: Cell) -> str:
    """Return the whole of a cell as one mark: `8b10r8`; only its shapes where the note started earlier."""
    if not cell.shapes:
        return note_text(cell.sound)
    text = note_text(cell.sound) if cell.starts else ""
    return text + "".join(shape_text(shape, cell.sound) for shape in cell.shapes)


def held_text(cell: Cell) -> str:
    """Return a note that goes on from the line before: `(7)`; with the bend it is still at, `(8b10)`."""
    sound = cell.sound
    bend = "".join(_BEND.tab.format(_target(shape, sound)) for shape in cell.shapes)
    return f"({head_text(sound.head, sound)}{bend})"


def anchor_index(text: str) -> int:
    """Return the index of the character that stands at the instant: the first of its fret, or its `x`; else 0."""
    for index, char in enumerate(text):
        if char.isdigit() or char == "x":
            return index
    return 0


def bend_amount(shape: PitchGesture) -> str:
    """Return what stands above a bend, in whole steps from its fret: `full`, `1/2`, `1 1/2`.

    Above a release it is what is left of the bend; "" for a whole release, and for what is no bend.
    """
    if shape.technique.curve not in BEND_CURVES or not shape.amount:
        return ""
    whole, rest = divmod(shape.amount, 2)
    part = _STEPS.get(rest) or ("" if rest == 0 else f"{rest / 2:.2g}")
    return "full" if whole == 1 and not part else " ".join(filter(None, (str(int(whole)) if whole else "", part)))
