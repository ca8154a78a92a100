"""Where the hand goes to another position along a string that a finger still touches: on a wound string that is heard.

In: a Timeline. Out: the notes before which it does, and how far. Whether that makes a sound is `synth/automation.py`'s business.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.core.keep_last import keep_last
from lickwright.hand.fingering import hand_for, hand_moments, is_fretted, plan_fingering
from lickwright.timeline.model import SoundingNote, Timeline

FEWEST = 2  # frets that the hand goes for another finger's note; for less it only opens or closes


@keep_last
def hand_shifts(timeline: Timeline) -> dict[int, int]:
    """Return by how many frets, up the neck or down, the hand comes along the string for a note, by its index in `Timeline.sounds`.

    That is for a note that is struck anew after another fretted note of its string: as far as their finger goes where it is the same, else as the hand
    does. A finger that was on another string in between was lifted. A slide is no such note: its finger presses, and it sounds. Whether the note before
    lasts until the shift depends on the tempo, and is not asked here.
    """
    before = _notes_before(timeline)
    if not before:
        return {}
    moments, groups = hand_moments(timeline)
    plan = plan_fingering(moments, hand_for(timeline))
    held: dict[int, _Held] = {}  # by sound
    last: dict[int, SoundingNote] = {}  # what each finger played last
    found = {}
    for sounds, fingers, position in zip(groups, plan.fingers, plan.position, strict=True):
        pressed = [
            _Held(s, finger, position) for s, finger in zip(sounds, fingers, strict=True) if finger and is_fretted(s)
        ]
        for now in pressed:
            held[now.sound.index] = now
            source = before.get(now.sound.index)
            was = held.get(source.index) if source is not None else None
            if was is not None and _stayed(last.get(was.finger), was.sound) and (way := _way(was, now)):
                found[now.sound.index] = way
        last |= {now.finger: now.sound for now in pressed}
    return found


class _Held(NamedTuple):
    """A note that a finger presses."""

    sound: SoundingNote
    finger: int
    position: int  # of the hand


def _way(was: _Held, now: _Held) -> int:
    """Return by how many frets the finger of `was` comes along for `now`; 0 where it does not."""
    if was.finger == now.finger:
        return (now.sound.fret or 0) - (was.sound.fret or 0)
    way = now.position - was.position
    return way if abs(way) >= FEWEST else 0


def _notes_before(timeline: Timeline) -> dict[int, SoundingNote]:
    """Return the fretted notes that are followed on their string by a fretted one, struck anew at another fret, by the index of that one."""
    found = {}
    on_string: dict[int, SoundingNote] = {}
    for sound in timeline.sounds:
        before = on_string.get(sound.string)
        on_string[sound.string] = sound
        if before is None or sound.source is not None or not (is_fretted(before) and is_fretted(sound)):
            continue
        if before.fret != sound.fret and sound.start > before.start:
            found[sound.index] = before
    return found


def _stayed(last: SoundingNote | None, source: SoundingNote) -> bool:
    """Return True if a finger that played `last` is still on the string of `source`: they are one, or it lies across both."""
    return last is not None and (last is source or (last.start == source.start and last.fret == source.fret))
