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
_BY_LETTERS = {re.sub(r"[\s-]", "", name).lower(): name for name in TUNING_NAMES}
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


@lru_cache(maxsize=512)
def label_pitch_class(name: str) -> int:
    """Return the pitch class of a label; the German names H, Es and As are read too."""
    letter, sign = name[0].upper(), name[1:].lower().replace("es", "b").replace("is", "#")
    sign = "b" if sign == "s" else sign
    return parse_pitch(("B" if letter == "H" else letter) + sign + "4") % 12


class LabelFit(NamedTuple):
    """Labels as the strings of a usual set."""

    off: int  # how far they are from it; smaller is better
    pitches: tuple[int, ...]  # MIDI numbers, thinnest first
    flipped: bool  # they stood upside down
    alike: bool  # all strings are as far from it as each other: it is that set, perhaps tuned down


def nearest_pitches(classes: Sequence[int]) -> tuple[int, ...] | None:
    """Return the pitches of strings, thinnest first, by their pitch classes: each in the octave nearest to its usual pitch."""
    usual = _USUAL.get(len(classes))
    if usual is None:
        return None
    standard = [parse_pitch(pitch) for pitch in reversed(usual[0].split())]
    return tuple(base + (pc - base + 6) % 12 - 6 for pc, base in zip(classes, standard, strict=True))


@lru_cache(maxsize=64)  # the systems of a text have the same names
def fitted_labels(names: tuple[str, ...], flipped: bool = False) -> LabelFit | None:
    """Return the usual set that labels, thinnest first, are nearest to; None where they make no strings."""
    found = []
    for n, usual in enumerate(_USUAL.get(len(names), ())):
        standard = [parse_pitch(pitch) for pitch in reversed(usual.split())]
        pitches = [
            base + (label_pitch_class(name) - base + 6) % 12 - 6 for name, base in zip(names, standard, strict=True)
        ]
        off = [abs(a - b) for a, b in zip(pitches, standard, strict=True)]
        reentrant = usual.startswith("G4")
        if max(off) <= _FARTHEST and (_is_plausible(pitches) or (reentrant and not any(off))):
            alike = len({a - b for a, b in zip(pitches, standard, strict=True)}) == 1
            found.append(LabelFit(sum(off) * 4 + n + 2 * flipped, tuple(pitches), flipped, alike))
    return min(found, default=None, key=lambda fit: fit.off)


def _is_plausible(pitches: Sequence[int]) -> bool:
    """Return True where the strings, thinnest first, are as far apart as those of an instrument."""
    steps = [a - b for a, b in zip(pitches, pitches[1:], strict=False)]
    return all(_NARROWEST <= step <= _WIDEST for step in steps) and all(
        a + b >= _PAIR_SUM for a, b in zip(steps, steps[1:], strict=False)
    )


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


def said_strings(lines: Iterable[tuple[int, str]]) -> tuple[int, ...] | None:
    """Return the pitch classes, thinnest first, of the strings that the prose names, by letters or by a tuning's name; None without."""
    for _, text in lines:
        if not _ABOUT_TUNING.search(text) and not re.search(r"\b(?:bass|[78][ -]string)\b", text):
            continue
        for letters in _LETTERS.finditer(text):
            names = _LETTER.findall(letters[1])
            if _spread(letters[1]) and (tuning := _by_letters(letters[1], len(names), text)) is not None:
                return tuple(pitch % 12 for pitch in tuning.sounding)
        name = _tuning_name(text) or "standard"
        if name not in ("standard", "baritone", "half step down", "whole step down"):
            return tuple(pitch % 12 for pitch in parse_tuning(name).sounding)
    return None


def _tuning_name(text: str) -> str:
    """Return the name of the first tuning that a text names, however it is joined (`drop-D`, `DropD`); empty without one."""
    named = _NAMED.search(text)
    return _BY_LETTERS[re.sub(r"[\s-]", "", named[0]).lower()] if named else ""


def _named(name: str, strings: int) -> Tuning | None:
    """Return the tuning of a name; None for one of an instrument of other strings where there are six."""
    if name == "standard" and strings != 6:
        return usual_tuning(strings)
    if name in ("bass", "baritone") and strings == 6:
        return None
    return parse_tuning(name)


def _spread(letters: str) -> bool:
    """Return True for letters that look like strings rather than a word: `D-A-D-G-B-E`, `DADGBE`, not `Abbe`."""
    return letters == letters.upper() or bool(re.search(r"[\s,-]", letters))


def _tunings(text: str, strings: int) -> Iterator[Tuning]:
    """Yield the tunings that a line names, the surest first."""
    if (steps := _STEPS_DOWN.search(text)) and (steps["down"] or steps["flat"]):
        semitones = 2 if steps["whole"] else 1
        yield tuned_down(semitones, strings)
    if (name := _tuning_name(text)) and (tuning := _named(name, strings)) is not None:
        yield tuning
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
    fits = [fitted_labels(tuple(names[::-1])), fitted_labels(tuple(names), True)]
    fit = fits[1] if high_first and fits[1] else min(filter(None, fits), default=None, key=lambda one: one.off)
    return tuning_of(fit.pitches) if fit is not None else None


def _dropped(name: str, strings: int) -> Tuning:
    """Return the tuning whose lowest string is dropped a whole step below the others, which all move if need be: drop C, drop A."""
    pitches = [parse_pitch(pitch) for pitch in reversed(_USUAL[strings][0].split())]
    lowest = pitches[-1] - 2
    shift = (label_pitch_class(name) - lowest) % 12
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
