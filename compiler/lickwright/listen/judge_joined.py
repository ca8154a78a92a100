"""Joined notes whose beginning is not heard, as where a slide stops a fret short: at which pitch the finger comes to rest.

In: a `HeardPass` and a joined group. Out: the pitch and when it is there. What stays at the pitch of the note before was not joined to at all.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lickwright.listen.expected import ExpectedKind, note_bends
from lickwright.listen.features import FRAME
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.second_opinion import is_misheard
from lickwright.listen.stretches import PICKED

_SETTLED, _LONGEST = 0.06, 0.40  # seconds after it should begin from which, and until which, a joined note is looked at
_LEAST = 0.08  # seconds that tell a pitch
_AHEAD = 0.02  # seconds before the next note that are left out
_CLEAR = 0.8  # clarity of a string that sounds alone
_STEADY, _MOSTLY = 0.3, 0.8  # semitones around their middle, and the share of all frames that lies there
_ANOTHER = 0.6  # semitones from which on it is another note
_FARTHEST = 5.0  # semitones that a finger is off
_SOFT = 30.0  # decibels below the loud parts


class Arrival(NamedTuple):
    """Where a finger came to rest instead."""

    pitch: float  # MIDI, as written
    at: float  # seconds


def wrong_arrival(heard: HeardPass, n: int) -> Arrival | None:
    """Return where the finger comes to rest in the time of a joined note; None where it is at its own pitch or the one before, or cannot be told."""
    pitch = _resting_pitch(heard, n)
    if pitch is None or abs(pitch - heard.groups[n].pitches[0]) > _FARTHEST:
        return None
    known = (heard.groups[n].pitches[0], *_pitches_before(heard, n))
    if any(abs(pitch - other) < _ANOTHER or is_misheard(pitch, other) for other in known):
        return None
    return Arrival(pitch, heard.place(n))


def stays_unjoined(heard: HeardPass, n: int) -> bool:
    """Return whether the note before a joined one clearly goes on in its time."""
    pitch, own = _resting_pitch(heard, n), heard.groups[n].pitches[0]
    return pitch is not None and any(
        abs(pitch - other) < _STEADY and abs(own - other) > _ANOTHER for other in _pitches_before(heard, n)
    )


def _pitches_before(heard: HeardPass, n: int) -> tuple[float, float]:
    """Return the pitch of the note before a group, and the one that it is bent to at its end."""
    before = heard.groups[n - 1]
    bends = note_bends(before.sounds[0])
    return before.pitches[0], before.pitches[0] + (bends[-1].amount if bends else 0.0)


def _resting_pitch(heard: HeardPass, n: int) -> float | None:
    """Return the steady pitch in the time of a joined note, where no string is struck then; None where there is none."""
    group, at, hearing = heard.groups[n], heard.place(n), heard.hearing
    alone = all(one.kind is ExpectedKind.SINGLE for one in heard.groups[max(0, n - 1) : n + 1])
    if group.struck or not n or not alone or note_bends(group.sounds[0]) or heard.times.starts[n - 1] is None:
        return None
    after = heard.around(n)[1]
    start = at + _SETTLED
    stop = min(at + _LONGEST, hearing.recording.seconds if after is None else heard.place(after)) - _AHEAD
    struck = (hearing.picks > PICKED) & (hearing.starts[:-1] > at) & (hearing.starts[:-1] < stop)
    if stop - start < _LEAST or struck.any():
        return None
    frames, features = slice(round(start / FRAME), round(stop / FRAME)), hearing.features
    pitches = features.pitch[frames] - heard.higher
    clear = (features.clarity[frames] > _CLEAR) & (features.level[frames] > features.loud - _SOFT)
    if not clear.any():
        return None
    middle = float(np.median(pitches[clear]))
    steady = clear & (np.abs(pitches - middle) < _STEADY)
    return middle if steady.mean() > _MOSTLY else None
