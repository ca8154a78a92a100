"""Notes that the lick has not.

In: a `Hearing`, the groups of a lick and their times in a pass. Out: `ExtraNote`s. Only verified picks with a clear pitch count, and none beside dead
notes, rakes or what is passed over, nor where the player hesitates.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.judge_notes import PassTimes
from lickwright.listen.model import ExtraNote
from lickwright.listen.stretches import Hearing

_PICK, _PICK_SAME = 1.5, 2.5  # odds of a pick at another pitch, and at the one that sounds already
_PICK_MOVING = 4.5  # odds of a pick while a bend or a slide is on its way
_SOFT = 21.0  # decibels below the loudest
_APART = 0.075  # seconds from the notes of the lick
_SHORT = 0.06  # seconds that an extra note lasts at least
_HESITATION = 0.45  # seconds beyond what is expected
_LATEST = 0.2  # seconds before that in which no extra note begins


def find_extras(
    hearing: Hearing, groups: Sequence[ExpectedGroup], times: PassTimes, pace: float, higher: float
) -> list[ExtraNote]:
    """Return the extra notes of a pass, in order."""
    told = [n for n, b in enumerate(times.begins) if b is not None]
    found: list[ExtraNote] = []
    for n, following in zip(told, [*told[1:], None], strict=True):
        if not _is_passed(groups, n, following):
            found += _extras_between(hearing, groups, times, n, following, pace, higher)
    return found


def _extras_between(
    hearing: Hearing,
    groups: Sequence[ExpectedGroup],
    times: PassTimes,
    n: int,
    following: int | None,
    pace: float,
    higher: float,
) -> Iterator[ExtraNote]:
    """Yield the extra notes between a group and the one that is heard next, None after the last; none where the player hesitates."""
    start, next_start = times.starts[n], None if following is None else times.starts[following]
    end = groups[n].at + groups[n].length if following is None else groups[following].at
    until = float(start or 0) + (end - groups[n].at) * pace + _HESITATION
    if next_start is not None and next_start > until:
        return
    last = hearing.count if following is None else times.begins[following] or 0
    for k in range((times.begins[n] or 0) + 1, last):
        if hearing.starts[k] < until - _LATEST and _is_extra(hearing, k, groups[n], start, next_start, higher):
            yield ExtraNote(float(hearing.starts[k]), float(hearing.pitches[k] - higher), groups[n].sounds[0])


def _is_passed(groups: Sequence[ExpectedGroup], n: int, following: int | None) -> bool:
    """Return whether something between two groups is not judged: dead notes, trills, a rake or a grace note on the way."""
    last = following if following is not None else min(n + 1, len(groups) - 1)
    between = groups[n : last + 1]
    return any(
        g.kind is ExpectedKind.UNPITCHED or g.lead or bool(g.why) or any(s.trill for s in g.sounds) for g in between
    )


def _is_extra(
    hearing: Hearing, k: int, group: ExpectedGroup, start: float | None, following: float | None, higher: float
) -> bool:
    at, pitch = float(hearing.starts[k]), float(hearing.pitches[k]) - higher
    lasts = float(hearing.starts[k + 1]) - at
    if not np.isfinite(pitch) or hearing.levels[k] < hearing.features.loud - _SOFT:
        return False
    if (
        lasts < _SHORT
        or (start is not None and at - start < _APART)
        or (following is not None and following - at < _APART)
    ):
        return False
    same = group.low - 0.6 <= pitch <= group.high + 0.6
    least = _PICK_MOVING if same and group.high - group.low > 0.4 else _PICK_SAME if same else _PICK
    return bool(hearing.picks[k] > least)
