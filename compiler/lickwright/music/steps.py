"""Intervals in players' words: whole, half and quarter steps."""

from __future__ import annotations

_SMALL = ("not at all", "a quarter step", "a half step", "three quarter steps")  # by quarter steps
_PARTS = ("", " and a quarter", " and a half", " and three quarters")  # of a whole step
_COUNTS = ("", "a whole step", "two whole steps", "three whole steps", "four whole steps")
_ONE = {0.5: "a quarter-step", 1.0: "a half-step", 2.0: "a whole-step"}


def interval_words(semitones: float) -> str:
    """Return a distance in words, to the quarter step: `a whole step and a half`. Its sign does not count."""
    whole, part = divmod(round(abs(semitones) * 2), 4)
    if not whole:
        return _SMALL[part]
    return (_COUNTS[whole] if whole < len(_COUNTS) else f"{whole} whole steps") + _PARTS[part]


def bend_words(semitones: float, what: str = "bend") -> str:
    """Return a bend with its size: `a whole-step bend`, `a bend of a whole step and a half`; `what` is its noun."""
    return f"{_ONE[semitones]} {what}" if semitones in _ONE else f"a {what} of {interval_words(semitones)}"
