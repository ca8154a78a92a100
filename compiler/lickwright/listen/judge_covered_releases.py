"""Releases of bends whose pitch cannot be followed to their end, as where other strings sound over a bend that is held.

In: a `HeardPass`, the Performance and the notes that `judge_gestures.py` judged. Out: the same notes; a release of which that could say nothing is told by the
partials that only the bent pitch has, and those that only the released one has.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from lickwright.listen.combs import stretch_spectrum
from lickwright.listen.expected import ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.second_opinion import own_strengths
from lickwright.notation.techniques import Curve
from lickwright.performance.note_events import NoteEvent, Performance

_LATER = 0.2  # of the time that a release takes: how much longer it may take
_LEAST = 0.06  # seconds after it that are listened to
_LEAST_WAY = 0.9  # semitones between the bent and the released pitch, which nearer ones share their partials
_RINGING = 0.1  # seconds after its end in which another note still sounds
_SOFT = 25.0  # decibels below the loudest
_FEWEST = 3  # partials that only one of the two pitches has
# By how much the pitch that sounds is stronger by its own partials than the one that does not. Of 240 bends that are held and 210 that are released, of the
# sets of tests/bench/listening.py, 9 in 10 are told, and none wrongly.
_MORE = 0.25


class _Release(NamedTuple):
    """Where a release should have come to its end. Times are seconds in the recording."""

    bent: float  # MIDI, as written
    released: float
    others: tuple[float, ...]  # pitches of the notes that sound besides
    first: float
    last: float


def judge_covered_releases(heard: HeardPass, performance: Performance, notes: Sequence[HeardNote], pace: float) -> None:
    """Fill in whether the releases of right notes came down, of which nothing is told yet. `pace`: the seconds played for each second written."""
    events = {event.sound: event for event in performance.notes if event.part == 0}
    for group in heard.groups:
        event = events[group.sounds[0].index]
        note = next(note for note in notes if note.sound.index == event.sound)
        if group.kind is ExpectedKind.SINGLE and note.release_off is None and _is_judged(note, event):
            release = _release_of(heard, note, event, list(events.values()), pace)
            note.release_off = None if release is None else _height_left(heard, release)


def _is_judged(note: HeardNote, event: NoteEvent) -> bool:
    """Return whether a note is right so far, and the last that it does is a release."""
    shapes = note.sound.shapes
    ends_released = bool(shapes) and shapes[-1].technique.curve is Curve.RELEASE and len(event.moves) == len(shapes)
    return ends_released and note.verdict is NoteVerdict.RIGHT


def _release_of(
    heard: HeardPass, note: HeardNote, event: NoteEvent, events: Sequence[NoteEvent], pace: float
) -> _Release | None:
    """Return where the last release of a note should have ended; None where it is too short to tell."""
    move, released = event.moves[-1], event.pitch + note.sound.shapes[-1].amount
    first, last = move.end + _LATER * (move.end - move.start), event.end
    others = tuple(
        e.pitch for e in events if e is not event and e.start < last and e.end > first - _RINGING and e.string != event.string
    )  # fmt: skip
    start, stop = _heard_at(heard, first, pace), _heard_at(heard, last, pace)
    if stop - start < _LEAST or move.change > -_LEAST_WAY:
        return None
    return _Release(released - move.change, released, others, start, stop)


def _heard_at(heard: HeardPass, written: float, pace: float) -> float:
    """Return when an instant of the Performance is heard, by the groups before and after it."""
    told = [(g.at, start) for g, start in zip(heard.groups, heard.times.starts, strict=True) if start is not None]
    at, starts = (list(column) for column in zip(*told, strict=True))
    if written > at[-1]:
        return float(starts[-1] + (written - at[-1]) * pace)
    return float(np.interp(written, at, starts))


def _height_left(heard: HeardPass, release: _Release) -> float | None:
    """Return how many semitones above its end a release stays: all of them or none; None where the ear cannot tell."""
    hearing, higher = heard.hearing, heard.higher
    middle = round((release.first + release.last) / 2 / FRAME)
    if not hearing.features.level[middle : middle + 1].max(initial=-120) > hearing.features.loud - _SOFT:
        return None
    spectrum = stretch_spectrum(hearing.recording, release.first, release.last)
    others = [other + higher for other in release.others]
    pitches = (release.bent + higher, release.released + higher)
    bent, released = (own_strengths(spectrum, p, [*others, q]) for p, q in (pitches, pitches[::-1]))
    if min(bent[1], released[1]) < _FEWEST:
        return None
    if abs(bent[0] - released[0]) < _MORE:
        return None
    return release.bent - release.released if bent[0] > released[0] else 0.0
