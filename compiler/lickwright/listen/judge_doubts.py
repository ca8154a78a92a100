"""Verdicts that are taken back: a note called missing that may have been played, and one called wrong that may have been another string.

In: a `HeardPass` and its notes. Out: the notes, some of them right or untold now. The limits are of some 100 notes that were left out, 80 that were wrong and
40 that were neither, of the sets of tests/bench/listening.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.entries import DOUBTFUL_STRENGTH, RISEN
from lickwright.listen.expected import ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.heard_pass import AROUND, ON_TIME, SHARP, HeardPass
from lickwright.listen.judge_notes import UNHEARD
from lickwright.listen.model import HeardNote, NoteVerdict

_FARTHER = 0.150  # seconds on either side of the expected time in which an early or late note may enter
_FAINT = -20.0  # strength of an entry, of wrong notes at least -17
_CLEARLY_OWN = 10.0  # decibels by which the expected pitch enters more strongly than the one that was heard
_UNSTRUCK = -1.5  # odds of a pick below which a note that should be struck is the ring of another
_STRUCK = 6.0  # decibels that the high band rises by farther away, where nothing else is played: 5 at most where a note was left out
_RENEWED = -1.3  # odds that a string is struck again: of those that are 1 in 100 has less, of those that only ring on 1 in 50 has more
_TOLD = 0.12  # seconds that a joined note must have before the next one to be called missing
_SETTLED, _LOOK = (
    0.05,
    0.22,
)  # seconds after a joined note should begin in which it is seen whether the one before goes on
_GOES_ON = 0.75  # share of these in which it does
_OWN = 0.25  # share of these that the joined note may have for itself
_CLEAR, _NEAR = 0.72, 0.6  # clarity, and semitones
_SILENT = -30.0  # decibels against the loud parts
_RINGS = 0.08  # seconds after an attack in which what was struck is heard


def take_back_doubts(heard: HeardPass, notes: Sequence[HeardNote]) -> None:
    """Let each note that is called missing or wrong be right, or untold, where that is in doubt."""
    by_sound = {note.sound.index: note for note in notes}
    for n, group in enumerate(heard.groups):
        here = [by_sound[sound.index] for sound in group.sounds]
        wrong = any(note.verdict is NoteVerdict.WRONG for note in here)
        if wrong and (heard.times.begins[n] is None or _is_another_string(heard, n, here[0])):
            _leave_untold(here)
        missing = group.kind is ExpectedKind.SINGLE and here[0].verdict is NoteVerdict.MISSING
        if missing and not heard.is_jumped_over(n):
            _judge_missing(heard, n, here[0])


def _leave_untold(notes: Sequence[HeardNote]) -> None:
    for note in notes:
        note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD


def _is_another_string(heard: HeardPass, n: int, note: HeardNote) -> bool:
    """Return whether a single note is heard as a pitch that does not begin with it, or begins far less than its own does."""
    group, start, begin = heard.groups[n], heard.times.starts[n], heard.times.begins[n]
    if group.kind is not ExpectedKind.SINGLE or start is None or note.pitch is None:
        return False
    if begin is not None and group.struck and heard.hearing.picks[begin] < _UNSTRUCK:
        return True
    window, own_pitch = (start - ON_TIME, start + ON_TIME), group.pitches[0]
    other = heard.entry(window, note.pitch, [own_pitch])
    own = heard.entry(window, own_pitch, [note.pitch])
    if other is None:
        return False
    clearly = own is not None and own.rise > RISEN and own.strength > other.strength + _CLEARLY_OWN
    return other.rise < RISEN or other.strength < _FAINT or clearly


def _judge_missing(heard: HeardPass, n: int, note: HeardNote) -> None:
    """Let a note that is called missing be right where it enters where it begins, and untold where it may have entered."""
    at = heard.place(n)
    (entry,) = heard.entries(n, at, AROUND)
    start = heard.times.starts[n]
    told = entry is not None and not heard.rings(n)
    if told and entry is not None and entry.is_sure and start is not None:
        note.verdict, note.onset = NoteVerdict.RIGHT, start
    elif _may_have_entered(heard, n, at, told) or _is_lost(heard, n, at):
        _leave_untold([note])


def _may_have_entered(heard: HeardPass, n: int, at: float, told: bool) -> bool:
    """Return whether a note may have entered where it should, or farther away; `told`: its partials tell it from what sounds around it."""
    if not told and (heard.renewal(n, at)[0] > _RENEWED or heard.sharpest(at - AROUND, at + AROUND)[0] > SHARP):
        return True
    sharp, struck_at = heard.sharpest(*heard.room(n, at, _FARTHER))
    if sharp > _STRUCK and _is_loud(heard, struck_at, struck_at + _RINGS):
        return True
    (entry,) = heard.entries(n, at, _FARTHER)
    return told and entry is not None and entry.rise > RISEN and entry.strength > DOUBTFUL_STRENGTH


def _is_loud(heard: HeardPass, first: float, last: float) -> bool:
    """Return whether something is heard between two instants (seconds)."""
    features = heard.hearing.features
    level = features.level[max(0, round(first / FRAME)) : round(last / FRAME) + 1]
    return bool(len(level)) and float(np.median(level)) > features.loud + _SILENT


def _is_lost(heard: HeardPass, n: int, at: float) -> bool:
    """Return whether a joined note cannot be said to be missing: there is little time to hear it, or the note before it does not clearly go on instead."""
    if heard.groups[n].struck or not n:
        return False
    after = heard.around(n)[1]
    stop = at + _LOOK if after is None else min(at + _LOOK, heard.place(after))
    features, frames = heard.hearing.features, slice(max(0, round((at + _SETTLED) / FRAME)), round(stop / FRAME))
    if stop - at < _TOLD or not len(features.pitch[frames]):
        return True
    if not _is_loud(heard, at + _SETTLED, stop):
        return False
    pitches = np.where(features.clarity[frames] > _CLEAR, features.pitch[frames] - heard.higher, np.nan)
    before = heard.groups[n - 1]
    goes_on = (pitches > before.low - _NEAR) & (pitches < before.high + _NEAR)
    own = np.abs(pitches - heard.groups[n].pitches[0]) < _NEAR
    return bool(goes_on.mean() < _GOES_ON or (own & ~goes_on).mean() > _OWN)
