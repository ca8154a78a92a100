"""What the tab's own key says of its marks.

In: lines of prose. Out: the meaning of each mark, which goes before every default meaning (`marks.py`). A key is read wherever it stands: `v = vibrato`,
`(5) ghost note`, `^ - bend`, `* means natural harmonic`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple

MEANINGS: tuple[tuple[str, str], ...] = (  # by the first words that fit: a pattern, and the meaning
    (r"still sounding|tie[ds]?\b|held|hold|sustain|keep|let it last", "held"),
    (r"ghost|barely|quiet|optional|soft", "ghost"),
    (r"pinch|squeal|artificial harmonic \(pinch", "pinch"),
    (r"artificial|harp harm|tapped harm|touch(?:ed)? harm", "artificial"),
    (r"harmonic|nat\.? ?harm|harm\b", "natural"),
    (r"hammer-on from nowhere|hammered from nowhere", "hammer nowhere"),
    (r"hammer", "hammer"),
    (r"pull", "pull"),
    (r"pre-?bend", "prebend"),
    (r"release", "release"),
    (r"bend|bent", "bend"),
    (r"slide (?:in )?from a lower fret", "slide in up"),
    (r"slide (?:in )?from a higher fret", "slide in down"),
    (r"slide off up", "slide off up"),
    (r"slide off down", "slide off down"),
    (r"slide up|slide ascending", "slide up"),
    (r"slide down|slide descending", "slide down"),
    (r"slide|sliding|gliss", "slide"),
    (r"wide vib", "wide vibrato"),
    (r"vibrato|vib\b|shake", "vibrato"),
    (r"tapp?(?:ed|ing)?\b", "tap"),
    (r"trill", "trill"),
    (r"tremolo", "tremolo"),
    (r"palm", "palm"),
    (r"dead|mute|muff|scratch|choke", "dead"),
    (r"let ring|ring", "ring"),
    (r"accent|louder|hard", "accent"),
    (r"staccato|short", "short"),
    (r"down-?\s?(?:stroke|pick|strum)", "down"),
    (r"up-?\s?(?:stroke|pick|strum)", "up"),
    (r"slap|thumb", "slap"),
    (r"pop", "pop"),
    (r"grace", "grace"),
)  # fmt: skip
_ENTRY = re.compile(
    r"(?:^|(?<=[\s,;|/(]))(?P<mark>\(\w{1,3}\)|<\d*n?>|\[\w{0,2}\]|\{\w{0,2}\}|\d{0,2}(?:PM|P\.M\.|[a-zA-Z]{1,2}|~{1,3}|[/\\^*=+.>'<|!%#@]{1,2})\d{0,2})"
    r"(?:(?<=[^\w\s])\s(?=\w)|\s*(?:=|:|\.{2,}|->)\s*|\s+-{1,2}\s+|\s+(?:means?|is|are|stands for|for)\s+|\s{2,})"
    r"(?:an?\s|the\s|to\s|like a\s)*"
)
_MEANING = re.compile("|".join(f"(?P<m{n}>{pattern})" for n, (pattern, _) in enumerate(MEANINGS)), re.IGNORECASE)
_MARK_BEHIND = re.compile(
    r"[a-z]{0,4}(?:[ -](?:ons?|offs?|notes?|ups?|downs?|harmonics?))?\s*(?:=|:|->)\s*"
    r"(?P<mark>\(\w{1,3}\)|<\d*n?>|\[\w{0,2}\]|\d{0,2}[a-zA-Z~/\\^*=+.>']{1,2}\d{0,2})(?=$|[\s,;.)])"
)
_STROKE = re.compile(r"(down|up)\s*(?=[,;.)]|$)", re.IGNORECASE)
_STOP = re.compile(r"[,;]|\s{3,}|$")
_SIZE = re.compile(r"\b(half|quarter|whole|full)[- ](?:step|tone)", re.IGNORECASE)
_SIZES = {"quarter": Fraction(1, 2), "half": Fraction(1), "whole": Fraction(2), "full": Fraction(2)}  # semitones
_LOOK = 28  # characters after the mark in which its meaning begins


class Legend(NamedTuple):
    """The marks that a tab explains."""

    meanings: dict[str, frozenset[str]]  # by mark without frets: `h`, `()`, `<>`, `^`
    lines: frozenset[int]  # numbers of the lines that explain
    sizes: dict[str, Fraction]  # by mark: by how many semitones it bends, where that is said

    def says(self, mark: str) -> str:
        """Return the one meaning of a mark; "" where it is not explained, or has several."""
        found = self.meanings.get(mark, frozenset())
        return next(iter(found)) if len(found) == 1 else ""

    def size(self, mark: str) -> Fraction | None:
        """Return by how many semitones a mark bends; None where the key does not say it."""
        return self.sizes.get(mark)

    def may(self, mark: str, meaning: str) -> bool:
        """Return True if a mark can have a meaning: it is explained so, or not explained."""
        return mark not in self.meanings or meaning in self.meanings[mark]


def read_legend(lines: Iterable[tuple[int, str]]) -> Legend:
    """Return what the lines (number and text) explain, whichever stands first, the mark or its meaning."""
    found: dict[str, set[str]] = {}
    where: set[int] = set()
    sizes: dict[str, Fraction] = {}
    for number, text in lines:
        for mark, meaning, at in [*_mark_first(text)] or [*_meaning_first(text)]:
            found.setdefault(mark, set()).add(meaning)
            where.add(number)
            said = _SIZE.findall(text, at, _end_of_entry(text, at))
            if meaning in ("bend", "prebend") and len(said) == 1:
                sizes[mark] = _SIZES[said[0].lower()]
    return Legend({mark: frozenset(names) for mark, names in found.items()}, frozenset(where), sizes)


def _mark_first(text: str) -> Iterator[tuple[str, str, int]]:
    """Yield the marks and meanings of `v = vibrato`, `(5) ghost note`, and where the words begin."""
    for entry in _ENTRY.finditer(text):
        meaning = _meaning(text, entry.end())
        mark = _bare_mark(entry["mark"])
        if meaning and mark:
            yield mark, meaning, entry.end()


def _meaning_first(text: str) -> Iterator[tuple[str, str, int]]:
    """Yield the marks and meanings of `vibrato: v`, `hammer-ons = h`, and where the words begin."""
    if not any(sign in text for sign in ("=", ":", "->")):  # the search for a meaning is the slower one
        return
    for meaning in _MEANING.finditer(text):
        mark = _MARK_BEHIND.match(text, meaning.end())
        if mark is not None and _bare_mark(mark["mark"]):
            yield _bare_mark(mark["mark"]), _name(meaning), meaning.start()


def _meaning(text: str, at: int) -> str:
    """Return the meaning of the words at an index; "" for none."""
    alone = _STROKE.match(text, at)
    if alone:
        return alone[1].lower()
    meaning = _MEANING.match(text, at) or _within(text, at)
    return _name(meaning) if meaning is not None else ""


def _name(meaning: re.Match[str]) -> str:
    return next(MEANINGS[int(group[1:])][1] for group, value in meaning.groupdict().items() if value)


def _within(text: str, at: int) -> re.Match[str] | None:
    """Return the meaning that stands a few words on: `^ is what I use for a bend`."""
    return _MEANING.search(text, at, min(at + _LOOK, _end_of_entry(text, at)))


def _end_of_entry(text: str, at: int) -> int:
    """Return where the words of an entry that go on at an index end."""
    stop = _STOP.search(text, at)
    return stop.start() if stop else len(text)


def _bare_mark(mark: str) -> str:
    """Return a mark without its frets: `h` for `5h7`, `()` for `(5)`; "" for a fret alone."""
    if mark[0] in "([{<":
        return {"(": "()", "[": "[]", "{": "{}", "<": "<>"}[mark[0]]
    return mark.strip("0123456789")
