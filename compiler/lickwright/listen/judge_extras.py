"""Notes that the lick has not.

In: a `HeardPass`. Out: `ExtraNote`s. A stretch is one by the odds of `extra_odds.py`, and so is a change of the sound that begins no stretch, where the string
that sounds is struck once more. None stands between dead notes or in trills, near what is passed over, where the player hesitates, nor where a
metronome clicks.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.extra_odds import likely_again, likely_extra
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.model import ExtraNote
from lickwright.listen.room_clicks import find_clicks

_PICK_CLEAR = 4.5  # odds of a pick above which it may be a note of its own though something that is passed over is near
_SOFT = 21.0  # decibels below the loudest
_APART = 0.075  # seconds from the notes of the lick, and from each other
_BESIDE = 0.30  # seconds from a grace note, a chord or what else is passed over, in which each of its strings begins
_UNHEARD = 0.15  # seconds from where a note of the lick is expected that is not heard, in which a stroke of its pitch may be that note
_HESITATION = 0.45  # seconds beyond what is expected
_LATEST = 0.2  # seconds before that in which no extra note begins


def find_extras(heard: HeardPass, pace: float) -> list[ExtraNote]:
    """Return the extra notes of a pass, in order. `pace` are the seconds played for each second written."""
    told = [n for n, b in enumerate(heard.times.begins) if b is not None]
    clicks = find_clicks(heard.hearing.features, sorted(s for s in heard.times.starts if s is not None))
    found: list[ExtraNote] = []
    for n, following in zip(told, [*told[1:], None], strict=True):
        if _is_unpitched(heard.groups, n, following):
            continue
        for extra in _extras_between(heard, n, following, pace):
            is_click = clicks is not None and clicks.is_at(extra.at)
            if not is_click and (not found or extra.at - found[-1].at >= _APART):
                found.append(extra)
    return found


def _extras_between(heard: HeardPass, n: int, following: int | None, pace: float) -> Iterator[ExtraNote]:
    """Yield the extra notes between a group and the one that is heard next, None after the last, in order; none where the player hesitates."""
    times = heard.times
    until = _latest_end(heard, n, following, pace)
    next_start = None if following is None else times.starts[following]
    if next_start is not None and next_start > until:
        return
    stop = until - _LATEST
    places: list[tuple[float, int | None]] = [
        (float(heard.hearing.starts[k]), k) for k in _stretches_between(heard, n, following, stop)
    ]
    places += [(at, None) for at in _changes_between(heard, n, stop if next_start is None else min(next_start, stop))]
    for at, k in sorted(places, key=lambda place: place[0]):
        if all(start is None or abs(at - start) >= _APART for start in times.starts):
            pitch = _extra_pitch(heard, at, k, n, following)
            if pitch is not None:
                yield ExtraNote(at, pitch, heard.groups[n].sounds[0])


def _stretches_between(heard: HeardPass, n: int, following: int | None, stop: float) -> Iterator[int]:
    """Yield the stretches between two groups that are loud and begin before an instant (seconds)."""
    hearing = heard.hearing
    last = min(_stop_between(heard, following), int(np.searchsorted(hearing.starts, stop)))
    for k in range((heard.times.begins[n] or 0) + 1, last):
        if hearing.levels[k] >= hearing.features.loud - _SOFT:
            yield k


def _changes_between(heard: HeardPass, n: int, stop: float) -> Sequence[float]:
    """Return the instants from the beginning of a group on and before another one (seconds) at which the sound changes and no stretch begins."""
    changes = heard.hearing.changes
    first, last = np.searchsorted(changes, (heard.times.starts[n] or 0.0, stop))
    return [float(at) for at in changes[first:last]]


def _extra_pitch(heard: HeardPass, at: float, k: int | None, n: int, following: int | None) -> float | None:
    """Return the pitch of the extra note that begins at an instant (seconds) between two groups, with stretch `k` or with none; None where none begins."""
    faint = k is None or bool(heard.hearing.picks[k] <= _PICK_CLEAR)
    if _is_beside_passed(heard, at, faint, n, following):
        return None
    group = heard.groups[n]
    if k is None:
        pitch = likely_again(heard, at, group)
    else:
        pitch = likely_extra(heard, k, [group] if following is None else [group, heard.groups[following]])
    return None if pitch is None or _may_be_unheard(heard, at, pitch, n, following) else pitch


def _may_be_unheard(heard: HeardPass, at: float, pitch: float, n: int, following: int | None) -> bool:
    """Return whether a stroke of a pitch may be that of a note of the lick between two groups which is not heard otherwise."""
    unheard = (m for m in _between(heard.groups, n, following) if heard.times.starts[m] is None)
    return any(abs(at - heard.place(m)) < _UNHEARD and pitch in heard.groups[m].pitches for m in unheard)


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


def _is_beside_passed(heard: HeardPass, at: float, faint: bool, n: int, following: int | None) -> bool:
    """Return whether a pick may be of a rake, a grace note, a chord or what else is passed over: it is faint, or near where that is or should be."""
    between = [(m, heard.groups[m]) for m in _between(heard.groups, n, following)]
    passed = [m for m, group in between if group.lead or group.why or _is_struck_often(group)]
    return bool(passed) and (faint or any(abs(at - heard.place(m)) < _BESIDE for m in passed))
