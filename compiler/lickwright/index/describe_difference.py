"""How one lick differs from another that is like it, in a player's words.

In: the values of two licks in the index, and the edits between their phrases. Out: words, the most important first.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from lickwright.index.edit_distance import Likeness
from lickwright.report.console import counted_noun, join_words

LickValues = Mapping[str, Any]  # by the names of `LickFacts`


def edits_in_words(found: Likeness) -> Iterator[str]:
    """Yield what has to change to make the second phrase of the first."""
    if found.other:
        yield f"{counted_noun(found.other, 'note')} different"
    if found.more:
        yield f"{counted_noun(found.more, 'note')} more"
    if found.fewer:
        yield f"{counted_noun(found.fewer, 'note')} fewer"
    if found.lengths:
        yield f"{counted_noun(found.lengths, 'note')} of another length"


def position_differences(one: LickValues, other: LickValues) -> Iterator[str]:
    """Yield where the second is played, if that is not where the first is, and how."""
    yield from _key_and_box(one, other)
    yield from _tuning(one, other)
    yield from _techniques(one, other)
    if one["tempo"] != other["tempo"] and other["tempo"] is not None:
        yield f"tempo {other['tempo']:g}"
    if one["feel"] != other["feel"]:
        yield other["feel"]


def _key_and_box(one: LickValues, other: LickValues) -> Iterator[str]:
    same_key = one["key"] == other["key"]
    if not same_key and other["key"]:
        yield f"in {other['key']}"
    if one["box"] != other["box"] and other["box"]:
        yield box_in_words(other["box"])
    elif (one["lowest"], one["highest"]) != (other["lowest"], other["highest"]) and other["lowest"] is not None:
        yield f"frets {other['lowest']}-{other['highest']}"
    pitches = (one["first"], other["first"])
    if same_key and None not in pitches and one["first"] != other["first"]:
        yield _apart(other["first"] - one["first"])


def _tuning(one: LickValues, other: LickValues) -> Iterator[str]:
    if one["tuning"] != other["tuning"]:
        yield f"in {other['tuning']} tuning" if other["tuning"] == "standard" else f"tuned {other['tuning']}"


def _techniques(one: LickValues, other: LickValues) -> Iterator[str]:
    mine, theirs = (set(filter(None, values["techniques"].split(", "))) for values in (one, other))
    if theirs - mine:
        yield f"with {join_words(sorted(theirs - mine))}"
    if mine - theirs:
        yield f"without {join_words(sorted(mine - theirs))}"


def box_in_words(box: str) -> str:
    """Return a lick's box as a player says it: "box 1 2", "E shape", "open"."""
    return f"box {box}" if box[:1].isdigit() else box


def _apart(semitones: int) -> str:
    octaves, rest = divmod(abs(semitones), 12)
    where = "higher" if semitones > 0 else "lower"
    if rest == 0:
        return f"an octave {where}" if octaves == 1 else f"{octaves} octaves {where}"
    return f"{counted_noun(abs(semitones), 'half step')} {where}"
