"""Numbers in a score, as anybody may have written them.

In: the text of an element. Out: whole numbers and fractions within bounds. Raises `Unreadable` with the line for what is none.
"""

from __future__ import annotations

import re
from fractions import Fraction

from lickwright.core.unreadable import Unreadable
from lickwright.importers.xml_tree import XmlElement

_WHOLE = re.compile(r"[+-]?[0-9]{1,12}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})")
_LONG_DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,12}(?:\.[0-9]{0,24})?|\.[0-9]{1,24})")


def wrong_score(element: XmlElement, what: str) -> Unreadable:
    """Return the error for an element of a score that cannot be meant."""
    return Unreadable(f"the score cannot be read: line {element.line}: {what}", "export it again")


def whole_number(element: XmlElement, path: str, otherwise: int, low: int, high: int) -> int:
    """Return the whole number at a path, `otherwise` where there is none. Raises `Unreadable` for one outside of `low` to `high`."""
    found = element.first(path) if path else element
    if found is None or not found.text.strip():
        return otherwise
    text = found.words()
    if not _WHOLE.fullmatch(text):
        value = decimal_number(found, Fraction(otherwise))
        if value.denominator != 1:
            raise wrong_score(found, f"`{text[:24]}` is not a whole number")
        text = str(value.numerator)
    if not low <= int(text) <= high:
        raise wrong_score(found, f"{found.tag} is {text[:24]}, which cannot be: {low} to {high}")
    return int(text)


def decimal_number(element: XmlElement | None, otherwise: Fraction) -> Fraction:
    """Return the number that an element holds, `otherwise` where there is none. Raises `Unreadable` for what is no number."""
    text = "" if element is None else element.words()
    if element is None or not text:
        return otherwise
    if not _DECIMAL.fullmatch(text):
        raise wrong_score(element, f"`{text[:24]}` is not a number")
    return Fraction(text if not text.endswith(".") else text[:-1])


def number_or(element: XmlElement | None, otherwise: Fraction) -> Fraction:
    """Return the number that an element holds, `otherwise` where it holds none, or one of more digits than a score needs."""
    text = "" if element is None else element.words()
    return Fraction(text) if _LONG_DECIMAL.fullmatch(text) else otherwise


def attribute_number(element: XmlElement, name: str, otherwise: Fraction) -> Fraction:
    """Return the number of an attribute, `otherwise` where it is not written or is none."""
    text = element.get(name).strip()
    return Fraction(text) if _DECIMAL.fullmatch(text) and not text.endswith(".") else otherwise
