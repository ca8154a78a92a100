"""The values of a comparison: differences, pairs, a score.

In: nothing of its own. Out: values that the other modules of this package fill and read.
"""

from __future__ import annotations

from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.timeline.model import SoundingNote, Timeline


class DifferenceKind(StrEnum):
    """What a difference is about."""

    STRING = "string"  # the right pitch on another string
    FRET = "fret"  # another fret of the same string
    NOTE = "note"  # another string and another pitch
    MISSING = "missing"
    EXTRA = "extra"
    EARLY = "early"
    LATE = "late"
    SHORT = "short"  # let go too soon
    LONG = "long"  # held too long
    TECHNIQUE = "technique"  # left out, added, or another one
    BEND = "bend"  # it arrives at another note: left out, added, or a half step or more off
    INTONATION = "intonation"  # a bend less than a half step off, or a release


class ScorePosition(NamedTuple):
    """A place in a score, as a player says it."""

    bar: int  # the written bar's number; 0 is a pick-up
    beat: str  # the count: "2 &"


class Difference(NamedTuple):
    """One thing that the student's version does differently."""

    kind: DifferenceKind
    place: ScorePosition  # in the teacher's version; of an extra note in the student's
    mine: tuple[SoundingNote, ...]  # the notes concerned; () for a missing note
    theirs: tuple[SoundingNote, ...]  # () for an extra note
    by: Fraction  # student's less teacher's: semitones (fret, note, bend), whole notes of the teacher's (time, length); else 0
    lacking: str = ""  # the technique that the teacher has
    added: str = ""  # the technique that the student has
    about: str = ""  # what is early or late: "bend", "release", or one of the words of `timing`; another way to a pitch: of `technique`
    moves: bool = False  # all that follows is early or late too
    # For a difference of four notes or more in a row, or one that moves only some of them: the last one
    until: ScorePosition | None = None
    times: int = 1  # how often it is played: repeats and `%` play one written note several times


class Pair(NamedTuple):
    """One note of the teacher's (None for an extra one), what answers it (None: nothing), and what differs."""

    mine: SoundingNote | None
    theirs: SoundingNote | None
    kinds: frozenset[DifferenceKind]

    @property
    def right(self) -> bool:
        """Whether the note is just as the teacher has it."""
        return not self.kinds


class Normalization(NamedTuple):
    """A difference of the whole phrase: reported once, without cost; everything else is judged relative to it."""

    kind: str  # "transposed", "octave", "place", "spelling", "tempo", "feel", "start", "capo", "tuning"
    words: str


class Score(NamedTuple):
    """Points, and what they are out of."""

    points: int
    possible: int
    of_100: int  # in percent, rounded down: 100 only if no point is lost

    right: int  # teacher's notes that are just right
    notes: int  # teacher's notes
    extra: int  # student's notes that the teacher has not


@record
class Comparison:
    """Two versions, compared."""

    mine: Timeline
    theirs: Timeline
    said: tuple[Normalization, ...]
    pairs: tuple[Pair, ...]  # every note once, though repeats play it several times; in musical order
    differences: tuple[Difference, ...]  # in musical order
    score: Score

    @property
    def alike(self) -> bool:
        """True if nothing differs but facts about the whole phrase."""
        return not self.differences
