"""The clicks of a metronome in the room, which are no notes.

In: `Features`, and when the notes of a lick begin. Out: a `ClickTrain`, where there is one: short noises beside the notes, at intervals that no player keeps
so evenly. Pure functions on arrays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.listen.features import Features

# Milliseconds around an instant: before a click, of it, and after it.
_BEFORE, _CLICK, _AFTER = (-8, -1), (0, 5), (45, 70)
_LOUDER = 4.0  # times the energy of the high band before and after a click that it has itself
_APART = 10  # milliseconds
_FROM_NOTES = 0.020  # seconds from a note in which a noise may be its own
_PERIODS = 0.25, 2.1  # seconds
# Seconds that a click may be off, and how much more for each click since the first, before the period is known exactly.
_EVEN, _LESS_EVEN = 0.003, 0.001
_FEWEST = 6  # clicks beside the notes that tell a train,
_FILLED = 0.6  # and share of its places beside the notes, from the first click to the last one, that have one
_NEAR = 0.015  # seconds from a click in which what begins is the click
_MOST = 200  # noises that are looked at
_AROUND = 5.0  # seconds before the first note and after the last one that are looked at


class ClickTrain(NamedTuple):
    """Clicks at even intervals."""

    first: float  # seconds: one of them
    period: float  # seconds

    def off(self, instants: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return by how many seconds instants come after the nearest click."""
        turns = (instants - self.first) / self.period
        return np.asarray((turns - np.round(turns)) * self.period)

    def is_at(self, at: float) -> bool:
        """Return whether a click is at an instant (seconds)."""
        return bool(abs(self.off(np.array([at]))[0]) < _NEAR)


def find_clicks(features: Features, notes: Sequence[float]) -> ClickTrain | None:
    """Return the clicks of a metronome beside and around notes (seconds, in order); None where there is none, or no note."""
    if not notes:
        return None
    told = np.asarray(notes)
    noises = _short_noises(features, max(0.0, float(told[0]) - _AROUND), float(told[-1]) + _AROUND)
    noises = noises[_from_notes(noises, told) > _FROM_NOTES][:_MOST]
    trains = [exact for train in _likely_trains(noises) if (exact := _exact(train, noises, told)) is not None]
    return max(trains, key=lambda train: int((np.abs(train.off(noises)) < _EVEN).sum()), default=None)


def _short_noises(features: Features, first: float, last: float) -> NDArray[np.float64]:
    """Return when the high band is louder for some milliseconds only, between two instants, in seconds."""
    begin = round(first * 1000)
    crisp = features.crisp[begin : round(last * 1000)]
    if len(crisp) <= _AFTER[1] - _BEFORE[0]:
        return np.zeros(0)
    sums = np.concatenate(([0.0], np.cumsum(crisp, dtype=np.float64)))
    at = np.arange(-_BEFORE[0], len(crisp) - _AFTER[1])
    before, click, after = (
        (sums[at + stop] - sums[at + start]) / (stop - start) for start, stop in (_BEFORE, _CLICK, _AFTER)
    )
    louder = click / (np.maximum(before, after) + features.crisp_floor + 1e-15)
    found: list[int] = []
    for k in np.flatnonzero(louder > _LOUDER):
        if not found or k - found[-1] >= _APART:
            found.append(int(k))
        elif louder[k] > louder[found[-1]]:
            found[-1] = int(k)
    return np.asarray((begin + at[found]) / 1000, np.float64)


def _from_notes(instants: NDArray[np.float64], notes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return by how many seconds instants are off the nearest note."""
    around = np.concatenate(([-np.inf], notes, [np.inf]))
    after = np.searchsorted(around, instants)
    return np.asarray(np.minimum(instants - around[after - 1], around[after] - instants))


def _likely_trains(noises: NDArray[np.float64]) -> Iterator[ClickTrain]:
    """Yield the trains that begin with each two noises."""
    if len(noises) < _FEWEST:
        return
    for k, first in enumerate(noises):
        for other in noises[k + 1 : np.searchsorted(noises, first + _PERIODS[1])]:
            if other - first >= _PERIODS[0]:
                yield ClickTrain(float(first), float(other - first))


def _exact(train: ClickTrain, noises: NDArray[np.float64], notes: NDArray[np.float64]) -> ClickTrain | None:
    """Return a train with its exact period, a straight line through its clicks; None where it has too few of them, or too few of its places have one."""
    turns = np.round((noises - train.first) / train.period)
    near = np.abs(train.off(noises)) < _EVEN + _LESS_EVEN * np.abs(turns)
    if near.sum() < _FEWEST:
        return None
    period, first = np.polyfit(turns[near], noises[near], 1)
    exact = ClickTrain(float(first), float(period))
    clicks = noises[np.abs(exact.off(noises)) < _EVEN]
    if len(clicks) < _FEWEST:
        return None
    places = np.arange(clicks[0], clicks[-1] + exact.period / 2, exact.period)
    beside = int((_from_notes(places, notes) > _FROM_NOTES).sum())
    return exact if len(clicks) >= _FILLED * beside else None
