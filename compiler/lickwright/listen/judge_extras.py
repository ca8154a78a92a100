"""Notes that the lick has not.

In: a `HeardPass`. Out: `ExtraNote`s. A stretch is one by the odds of `extra_odds.py`; none stands between dead notes or in trills, near what is passed
over, nor where the player hesitates.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.extra_odds import likely_extra
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.model import ExtraNote
from lickwright.listen.pass_times import PassTimes
from lickwright.listen.stretches import Hearing

_NO_PICK = -3.0  # odds of a pick below which no stretch is one
_PICK_CLEAR = 4.5  # odds of a pick above which it may be a note of its own though something that is passed over is near
_SOFT = 21.0  # decibels below the loudest
_APART = 0.075  # seconds from the notes of the lick, and from each other
_BESIDE = 0.30  # seconds from a grace note, a chord or what else is passed over, in which each of its strings begins
_HESITATION = 0.45  # seconds beyond what is expected
_LATEST = 0.2  # seconds before that in which no extra note begins


def find_extras(heard: HeardPass, pace: float) -> list[ExtraNote]:
    """Return the extra notes of a pass, in order. `pace` are the seconds played for each second written."""
    told = [n for n, b in enumerate(heard.times.begins) if b is not None]
    found: list[ExtraNote] = []
    for n, following in zip(told, [*told[1:], None], strict=True):
        if _is_unpitched(heard.groups, n, following):
            continue
        for k in _stretches_between(heard, n, following, pace):
            extra = _extra_at(heard, k, n, following)
            if extra is not None and (not found or extra.at - found[-1].at >= _APART):
                found.append(extra)
    return found


def _stretches_between(heard: HeardPass, n: int, following: int | None, pace: float) -> Iterator[int]:
    """Yield the stretches between a group and the one that is heard next, None after the last, that have room for a note; none where the player hesitates."""
    hearing, times = heard.hearing, heard.times
    until = _latest_end(heard, n, following, pace)
    next_start = None if following is None else times.starts[following]
    if next_start is not None and next_start > until:
        return
    for k in range((times.begins[n] or 0) + 1, _stop_between(heard, following)):
        if hearing.starts[k] < until - _LATEST and _has_room(hearing, k, times):
            yield k


def _extra_at(heard: HeardPass, k: int, n: int, following: int | None) -> ExtraNote | None:
    """Return the extra note that a stretch begins between two groups; None where it begins none."""
    group, hearing = heard.groups[n], heard.hearing
    if hearing.picks[k] <= _NO_PICK or _is_beside_passed(heard, k, n, following):
        return None
    pitch = likely_extra(heard, k, [group] if following is None else [group, heard.groups[following]])
    return None if pitch is None else ExtraNote(float(hearing.starts[k]), pitch, group.sounds[0])


def _latest_end(heard: HeardPass, n: int, following: int | None, pace: float) -> float:
    """Return until when a group may go on before the player hesitates, in seconds."""
    groups = heard.groups
    end = groups[n].at + groups[n].length if following is None else groups[following].at
    late = _LATEST if following is None else _HESITATION
    return float(heard.times.starts[n] or 0) + (end - groups[n].at) * pace + late


def _stop_between(heard: HeardPass, following: int | None) -> int:
    """Return the first stretch that is no longer before a group, None for the end of the recording."""
    hearing = heard.hearing
    if following is None:
        return hearing.count
    stop, start = heard.times.begins[following] or 0, heard.times.starts[following]
    if start is not None and stop < hearing.count and start - hearing.starts[stop] >= _APART:
        return stop + 1  # the stretch that was taken for the group comes before it
    return stop


def _between(groups: Sequence[ExpectedGroup], n: int, following: int | None) -> range:
    """Return the groups from one to the one that is heard next, both included."""
    return range(n, (following if following is not None else min(n + 1, len(groups) - 1)) + 1)


def _is_unpitched(groups: Sequence[ExpectedGroup], n: int, following: int | None) -> bool:
    """Return whether picks between two groups need be no notes of their own: of dead notes and trills, but for one that is heard to follow."""
    return any(_is_struck_often(groups[m]) for m in _between(groups, n, following) if m != following)


def _is_struck_often(group: ExpectedGroup) -> bool:
    """Return whether the picks of a group need be no notes of their own."""
    return group.kind is ExpectedKind.UNPITCHED or any(sound.trill for sound in group.sounds)


def _is_beside_passed(heard: HeardPass, k: int, n: int, following: int | None) -> bool:
    """Return whether a pick may be of a rake, a grace note, a chord or what else is passed over: it is faint, or near where that is or should be."""
    between = [(m, heard.groups[m]) for m in _between(heard.groups, n, following)]
    passed = [m for m, group in between if group.lead or group.why or _is_struck_often(group)]
    at, faint = float(heard.hearing.starts[k]), bool(heard.hearing.picks[k] <= _PICK_CLEAR)
    return bool(passed) and (faint or any(abs(at - heard.place(m)) < _BESIDE for m in passed))


def _has_room(hearing: Hearing, k: int, times: PassTimes) -> bool:
    """Return whether a stretch is loud, and begins apart from the notes of the lick."""
    at = float(hearing.starts[k])
    apart = all(start is None or abs(at - start) >= _APART for start in times.starts)
    return apart and bool(hearing.levels[k] >= hearing.features.loud - _SOFT)
