"""Which notes of a pass are right, wrong, missing, or cannot be told.

In: a `Hearing`, the groups of a lick and the stretches that begin them. Out: a `HeardNote` for each sound. A note is called wrong or missing only
after a second opinion, because a student who is told of a mistake that was none no longer believes the report.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lickwright.listen.combs import Spectrum, comb_strength
from lickwright.listen.expected import ExpectedGroup, ExpectedKind, note_bends
from lickwright.listen.features import FRAME
from lickwright.listen.judge_pairs import judge_pair
from lickwright.listen.model import UNHEARD, HeardNote, NoteVerdict
from lickwright.listen.pass_times import SURE_PICK, PassTimes
from lickwright.listen.second_opinion import Look, beats_expected, is_misheard, is_octave_off, look_at, new_spectrum
from lickwright.listen.stretches import Hearing, clear_pitch
from lickwright.notation.techniques import Curve

_NEAR = 0.5  # semitones: what is nearer is the same note
_NEAR_BENT = 0.9  # and of a bent one, whose height is judged by itself
_FARTHEST = 24.0  # semitones that a wrong note may be off
_SETTLED, _PICKED = 0.025, 0.085  # seconds from its beginning in which a bent note is on its way from its fret
_BODY = 0.40  # seconds from its beginning that the pitch of a note is taken from
_SHORTEST_BODY = 0.09  # seconds of it that tell a pitch
_NO_PICK = -3.5  # odds below which nothing is struck, not even faintly
_DOUBTFUL = -1.5  # odds below which a boundary is no pick
_JOINED_REACH = 5.0  # semitones: a joined note that is further off is another string
_SURE = 0.5  # strength of a comb that is enough for a note
_SOFT = 35.0  # decibels below the loudest
_VERY_CLEAR = 0.9  # clarity of a string that sounds alone


def judge_pitches(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, higher: float
) -> list[HeardNote]:
    """Return the notes of a pass, judged by their pitch. `higher` are the semitones that the guitar sounds higher than written."""
    found: list[HeardNote] = []
    for n, group in enumerate(groups):
        if group.why:
            found += [
                HeardNote(s, NoteVerdict.UNTOLD, p, group.why, times.starts[n])
                for s, p in zip(group.sounds, group.pitches, strict=True)
            ]
        elif times.starts[n] is None:
            found += _not_begun(hearing, groups, n, times, higher)
        elif group.kind is ExpectedKind.PAIR:
            found += judge_pair(hearing, group, float(times.starts[n] or 0), times.stops[n], higher)
        else:
            found.append(_judge_single(hearing, groups, n, times, higher))
    return found


def _judge_single(
    hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, higher: float
) -> HeardNote:
    group, start, stop, begin = groups[n], float(times.starts[n] or 0), times.stops[n], times.begins[n]
    body_end = min(_next_pick(hearing, start, stop) - 0.01, start + _BODY)
    pitch = clear_pitch(hearing.features, start + 0.035, body_end) - higher
    clear = pitch if np.isfinite(pitch) else None
    note = HeardNote(group.sounds[0], NoteVerdict.RIGHT, group.pitches[0], "", start, clear)
    low, high = told_range(group)
    if _is_not_struck(hearing, groups, n, times):
        _leave_out(note)
    elif clear is None:
        _judge_unclear(note, hearing, begin, new_spectrum(hearing.recording, start, stop), higher)
    elif not low <= clear <= high:
        if not _starts_right(hearing, group, start, stop, higher):
            _judge_other_pitch(note, group, look_at(hearing.recording, start, stop), clear, higher)
        if _is_left_over(hearing, groups, n, begin, clear):
            _leave_out(note)
    return note


def _leave_out(note: HeardNote) -> None:
    note.verdict, note.onset = NoteVerdict.MISSING, None


def _judge_unclear(note: HeardNote, hearing: Hearing, begin: int | None, spectrum: Spectrum, higher: float) -> None:
    """Judge a note of which no pitch came out: missing where nothing is struck with its stretch, untold where its partials are weak in what is new."""
    if begin is not None and _is_silent(hearing, begin):
        _leave_out(note)
    elif comb_strength(spectrum, note.written + higher) < _SURE:
        note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD


def _next_pick(hearing: Hearing, start: float, stop: float) -> float:
    """Return when a string is surely struck again after a note began, as by an extra note, else `stop`; seconds."""
    later = (hearing.starts[:-1] > start + _SHORTEST_BODY) & (hearing.starts[:-1] < stop) & (hearing.picks > SURE_PICK)
    return float(hearing.starts[:-1][later][0]) if later.any() else stop


def told_range(group: ExpectedGroup) -> tuple[float, float]:
    """Return the lowest and the highest pitch at which a single note is heard as the right one."""
    low, high = (group.low, group.high) if group.high - group.low > 0.3 else group.first
    near = _NEAR
    if note_bends(group.sounds[0]):
        near, low = _NEAR_BENT, min(low, group.pitches[0])  # a pre-bend that is picked at its fret is judged as a bend
    wobbles = [s.amount for s in group.sounds[0].shapes if s.technique.curve is Curve.VIBRATO]
    return low - near, high + near + max(wobbles, default=0.0) / 2  # the middle of a wobble that goes upwards


def _starts_right(hearing: Hearing, group: ExpectedGroup, start: float, stop: float, higher: float) -> bool:
    """Return whether a note that is bent up begins on the way from its fret to its height: then it is the right one, however far it is bent."""
    if not any(shape.technique.curve is Curve.BEND for shape in note_bends(group.sounds[0])[:1]):
        return False
    pitch = clear_pitch(hearing.features, start + _SETTLED, min(stop, start + _PICKED)) - higher
    return bool(group.low - _NEAR < pitch < group.high + _NEAR)


def _judge_other_pitch(note: HeardNote, group: ExpectedGroup, look: Look, pitch: float, higher: float) -> None:
    """Call a note wrong whose pitch came out as another one, unless that is misheard, or another string's."""
    way = np.arange(group.low, group.high + 0.5, 0.5)
    expected = min(max(pitch, group.low), group.high)
    if group.struck and len(way) == 1 and is_octave_off(look, pitch + higher, expected + higher):
        note.verdict = NoteVerdict.WRONG
        return
    if abs(pitch - expected) > (_FARTHEST if group.struck else _JOINED_REACH):
        note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD
    elif not any(is_misheard(pitch, float(p)) for p in way) and beats_expected(
        look.new, pitch + higher, expected + higher
    ):
        note.verdict = NoteVerdict.WRONG


def _is_not_struck(hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes) -> bool:
    """Return whether a note that repeats the pitch before it begins where no string is struck."""
    begin = times.begins[n]
    if begin is None or not n or not groups[n].struck or hearing.picks[begin] > _NO_PICK or hearing.steps[begin]:
        return False
    before = groups[n - 1]
    same = before.kind is ExpectedKind.SINGLE and abs(before.pitches[0] - groups[n].pitches[0]) < _NEAR
    return same and times.starts[n - 1] is not None


def _is_left_over(hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, begin: int | None, pitch: float) -> bool:
    """Return whether a pitch that is not a struck note's own is but the end of the note before it, or of nothing: no string is struck for it."""
    if begin is None or not groups[n].struck or hearing.picks[begin] > _NO_PICK:
        return False
    before = [other for other in groups[n - 1].pitches if abs(other - groups[n].pitches[0]) > _NEAR] if n else []
    return _is_silent(hearing, begin) or any(is_misheard(pitch, other) for other in before)


def _is_silent(hearing: Hearing, begin: int) -> bool:
    """Return whether nothing is struck with a stretch, and nothing clear sounds in it."""
    return bool(hearing.picks[begin] < _DOUBTFUL and not hearing.steps[begin])


def _not_begun(
    hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, higher: float
) -> list[HeardNote]:
    """Return the notes of a group that nothing was found to begin: missing, unless its pitch sounds where it should."""
    group = groups[n]
    there = group.kind is ExpectedKind.SINGLE and _sounds_anyway(hearing, groups, n, times, higher)
    verdict, why = NoteVerdict.RIGHT if there else NoteVerdict.MISSING, ""
    if not there and not group.struck and _is_crowded(hearing, times.predicted[n]):
        verdict, why = NoteVerdict.UNTOLD, UNHEARD
    return [HeardNote(s, verdict, p, why) for s, p in zip(group.sounds, group.pitches, strict=True)]


def _is_crowded(hearing: Hearing, at: float) -> bool:
    """Return whether no single pitch is clear around an instant (seconds), as where another string rings."""
    first, last = round((at - 0.05) / FRAME), round((at + 0.2) / FRAME)
    features = hearing.features
    sounding = features.level[max(0, first) : last] > features.loud - _SOFT
    clear = features.clarity[max(0, first) : last] > _VERY_CLEAR
    return bool(sounding.any()) and float(clear[sounding].mean()) < 0.5


def _sounds_anyway(hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, higher: float) -> bool:
    """Return whether the pitch of a group sounds at the time at which it should, and not before."""
    group = groups[n]
    around = [m for m in (n - 1, n + 1) if 0 <= m < len(groups)]
    if any(times.starts[m] is None for m in around):
        return False
    if any(groups[m].low - 0.6 <= group.pitches[0] <= groups[m].high + 0.6 for m in around):
        return False
    at = times.predicted[n]
    later = times.starts[n + 1] if n + 1 < len(groups) else None
    until = min(at + 0.3, float(later)) if later is not None else at + 0.2
    pitch = clear_pitch(hearing.features, at, max(at + 0.04, until - 0.01)) - higher
    return bool(abs(pitch - group.pitches[0]) < _NEAR)
