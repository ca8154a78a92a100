"""Tunings: what the open strings sound, how they are named and written.

In: a tuning's name, or its pitches low to high. Out: `Tuning`. String 1 is the thinnest. Knows no capo, which shifts all
strings alike and is added in `performance/`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from lickwright.core.fast_dataclass import record
from lickwright.core.nearest_name import nearest_name
from lickwright.music.pitch import parse_pitch

STRINGS_MIN, STRINGS_MAX = 4, 12
_LOWEST, _HIGHEST = 12, 96  # MIDI numbers a string can be tuned to
_BASS_TOP = 50  # MIDI; the thinnest string of a bass lies at or below this, that of any guitar above

# Standard sets low to high, guitar first; a tuning with the intervals of one of them is fingered and named like it.
_GUITARS = ("E2 A2 D3 G3 B3 E4", "B1 E2 A2 D3 G3 B3 E4", "F#1 B1 E2 A2 D3 G3 B3 E4")
_BASSES = ("E1 A1 D2 G2", "B0 E1 A1 D2 G2", "B0 E1 A1 D2 G2 C3")
_NAMED: dict[str, str] = {
    "standard": _GUITARS[0],
    "half step down": "Eb2 Ab2 Db3 Gb3 Bb3 Eb4",
    "whole step down": "D2 G2 C3 F3 A3 D4",
    "drop D": "D2 A2 D3 G3 B3 E4",
    "drop C": "C2 G2 C3 F3 A3 D4",
    "double drop D": "D2 A2 D3 G3 B3 D4",
    "open G": "D2 G2 D3 G3 B3 D4",
    "open D": "D2 A2 D3 F#3 A3 D4",
    "open E": "E2 B2 E3 G#3 B3 E4",
    "open A": "E2 A2 E3 A3 C#4 E4",
    "DADGAD": "D2 A2 D3 G3 A3 D4",
    "all fourths": "E2 A2 D3 G3 C4 F4",
    "baritone": "B1 E2 A2 D3 F#3 B3",
    "7 string": _GUITARS[1],
    "8 string": _GUITARS[2],
    "12 string": _GUITARS[0],  # six courses, fingered as six strings; the octave strings are not modeled
    "bass": _BASSES[0],
    "5 string bass": _BASSES[1],
    "6 string bass": _BASSES[2],
}
TUNING_NAMES: tuple[str, ...] = tuple(_NAMED)
_BY_LOWER = {name.lower(): name for name in _NAMED}
_GUITAR_LETTERS = ("e", "B", "G", "D", "A", "E")  # strings 1 to 6
_BASS_LETTERS = ("G", "D", "A", "E", "B")  # strings 1 to 5 of a bass of four or five; one further on with a high C


@record
class Tuning:
    """The open strings. Index 0 of every tuple is string 1, the thinnest."""

    name: str  # "standard", "drop D", or the pitches as given
    sounding: tuple[int, ...]  # MIDI numbers heard
    nominal: tuple[int, ...]  # MIDI numbers as fingered: those of the standard set when all strings shift alike from it
    labels: tuple[str, ...]  # note names that start tab lines
    standard_intervals: bool  # the same steps from string to string as a standard set of as many strings
    is_bass: bool

    @property
    def strings(self) -> int:
        """The number of strings."""
        return len(self.sounding)

    @property
    def shift(self) -> int:
        """Semitones from the nominal to the sounding pitch: -1 for a half step down, 0 for altered tunings."""
        return self.sounding[0] - self.nominal[0]

    @property
    def letters(self) -> Mapping[str, int]:
        """The string numbers of the letters that hold in this tuning; every other string is written by number."""
        return _letters(self.nominal, self.is_bass)

    def open(self, string: int) -> int:
        """Return the nominal MIDI number of an open string."""
        return self.nominal[string - 1]

    def written(self, string: int) -> str:
        """Return how the notation writes a string: `B`, or `6:` where no letter holds."""
        return _written(self.nominal, self.is_bass)[string - 1]

    def label(self, string: int) -> str:
        """Return what starts a string's tab line: `e`, `B`, `F#`."""
        return self.labels[string - 1]

    @property
    def anchor(self) -> int:
        """The string from which boxes are counted: the low E of a standard set, else the lowest string."""
        return self.letters.get("E", self.strings) if self.standard_intervals else self.strings

    def __str__(self) -> str:
        return self.name


@lru_cache(maxsize=256)
def _letters(nominal: tuple[int, ...], is_bass: bool) -> Mapping[str, int]:
    """Return the letters whose string has its standard pitch; from the thin end, so a seventh string adds none."""
    standard: tuple[int, ...]
    letters: tuple[str, ...]
    if not is_bass:
        standard, letters = _read(_GUITARS[0]), _GUITAR_LETTERS
    elif len(nominal) == 6:
        standard, letters = _read(_BASSES[2]), ("", *_BASS_LETTERS)  # its high C has no letter of its own
    else:
        standard, letters = _read(_BASSES[1]), _BASS_LETTERS
    pairs = zip(letters, standard, nominal, strict=False)
    held = {letter: i for i, (letter, usual, own) in enumerate(pairs, 1) if letter and usual == own}
    return MappingProxyType(held)


@lru_cache(maxsize=256)
def _written(nominal: tuple[int, ...], is_bass: bool) -> tuple[str, ...]:
    names = {string: letter for letter, string in _letters(nominal, is_bass).items()}
    return tuple(names.get(string, f"{string}:") for string in range(1, len(nominal) + 1))


@lru_cache(maxsize=256)
def _read(pitches: str) -> tuple[int, ...]:
    """Return pitches written low to high as MIDI numbers from the thinnest."""
    return tuple(parse_pitch(pitch) for pitch in reversed(pitches.split()))


@lru_cache(maxsize=256)
def parse_tuning(text: str) -> Tuning:
    """Return the tuning of a name, or of 4 to 12 pitches low to high: `D2 A2 D3 G3 B3 E4`.

    Raises ValueError, in a player's words, for any other text.
    """
    words = text.split()
    name = _BY_LOWER.get(" ".join(words).replace("-", " ").lower())
    if name is not None:
        return _tuning(name, _NAMED[name])
    if not words or not all(word[-1].isdigit() for word in words):
        raise ValueError(_unknown(" ".join(words)))
    if not STRINGS_MIN <= len(words) <= STRINGS_MAX:
        raise ValueError(f"{len(words)} strings: a tuning names {STRINGS_MIN} to {STRINGS_MAX}, low to high")
    for word in words:
        if not _LOWEST <= parse_pitch(word) <= _HIGHEST:
            raise ValueError(f"no string is tuned to {word}: pitches go from C0 to C7, C4 is middle C")
    return _tuning(" ".join(words), " ".join(words))


def _unknown(text: str) -> str:
    letters = re.sub("[^A-H#b]", "", text).replace("H", "B")
    same = [name for name, pitches in _NAMED.items() if re.sub("[^A-G#b]", "", pitches) == letters]
    if letters and same:
        return f'"{text}" is {same[0]}: write that name, or pitches with their octaves, such as E2'
    known = nearest_name(text, TUNING_NAMES)
    if known is not None:
        return f'"{text}" is not a tuning known here: {known}?'
    return f'"{text}" is not a tuning known here: name its pitches low to high, such as D2 A2 D3 G3 B3 E4'


def _tuning(name: str, pitches: str) -> Tuning:
    """Return the tuning of some pitches; where they are a shift of a standard set, frets are named as on that set."""
    sounding = _read(pitches)
    is_bass = sounding[0] <= _BASS_TOP
    for standard in (*_GUITARS, *(_BASSES if is_bass else ())):
        nominal = _read(standard)
        if _shifted_alike(sounding, nominal):
            return Tuning(name, sounding, nominal, _labels(standard), True, standard in _BASSES)
    return Tuning(name, sounding, sounding, _labels(pitches), False, is_bass)


def _shifted_alike(sounding: tuple[int, ...], nominal: tuple[int, ...]) -> bool:
    return len(sounding) == len(nominal) and len({a - b for a, b in zip(sounding, nominal, strict=True)}) == 1


def _labels(pitches: str) -> tuple[str, ...]:
    """Return note names from the thinnest; a thinnest E is `e`, as on every tab."""
    names = [pitch.rstrip("-0123456789") for pitch in reversed(pitches.split())]
    return ("e", *names[1:]) if names[0] == "E" else tuple(names)
