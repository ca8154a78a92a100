"""Reads our printed text tab back: what stands on which string at which instant of which written bar.

In: the whole text. Out: written bars with their columns, and `ReadNote`s. It knows only what is on the paper: the strings,
the rows above them, the count below and the meter in the heading; nothing is shared with the code that prints. How
long notes last is for `read_lengths.py`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import count
from typing import NamedTuple

from read_count import COUNTED, ReadMeter, instants, read_meter

STRING_LINE = re.compile(r"([A-Ga-g][#b]?) *([|>])[-|>:%0-9a-zA-Z~/\\()<>*.]*[|>]$")
SHAPES_ONLY = re.compile(r"(b\d*|pb\d*|r\d*|~~?|[/\\](?![\dx(<]))+")
ONSET = re.compile(r"(//|\\\\|[/\\hpt])?\(?(x|\d+<[\d.]+>|<[\d.]+>|\d+)")
HELD = re.compile(r"\((x|\d+<[\d.]+>|<[\d.]+>|\d+\*?)(?:b\d*)?\)")
STRING_NAME = r"(?:string \d+|[A-Ge][#b]?)(?![a-z])"
SPAN = re.compile(
    rf"(?P<rings>let ring|LR)(?P<a>-*\|?)|ring(?P<whose>(?: {STRING_NAME})+)?(?P<b>-*\|?)|stop (?P<stop>{STRING_NAME})"
    r"|(?:PM|rake|tr(?:\(\d+\))?|gr|roll|scrape|trem\.|snap|dive|dip|scoop|swell)-*\|?"
)
BEND = re.compile(r"(?P<amount>\d+ \d/\d|\d/\d|full|\d*\.\d+|\d+)?(?P<hold>(?: ?hold)?-*\|?)")
ACCENTS = re.compile(rf"[>.]|g(?P<whose>(?: {STRING_NAME})+)?")
GOING_BACK = re.compile(r"Segno|Coda|Fine|To Coda|D\.[CS]\.(?: al (?:Fine|Coda))?")
ENDING = re.compile(r"(?P<ending>[12])\.-*\|?|x(?P<times>\d+)")


class ReadNote(NamedTuple):
    """One stroke or connected note."""

    bar: int  # written bars from 0
    at: Fraction  # of a whole note, as counted: a pick-up of a quarter in 4/4 starts at 3/4
    lead: int  # n-th stroke before that instant, 1 the nearest; 0: on it
    string: int
    place: str  # fret, `x`, `<12>`, `5<17>`


@dataclass
class ReadMark:
    """What stands on one string in one column."""

    string: int
    kind: str  # "onset", "shape" or "held"
    place: str  # of an onset or held note
    begin: str = ""  # `h`, `/` and so on before an onset
    bends: str = ""  # the last of its shapes that leaves the string bent or straight: "b", "r"; "" for none
    fret: str = ""  # the pitch that it leaves the string at


@dataclass
class ReadColumn:
    """One instant, or one stroke that leads to it."""

    at: Fraction
    lead: int
    marks: list[ReadMark]
    rest: bool = False
    spans: set[int] = field(default_factory=set)  # the "let ring"s over it
    rings: set[int] | None = None  # the strings of a "ring" over it; the empty set is all of them
    holds: set[int] = field(default_factory=set)  # the "hold"s over it
    stops: set[int] = field(default_factory=set)


@dataclass
class ReadBar:
    """One written bar."""

    columns: list[ReadColumn] = field(default_factory=list)
    group: list[int] = field(default_factory=lambda: [0])  # of a grouped meter, the one that is being counted
    same: bool = False
    repeat_start: bool = False
    repeat_end: int = 0
    ending: int = 0
    going: set[str] = field(default_factory=set)  # "Segno", "Fine", "D.C. al Coda" and their like


class System(NamedTuple):
    """The strings of one line of tab, the rows above and the count below."""

    strings: list[str]
    said: str  # the row of counts below them
    above: list[str]


def systems(text: str) -> list[System]:
    """All lines of tab."""
    found: list[System] = []
    strings: list[str] = []
    above: list[str] = []
    for line in [*text.split("\n"), ""]:
        if STRING_LINE.match(line):
            strings.append(line)
        elif strings:
            found.append(System(strings, line if line.startswith(" ") else "", above))
            strings, above = [], []
        else:
            above = [*above, line] if line else []
    return found


def read_tab(text: str) -> list[ReadNote]:
    """Every note on the paper, by bar, instant and string; a `%` has those of the bar before it."""
    found: list[list[ReadNote]] = []
    for number, bar in enumerate(read_bars(text)):
        if bar.same:
            found.append([note._replace(bar=number) for note in found[-1]])
        else:
            found.append([
                ReadNote(number, column.at, column.lead, mark.string, mark.place)
                for column in bar.columns for mark in column.marks if mark.kind == "onset"
            ])  # fmt: skip
    return sorted(note for bar in found for note in bar)


def read_bars(text: str) -> list[ReadBar]:
    """The written bars."""
    meter = read_meter(text)
    bars: list[ReadBar] = []
    holding = re.search(r"^\(.*\) +still\b", text, re.MULTILINE) is not None
    open_spans: dict[str, list[int]] = {"ring": [], "hold": []}
    names = count()
    for system in systems(text):
        at: dict[int, ReadColumn] = {}
        parts = segments(system.strings)
        for number, (left, right) in enumerate(parts):
            goes_on = number == 0 and system.strings[0][left - 1] == ">"
            if not goes_on:
                bars.append(ReadBar())
            bar = bars[-1]
            bar.same = any("%" in line[left:right] for line in system.strings)
            bar.repeat_start = bar.repeat_start or any(line[left] == ":" for line in system.strings)
            if any(line[right - 1] == ":" for line in system.strings):
                bar.repeat_end = 2
            columns = _columns(system, left, right, bar, meter, holding)
            bar.columns += columns.values()
            at.update(columns)
        known = bars[-len(parts) :]
        _endings(system, parts, known)
        if at:  # a line of `%` alone has no columns, and what was left open goes on under it
            _spans(system, dict(sorted(at.items())), open_spans, names)
    return bars


def segments(strings: list[str]) -> list[tuple[int, int]]:
    """Where each bar's characters start and end: between columns that are `|` or `>` on every string."""
    lines = [x for x in range(len(strings[0])) if all(line[x] in "|>" for line in strings)]
    return [(a + 1, b) for a, b in zip(lines, lines[1:], strict=False) if b > a + 1]


def _columns(
    system: System, left: int, right: int, bar: ReadBar, meter: ReadMeter, holding: bool
) -> dict[int, ReadColumn]:
    said = [
        (word.start(3), word[1] + word[3], bool(word[2]))
        for word in COUNTED.finditer(system.said)
        if left <= word.start(3) < right
    ]
    rests = {x for x, _, rest in said if rest}
    found = {
        x: ReadColumn(at, 0, [], x in rests)
        for x, at in instants([(x, word) for x, word, _ in said], bar.group, meter)
    }  # fmt: skip
    counted = sorted(found)
    strokes: dict[int, list[ReadMark]] = {}
    ghosts = _ghosts(system)
    for string, line in enumerate(system.strings, 1):
        for x, mark in _marks(line, string, left, right):
            if mark.kind == "held" and (not holding or (x, string) in ghosts):
                mark = ReadMark(string, "onset", mark.place, "", mark.bends, mark.fret)
            if x in found:
                found[x].marks.append(mark)
            else:
                strokes.setdefault(x, []).append(mark)
    for beat, leads in _leads(strokes, counted):
        for lead, x in enumerate(reversed(leads), 1):
            found[x] = ReadColumn(found[beat].at, lead, strokes[x])
    return dict(sorted(found.items()))


def _leads(strokes: dict[int, list[ReadMark]], counted: list[int]) -> Iterator[tuple[int, list[int]]]:
    """Strokes that stand at no count, by the next counted column."""
    by_beat: dict[int, list[int]] = {}
    for x in sorted(strokes):
        by_beat.setdefault(min(place for place in counted if place > x), []).append(x)
    yield from by_beat.items()


def _marks(line: str, string: int, left: int, right: int) -> Iterator[tuple[int, ReadMark]]:
    for found in re.finditer(r"[^-]+", line[left:right].replace(":", "-").replace("%", "-")):
        text, at = found[0], left + found.start()
        bend = re.findall(r"([br])(\d*)", text) or [("", "")]
        held = HELD.match(text)
        if SHAPES_ONLY.fullmatch(text):
            # A shape stands with its first sign at its column, or its first digit.
            digit = re.search(r"\d", text)
            yield at + (digit.start() if digit else 0), ReadMark(string, "shape", "", "", *bend[-1])
            continue
        onset = ONSET.match(text)
        assert onset is not None, f"{text!r} in {line!r}"
        x = at + re.search(r"[\dx]", text).start()  # type: ignore[union-attr]
        if held:
            rest = text[held.end() :]
            place = held[1].rstrip("*")
            yield x, ReadMark(string, "held", place, "", *(bend[-1] if rest else ("", "")))
        else:
            yield x, ReadMark(string, "onset", onset[2], onset[1] or "", *bend[-1])


# --- the rows above ------------------------------------------------------------------------------------------------


def _ghosts(system: System) -> set[tuple[int, int]]:
    """The ghost notes, by place and string, that a letter above tells from held ones."""
    strings = _strings(system)
    found = set()
    for row in system.above:
        for token in _tokens(row, ACCENTS):
            if token[0].startswith("g"):
                names = _numbered(token["whose"], strings) if token["whose"] else strings.values()
                found |= {(token.start(), number) for number in names}
    return found


def _strings(system: System) -> dict[str, int]:
    return {name: n for n, name in enumerate((re.split("[|>]", row)[0].strip() for row in system.strings), 1)}


def _numbered(names: str, strings: dict[str, int]) -> set[int]:
    found = re.findall(r"string (\d+)|([A-Ge][#b]?)", names)
    return {int(number) if number else strings[name] for number, name in found}


def _tokens(row: str, token: re.Pattern[str]) -> list[re.Match[str]]:
    """The tokens of a row that has no others (a bar's number at its start aside)."""
    number = re.match(r"\(?\d+\)?(?=  |$)", row)
    at = number.end() if number else 0
    found = []
    while at < len(row):
        if row[at] == " ":
            at += 1
            continue
        match = token.match(row, at)
        if match is None or not match[0] or row[match.end() : match.end() + 1].strip():
            return []
        found.append(match)
        at = match.end()
    return found


def _endings(system: System, parts: list[tuple[int, int]], bars: list[ReadBar]) -> None:
    """Sets the endings, times and jumps of the bars of a line."""
    for row in system.above:
        for token in _tokens(row, GOING_BACK):
            for (left, right), bar in zip(parts, bars, strict=True):
                opens = token[0] in ("Segno", "Coda")
                if left <= token.start() + 2 and token.start() < right if opens else right <= token.end() <= right + 4:
                    bar.going.add(token[0])
        for token in _tokens(row, ENDING):
            for (left, right), bar in zip(parts, bars, strict=True):
                if token["ending"] and left - 1 <= token.start() < right:
                    bar.ending = int(token["ending"])
                elif token["times"] and left < token.end() <= right + 3 and bar.repeat_end:
                    bar.repeat_end = int(token["times"])


def _spans(system: System, at: dict[int, ReadColumn], going: dict[str, list[int]], names: Iterator[int]) -> None:
    """Sets what the rows above say of each column; `going` are the spans that a line before left open."""
    strings = _strings(system)
    still: dict[str, list[int]] = {"ring": [], "hold": []}
    for row in system.above:
        for token in _tokens(row, SPAN):
            if token["stop"]:
                at[token.start()].stops |= _numbered(token["stop"], strings)
            elif token["rings"]:
                name = going["ring"].pop(0) if going["ring"] and token.start() <= min(at) else next(names)
                still["ring"] += [name] if token["a"] and not token["a"].endswith("|") else []
                for column in _covered(at, token, token["a"]):
                    column.spans.add(name)
            elif token[0].startswith("ring"):
                for column in _covered(at, token, token["b"]):
                    column.rings = _numbered(token["whose"] or "", strings)
        for token in _tokens(row, BEND):
            if not token["hold"]:
                continue
            opened = token["amount"] is None and bool(going["hold"]) and token.start() <= min(at)
            name = going["hold"].pop(0) if opened else next(names)
            still["hold"] += [name] if not token["hold"].endswith("|") else []
            for column in _covered(at, token, token["hold"]):
                column.holds.add(name)
    going.update(still)


def _covered(at: dict[int, ReadColumn], token: re.Match[str], line: str) -> list[ReadColumn]:
    """The columns under a span: from the one that it begins over; without a line, that one alone."""
    first = max((x for x in at if x <= token.start()), default=min(at))
    return [column for x, column in at.items() if first <= x < (token.end() if line else first + 1)]
