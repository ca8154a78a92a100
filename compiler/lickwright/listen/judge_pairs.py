"""Which notes of a double stop are right, wrong, missing, or cannot be told.

In: a `Hearing` and a group of two notes with its time. Out: a `HeardNote` for each. The written pitch of a note is held against those near it by the partials
that only one of them has and the other note of the double stop has not, in what is new and in all that sounds: a string that rings on is not new, and the
tones that an overdriven amplifier makes of two strings come besides the strings themselves. The limits are of 420 wrong notes, 110 missing and 3,000 right
ones of scratch takes by two generators, on 25 guitars in 25 rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.combs import partial_levels
from lickwright.listen.expected import ExpectedGroup, note_bends
from lickwright.listen.model import UNHEARD, HeardNote, NoteVerdict
from lickwright.listen.second_opinion import Look, look_at, own_strengths
from lickwright.listen.stretches import Hearing
from lickwright.timeline.model import SoundingNote

_NEIGHBORS = (-5, -4, -3, -2, -1, 1, 2, 3, 4, 5)  # semitones: what a note of a double stop is held against
_OWN = 2  # partials that a pitch must have for itself
# By how much another pitch must be the stronger one: of right notes none has more than 0.03, of wrong ones 98 in 100 have. And how strong it must be: of wrong
# ones 99 in 100 are, and 9 in 10 of what is stronger than a missing note is not.
_CLEARLY, _FAINT = 0.10, 0.30
# Strength of another pitch that sounds instead of a note which shares all its partials with the other note: of 290 right ones one has more than 0.25, wrong
# ones have 0.5 at least.
_ALONE = 0.45
# Strength of a note in what is new, and in all that sounds, of one that is not there, and of one that may not be: of notes that were left out 9 in 10 have
# less than the first, 98 in 100 less than the second; of right ones 1 in 1,000 has less than the first, 1 in 300 less than the second.
_GONE, _DOUBTFUL = (0.28, 0.33), (0.34, 0.35)
_LOUD = 10 ** (-14 / 20)  # against the loudest partial; that of a missing note is a tenth of it at most


class _Other(NamedTuple):
    """A pitch that may sound instead of a written one."""

    by: int  # semitones; 0 where there is none
    surplus: float  # by how much it is clearer than it must be, as a strength


_NONE = _Other(0, 0.0)


def judge_pair(hearing: Hearing, group: ExpectedGroup, start: float, stop: float, higher: float) -> list[HeardNote]:
    """Return the two notes of a double stop that is heard from `start` to `stop` (seconds) on a guitar so many semitones higher."""
    look = look_at(hearing.recording, start, stop)
    ways = [[pitch + higher for pitch in _ways(group, n)] for n in (0, 1)]
    played = _likeliest(look, ways)
    return [
        _judge_one(look, group, n, played[n], [way + played[1 - n] for way in ways[1 - n]], start, higher)
        for n in (0, 1)
    ]


def _ways(group: ExpectedGroup, n: int) -> tuple[float, ...]:
    """Return the pitches that a note of a group has, half a semitone apart from the lowest to the highest that it comes to."""
    pitch = group.pitches[n]
    reached = [shape.amount for shape in note_bends(group.sounds[n])]
    return tuple(pitch + by for by in np.arange(0, max(reached, default=0.0) + 0.5, 0.5))


def _likeliest(look: Look, ways: Sequence[Sequence[float]]) -> tuple[int, int]:
    """Return by how many semitones something else sounds than each note of a double stop: of all readings the one in which it is clearest.

    A wrong note may be near both written ones, or an octave off a pitch near the other, so each is held against what the other one would be then. None is
    read as the other's written pitch, since the two would only change places. A second wrong note counts for a reading only where both are off by the same,
    as of a hand that is a fret too high.
    """
    found, best = (0, 0), 0.0
    for n in (0, 1):
        for by, _ in _other_pitches(look, ways[n], ways[1 - n]):
            moved = [way + by for way in ways[n]]
            there = [
                other
                for other in _other_pitches(look, ways[1 - n], moved)
                if not _is_one_of(ways[1 - n][0] + other.by, ways[n])
            ]
            other = max(there, key=lambda other: other.surplus, default=_NONE)
            (pitch,) = ways[n]
            surplus = _surplus(look, pitch, pitch + by, [way + other.by for way in ways[1 - n]])
            told = surplus + (other.surplus if other.by == by else 0.0)
            if surplus > 0 and told > best:
                found, best = (by, other.by) if n == 0 else (other.by, by), told
    return found


def _is_one_of(pitch: float, others: Sequence[float]) -> bool:
    return any(abs(pitch - other) < 0.5 for other in others)


def _other_pitches(look: Look, ways: Sequence[float], taken: Sequence[float]) -> list[_Other]:
    """Return the pitches near a written one that clearly sound instead of it, by what neither it nor the pitches `taken` share; none of a bent note."""
    if len(ways) > 1:
        return []
    (pitch,) = ways
    free = [by for by in _NEIGHBORS if not _is_one_of(pitch + by, taken)]
    found = (_Other(by, _surplus(look, pitch, pitch + by, taken)) for by in free)
    return [other for other in found if other.surplus > 0]


def _judge_one(
    look: Look, group: ExpectedGroup, n: int, by: int, taken: Sequence[float], start: float, higher: float
) -> HeardNote:
    """Judge one note of a double stop that sounds `by` semitones higher, and whose other note has the pitches `taken`."""
    sound, written = group.sounds[n], group.pitches[n]
    note, pitch = HeardNote(sound, NoteVerdict.RIGHT, written, "", start), written + higher
    if by:
        note.verdict, note.pitch = NoteVerdict.WRONG, written + by
        return note
    note.why = _untold_reason(look, sound, pitch, taken)
    if note.why:
        note.verdict = NoteVerdict.UNTOLD
    elif _is_faint(look, pitch, taken, _GONE) and not _is_loudest(look, pitch, taken):
        note.verdict, note.onset = NoteVerdict.MISSING, None
    return note


def _untold_reason(look: Look, sound: SoundingNote, pitch: float, taken: Sequence[float]) -> str:
    """Return why it cannot be told whether a note is there; "" where it can."""
    if note_bends(sound):
        return "bent notes of a double stop"
    if own_strengths(look.new, pitch, taken)[1] < _OWN:
        return "notes of a double stop that share their overtones"
    faint = _is_faint(look, pitch, taken, _DOUBTFUL) and not _is_faint(look, pitch, taken, _GONE)
    return UNHEARD if faint and not _is_loudest(look, pitch, taken) else ""


def _surplus(look: Look, pitch: float, other: float, taken: Sequence[float]) -> float:
    """Return by how much another pitch is clearer than it must be to sound instead of a written one."""
    there = look.strengths(other, [*taken, pitch])
    if own_strengths(look.new, pitch, taken, look.apart)[1] < _OWN:
        return min(there) - _ALONE if len(taken) == 1 else -1.0  # where the other note is bent, it may pass this pitch
    here = look.strengths(pitch, [*taken, other])
    return min(there[0] - _FAINT, *(one - none - _CLEARLY for one, none in zip(there, here, strict=True)))


def _is_faint(look: Look, pitch: float, taken: Sequence[float], limits: tuple[float, float]) -> bool:
    """Return whether less of a note than these strengths is new, and sounds at all."""
    strengths = (own_strengths(spectrum, pitch, taken)[0] for spectrum in look[:2])
    return all(strength < limit for strength, limit in zip(strengths, limits, strict=True))


def _is_loudest(look: Look, pitch: float, others: Sequence[float]) -> bool:
    """Return whether the lowest partial of a note is one of the loudest that are new, and no partial of the other notes."""
    near = [abs(pitch - other - 12 * np.log2(n)) for other in others for n in range(1, 9)]
    return min(near) >= 1.0 and bool(partial_levels(look.new, pitch, 1)[0] >= _LOUD * look.new.max())
