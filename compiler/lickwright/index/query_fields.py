"""The fields of a question, their names, and the columns of the index that answer them.

In: words of a question. Out: rows of `QUERY_FIELDS`. What a value of each kind of field means is in `query_conditions.py`.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.analysis.figure_names import FIGURES
from lickwright.settings.other_names import OTHER_NAMES
from lickwright.store.index_schema import TEXTS


class QueryField(NamedTuple):
    """One field that can be asked for."""

    name: str
    takes: str  # "text", "number", "one of" a fixed set, or the field's own kind
    columns: tuple[str, ...]  # of the index; of a number the lowest and the highest, where they are two
    meaning: str  # for the help


def _texts(*named: tuple[str, str, str]) -> tuple[QueryField, ...]:
    return tuple(QueryField(name, "text", (column,), meaning) for name, column, meaning in named)


def _numbers(*named: tuple[str, str]) -> tuple[QueryField, ...]:
    return tuple(QueryField(name, "number", (name, name), meaning) for name, meaning in named)


# The order is the help's.
QUERY_FIELDS: tuple[QueryField, ...] = (
    QueryField("technique", "technique", ("techniques",), "bend, slide, palm mute …"),
    QueryField("figure", "figure", ("figures",), "double stop, triplet, syncopation …"),
    QueryField("key", "key", ("tonic", "mode"), '"A minor", A, dorian'),
    QueryField("scale", "scale", ("scale",), 'blues, "minor pentatonic"'),
    QueryField("chords", "chords", ("chords",), "A7, or Am7: what is played over it"),
    QueryField("box", "box", ("box", "boxes"), '2, "E shape", open, "frets 5-8"'),
    *_numbers(
        ("level", "1 to 5, as declared, else as worked out"), ("tempo", "beats a minute"), ("bars", "as played"),
        ("notes", "how many"), ("seconds", "how long"),
    ),
    QueryField("fret", "number", ("lowest", "highest"), "every fret of the lick, not counting open strings"),
    *_numbers(("capo", "its fret"),),
    *(QueryField(name, "one of", (name,), meaning) for name, meaning in (
        ("meter", "12/8"), ("feel", "shuffle"), ("tuning", '"drop D"'), ("sound", "lead"),
    )),
    *_texts(
        ("title", "title", "its words"), ("tags", "tags", "turnaround"), ("style", "style", "blues"),
        ("by", "by", "who wrote it"), ("rights", "rights", "whose it is"), ("source", "source", "where it is from"),
        ("from", "origin", "the lick that it was moved from"),
        ("note", "note", "words printed with the tab"),
    ),
    QueryField("file", "file", (), "a part of its path"),
    QueryField("finding", "finding", (), "L203, error, warning, note"),
)  # fmt: skip
# Words that players use for several rows of the table of techniques at once.
FAMILIES = (
    "bend",
    "slide",
    "vibrato",
    "harmonic",
    "hammer-on",
    "hammer",
    "pull-off",
    "pull",
    "mute",
    "tap",
    "tapping",
    "legato",
)
FIELDS_BY_NAME = {field.name: field for field in QUERY_FIELDS}


def searched_columns(words: str) -> tuple[str, ...]:
    """Return the columns in which a bare word or words in quotes are looked for.

    The name of a technique or figure is not looked for in tags and notes: a lick that is tagged `bend` need not have one.
    """
    name = " ".join(words.lower().split())
    if name in FAMILIES or name in FIGURES or name in technique_names():
        return ("title", "techniques", "figures")
    return TEXTS


def known_field(word: str) -> QueryField | None:
    """Return the field that a word names, or that players mean by it, such as `bpm`; None for any other word."""
    return field_named(word) or FIELDS_BY_NAME.get(OTHER_NAMES.get(word.lower(), ""))


def field_named(word: str) -> QueryField | None:
    """Return the field of this name, in the singular or plural: `tag:` and `frets:` are understood."""
    names = (word, word + "s", word.removesuffix("s"))
    return next((FIELDS_BY_NAME[name] for name in names if name in FIELDS_BY_NAME), None)


def technique_names() -> tuple[str, ...]:
    """Return the names of techniques that a lick can use, and of the events that are techniques of their own."""
    from lickwright.notation.techniques import EVENT_WORDS, TECHNIQUES  # most questions need no table

    return tuple(dict.fromkeys([*(t.name for t in TECHNIQUES if t.sign), *EVENT_WORDS]))


# Former names of techniques, which players may still ask for, and their present names.
OLD_NAMES = {"curl": "quarter-step bend", "touched": "artificial harmonic", "touched harmonic": "artificial harmonic"}
