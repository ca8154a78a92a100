"""Played notes → notes of a draft at exact places, with frets, techniques and lengths.

In: `PlayedNote`s, their places on the grid. Out: `PlacedNote`s: where each begins, which `DraftNote` it is, what it is besides a note.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.importers.draft import DraftNote, DraftShape, GroupKind
from lickwright.importers.midi.pitch_moves import MoveKind, PitchMove, is_wide
from lickwright.importers.midi.played_notes import PlayedNote
from lickwright.music.harmonic import harmonic_interval
from lickwright.notation.techniques import (
    ENTRIES,
    HEADS,
    PICKED,
    QUARTER_BEND,
    SHAPES,
    WORDS,
    Damping,
    Technique,
    TechniqueKind,
)
from lickwright.performance.pitch_curves import BEND_MAX, BEND_SHARE

_NODES = tuple(Fraction(at).limit_denominator(10) for at in (12, 7, 5, 4, 3.2, 2.7, 2.4, 9, 16, 19, 24))
_PINCHED, _OCTAVE = 24, 12  # semitones that pinch and artificial harmonics sound above their fret
_WORD_MOVES = {MoveKind.DIVE: WORDS["dive"], MoveKind.DIP: WORDS["dip"], MoveKind.SCOOP: WORDS["scoop"]}
_STEP = Fraction(1, 8)  # at whose end a note slides off
_STEPS = tuple(Fraction(part, 32) for part in (1, 2, 3, 4, 6, 8))  # in which a bend can be written
_FINEST = Fraction(1, 64)


class PlacedNote(NamedTuple):
    """One note at its place."""

    start: Fraction  # whole notes from the start of the file; of a stolen one, where the note is that it leads to
    note: DraftNote
    kind: GroupKind
    played: PlayedNote


def placed_draft_note(
    played: PlayedNote,
    start: Fraction,
    end: Fraction,
    place: Callable[[float], Fraction],
    string: int,
    fret: int | None,
) -> DraftNote:
    """Return a note from `start` to `end` (whole notes); `place` gives the grid instant that lies so many seconds after its start."""
    words = played.words
    length = Fraction(0) if words.stolen else max(_FINEST, end - start)
    begin = _beginning(played)
    marks = list(words.marks)
    marks += [
        _WORD_MOVES[move.kind]
        for move in played.moves
        if move.kind in _WORD_MOVES and _WORD_MOVES[move.kind] not in marks
    ]
    head = words.head
    fret, touch = _touched(head, fret, "rake stroke" in words.names)
    shapes = () if head is HEADS["x"] else _shapes(played, start, length, place, begin)
    return DraftNote(string, fret, length, begin, head, touch, tuple(marks), shapes, None, words.pluck, words.trill)


def _touched(head: Technique | None, fret: int | None, raked: bool) -> tuple[int | None, Fraction | None]:
    """Return the fret and the place touched of a note that sounds `fret` semitones above its open string."""
    if head is HEADS["x"] or raked or fret is None:
        return None, None
    if head is HEADS["<>"]:
        return None, _node(fret)
    if head is HEADS["n<>"]:
        return max(0, fret - _OCTAVE), Fraction(max(_OCTAVE, fret))
    return (max(0, fret - _PINCHED) if head is HEADS["*"] else fret), None


def _beginning(played: PlayedNote) -> Technique:
    if played.begin is not PICKED:
        return played.begin
    slide = next((move for move in played.moves if move.kind is MoveKind.SLIDE_IN), None)
    return PICKED if slide is None else ENTRIES["/" if slide.level < 0 else "\\"]


def _node(interval: int) -> Fraction:
    """Return where a string is touched that sounds so many semitones above its open pitch."""
    for node in _NODES:
        sounding = harmonic_interval(float(node))
        if sounding is not None and round(sounding) == interval:
            return node
    return Fraction(12)


# --- shapes ----------------------------------------------------------------------------------------------------------

_BENDS = {MoveKind.PREBEND: SHAPES["^^"], MoveKind.BEND: SHAPES["^"], MoveKind.RELEASE: SHAPES["r"]}


def _shapes(
    played: PlayedNote, start: Fraction, length: Fraction, place: Callable[[float], Fraction], begin: Technique
) -> tuple[DraftShape, ...]:
    found: list[DraftShape] = []
    for n, move in enumerate(played.moves):
        if n == 0 and move.kind is MoveKind.PREBEND and begin.kind is TechniqueKind.JOIN:
            continue  # the string is bent already
        shape = _shape(move, start, length, place, found)
        if shape is not None and (shape.at < length or not length):
            found.append(shape if length else shape._replace(at=Fraction(0), length=None))
    return tuple(found)


def _shape(
    move: PitchMove,
    start: Fraction,
    length: Fraction,
    place: Callable[[float], Fraction],
    before: Sequence[DraftShape],
) -> DraftShape | None:
    if move.kind is MoveKind.VIBRATO:
        at = max(Fraction(0), place(max(0.0, move.start - 0.05)) - start)
        return DraftShape(SHAPES["~~" if is_wide(move) else "~"], _after(before, at))
    if move.kind is MoveKind.SLIDE_OFF:
        return DraftShape(SHAPES["/" if move.level > 0 else "\\"], max(Fraction(0), length - _STEP))
    if move.kind not in _BENDS:
        return None
    at = max(Fraction(0), place(move.start) - start)
    return _bend(_BENDS[move.kind], at, _step(move, start + at, place), Fraction(round(move.level * 2), 2))


def _after(before: Sequence[DraftShape], at: Fraction) -> Fraction:
    """Return where a vibrato begins: right after a bend that ends there or nearly."""
    last = before[-1] if before else None
    if last is not None and last.length is not None and abs(at - last.at - last.length) <= Fraction(1, 16):
        return last.at + last.length
    return at


def _bend(technique: Technique, at: Fraction, step: Fraction | None, by: Fraction) -> DraftShape | None:
    """Return a bend, pre-bend or release to `by` semitones above the note; None for a bend by nothing."""
    if technique is SHAPES["^"] and by == Fraction(1, 2):
        return DraftShape(QUARTER_BEND, at, step)
    if technique is SHAPES["r"]:
        return DraftShape(technique, at, step, by or None)
    return DraftShape(technique, at, None if technique is SHAPES["^^"] else step, by) if by else None


def _step(move: PitchMove, at: Fraction, place: Callable[[float], Fraction]) -> Fraction | None:
    """Return the length of the step that a bend takes its share of; None for one that is as slow as any."""
    taken = move.end - move.start
    if taken > BEND_MAX - 0.015 or taken < 0.01:
        return None
    step = place(move.start + taken / BEND_SHARE) - at
    return step if step in _STEPS else None


# --- how long notes last ---------------------------------------------------------------------------------------------


def note_ends(
    notes: Sequence[PlayedNote],
    starts: Sequence[Fraction],
    seconds: Callable[[int], float],
    place: Callable[[int], Fraction],
) -> list[Fraction]:
    """Return where each note ends on the grid: where the next begins if it lasts about as long, else the nearest place.

    A damped note sounds for less than it is written: it lasts to the next note. `seconds` and `place` are those of a tick.
    """
    onsets = sorted({(note.on, start) for note, start in zip(notes, starts, strict=True) if not note.words.stolen})
    ticks = [tick for tick, _ in onsets]
    found = []
    for note, start in zip(notes, starts, strict=True):
        damped = note.words.head is HEADS["x"] or any(
            mark.damping in (Damping.PALM, Damping.SHORT) for mark in note.words.marks
        )
        following = onsets[n] if (n := bisect_right(ticks, note.on)) < len(onsets) else None
        near = onsets[n] if (n := bisect_right(ticks, note.off - 1)) < len(onsets) else None
        end = place(note.off)
        if damped and following is not None:
            end = max(end, following[1]) if seconds(following[0]) >= seconds(note.off) - 0.005 else following[1]
        elif near is not None and _about(seconds(note.off), seconds(near[0]), seconds(note.on)):
            end = near[1]
        found.append(max(end, start + _FINEST))
    return found


def _about(off: float, onset: float, on: float) -> bool:
    """Return whether a note that ends at `off` may be meant to last to an onset."""
    return onset - off <= max(0.03, 0.12 * (onset - on))
