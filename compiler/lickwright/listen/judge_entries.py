"""When the notes of a pass begin, looked at again where the match of stretches leaves a doubt.

In: a `HeardPass`. Out: the times, corrected: a note that no stretch begins may be heard to enter nevertheless,
and one that seems early or late may be heard to enter on time. A student who is told of a mistake that is none stops listening.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.core.fast_dataclass import replace
from lickwright.listen.entries import DOUBTFUL_STRENGTH, RISEN, SURE_STRENGTH, Entry
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.heard_pass import AROUND, ON_TIME, SHARP, HeardPass
from lickwright.listen.judge_notes import PassTimes, pass_times
from lickwright.listen.lateness import SURE, OnsetTiming, judge_onsets
from lickwright.listen.stretches import PICKED
from lickwright.notation.techniques import Curve, Stroke

_EDGE = 0.007  # seconds from the end of the window around an instant in which an entry may go on beyond it
_FARTHER = 0.180  # seconds on either side of the expected time in which a note may be struck whose pitch sounds already
_NEAR = 0.008  # seconds on either side of an instant that was found as the sharpest one
_CLAIMED = 0.020  # seconds on either side of where a stretch begins
_LATE = 0.045  # seconds from which on a note that seems early or late is looked at again
# Seconds, one standard deviation, by which a beginning is heard too early or too late, over some 4,000 notes of the sets of tests/bench/listening.py.
_BLUR_STRUCK, _BLUR_JOINED, _BLUR_SLID, _BLUR_SWELL = 0.004, 0.010, 0.030, 0.050
_EXTRA_BEFORE = 0.100  # seconds by which the pitch of a note may come before it as an extra note
_LATEST = 0.35  # seconds from which on a note is not late, but after a pause or another one
_LIKE = 2  # groups on either side that a group may be confused with
_RISEN_ON_TIME = 6.0  # decibels that a pitch must rise by whose stretch begins elsewhere
# Decibels that the high band rises by where that alone tells that a string is struck again: 5 at most where such a note was left out, 10 and more where it
# was played.
_STRUCK_AGAIN = 8.0
_CLEAR = 0.0  # strength of an entry that tells by itself that a note is early or late
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


def corrected_times(heard: HeardPass) -> PassTimes:
    """Return the times of a pass with the entries that its match left out, or put elsewhere."""
    for look in (_entries_left_out, _entries_on_time):
        starts = list(heard.times.starts)
        for n, at in look(heard):
            starts[n] = at
        heard = replace(heard, times=pass_times(heard.groups, heard.times.begins, starts, heard.tempo))
    return heard.times


def times_told(heard: HeardPass, timing: OnsetTiming) -> list[bool]:
    """Return for each group whether the time at which it begins is sure enough to be called early or late."""
    return [start is not None and _is_told(heard, n, start, timing) for n, start in enumerate(heard.times.starts)]


def _is_told(heard: HeardPass, n: int, start: float, timing: OnsetTiming) -> bool:
    late = abs(timing.late[n])
    if not late > _LATE:
        return heard.times.begins[n] is not None or _is_struck_sharply(heard, start)
    loose = not SURE * timing.error[n] < late < _LATEST
    return not loose and _is_sure(heard, n, start, timing) and not _is_nearer_its_like(heard.groups, n, timing)


def _is_struck_sharply(heard: HeardPass, start: float) -> bool:
    """Return whether a string is struck at an instant so sharply that nothing else need tell it."""
    return heard.sharpest(start - _NEAR, start + _NEAR)[0] > _STRUCK_AGAIN


def _is_sure(heard: HeardPass, n: int, start: float, timing: OnsetTiming) -> bool:
    """Return whether the partials of a group rise where it begins, or a pick is there, and, where it is early, nothing is struck when it should begin."""
    begin = heard.times.begins[n]
    sharp = SHARP if begin is not None else _STRUCK_AGAIN
    if _is_struck_again(heard, start, start - float(timing.late[n]), sharp):
        return False
    told = [entry for entry in heard.entries(n, start, _CLAIMED) if entry is not None]
    if begin is None:
        if _is_struck_sharply(heard, start) and heard.repeats(n):
            return True
        return bool(told) and all(entry.strength > _CLEAR and entry.rise > RISEN for entry in told)
    struck = bool(heard.hearing.picks[begin] > PICKED)
    if not told:
        return struck
    return all(entry.strength > SURE_STRENGTH and (struck or entry.rise > RISEN) for entry in told)


def _is_struck_again(heard: HeardPass, start: float, expected: float, sharp: float) -> bool:
    """Return whether a group that begins early is struck once more when it should begin, so sharply (decibels), and no other one then."""
    if expected <= start or any(s is not None and abs(s - expected) <= 2 * ON_TIME for s in heard.times.starts):
        return False
    return heard.sharpest(expected - ON_TIME, expected + ON_TIME)[0] > sharp


def _is_nearer_its_like(groups: Sequence[ExpectedGroup], n: int, timing: OnsetTiming) -> bool:
    """Return whether a group is so early or late that it may be a neighbor that has the same pitches, or the neighbor may be it.

    A neighbor that is heard in time is neither, unless the group is where the neighbor should be, as where one of them was lost and all others moved up.
    """
    late, pace = float(timing.late[n]), float(timing.pace[n])
    for m in range(max(0, n - _LIKE), min(len(groups), n + _LIKE + 1)):
        if m == n or groups[m].pitches != groups[n].pitches:
            continue
        away = pace * (groups[m].at - groups[n].at)
        in_time = abs(timing.late[m]) < _LATE and abs(late - away) > AROUND
        if not in_time and min(abs(late - away), abs(float(timing.late[m]) + away)) < abs(late):
            return True
    return False


def _entries_left_out(heard: HeardPass) -> Iterator[tuple[int, float]]:
    """Yield each judged group that no stretch begins, and when it enters, if it does."""
    for n, group in enumerate(heard.groups):
        if group.why or heard.times.starts[n] is not None or heard.is_jumped_over(n):
            continue
        at = heard.times.predicted[n]
        if group.kind is ExpectedKind.SINGLE and group.struck and heard.repeats(n):
            sharp, struck_at = heard.sharpest(*heard.room(n, at, _FARTHER))
            if sharp > _STRUCK_AGAIN:
                yield n, struck_at
                continue
        found = _entries_around(heard, n, at)
        told = [entry for entry in found if entry is not None and entry.is_sure]
        if len(told) == len(found):
            yield n, told[0].at


def _entries_around(heard: HeardPass, n: int, at: float) -> list[Entry | None]:
    """Return the entries of a group near an instant; those that rise still where the window ends are looked for beyond it: a note may be early or late."""
    found = heard.entries(n, at, AROUND)
    edge = next((e.at for e in found if e is not None and abs(e.at - at) > AROUND - _EDGE), None)
    return found if edge is None else heard.entries(n, edge, AROUND)


def _entries_on_time(heard: HeardPass) -> Iterator[tuple[int, float]]:
    """Yield each single note that a stretch begins early or late, but that enters on time, and when."""
    onsets = steady_onsets(heard.groups, heard.times)
    late = judge_onsets(np.array([g.at for g in heard.groups]), onsets, onset_blurs(heard.groups)).late
    for n, group in enumerate(heard.groups):
        start = None if heard.times.begins[n] is None else heard.times.starts[n]
        if start is not None and group.kind is ExpectedKind.SINGLE and not group.why and abs(late[n]) > _LATE:
            at = _entry_on_time(heard, n, start, start - float(late[n]))
            if at is not None:
                yield n, at


def _entry_on_time(heard: HeardPass, n: int, start: float, expected: float) -> float | None:
    """Return when a single note that begins at `start` enters near the expected instant; None where it does not.

    A note that comes early and is struck again when it should begin is an extra note and the right one.
    """
    if expected - start > _EXTRA_BEFORE and _is_struck_again(heard, start, expected, SHARP):
        return heard.sharpest(expected - ON_TIME, expected + ON_TIME)[1]
    (there,) = heard.entries(n, start, _CLAIMED)
    (here,) = heard.entries(n, expected, ON_TIME)
    if here is None or there is None or here.rise <= _RISEN_ON_TIME or here.strength <= 2 * DOUBTFUL_STRENGTH:
        return None
    return here.at if here.strength > there.strength - _NO_WEAKER else None
