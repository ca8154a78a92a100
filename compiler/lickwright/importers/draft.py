"""What a reader of another format understood of a lick, before it is written in the notation.

In: what `text_tab/`, `musicxml/` and `midi/` read. Out: `LickDraft`, which `write_lick.py` turns into a text. A draft holds the written music, each bar once,
at exact instants; what could not be understood, or only guessed, is a `Doubt`. Nothing here reads bytes.

A reader returns drafts, one a lick, and raises `core.source.Unreadable` for a file that holds none.
"""

from __future__ import annotations

from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.diagnostics import Rule
from lickwright.core.fast_dataclass import record
from lickwright.core.source import Span
from lickwright.music.rhythm import Meter
from lickwright.notation.navigation import NavigationMark
from lickwright.notation.techniques import PICKED, Technique


class DraftShape(NamedTuple):
    """A bend, release, vibrato or slide off within a note."""

    technique: Technique  # a row of `techniques.SHAPES`
    at: Fraction = Fraction(0)  # whole notes from the start of its note: where its step begins
    length: Fraction | None = None  # of its step, in whole notes; None: up to the next shape or the note's end
    by: Fraction | None = (
        None  # semitones above the fretted pitch where it ends up; None: a whole release, or the technique's own
    )


@record
class DraftNote:
    """One note on one string."""

    string: int  # 1 is the thinnest
    fret: int | None  # from the capo; None for a dead note or rake stroke without one, and for a natural harmonic
    length: Fraction = Fraction(
        0
    )  # whole notes that it sounds for, over bar lines too; 0 for grace notes and rake strokes
    begin: Technique = PICKED  # how it starts: picked, or a row of `techniques.JOINS` or `ENTRIES`
    head: Technique | None = None  # a row of `techniques.HEADS`: dead note or harmonic
    touch: Fraction | None = None  # the fret touched for a harmonic
    marks: tuple[Technique, ...] = ()  # rows of `techniques.MARKS` and `WORDS`
    shapes: tuple[DraftShape, ...] = ()  # in order of time
    finger: str | None = None  # fretting finger: "1".."4", "T"
    pluck: str | None = None  # plucking finger: "p", "i", "m", "a", "c"
    trill: int | None = None  # the other fret of a trill
    sure: bool = True  # False where a doubt is about this note
    span: Span | None = None  # its place in the text that was read


class GroupKind(StrEnum):
    """What a group of notes is."""

    NOTE = "note"
    GRACE = "grace"  # takes no time; leads to the next group of notes
    RAKE = "rake"  # one stroke over a muted string on the way to the next group of notes
    SCRAPE = "scrape"  # the edge of the pick along a wound string


class DraftGroup(NamedTuple):
    """Notes that begin together."""

    at: Fraction  # whole notes from the start of the bar; of grace notes and rake strokes, where the note stands that they lead to
    notes: tuple[DraftNote, ...]  # in any order, each on a string of its own
    kind: GroupKind = GroupKind.NOTE
    roll: bool = False  # struck one string after another, low to high


class DraftDirection(NamedTuple):
    """Words, a dynamic, a tempo change or a fermata."""

    at: Fraction  # whole notes from the start of the bar
    kind: str  # "words", "dynamic", "tempo", "fermata", as in `tree.DirectionNode`
    text: str = ""  # the words, the dynamic ("mf"), the tempo as a `tempo` field has it ("60", "1/4. = 66")


class DraftChord(NamedTuple):
    """A chord symbol."""

    at: Fraction  # whole notes from the start of the bar
    symbol: str  # as fingered, as a `chords` field has it: "Am7", "N.C."


@record
class DraftBar:
    """One written bar."""

    groups: tuple[DraftGroup, ...] = ()  # in order of time, grace notes and rake strokes before what they lead to
    length: Fraction | None = None  # whole notes that it holds; None: as many as its meter asks for
    meter: Meter | None = None  # None: that of the bar before, 4/4 in the first bar
    same: bool = False  # written as a sign that repeats the bar before; has no groups
    repeat_start: bool = False
    repeat_end: int = 0  # how many times in all, where a repeat ends with it; else 0
    ending: int = 0  # 1 or 2 where a first or second ending starts with it
    double: bool = False  # a double bar line ends it
    newline: bool = False  # a line of the writer's ends with it
    chords: tuple[DraftChord, ...] = ()  # in order of time
    directions: tuple[DraftDirection, ...] = ()  # in order of time
    marks: tuple[NavigationMark, ...] = ()  # segno, coda, Fine and jumps
    comments: tuple[str, ...] = ()  # remarks that stand before it, a line each
    span: Span | None = None  # its place in the text that was read


class Doubt(NamedTuple):
    """Something that was guessed, or could not be understood or written."""

    rule: Rule  # one of `importers/rules.py`
    message: str  # one line, lower case, no full stop
    hint: str = ""  # what to do about it
    bar: int | None = None  # index of the bar in the draft; None: all of it
    span: Span | None = None  # the place in the text that was read
    confidence: float | None = None  # of a guess, from 0 to 1; None where there is no figure


@record
class LickDraft:
    """One lick as read."""

    title: str
    bars: tuple[DraftBar, ...]
    fields: tuple[
        tuple[str, str], ...
    ] = ()  # name and value as the notation has them: ("tuning", "drop D"); no meter, pick-up, step, chords
    comments: tuple[str, ...] = ()  # remarks that stand above it, a line each
    doubts: tuple[Doubt, ...] = ()
