"""What in a note differs from the lick, by the limits from which on it is said.

In: a `HeardNote` with its measurements. Out: `Deviation`s, from which the score, the remarks and the report follow, so that they cannot disagree.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from lickwright.compare.model import DifferenceKind
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.notation.techniques import Curve, Stroke
from lickwright.timeline.model import SoundingNote

LATE = 0.060  # seconds from which on a note is late or early; a joined note, whose beginning is softer, from
LATE_JOINED = 0.090
LATE_SLID = 0.150  # one that is slid into, which arrives over a good part of that
FLAT = 0.36  # semitones from which on a bend is flat or sharp
NO_BEND = 0.4  # share of its way that a bend must go to be one
HALF_STEP_OFF = 0.75  # semitones from which on a bend arrives at another note
LATE_BEND = 0.070  # seconds
LATE_RELEASE = 0.100  # seconds
PICKED_UNBENT = 0.5  # share of its way at which the string of a pre-bend is picked too soon
UNRELEASED = 0.5  # semitones above where a release should end
NO_VIBRATO = 0.12  # semitones of width below which there is none
NARROW, NARROW_LESS = 0.4, 0.04  # share of its width, and semitones taken off that


class Deviation(NamedTuple):
    """One thing that differs."""

    kind: DifferenceKind
    about: str  # "note", "time", "bend", "late bend", "pre-bend", "release", "late release", "vibrato"


def note_deviations(note: HeardNote) -> list[Deviation]:
    """Return what differs in a note; nothing of one that the ear cannot tell."""
    if note.verdict is NoteVerdict.UNTOLD:
        return []
    if note.verdict is NoteVerdict.MISSING:
        return [Deviation(DifferenceKind.MISSING, "note")]
    return [found for check in _CHECKS if (found := check(note)) is not None]


def _wrong(note: HeardNote) -> Deviation | None:
    return Deviation(DifferenceKind.NOTE, "note") if note.verdict is NoteVerdict.WRONG else None


def _out_of_time(note: HeardNote) -> Deviation | None:
    if note.late is None or abs(note.late) < _time_limit(note.sound):
        return None
    return Deviation(DifferenceKind.LATE if note.late > 0 else DifferenceKind.EARLY, "time")


def _time_limit(sound: SoundingNote) -> float:
    if sound.begin.curve is Curve.GLIDE and sound.begin.stroke is Stroke.NONE:
        return LATE_SLID
    return LATE if sound.source is None else LATE_JOINED


def _bend(note: HeardNote) -> Deviation | None:
    if note.bend_wanted is None or note.bend_reached is None:
        return None
    off = abs(note.bend_reached - note.bend_wanted)
    if off >= HALF_STEP_OFF or is_bend_missing(note.bend_wanted, note.bend_reached):
        return Deviation(DifferenceKind.BEND, "bend")
    return Deviation(DifferenceKind.INTONATION, "bend") if off >= FLAT else None


def is_bend_missing(wanted: float, reached: float) -> bool:
    """Return whether a bend did not go far enough to be one, in semitones."""
    return reached < NO_BEND * wanted


def _late_bend(note: HeardNote) -> Deviation | None:
    late = note.bend_late is not None and note.bend_late >= LATE_BEND
    return Deviation(DifferenceKind.LATE, "late bend") if late else None


def _pre_bend(note: HeardNote) -> Deviation | None:
    wanted, reached, picked = note.bend_wanted, note.bend_reached, note.bend_picked
    if wanted is None or reached is None or picked is None or is_bend_missing(wanted, reached):
        return None
    return Deviation(DifferenceKind.TECHNIQUE, "pre-bend") if picked < PICKED_UNBENT * reached else None


def _release(note: HeardNote) -> Deviation | None:
    up = note.release_off is not None and note.release_off >= UNRELEASED
    return Deviation(DifferenceKind.INTONATION, "release") if up else None


def _late_release(note: HeardNote) -> Deviation | None:
    late = note.release_late is not None and note.release_late >= LATE_RELEASE and _release(note) is None
    return Deviation(DifferenceKind.LATE, "late release") if late else None


def _vibrato(note: HeardNote) -> Deviation | None:
    if note.vibrato_wanted is None or note.vibrato_width is None:
        return None
    poor = note.vibrato_width < max(NO_VIBRATO, NARROW * note.vibrato_wanted - NARROW_LESS)
    return Deviation(DifferenceKind.TECHNIQUE, "vibrato") if poor else None


_CHECKS: tuple[Callable[[HeardNote], Deviation | None], ...] = (
    _wrong,
    _out_of_time,
    _bend,
    _late_bend,
    _pre_bend,
    _release,
    _late_release,
    _vibrato,
)
