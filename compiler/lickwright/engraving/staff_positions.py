"""What a staff of notes shows: where each note lies, with which accidental, under which clef.

In: the stops of a lick's bars. Out: for each stop its `StaffNote`s. A guitar is written an octave above its sound, as a bass is. Pitches are as
fingered, without the capo; a bend
begins at the pitch that is fretted, and the pitches that it comes to follow it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from lickwright.engraving.note_values import RhythmEvent
from lickwright.engraving.stops import PITCHED, BarStops, NoteMark, Stop
from lickwright.layout.grid import Grid
from lickwright.music.pitch import PLAIN_NAMES, Key, NoteName, note_name
from lickwright.notation.techniques import Curve
from lickwright.timeline.model import Timeline

_LETTERS = "CDEFGAB"
_OCTAVE = 12  # semitones that the instrument is written above its sound
_BASS_BELOW = 50  # MIDI pitch of the thinnest string: below, the bass clef is used
# Steps of a signature's accidentals from the middle line of a G clef, in order of writing.
_SHARPS, _FLATS = (4, 1, 5, 2, -1, 3, 0), (0, 3, -1, 2, -2, 1, -3)
RAISED = {0: "natural-up", 1: "sharp-up", -1: "flat-up"}  # a quarter step higher, as a quarter-step bend is
ACCIDENTALS = {0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "double-flat"}


class Clef(NamedTuple):
    """A clef and the note on the middle line."""

    sign: str
    middle: int  # steps above C0
    shift: int  # of the signature's accidentals, against the G clef


_UNKNOWN = 9  # no alteration of a note
G_CLEF, F_CLEF = Clef("g-clef", 34, 0), Clef("f-clef", 22, -2)


class BendTarget(NamedTuple):
    """A pitch that a bend or release comes to."""

    step: int  # from the middle line, upwards
    accidental: str


class StaffNote(NamedTuple):
    """One note head."""

    step: int  # from the middle line, upwards
    accidental: str  # the sign before it, or ""
    mark: NoteMark
    targets: tuple[BendTarget, ...] = ()  # what it is bent to, and released to, before the next stop

    @property
    def is_x(self) -> bool:
        """Whether it has no clear pitch."""
        return self.mark.sound.dead


def clef_of(timeline: Timeline) -> Clef:
    """The clef that a tuning is written in."""
    return F_CLEF if timeline.settings.tuning.open(1) < _BASS_BELOW else G_CLEF


def signature_steps(timeline: Timeline) -> tuple[tuple[str, int], ...]:
    """The accidentals of the key signature and their steps from the middle line."""
    key = timeline.settings.key
    count = key.signature if key is not None else 0
    steps, sign = (_SHARPS, "sharp") if count > 0 else (_FLATS, "flat")
    return tuple((sign, step + clef_of(timeline).shift) for step in steps[: abs(count)])


def staff_notes(grid: Grid, bars: Sequence[BarStops]) -> list[list[tuple[StaffNote, ...]]]:
    """The notes of every stop of every bar."""
    key, clef = grid.timeline.settings.key, clef_of(grid.timeline)
    found = []
    bent: dict[int, float] = {}  # semitones, by the number of the sound
    for bar in bars:
        known: dict[int, int] = {}  # by step: what the bar has changed
        found.append(
            [
                tuple(_note(mark, _pitches(grid.timeline, mark, bent), key, clef, known) for mark in stop.marks)
                for stop in bar.stops
            ]
        )
    return found


def _pitches(timeline: Timeline, mark: NoteMark, bent: dict[int, float]) -> list[float]:
    """Return the pitch of a note at its stop, and those that it is bent or released to, to a quarter step; `bent` is kept from stop to stop."""
    semitones = [bent.get(mark.sound.index, 0.0) if mark.held else 0.0]
    for shape in mark.shapes:
        if shape.technique.curve is Curve.PREBEND:
            semitones = [shape.amount]
        elif shape.technique.curve in PITCHED:
            semitones.append(shape.amount)
    bent[mark.sound.index] = semitones[-1]
    pitch = _pitch(timeline, mark)
    if mark.sound.dead:
        return [pitch]
    heard = [pitch + int(2 * amount + 0.5) / 2 for amount in semitones]
    return [heard[0], *(after for before, after in pairwise(heard) if after != before)]


def _pitch(timeline: Timeline, mark: NoteMark) -> int:
    """The pitch that is written: the fretted one; of a natural harmonic the one that sounds, of a dead note the open string's."""
    sound = mark.sound
    if sound.fret is None or sound.dead:
        return round(sound.pitch) + _OCTAVE
    return timeline.settings.tuning.open(sound.string) + sound.fret + _OCTAVE


def _note(mark: NoteMark, pitches: Sequence[float], key: Key | None, clef: Clef, known: dict[int, int]) -> StaffNote:
    step, accidental = _spelled(pitches[0], key, clef, known, mark.held or mark.sound.dead)
    targets = tuple(BendTarget(*_spelled(pitch, key, clef, known, False)) for pitch in pitches[1:])
    return StaffNote(step, accidental, mark, targets)


def _spelled(pitch: float, key: Key | None, clef: Clef, known: dict[int, int], plain: bool) -> tuple[int, str]:
    """Return the step of a pitch and the sign before it, which `known` takes note of; no sign for a `plain` one."""
    below = int(pitch)
    name = PLAIN_NAMES[below % 12] if key is None else note_name(below, key)
    step = _steps(below, name) - clef.middle
    if pitch > below and not plain:
        known[step] = _UNKNOWN  # the next note there has its sign again
        return step, RAISED[max(-1, min(1, name.alter))]
    if plain or name.alter == known.get(step, _in_signature(name.letter, key)):
        return step, ""
    known[step] = name.alter
    return step, ACCIDENTALS[max(-2, min(2, name.alter))]


def _steps(pitch: int, name: NoteName) -> int:
    """Steps of the scale of C above C0."""
    return ((pitch - name.alter) // 12 - 1) * 7 + _LETTERS.index(name.letter)


def _in_signature(letter: str, key: Key | None) -> int:
    count = key.signature if key is not None else 0
    order = "FCGDAEB" if count > 0 else "BEADGCF"
    return (1 if count > 0 else -1) if letter in order[: abs(count)] else 0


def with_room_for_notes(bars: Sequence[BarStops], notes: Sequence[Sequence[tuple[StaffNote, ...]]], space: float) -> list[BarStops]:  # fmt: skip
    """The bars with room beside each stop for heads and accidentals; `space` is the staff's, in points."""
    return [
        bar._replace(stops=tuple(_wider(stop, here, space) for stop, here in zip(bar.stops, row, strict=True)))
        for bar, row in zip(bars, notes, strict=True)
    ]


def _wider(stop: Stop, notes: Sequence[StaffNote], space: float) -> Stop:
    if not notes:
        return stop
    columns = accidental_columns(notes)
    left = 1.0 * space + (1.3 * space * (max(columns.values()) + 1) if columns else 0.0)
    seconds = has_seconds(
        notes
    )  # one of the two heads stands on the other side of the stem, to the left of one that goes down
    left += space if seconds else 0.0
    right = space * (1.9 if seconds else 0.9)
    right = max([right, *(x + 4.0 for note in notes for x in target_places(note, stop.event)[-1:])])
    return stop._replace(left=max(stop.left, left), right=max(stop.right, right))


def target_places(note: StaffNote, event: RhythmEvent | None) -> list[float]:
    """Return how far to the right of a note the heads of its bend's targets stand, clear of its dots and flag."""
    x = 4.0 + (0.0 if event is None else 4.0 * event.dots + (3.0 if event.flags else 0.0))
    found = []
    for target in note.targets:
        x += 7.5 + (5.5 if target.accidental else 0.0)
        found.append(x)
    return found


def has_seconds(notes: Sequence[StaffNote]) -> bool:
    """Whether two heads are too near to stand one over the other."""
    steps = sorted(note.step for note in notes)
    return any(above - below <= 1 for below, above in zip(steps, steps[1:], strict=False))


def accidental_columns(notes: Sequence[StaffNote]) -> dict[int, int]:
    """For each note with an accidental, by index, the column that it stands in; 0 is the nearest to the heads."""
    lowest: list[int] = []  # by column: the step of the last accidental
    found = {}
    for index in sorted(range(len(notes)), key=lambda n: -notes[n].step):
        note = notes[index]
        if note.accidental:
            column = next((n for n, step in enumerate(lowest) if step - note.step >= 6), len(lowest))
            lowest[column : column + 1] = [note.step]
            found[index] = column
    return found
