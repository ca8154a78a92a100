"""Coverage gaps of a course: keys, boxes, levels and techniques without a lick whose neighbors have some.

In: the index. Out: `Gap` values, in words, each with a question that `lickwright find` answers if there is one. They are hints: only an author
knows what a course needs. Licks with errors do not count.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from lickwright.music.pitch import Key, parse_key
from lickwright.report.console import join_words
from lickwright.store.features import NUMBERED

_FIFTH = 7  # semitones: keys a fifth apart are neighbours, they share all notes but one
_SOME_KEYS = 4  # of one mode; with fewer no key between them counts as missing (estimate)
_SOME_BOXES = 3  # of one key, likewise (estimate)
_HARD = 4  # a technique that begins at this level or above is named (estimate)


class Gap(NamedTuple):
    """One thing that is missing."""

    kind: str  # "level", "key", "box", "technique", "order"
    message: str
    question: str  # what finds the licks round the gap; "" for none


class _Use(NamedTuple):
    """A technique in one lick."""

    title: str
    level: int


def find_gaps(connection: sqlite3.Connection) -> list[Gap]:
    """Return all gaps, by kind."""
    uses = _uses(connection)
    found = [*_levels(connection), *_keys(connection), *_boxes(connection), *_techniques(uses)]
    return [*found, *_order(uses)] if _is_numbered(connection) else found


def _is_numbered(connection: sqlite3.Connection) -> bool:
    """True if most files begin with a number: then their order is that of a course, and not of the alphabet."""
    names: list[str] = [os.path.basename(path) for (path,) in connection.execute("SELECT path FROM sources")]
    return 2 * sum(name[:1].isdigit() for name in names) > len(names)


def _levels(connection: sqlite3.Connection) -> Iterator[Gap]:
    there = {row[0] for row in connection.execute("SELECT DISTINCT level FROM licks WHERE ok AND level IS NOT NULL")}
    for level in range(min(there, default=0), max(there, default=0)):
        if level not in there:
            yield Gap(
                "level", f"no lick at level {level}, but easier and harder ones", f"level:{level - 1},{level + 1}"
            )


def _keys(connection: sqlite3.Connection) -> Iterator[Gap]:
    of_mode: dict[str, set[int]] = {}
    for mode, tonic in connection.execute("SELECT DISTINCT mode, tonic FROM licks WHERE ok AND tonic IS NOT NULL"):
        of_mode.setdefault(mode, set()).add(tonic)
    for mode, tonics in sorted(of_mode.items()):
        if len(tonics) < _SOME_KEYS:
            continue
        for pc in range(12):
            beside = [(pc - _FIFTH) % 12, (pc + _FIFTH) % 12]
            if pc not in tonics and tonics.issuperset(beside):
                near = [str(_key(mode, other)) for other in beside]
                question = f'key:"{near[0]}","{near[1]}"'
                yield Gap("key", f"no lick in {_key(mode, pc)}, but in {near[0]} and {near[1]}", question)


def _key(mode: str, pc: int) -> Key:
    """Return the key of a mode and a pitch class, as it is best spelled."""
    return parse_key(f"C {mode}").transposed(pc)


def _boxes(connection: sqlite3.Connection) -> Iterator[Gap]:
    of_key: dict[str, int] = {}
    for key, bits in connection.execute("SELECT DISTINCT key, boxes FROM licks WHERE ok AND key != ''"):
        of_key[key] = of_key.get(key, 0) | bits
    everywhere = 0
    for bits in of_key.values():
        everywhere |= bits
    missing = _holes(everywhere)
    if missing:
        yield Gap("box", f"no lick in {_numbered(missing)}", "")
    for key, bits in sorted(of_key.items()):
        own = [number for number in _holes(bits) if number not in missing]
        if own and sum(bits >> n & 1 for n in range(NUMBERED)) >= _SOME_BOXES:
            yield Gap("box", f"no lick in {_numbered(own)} in {key}, but in the others", f'key:"{key}"')


def _holes(bits: int) -> list[int]:
    """Return the box numbers without a lick; none if no box has one."""
    there = [number for number in range(1, NUMBERED + 1) if bits >> number - 1 & 1]
    return [number for number in range(1, NUMBERED + 1) if there and number not in there]


def _numbered(numbers: Sequence[int]) -> str:
    return f"box{'es' if len(numbers) > 1 else ''} {join_words(map(str, numbers))}"


def _uses(connection: sqlite3.Connection) -> dict[str, list[_Use]]:
    """Return the licks of each technique, in the order of the files."""
    found: dict[str, list[_Use]] = {}
    rows = connection.execute(
        "SELECT l.title, l.level, l.techniques FROM licks l JOIN sources s ON s.id = l.source_id "
        "WHERE l.ok AND l.level IS NOT NULL AND l.techniques != '' ORDER BY s.path, l.line, l.id"
    )
    for title, level, techniques in rows:
        for name in techniques.split(", "):
            found.setdefault(name, []).append(_Use(title, level))
    return found


def _techniques(uses: Mapping[str, Sequence[_Use]]) -> Iterator[Gap]:
    """Yield techniques that begin at a hard level, or with a level left out."""
    for name, licks in sorted(uses.items()):
        question = f'technique:"{name}"'
        easiest = min(licks, key=lambda use: use.level)
        if easiest.level >= _HARD:
            message = f'{name} begins at level {easiest.level}, with "{easiest.title}": no easier lick has it'
            yield Gap("technique", message, question)
        levels = {use.level for use in licks}
        for level in range(min(levels) + 1, max(levels)):
            if not levels & {level}:
                yield Gap("technique", f"{name} has no lick at level {level}, but easier and harder ones", question)


def _order(uses: Mapping[str, Sequence[_Use]]) -> Iterator[Gap]:
    """Yield techniques that come in a hard lick before they come in an easier one."""
    for name, licks in sorted(uses.items()):
        easier = next((use for use in licks if use.level < licks[0].level), None)
        if easier is not None:
            yield Gap(
                "order",
                f'{name} comes first in "{licks[0].title}" (level {licks[0].level}); '
                f'"{easier.title}" (level {easier.level}) is easier and comes later',
                f'technique:"{name}"',
            )
