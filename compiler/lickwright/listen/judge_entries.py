"""When the notes of a pass begin, looked at again where the match of stretches leaves a doubt.

In: a `Hearing`, the groups of a lick and the times of a pass. Out: the times, corrected: a note that no stretch begins may be heard to enter nevertheless,
and one that seems early or late may be heard to enter on time. A student who is told of a mistake that is none stops listening.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.entries import Entry, strongest_entry
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.judge_notes import UNHEARD, PassTimes, pass_times
from lickwright.listen.lateness import SURE, OnsetTiming, judge_onsets
from lickwright.listen.model import HeardNote, NoteVerdict
from lickwright.listen.picks import attack_sharpness
from lickwright.listen.stretches import PICKED, Hearing
from lickwright.notation.techniques import Curve, Stroke

_AROUND = 0.060  # seconds on either side of the expected time in which a note that no stretch begins may enter
_ON_TIME = 0.030  # seconds on either side of the expected time that are on time
_CLAIMED = 0.020  # seconds on either side of where a stretch begins
_LATE = 0.045  # seconds from which on a note that seems early or late is looked at again
_NEXT = 0.050  # seconds that are kept from the notes before and after
_SAME = 0.5  # semitones
# Seconds, one standard deviation, by which the beginning of a note is heard too early or too late, over some 4,000 notes of those sets.
_BLUR_STRUCK, _BLUR_JOINED, _BLUR_SLID, _BLUR_SWELL = 0.004, 0.010, 0.030, 0.050
_LATEST = 0.35  # seconds from which on a note is not late, but after a pause or another one
_JUMPED = 0.5  # share of the written time between two heard notes below which what lies between them was left out
_LIKE = 2  # groups on either side that a group may be confused with
# Decibels, from some 4,000 notes of the sets of tests/bench/listening.py: of 80 notes that were left out none has an entry as strong as `_SURE`; of
# those that were played, and that no stretch begins, 3 in 4 have.
_RISEN, _RISEN_ON_TIME = 4.0, 6.0  # that a pitch must rise by, and one whose stretch begins elsewhere
_RINGS_ON = 3.0  # below which a pitch does not rise
_SHARP = 4.0  # that the high band rises by where a string is struck again whose pitch sounds already
_SURE, _DOUBTFUL = -6.0, -12.0  # strength of an entry that is one, and of one that may be one
_NO_WEAKER = 4.0  # by how much an entry on time may be weaker than the one elsewhere, which may be a noise


def steady_onsets(groups: Sequence[ExpectedGroup], times: PassTimes) -> NDArray[np.float64]:
    """Return when each group that has a time of its own begins, in seconds; NaN for the others and for what was not heard."""
    steady = [not g.lead and g.kind is not ExpectedKind.UNPITCHED for g in groups]
    onsets = [s if s is not None and ok else np.nan for s, ok in zip(times.starts, steady, strict=True)]
    return np.array(onsets, np.float64)


def onset_blurs(groups: Sequence[ExpectedGroup]) -> NDArray[np.float64]:
    """Return how exactly the beginning of each group can be heard: one standard deviation, in seconds."""
    return np.array([_blur(group) for group in groups], np.float64)


def _blur(group: ExpectedGroup) -> float:
    if group.why == "swells":
        return _BLUR_SWELL
    begin = group.sounds[0].begin
    if begin.curve is Curve.GLIDE and begin.stroke is Stroke.NONE:
        return _BLUR_SLID
    return _BLUR_STRUCK if group.struck and group.kind is not ExpectedKind.PASSED else _BLUR_JOINED


def corrected_times(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, tempo: float, higher: float
) -> PassTimes:
    """Return the times of a pass with the entries that its match left out, or put elsewhere."""
    starts = list(times.starts)
    for n, at in _entries_left_out(hearing, groups, times, tempo, higher):
        starts[n] = at
    times = pass_times(groups, times.begins, starts, tempo)
    for n, at in _entries_on_time(hearing, groups, times, higher):
        starts[n] = at
    return pass_times(groups, times.begins, starts, tempo)


def times_told(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, timing: OnsetTiming, higher: float
) -> list[bool]:
    """Return for each group whether the time at which it begins is sure enough to be called early or late."""
    return [
        begin is not None
        and (
            not abs(timing.late[n]) > _LATE
            or (
                SURE * timing.error[n] < abs(timing.late[n]) < _LATEST
                and _is_sure(hearing, groups, n, times, timing, higher)
                and not _is_nearer_its_like(groups, n, timing)
            )
        )
        for n, begin in enumerate(times.begins)
    ]


def _is_sure(
    hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, timing: OnsetTiming, higher: float
) -> bool:
    """Return whether the partials of a group rise where it begins, or a pick is there, and, where it is early, nothing is struck when it should begin."""
    begin, start = times.begins[n], times.starts[n]
    if begin is None or start is None:
        return False
    expected = start - float(timing.late[n])
    alone = expected > start and all(other is None or abs(other - expected) > 2 * _ON_TIME for other in times.starts)
    if alone and _sharpest(hearing, expected, _ON_TIME) > _SHARP:
        return False
    found = _group_entries(hearing, groups, n, times, higher, start, _CLAIMED)
    told = [entry for entry in found if entry is not None]
    struck = bool(hearing.picks[begin] > PICKED)
    if not told:
        return struck
    return all(entry.strength > _SURE and (struck or entry.rise > _RISEN) for entry in told)


def _is_nearer_its_like(groups: Sequence[ExpectedGroup], n: int, timing: OnsetTiming) -> bool:
    """Return whether a group is so early or late that it may be a neighbor that has the same pitches, or the neighbor may be it."""
    late, pace = float(timing.late[n]), float(timing.pace[n])
    for m in range(max(0, n - _LIKE), min(len(groups), n + _LIKE + 1)):
        away = pace * (groups[m].at - groups[n].at)
        like = m != n and groups[m].pitches == groups[n].pitches
        if like and min(abs(late - away), abs(float(timing.late[m]) + away)) < abs(late):
            return True
    return False


def absolve_notes(
    hearing: Hearing,
    groups: Sequence[ExpectedGroup],
    times: PassTimes,
    notes: Sequence[HeardNote],
    tempo: float,
    higher: float,
) -> None:
    """Take back the verdict on each note that is called missing though it enters, and on one called wrong that only an entry was heard of."""
    by_sound = {note.sound.index: note for note in notes}
    for n, group in enumerate(groups):
        heard = [by_sound[sound.index] for sound in group.sounds]
        wrong = any(note.verdict is NoteVerdict.WRONG for note in heard)
        if wrong and (times.begins[n] is None or _rang_before(hearing, groups, n, times, heard[0], higher)):
            for note in heard:
                note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD
        missing = group.kind is ExpectedKind.SINGLE and heard[0].verdict is NoteVerdict.MISSING
        if missing and not _is_jumped_over(groups, n, times, tempo):
            _absolve_single(hearing, groups, n, times, heard[0], higher)


def _rang_before(
    hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, note: HeardNote, higher: float
) -> bool:
    """Return whether a single note is heard as a pitch that does not begin with it, while its own does."""
    start = times.starts[n]
    if groups[n].kind is not ExpectedKind.SINGLE or start is None or note.pitch is None:
        return False
    window = (start - _ON_TIME, start + _ON_TIME)
    pitches = (note.pitch + higher, groups[n].pitches[0] + higher)
    other, own = (
        strongest_entry(hearing.recording, hearing.features, window, pitches[k], [pitches[1 - k]]) for k in (0, 1)
    )
    return other is not None and own is not None and other.rise < _RINGS_ON and own.strength > _SURE


def _absolve_single(
    hearing: Hearing, groups: Sequence[ExpectedGroup], n: int, times: PassTimes, note: HeardNote, higher: float
) -> None:
    """Let a note that is called missing be right where it enters where it begins, and untold where it may have entered."""
    start = times.starts[n]
    at = times.predicted[n] if start is None else start
    (entry,) = _group_entries(hearing, groups, n, times, higher, at, _AROUND)
    if entry is None or _repeats(groups, n):
        if _sharpest(hearing, at, _AROUND) > _SHARP:
            note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD
    elif entry.rise > _RISEN and entry.strength > _SURE and start is not None:
        note.verdict, note.onset = NoteVerdict.RIGHT, start
    elif entry.rise > _RISEN and entry.strength > _DOUBTFUL:
        note.verdict, note.why = NoteVerdict.UNTOLD, UNHEARD


def _sharpest(hearing: Hearing, at: float, reach: float) -> float:
    """Return by how many decibels the high band rises at most within some seconds of an instant."""
    return max(attack_sharpness(hearing.features, x) for x in np.arange(at - reach, at + reach, 0.004))


def _entries_left_out(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, tempo: float, higher: float
) -> Iterator[tuple[int, float]]:
    """Yield each judged group that no stretch begins, and when it enters, if it does."""
    for n, group in enumerate(groups):
        if group.why or times.starts[n] is not None or _is_jumped_over(groups, n, times, tempo):
            continue
        found = _group_entries(hearing, groups, n, times, higher, times.predicted[n], _AROUND)
        told = [entry for entry in found if entry is not None and entry.rise > _RISEN and entry.strength > _SURE]
        if len(told) == len(found):
            yield n, told[0].at


def _entries_on_time(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, higher: float
) -> Iterator[tuple[int, float]]:
    """Yield each single note that seems early or late but enters on time, and when."""
    late = judge_onsets(np.array([g.at for g in groups]), steady_onsets(groups, times), onset_blurs(groups)).late
    for n, group in enumerate(groups):
        start = times.starts[n]
        if start is None or group.why or group.kind is not ExpectedKind.SINGLE or not abs(late[n]) > _LATE:
            continue
        (there,) = _group_entries(hearing, groups, n, times, higher, start, _CLAIMED)
        (here,) = _group_entries(hearing, groups, n, times, higher, start - float(late[n]), _ON_TIME)
        if here is None or there is None or here.rise <= _RISEN_ON_TIME or here.strength <= 2 * _DOUBTFUL:
            continue
        if here.strength > there.strength - _NO_WEAKER:
            yield n, here.at


def _is_jumped_over(groups: Sequence[ExpectedGroup], n: int, times: PassTimes, tempo: float) -> bool:
    """Return whether the notes heard before and after a group are so near each other that the music between them was not played."""
    told = [m for m, start in enumerate(times.starts) if start is not None]
    before, after = [m for m in told if m < n][-1:], [m for m in told if m > n][:1]
    if not before or not after:
        return False
    written = (groups[after[0]].at - groups[before[0]].at) / tempo
    played = (times.starts[after[0]] or 0) - (times.starts[before[0]] or 0)
    return played < _JUMPED * written and written - played > _LATEST


def _group_entries(
    hearing: Hearing,
    groups: Sequence[ExpectedGroup],
    n: int,
    times: PassTimes,
    higher: float,
    at: float,
    reach: float,
) -> list[Entry | None]:
    """Return the strongest entry of each note of a group near an instant, between the groups before and after it."""
    before = [s for s in times.starts[:n] if s is not None]
    after = [s for s in times.starts[n + 1 :] if s is not None]
    window = (
        max(at - reach, before[-1] + _NEXT if before else 0.0),
        min(at + reach, after[0] - _NEXT if after else hearing.recording.seconds),
    )
    around = [p for m in (n - 1, n, n + 1) if 0 <= m < len(groups) for p in groups[m].pitches]
    return [
        strongest_entry(
            hearing.recording, hearing.features, window, pitch + higher,
            [other + higher for other in around if abs(other - pitch) > _SAME],
        )
        for pitch in groups[n].pitches
    ]  # fmt: skip


def _repeats(groups: Sequence[ExpectedGroup], n: int) -> bool:
    """Return whether a group has a pitch that the one before has too, or comes to on its way."""
    if not n:
        return False
    before = groups[n - 1]
    ways = [(p, p) for p in before.pitches] if len(before.pitches) > 1 else [(before.low, before.high)]
    return any(low - _SAME < pitch < high + _SAME for pitch in groups[n].pitches for low, high in ways)
