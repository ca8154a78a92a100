"""Whether a moved lick still is the same music.

In: the lick as counted before and after. Out: yes or no. Says nothing about how it is fingered.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.timeline.model import SoundingNote, Timeline

_TOLERANCE = 0.01  # semitones: bends and harmonics are floating point


def is_same_music(old: Timeline, new: Timeline, semitones: int | None, parted: set[int]) -> bool:
    """Return whether the same sounds come at the same times, joined alike; with `semitones`, each so much higher.

    `parted` are the indices of sounds in `old` that may be struck anew instead of connected.
    """
    ours, theirs = _by_pitch(old), _by_pitch(new)
    if [_times(sound, old) for sound in ours] != [_times(sound, new) for sound in theirs]:
        return False
    again = {old.sounds[n].span for n in parted}  # a repeat plays them once more
    struck = {sound.index for sound in ours if sound.span in again}
    if _connections(ours, struck) != _connections(theirs, set()):
        return False
    return semitones is None or all(
        a.dead or abs(_sounding_pitch(a, old) + semitones - _sounding_pitch(b, new)) <= _TOLERANCE
        for a, b in zip(ours, theirs, strict=True)
    )


def _by_pitch(timeline: Timeline) -> list[SoundingNote]:
    """Return the notes in an order that does not depend on their strings."""
    sounds = [sound for sound in timeline.sounds if sound.kind != "rake"]
    return sorted(sounds, key=lambda s: (timeline.fraction(s.start), -s.lead, s.dead, s.pitch, -s.string))


def _times(sound: SoundingNote, timeline: Timeline) -> tuple[Fraction, Fraction]:
    return timeline.fraction(sound.start), timeline.fraction(sound.end)


def _connections(sounds: list[SoundingNote], struck: set[int]) -> list[int | None]:
    """Return for each sound the number of the one that it is connected to: None where it is struck, -1 where that is a rake stroke."""
    numbers = {sound.index: n for n, sound in enumerate(sounds)}
    return [
        None if sound.source is None or sound.index in struck else numbers.get(sound.source, -1) for sound in sounds
    ]


def _sounding_pitch(sound: SoundingNote, timeline: Timeline) -> float:
    return sound.pitch + timeline.settings.tuning.shift + timeline.settings.capo
