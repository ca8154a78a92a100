"""Accidentals as printed music has them: ♭ and ♯, where the notation types b and #.

In: words about keys, notes, chords and degrees, made by Lickwright. Out: the same words with the signs. Text of a user is not to go through here.
"""

from __future__ import annotations

import re

_SIGNS = {"b": "♭", "#": "♯"}
_AFTER_LETTER = re.compile(r"\b([A-G])(bb|b|##|#)(?=m|sus|dim|aug|add|[^a-z]|\Z)")  # Bb, Ebm7, F#sus4
_BEFORE_NUMBER = re.compile(r"(?<![A-Za-z])()(bb|b|##|#)(?=[0-9])")  # b3, #4, and the tensions of A7b9


def accidental_signs(words: str) -> str:
    """Return the words with ♭ and ♯: "B♭ minor", "E♭m7", "♭3", "A7♯9"."""
    for pattern in (_AFTER_LETTER, _BEFORE_NUMBER):
        words = pattern.sub(_with_signs, words)
    return words


def string_label_signs(label: str) -> str:
    """Return the label of a string with ♭ and ♯: "e♭", "F♯"; a "b" that begins it is the note."""
    return label[:1] + "".join(_SIGNS.get(char, char) for char in label[1:])


def _with_signs(match: re.Match[str]) -> str:
    return match[1] + "".join(_SIGNS[sign] for sign in match[2])
