"""Which stretch of a recording begins which group of a lick: dynamic programming over pitch and time.

In: a `Hearing` and the groups of a lick. Out: `Matching`: one or several passes through the lick, each with the stretch that begins each group, or none.
A state is "group g begins at stretch b, at tempo t". It costs what its pitch is off and what its distance in time from the group before is
off, which saturates, so that a pause costs once. Groups may be left out, notes may be extra, a phrase may be begun again, and the whole may be played
several times. Costs are in parts of a note left out, all estimates (tests/bench/listening.py measures what they find).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.expected import ExpectedGroup, ExpectedKind
from lickwright.listen.match_costs import Costs, PitchCosts
from lickwright.listen.stretches import PICKED, Hearing

TEMPOS = (0.45, 0.55, 0.66, 0.8, 0.95, 1.12, 1.35)  # of the lick's own
_MISSING, _MISSING_LIGHT, _MISSING_PASSED = 1.0, 0.15, 0.5
# Seconds, and share of a distance in time, that cost half of `_OUT_OF_TIME`: where the tempo is searched for, and where it is known.
_SCALE, _SCALE_KNOWN = (0.05, 0.2), (0.055, 0.13)
_AROUND = (0.97, 1.0, 1.03)  # of a tempo that is known
_OUT_OF_TIME = 0.9  # at most
_PAUSE = 0.9
_AGAIN_FIRST, _AGAIN = 0.8, 1.6  # of a phrase begun again, at its first group or at another one
_PASS = 0.3  # of another pass, less what it is worth:
_WORTH = 0.5  # of its notes, or one that is passed over would always be cheaper
_NOISE, _STRAY = 0.03, 0.6  # of a stretch in a pause: without a pick, and a pick with a pitch
_LINGERS = 0.5  # seconds after the end of what is passed over in which its picks may be its own
# Stretches between two groups at most, but for pauses: of those that may be strings, and of all.
_WINDOW, _WIDEST = 20, 64
_MOST_STRAY = 4.0  # that is charged for what stands before the first note, between two passes, and after the last note
_FOREIGN = 0.2  # of a pick there whose pitch the lick has nowhere, as of talk or of another lick
_MOST_STATES = 4_000_000


class MatchedPass(NamedTuple):
    """One time through the lick, or the part of it that was begun and given up."""

    begins: tuple[int | None, ...]  # for each group the stretch that begins it
    whole: bool  # False: given up, and begun again
    tempo: float  # of the lick's own, as matched


class Matching(NamedTuple):
    """All passes in order, and the cost of the best reading, a group."""

    passes: tuple[MatchedPass, ...]
    cost: float


def match_groups(
    hearing: Hearing, groups: Sequence[ExpectedGroup], costs: PitchCosts, known: Sequence[float] = ()
) -> Matching:
    """Return the cheapest reading of a hearing as the lick.

    `known` are tempos that are near the right one already (shares of the lick's own); time is then judged more strictly.
    """
    if not hearing.count or not groups:
        return Matching((), _MISSING)
    tempos = sorted({near * by for near in known for by in _AROUND}) if known else list(TEMPOS)
    if len(tempos) * len(groups) * hearing.count > _MOST_STATES:
        tempos = tempos[1::3][:3]
    table = MatchTable(hearing, groups, costs, np.array(tempos, np.float32), _SCALE_KNOWN if known else _SCALE)
    table.fill()
    cost, path = table.best_path()
    passes = _passes(path, len(groups), tempos)
    whole = max(1, sum(p.whole for p in passes))
    cost += (whole - 1) * _WORTH * float(table.missing[-1])
    return Matching(passes, cost / len(groups) / whole)


class MatchStep(NamedTuple):
    """One group that begins with a stretch."""

    group: int
    stretch: int
    tempo: int
    again: int  # 0: goes on; 1: begun again; 2: another pass


def _passes(path: Sequence[MatchStep], count: int, tempos: Sequence[float]) -> tuple[MatchedPass, ...]:
    found: list[MatchedPass] = []
    begins: list[int | None] = [None] * count
    tempo = path[0].tempo if path else 0
    for step in path:
        if step.again:
            found.append(MatchedPass(tuple(begins), step.again == 2, tempos[tempo]))
            begins = [None] * count
            tempo = step.tempo
            if step.again == 1 and step.group:  # what was played before the place where it was begun again still counts
                begins[: step.group] = found[-1].begins[: step.group]
        begins[step.group] = step.stretch
    return (*found, MatchedPass(tuple(begins), True, tempos[tempo]))


class MatchTable:
    """The costs, and the states as they are filled in from the first stretch to the last."""

    def __init__(
        self,
        hearing: Hearing,
        groups: Sequence[ExpectedGroup],
        costs: PitchCosts,
        tempos: NDArray[np.float32],
        scale: tuple[float, float],
    ) -> None:
        self.scale = scale
        self.tempos = tempos
        self.count, self.groups = hearing.count, len(groups)
        self.times = hearing.starts.astype(np.float64)
        self.at = np.array([g.at for g in groups])
        light = [g.lead or g.kind is ExpectedKind.UNPITCHED for g in groups]
        passed = [g.kind is ExpectedKind.PASSED for g in groups]
        missing = np.where(light, _MISSING_LIGHT, np.where(passed, _MISSING_PASSED, _MISSING))
        self.missing = np.concatenate(([0.0], np.cumsum(missing))).astype(np.float32)  # of all before each group
        lengths = np.array([g.length for g in groups])
        self.longest = np.where(np.array(light) | np.array(passed), lengths / tempos.min() + _LINGERS, np.inf)
        self.begin, self.inside = costs.begin, costs.inside
        self.until = np.concatenate((np.zeros((self.groups, 1), np.float32), np.cumsum(self.inside, axis=1)), axis=1)
        picked = (hearing.picks > PICKED) & np.isfinite(hearing.pitches)
        self.stray = np.maximum(np.where(picked, _STRAY, _NOISE) * hearing.weights, _NOISE).astype(np.float32)
        self.foreign = np.where(costs.foreign, np.maximum(_FOREIGN * hearing.weights, _NOISE), _STRAY)
        strings = np.concatenate(([0], np.cumsum(hearing.weights > 0)))
        counted = np.searchsorted(strings, strings[:-1] - _WINDOW, side="left")
        self.low = np.maximum(counted, np.arange(self.count) - _WIDEST)  # the first stretch that may come before each
        self.strays = np.concatenate(([0.0], np.cumsum(self.stray))).astype(np.float32)
        # For each group and the stretch that begins it, the first stretch that is no more its own.
        ends = self.times[None, :-1] + self.longest[:, None]
        self.over_from = np.searchsorted(self.times[:-1], ends, side="right").astype(np.int32)
        self.cheapest, self.last = float("inf"), (0, -1, -1)  # the end of the cheapest reading: tempo, group, stretch
        self.over = self.cheapest, self.last  # the same of one after which anything may sound
        shape = (len(tempos), self.groups, self.count)
        self.best = np.full(shape, np.inf, np.float32)
        self.came_group = np.full(shape, -1, np.int16)
        self.came_stretch = np.full(shape, -1, np.int32)
        self.came_tempo = np.full(shape, -1, np.int8)  # -1: the same; else of another pass
        self.again = np.zeros(shape, np.int8)
        self.waiting = np.full(shape[:2], np.inf, np.float32)  # after group g, whatever sounded since
        self.waiting_from = np.full(shape[:2], -1, np.int32)

    def fill(self) -> None:
        around = np.concatenate(([0.0], np.cumsum(np.minimum(self.stray, self.foreign))))
        before = np.minimum(around, _MOST_STRAY).astype(np.float32)
        after = np.minimum(around[-1] - around[1:], _MOST_STRAY)
        for b in range(self.count):
            self._start(b, float(before[b]))
            if b:
                self._go_on(b)
                self._resume(b)
                self._again(b)
            self.best[:, :, b] += self.begin[:, b]
            self._wait(b)
            self._end(float(after[b]))

    def _start(self, b: int, stray: float) -> None:
        self.best[:, :, b] = stray + self.missing[:-1]

    def _better(
        self,
        b: int,
        cost: Costs,
        group: NDArray[np.intp],
        stretch: NDArray[np.int32],
        again: int,
        tempo: NDArray[np.intp] | None = None,
    ) -> None:
        """Take a way to every group at stretch `b` where it is cheaper; arrays have shape (tempos, groups)."""
        better = cost < self.best[:, :, b]
        if better.any():
            self.best[:, :, b][better] = cost[better]
            self.came_group[:, :, b][better] = group[better]
            self.came_stretch[:, :, b][better] = stretch[better]
            self.came_tempo[:, :, b][better] = -1 if tempo is None else tempo[better]
            self.again[:, :, b][better] = again

    def _go_on(self, b: int) -> None:
        """From a group a few stretches ago to the next one, or over one or two that are left out."""
        low = self.low[b]
        passed = self.times[b] - self.times[low:b]
        own = np.minimum(self.over_from[:, low:b], b)
        inside = np.take_along_axis(self.until, own, 1) - self.until[:, low + 1 : b + 1]
        lasted = self.best[:, :, low:b] + (inside + self.strays[b] - self.strays[own])[None]
        for skipped in range(min(3, self.groups - 1)):
            ahead = 1 + skipped
            wait = (self.at[ahead:] - self.at[:-ahead]).astype(np.float32)
            expected = wait[None, :] / self.tempos[:, None]
            scale = self.scale[0] + self.scale[1] * expected
            off = ((passed[None, None, :] - expected[:, :, None]) / scale[:, :, None]) ** 2
            cost = lasted[:, :-ahead] + (_OUT_OF_TIME * off / (1 + off)).astype(np.float32)
            best = np.argmin(cost, axis=2)
            found = np.full(self.best.shape[:2], np.inf, np.float32)
            left_out = self.missing[ahead:-1] - self.missing[1 : self.groups - ahead + 1]
            found[:, ahead:] = np.take_along_axis(cost, best[:, :, None], 2)[:, :, 0] + left_out
            group = np.broadcast_to(np.arange(self.groups) - ahead, found.shape)
            stretch = np.zeros(found.shape, np.int32)
            stretch[:, ahead:] = low + best
            self._better(b, found, group, stretch, 0)

    def _resume(self, b: int) -> None:
        """After a pause, with any number of groups left out."""
        reduced = self.waiting - self.missing[1:]
        where = _running_argmin(reduced)
        cost = np.full(self.waiting.shape, np.inf, np.float32)
        source = np.take_along_axis(reduced, where, 1)[:, :-1]
        cost[:, 1:] = source + self.missing[1:-1] + _PAUSE
        group = np.concatenate((np.zeros((len(where), 1), np.intp), where[:, :-1]), axis=1)
        self._better(b, cost, group, np.take_along_axis(self.waiting_from, group, 1), 0)

    def _again(self, b: int) -> None:
        """Begin again, at the same tempo; or another pass, at any."""
        backward = self.waiting[:, ::-1]
        where = self.groups - 1 - _running_argmin(backward)[:, ::-1]
        price = np.full(self.groups, _AGAIN, np.float32)
        price[0] = _AGAIN_FIRST
        cost = np.take_along_axis(self.waiting, where, 1) + price
        self._better(b, cost, where, np.take_along_axis(self.waiting_from, where, 1), 1)
        ended, (tempo, group, came) = min(self._ended(), self.over)
        shape = self.waiting.shape
        whole = np.broadcast_to(ended + _PASS - _WORTH * self.missing[-1] + self.missing[:-1], shape)
        stretch = np.full(shape, came, np.int32)
        self._better(b, whole.astype(np.float32), np.full(shape, group), stretch, 2, np.full(shape, tempo))

    def _wait(self, b: int) -> None:
        """Let stretch `b` pass: what sounds in it belongs to the group before, or to nothing."""
        lasted = self.times[b] - self.times[np.maximum(self.waiting_from, 0)]
        over = (lasted > self.longest[None, :]) & (self.stray[b] > _NOISE)
        on = self.waiting + np.where(over, self.stray[b], np.minimum(self.inside[:, b], self.stray[b]))
        new = self.best[:, :, b]
        begun = new <= on
        self.waiting = np.where(begun, new, on).astype(np.float32)
        self.waiting_from = np.where(begun, b, self.waiting_from).astype(np.int32)

    def _ended(self) -> tuple[float, tuple[int, int, int]]:
        """Return what the cheapest reading costs that ends here, and its last tempo, group and stretch."""
        ended = self.waiting + (self.missing[-1] - self.missing[1:])
        tempo, group = (int(n) for n in np.unravel_index(int(np.argmin(ended)), ended.shape))
        return float(ended[tempo, group]), (tempo, group, int(self.waiting_from[tempo, group]))

    def _end(self, stray: float) -> None:
        """Let the music end with the stretch that passed last; what comes after it costs `stray`, and before another pass `_MOST_STRAY` at most."""
        cost, last = self._ended()
        if cost + stray < self.cheapest:
            self.cheapest, self.last = cost + stray, last
        self.over = min(self.over, (cost + _MOST_STRAY, last))

    def best_path(self) -> tuple[float, list[MatchStep]]:
        """Return the cost of the cheapest reading and its steps, in order."""
        return self.cheapest, self._path(*self.last)

    def _path(self, tempo: int, group: int, stretch: int) -> list[MatchStep]:
        """Return the steps to a group that begins with a stretch, in order."""
        path: list[MatchStep] = []
        while group >= 0:
            at = (tempo, group, stretch)
            path.append(MatchStep(group, stretch, tempo, int(self.again[at])))
            other = int(self.came_tempo[at])
            group, stretch = int(self.came_group[at]), int(self.came_stretch[at])
            tempo = other if other >= 0 else tempo
        path.reverse()
        return path


def _running_argmin(values: Costs) -> NDArray[np.intp]:
    """Return for each place the index of the least value up to it, along the second axis."""
    least = np.minimum.accumulate(values, axis=1)
    fresh = values <= least
    return np.maximum.accumulate(np.where(fresh, np.arange(values.shape[1]), 0), axis=1)
