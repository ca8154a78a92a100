"""How two notes are played: joins, heads, marks and shapes beside each other.

In: two Sounds that answer each other. Out: `Otherwise` values. Works on the features of the table of techniques; what
only helps the hand (strokes of the pick, fingers) counts where the teacher asks for it, and is never too much.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

from lickwright.compare.model import DifferenceKind
from lickwright.compare.notes import arrival_difference, highest_bend
from lickwright.notation.techniques import PICKED, UPWARD_BENDS, Curve, Damping, Stroke, Technique
from lickwright.notation.techniques import TechniqueKind as Place
from lickwright.timeline.model import PitchGesture, SoundingNote

FRETTED, BENT_TO, ELSEWHERE = (
    "fretted",
    "bent",
    "elsewhere",
)  # the right pitch, though only one of the two bends up to it, or from another fret
HALF_STEP = 1.0  # semitones: a bend that is so far off arrives at another note
_TIMED = (Curve.BEND, Curve.RELEASE)  # whose beginning is heard


class NoteDifference(NamedTuple):
    """One thing that is played otherwise."""

    lacking: str  # what the teacher has; "" for nothing
    added: str  # what the student has in its place; "" for nothing
    kind: DifferenceKind = DifferenceKind.TECHNIQUE
    by: float = 0  # a bend's size, semitones; a time, units of the clock
    about: str = ""  # a bend or release that comes early or late
    lasts: bool = False  # a word that may stand over several notes


def note_differences(
    a: SoundingNote, b: SoundingNote, sources_right: bool, clock: tuple[int, int], late: int, semitones: int
) -> Iterator[NoteDifference]:
    """Return what the student's note `a` has otherwise than `b`.

    `sources_right`: the notes they are joined to answer each other too. `late`: of the note itself, in units.
    `semitones`: what to add to the student's pitches.
    """
    if a.kind != b.kind:
        yield NoteDifference(_event(b), _event(a))
        return
    yield from _begin(a, b, sources_right)
    if a.head is not b.head:
        yield NoteDifference(b.head.name if b.head else "", a.head.name if a.head else "")
    yield from _marks(a, b)
    if a.trill != b.trill:
        yield NoteDifference(_trill(b), _trill(a))
    if (a.roll is None) != (b.roll is None):
        yield NoteDifference("roll" if b.roll is not None else "", "roll" if a.roll is not None else "")
    yield from _shapes(a, b, clock, late, semitones)


def _event(sound: SoundingNote) -> str:
    return {"note": "", "grace": "grace note"}.get(sound.kind, sound.kind)


def _trill(sound: SoundingNote) -> str:
    return f"trill with fret {sound.trill}" if sound.trill is not None else ""


def _begin(a: SoundingNote, b: SoundingNote, sources_right: bool) -> Iterator[NoteDifference]:
    """Joins and entries. One from a note that is missing or wrong may have to be another: nothing is said then."""
    one, other = a.begin, b.begin
    if one.name == other.name:
        return
    if not sources_right and Place.ENTRY not in (one.kind, other.kind):
        return
    if one.kind is other.kind is Place.JOIN and one.curve is other.curve is Curve.GLIDE and one.stroke is other.stroke:
        return  # up or down: that is the frets' doing
    yield NoteDifference(_unless(PICKED, other), _unless(PICKED, one))


def _unless(plain: Technique, technique: Technique) -> str:
    return "" if technique is plain else technique.name


def _marks(a: SoundingNote, b: SoundingNote) -> Iterator[NoteDifference]:
    one, other = {mark.name: mark for mark in a.marks}, {mark.name: mark for mark in b.marks}
    for name, mark in other.items():
        if name not in one:
            yield NoteDifference(name, "", lasts=mark.kind is Place.WORD)
    for name, mark in one.items():
        if name not in other and _heard(mark):
            yield NoteDifference("", name, lasts=mark.kind is Place.WORD)


def _heard(mark: Technique) -> bool:
    """Whether a mark changes the sound; a stroke's direction helps the hand only."""
    silent = mark.stroke in (None, Stroke.PICK) and mark.curve is Curve.NONE and mark.damping is Damping.NONE
    return not silent or mark.loudness != 1.0


def bend_route(a: SoundingNote, b: SoundingNote, semitones: int) -> str:
    """Return how the right pitch is reached in another way: one of the constants above; "" where it is not so."""
    one, other = highest_bend(a), highest_bend(b)
    if a.dead or b.dead or not (one or other) or a.pitch + semitones == b.pitch or arrival_difference(a, b, semitones):
        return ""
    return ELSEWHERE if one and other else FRETTED if other else BENT_TO


def _shapes(
    a: SoundingNote, b: SoundingNote, clock: tuple[int, int], late: int, semitones: int
) -> Iterator[NoteDifference]:
    """Bends, releases and vibratos. A wrong note is bent from another pitch: of its bends nothing is said."""
    right = a.pitch + semitones == b.pitch or a.dead or b.dead
    gone: set[Curve] = set()
    for mine, theirs in _facing(_told(a), _told(b)):
        if mine is not None and theirs is not None and mine.technique.curve is theirs.technique.curve:
            yield from _one_shape(a, b, mine, theirs, clock, late, right)
            continue
        lacking, added = theirs.technique if theirs else None, mine.technique if mine else None
        curves = {t.curve for t in (lacking, added) if t is not None}
        follows = curves == {Curve.RELEASE} and gone & set(UPWARD_BENDS)
        gone |= curves
        if follows or (not right and curves & set(UPWARD_BENDS)):
            continue  # no bend, no release
        names = lacking.name if lacking else "", added.name if added else ""
        off = (
            arrival_difference(a, b, semitones) if len(curves & set(UPWARD_BENDS)) == 1 == sum(map(bool, names)) else 0
        )
        yield NoteDifference(*names, DifferenceKind.BEND, off) if abs(off) >= HALF_STEP else NoteDifference(*names)


def _told(sound: SoundingNote) -> list[PitchGesture]:
    """Its shapes; a vibrato that goes on over the next step is one."""
    told: list[PitchGesture] = []
    for shape in sound.shapes:
        if not told or shape.technique.curve is not Curve.VIBRATO or told[-1].technique is not shape.technique:
            told.append(shape)
    return told


def _one_shape(
    a: SoundingNote,
    b: SoundingNote,
    mine: PitchGesture,
    theirs: PitchGesture,
    clock: tuple[int, int],
    late: int,
    right: bool,
) -> Iterator[NoteDifference]:
    """Two of one kind: their size where the notes are `right`, and when they begin."""
    curve = theirs.technique.curve
    if curve in UPWARD_BENDS or curve is Curve.RELEASE:
        release_of_wrong = curve is Curve.RELEASE and highest_bend(a) != highest_bend(b) and bool(theirs.amount)
        off = mine.amount - theirs.amount
        if right and off and not release_of_wrong:
            wrong = curve is not Curve.RELEASE and abs(off) >= HALF_STEP
            yield NoteDifference(
                "", "", DifferenceKind.BEND if wrong else DifferenceKind.INTONATION, off, theirs.technique.name
            )
    elif mine.technique.amount != theirs.technique.amount:
        yield NoteDifference(theirs.technique.name, mine.technique.name)
    if curve in _TIMED:
        after = (mine.start - a.start) * clock[0] - (theirs.start - b.start) * clock[1]
        if after and after + late:
            yield NoteDifference(
                "", "", DifferenceKind.LATE if after > 0 else DifferenceKind.EARLY, after, theirs.technique.name
            )


def _facing(
    one: Sequence[PitchGesture], other: Sequence[PitchGesture]
) -> Iterator[tuple[PitchGesture | None, PitchGesture | None]]:
    """As many shapes of one curve as possible face each other, in order; of those between, the ones that are left."""
    n, m = len(one), len(other)
    most = [[0] * (m + 1) for _ in range(n + 1)]  # how many can face each other from here on
    for i in range(n - 1, -1, -1):
        for j in range(m - 1, -1, -1):
            alike = one[i].technique.curve is other[j].technique.curve
            most[i][j] = max(most[i + 1][j], most[i][j + 1], most[i + 1][j + 1] + 1 if alike else 0)
    i = j = 0
    left: list[PitchGesture] = []  # of `one`, since the last that faced
    right: list[PitchGesture] = []
    while i < n or j < m:
        both = i < n and j < m
        if both and one[i].technique.curve is other[j].technique.curve and most[i][j] == most[i + 1][j + 1] + 1:
            yield from zip_longest(left, right)
            yield one[i], other[j]
            left, right, i, j = [], [], i + 1, j + 1
        elif j == m or (both and most[i + 1][j] == most[i][j]):
            left.append(one[i])
            i += 1
        else:
            right.append(other[j])
            j += 1
    yield from zip_longest(left, right)
