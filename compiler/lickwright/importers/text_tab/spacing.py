"""Rhythm from spacing: when the notes of a bar are played, by how far apart they stand.

In: the columns of a bar, its width, and its length. Out: instants in whole notes, and how plausible they are, from 0 to 1. First an even
grid is looked for, on which every
column lies; else a small cost model weighs how far each note is moved from its place against how simple its place in the bar is.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

_GRIDS = (
    8,
    16,
    4,
    12,
    6,
    24,
    32,
)  # equal parts of a 4/4 bar, the likeliest first; other meters take as many of each part as fit
_GRID_SURE, _TRIPLET_SURE = 0.9, 0.7  # estimates
_PADS = (1, 0, 2, 3)  # columns between a bar line and the first beat, the usual one first
_MOVE, _WEAK, _OFF = (
    14.0,
    0.05,
    0.12,
)  # cost of a move by a whole bar, of an eighth off the beat, of a sixteenth off that; estimates
_BAND = 3  # grid places on each side of a note's own that are weighed
LONGEST = 64  # notes of one bar that are weighed; beyond that they are spread evenly


class Spaced(NamedTuple):
    """When the notes of a bar are played."""

    times: tuple[Fraction, ...]  # whole notes from the start of the bar
    confidence: float
    even: bool  # on an even grid


@lru_cache(maxsize=4096)
def spaced_times(places: tuple[int, ...], width: int, length: Fraction, pad: int | None) -> Spaced:
    """Return when notes at these columns of a bar are played.

    `places` count from the bar line, rising; `width` is the columns up to the next bar line; `length` is the bar's, in whole notes; `pad` is where the first
    beat stands, if other bars show it.
    """
    if not places:
        return Spaced((), 1.0, True)
    if len(places) > LONGEST:
        return _spread(len(places), length)
    even = _even_grid(places, width, length, pad)
    if even is not None:
        return even
    return _weighed(places, width, length, pad)


def _spread(count: int, length: Fraction) -> Spaced:
    parts = 1
    while parts < count:
        parts *= 2
    return Spaced(tuple(length * k / parts for k in range(count)), 0.1, False)


def _grids(length: Fraction) -> list[int]:
    """Return the numbers of equal parts that a bar is tried in: eighths, sixteenths, quarters, triplets, thirty-seconds."""
    found = [length * grid for grid in _GRIDS]
    return [int(parts) for parts in found if parts.denominator == 1]


def _even_grid(places: Sequence[int], width: int, length: Fraction, pad: int | None) -> Spaced | None:
    """Return the first grid on which every note stands; None without one."""
    fitting = [p for p in dict.fromkeys((places[0], *_PADS)) if p <= places[0]]
    for start in [pad] if pad is not None and pad <= places[0] else fitting:
        for parts in _grids(length):
            unit, rest = divmod(width - start, parts)
            if unit < 1 or rest > max(1, start) or not _is_likely(places, unit, parts, length):
                continue
            steps = _grid_steps(places, start, unit, parts)
            if steps is not None:
                sure = _TRIPLET_SURE if parts % 3 == 0 and length.numerator % 3 else _GRID_SURE
                return Spaced(tuple(length * step / parts for step in steps), sure if len(places) > 1 else 0.5, True)
    return None


def _grid_steps(places: Sequence[int], start: int, unit: int, parts: int) -> list[int] | None:
    """Return the steps of a grid of `parts`, each `unit` columns wide, that the notes stand on; None if one stands between two."""
    if len(places) > parts:
        return None
    steps = [divmod(place - start, unit) for place in places]
    if any(off for _, off in steps) or steps[-1][0] >= parts:
        return None
    return [step for step, _ in steps]


def _is_likely(places: Sequence[int], unit: int, parts: int, length: Fraction) -> bool:
    """Return True for a grid that people would write: a column a step only where most notes are neighbors, triplets only in rows of three."""
    gaps = [b - a for a, b in zip(places, places[1:], strict=False)]
    steps = sum(gap == unit for gap in gaps)
    if unit == 1 and len(places) > 2 and (parts < 16 or steps * 2 <= len(gaps)):
        return False
    return parts % 3 != 0 or length.numerator % 3 == 0 or (len(places) >= 3 and steps * 3 >= 2 * len(gaps))


def _weighed(places: Sequence[int], width: int, length: Fraction, pad: int | None) -> Spaced:
    start = pad if pad is not None and pad <= places[0] else min(places[0], 2)
    share = [(place - start) / max(1, width - start) for place in places]
    best: tuple[float, tuple[int, ...], int] | None = None
    for parts in _grids(length):
        if len(places) > parts or parts > 32:
            continue
        found = _fit(share, parts, length)
        if found is not None and (best is None or found[0] + _grid_cost(parts, length) < best[0]):
            best = (found[0] + _grid_cost(parts, length), found[1], parts)
    if best is None:
        return _spread(len(places), length)
    cost, chosen, parts = best
    confidence = max(0.2, min(0.85, 0.85 - 0.5 * cost / len(places)))
    return Spaced(tuple(length * k / parts for k in chosen), confidence, False)


def _grid_cost(parts: int, length: Fraction) -> float:
    per_whole = Fraction(parts) / length
    return {4: 0.0, 8: 0.1, 16: 0.35, 32: 1.5, 12: 2.0, 24: 2.5, 6: 2.0}.get(int(per_whole), 1.0)


def _fit(share: Sequence[float], parts: int, length: Fraction) -> tuple[float, tuple[int, ...]] | None:
    """Return the cheapest rising places on a grid for notes at these shares of a bar, with their cost."""
    beat = max(1, int(Fraction(parts) / (length * 4)))  # grid places to the quarter
    layer: dict[int, tuple[float, tuple[int, ...]]] = {-1: (0.0, ())}
    for n, at in enumerate(share):
        left = len(share) - n - 1
        center = round(at * parts)
        following: dict[int, tuple[float, tuple[int, ...]]] = {}
        for k in range(max(n, center - _BAND), min(parts - left, center + _BAND + 1)):
            before = min(
                ((cost, path) for place, (cost, path) in layer.items() if place < k),
                default=None,
                key=lambda item: item[0],
            )
            if before is None:
                continue
            weight = 0.0 if k % beat == 0 else _WEAK if beat % 2 == 0 and k % (beat // 2) == 0 else _OFF
            following[k] = (before[0] + _MOVE * abs(at - k / parts) + weight, (*before[1], k))
        if not following:
            return None
        layer = following
    return min(layer.values(), key=lambda item: item[0])


def unbarred_times(places: Sequence[int], widths: Sequence[int], room: int) -> Spaced:
    """Return when notes are played that no bar lines part: as eighths, longer where the gap is wider.

    `widths` are the columns that each note takes, `room` those after the last one.
    """
    gaps = [max(1, b - a - (w - 1)) for a, b, w in zip(places, places[1:], widths, strict=False)]
    if not gaps:
        return Spaced((Fraction(0),) if places else (), 0.4, False)
    unit = sorted(gaps)[len(gaps) // 3]
    times, at = [Fraction(0)], 0
    for gap in gaps:
        at += max(1, min(8, round(gap / unit)))
        times.append(Fraction(at, 8))
    steady = sum(gap % unit == 0 for gap in gaps) / len(gaps)
    return Spaced(tuple(times), 0.3 + 0.3 * steady, steady == 1.0)
