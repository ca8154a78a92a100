"""Reads the row of counts below a text tab: which character is which instant of its bar.

In: the row, and the meter in the heading. Out: instants as fractions of a whole note. Shares nothing with what prints.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

COUNTED = re.compile(r"(\|?)(\()?(\d+\*?|&\*?|trip|let|e|a\*?|\.)")
SIMPLE = {"e": Fraction(1, 4), "&": Fraction(1, 2), "a": Fraction(3, 4), "trip": Fraction(1, 3), "let": Fraction(2, 3)}


class ReadMeter(NamedTuple):
    """What the heading says of the meter."""

    beat: Fraction
    beats: int
    compound: bool
    groups: tuple[int, ...]
    pickup: Fraction
    short: frozenset[int]  # the bars, from 1, that are shorter by the pick-up


def read_meter(text: str) -> ReadMeter:
    """The meter, from the heading."""
    said = re.search(
        r"^meter +(\d+)/(\d+)(?: ([\d+]+))?(?:, with a pick-up of (\d+/\d+)(?:; bars? ([\d, ]+) shorter by as much)?)?$",
        text.replace("\n        ", " "),
        re.MULTILINE,
    )
    assert said is not None, "the heading says no meter"
    beats, unit = int(said[1]), int(said[2])
    groups = tuple(map(int, said[3].split("+"))) if said[3] else ()
    compound = unit >= 8 and beats > 3 and beats % 3 == 0 and not groups
    beat = Fraction(3 if compound else 1, unit)
    return ReadMeter(
        beat,
        int(Fraction(beats, unit) / beat),
        compound,
        groups,
        Fraction(said[4] or 0),
        frozenset(map(int, (said[5] or "0").split(", "))),
    )


def instants(said: list[tuple[int, str]], groups: list[int], meter: ReadMeter) -> Iterator[tuple[int, Fraction]]:
    """Where the count says which instant is; what has no name parts the time between its neighbours evenly."""
    for number, words in _beats(said, groups, meter):
        places = [*_places([word for _, word in words], meter.compound), Fraction(1)]
        for k, (x, _) in enumerate(words):
            if x >= 0:
                yield x, (number + _even(places, k)) * meter.beat


def _beats(
    said: list[tuple[int, str]], groups: list[int], meter: ReadMeter
) -> Iterator[tuple[int, list[tuple[int, str]]]]:
    """The beats, from 0, each with its words, of which the first is its number.

    What stands before the first number belongs to the beat before that, or to the last one of the bar (a pick-up).
    """
    starts, k = [], 0
    while k < len(said):
        if said[k][1].lstrip("|")[0].isdigit():
            starts.append(k)
        if said[k][1].endswith("*"):
            beat = int(said[starts[-1]][1].strip("|*")) if starts else 0
            k = _numbers(said, k + 1, beat) - 1
        k += 1
    numbers: list[int] = []
    for start in starts:
        groups[0] += said[start][1].startswith("|")
        numbers.append(sum(meter.groups[: groups[0]]) + int(said[start][1].strip("|*")) - 1)
    if said and starts[:1] != [0]:
        yield (numbers[0] - 1 if numbers else meter.beats - 1), [(-1, "1"), *said[: starts[0] if starts else len(said)]]
    for number, start, end in zip(numbers, starts, [*starts[1:], len(said)][: len(starts)], strict=True):
        yield number, said[start:end]


def _numbers(said: list[tuple[int, str]], k: int, beat: int) -> int:
    """Where the numbers 2 3 4 that part a beat end; the number of the next beat is none of them."""
    first = k
    while k < len(said) and said[k][1] == str(k - first + 2):
        k += 1
    parts = k - first + 1
    follows = k < len(said) and said[k][1].strip("*") == str(beat + 1)
    return first + beat - 1 if not follows and 2 <= beat < parts and k < len(said) else k


def _places(words: list[str], compound: bool) -> list[Fraction | None]:
    """The place of each word in its beat; None for what has no name."""
    heads = {"&": Fraction(1, 3), "a": Fraction(2, 3)} if compound else {"&": Fraction(1, 2)}
    if not any(word.strip("*") in heads for word in words):
        return [Fraction(0), *(None if compound else SIMPLE.get(word) for word in words[1:])]
    share, start = Fraction(1, 3 if compound else 2), Fraction(0)
    found: list[Fraction | None] = []
    for k, word in enumerate(words):
        if k == 0 or word.strip("*") in heads:
            start = heads.get(word.strip("*"), Fraction(0)) if k else Fraction(0)
            found.append(start)
        elif word in ("trip", "let"):
            found.append(start + share * SIMPLE[word])
        elif word in ("e", "a"):
            found.append(start + share / 2)
        else:
            found.append(None)
    return found


def _even(places: list[Fraction | None], k: int) -> Fraction:
    """The place of a word; of one without a name, by even parts between the named ones."""
    known = [i for i, place in enumerate(places) if place is not None]
    before, after = max(i for i in known if i <= k), min(i for i in known if i >= k)
    a, b = places[before], places[after]
    assert a is not None and b is not None
    return a if before == after else a + (b - a) * Fraction(k - before, after - before)
