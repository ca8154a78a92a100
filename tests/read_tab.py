"""Reads our printed text tab back: which fret of which string at which instant of which written bar.

In: the whole text. Out: `ReadNote`s. It knows only what is on the paper: the strings, the count below them and the
meter in the heading; nothing is shared with the code that prints.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

STRING_LINE = re.compile(r"([A-Ga-g][#b]?) *([|>])[-|>:%0-9a-zA-Z~/\\()<>*.]*[|>]$")
SHAPES_ONLY = re.compile(r"(b\d*|r\d*|~~?|[/\\](?![\dx(<]))+")
ONSET = re.compile(r"(//|\\\\|[/\\hpt])?\(?(x|\d+<[\d.]+>|<[\d.]+>|\d+)")
COUNTED = re.compile(r"(trip|let|la|li|\d+|[&ea.])")
SIMPLE = {"e": Fraction(1, 4), "&": Fraction(1, 2), "a": Fraction(3, 4), "trip": Fraction(1, 3), "let": Fraction(2, 3)}
COMPOUND = {"&": Fraction(1, 3), "a": Fraction(2, 3)}
SIXES = ("la", "li", "&", "la", "li")


class ReadNote(NamedTuple):
    """One stroke or connected note."""

    bar: int  # written bars from 0
    at: Fraction  # of a whole note, as counted: a pick-up of a quarter in 4/4 starts at 3/4
    lead: int  # n-th stroke before that instant, 1 the nearest; 0: on it
    string: int
    place: str  # fret, `x`, `<12>`, `5<17>`


class System(NamedTuple):
    """The strings of one line of tab and the count below."""

    strings: list[str]
    said: str  # the row of counts below them


def systems(text: str) -> list[System]:
    """All lines of tab."""
    found: list[System] = []
    strings: list[str] = []
    for line in [*text.split("\n"), ""]:
        if STRING_LINE.match(line):
            strings.append(line)
        elif strings:
            found.append(System(strings, line if line.startswith(" ") else ""))
            strings = []
    return found


def read_tab(text: str) -> list[ReadNote]:
    """Every note on the paper, by bar, instant and string; a `%` has those of the bar before it."""
    meter = re.search(r"^meter +(\d+)/(\d+)(.*)$", text, re.MULTILINE)
    assert meter is not None, "the heading says no meter"
    beats, unit = int(meter[1]), int(meter[2])
    compound = unit >= 8 and beats > 3 and beats % 3 == 0 and "+" not in meter[3]
    beat = Fraction(3 if compound else 1, unit)
    bars: list[list[ReadNote]] = []
    for system in systems(text):
        for number, (left, right) in enumerate(segments(system.strings)):
            goes_on = number == 0 and system.strings[0][left - 1] == ">"
            if any("%" in line[left:right] for line in system.strings):
                bars.append([note._replace(bar=len(bars)) for note in bars[-1]])
                continue
            if not goes_on:
                bars.append([])
            last_beat = int(Fraction(beats, unit) / beat)
            instants = dict(_instants(system.said, left, right, beat, compound, last_beat))
            bars[-1] += _notes(system.strings, left, right, instants, len(bars) - 1, number == 0)
    return sorted(note for bar in bars for note in bar)


def segments(strings: list[str]) -> list[tuple[int, int]]:
    """Where each bar's characters start and end: between columns that are `|` or `>` on every string."""
    lines = [x for x in range(len(strings[0])) if all(line[x] in "|>" for line in strings)]
    return [(a + 1, b) for a, b in zip(lines, lines[1:], strict=False) if b > a + 1]


def _notes(
    strings: list[str], left: int, right: int, instants: dict[int, Fraction], bar: int, first: bool
) -> Iterator[ReadNote]:
    for string, line in enumerate(strings, 1):
        for mark in re.finditer(r"[^-]+", line[left:right].replace(":", "-")):
            text = mark[0]
            held = first and mark.start() == 0 and text.startswith("(")
            if held or SHAPES_ONLY.fullmatch(text):
                continue
            onset = ONSET.match(text)
            assert onset is not None, f"{text!r} in {line!r}"
            x = left + mark.start() + re.search(r"[\dx]", text).start()  # type: ignore[union-attr]
            if x in instants:
                yield ReadNote(bar, instants[x], 0, string, onset[2])
            else:
                beat = min(place for place in instants if place > x)
                yield ReadNote(bar, instants[beat], _lead(strings, x, beat, left, instants), string, onset[2])


def _lead(strings: list[str], x: int, beat: int, left: int, instants: dict[int, Fraction]) -> int:
    """How many columns of strokes there are from this one to the beat."""
    columns = set()
    for line in strings:
        for mark in re.finditer(r"[^-]*?([\dx])[^-]*", line[left:beat]):
            place = left + mark.start(1)
            if x <= place and place not in instants:
                columns.add(place)
    return len(columns)


def _instants(
    count: str, left: int, right: int, beat: Fraction, compound: bool, last_beat: int
) -> Iterator[tuple[int, Fraction]]:
    """Where the count says which instant is; dots part the time between their neighbours evenly.

    What stands before the first number belongs to the beat before that, or to the last one of the bar (a pick-up).
    """
    said = [(mark.start(), mark[0]) for mark in COUNTED.finditer(count) if left <= mark.start() < right]
    if said and not said[0][1].isdigit():
        said.insert(0, (-1, next((str(int(word) - 1) for _, word in said if word.isdigit()), str(last_beat))))
    for i, (_, number) in enumerate(said):
        if not number.isdigit():
            continue
        inside = [word for _, word in said[i + 1 :]]
        inside = inside[: next((k for k, word in enumerate(inside) if word.isdigit()), len(inside))]
        places = [Fraction(0), *_places(inside, compound), Fraction(1)]
        for k in range(len(inside) + 1):
            yield said[i + k][0], (int(number) - 1 + _even(places, k)) * beat


def _places(words: list[str], compound: bool) -> list[Fraction | None]:
    if "la" in words or "li" in words:
        assert tuple(words) == SIXES
        return [Fraction(k, 6) for k in range(1, 6)]
    return [(COMPOUND if compound else SIMPLE).get(word) for word in words]


def _even(places: list[Fraction | None], k: int) -> Fraction:
    """The place of a word; of a dot, by even parts between the named ones."""
    known = [i for i, place in enumerate(places) if place is not None]
    before, after = max(i for i in known if i <= k), min(i for i in known if i >= k)
    a, b = places[before], places[after]
    assert a is not None and b is not None
    return a if before == after else a + (b - a) * Fraction(k - before, after - before)
