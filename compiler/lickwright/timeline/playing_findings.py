"""The findings about notes that have no meaning when they are played: what each says.

In: the place of the finding and the facts that it quotes. Out: rule, place, message and hint, as a `Report` takes them.
When one is due is decided in `note_builder.py`.
"""

from __future__ import annotations

from collections.abc import Iterable

from lickwright.core.diagnostics import Rule
from lickwright.core.source import Span
from lickwright.music.tuning import Tuning
from lickwright.notation.tree import Note
from lickwright.timeline import rules

PlayingFinding = tuple[Rule, Span, str, str]  # rule, place, message, hint


def nothing_to_hold(at: Span) -> PlayingFinding:
    """Return the finding for a hold before anything has sounded."""
    return rules.HOLD, at, "there is nothing to hold yet", "silence is a dot: `.`"


def silent_string_held(at: Span, string: str) -> PlayingFinding:
    """Return the finding for a hold of one string on which nothing sounds."""
    return rules.HOLD, at, f"nothing sounds on {string} to hold", "play it first, or let it ring: `e5=`"


def nothing_to_shape(at: Span, sign: str) -> PlayingFinding:
    """Return the finding for a shape on a hold under which no string sounds."""
    message = f"`{sign}` has nothing to shape: no string sounds here"
    return rules.NO_SHAPE, at, message, "play a note first, or take the mark out"


def roll_of_one(at: Span) -> PlayingFinding:
    """Return the finding for a roll round a single note."""
    return rules.WORD_NOTES, at, "a roll of one note", "a roll is a chord: `(roll: A0&D2&G2)`"


def ambiguous_string(at: Span, note: Note, strings: Iterable[int], tuning: Tuning) -> PlayingFinding:
    """Return the finding for a connected note after several strings; `strings` are their numbers."""
    sign, numbers = note.begin.sign, list(strings)
    letters = " or ".join(f"`{tuning.written(n)}{sign}{note.fret}`" for n in reversed(numbers))
    message = f"`{sign}{note.fret}` could belong to any of {len(numbers)} strings"
    return rules.WHICH_STRING, at, message, f"name the string: {letters}"


def nothing_before(at: Span, note: Note) -> PlayingFinding:
    """Return the finding for a connected note with no note before it."""
    message = f"`{note.begin.sign}{note.fret}` has no note before it"
    return rules.NO_SOURCE, at, message, "begin with a note: `G7h9`; from nowhere it names its string: `hG9`"


def nothing_to_connect(at: Span, note: Note, string: str) -> PlayingFinding:
    """Return the finding for a connected note on a string (as written) where nothing sounds any more."""
    sign = note.begin.sign
    again = f"{'t' if sign == 't' else ''}{string}{note.fret}"
    message = f"nothing sounds on {string} for `{sign}{note.fret}` to go on from"
    return rules.NO_SOURCE, at, message, f"hold the note before or let it ring, or start again: `{again}`"


def no_such_string(at: Span, name: str, tuning: Tuning, usual: int) -> PlayingFinding:
    """Return the finding for a name or number that no string has; `usual` is the string that players mean by it."""
    at = Span(at.start, at.start + len(name))
    if name[-1] == ":":
        message = f"there is no string {name[:-1]}: {tuning} has {tuning.strings}"
        return rules.NO_STRING, at, message, f"strings go from 1, the thinnest, to {tuning.strings}"
    message = f"no string is called {name} in this tuning ({tuning})"
    return rules.NO_STRING, at, message, f"write the string by its number, thinnest first: `{usual}:`"


def bare_string(at: Span, string: str) -> PlayingFinding:
    """Return the finding for a string without a fret, outside of a rake or scrape."""
    hint = f"a note is a string and a fret: `{string}7`; bare strings are for a rake or scrape"
    return rules.BARE, at, f"string {string} has no fret here", hint
