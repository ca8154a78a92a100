"""Counting syllables: what a player says aloud at the instants of a bar: "1 e & a", "3 trip let & a", "1 & a 2 & a".

In: a meter and the instants of a bar at which something happens, in any unit. Out: for each instant that is said, its
word (for a row of counts) and its name (for a table or a message). Knows no notes. Tab, timing sheet and messages all
count with `count_bar`.

A beat is divided by what happens in it. An odd number of equal parts is a triplet or is counted by number; else each
half of the beat (in a compound meter each of its three eighths) is divided by itself.
"""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction
from functools import lru_cache
from math import gcd
from typing import NamedTuple

from lickwright.music.rhythm import Meter

NUMBERED = "*"  # stands after the beat (or its "&") from which equal parts are counted 2 3 4 5
GROUP = "|"  # stands before the first beat of a group: `1 2 |1 2 |1 2 3`
BETWEEN = "."  # an equal part that has no word of its own
MAX_PARTS = 16  # of a beat: in a finer division only the instants at which something happens are listed

# By whether the meter is compound: what each share of a beat begins with, and what its middle is called.
_HEADS = {False: ("", "&"), True: ("", "&", "a")}
_MIDDLES = {False: ("e", "a"), True: (BETWEEN, BETWEEN, BETWEEN)}
_TRIPLET = ("trip", "let")


class CountedInstant(NamedTuple):
    """One counted instant."""

    at: int  # in the unit of the given instants
    word: str  # as in a row of counts: "3", "trip", "."
    name: str  # where it stands alone: "3 trip", "3 e .", "1 & (group 2)"


class _Part(NamedTuple):
    """One instant within a beat, in parts of it."""

    at: int
    word: str  # "" or "*" at the beat itself
    name: str  # what follows the beat's number


def count_bar(instants: Collection[int], whole: int, meter: Meter) -> dict[int, CountedInstant]:
    """Return the instants of a bar with the syllable counted at each, in order; `whole` is a whole note in their unit.

    All beats from the first instant to the last are among them, and the parts between where a division could be misread.
    Beats that do not fall on a whole number of units are left out.
    """
    unit = meter.beat.denominator  # finer than a grain of a lick of long notes may be
    beat = meter.beat.numerator * whole
    inside: dict[int, set[int]] = {}
    for at in instants:
        number, rest = divmod(at * unit, beat)
        inside.setdefault(number, set()).add(rest)
    found: dict[int, CountedInstant] = {}
    for number in range(min(inside, default=0), max(inside, default=-1) + 1):
        word, name = _beat(meter, number)
        after = f" (group {_group(meter, number)[0]})" if _grouped(meter) else ""
        for part in divide_beat(frozenset(inside.get(number, ())), beat, meter.compound):
            at, rest = divmod(number * beat + part.at, unit)
            if not rest:
                said = word + part.word if not part.at else part.word
                between = "" if part.name.startswith(NUMBERED) else " "
                found[at] = CountedInstant(at, said, f"{name}{between}{part.name}".rstrip() + after)
    return found


def _grouped(meter: Meter) -> bool:
    return not meter.compound and any(group > 1 for group in meter.groups)


@lru_cache(maxsize=4096)
def _group(meter: Meter, number: int) -> tuple[int, int]:
    """Return the group of a beat, from 1, and its place in it, from 0; past the end of the bar the groups begin again."""
    times, place = divmod(number, meter.beats)
    group = times * len(meter.groups) + 1
    for size in meter.groups:
        if place < size:
            break
        group, place = group + 1, place - size
    return group, place


@lru_cache(maxsize=4096)
def _beat(meter: Meter, number: int) -> tuple[str, str]:
    """Return the word and the name of a beat; a written group counts from 1 again."""
    if not _grouped(meter):
        return str(number + 1), str(number + 1)
    group, place = _group(meter, number)
    return (GROUP if place == 0 and group > 1 else "") + str(place + 1), str(place + 1)


@lru_cache(maxsize=4096)
def divide_beat(inside: frozenset[int], beat: int, compound: bool) -> tuple[_Part, ...]:
    """Return the instants of a beat of length `beat`: the beat, those `inside` it, and those that are counted between them."""
    part = gcd(beat, *inside)
    divided = _divide_into(beat // part, frozenset(at // part for at in inside), compound)
    return tuple([said._replace(at=said.at * part) for said in divided])


@lru_cache(maxsize=4096)
def _divide_into(parts: int, inside: frozenset[int], compound: bool) -> tuple[_Part, ...]:
    """Divide a beat into equal parts, the fewest on which all of `inside` fall."""
    if parts == 1:
        return (_Part(0, "", ""),)
    if parts == 3 and not compound:
        return (_Part(0, "", ""), *(_Part(at, _TRIPLET[at - 1], _TRIPLET[at - 1]) for at in sorted(inside) if at))
    if parts % len(_HEADS[compound]) == 0:
        return _in_shares(parts, inside, compound)
    if parts > MAX_PARTS:
        return _too_fine(parts, inside)
    if compound or parts % 3:
        return _numbered(parts, "")
    return _named(parts, {parts // 3: _TRIPLET[0], 2 * parts // 3: _TRIPLET[1]})


def _in_shares(parts: int, inside: frozenset[int], compound: bool) -> tuple[_Part, ...]:
    """Divide each half of a beat, or third of a compound one, by itself."""
    heads, middles = _HEADS[compound], _MIDDLES[compound]
    size = parts // len(heads)
    shares = []
    for n, (head, middle) in enumerate(zip(heads, middles, strict=True)):
        start = n * size
        here = {at - start for at in inside if start <= at < start + size}
        shares.append(_share(size, here, start, parts, head, middle))
    plain = 1 if compound else 2  # parts of a beat's share that are counted without syllables between them
    every_head = any(len(share) > plain for share in shares)
    silent = set() if every_head else {n * size for n in range(1, len(heads))} - inside
    return tuple(part for share in shares for part in share if part.at not in silent)


def _share(size: int, inside: set[int], start: int, parts: int, head: str, middle: str) -> tuple[_Part, ...]:
    """Divide a half of a beat, or a third of a compound one: `size` of its `parts`, with instants `inside`."""
    step = gcd(size, *inside)
    count = size // step
    if count > MAX_PARTS // 2:
        return (
            _Part(start, head, head),
            *(part for part in _too_fine(parts, {start + at for at in inside}) if part.at > start),
        )
    if count % 3 == 0 and count // 3 in (1, 2):
        known = {count // 3: _TRIPLET[0], 2 * count // 3: _TRIPLET[1]}
    elif count in (1, 2, 4, 8):
        known = {count // 2: middle}
    else:
        return tuple(part._replace(at=start + part.at * step) for part in _numbered(count, head))
    named = _named(count, known, head, middle)
    return tuple(part._replace(at=start + part.at * step) for part in named)


def _named(count: int, known: dict[int, str], head: str = "", middle: str = "") -> tuple[_Part, ...]:
    """Return equal parts of which `known` have a word of their own; the others are dots. `middle` needs no head."""
    found, before, dots = [_Part(0, head, head)], head, 0
    for n in range(1, count):
        word = known.get(n, BETWEEN)
        if word == BETWEEN:
            dots += 1
            name = f"{before} {BETWEEN * dots}".lstrip()
        else:
            name = before = word if word == middle else f"{head} {word}".lstrip()
            dots = 0
        found.append(_Part(n, word, name))
    return tuple(found)


def _numbered(count: int, head: str) -> tuple[_Part, ...]:
    """Return equal parts counted by number; the first keeps its own word, marked."""
    mark = head + NUMBERED
    return (_Part(0, mark, head), *(_Part(n, str(n + 1), f"{mark} {n + 1}") for n in range(1, count)))


def _too_fine(parts: int, inside: Collection[int]) -> tuple[_Part, ...]:
    return (_Part(0, "", ""), *(_Part(at, BETWEEN, f"+{Fraction(at, parts)}") for at in sorted(inside) if at))
