"""What is found on one string: notes, each with its marks and its place. Values only.

In: nothing. Out: the values that `marks.py` fills and later steps read. Columns count from the first bar line of the system.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.core.source import Span


@mutable_record
class ScannedShape:
    """A bend, release, vibrato or slide off."""

    kind: str  # a sign of `techniques.SHAPES`
    x: int  # its column
    by: Fraction | None = None  # semitones above the fret where it ends up; None: not said
    own_column: bool = False  # it stands apart from its note: at an instant of its own
    unsaid: bool = False  # a bend whose size nobody wrote
    span: Span = Span(0, 0)


@mutable_record
class ScannedNote:
    """One note on one string."""

    string: int
    x: int  # column of its fret
    end: int  # column after its fret
    fret: int | None
    span: Span
    begin: str = ""  # how it starts: "" picked, or `h`, `p`, `/`, `\\`, `//`, `\\\\`, `t`
    touching: bool = False  # its connection touches the note before
    head: str = ""  # "", `x`, `<>`, `n<>`, `*`
    touch: Fraction | None = None
    shapes: list[ScannedShape] = field(default_factory=list)
    marks: set[str] = field(default_factory=set)  # signs of `techniques.MARKS` and words of `WORDS`; "grace", "rake"
    trill: int | None = None
    held: bool = False  # in parentheses because it goes on
    parenthesized: bool = False
    sure: bool = True


@mutable_record
class ScannedBar:
    """What one string has between two bar lines."""

    notes: list[ScannedNote] = field(default_factory=list)
    shapes: list[tuple[ScannedNote, ScannedShape]] = field(
        default_factory=list
    )  # of earlier notes, at their own columns
