"""How two notes are played: connections, heads, marks and shapes beside each other.

In: two `SoundingNote`s that answer each other. Out: `NoteDifference`s. Works on the features of the table of techniques; what
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

# Ways to the right pitch: only one of the two bends up to it, or both do from different frets.
FRETTED, BENT_TO, ELSEWHERE = "fretted", "bent", "elsewhere"
HALF_STEP = 1.0  # semitones: a bend that is so far off arrives at another note
_TIMED = (Curve.BEND, Curve.RELEASE)  # whose beginning is heard


class NoteDifference(NamedTuple):
    """One thing that is played in another way."""

    lacking: str  # what the teacher has; "" for nothing
    added: str  # what the student has in its place; "" for nothing
    kind: DifferenceKind = DifferenceKind.TECHNIQUE
    by: float = 0.0  # a bend's size, semitones; a time, units of the clock
    about: str = ""  # a bend or release that comes early or late
    lasts: bool = False  # a word that may stand over several notes


def note_differences(
    a: SoundingNote, b: SoundingNote, sources_right: bool, clock: tuple[int, int], late: int, semitones: int
) -> Iterator[NoteDifference]:
    """Yield what the student's note `a` has differently from the teacher's note `b`.

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
    """Yield connections and entries. One from a note that is missing or wrong may have to be another: then nothing is reported."""
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
    """Return whether a mark changes the sound; a stroke's direction helps the hand only."""
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
    """Yield bends, releases and vibratos. A wrong note is bent from another pitch: of its bends nothing is said."""
    right = _may_compare_bends(a, b, semitones)
    bend_gone = False
    for mine, theirs in _facing(_told(a), _told(b)):
        if mine is not None and theirs is not None and mine.technique.curve is theirs.technique.curve:
            yield from _one_shape(a, b, mine, theirs, clock, late, right)
            continue
        curves = {shape.technique.curve for shape in (mine, theirs) if shape is not None}
        bends = not curves.isdisjoint(UPWARD_BENDS)
        follows = bend_gone and curves == {Curve.RELEASE}  # no bend, no release
        bend_gone = bend_gone or bends
        if not follows and (right or not bends):
            yield _unlike_shapes(mine, theirs, arrival_difference(a, b, semitones))


def _may_compare_bends(a: SoundingNote, b: SoundingNote, semitones: int) -> bool:
    """Return whether two notes are bent from the same pitch, or have none to compare."""
    return a.pitch + semitones == b.pitch or a.dead or b.dead


def _unlike_shapes(mine: PitchGesture | None, theirs: PitchGesture | None, off: float) -> NoteDifference:
    """Return the difference of two shapes of different kinds, or of one alone; `off` is by how much the notes arrive apart."""
    lacking, added = (shape.technique.name if shape is not None else "" for shape in (theirs, mine))
    alone = mine or theirs if mine is None or theirs is None else None
    if alone is not None and alone.technique.curve in UPWARD_BENDS and abs(off) >= HALF_STEP:
        return NoteDifference(lacking, added, DifferenceKind.BEND, off)
    return NoteDifference(lacking, added)


def _told(sound: SoundingNote) -> list[PitchGesture]:
    """Return the shapes of a sound; a vibrato that goes on over the next step is one."""
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
    """Yield the differences of two shapes of one kind: their size where the notes are `right`, and when they begin."""
    if theirs.technique.curve in UPWARD_BENDS or theirs.technique.curve is Curve.RELEASE:
        if right:
            yield from _size(a, b, mine, theirs)
    elif mine.technique.amount != theirs.technique.amount:
        yield NoteDifference(theirs.technique.name, mine.technique.name)
    if theirs.technique.curve in _TIMED:
        after = (mine.start - a.start) * clock[0] - (theirs.start - b.start) * clock[1]
        if after and after + late:
            kind = DifferenceKind.LATE if after > 0 else DifferenceKind.EARLY
            yield NoteDifference("", "", kind, after, theirs.technique.name)


def _size(a: SoundingNote, b: SoundingNote, mine: PitchGesture, theirs: PitchGesture) -> Iterator[NoteDifference]:
    """Yield how far off a bend or release is; nothing of a partial release from a bend that is itself off."""
    off = mine.amount - theirs.amount
    release = theirs.technique.curve is Curve.RELEASE
    if not off or (release and theirs.amount and highest_bend(a) != highest_bend(b)):
        return
    kind = DifferenceKind.BEND if not release and abs(off) >= HALF_STEP else DifferenceKind.INTONATION
    yield NoteDifference("", "", kind, off, theirs.technique.name)


def _facing(
    one: Sequence[PitchGesture], other: Sequence[PitchGesture]
) -> Iterator[tuple[PitchGesture | None, PitchGesture | None]]:
    """Yield shapes that face each other: as many of one curve as possible, in order; of those between, the ones that are left."""
    n, m = len(one), len(other)
    most = _most_facing(one, other)
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


def _most_facing(one: Sequence[PitchGesture], other: Sequence[PitchGesture]) -> list[list[int]]:
    """Return how many shapes of one curve can face each other from each pair of places on."""
    n, m = len(one), len(other)
    most = [[0] * (m + 1) for _ in range(n + 1)]
    for i in range(n - 1, -1, -1):
        for j in range(m - 1, -1, -1):
            alike = one[i].technique.curve is other[j].technique.curve
            most[i][j] = max(most[i + 1][j], most[i][j + 1], most[i + 1][j + 1] + 1 if alike else 0)
    return most
