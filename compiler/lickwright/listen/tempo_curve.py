"""The tempo curve of a player, and the onsets that are off it.

In: when onsets should come at an even pace, when they came, and how exactly each was heard. Out: `TempoCurve`. All onsets are fitted together by a Gaussian
process: a pace that drifts slowly (a cubic smoothing spline: Wahba, 1978), a beat that wanders (the timekeeper of Wing & Kristofferson, 1973), and a looseness
of the player that is estimated. Single onsets that are out of time, and jumps after which everything comes later or earlier, are found by what they add to the
likelihood, so that they do not tilt the curve for their neighbors, and so is a pace that falls over the last onsets (a ritardando). Pure functions on arrays.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

# Standard deviations before anything is heard:
_OFFSET = 10.0  # seconds: where the whole begins
_PACE = 0.1  # share by which the pace of the whole differs from its estimate
_WANDER = 0.012  # seconds that the beat wanders in a second
_OUT = 0.12  # seconds that an onset is off which is out of time
_JUMP = 4.0  # seconds of a jump, be it a hesitation or a long pause
_LOOSENESS, _LOOSENESS_LOG = 0.012, 0.5  # seconds that a player's onsets scatter by, and the deviation of its logarithm
_SLOWING = 0.3  # share by which the pace falls in a second where a player slows down to the end
# Logarithms of how many onsets are out of time, and begin after a jump, and of how many players slow down to the end from a certain onset on.
_OUT_ODDS, _JUMP_ODDS, _SLOWING_ODDS = float(np.log(0.03)), float(np.log(0.01)), float(np.log(0.005))
_LOOSE = (0.004, 0.006, 0.009, 0.013, 0.019, 0.028, 0.042)  # seconds that are tried
_DRIFTS = (0.01, 0.03, 0.1)  # shares by which the pace changes in a second, that are tried
_FEWEST = 3  # onsets on either side of a jump, but of a long one:
_LONG = 0.25  # seconds
_LAST = 3, 6  # onsets, at least and at most, that come later where a player slows down to the end
_OFTEN = 2  # times fewer jumps and onsets out of time than onsets, at least


class TempoCurve(NamedTuple):
    """What is known of the time of each onset."""

    off: Values  # seconds that each onset comes after where all the others put it
    error: Values  # seconds, one standard deviation of that by chance
    pace: Values  # seconds played for each that was expected, around each onset
    out: NDArray[np.bool_]  # onsets that are out of time
    jumps: dict[
        int, tuple[float, float]
    ]  # onsets before which time jumps: seconds that all is later from there on, and their error
    slows: int | None  # the onset from which on the pace falls to the end


class _Fit(NamedTuple):
    """A fit: its inverse covariance, the onsets weighted by it, the logarithm of its likelihood, and what was found."""

    inverse: Values
    weighted: Values
    likelihood: float
    out: set[int]
    jumps: set[int]
    slows: int | None = None


def fit_tempo_curve(expected: Values, heard: Values, blur: Values, *, may_slow: bool = True) -> TempoCurve:
    """Return the tempo curve of onsets. All are in seconds, in order; `blur` is the standard deviation of the ear's own error for each onset.

    `expected` and `heard` have the same pace but for a tenth; the player may slow down to the last of them. Time grows with the cube of the number of onsets.
    """
    x, y = expected - expected[0], heard - expected
    y = y - np.median(y)
    loose, drift = _LOOSENESS, _DRIFTS[0]
    for _ in range(2):
        loose = max(_LOOSE, key=lambda loose: _fit(x, y, blur, loose, drift, may_slow=may_slow).likelihood)
        drift = max(_DRIFTS, key=lambda drift: _fit(x, y, blur, loose, drift, may_slow=may_slow).likelihood)
    fit = _with_onsets_for_jumps(lambda barred: _fit(x, y, blur, loose, drift, barred, may_slow=may_slow))
    variance, off = _left_out(fit)
    out = np.isin(np.arange(len(x)), list(fit.out))
    return TempoCurve(
        off, np.sqrt(np.maximum(variance - _OUT**2 * out, blur**2)), 1 + _pace_covariance(x, drift) @ fit.weighted, out,
        {k: _jump(fit, k) for k in fit.jumps}, fit.slows,
    )  # fmt: skip


def _with_onsets_for_jumps(refit: Callable[[set[int]], _Fit]) -> _Fit:
    """Return the likelier fit: one in which a few onsets between two jumps are out of time instead, each found by itself, or the plain one."""
    fit = refit(set())
    jumps = sorted(fit.jumps)
    barred = {
        k
        for a, b in zip(jumps, jumps[1:], strict=False)
        if b - a <= _FEWEST
        for k in range(a - 1, min(b + 2, len(fit.weighted)))
    }
    if not barred:
        return fit
    other = refit(barred)
    return other if other.likelihood > fit.likelihood else fit


def _left_out(fit: _Fit) -> tuple[Values, Values]:
    """Return variance and error of each onset as all others predict it (Rasmussen & Williams, Gaussian processes for machine learning, 5.12)."""
    variance = 1 / np.diag(fit.inverse)
    return variance, fit.weighted * variance


def _jump(fit: _Fit, k: int) -> tuple[float, float]:
    """Return the length of a jump that was found, and its standard deviation, in seconds."""
    certain = float(fit.inverse[k:, k:].sum())
    return _JUMP**2 * float(fit.weighted[k:].sum()), float(np.sqrt(max(0.0, _JUMP**2 - _JUMP**4 * certain)))


def _fit(
    x: Values, y: Values, blur: Values, loose: float, drift: float, barred: Collection[int] = (), *, may_slow: bool
) -> _Fit:
    """Return the fit for a looseness and a drift, with the onsets out of time, the jumps and the slowing down that make the onsets likelier than they cost.

    Before the onsets `barred` there is no jump.
    """
    covariance = _covariance(x, drift) + np.diag(loose**2 + blur**2)
    inverse = np.asarray(np.linalg.inv(covariance), np.float64)
    volume = float(np.linalg.slogdet(covariance)[1])
    fit = _Fit(inverse, inverse @ y, 0.0, set(), set())
    odds = -0.5 * (np.log(loose / _LOOSENESS) / _LOOSENESS_LOG) ** 2
    slowing = _slowing_ways(x) if may_slow else {}
    while len(fit.out) + len(fit.jumps) < len(x) // _OFTEN and (found := _next_found(fit, barred, slowing)):
        fit, more_odds, way = found
        odds += more_odds
        turned = fit.inverse @ way
        more = 1 + float(way @ turned)
        inverse = fit.inverse - np.outer(turned, turned) / more  # Sherman & Morrison
        volume += float(np.log(more))
        fit = fit._replace(inverse=inverse, weighted=inverse @ y)
    return fit._replace(likelihood=float(odds - 0.5 * (y @ fit.weighted) - 0.5 * volume))


def _next_found(fit: _Fit, barred: Collection[int], slowing: Mapping[int, Values]) -> tuple[_Fit, float, Values] | None:
    """Return a fit with what makes the onsets likelier by most, its odds and how it moves the onsets; None where nothing makes them likelier."""
    n = np.arange(len(fit.weighted))
    out, jumps = _gains_of_outliers(fit), _gains_of_jumps(fit)
    jumps[list(barred)] = -np.inf
    slows = {} if fit.slows is not None else {k: _gain_of_slowing(fit, way) for k, way in slowing.items()}
    k, j, last = int(np.argmax(out)), int(np.argmax(jumps)), max(slows, key=lambda k: slows[k], default=-1)
    gains = float(out[k]), float(jumps[j]), slows.get(last, -np.inf)
    if max(gains) <= 0:
        return None
    if gains[0] == max(gains):
        return fit._replace(out=fit.out | {k}), _OUT_ODDS, np.asarray(_OUT * (n == k))
    if gains[1] == max(gains):
        return fit._replace(jumps=fit.jumps | {j}), _JUMP_ODDS, np.asarray(_JUMP * (n >= j))
    return fit._replace(slows=last), _SLOWING_ODDS, slowing[last]


def _slowing_ways(x: Values) -> dict[int, Values]:
    """Return by how many seconds each onset comes later where the pace falls to the end, by the onset from which on it does."""
    least, most = _LAST
    first, stop = max(1, len(x) - 1 - most), len(x) - least
    return {k: _SLOWING * np.maximum(x - x[k], 0) ** 2 / 2 for k in range(first, stop)}


def _gain_of_slowing(fit: _Fit, way: Values) -> float:
    """Return by how much the logarithm of the likelihood grows if onsets come later in this way; nothing where they come earlier."""
    later, more = float(way @ fit.weighted), 1 + float(way @ fit.inverse @ way)
    return 0.5 * later**2 / more - 0.5 * float(np.log(more)) + _SLOWING_ODDS if later > 0 else -np.inf


def _gains_of_outliers(fit: _Fit) -> Values:
    """Return for each onset by how much the logarithm of the likelihood grows if it is out of time."""
    variance, off = _left_out(fit)
    wide = variance + _OUT**2
    gains = 0.5 * off**2 * (1 / variance - 1 / wide) - 0.5 * np.log(wide / variance) + _OUT_ODDS
    gains[list(fit.out)] = -np.inf
    return np.asarray(gains)


def _gains_of_jumps(fit: _Fit) -> Values:
    """Return for each onset by how much the logarithm of the likelihood grows if time jumps before it."""
    later = np.cumsum(fit.weighted[::-1])[::-1]
    certain = np.diag(np.cumsum(np.cumsum(fit.inverse[::-1, ::-1], axis=0), axis=1))[::-1]
    more = 1 + _JUMP**2 * certain
    gains = 0.5 * _JUMP**2 * later**2 / more - 0.5 * np.log(more) + _JUMP_ODDS
    ends = np.array([*sorted({0, *fit.jumps}), len(later)])
    room = np.abs(ends[None, :] - np.arange(len(later))[:, None]).min(axis=1)
    gains[(room == 0) | ((room < _FEWEST) & (np.abs(later) * _JUMP**2 / more < _LONG))] = -np.inf
    return np.asarray(gains)


def _covariance(x: Values, drift: float) -> Values:
    """Return the covariance of onsets at `x` seconds, their own scatter left out."""
    less, more = np.minimum.outer(x, x), np.maximum.outer(x, x)
    spline = less**2 * (3 * more - less) / 6
    return np.asarray(_OFFSET**2 + _PACE**2 * less * more + drift**2 * spline + _WANDER**2 * less)


def _pace_covariance(x: Values, drift: float) -> Values:
    """Return the covariance of the pace at each onset (rows) with the time of each (columns)."""
    here, there = x[:, None], x[None, :]
    less = np.minimum(here, there)
    return np.asarray(_PACE**2 * there + drift**2 * (less * there - less**2 / 2))
