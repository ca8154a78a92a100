"""A lick as written: a tree of nodes, each with its span.

`syntax.py` makes it from text, `canonical.py` turns it back, `timeline/build.py` counts it. Spans do not take part in equality, so that two texts
that say the same compare equal.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.core.fast_dataclass import field, record
from lickwright.core.source import Span
from lickwright.notation.navigation import NavigationMark
from lickwright.notation.techniques import Technique

NOWHERE = Span(0, 0)


@record
class Node:
    """Anything that stands somewhere in a text. Spans of parts and marks count from the start of their event, so that equal ones can be shared."""

    span: Span = field(compare=False, repr=False, kw_only=True, default=NOWHERE)


@record
class Comment(Node):
    """`# …`, kept for when the file is written again."""

    text: str  # without the `#` and the space after it
    own_line: bool  # False where it follows something on its line


@record
class Field(Node):
    """`key A minor`."""

    name: str
    text: str  # the value, white space folded, chords with the signs of a printed chart
    comment: str | None = None  # the one that ends its line
    raw: str = field(compare=False, repr=False, default="")  # the value as written, comments blanked
    raw_at: int = field(compare=False, repr=False, default=0)  # where it begins
    sign: str = field(compare=False, repr=False, default="")  # `:` or `=` that touches its name, where none belongs

    @property
    def name_span(self) -> Span:
        """Return where the name stands."""
        return Span(self.span.start, self.span.start + len(self.name))


@record
class MarkNode(Node):
    """A shape, mark or finger that touches a note or a hold."""

    technique: Technique
    fret: Fraction | None = None  # bend or release target as a fret (8.5 is a quarter-tone above 8)
    by: Fraction | None = None  # bend amount in semitones, where it was written as one (`full` is 2)


@record
class Note(Node):
    """A sounding note on one string: struck, connected, dead or harmonic."""

    string: str  # "G", "5:", or "" for the string of the note before
    begin: Technique  # how it starts: the picked row, a join or an entry
    head: Technique | None = None  # dead note or harmonic; None for an ordinary fret
    fret: int | None = None  # None only for a dead note without one and a natural harmonic
    touch: Fraction | None = None  # the fret touched for a harmonic
    marks: tuple[MarkNode, ...] = ()
    finger: str | None = None  # "1".."4", "T"
    pluck: str | None = None  # "p", "i", "m", "a", "c"


@record
class Hold(Node):
    """`-`: what sounds goes on, on one string or (string "") on all."""

    string: str = ""
    marks: tuple[MarkNode, ...] = ()


@record
class Rest(Node):
    """`.`: silence, on one string or (string "") on all."""

    string: str = ""


@record
class Bare(Node):
    """A string letter with no fret: only inside a rake or a scrape."""

    string: str


Part = Note | Hold | Rest | Bare


@record
class Event(Node):
    """What happens in one step: parts joined by `&`, all starting together."""

    parts: tuple[Part, ...]
    count: int = 1  # steps taken: `---` is 3 with its marks in the last, `..` is 2


@record
class Unknown(Node):
    """What could not be read: counts as one event, and makes its bar unsure."""

    steps: int = 1  # 0 for a sign that takes no time of its own


@record
class Step(Node):
    """`1/16`: the note value of each event from here to the end of the bar (or tuplet)."""

    value: Fraction  # of a whole note


@record
class DirectionNode(Node):
    """`@mf`, `@"let it hang"`, `@tempo=60`, `@fermata`: before an event, takes no time."""

    kind: str  # "words", "dynamic", "tempo", "fermata"
    text: str  # the words, the dynamic, or the tempo as written ("60", "1/4. = 66"); "" for a fermata


@record
class Navigation(Node):
    """`@segno`, `@dc-al-fine`: at the start or end of a bar, takes no time."""

    mark: NavigationMark


@record
class Tuplet(Node):
    """`3[…]`: `count` steps in the time of `normal`."""

    count: int
    normal: int
    items: tuple[Item, ...]


@record
class Worded(Node):
    """`(pm: …)`: a word over events; may cross bar lines."""

    word: str  # known: a row of WORDS or one of EVENT_WORDS; else was reported and is kept for its events
    items: tuple[Item, ...]


@record
class BarLine(Node):
    """A bar line; two that only a line break parts are one."""

    double: bool = False  # end of section
    repeat_end: int = 0  # `:|`: how many times in all (2 unless `x3`); 0: no repeat ends here
    repeat_start: bool = False  # `|:`
    ending: int = 0  # 1 for `1st`, 2 for `2nd` right after it; 0: none
    newline: bool = False  # the writer began a new line here; kept when the text is rewritten
    empty: bool = field(
        compare=False, default=False
    )  # nothing stands between it and the bar line before, on the same line


@record
class SameBar(Node):
    """`%`: the bar before, again."""


Item = Event | Unknown | Step | DirectionNode | Navigation | Tuplet | Worded | BarLine | SameBar | Comment


@record
class Lick(Node):
    """One lick: its title, its own fields, its music."""

    title: str
    fields: tuple[Field | Comment, ...]
    music: tuple[Item, ...]
    title_span: Span = field(compare=False, repr=False, default=NOWHERE)


@record
class Book(Node):
    """A file: fields for every lick in it, then licks."""

    head: tuple[Field | Comment, ...]
    licks: tuple[Lick, ...]
