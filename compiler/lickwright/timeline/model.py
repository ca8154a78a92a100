"""A lick as counted: the written bars once, and the sounds as played, all at exact instants.

`build.py` makes a `Timeline` from a tree; layout reads its written bars and slots, checks and performance its sounds.
Times are `int` numbers of *grains*: `Timeline.grain` of them make a whole note, chosen for each lick so that every
instant is a whole number (as exact as fractions, and twenty times as fast). `fraction()` returns the musical value.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record, record
from lickwright.core.source import Span
from lickwright.notation.techniques import Technique
from lickwright.notation.tree import Event, Navigation, Unknown
from lickwright.settings.fields import Settings


@mutable_record
class PitchGesture:
    """A bend, release, vibrato or slide of a sound, from `start` to `end` (its step)."""

    technique: Technique
    start: int  # grains, as played
    end: int  # grains; a vibrato's is that of its note or of the next shape
    amount: float  # semitones above the fretted pitch where it ends up (bend, pre-bend, release); else the technique's own amount
    slot: int  # the written slot it stands in
    span: Span
    to_fret: Fraction | None = None  # the target as a fret, written or from the amount; None for a quarter-tone


@mutable_record
class SoundingNote:
    """One sounding note: a stroke or a connected note on one string. Bends and holds belong to it and are not sounds of their own."""

    index: int  # its place in Timeline.sounds
    start: int  # grains, as played; a grace note's or rake stroke's is the beat it leads to
    end: int  # grains, when it stops sounding; equal to start for grace notes and rake strokes
    string: int  # 1 is the thinnest
    fret: int | None  # None: a dead note or rake stroke without one; a natural harmonic's node is in `touch`
    touch: Fraction | None  # the fret touched for a harmonic
    pitch: float  # nominal MIDI pitch (as fingered, no capo) at the fret, harmonics where they sound; open string's for a dead note
    begin: Technique  # how it starts: picked, or the row of its join or entry
    head: Technique | None  # dead note or harmonic
    marks: tuple[Technique, ...]  # marks and words on it
    shapes: list[PitchGesture]  # in order of time
    source: int | None  # the sound it is joined to, None when struck
    slot: int  # the written slot that it starts in
    bar: int  # index into Timeline.bars
    pass_no: int  # 0 the first time its bar is played
    kind: str = "note"  # or "grace", "rake", "scrape"
    lead: int = 0  # n-th stolen stroke before the beat, counted backwards: 1 is the nearest; 0: on the beat
    trill: int | None = None  # the other fret of a trill
    roll: int | None = None  # its place in a rolled chord, 0 first
    finger: str | None = None  # fretting finger as written
    pluck: str | None = None  # plucking finger as written
    dynamic: str = "mf"
    span: Span = Span(0, 0)
    dead: bool = field(
        init=False, compare=False, repr=False
    )  # without a clear pitch: a dead note, a rake stroke or a scrape

    def __post_init__(self) -> None:
        self.dead = self.kind in ("rake", "scrape") or (self.head is not None and self.head.sign == "x")

    @property
    def harmonic(self) -> bool:
        """True for a harmonic of any kind."""
        return self.head is not None and self.head.sign != "x"


def techniques_used(sounds: Iterable[SoundingNote]) -> tuple[list[Technique], set[str]]:
    """Return the rows of the technique table that sounds use, each once, and the names of what has no row: "trill", "roll"."""
    rows: dict[int, Technique] = {}  # by identity: hashing a row is slow
    names: set[str] = set()
    for sound in sounds:
        rows[id(sound.begin)] = sound.begin
        if sound.head is not None:
            rows[id(sound.head)] = sound.head
        for mark in sound.marks:
            rows[id(mark)] = mark
        for shape in sound.shapes:
            rows[id(shape.technique)] = shape.technique
        if sound.trill is not None:
            names.add("trill")
        if sound.roll is not None:
            names.add("roll")
    return list(rows.values()), names


def onset_grains(sounds: Iterable[SoundingNote]) -> list[tuple[int, int]]:
    """Return where notes begin, in order, what begins together once: (start in grains, minus the stroke's lead)."""
    return sorted({(sound.start, -sound.lead) for sound in sounds})


class Slot(NamedTuple):
    """One written step at its place: an event, a hold, a rest (a `---` is three slots, its marks in the last)."""

    bar: int  # index into Timeline.bars
    at: int  # grains from the start of its bar
    length: int  # grains; 0 for grace notes
    event: Event | Unknown
    last: bool = True  # False for all but the last slot of `---` and `..`


class Bar(NamedTuple):
    """One written bar."""

    number: int  # as players count: 1, 2, …; a pick-up is 0
    start: int  # grains from the start of the music as written
    length: int  # grains that it holds
    nominal: int  # grains that it should hold: the meter's, or the pick-up's
    first: int  # its slots: timeline.slots[first:last]; for a `%` those of the bar it repeats
    last: int
    same: bool  # written as `%`
    repeat_start: bool  # `|:` at its start
    repeat_end: int  # times in all, where `:|` ends it; else 0
    double: bool  # `||` ends it
    ending: int  # 1 or 2 where an ending starts with it; else 0
    newline: bool  # the writer ended a line after it
    sure: bool  # False where something in it could not be read: its length is not judged
    span: Span  # from its first sign to its last, the closing bar line excluded
    closes: Span  # the bar line that ends it (empty at the end of a lick without one)
    marks: tuple[Navigation, ...] = ()  # segno, coda, Fine and jumps, as written


class WordSpan(NamedTuple):
    """A word over written slots: `(pm: …)`."""

    word: str
    technique: Technique | None  # None for the event words (grace, rake, trill, roll, scrape)
    first: int  # index of its first slot
    last: int  # index of its last slot, included
    span: Span  # the opening "(pm:"


@record
class TupletSpan:
    """A tuplet over written slots."""

    count: int
    normal: int
    first: int
    last: int  # included
    depth: int  # 0 for an outer one
    span: Span
    steps: Fraction = Fraction(0)  # that it holds, in the step that counts at its bracket; grace notes have none


class Direction(NamedTuple):
    """Words, a dynamic, a tempo change or a fermata, before a written slot."""

    kind: str  # "words", "dynamic", "tempo", "fermata"
    text: str
    slot: int
    span: Span


def bar_name(number: int, again: int = 0) -> str:
    """Return a bar's name for people: `bar 3`, `bar 3, time 2` when it is played again, `pick-up`."""
    name = f"bar {number}" if number else "pick-up"
    return f"{name}, time {again + 1}" if again else name


class Pass(NamedTuple):
    """One written bar's turn in the music as played."""

    bar: int  # index into Timeline.bars
    start: int  # grains, as played
    number: int  # 0 the first time this bar is played


class TempoAt(NamedTuple):
    """From here on, this many quarter notes a minute."""

    start: int  # grains, as played
    qpm: Fraction


@record
class Timeline:
    """One lick as counted."""

    title: str
    settings: Settings
    grain: int  # grains to the whole note
    bars: tuple[Bar, ...]
    slots: tuple[Slot, ...]  # in written order; grace slots stand before the slot they lead to
    words: tuple[WordSpan, ...]
    tuplets: tuple[TupletSpan, ...]
    directions: tuple[Direction, ...]
    passes: tuple[Pass, ...]  # the bars as played
    sounds: tuple[SoundingNote, ...]  # as played, by start, then by lead, then from the thickest string to the thinnest
    tempos: tuple[TempoAt, ...]  # the first at 0
    fermatas: tuple[tuple[int, int], ...]  # (start, end) in grains, as played, of events under a fermata
    end: int  # grains, the length as played
    span: Span  # the lick's place in its file
    unknown: bool  # something in it could not be read

    def fraction(self, grains: int) -> Fraction:
        """Return grains as a fraction of a whole note."""
        return Fraction(grains, self.grain)

    def opening_tempo(self, percent: Fraction | None = None, bpm: Fraction | None = None) -> Fraction:
        """Return the beats a minute at which the music begins, where it is played at `percent` of its tempo or at `bpm`.

        They are beats of the lick's own tempo. Some bars of a lick begin at the tempo that is reached there.
        """
        if bpm is not None:
            return bpm
        written = self.settings.tempo.beats_per_minute(self.tempos[0].qpm, self.settings.meter)
        return written if percent is None else written * percent / 100
