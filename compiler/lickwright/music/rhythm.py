"""Note values, meters, tempos and swing.

In: words of the notation ("1/8.", "7/8 2+2+3", "swing 1/16"). Out: exact fractions of a whole note; nothing is rounded.
Knows no notes and no written bars. How a player counts an instant aloud is in `syllables.py`.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from math import gcd
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, record
from lickwright.core.nearest_name import nearest_name

_VALUE = re.compile(r"1/(1|2|4|8|16|32|64)(\.{0,2})")
_LENGTH = re.compile(r"(\d{1,3})/(1|2|4|8|16|32|64)")
_METER = re.compile(r"(\d{1,3})\s*/\s*(\d{1,3})(?:\s+(\d{1,2}(?:\s*\+\s*\d{1,2})*))?")
_TEMPO = re.compile(r"(?:(\S+?)\s*=\s*)?(\d{1,6}(?:\.\d{1,4})?)")
_RATIO = re.compile(r"(\d{1,3}):(\d{1,3})")

_WORDS = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second", 64: "sixty-fourth"}

_KINDS = ((1, ""), (Fraction(3, 2), "dotted "), (Fraction(7, 4), "double-dotted "), (Fraction(2, 3), "triplet "))

TEMPO_MIN, TEMPO_MAX = 10, 400  # beats a minute, the limits of the notation
_MAX_BEATS = 64  # units in a bar; a limit that keeps a mistyped meter cheap
_UNITS = (1, 2, 4, 8, 16, 32, 64)
_MAX_RATIO = 16  # largest part of a swing ratio; keeps the grains of a lick few


@lru_cache(maxsize=256)
def parse_value(text: str) -> Fraction:
    """Return a note value with up to two dots, as a fraction of a whole note: 3/16 for `1/8.`.

    Raises ValueError, in a player's words, for any other text.
    """
    match = _VALUE.fullmatch(text.strip())
    if match is None:
        raise ValueError(
            f'"{text.strip()}" is not a note value: 1/1, 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64, dotted as 1/8.'
        )
    dots = len(match[2])
    return Fraction(2 ** (dots + 1) - 1, int(match[1]) * 2**dots)  # n dots make 2 - 1/2^n of the plain value


@lru_cache(maxsize=256)
def parse_length(text: str) -> Fraction:
    """Return a length in whole notes that may be several notes long, such as a pick-up's: `1/4`, `3/8`.

    Raises ValueError, in a player's words, for any other text.
    """
    match = _LENGTH.fullmatch(text.strip())
    if match is None:
        return parse_value(text)
    if int(match[1]) == 0:
        raise ValueError(f'"{text.strip()}" is not a length: write one longer than nothing, such as 1/4')
    return Fraction(int(match[1]), int(match[2]))


@lru_cache(maxsize=1024)
def value_name(value: Fraction) -> str:
    """Return words that take a plural s: "eighth", "dotted quarter", "triplet eighth"; else "5/32 of a whole note"."""
    for factor, word in _KINDS:
        plain = value / factor
        if plain.numerator == 1 and plain.denominator in _WORDS:
            return word + _WORDS[plain.denominator]
    return f"{value} of a whole note"


@record
class Meter:
    """The length of a bar and how it is counted."""

    beats: int  # the upper number, in units
    unit: int  # the lower number: 8 for eighths
    groups: tuple[int, ...] = ()  # how units group, adding up to `beats`; () asks for the usual grouping
    length: Fraction = field(init=False, compare=False)  # of the bar, in whole notes
    beat: Fraction = field(init=False, compare=False)  # what a tempo counts and the count row numbers, in whole notes
    compound: bool = field(init=False, compare=False)  # beats that divide by three: 6/8, 9/8, 12/8
    pulses: tuple[Fraction, ...] = field(init=False, compare=False)  # starts of the counted beats within the bar

    def __post_init__(self) -> None:
        usual = _usual_groups(self.beats, self.unit)
        groups = self.groups or usual
        compound = groups == usual and usual[0] == 3
        beat = Fraction(3 if compound else 1, self.unit)
        length = Fraction(self.beats, self.unit)
        derived = {"groups": groups, "length": length, "beat": beat, "compound": compound}
        derived["pulses"] = tuple(i * beat for i in range(int(length / beat)))
        for name, value in derived.items():
            object.__setattr__(self, name, value)

    def length_name(self, length: Fraction) -> str:
        """Return a length in whole notes as a teacher says it: "1 beat", "half a beat", "1 1/2 beats", else "3 sixteenth notes".

        Beats that divide by three have no halves that are felt.
        """
        beats, rest = divmod(length / self.beat, 1)
        if rest == 0:
            return f"{beats} beat" + "s" * (beats != 1)
        if rest == Fraction(1, 2) and not self.compound:
            return f"{beats} 1/2 beats" if beats else "half a beat"
        return f"{length.numerator} {_WORDS[length.denominator]} note" + "s" * (length.numerator != 1)

    def __str__(self) -> str:
        plain = f"{self.beats}/{self.unit}"
        if self.groups == _usual_groups(self.beats, self.unit):
            return plain
        return f"{plain} {'+'.join(map(str, self.groups))}"


def _usual_groups(beats: int, unit: int) -> tuple[int, ...]:
    """Return threes for 6/8, 9/8, 12/8 and the like, else every unit by itself: 3/8 and 6/4 are counted in units."""
    if unit >= 8 and beats > 3 and beats % 3 == 0:
        return (3,) * (beats // 3)
    return (1,) * beats


@lru_cache(maxsize=256)
def parse_meter(text: str) -> Meter:
    """Return the meter of `4/4`, `12/8`, or grouped, which counts every unit: `7/8 2+2+3`.

    Raises ValueError, in a player's words, for any other text.
    """
    text = text.strip()
    match = _METER.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is not a meter: write 4/4, 12/8, or grouped as 7/8 2+2+3')
    beats, unit = int(match[1]), int(match[2])
    if unit not in _UNITS:
        raise ValueError(f'"{text}" is not a meter: the lower number is 1, 2, 4, 8, 16, 32 or 64, not {unit}')
    if not 1 <= beats <= _MAX_BEATS:
        raise ValueError(f'"{text}" is not a meter: the upper number goes from 1 to {_MAX_BEATS}')
    groups = tuple(int(group) for group in (match[3] or "").split("+") if group)
    if groups and (sum(groups) != beats or 0 in groups):
        raise ValueError(f"the groups {match[3]} make {sum(groups)}, {beats}/{unit} asks for {beats}")
    return Meter(beats, unit, groups)


class Tempo(NamedTuple):
    """A tempo: so many of a note value a minute."""

    bpm: Fraction  # beats a minute, 10 to 400
    unit: Fraction | None  # the note value counted, in whole notes; None is the meter's own beat

    def quarters_per_minute(self, meter: Meter) -> Fraction:
        """Return the tempo in quarter notes a minute, which MIDI and the tempo map use."""
        return self.bpm * (self.unit or meter.beat) * 4

    def beats_per_minute(self, quarters: Fraction, meter: Meter) -> Fraction:
        """Return quarter notes a minute as beats a minute of the note value that this tempo counts."""
        return quarters / (4 * (self.unit or meter.beat))

    def counted_value(self, meter: Meter) -> str:
        """Return the note value that is counted, as the notation writes it: `1/4`, `1/4.`."""
        unit = self.unit or meter.beat
        if unit.numerator == 1:
            return f"1/{unit.denominator}"
        dots = {3: ".", 7: ".."}.get(unit.numerator)
        return f"1/{unit.denominator >> len(dots)}{dots}" if dots else str(unit)

    def counted_name(self, meter: Meter) -> str:
        """Return the note value that is counted, as a player says it: "quarter note", "dotted quarter note"."""
        name = value_name(self.unit or meter.beat)
        return name if name.endswith("note") else f"{name} note"


@lru_cache(maxsize=256)
def parse_tempo(text: str) -> Tempo:
    """Return the tempo of `96`, or with the value that is counted: `1/4. = 66`.

    Raises ValueError, in a player's words, for any other text, and outside of `TEMPO_MIN` to `TEMPO_MAX`.
    """
    text = text.strip()
    match = _TEMPO.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is not a tempo: write beats a minute, such as 96, or 1/4. = 66')
    unit = parse_value(match[1]) if match[1] else None
    bpm = Fraction(match[2])
    if not TEMPO_MIN <= bpm <= TEMPO_MAX:
        raise ValueError(f"a tempo goes from {TEMPO_MIN} to {TEMPO_MAX} beats a minute, not {match[2]}")
    return Tempo(bpm, unit)


@record
class Feel:
    """How pairs of short notes are played: evenly, or long and short."""

    name: str  # "straight", "shuffle" or "swing"
    unit: Fraction = Fraction(1, 8)  # the value that swings, in whole notes
    ratio: tuple[int, int] = (1, 1)  # long to short: (2, 1) shuffle, (3, 2) swing

    @property
    def is_swung(self) -> bool:
        """Whether pairs are long and short."""
        return self.ratio[0] != self.ratio[1]

    def __str__(self) -> str:
        words = [self.name]
        if self.ratio != _RATIOS[self.name]:
            words.append(f"{self.ratio[0]}:{self.ratio[1]}")
        if self.unit != Fraction(1, 8):
            words.append(f"1/{self.unit.denominator}")
        return " ".join(words)


_RATIOS = {"straight": (1, 1), "shuffle": (2, 1), "swing": (3, 2)}


@lru_cache(maxsize=256)
def parse_feel(text: str) -> Feel:
    """Return the feel of `straight`, `shuffle`, `swing`, with a ratio (`swing 5:3`) and the value that swings (`1/16`).

    Raises ValueError, in a player's words, for any other text.
    """
    name, *rest = text.lower().split() or [""]
    if name not in _RATIOS:
        known = nearest_name(name, tuple(_RATIOS))
        raise ValueError(f'"{text.strip()}" is not a feel: ' + (f"{known}?" if known else "straight, shuffle or swing"))
    if name == "straight" and rest:
        raise ValueError(f'straight takes nothing after it, not "{" ".join(rest)}"')
    unit, ratio = Fraction(1, 8), _RATIOS[name]
    for word in rest:
        if ":" in word:
            ratio = _parse_ratio(name, word)
        else:
            unit = _parse_swung_value(word)
    return Feel(name, unit, ratio)


def _parse_ratio(name: str, word: str) -> tuple[int, int]:
    match = _RATIO.fullmatch(word)
    if match is None:
        raise ValueError(f'"{word}" is not a ratio: write long to short, such as 5:3')
    long, short = int(match[1]), int(match[2])
    if name == "shuffle" and (long, short) != (2, 1):
        raise ValueError(f"a shuffle is 2:1; for {word} write swing {word}")
    if not 1 <= short <= long <= _MAX_RATIO:
        raise ValueError(f"a swing ratio is long to short, each from 1 to {_MAX_RATIO}, not {word}")
    common = gcd(long, short)
    return long // common, short // common


def _parse_swung_value(word: str) -> Fraction:
    value = parse_value(word)
    if value.numerator != 1 or not 4 <= value.denominator <= 32:
        raise ValueError(f"the value that swings is 1/4, 1/8, 1/16 or 1/32, not {word}")
    return value


def usual_time(count: int) -> int:
    """Return the steps in whose time a tuplet of `count` goes by default: the largest power of two smaller than it."""
    return 1 << ((count - 1).bit_length() - 1)
