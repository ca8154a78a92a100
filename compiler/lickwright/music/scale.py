"""Scales as degrees above a tonic.

In: a scale's name or its degrees, and the key that decides bare names. Out: `Scale`, and the degree name of any note.
Knows no pitches and no strings.
"""

from __future__ import annotations

import re
from functools import lru_cache
from itertools import pairwise

from lickwright.core.fast_dataclass import field, record
from lickwright.core.nearest_name import nearest_name
from lickwright.music.pitch import MODE_ALIASES, MODES, Degree, Key, plain_degree

_DEGREE = re.compile(r"(#{1,2}|b{1,2})?(\d{1,2})")


@record
class Scale:
    """A set of degrees with a name. Both pentatonics and both blues are one family, whose boxes are numbered 1 to 5."""

    name: str  # "minor pentatonic", or the degrees themselves
    degrees: tuple[Degree, ...]  # upwards from 1
    semitones: tuple[int, ...] = field(init=False, compare=False)  # above the tonic, ascending, from 0
    is_blues: bool = field(init=False, compare=False)  # a pentatonic with its blue note
    is_pentatonic_family: bool = field(init=False, compare=False)  # boxes numbered 1 to 5

    def __post_init__(self) -> None:
        semitones = tuple(degree.semitones for degree in self.degrees)
        object.__setattr__(self, "semitones", semitones)
        object.__setattr__(self, "is_blues", semitones in _BLUES)
        object.__setattr__(self, "is_pentatonic_family", semitones in _PENTATONIC_FAMILY)

    @property
    def notes(self) -> int:
        """The number of notes to an octave."""
        return len(self.degrees)

    def pentatonic(self) -> tuple[int, ...] | None:
        """Return the semitones of the five-note scale whose boxes this one shares; None outside the pentatonic family."""
        return _BLUES.get(self.semitones) or (self.semitones if self.is_pentatonic_family else None)

    def __str__(self) -> str:
        return self.name


_MINOR_PENTATONIC, _MAJOR_PENTATONIC = (0, 3, 5, 7, 10), (0, 2, 4, 7, 9)
# Each blues scale and the pentatonic it adds its blue note to.
_BLUES: dict[tuple[int, ...], tuple[int, ...]] = {
    (0, 3, 5, 6, 7, 10): _MINOR_PENTATONIC,
    (0, 2, 3, 4, 7, 9): _MAJOR_PENTATONIC,
}
_PENTATONIC_FAMILY = frozenset((*_BLUES, *_BLUES.values()))


def _read_degrees(words: list[str]) -> tuple[Degree, ...]:
    return tuple(sorted((_read_degree(word) for word in words), key=lambda degree: degree.semitones))


def _read_degree(word: str) -> Degree:
    match = _DEGREE.fullmatch(word)
    if match is None:
        raise ValueError(f'"{word}" is not a degree: write 1, b3, #4 and so on')
    number, sign = int(match[2]), match[1] or ""
    if number == 0 or number > 14:
        raise ValueError(f'"{word}" is not a degree: a scale has 1 to 7')
    if number > 7:
        raise ValueError(f"a scale's degrees go from 1 to 7: write {sign}{number - 7} for {word}")
    return Degree(number, len(sign) * (1 if sign.startswith("#") else -1))


_NAMED: dict[str, Scale] = {
    name: Scale(name, _read_degrees(degrees.split()))
    for name, degrees in (
        ("minor pentatonic", "1 b3 4 5 b7"),
        ("major pentatonic", "1 2 3 5 6"),
        ("minor blues", "1 b3 4 b5 5 b7"),
        ("major blues", "1 2 b3 3 5 6"),
        ("major+minor pentatonic", "1 2 b3 3 4 5 6 b7"),
    )
} | {
    name: Scale(name, MODES[MODE_ALIASES.get(name, name)])
    for name in ("major", "natural minor", *(mode for mode in MODES if mode not in ("major", "minor")))
}
_ALIASES = {
    "minor": "natural minor",
    "ionian": "major",
    "aeolian": "natural minor",
    "minor+major pentatonic": "major+minor pentatonic",
}
_BARE = ("pentatonic", "blues")  # the key's mode says which
SCALE_NAMES: tuple[str, ...] = (*_BARE, *_NAMED, *_ALIASES)


def follows_key(text: str) -> bool:
    """Return True if a scale's name leaves major or minor to the key: `pentatonic`, `blues`."""
    return _plain_name(text) in _BARE


def _plain_name(text: str) -> str:
    return re.sub(r"\s*\+\s*", "+", " ".join(text.split()).lower()).removesuffix(" scale")


@lru_cache(maxsize=512)
def parse_scale(text: str, key: Key | None) -> Scale:
    """Return the scale of a name, or of degrees: `1 b3 4 b5 5 b7`.

    Bare `pentatonic` and `blues` follow the key, and are minor without one. Over a mixolydian key, that of a dominant
    chord, `blues` is the minor blues scale. Raises ValueError, in a player's words, for text that is not a scale.
    """
    words = text.split()
    name = _plain_name(text)
    if name in _BARE:
        minor = key is None or key.is_minor or (name == "blues" and key.mode == "mixolydian")
        name = f"{'minor' if minor else 'major'} {name}"
    found = _NAMED.get(_ALIASES.get(name, name))
    if found is not None:
        return found
    if words and all(word[-1].isdigit() for word in words):
        return _scale_of_degrees(words)
    raise ValueError(_unknown_scale(name, words))


def _scale_of_degrees(words: list[str]) -> Scale:
    degrees = _read_degrees(words)
    if degrees[0].semitones != 0:
        raise ValueError(f"a scale holds its tonic: write 1 {' '.join(words)}")
    for low, high in pairwise(degrees):
        if low.semitones == high.semitones:
            raise ValueError(f"{low} and {high} are the same note: name it once")
    if len(degrees) < 3:
        raise ValueError(f"a scale of {len(degrees)} notes is none: name three or more, such as 1 b3 4 5 b7")
    same = next((scale for scale in _NAMED.values() if scale.degrees == degrees), None)
    return same or Scale(" ".join(map(str, degrees)), degrees)


def _unknown_scale(name: str, words: list[str]) -> str:
    if not words:
        return "no scale named: minor pentatonic, blues, dorian, or degrees such as 1 b3 4 5 b7"
    rest = name.partition(" ")[2]
    if re.fullmatch(r"[A-G][#b]?", words[0]) and (rest in SCALE_NAMES):
        return f"the key gives the tonic: write key {words[0]} …, scale {rest}"
    known = nearest_name(name, SCALE_NAMES)
    return f'"{name}" is not a scale known here: ' + (f"{known}?" if known else "give its degrees, such as 1 b3 4 5 b7")


def default_scale(key: Key, numbered_box: bool) -> Scale:
    """Return the scale of a lick that writes none: with a numbered box the key's pentatonic, else its own seven notes."""
    if numbered_box:
        return parse_scale("pentatonic", key)
    return parse_scale(key.mode, key)


@lru_cache(maxsize=2048)
def degree_name(semitones_above_tonic: int, scale: Scale | None = None, key: Key | None = None) -> str:
    """Return a note's degree as the scale spells it, else as the mode does, else b2 b3 b6 b7 and #4 (b5 in minor)."""
    semitones = semitones_above_tonic % 12
    for degrees in (scale.degrees if scale else (), key.degrees if key else ()):
        for degree in degrees:
            if degree.semitones == semitones:
                return str(degree)
    return str(plain_degree(semitones, _minor_third(scale, key)))


def _minor_third(scale: Scale | None, key: Key | None) -> bool:
    """Return True if the music counts as minor, also with neither key nor scale: b5 is the commoner name on a guitar."""
    if key is not None:
        return key.is_minor
    return scale is None or 4 not in scale.semitones
