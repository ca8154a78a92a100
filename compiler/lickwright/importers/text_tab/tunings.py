"""Which string each line of a system is, and what the strings are tuned to.

In: the labels of the systems, and the prose around them. Out: a `Tuning`, and for each system the number of each of its strings. Octaves
are not written in
text tab: each string takes the pitch nearest to the one that it usually has. Labels that make no strings (a drum kit, a chart) are refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from lickwright.music.pitch import parse_pitch, pitch_name
from lickwright.music.tuning import TUNING_NAMES, Tuning, parse_tuning

_USUAL = {  # pitches low to high, by the number of strings; the first is meant where nothing says otherwise
    4: ("E1 A1 D2 G2", "G4 C4 E4 A4"), 5: ("B0 E1 A1 D2 G2", "E1 A1 D2 G2 C3"), 6: ("E2 A2 D3 G3 B3 E4", "B0 E1 A1 D2 G2 C3"),
    7: ("B1 E2 A2 D3 G3 B3 E4",), 8: ("F#1 B1 E2 A2 D3 G3 B3 E4",),
}  # fmt: skip
_FARTHEST = 7  # semitones that a string is tuned away from its usual pitch
_NARROWEST, _WIDEST = 1, 9  # semitones from a string to the next
_PAIR_SUM = 4  # semitones that two neighboring intervals make together at the least
_STEPS_DOWN = re.compile(
    r"\b(?:(?P<half>half|1/2|½|semi)[\s-]*(?:a[\s-])?(?:step|tone)?|(?P<whole>whole|full|one|1)[\s-]*(?:step|tone)|(?P<flat>e[\s-]?flat|eb))"
    r"[\s-]*(?P<down>down|lower|flat|tuning|tuned)?", re.IGNORECASE,
)  # fmt: skip
_LETTERS = re.compile(r"(?<![A-Za-z#])([A-Ha-h][#b]?(?:[\s,/-]{0,3}[A-Ha-h][#b]?){3,7})(?![A-Za-z])")
_LETTER = re.compile(r"[A-Ha-h][#b]?")
_NAMED = re.compile(
    "|".join(re.escape(n).replace(r"\ ", r"[\s-]*") for n in sorted(TUNING_NAMES, key=len, reverse=True)), re.IGNORECASE
)
_DROPPED = re.compile(r"\bdrop(?:ped)?[\s-]*([a-g][#b]?)(?![a-z])", re.IGNORECASE)
_ABOUT_TUNING = re.compile(r"\btun(?:ing|ed|e)\b|\bdrop(?:ped)?[\s-]?[A-G]\b|\bdadgad\b|\bopen [A-G]\b", re.IGNORECASE)
_CAPO = re.compile(
    r"\bcapo(?:\s*(?:on|at|in|:|=|fret|the|tasto|[IVX]*))*?\s*(?P<a>\d{1,2}|none|no\b|[IVX]+\b)|(?P<b>\d{1,2})(?:st|nd|rd|th)\s*fret\s*capo",
    re.IGNORECASE,
)
_ROMAN = {
    "I": 1,
    "II": 2,
    "III": 3,
    "IV": 4,
    "V": 5,
    "VI": 6,
    "VII": 7,
    "VIII": 8,
    "IX": 9,
    "X": 10,
    "XI": 11,
    "XII": 12,
}


class StringOrder(NamedTuple):
    """The lines of one system as strings."""

    strings: tuple[int, ...]  # by line from the top: 1 is the thinnest
    size: int  # strings that the instrument has
    pitches: tuple[int, ...] | None  # MIDI numbers from the thinnest, as the labels have them; None: they name none
    missing: tuple[int, ...] = ()  # strings that have no line


class NoStrings(Exception):
    """The labels of a system are those of no strings."""


def order_strings(labels: Sequence[str], usual: StringOrder | None, low_on_top: bool) -> StringOrder:
    """Return which string each line is, by its labels, else by its place.

    `usual` is what another system of the text has. Raises NoStrings for labels that make no strings.
    """
    if all(label.isdigit() for label in labels) and any(labels):
        return _numbered([int(label) for label in labels])
    names = [label for label in labels if label and not label.isdigit()]
    count = len(labels)
    if len(names) < count:
        if usual is not None and count < usual.size and not names:
            return StringOrder(tuple(range(1, count + 1)), usual.size, None, tuple(range(count + 1, usual.size + 1)))
        order = tuple(range(count, 0, -1)) if low_on_top else tuple(range(1, count + 1))
        return StringOrder(order, count, None)
    if count < 6 and (partial := _partial(names, usual)) is not None:
        return partial
    best = min(filter(None, (_fitted(names), _fitted(names[::-1], True))), key=lambda fit: fit[0], default=None)
    if best is None:
        raise NoStrings(" ".join(names))
    _, pitches, flipped = best
    order = tuple(range(count, 0, -1)) if flipped else tuple(range(1, count + 1))
    return StringOrder(order, count, pitches)


def _numbered(numbers: Sequence[int]) -> StringOrder:
    count = max(len(numbers), max(numbers))
    if sorted(numbers) != sorted(set(numbers)) or min(numbers) < 1 or count > 12:
        raise NoStrings(" ".join(map(str, numbers)))
    return StringOrder(tuple(numbers), max(count, 4), None, tuple(n for n in range(1, count + 1) if n not in numbers))


def _partial(names: Sequence[str], usual: StringOrder | None) -> StringOrder | None:
    """Return the order of a system that lacks some strings; None where its labels are those of fewer strings."""
    whole = ["E", "B", "G", "D", "A", "E"]
    capitals = [name.upper() for name in names]
    if capitals in (["G", "D", "A", "E"], ["G", "D", "A", "E", "B"], ["C", "G", "D", "A", "E"]) and (
        usual is None or usual.size != 6
    ):
        return None
    for flipped in (False, True):
        found = _places(capitals[::-1] if flipped else capitals, whole, names[::-1] if flipped else names)
        if found is not None:
            order = tuple(reversed(found)) if flipped else found
            return StringOrder(order, 6, None, tuple(n for n in range(1, 7) if n not in found))
    return None


def _places(names: Sequence[str], whole: Sequence[str], written: Sequence[str]) -> tuple[int, ...] | None:
    """Return where each name stands in the whole set, in order; a single E that is small is the thinnest string."""
    found, at = [], 0
    for k, name in enumerate(names):
        if name == "E" and k == 0 and written[0] == "E" and len(names) == 1:
            at = 5
        if name not in whole[at:]:
            return None
        at += whole[at:].index(name) + 1
        found.append(at)
    return tuple(found)


@lru_cache(maxsize=512)
def _pitch_class(name: str) -> int:
    """Return the pitch class of a label; the German names H, Es and As are read too."""
    letter, sign = name[0].upper(), name[1:].lower().replace("es", "b").replace("is", "#")
    sign = "b" if sign == "s" else sign
    return parse_pitch(("B" if letter == "H" else letter) + sign + "4") % 12


def _fitted(names: Sequence[str], flipped: bool = False) -> tuple[int, tuple[int, ...], bool] | None:
    """Return how far labels, thinnest first, are from a usual set, and their pitches; None where they make no strings."""
    found = []
    for n, usual in enumerate(_USUAL.get(len(names), ())):
        standard = [parse_pitch(pitch) for pitch in reversed(usual.split())]
        pitches = [base + (_pitch_class(name) - base + 6) % 12 - 6 for name, base in zip(names, standard, strict=True)]
        off = [abs(a - b) for a, b in zip(pitches, standard, strict=True)]
        steps = [a - b for a, b in zip(pitches, pitches[1:], strict=False)]
        reentrant = usual.startswith("G4")
        plausible = all(_NARROWEST <= step <= _WIDEST for step in steps) and all(
            a + b >= _PAIR_SUM for a, b in zip(steps, steps[1:], strict=False)
        )
        if max(off) <= _FARTHEST and (plausible or (reentrant and not any(off))):
            found.append((sum(off) * 4 + n + 2 * flipped, tuple(pitches), flipped))
    return min(found, default=None)


# --- what the prose says ---------------------------------------------------------------------------------------------


class SaidTuning(NamedTuple):
    """What the prose says of the tuning, and on which line."""

    tuning: Tuning
    line: int  # number of the line


def said_tuning(lines: Iterable[tuple[int, str]], strings: int) -> SaidTuning | None:
    """Return the tuning that the prose names: by its name, by letters, by steps down. `strings` is how many there are."""
    for number, text in lines:
        if _ABOUT_TUNING.search(text):
            for tuning in _tunings(text, strings):
                if tuning.strings == strings:
                    return SaidTuning(tuning, number)
        elif text.strip() and (letters := _LETTERS.fullmatch(text.strip())) and len(text.strip()) < 24:
            found = _by_letters(letters[1], strings, text)
            if found is not None and found.strings == strings and _spread(letters[1]):
                return SaidTuning(found, number)
    return None


def _spread(letters: str) -> bool:
    """Return True for letters that look like strings rather than a word: `D-A-D-G-B-E`, `DADGBE`, not `Abbe`."""
    return letters == letters.upper() or bool(re.search(r"[\s,-]", letters))


def _tunings(text: str, strings: int) -> Iterator[Tuning]:
    bass = " bass" if strings == 4 else ""
    del bass
    if (steps := _STEPS_DOWN.search(text)) and (steps["down"] or steps["flat"]):
        semitones = 2 if steps["whole"] else 1
        yield tuned_down(semitones, strings)
    if (named := _NAMED.search(text)) is not None:
        name = " ".join(named[0].replace("-", " ").split())
        if name.lower() == "standard" and strings != 6:
            yield usual_tuning(strings)
        elif not (name.lower() in ("bass", "baritone") and strings == 6):
            yield parse_tuning(name)
    if (dropped := _DROPPED.search(text)) is not None and strings in (4, 6, 7):
        yield _dropped(dropped[1], strings)
    for letters in _LETTERS.finditer(text):
        found = _by_letters(letters[1], strings, text)
        if found is not None:
            yield found


def _by_letters(letters: str, strings: int, text: str) -> Tuning | None:
    names = _LETTER.findall(letters)
    if len(names) != strings:
        return None
    high_first = re.search(r"high(?:est)? to low|1 to 6|top to bottom", text, re.IGNORECASE)
    fits = [_fitted(names[::-1]), _fitted(names, True)]
    fit = fits[1] if high_first and fits[1] else min(filter(None, fits), default=None)
    return tuning_of(fit[1]) if fit is not None else None


def _dropped(name: str, strings: int) -> Tuning:
    """Return the tuning whose lowest string is dropped a whole step below the others, which all move if need be: drop C, drop A."""
    pitches = [parse_pitch(pitch) for pitch in reversed(_USUAL[strings][0].split())]
    lowest = pitches[-1] - 2
    shift = (_pitch_class(name) - lowest) % 12
    shift -= 12 if shift > 2 else 0
    return tuning_of((*(pitch + shift for pitch in pitches[:-1]), lowest + shift))


def tuned_down(semitones: int, strings: int) -> Tuning:
    """Return the usual tuning of so many strings, so many semitones lower."""
    return tuning_of(tuple(parse_pitch(pitch) - semitones for pitch in reversed(_USUAL[strings][0].split())))


def usual_tuning(strings: int) -> Tuning:
    """Return the usual tuning of so many strings; of 9 to 12 the 8-string one with further strings in fourths."""
    if strings in _USUAL:
        return tuning_of(tuple(parse_pitch(pitch) for pitch in reversed(_USUAL[strings][0].split())))
    pitches = [parse_pitch(pitch) for pitch in reversed(_USUAL[8][0].split())]
    while len(pitches) < strings:
        pitches.append(pitches[-1] - 5)
    return tuning_of(tuple(pitches))


@lru_cache(maxsize=256)
def tuning_of(pitches: tuple[int, ...]) -> Tuning:
    """Return the tuning of these pitches, thinnest first, by its name where it has one."""
    for name in TUNING_NAMES:
        named = parse_tuning(name)
        if named.sounding == pitches:
            return named
    return parse_tuning(" ".join(pitch_name(pitch) for pitch in reversed(pitches)))


def said_capo(lines: Iterable[tuple[int, str]]) -> int:
    """Return the fret of the capo that the prose names; 0 without one."""
    for _, text in lines:
        if "capo" in text.lower() and (found := _CAPO.search(text)):
            word = (found["a"] or found["b"]).upper()
            fret = _ROMAN.get(word, 0) if not word.isdigit() else int(word)
            if 0 < fret <= 12:
                return fret
    return 0
