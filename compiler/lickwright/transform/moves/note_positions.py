"""The written notes of a lick, and the places that they are given.

In: a counted lick. Out: its sounds once each, and `NotePositions`. Chooses nothing.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import field, record
from lickwright.notation.techniques import Technique
from lickwright.timeline.model import SoundingNote, Timeline


@record
class NotePositions:
    """A string and a fret for every note, and what could not be kept."""

    at: dict[int, tuple[int, int | None]]  # sound's index → string and fret; None where it had no fret
    semitones: int
    said: tuple[str, ...] = ()
    # sound's index → how it begins now, where it is no longer connected
    begins: dict[int, Technique] = field(default_factory=dict)


def stopped_fret(sound: SoundingNote) -> int | None:
    """Return the fret that the fretting hand stops, 0 for an open string; None for a dead note without one."""
    return 0 if sound.fret is None and sound.touch is not None else sound.fret


def written_sounds(timeline: Timeline) -> list[SoundingNote]:
    """Return the sounds that are written, those of repeats and the strokes of rakes left out."""
    return [sound for sound in timeline.sounds if sound.pass_no == 0 and sound.kind != "rake"]


def has_pitch(sound: SoundingNote) -> bool:
    """Return whether a sound has a pitch to keep."""
    return not sound.dead and stopped_fret(sound) is not None
