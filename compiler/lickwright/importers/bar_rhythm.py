"""The lengths of a bar's slots as steps, holds and tuplets of the notation.

In: the instants at which something happens in a bar, as whole-note fractions, and the lick's step. Out: `RhythmToken`s: changes of the step, slots with the
number of steps that they take, and tuplets of such tokens. Of several ways the one with the fewest signs is taken (dynamic programming).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import NamedTuple, TypeAlias

from lickwright.music.rhythm import usual_time

SHORTEST = Fraction(1, 64)  # the shortest step of the notation
_VALUES = tuple(
    (Fraction(1, 1 << power) * dots, cost)
    for power in range(7)
    for dots, cost in ((Fraction(1), 0.0), (Fraction(3, 2), 1.5), (Fraction(7, 4), 4.0))
)  # a step, and how much odder it is to read than a plain one
_STEP_COSTS = dict(_VALUES)
_CHANGE, _HOLD = 3.0, 0.4  # cost of a change of the step, and of each hold; chosen by eye
_UNCOUNTED = 2.0  # cost of a tuplet whose number is not that of the steps in it
_MOST_COUNT = 64  # steps of a tuplet, a limit of the notation


class SlotTime(NamedTuple):
    """From one instant to the next."""

    start: Fraction  # whole notes from the start of the bar
    end: Fraction
    exact: bool = False  # it is one step, since a shape takes as long as its step


class StepToken(NamedTuple):
    """The step changes."""

    value: Fraction


class SlotToken(NamedTuple):
    """A cell, or the part of one up to the border of a tuplet."""

    cell: int  # index
    first: bool  # False for a later part of a cell
    steps: int  # that it takes


class TupletToken(NamedTuple):
    """A tuplet: so many steps in the time of `normal`."""

    steps: int
    normal: int
    tokens: tuple[RhythmToken, ...]


RhythmToken: TypeAlias = StepToken | SlotToken | TupletToken


class _Piece(NamedTuple):
    """A part of a cell that lies in no tuplet or in one; its length in steps of the place where it stands."""

    cell: int
    first: bool
    length: Fraction
    exact: bool


class _Region(NamedTuple):
    """A stretch of a bar that is a tuplet."""

    start: Fraction
    end: Fraction
    steps: int
    normal: int


_Items: TypeAlias = tuple[_Piece | tuple[_Region, tuple[_Piece, ...]], ...]


def rhythm_tokens(cells: Sequence[SlotTime], step: Fraction) -> tuple[RhythmToken, ...]:
    """Return the cells of a bar, which follow one another from 0 on. Raises ValueError where the notation cannot count an instant."""
    return _cheapest_bar(tuple(cells), step)[1]


def rhythm_cost(cells: Sequence[SlotTime], step: Fraction) -> float:
    """Return how many signs the cells of a bar take in a step. Raises ValueError where the notation cannot count an instant."""
    return _cheapest_bar(tuple(cells), step)[0]


@lru_cache(maxsize=2048)  # many bars have the same rhythm, and each is tried in several steps
def _cheapest_bar(cells: tuple[SlotTime, ...], step: Fraction) -> tuple[float, tuple[RhythmToken, ...]]:
    cost, tokens = _cheapest(_bar_items(cells), step)
    return cost, tuple(tokens)


def _bar_items(cells: Sequence[SlotTime]) -> _Items:
    """Return the pieces and tuplets of a bar."""
    items: list[_Piece | tuple[_Region, tuple[_Piece, ...]]] = []
    at = Fraction(0)
    for region in _regions(cells):
        items += _pieces(cells, at, region.start, Fraction(1))
        inside = tuple(_pieces(cells, region.start, region.end, Fraction(region.steps, region.normal)))
        items.append((region, inside))
        at = region.end
    items += _pieces(cells, at, cells[-1].end, Fraction(1))
    return tuple(items)


# --- tuplets ---------------------------------------------------------------------------------------------------------


def _odd_part(number: int) -> int:
    return number // (number & -number)


def _regions(cells: Sequence[SlotTime]) -> list[_Region]:
    """Return the tuplets that a bar needs, in order, none overlapping."""
    edges = [cell.start for cell in cells] + [cells[-1].end]
    found: list[_Region] = []
    at = Fraction(0)
    for edge in edges:
        if edge <= at or _odd_part(edge.denominator) == 1:
            continue
        region = _region(edges, edge, at, cells[-1].end)
        found.append(region)
        at = region.end
    return found


def _region(edges: Sequence[Fraction], edge: Fraction, free: Fraction, end: Fraction) -> _Region:
    """Return the smallest tuplet, from `free` on, in which an instant can be counted. Raises ValueError where there is none."""
    for power in range(5, -2, -1):
        length = Fraction(1, 1 << power) if power >= 0 else Fraction(2)
        for start in _starts(edge, length):
            if start < free or start + length > end:
                continue
            region = _counted(edges, start, length)
            if region is not None:
                return _widened(edges, region, free, end)
    raise ValueError(f"{edge} of a whole note cannot be counted")


def _starts(edge: Fraction, length: Fraction) -> Iterator[Fraction]:
    """Yield where a tuplet of a length may start: on a multiple of its length, else of a half or a quarter of it."""
    for part in (1, 2, 4):
        unit = length / part
        first = edge // unit * unit
        for back in range(part):
            start = first - back * unit
            if start >= 0 and (part == 1 or start % (unit * 2)):
                yield start


def _counted(edges: Sequence[Fraction], start: Fraction, length: Fraction) -> _Region | None:
    """Return the tuplet of a stretch, in which all instants can be counted; None where that takes none or too many steps."""
    inside = [(edge - start) / length for edge in edges if start < edge < start + length]
    count = lcm(*(_odd_part(at.denominator) for at in inside))
    if count == 1 or count > _MOST_COUNT:
        return None
    normal = usual_time(count)
    finest = max((at * count).denominator for at in inside)  # of one step of the tuplet
    if length / normal / finest < SHORTEST or length / normal < SHORTEST:
        return None
    return _Region(start, start + length, count, normal)


def _widened(edges: Sequence[Fraction], region: _Region, free: Fraction, end: Fraction) -> _Region:
    """Return a tuplet of the same number twice as long, as often as nothing happens at the border that falls away."""
    while True:
        length = (region.end - region.start) * 2
        start = region.start // length * length
        middle = start + length / 2
        wide = None
        if start >= free and start + length <= end and middle not in edges and length <= 1:
            wide = _counted(edges, start, length)
        if wide is None or wide.steps != region.steps:
            return region
        region = wide


# --- steps -----------------------------------------------------------------------------------------------------------


def _pieces(cells: Sequence[SlotTime], start: Fraction, end: Fraction, scale: Fraction) -> list[_Piece]:
    return [
        _Piece(
            n,
            cell.start >= start,
            (min(cell.end, end) - max(cell.start, start)) * scale,
            cell.exact and cell.start >= start and cell.end <= end,
        )
        for n, cell in enumerate(cells)
        if max(cell.start, start) < min(cell.end, end)
    ]


def _cheapest(items: _Items, step: Fraction) -> tuple[float, list[RhythmToken]]:
    """Return the cheapest tokens for pieces and tuplets after which a step holds. Raises ValueError where there are none."""
    ways: dict[Fraction, tuple[float, tuple[RhythmToken, ...]]] = {step: (0.0, ())}
    for item in items:
        after: dict[Fraction, tuple[float, tuple[RhythmToken, ...]]] = {}
        for now, (cost, tokens) in ways.items():
            for value, more, said in _next(item, now):
                if value not in after or cost + more < after[value][0]:
                    after[value] = (cost + more, (*tokens, *said))
        ways = after
        if not ways:
            raise ValueError("a length cannot be written in steps")
    cost, tokens = min(ways.values(), key=lambda way: way[0])
    return cost, list(tokens)


def _next(
    item: _Piece | tuple[_Region, tuple[_Piece, ...]], now: Fraction
) -> Iterator[tuple[Fraction, float, tuple[RhythmToken, ...]]]:
    """Yield the ways to write one item where a step holds: the step after it, the cost, the tokens."""
    if not isinstance(item, _Piece):
        yield from _next_tuplet(*item, now)
        return
    for value, odd in _dividing(item.length):
        count = int(item.length / value)
        if item.exact and count != 1 and _is_value(item.length):
            continue
        change = () if value == now else (StepToken(value),)
        cost = _HOLD * (count - 1) + (_CHANGE + odd if change else 0.0)
        yield value, cost, (*change, SlotToken(item.cell, item.first, count))


def _next_tuplet(
    region: _Region, pieces: tuple[_Piece, ...], now: Fraction
) -> Iterator[tuple[Fraction, float, tuple[RhythmToken, ...]]]:
    """Yield a tuplet in the step that holds, and in the one of which its number counts the steps."""
    unit = sum((piece.length for piece in pieces), Fraction(0)) / region.steps
    for step in {now: 0, unit: 0}:
        if step not in _STEP_COSTS:
            continue
        try:
            cost, tokens = _cheapest(pieces, step)
        except ValueError:
            continue
        cost += (_CHANGE if step != now else 0.0) + (_UNCOUNTED if step != unit else 0.0)
        change: list[RhythmToken] = [StepToken(step)] if step != now and not isinstance(tokens[0], StepToken) else []
        yield now, cost, (TupletToken(region.steps, region.normal, (*change, *tokens)),)


@lru_cache(maxsize=1024)
def _dividing(length: Fraction) -> tuple[tuple[Fraction, float], ...]:
    return tuple((value, odd) for value, odd in _VALUES if value <= length and not length % value)


def _is_value(length: Fraction) -> bool:
    return any(value == length for value, _ in _VALUES)
