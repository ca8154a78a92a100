"""Verdicts that are taken back: a note called missing that may have been played, one called wrong that may have been another string, and one called right
where only another string rings.

In: a `HeardPass` and its notes. Out: the notes, some of them with another verdict now. The limits are of some 200 notes that were left out, 80 that were wrong
and 120 that were neither, of the sets of tests/bench/listening.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.entries import DOUBTFUL_STRENGTH, RISEN, Entry
from lickwright.listen.expected import ExpectedKind
from lickwright.listen.features import FRAME
from lickwright.listen.heard_pass import AROUND, NEVER, ON_TIME, SHARP, HeardPass
from lickwright.listen.judge_joined import stays_unjoined, wrong_arrival
from lickwright.listen.judge_notes import told_range
from lickwright.listen.model import UNHEARD, HeardNote, NoteVerdict
from lickwright.listen.pass_times import SURE_PICK
from lickwright.listen.second_opinion import is_misheard, is_surely_another, look_at

_FARTHER = 0.150  # seconds on either side of the expected time in which an early or late note may enter
_FAINT = -20.0  # strength of an entry, of wrong notes at least -17
_CLEARLY_OWN = 10.0  # decibels by which the expected pitch enters more strongly than the one that was heard
_UNSTRUCK = -1.5  # odds of a pick below which a note that should be struck is the ring of another
_STRUCK = 6.0  # decibels that the high band rises by farther away, where nothing else is played: 5 at most where a note was left out
_RENEWED = -1.3  # odds that a string is struck again: of those that are 1 in 100 has less, of those that only ring on 1 in 50 has more
# Strength of the entry of a struck note that is heard as another pitch, where no string is surely struck. Of 330 that were played one in 100 has less than -18;
# those that were not have -27 to -19. One that is heard at its own pitch, or one it is often taken for, may have few partials that are loud.
_RINGING, _RINGING_MISHEARD = -15.0, -20.0
_BLURRED = 0.6  # semitones by which the pitch of a short note may come out nearer to the next one
# Strength of the entry of a note of a double stop that may be there, and of one that is: 11 that were left out have 1 at most, and -11 on average.
_PAIR_DOUBTFUL, _PAIR_ENTERS = 3.0, 12.0
_DOUBTFUL_JOINED = -20.0  # strength of the entry of a joined note, which is softer: of 49 that no stretch begins 2 in 3 have less than -2, none less than -20
_TAIL, _TAIL_FROM = 0.100, 0.020  # seconds before a note should begin over which the one before it is looked at
_SOFTER = 3.0  # decibels by which a string that is struck more softly sounds below the end of the note before it
_HELD_FROM, _HELD = 0.10, 0.08  # seconds after its beginning from which it holds its level, and how long at least
_FALLING = 15.0  # decibels a second by which it falls at most
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
    """Let each note that is called missing or wrong be right, or untold, where that is in doubt, and one that is right by another's ring be missing."""
    by_sound = {note.sound.index: note for note in notes}
    for n, group in enumerate(heard.groups):
        here = [by_sound[sound.index] for sound in group.sounds]
        if any(note.verdict is NoteVerdict.WRONG for note in here) and _may_be_another_sound(heard, n, here[0]):
            _leave_untold(here)
        if group.kind is ExpectedKind.SINGLE:
            _judge_single_again(heard, n, here[0])
        elif group.kind is ExpectedKind.PAIR:
            _judge_pair_again(heard, n, here)


def _may_be_another_sound(heard: HeardPass, n: int, note: HeardNote) -> bool:
    """Return whether a pitch that is heard instead of a written one may not begin with it, and neither its partials nor a finger that rests there tell it."""
    unsure = heard.times.begins[n] is None or _is_another_string(heard, n, note)
    return unsure and not _is_surely_wrong(heard, n, note) and wrong_arrival(heard, n) is None


def _is_surely_wrong(heard: HeardPass, n: int, note: HeardNote) -> bool:
    """Return whether the partials of a struck note surely are those of the pitch that was heard, and it holds that pitch."""
    start, group = heard.times.starts[n], heard.groups[n]
    if start is None or note.pitch is None or not group.struck or group.kind is not ExpectedKind.SINGLE:
        return False
    stop, features = heard.times.stops[n], heard.hearing.features
    frames = slice(round((start + _SETTLED) / FRAME), round(min(stop, start + _LOOK) / FRAME))
    own = np.abs(features.pitch[frames] - heard.higher - note.pitch) < _NEAR
    if not len(own) or (own & (features.clarity[frames] > _CLEAR)).mean() < _GOES_ON:
        return False
    look = look_at(heard.hearing.recording, start, stop)
    return is_surely_another(look, note.pitch + heard.higher, group.pitches[0] + heard.higher)


def _judge_single_again(heard: HeardPass, n: int, note: HeardNote) -> None:
    if note.verdict is NoteVerdict.RIGHT and _is_ring_of_another(heard, n, note):
        note.verdict, note.onset = NoteVerdict.MISSING, None
    if note.verdict is NoteVerdict.MISSING and not heard.is_jumped_over(n):
        _judge_missing(heard, n, note)


def _is_ring_of_another(heard: HeardPass, n: int, note: HeardNote) -> bool:
    """Return whether no string is surely struck for a struck note, and its own pitch does not enter: what is heard rings on, at its pitch or another one."""
    group, start, begin = heard.groups[n], heard.times.starts[n], heard.times.begins[n]
    if note.pitch is None or start is None or begin is None or not group.struck or heard.rings(n, start):
        return False
    low, high = told_range(group)
    near = low - _BLURRED <= note.pitch <= high + _BLURRED
    if heard.hearing.picks[begin] > (_UNSTRUCK if near else SURE_PICK):
        return False
    (own,) = heard.entries(n, start, ON_TIME)
    least = _RINGING_MISHEARD if near or is_misheard(note.pitch, group.pitches[0]) else _RINGING
    return own is not None and own.strength < least


def _judge_pair_again(heard: HeardPass, n: int, notes: Sequence[HeardNote]) -> None:
    """Let each note of a double stop that is called missing be right where its own partials clearly enter, and untold where they may.

    Where no stretch begins the double stop, both are untold if one of them may have entered.
    """
    start = heard.times.starts[n]
    if start is None:
        if not heard.is_jumped_over(n) and _may_be_there(heard, n):
            _leave_untold(notes)
        return
    for note, entry in zip(notes, heard.entries(n, start, ON_TIME), strict=True):
        if note.verdict is NoteVerdict.MISSING and entry is not None and entry.strength > _PAIR_DOUBTFUL:
            if entry.strength > _PAIR_ENTERS:
                note.verdict, note.onset = NoteVerdict.RIGHT, start
            else:
                _leave_untold([note])


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
    return other is not None and _enters_less(other, own)


def _enters_less(other: Entry, own: Entry | None) -> bool:
    """Return whether the entry of another pitch is faint, or far weaker than that of a note's own."""
    if other.rise < RISEN or other.strength < _FAINT:
        return True
    return own is not None and own.rise > RISEN and own.strength > other.strength + _CLEARLY_OWN


def _judge_missing(heard: HeardPass, n: int, note: HeardNote) -> None:
    """Let a note that is called missing be right where it enters where it begins, wrong where a finger comes to rest elsewhere, and untold where in doubt."""
    at, start = heard.place(n), heard.times.starts[n]
    arrival = wrong_arrival(heard, n) if start is None else None
    (entry,) = heard.entries(n, at, AROUND)
    if arrival is not None:
        note.verdict, note.pitch, note.onset = NoteVerdict.WRONG, arrival.pitch, arrival.at
    elif entry is not None and entry.is_sure and start is not None and not heard.rings(n, at):
        note.verdict, note.onset = NoteVerdict.RIGHT, start
    elif not _is_surely_missing(heard, n) and (_is_lost(heard, n, at) or _may_be_there(heard, n)):
        _leave_untold([note])


def _is_surely_missing(heard: HeardPass, n: int) -> bool:
    """Return whether the note before a joined one goes on instead, and nothing of its own enters."""
    return heard.times.starts[n] is None and stays_unjoined(heard, n) and not _enters(heard, n, heard.place(n))


def _may_be_there(heard: HeardPass, n: int) -> bool:
    """Return whether a note of a group may have entered at one of the instants at which it may begin."""
    return any(_may_have_entered(heard, n, at) for at in heard.places(n))


def _may_have_entered(heard: HeardPass, n: int, at: float) -> bool:
    """Return whether a note of a group may have entered at an instant, or farther away."""
    sharp, struck_at = heard.sharpest(*heard.room(n, at, _FARTHER))
    if sharp > _STRUCK and _is_loud(heard, struck_at, struck_at + _RINGS):
        return True
    if heard.rings(n, at) or all(entry is None for entry in heard.entries(n, at, _FARTHER)):
        return _may_be_renewed(heard, n, at)
    return _enters(heard, n, at)


def _enters(heard: HeardPass, n: int, at: float) -> bool:
    """Return whether one of the pitches of a group may enter around an instant."""
    told = [entry for entry in heard.entries(n, at, _FARTHER) if entry is not None]
    least = DOUBTFUL_STRENGTH if heard.groups[n].struck else _DOUBTFUL_JOINED
    return any(entry.rise > RISEN and entry.strength > least for entry in told)


def _may_be_renewed(heard: HeardPass, n: int, at: float) -> bool:
    """Return whether a string may be struck again at an instant whose partials sound already."""
    odds, _ = heard.renewal(n, at)
    if odds > _RENEWED or heard.sharpest(at - AROUND, at + AROUND)[0] > SHARP:
        return True
    if odds > NEVER and heard.repeats_are_faint(n):
        return True
    return heard.groups[n].struck and _goes_on_softer(heard, n, at)


def _goes_on_softer(heard: HeardPass, n: int, at: float) -> bool:
    """Return whether a pitch that sounds already falls at an instant (seconds) and then holds its level, as of a string that is struck again more softly.

    A string that rings on falls evenly, one that is stopped falls silent.
    """
    after = heard.around(n)[1]
    stop = min(at + _LOOK, heard.place(after) if after is not None else heard.hearing.recording.seconds)
    features = heard.hearing.features
    tail = features.level[max(0, round((at - _TAIL) / FRAME)) : max(0, round((at - _TAIL_FROM) / FRAME))]
    held = slice(round((at + _HELD_FROM) / FRAME), round((stop - _TAIL_FROM) / FRAME))
    levels = features.level[held]
    if not len(tail) or len(levels) * FRAME < _HELD or float(np.median(levels)) < features.loud + _SILENT:
        return False
    own = np.abs(features.pitch[held] - heard.higher - heard.groups[n].pitches[0]) < _NEAR
    falls = -float(np.polyfit(np.arange(len(levels)) * FRAME, levels, 1)[0])
    evenly = falls * (_HELD_FROM + _TAIL)  # by which it would be lower if it fell so all the time
    return bool(own.mean() > _GOES_ON and falls < _FALLING and np.median(tail) - np.median(levels) > _SOFTER + evenly)


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
