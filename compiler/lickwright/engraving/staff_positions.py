"""What a staff of notes shows: where each note lies, with which accidental, under which clef.

In: the stops of a lick's bars. Out: for each stop its `StaffNote`s. A guitar is written an octave above its sound, as a bass is. Pitches are as
fingered, without the capo; a bend is written at the pitch that is fretted.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lickwright.engraving.stops import BarStops, NoteMark, Stop
from lickwright.layout.grid import Grid
from lickwright.music.pitch import PLAIN_NAMES, Key, NoteName, note_name
from lickwright.timeline.model import Timeline

_LETTERS = "CDEFGAB"
_OCTAVE = 12  # semitones that the instrument is written above its sound
_BASS_BELOW = 50  # MIDI pitch of the thinnest string: below, the bass clef is used
# Steps of a signature's accidentals from the middle line of a G clef, in order of writing.
_SHARPS, _FLATS = (4, 1, 5, 2, -1, 3, 0), (0, 3, -1, 2, -2, 1, -3)
ACCIDENTALS = {0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "double-flat"}


class Clef(NamedTuple):
    """A clef and the note on the middle line."""

    sign: str
    middle: int  # steps above C0
    shift: int  # of the signature's accidentals, against the G clef


G_CLEF, F_CLEF = Clef("g-clef", 34, 0), Clef("f-clef", 22, -2)


class StaffNote(NamedTuple):
    """One note head."""

    step: int  # from the middle line, upwards
    accidental: str  # the sign before it, or ""
    mark: NoteMark

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
    for bar in bars:
        known: dict[int, int] = {}  # by step: what the bar has changed
        found.append(
            [
                tuple(_note(mark, _pitch(grid.timeline, mark), key, clef, known) for mark in stop.marks)
                for stop in bar.stops
            ]
        )
    return found


def _pitch(timeline: Timeline, mark: NoteMark) -> int:
    """The pitch that is written: the fretted one; of a natural harmonic the one that sounds, of a dead note the open string's."""
    sound = mark.sound
    if sound.fret is None or sound.dead:
        return round(sound.pitch) + _OCTAVE
    return timeline.settings.tuning.open(sound.string) + sound.fret + _OCTAVE


def _note(mark: NoteMark, pitch: int, key: Key | None, clef: Clef, known: dict[int, int]) -> StaffNote:
    name = PLAIN_NAMES[pitch % 12] if key is None else note_name(pitch, key)
    step = _steps(pitch, name) - clef.middle
    usual = known.get(step, _in_signature(name.letter, key))
    if mark.held or name.alter == usual or mark.sound.dead:
        return StaffNote(step, "", mark)
    known[step] = name.alter
    return StaffNote(step, ACCIDENTALS[max(-2, min(2, name.alter))], mark)


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
    right = space * (1.9 if has_seconds(notes) else 0.9)
    return stop._replace(left=max(stop.left, left), right=max(stop.right, right))


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
