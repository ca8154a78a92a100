"""Whether the time at which a note begins is sure enough to call the note early or late.

In: a `HeardPass` and the timing of its onsets. Out: for each group, whether its time is told. A note is early where its pitch enters earlier than expected and
nothing is struck at the expected time; what may be an extra note, or a neighbor of the same pitch, is not told.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.entries import DOUBTFUL_STRENGTH, RISEN, SURE_STRENGTH, Entry
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.heard_pass import AROUND, CLAIMED, ON_TIME, RENEWED, SHARP, STRUCK_AGAIN, HeardPass
from lickwright.listen.lateness import SURE, OnsetTiming
from lickwright.listen.pass_times import PassTimes
from lickwright.listen.stretches import PICKED
from lickwright.notation.techniques import Curve, Stroke

DOUBTFUL_LATENESS = 0.045  # seconds from which on a note that seems early or late is looked at again
# Seconds, one standard deviation, by which a beginning is heard too early or too late, over some 4,000 notes of the sets of tests/bench/listening.py.
_BLUR_STRUCK, _BLUR_JOINED, _BLUR_SLID, _BLUR_SWELL = 0.004, 0.010, 0.030, 0.050
_LATEST = 0.35  # seconds from which on a note is not late, but after a pause or another one
_LIKE = 2  # groups on either side that a group may be confused with
_CLEAR = 0.0  # strength of an entry that tells by itself that a note is early or late


def steady_onsets(groups: Sequence[ExpectedGroup], times: PassTimes) -> NDArray[np.float64]:
    """Return when each group that has a time of its own begins, in seconds; NaN for the others and for what was not heard."""
    onsets = [s if s is not None and has_own_time(g) else np.nan for s, g in zip(times.starts, groups, strict=True)]
    return np.array(onsets, np.float64)


def has_own_time(group: ExpectedGroup) -> bool:
    """Return whether a group has a time of its own: grace notes and dead ones have none."""
    return not group.lead and group.kind is not ExpectedKind.UNPITCHED


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


def times_told(heard: HeardPass, timing: OnsetTiming) -> list[bool]:
    """Return for each group whether the time at which it begins is sure enough to be called early or late."""
    return [start is not None and _is_told(heard, n, start, timing) for n, start in enumerate(heard.times.starts)]


def _is_told(heard: HeardPass, n: int, start: float, timing: OnsetTiming) -> bool:
    late = abs(timing.late[n])
    if not late > DOUBTFUL_LATENESS:
        return heard.times.begins[n] is not None or heard.is_struck_sharply(start)
    if not SURE * timing.error[n] < late < _LATEST:
        return False
    sharp = STRUCK_AGAIN if heard.times.begins[n] is None else SHARP
    if is_struck_again(heard, start, start - float(timing.late[n]), sharp):
        return False
    return _is_sure(heard, n, start, float(timing.late[n])) and not _is_nearer_its_like(heard.groups, n, timing)


def _is_sure(heard: HeardPass, n: int, start: float, late: float) -> bool:
    """Return whether the partials of a group rise where it begins, or a string is struck there; it is so many seconds late."""
    told = [entry for entry in heard.entries(n, start, CLAIMED) if entry is not None]
    if _is_struck(heard, n, start, told) or _is_renewed(heard, n, start, told, late):
        return True
    begin = heard.stretch_at(n, start)
    if begin is None:
        return _enter(told, RISEN, _CLEAR)
    struck = bool(heard.hearing.picks[begin] > PICKED)
    return _enter(told, -np.inf if struck else RISEN, SURE_STRENGTH) or (struck and not told)


def _is_struck(heard: HeardPass, n: int, start: float, told: Sequence[Entry]) -> bool:
    """Return whether a string is struck sharply where a group begins, and it is that of the group: its partials rise, or sound already."""
    return heard.is_struck_sharply(start) and (heard.repeats(n) or _enter(told, RISEN, DOUBTFUL_STRENGTH))


def _is_renewed(heard: HeardPass, n: int, start: float, told: Sequence[Entry], late: float) -> bool:
    """Return whether the string of a single note is struck near its beginning, by the rise of all bands, and is early or late at that instant too."""
    rises = heard.groups[n].kind is ExpectedKind.SINGLE and _enter(told, RISEN, -np.inf)
    if not rises and not heard.is_repeated(n):
        return False
    odds, struck_at = heard.renewal(n, start)
    return odds > RENEWED and (late + struck_at - start) * np.sign(late) > DOUBTFUL_LATENESS


def _enter(entries: Sequence[Entry], rise: float, strength: float) -> bool:
    """Return whether there are entries, and each has a rise and a strength (decibels) above these."""
    return bool(entries) and all(entry.rise > rise and entry.strength > strength for entry in entries)


def is_struck_again(heard: HeardPass, start: float, expected: float, sharp: float) -> bool:
    """Return whether a group that begins early is struck once more when it should begin, and no other group then.

    The attack must be sharper than `sharp` (decibels), and than what the strings of this recording have without one.
    """
    if expected <= start or any(s is not None and abs(s - expected) <= 2 * ON_TIME for s in heard.times.starts):
        return False
    found = heard.sharpest(expected - ON_TIME, expected + ON_TIME)[0]
    return found > sharp and found > heard.unstruck_sharpness()


def _is_nearer_its_like(groups: Sequence[ExpectedGroup], n: int, timing: OnsetTiming) -> bool:
    """Return whether a group is so early or late that it may be a neighbor that has the same pitches, or the neighbor may be it.

    A neighbor that is heard in time is neither, unless the group is where the neighbor should be, as where one of them was lost and all others moved up.
    """
    late, pace = float(timing.late[n]), float(timing.pace[n])
    for m in range(max(0, n - _LIKE), min(len(groups), n + _LIKE + 1)):
        if m == n or groups[m].pitches != groups[n].pitches:
            continue
        away = pace * (groups[m].at - groups[n].at)
        in_time = abs(timing.late[m]) < DOUBTFUL_LATENESS and abs(late - away) > AROUND
        if not in_time and min(abs(late - away), abs(float(timing.late[m]) + away)) < abs(late):
            return True
    return False
