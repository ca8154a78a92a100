"""Where the pitch of one note goes, as bend values at ticks: the costly part of a MIDI file, worked out once for notes that move alike.

In: the tempo, how long the note lasts and its moves, all counted from where it begins. Out: `BendShape`. Knows no channels and no
notes, so that every string and every lick that moves in the same way shares one.
"""

from __future__ import annotations

from functools import lru_cache
from math import floor
from typing import NamedTuple

from lickwright.export.midi.smf import Run, pack_runs
from lickwright.export.midi.ticks import Pace, Ticks
from lickwright.performance.note_events import NoteEvent
from lickwright.performance.pitch_curves import PitchRamp, pitch_offsets

BEND_RANGE = 12  # semitones that a full bend message means, up and down
CENTRE, FULL = 8192, 16383  # bend values of no bend and of the highest one
A_SEMITONE = CENTRE / BEND_RANGE  # bend units
AUDIBLE = 0.05  # semitones: a smaller error of pitch is not reported
# Of a note whose bends are kept for others like it: 1,024 of them take 26 MB at most. Tempos count as moves do.
MAX_SHARED_SECONDS, MAX_SHARED_TICKS, MAX_SHARED_MOVES = 10.0, 1 << 13, 8
_PARTS = 1e12  # of a second, by which places are told apart: more than floating point errs, less than a bend can show


class BendShape(NamedTuple):
    """The bend values of one note."""

    first: int  # at its beginning
    last: int  # that it ends on
    farthest: float  # semitones that it goes off its MIDI note, where they are more than a bend reaches; else 0
    runs: tuple[Run, ...]  # the values after the first that differ from the one before, at ticks from its beginning


def rounded_seconds(seconds: float) -> float:
    """Return seconds counted from a note's start, rounded so that notes that move alike have the same."""
    return round(seconds * _PARTS) / _PARTS


def moves_from(note: NoteEvent) -> tuple[PitchRamp, ...]:
    """Return the moves of a note in seconds from its start, rounded as `rounded_seconds` does."""
    begin, new = note.start, tuple.__new__  # PitchRamp(…) takes twice as long
    return tuple(
        [
            new(
                PitchRamp,
                (round((start - begin) * _PARTS) / _PARTS, round((end - begin) * _PARTS) / _PARTS, change, shape),
            )
            for start, end, change, shape in note.moves
        ]
    )


def bend_shape(
    tempos: tuple[Pace, ...], length: float, off: int, away: float, moves: tuple[PitchRamp, ...]
) -> BendShape:
    """Return what `_make_bend_shape` does; only what takes little memory is kept for other notes."""
    is_short = length <= MAX_SHARED_SECONDS and off <= MAX_SHARED_TICKS
    is_small = is_short and max(len(moves), len(tempos)) <= MAX_SHARED_MOVES
    return (shared_bend_shape if is_small else _make_bend_shape)(tempos, length, off, away, moves)


def _make_bend_shape(
    tempos: tuple[Pace, ...], length: float, off: int, away: float, moves: tuple[PitchRamp, ...]
) -> BendShape:
    """Return the bends of a note that lasts `length` seconds and ends before tick `off`, struck `away` semitones above its MIDI note.

    Each value is exact at its own tick, and every move ends on its target.
    """
    during = Ticks(tempos).during
    at, seconds = [0], [0.0]
    for begins, ends, _, _ in moves:
        start, end = max(0.0, begins), min(length, ends)
        if start <= end:  # a stroke of a tremolo has its share of what moves all of them
            during(at, seconds, start, end)
    if len(moves) > 1:  # moves may overlap; ticks and seconds have the same order
        at.sort()
        seconds.sort()
    while len(at) > 1 and at[-1] >= off:
        at.pop()
        seconds.pop()
    own = CENTRE + away * A_SEMITONE + 0.5
    values = [floor(own + offset * A_SEMITONE) for offset in pitch_offsets(moves, seconds)]
    farthest = 0.0
    if abs(away) + sum([abs(change) for _, _, change, _ in moves]) >= BEND_RANGE - 1:  # else no value can be too far
        farthest = max(max(values) - CENTRE, CENTRE - min(values)) / A_SEMITONE
        if farthest > BEND_RANGE - AUDIBLE:  # a full bend down, or up but for the last step of the scale, is still kept
            values = [min(FULL, max(0, value)) for value in values]
    return BendShape(values[0], values[-1], farthest, pack_runs(at, values))


shared_bend_shape = lru_cache(maxsize=1024)(_make_bend_shape)
