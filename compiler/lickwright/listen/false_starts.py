"""Phrases that were begun, given up and begun again, found beside the passes that a reading has.

In: a `Hearing`, the groups of a lick with their costs, and a `Matching`. Out: the matching with a pass that is given up for each false start. The cheapest
reading of the whole leaves some out: after talk or another lick nothing more is charged for what stands before the first note, and where the phrase stops
early, its rest may seem to follow after a pause. So the notes that a reading does not explain are looked at by themselves: do they begin the lick?
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from lickwright.core.fast_dataclass import replace
from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.match import (
    STRAY,
    MatchedPass,
    Matching,
    MatchTable,
)
from lickwright.listen.match_costs import PitchCosts
from lickwright.listen.stretches import PICKED, Hearing

_NEAR_TEMPO = (0.94, 1.0, 1.06)  # of the tempo of the pass that follows
_SCALE = (
    0.03,
    0.06,
)  # seconds, and share of a distance in time, that cost half of a note out of time: one who begins again keeps the tempo
_WORTH = 0.5  # of a note that is explained
# By how much cheaper each note must be on the average than one that is left unexplained. Of false starts the takes of tests/bench/listening.py have 0.6 and
# more; what is read into talk, clicks or another lick has less than 0.5.
_CLEAR = 0.6
_FEWEST = 4  # notes that can be judged by which a false start is known
_PAUSE = 0.9  # of a pause in a pass that is none
_LATEST = 0.3  # seconds by which the note after a phrase that was begun again may be late


class _Start(NamedTuple):
    """The lick begun in some stretches."""

    begins: tuple[int | None, ...]  # for each group the stretch that begins it
    tempo: float


def with_false_starts(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, matching: Matching
) -> Matching:
    """Return a matching with the false starts that lie before its passes or within them."""
    passes: list[MatchedPass] = []
    free = 0  # the first stretch after the last pass
    for one in matching.passes:
        told = _told(groups, one.begins)
        if not told:
            passes.append(one)
            continue
        starts: list[MatchedPass] = []
        stop, every = one.begins[told[0]] or 0, range(len(groups))
        while start := _start_between(hearing, groups, costs, (free, stop), one.tempo, every):
            starts.append(MatchedPass(start.begins, False, start.tempo))
            stop = min(b for b in start.begins if b is not None)
        passes += starts[::-1]
        passes += _parted(hearing, groups, costs, one)
        free = max(b for b in one.begins if b is not None) + 1
    return Matching(tuple(passes), matching.cost)


def _told(groups: Sequence[ExpectedGroup], begins: Sequence[int | None]) -> list[int]:
    """Return the groups that begin somewhere and can be judged."""
    judged = (ExpectedKind.SINGLE, ExpectedKind.PAIR)
    return [
        n for n, (group, b) in enumerate(zip(groups, begins, strict=True)) if b is not None and group.kind in judged
    ]


def _parted(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, one: MatchedPass
) -> Iterator[MatchedPass]:
    """Yield a pass; if the phrase was begun again where it seems to pause, first what was given up, then the pass with the notes that were played again."""
    told = _told(groups, one.begins)
    for last, following in zip(told, told[1:], strict=False):
        first, after = (one.begins[n] or 0 for n in (last, following))
        start = _start_between(hearing, groups, costs, (first + 1, after), one.tempo, range(last, following), _PAUSE)
        if start is None:
            continue
        begun, ended = ([n for n, b in enumerate(start.begins) if b is not None][k] for k in (0, -1))
        due = hearing.starts[start.begins[ended] or 0] + (groups[following].at - groups[ended].at) / start.tempo
        if abs(hearing.starts[after] - due) > _LATEST:
            continue
        rest = (None,) * (len(groups) - last - 1)
        yield MatchedPass((*one.begins[: last + 1], *rest), False, one.tempo)
        yield one._replace(begins=(*one.begins[:begun], *start.begins[begun:following], *one.begins[following:]))
        return
    yield one


def _start_between(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, between: tuple[int, int], tempo: float, last: range,
    besides: float = 0.0,
) -> _Start | None:  # fmt: skip
    """Return the lick begun in the stretches from one to another at about a tempo, up to a group of `last`; None if it is not begun there.

    `besides` is the cost of what it explains besides.
    """
    first, stop = between
    if stop - first < _FEWEST:
        return None
    part = replace(
        hearing, starts=hearing.starts[first : stop + 1], picks=hearing.picks[first:stop], pitches=hearing.pitches[first:stop],
        levels=hearing.levels[first:stop], steps=hearing.steps[first:stop], plucked=hearing.plucked[first:stop],
    )  # fmt: skip
    stray = (STRAY * (part.picks > PICKED)).astype(np.float32)
    of_part = PitchCosts(
        costs.begin[:, first:stop] - np.float32(_WORTH), np.tile(stray, (len(groups), 1)), np.zeros(stop - first, bool)
    )
    tempos = np.array([tempo * near for near in _NEAR_TEMPO], np.float32)
    table = MatchTable(part, groups, of_part, tempos, _SCALE, charged=stray)
    table.fill()
    cost, path = table.best_beginning(last)
    begins: list[int | None] = [None] * len(groups)
    for step in path:
        begins[step.group] = first + step.stretch
    if len(_told(groups, begins)) < _FEWEST or float(stray.sum()) - cost + besides < _CLEAR * len(path):
        return None
    return _Start(tuple(begins), float(tempos[path[0].tempo]))
