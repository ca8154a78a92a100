"""The notes of a lick that are written, and the places they are given.

In: a counted lick. Out: its sounds once each, and `Places`. Chooses nothing.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import field, record
from lickwright.notation.techniques import Technique
from lickwright.timeline.model import SoundingNote, Timeline


@record
class NotePositions:
    """A place for every note."""

    at: dict[int, tuple[int, int | None]]  # sound's index → string and fret; None where it had no fret
    semitones: int
    said: tuple[str, ...] = ()
    begins: dict[int, Technique] = field(
        default_factory=dict
    )  # sound's index → how it begins now, where it is no longer connected


def stopped_fret(sound: SoundingNote) -> int | None:
    """The fret that the fretting hand stops; None for a dead note without one."""
    return 0 if sound.fret is None and sound.touch is not None else sound.fret


def written_sounds(timeline: Timeline) -> list[SoundingNote]:
    """The sounds that are written: those of repeats say the same again."""
    return [sound for sound in timeline.sounds if sound.pass_no == 0 and sound.kind != "rake"]


def has_pitch(sound: SoundingNote) -> bool:
    """Whether it has a pitch to keep."""
    return not sound.dead and stopped_fret(sound) is not None
