"""Which notes of a double stop are right, wrong, missing, or cannot be told.

In: a `Hearing` and a group of two notes with its time. Out: a `HeardNote` for each, judged by the partials that the other note has not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.combs import LATE, Spectrum, partial_levels, stretch_spectrum, without_before
from lickwright.listen.expected import ExpectedGroup, note_bends
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.picks import pitch_hertz
from lickwright.listen.second_opinion import own_strengths
from lickwright.listen.stretches import Hearing
from lickwright.timeline.model import SoundingNote

_NEIGHBORS = (-2, -1, 1, 2)  # semitones: what a note of a double stop is compared with
_OWN = 2  # partials that a note of a double stop must have for itself
_LOOKS = (0.14, 0.26)  # seconds over which a double stop is looked at
_CLEARLY, _VERY_CLEARLY = 0.14, 0.2  # by which a neighbor must be stronger; one of a dull string, which is fainter
_FAINT = 0.4  # strength of a neighbor on a dull string, where half steps can be told
_THERE, _GONE = 0.50, 0.34  # strength of a note of a double stop that is there, and of one that is not
_LOUD = 10 ** (-14 / 20)  # against the loudest partial; that of a missing note is a tenth of it at most
_TURNS = 1.5  # beats between two pitches that a look must last to tell them apart
_RINGING = 0.5  # strength of one that may ring on, so that its new pick cannot be told from it

Views = tuple[Spectrum, Spectrum]  # of what is new, and of all, over one length


def judge_pair(hearing: Hearing, group: ExpectedGroup, start: float, stop: float, higher: float) -> list[HeardNote]:
    """Return the two notes of a double stop that is heard from `start` to `stop` (seconds) on a guitar so many semitones higher."""
    wholes = [stretch_spectrum(hearing.recording, start, min(stop, start + length)) for length in _LOOKS]
    views = [(without_before(hearing.recording, start, whole), whole) for whole in wholes]
    return [
        _judge_one_of_pair(views, sound, pitch, _ways(group, 1 - n), start, higher)
        for n, (sound, pitch) in enumerate(zip(group.sounds, group.pitches, strict=True))
    ]


def _ways(group: ExpectedGroup, n: int) -> tuple[float, ...]:
    """Return the pitches that a note of a group has, half a semitone apart from the lowest to the highest that it comes to."""
    pitch = group.pitches[n]
    reached = [shape.amount for shape in note_bends(group.sounds[n])]
    return tuple(pitch + by for by in np.arange(0, max(reached, default=0.0) + 0.5, 0.5))


def _judge_one_of_pair(
    views: Sequence[Views], sound: SoundingNote, pitch: float, others: Sequence[float], start: float, higher: float
) -> HeardNote:
    """Judge one note of a double stop by the partials that the other, at any of its pitches, has not."""
    note = HeardNote(sound, NoteVerdict.RIGHT, pitch, "", start)
    taken = [other + higher for other in others]
    note.why = _untold_reason(views, sound, pitch + higher, taken)
    if note.why:
        note.verdict = NoteVerdict.UNTOLD
        return note
    clear = [view for view, seconds in zip(views, _LOOKS, strict=True) if _tells_steps(pitch + higher, seconds)]
    faint, clear = (_FAINT if clear else _THERE), clear or list(views)
    by = _stronger_neighbor(clear, pitch + higher, taken, faint)
    if by is not None:
        note.verdict, note.pitch = NoteVerdict.WRONG, pitch + by
    elif _is_gone(clear, pitch + higher, taken) and not _is_loudest(views, pitch + higher, taken):
        note.verdict, note.onset = NoteVerdict.MISSING, None
    return note


def _stronger_neighbor(views: Sequence[Views], pitch: float, taken: Sequence[float], faint: float) -> int | None:
    """Return how many semitones away the pitch is that is clearly stronger than the one of a note, and at least `faint`; None where there is none."""
    here, sounding = (_strength(views, which, pitch, taken) for which in (0, 1))
    free = [by for by in _NEIGHBORS if all(abs(pitch + by - other) > 0.5 for other in taken)]
    best, by = max((_strength(views, 0, pitch + by, taken), by) for by in free)
    if best <= here + (_CLEARLY if best > _THERE else _VERY_CLEARLY) or best <= faint:
        return None
    return by if _strength(views, 1, pitch + by, taken) > sounding - _CLEARLY else None


def _is_gone(views: Sequence[Views], pitch: float, taken: Sequence[float]) -> bool:
    """Return whether little of a note is new, and little of it sounds."""
    return _strength(views, 0, pitch, taken) < _GONE and _strength(views, 1, pitch, taken) < _RINGING


def _untold_reason(views: Sequence[Views], sound: SoundingNote, pitch: float, taken: Sequence[float]) -> str:
    """Return why a note cannot be told; "" where it can."""
    if note_bends(sound):
        return "bent notes of a double stop"
    few = own_strengths(views[0][0], pitch, taken)[1] < _OWN
    return "notes of a double stop that share their overtones" if few else ""


def _strength(views: Sequence[Views], which: int, pitch: float, taken: Sequence[float]) -> float:
    """Return how strong a pitch is by the partials of its own, the strongest of several views; `which` is 0 for what is new, 1 for all."""
    found = [own_strengths(both[which], pitch, taken) for both in views]
    return max((value for value, partials in found if partials >= _OWN), default=0.0)


def _tells_steps(pitch: float, seconds: float) -> bool:
    """Return whether a look of so many seconds can tell a pitch from the one a half step above it."""
    return (seconds - LATE) * pitch_hertz(pitch) * (2 ** (1 / 12) - 1) > _TURNS


def _is_loudest(views: Sequence[Views], pitch: float, others: Sequence[float]) -> bool:
    """Return whether the lowest partial of a note is one of the loudest that are new, and no partial of the other notes."""
    near = [abs(pitch - other - 12 * np.log2(n)) for other in others for n in range(1, 9)]
    if min(near) < 1.0:
        return False
    return all(partial_levels(new, pitch, 1)[0] >= _LOUD * new.max() for new, _ in views)
