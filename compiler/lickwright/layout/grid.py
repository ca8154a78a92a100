"""The values of a lick as drawn: columns, bars and the rows above the strings.

`columns.py` makes a `Grid` from a `Timeline`; a text tab turns it into characters, a printed sheet into lines and dots.
Character widths, line breaks and paper are the exports' own.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.notation.techniques import Technique
from lickwright.timeline.model import Bar, PitchGesture, SoundingNote, Timeline


class Cell(NamedTuple):
    """What happens on one string at one instant."""

    string: int  # 1 is the thinnest
    sound: SoundingNote
    starts: bool  # the sound starts here; False: it started earlier and is only shaped here
    shapes: tuple[PitchGesture, ...]  # what its pitch does in this step

    @property
    def held(self) -> bool:
        """True if nothing happens to the sound here: it is shown again because it goes on."""
        return not (self.starts or self.shapes)


class Column(NamedTuple):
    """One instant of one written bar."""

    bar: int  # index into Grid.bars
    at: int  # grains from the start of the bar
    lead: int  # n-th stolen stroke before that instant, 1 the nearest; 0: on it
    cells: tuple[Cell, ...]  # from the thinnest string; empty where only the count goes on
    silent: bool  # no string sounds from here on: a rest is counted
    said: str  # what a player counts here: "1", "&", "trip"; "." for what nobody counts, "" for leads and in a `%`


class DrawnBar(NamedTuple):
    """One written bar and its columns."""

    bar: Bar
    first: int  # its columns: grid.columns[first:last]; of a `%` only those its chords need
    last: int


class GridRow(IntEnum):
    """The rows above the strings, from the top."""

    NAVIGATION = 0  # segno, coda, Fine, D.C. and so on: not in Grid.above, for they belong to bars
    ENDING = 1
    TEMPO = 2  # tempo changes and fermatas
    CHORD = 3
    WORDS = 4
    DYNAMIC = 5
    HOW = 6  # palm mute, let ring, rake, slap and so on
    TUPLET = 7
    BEND = 8  # "hold" over a bend that stays up; amounts are not in Grid.above, for they are in the shapes of the cells
    ACCENT = 9
    STROKE = 10
    FINGER = 11
    PLUCK = 12
    TONE = 13  # what a note is in its chord; only on request (`chord_tones.py`)


class RowEntry(NamedTuple):
    """One text in a row above the strings, at a column or over several."""

    row: GridRow
    text: str
    first: int  # index into Grid.columns
    last: int  # of the last column it covers, included
    lasts: bool  # it holds for all the columns it covers and is drawn as a span; False: it stands at `first`
    technique: Technique | None = None  # the technique whose mark it is; None for any other text


@record
class Grid:
    """One lick as drawn: columns, bars, and the texts above the strings."""

    timeline: Timeline
    columns: tuple[Column, ...]
    bars: tuple[DrawnBar, ...]
    above: tuple[RowEntry, ...]  # by row, then by first column; of one instant those of the thinnest string first
