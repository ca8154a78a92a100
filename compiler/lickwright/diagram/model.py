"""The value of a fretboard diagram: a stretch of neck and its dots.

`build.py` and `chords.py` make them; `text.py` and `svg.py` draw them. Knows no scales.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.music.fretboard import USUAL_FRETS, Place

DOT_LABELS = ("degrees", "notes", "fingers")  # what can stand in the dots


class DiagramOptions(NamedTuple):
    """How the neck is, and how it is drawn."""

    frets: int = USUAL_FRETS  # from the nut
    numbering: str = "relative"  # how major boxes count
    shown: str = "degrees"  # one of `DOT_LABELS`
    capo: int = 0
    left_handed: bool = False

    @property
    def free_frets(self) -> int:
        """The number of frets above the capo."""
        return max(1, self.frets - self.capo)


class Dot(NamedTuple):
    """One place of a diagram with a note in it."""

    place: Place  # (string, fret)
    label: str  # the text in it: "b3", "Eb", "2"
    root: bool  # the tonic
    blue: bool  # the blue note of the scale's family
    chord: bool  # belongs to the chord shape inside


@record
class FretboardDiagram:
    """One stretch of neck with its dots."""

    title: str  # "A minor pentatonic"
    caption: str  # "box 1 (E shape), frets 5-8"
    strings: tuple[str, ...]  # names of the open strings, thinnest first
    low: int  # the first fret drawn; 0 for the open strings
    high: int  # the last
    dots: tuple[Dot, ...]  # by string, then by fret
    chord: str  # symbol of the chord shape inside, "Am"; "" for none
    remark: str = ""  # a line about capo, tuning or numbering; "" for none
    left_handed: bool = False  # mirrored: the head of the guitar to the right

    @property
    def frets(self) -> range:
        """The frets of the diagram, the open strings left out."""
        return range(max(1, self.low), self.high + 1)

    @property
    def has_open(self) -> bool:
        """True if the nut is drawn, with the open strings beside it."""
        return self.low == 0

    @property
    def legend(self) -> tuple[str, ...]:
        """The kinds of dot that the diagram has, of "root", "chord" and "blue"."""
        there = {
            "root": any(dot.root for dot in self.dots),
            "chord": bool(self.chord),
            "blue": any(dot.blue for dot in self.dots),
        }
        return tuple(kind for kind, is_there in there.items() if is_there)
