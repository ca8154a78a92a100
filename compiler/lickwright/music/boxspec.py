"""The value of a lick's `box` line, as written.

In: `1 2`, `E shape`, `open`, `frets 5-8`, `any`, with `at 12`. Out: `BoxSpec`. Where that lies on the neck depends on
key, scale and tuning and is computed in `box_area.py`.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.nearest_name import nearest_name
from lickwright.music.fretboard import MAX_FRET

SHAPES = ("C", "A", "G", "E", "D")  # the five open chords whose shapes lie in the positions, in their order up the neck
OPEN = (0, 3)  # frets of the open position

_NUMBERS = re.compile(r"\d+(?:[\s,]+\d+)*")
_NUMBER_SHAPE = re.compile(r"(\d+(?:[\s,]+\d+)*)?\s*\(?([A-Ga-g])[\s-]shape\)?", re.IGNORECASE)
_FRETS = re.compile(r"frets?\s+(\d{1,3})(?:\s*-\s*(\d{1,3}))?", re.IGNORECASE)
_AT = re.compile(r"(.*?)\s*\bat\s+(?:fret\s+)?(\d{1,3})", re.IGNORECASE | re.DOTALL)


class BoxSpec(NamedTuple):
    """One `box` line; with all fields empty it is `any`."""

    numbers: tuple[int, ...] = ()  # 1 to 5, ascending: their union
    shape: str = ""  # one of `SHAPES`; beside a number it must agree with it
    window: tuple[int, int] | None = None  # lowest and highest fret
    at: int | None = None  # fret: only the placement that starts nearest; None means every octave on the neck

    @property
    def any(self) -> bool:
        """True for anywhere on the neck, where only the scale is checked."""
        return not self.numbers and not self.shape and self.window is None

    def __str__(self) -> str:
        if self.window is not None:
            return "open" if self.window == OPEN else f"frets {self.window[0]}-{self.window[1]}"
        words = [*map(str, self.numbers), *([f"{self.shape} shape"] if self.shape else [])]
        if self.at is not None:
            words.append(f"at {self.at}")
        return " ".join(words) or "any"


@lru_cache(maxsize=256)
def parse_box(text: str) -> BoxSpec:
    """Return the value of a `box` line. Raises ValueError, in a player's words, for any other text."""
    text = " ".join(text.split())
    if (at := _AT.fullmatch(text)) is not None:
        return _placed(parse_box(at[1]), int(at[2]))
    lower = text.lower()
    if lower == "any":
        return BoxSpec()
    if lower in ("open", "open position"):
        return BoxSpec(window=OPEN)
    if (frets := _FRETS.fullmatch(text)) is not None:
        return BoxSpec(window=_window(int(frets[1]), int(frets[2] or frets[1])))
    if _NUMBERS.fullmatch(text) is not None:
        return BoxSpec(_numbers(text))
    if (shape := _NUMBER_SHAPE.fullmatch(text)) is not None:
        return BoxSpec(_numbers(shape[1] or ""), _shape(shape[2].upper()))
    raise ValueError(_unknown(text))


def _placed(spec: BoxSpec, at: int) -> BoxSpec:
    if spec.window is not None or spec.any:
        raise ValueError(f"{spec} says where already: at {at} goes with a box number or a shape")
    if at > MAX_FRET:
        raise ValueError(f"no neck has a fret {at}: at goes from 0 to {MAX_FRET}")
    return spec._replace(at=at)


def _numbers(text: str) -> tuple[int, ...]:
    numbers = sorted({int(number) for number in re.split(r"[\s,]+", text) if number})
    for number in numbers:
        if not 1 <= number <= 5:
            raise ValueError(_no_such_box(str(number)))
    return tuple(numbers)


def _no_such_box(digits: str) -> str:
    if len(digits) > 1 and set(digits) <= set("12345"):
        return f"boxes are numbered 1 to 5: write {' '.join(digits)} for several"
    return f"boxes are numbered 1 to 5, there is no box {digits}"


def _shape(letter: str) -> str:
    if letter not in SHAPES:
        raise ValueError(f"there is no {letter} shape: the five are {', '.join(SHAPES)}")
    return letter


def _window(low: int, high: int) -> tuple[int, int]:
    if low > high:
        raise ValueError(f"frets {low}-{high} run backwards: write frets {high}-{low}")
    if high > MAX_FRET:
        raise ValueError(f"no neck has a fret {high}: they go from 0 to {MAX_FRET}")
    return low, high


def _unknown(text: str) -> str:
    if (span := re.fullmatch(r"(\d{1,2})\s*-\s*(\d{1,2})", text)) is not None:
        return f'"{text}" could be boxes or frets: write frets {span[1]}-{span[2]}, or the boxes one by one'
    if text.upper() in SHAPES:
        return f'"{text}" is not a box: {text.upper()} shape?'
    known = nearest_name(text, ("open", "any", "frets 5-8", *(f"{shape} shape" for shape in SHAPES)))
    if known is not None:
        return f'"{text}" is not a box: {known}?'
    return f'"{text}" is not a box: write 1 to 5, E shape, open, frets 5-8 or any'
