"""Swung phrases as they sound, so that a shuffle can be compared with triplets or 12/8 that spell it out.

In: a Timeline. Out: one whose sounds are moved to where the feel puts them, on a finer grain; its bars and slots stay as
written, so only its sounds are of use.
"""

from __future__ import annotations

from lickwright.core.fast_dataclass import replace
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.timeline.swing import swing_of


def has_long_short_pairs(timeline: Timeline) -> bool:
    """Return whether pairs of notes are played long and short."""
    long, short = timeline.settings.feel.ratio
    return long != short


def swung_sounds(timeline: Timeline) -> Timeline:
    """Return the lick with its sounds where a player puts them, on a finer grain; a straight lick as it is."""
    if not has_long_short_pairs(timeline):
        return timeline
    swing = swing_of(timeline)
    heard = swing.heard_at

    def sounding(sound: SoundingNote) -> SoundingNote:
        shapes = [replace(s, start=heard(s.start), end=heard(s.end)) for s in sound.shapes]
        return replace(sound, start=heard(sound.start), end=heard(sound.end), shapes=shapes)

    return replace(timeline, grain=timeline.grain * swing.parts, sounds=tuple(map(sounding, timeline.sounds)))
