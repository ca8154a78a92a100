"""Numbers on a string: frets that run together, and how far a bend goes.

In: characters. Out: frets, semitones, and whether that is sure. Values only.
"""

from __future__ import annotations

from fractions import Fraction

HIGHEST = 24  # the highest fret that is taken for one number
AMOUNT = (
    r"\(\d{1,2}\)|\((?:1[ -]?1/2|[13]/[24]|\d?\.\d{1,2}|1?[½¼¾])\)|\(?(?:full|fl(?![a-z])|[fF](?![a-zA-Z]))\)?"
    r"|1[ -]?1/2|1½|[13]/[24]|\d{0,2}\.\d{1,2}|\d{1,2}|[½¼¾]"
)
_STEPS = {
    "1/4": "1/2",
    "¼": "1/2",
    "1/2": "1",
    "½": "1",
    "3/4": "3/2",
    "¾": "3/2",
    "11/2": "3",
    "1¼": "5/2",
    "1½": "3",
    "3/2": "3",
    "1¾": "7/2",
}  # semitones


def split_number(digits: str) -> list[str]:
    """Return digits as frets: one fret where it is on the neck, else the likeliest parts."""
    if len(digits) <= 2 and int(digits) <= HIGHEST and not (len(digits) == 2 and digits[0] == "0"):
        return [digits]
    parts: list[str] = []
    at = 0
    even = len(digits) % 2 == 0
    while at < len(digits):
        two = digits[at : at + 2]
        take = len(two) == 2 and 10 <= int(two) <= HIGHEST and (even or len(digits) - at > 2 or at == 0)
        parts.append(two if take else digits[at])
        at += 2 if take else 1
    return parts


def read_bend_size(amount: str | None, fret: int | None) -> tuple[Fraction | None, bool]:
    """Return by how many semitones a bend goes (None where nothing says it), and whether that is sure.

    A whole number above the fret is the fret whose pitch is reached; a fraction, or `full`, counts whole steps.
    """
    if amount is None:
        return None, True
    text = amount.strip("()").replace(" ", "").replace("-", "")
    if text in _STEPS:
        return Fraction(_STEPS[text]), True
    if text[:1] in "fF":
        return Fraction(2), True
    number = Fraction(text if not text.startswith(".") else f"0{text}")
    if fret is not None and number > fret:
        return number - fret, number - fret <= 5
    if 0 < number <= 3:
        return number * 2, number.denominator != 1
    return None, False


def steps_in_words(by: Fraction | None) -> str:
    return "a whole step" if by is None or by == 2 else f"{float(by) / 2:g} whole steps"
