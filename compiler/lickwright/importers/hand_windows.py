"""Where on the neck the hand is, moment by moment, when only pitches are known.

In: the ways to play each moment. Out: for each moment the ways that lie under the hand. The hand stays in a window of four frets as long as it can (Viterbi
over windows). Which windows are usual is a prior. Fingers are found afterwards, by `hand/fingering.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lickwright.music.fretboard import Place

FRETS = 4  # of a window
_WINDOWS = range(20)  # by their lowest frets


class WindowCosts(NamedTuple):
    """What windows cost, in notes outside of the window. Fitted to a half of the samples; `tests/bench/frets.py` prints the other half too."""

    near: float = 0.2  # a note one fret outside
    outside: float = 2.0  # a note further outside
    further: float = 0.09  # more for each fret of distance
    open_inside: float = 0.42  # an open string while the hand is not at the nut
    low: float = 0.08  # each fret of a window below the usual one
    high: float = 0.02  # each fret of a window above it
    nut: float = 0.07  # the window at the nut
    move: float = 1.25  # another window
    way: float = 0.48  # each fret of the way to it


USUAL = 3  # lowest fret of the window in which most is played
COSTS = WindowCosts()


def under_the_hand(
    moments: Sequence[Sequence[tuple[Place, ...]]], costs: WindowCosts = COSTS
) -> list[list[tuple[Place, ...]]]:
    """Return for each moment the ways to play it that fit its window best; at least one of each."""
    if not moments:
        return []
    best = [0.0] * len(_WINDOWS)
    back: list[list[int]] = []
    known: dict[tuple[tuple[Place, ...], ...], list[float]] = {}
    for ways in moments:
        name = tuple(ways)
        if name not in known:
            known[name] = [
                min(_cost(way, window, costs) for way in ways) + _prior(window, costs) for window in _WINDOWS
            ]
        came = _came_from(best, costs)
        best = [best[before] + _move(before, window, costs) + known[name][window] for window, before in enumerate(came)]
        back.append(came)
    window = min(_WINDOWS, key=lambda one: best[one])
    path = []
    for came in reversed(back):
        path.append(window)
        window = came[window]
    return [_fitting(ways, window, costs) for ways, window in zip(moments, reversed(path), strict=True)]


def _came_from(best: Sequence[float], costs: WindowCosts) -> list[int]:
    """Return for each window the one from which it is reached at the least cost: itself, or the nearest good one below or above."""
    below, above = list(_WINDOWS), list(_WINDOWS)
    for window in _WINDOWS[1:]:
        if best[below[window - 1]] + costs.way * (window - below[window - 1]) < best[window]:
            below[window] = below[window - 1]
    for window in reversed(_WINDOWS[:-1]):
        if best[above[window + 1]] + costs.way * (above[window + 1] - window) < best[window]:
            above[window] = above[window + 1]
    return [
        min((window, below[window], above[window]), key=lambda one: best[one] + _move(one, window, costs))
        for window in _WINDOWS
    ]


def _fitting(ways: Sequence[tuple[Place, ...]], window: int, costs: WindowCosts) -> list[tuple[Place, ...]]:
    priced = [(_cost(way, window, costs), way) for way in ways]
    least = min(cost for cost, _ in priced)
    return [way for cost, way in priced if cost <= least + costs.near / 2]


def _cost(way: Sequence[Place], window: int, costs: WindowCosts) -> float:
    total = 0.0
    for _, fret in way:
        if fret == 0:
            total += costs.open_inside if window else 0.0
            continue
        first = max(1, window)
        off = max(first - fret, fret - first - FRETS + 1 + (0 if window else 1), 0)
        total += 0.0 if not off else costs.near if off == 1 else costs.outside + costs.further * off
    return total


def _prior(window: int, costs: WindowCosts) -> float:
    if not window:
        return costs.nut
    return costs.high * (window - USUAL) if window > USUAL else costs.low * (USUAL - window)


def _move(before: int, after: int, costs: WindowCosts) -> float:
    return 0.0 if before == after else costs.move + costs.way * abs(before - after)
