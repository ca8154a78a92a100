"""When each group of a pass begins, until when it is listened to, and when it should begin by its neighbors.

In: the groups of a lick and the stretches that the match begins them with. Out: `PassTimes`.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence

from lickwright.core.fast_dataclass import record
from lickwright.listen.combs import comb_strength
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.second_opinion import new_spectrum
from lickwright.listen.stretches import PICKED, Hearing

SURE_PICK = 3.0  # odds of a pick that is one
_LATEST_PITCH = 0.4  # seconds after a pick that its pitch may come out
_EARLIER = 3  # stretches back to the pick of a note whose pitch comes out late
_SURE = 0.5  # strength of a comb that is enough for a note
_RING = 0.35  # seconds after its written length in which a note may still be heard


@record
class PassTimes:
    """When each group of a pass begins, and until when it is listened to."""

    begins: tuple[int | None, ...]  # stretches; None where none was matched
    starts: tuple[float | None, ...]  # seconds; None where nothing was heard to begin, by a stretch or by an entry
    stops: tuple[float, ...]  # seconds; 0 for a group that was not heard
    predicted: tuple[float, ...]  # seconds at which each should begin, by its neighbors


def begun_at_picks(
    hearing: Hearing, groups: Sequence[ExpectedGroup], begins: Sequence[int | None], higher: float
) -> tuple[int | None, ...]:
    """Return the stretches that begin each group, each struck one at its pick where its pitch came out only later, when another string fell silent."""
    moved: list[int | None] = []
    free = 0  # the first stretch after the one that begins the group before
    for group, begin in zip(groups, begins, strict=True):
        if begin is not None:
            if group.kind is ExpectedKind.SINGLE and group.struck and hearing.picks[begin] <= PICKED:
                begin = _begun_at_pick(hearing, group, begin, free, higher)
            free = begin + 1
        moved.append(begin)
    return tuple(moved)


def _begun_at_pick(hearing: Hearing, group: ExpectedGroup, begin: int, free: int, higher: float) -> int:
    """Return the last stretch before `begin`, from `free` on, that begins with a pick, if the pitch of the group is in it; else `begin`."""
    for k in range(begin - 1, max(free, begin - _EARLIER) - 1, -1):
        if hearing.picks[k] > SURE_PICK and hearing.starts[begin] - hearing.starts[k] < _LATEST_PITCH:
            spectrum = new_spectrum(hearing.recording, hearing.starts[k], hearing.starts[k + 1])
            return k if comb_strength(spectrum, group.pitches[0] + higher) > _SURE else begin
    return begin


def begun_starts(hearing: Hearing, begins: Sequence[int | None]) -> list[float | None]:
    """Return when the stretches that begin groups start, in seconds; None for a group that none begins."""
    return [None if b is None else float(hearing.starts[b]) for b in begins]


def pass_times(
    groups: Sequence[ExpectedGroup], begins: Sequence[int | None], starts: Sequence[float | None], tempo: float
) -> PassTimes:
    """Return the times of a pass whose groups begin at `starts` (seconds). `tempo` is the share of the lick's own at which it was matched."""
    told = {n: start for n, start in enumerate(starts) if start is not None}
    stops = [_stop(groups, told, n, tempo) if n in told else 0.0 for n in range(len(groups))]
    predicted = [_predicted(groups, told, n, tempo) for n in range(len(groups))]
    return PassTimes(tuple(begins), tuple(starts), tuple(stops), tuple(predicted))


def _stop(groups: Sequence[ExpectedGroup], told: Mapping[int, float], n: int, tempo: float) -> float:
    """Return until when a group is listened to: until the next one begins, or it rings out (seconds)."""
    rings_out = told[n] + groups[n].length / tempo + _RING
    return min(rings_out, next((start for m, start in told.items() if m > n and start > told[n]), rings_out))


def _predicted(groups: Sequence[ExpectedGroup], told: Mapping[int, float], n: int, tempo: float) -> float:
    """Return when a group should begin by the groups that are heard before and after it (seconds), at the tempo of the match beside the first and the last."""
    others = [m for m in told if m != n]
    if not others:
        return 0.0
    k = bisect_left(others, n)
    before, after = others[max(0, k - 1)], others[min(k, len(others) - 1)]
    span = groups[after].at - groups[before].at
    pace = (told[after] - told[before]) / span if span > 0 else 1 / tempo
    return told[before] + pace * (groups[n].at - groups[before].at)
