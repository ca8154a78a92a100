"""Chord symbols and the line of chords over a lick.

In: "A7#9", or bar by bar "A7 | D7 A7". Out: roots, intervals and where in its bar each chord starts. On which strings a
chord is played is decided where it is drawn (`diagram/`) or sounded (`synth/`).
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.fast_dataclass import record
from lickwright.music.pitch import PLAIN_NAMES, Degree, Key, NoteName, note_name, parse_note_name

_SYMBOL = re.compile(
    r"(?P<root>[A-G](?:#|b)?)"
    r"(?P<third>maj|min|dim|aug|m(?!aj)|M|°|ø|\+)?"
    r"(?P<large>\(?maj|M)?"  # the major seventh of Am(maj7)
    r"(?P<extension>6/9|69|5|6|7|9|11|13)?\)?"
    r"(?P<changes>(?:\(?,?(?:sus[24]?|add(?:2|4|9|11|13)|no[35]|[#b](?:5|9|11|13)|alt)\)?)*)"
    r"(?:/(?P<bass>[A-G](?:#|b)?))?"
)
_MINOR_MAJOR = re.compile(r"^([A-G][#b]?)mmaj")
_CHANGE = re.compile(r"sus[24]?|add\d+|no[35]|[#b]\d+|alt")
_NO_CHORD = ("N.C.", "NC", "-")
REPEAT_SIGNS = ("/", ".")  # the same chord for one more share: as in a printed chart, and a short form
NO_CHORD = "N.C."  # how a bar without a chord is printed

# Semitones above the root of the degrees that extensions and changes name. Ninths and above stay above the octave.
_DEGREES = {"2": 14, "4": 17, "5": 7, "9": 14, "11": 17, "13": 21}
_TRIADS = {"": (4, 7), "m": (3, 7), "dim": (3, 6), "aug": (4, 8)}
_SAME_THIRD = {"min": "m", "maj": "", "M": "", "°": "dim", "ø": "dim", "+": "aug"}


@record
class Chord:
    """A chord as its symbol gives it."""

    symbol: str  # as written: "A7#9"
    root: NoteName
    intervals: tuple[int, ...]  # semitones above the root, ascending
    bass: NoteName | None  # the note under the slash, None where the root is lowest

    @property
    def pitch_classes(self) -> frozenset[int]:
        """The pitch classes of the chord (C = 0), the bass included."""
        own = {(self.root.pc + interval) % 12 for interval in self.intervals}
        return frozenset(own if self.bass is None else own | {self.bass.pc})

    @property
    def degrees(self) -> tuple[Degree, ...]:
        """The degrees of its notes, in the order of `intervals`: 1 b3 5 b7 9."""
        return tuple(_named(interval, self.intervals) for interval in self.intervals)

    @property
    def is_minor(self) -> bool:
        """True for a minor third and no major one."""
        return 3 in self.intervals and 4 not in self.intervals

    def tone(self, pitch: int) -> str:
        """Return the degree of a pitch in the chord: "1", "b3", "9"; the bass of a slash chord as a letter; "" for none."""
        degree = _degrees_by_semitones(self.intervals).get((pitch - self.root.pc) % 12)
        if degree is not None:
            return degree
        return str(self.bass) if self.bass is not None and pitch % 12 == self.bass.pc else ""

    @property
    def plain(self) -> str:
        """The one name for all spellings of the chord: "Am7" for Amin7, "Bb" for A#."""
        tail = _plain_tails().get(self.intervals, self.symbol.removeprefix(str(self.root)).partition("/")[0])
        bass = f"/{PLAIN_NAMES[self.bass.pc]}" if self.bass is not None else ""
        return f"{PLAIN_NAMES[self.root.pc]}{tail}{bass}"

    def transposed(self, semitones: int, key: Key | None = None) -> Chord:
        """Return the chord so many semitones up, its notes spelled as `key` (the key after the move) spells them."""
        root = _moved(self.root, semitones, key)
        tail = self.symbol.removeprefix(str(self.root))
        if self.bass is None:
            return Chord(f"{root}{tail}", root, self.intervals, None)
        bass = _moved(self.bass, semitones, key)
        return Chord(f"{root}{tail.removesuffix(str(self.bass))}{bass}", root, self.intervals, bass)

    def __str__(self) -> str:
        return self.symbol


# Degrees of intervals in semitones above the root; a second reading where another interval of the chord asks for it.
_INTERVALS = {
    0: (1, 0), 2: (2, 0), 3: (3, -1), 4: (3, 0), 5: (4, 0), 6: (5, -1), 7: (5, 0), 8: (5, 1), 9: (6, 0), 10: (7, -1),
    11: (7, 0), 13: (9, -1), 14: (9, 0), 15: (9, 1), 17: (11, 0), 18: (11, 1), 20: (13, -1), 21: (13, 0),
}  # fmt: skip
_DIMINISHED_SEVENTH = (3, 6, 9)


@lru_cache(maxsize=256)  # a library has few kinds of chords
def _degrees_by_semitones(intervals: tuple[int, ...]) -> dict[int, str]:
    """Return the degrees of a chord by their semitones above the root, 0 to 11; of two that are equal there, the lower."""
    degrees = [_named(interval, intervals) for interval in intervals]
    return {degree.semitones: str(degree) for degree in reversed(degrees)}


def _named(interval: int, others: tuple[int, ...]) -> Degree:
    if interval == 9 and set(_DIMINISHED_SEVENTH) <= set(others):
        return Degree(7, -2)
    return Degree(*_INTERVALS[interval])


_QUALITIES = {
    "major": "", "minor": "m", "diminished": "dim", "augmented": "aug", "minor 7": "m7", "major 7": "maj7",
    "dominant 7": "7", "minor 7th": "m7", "major 7th": "maj7", "dominant 7th": "7", "diminished 7": "dim7",
    "half diminished": "m7b5", "half-diminished": "m7b5",
}  # fmt: skip


def parse_chord_name(text: str) -> Chord:
    """Return a chord from a symbol, `Am7`, or words, `A minor`, `C major 7`; the root's capital may be missing.

    Raises ValueError, in a player's words, for text that is not a chord.
    """
    root, _, words = " ".join(text.split()).partition(" ")
    root = root[:1].upper() + root[1:]
    chord = parse_chord(root + _QUALITIES.get(words.lower(), words.replace(" ", "")) if words else root)
    if chord is None:
        raise ValueError(f'"{text}" is not a chord')
    return chord


def _moved(name: NoteName, semitones: int, key: Key | None) -> NoteName:
    if semitones % 12 == 0:
        return name
    return PLAIN_NAMES[(name.pc + semitones) % 12] if key is None else note_name(name.pc + semitones, key)


@lru_cache(maxsize=512)
def parse_chord(text: str) -> Chord | None:
    """Return the chord of a symbol (`A`, `Am7`, `Dmaj9`, `E7#9`, `Bm7b5`, `C/E`); None for no chord, `N.C.` or `-`.

    Raises ValueError, in a player's words, for text that is not a chord.
    """
    text = text.strip()
    if text in _NO_CHORD:
        return None
    match = _SYMBOL.fullmatch(_MINOR_MAJOR.sub(r"\1m(maj", text))
    if match is None or text.count("(") != text.count(")"):
        raise ValueError(_unknown(text))
    third, large, extension = match["third"] or "", match["large"] or "", match["extension"] or ""
    if large and extension not in ("7", "9", "11", "13"):
        raise ValueError(_unknown(text))
    major_seventh = bool(large) or third in ("maj", "M")
    intervals = _basic(third, extension, major_seventh)
    for change in _CHANGE.findall(match["changes"]):
        _apply(intervals, change)
    bass = parse_note_name(match["bass"]) if match["bass"] else None
    return Chord(text, parse_note_name(match["root"]), tuple(sorted(intervals)), bass)


def _basic(third: str, extension: str, major_seventh: bool) -> set[int]:
    """Return triad and extension in semitones: 9 includes the 7, 13 the 7 and 9; the 11 of a 13 is left out."""
    if extension == "5":
        return {0, 7}
    kind = _SAME_THIRD.get(third, third)
    intervals = {0, *_TRIADS[kind]}
    if extension.startswith("6"):
        return intervals | ({9} if extension == "6" else {9, 14})
    if extension:
        diminished = kind == "dim" and third != "ø"
        intervals.add(11 if major_seventh else 9 if diminished else 10)
    if third == "ø":
        intervals.add(10)  # the half-diminished sign includes the seventh
    if extension in ("9", "11", "13"):
        intervals.add(14)
    if extension in ("11", "13"):
        intervals.add(_DEGREES[extension])
    return intervals


def _apply(intervals: set[int], change: str) -> None:
    """Apply one change of a symbol in place: `#5` replaces the fifth, `#9` the plain ninth, `sus` the third."""
    if change == "alt":
        intervals.difference_update({7, 14})
        intervals.update({6, 8, 10, 13, 15})
    elif change.startswith("sus"):
        intervals.difference_update({3, 4})
        intervals.add(2 if change == "sus2" else 5)
    elif change.startswith("add"):
        intervals.add(_DEGREES[change[3:]])
    elif change.startswith("no"):
        intervals.difference_update({3, 4} if change == "no3" else {6, 7, 8})
    else:
        plain = _DEGREES[change[1:]]
        intervals.discard(plain)
        intervals.add(plain + (1 if change[0] == "#" else -1))


def _unknown(text: str) -> str:
    if re.match(r"[a-g](?![a-z]*\s)", text) and _SYMBOL.fullmatch(text[0].upper() + text[1:]):
        return f'"{text}" is not a chord: write {text[0].upper()}{text[1:]}'
    minor = re.sub(r"^([A-G][#b]?)-", r"\1m", text)
    if minor != text and _SYMBOL.fullmatch(minor):
        return f'"{text}" is not a chord: write {minor} for minor'
    if re.match(r"H(?![a-z]{2})", text) and _SYMBOL.fullmatch("B" + text[1:]):
        return f'"{text}" is not a chord here: what German and Nordic books call H is B: write B{text[1:]}'
    if text == "%":
        return "% is for bars of music: an empty bar of chords, or a slash, keeps the chord"
    if set(text) == {"/"}:
        return f'"{text}": one slash is one share of the bar: write {" ".join(text)}'
    if text.lower() in ("n.c.", "n.c", "nc.", "nc", "tacet"):
        return f'"{text}" is not a chord: write {NO_CHORD}'
    return f'"{text}" is not a chord known here: write A, Am7, D9, E7#9, Gsus4, C/E and so on, N.C. for none'


class ChordAt(NamedTuple):
    """A chord and where in its bar it starts."""

    at: Fraction  # share of its bar, 0 to 1
    chord: Chord | None  # None from here on: no chord
    symbol: str  # to print: "A7", or "N.C."


@lru_cache(maxsize=512)
def parse_chord_bars(text: str) -> tuple[tuple[ChordAt, ...], ...]:
    """Return the chords of each bar of `A7 | D7 A7 | E7 / / A7`; a slash, a dot or an empty bar keeps the chord.

    Entries share their bar evenly. Bar lines at both ends may be left out. A bar that only keeps its chord is empty.
    Raises ValueError, in a player's words, for text that is not a chord.
    """
    inner = text.strip().removeprefix("|").removesuffix("|")
    if not inner.strip():
        return ()
    return tuple(_read_bar(bar.split()) for bar in inner.split("|"))


def _read_bar(words: list[str]) -> tuple[ChordAt, ...]:
    entries = []
    for i, word in enumerate(words):
        if word not in REPEAT_SIGNS:
            chord = parse_chord(word)
            entries.append(ChordAt(Fraction(i, len(words)), chord, chord.symbol if chord else NO_CHORD))
    return tuple(entries)


def chart_signs(text: str) -> str:
    """Return a line of chords with the signs of a printed chart, `/` for a dot and `N.C.` for a dash; the rest stays."""

    def sign(match: re.Match[str]) -> str:
        return NO_CHORD if match[0] in _NO_CHORD else "/" if match[0] in REPEAT_SIGNS else match[0]

    return re.sub(r"[^\s|]+", sign, " ".join(text.split()))


_PLAIN_TAILS = (
    *("", "m", "7", "m7", "maj7", "m(maj7)", "6", "m6", "6/9", "9", "m9", "maj9", "11", "m11", "13", "m13", "maj13"),
    *("5", "sus2", "sus4", "7sus4", "9sus4", "add9", "madd9", "dim", "dim7", "m7b5", "aug", "7#5", "7b5", "7b9", "7#9"),
)


@lru_cache(maxsize=1)
def _plain_tails() -> dict[tuple[int, ...], str]:
    """Return the commonest sign for each set of intervals; of two signs for one set the first is kept."""
    found: dict[tuple[int, ...], str] = {}
    for tail in _PLAIN_TAILS:
        chord = parse_chord(f"C{tail}")
        if chord is not None:
            found.setdefault(chord.intervals, tail)
    return found
