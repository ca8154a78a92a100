"""Enters the licks of a large index into its bitmaps, and takes them out again.

In: a connection with the tables of `index_schema.py` and `lick_bitmaps.py`. Out: rows of the latter. Ends no transaction.
"""

from __future__ import annotations

import re
import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from lickwright.store.lick_bitmaps import (
    BOX,
    BYTES,
    EMPTY,
    KINDS,
    NAMES,
    NUMBERS,
    OTHERS,
    SIZE,
    SKIP,
    WORDS,
    living_licks,
    next_unentered,
    read_alive,
    read_licks,
)

FEWEST = 2000  # licks of an index that is given bitmaps: a smaller one is read through as fast (estimate)
_MOST_STEPS = BYTES // 2  # of more a bitmap is longer, and read several times as fast
_MOST_TEXT = (
    1 << 18
)  # characters whose words are in memory at a time; a word that no other lick has takes 400 bytes (measured)
_COLUMNS = (*WORDS, *NUMBERS, *NAMES, *OTHERS, "boxes")
_QUOTED = ", ".join(f'"{name}"' for name in _COLUMNS)  # `by` is a word of SQL
_LICKS = f"SELECT id, {_QUOTED} FROM licks WHERE id >= ? AND id < ? ORDER BY id"
_KIND = {name: number for number, name in enumerate(KINDS)}
_PLAIN_WORDS = re.compile("[0-9a-z]+")  # of a text in ASCII, as the full-text search finds them

_Key: TypeAlias = tuple[int, object]  # kind and value
_Places: TypeAlias = dict[_Key, list[int]]  # licks by what they have, as places in their block


def enter_bitmaps(connection: sqlite3.Connection, search: bool) -> None:
    """Enter all licks that the bitmaps do not know yet; `search`: the index has a full-text search, whose words are entered. Raises `Unusable`."""
    last = int(connection.execute("SELECT coalesce(max(id), -1) FROM licks").fetchone()[0])
    first = next_unentered(connection)
    living_licks(connection)  # what `find` would refuse is noticed by a build, which begins anew
    while first <= last:
        first = _enter(connection, first, min((first // SIZE + 1) * SIZE, last + 1), search)


def remove_from_bitmaps(connection: sqlite3.Connection, licks: Iterable[int]) -> None:
    """Take licks out; a block goes with the last of its licks. Raises `Unusable`."""
    lost: dict[int, int] = {}
    for lick in licks:
        lost[lick // SIZE] = lost.get(lick // SIZE, 0) | 1 << lick % SIZE
    for block, bits in lost.items():
        row = connection.execute("SELECT alive FROM bitmap_blocks WHERE block = ?", (block,)).fetchone()
        left = read_alive(row[0]) & ~bits if row is not None else 0
        if left:
            alive = left.to_bytes(BYTES, "little")
            connection.execute("UPDATE bitmap_blocks SET alive = ? WHERE block = ?", (alive, block))
        else:
            connection.execute("DELETE FROM bitmap_blocks WHERE block = ?", (block,))
            connection.execute("DELETE FROM bitmaps WHERE block = ?", (block,))


def _enter(connection: sqlite3.Connection, first: int, after: int, search: bool) -> int:
    """Enter licks with ids from `first`, at most to before `after`, which are of one block; return the first id that is not entered."""
    block = first // SIZE
    start = block * SIZE
    rows, after = _some_licks(connection, first, after)
    found = sorted(_places(rows, start, search).items())  # as the table is, so that each page is written once
    alive = _bits(row[0] - start for row in rows)
    if first > start:
        (before,) = connection.execute("SELECT alive FROM bitmap_blocks WHERE block = ?", (block,)).fetchone()
        alive |= read_alive(before)
        written = [(block, *key, _joined(connection, (block, *key), places)) for key, places in found]
    else:
        written = [(block, *key, written_licks(places)) for key, places in found]
    connection.executemany("INSERT OR REPLACE INTO bitmaps VALUES (?, ?, ?, ?)", written)
    row = (block, after - start, alive.to_bytes(BYTES, "little"))
    connection.execute("INSERT OR REPLACE INTO bitmap_blocks VALUES (?, ?, ?)", row)
    return after


def _some_licks(connection: sqlite3.Connection, first: int, after: int) -> tuple[list[tuple[Any, ...]], int]:
    """Return as many of these licks as are entered at once, and the first id after them."""
    rows: list[tuple[Any, ...]] = []
    size = 0
    for row in connection.execute(_LICKS, (first, after)):
        if size > _MOST_TEXT:
            return rows, rows[-1][0] + 1
        rows.append(row)
        size += sum(len(text) for text in row[1 : 1 + len(WORDS)] if isinstance(text, str))
    return rows, after


def _joined(connection: sqlite3.Connection, key: tuple[int, int, object], places: Sequence[int]) -> bytes | int:
    """Return the licks at these places and those on record, as they are entered."""
    row = connection.execute("SELECT licks FROM bitmaps WHERE block = ? AND kind = ? AND value = ?", key).fetchone()
    if row is None:
        return written_licks(places)
    bits = _bits(places) | read_licks(row[0])
    return bits.to_bytes(BYTES, "little") if bits.bit_count() > _MOST_STEPS else written_licks([*_listed(bits)])


def _places(rows: Sequence[tuple[Any, ...]], start: int, search: bool) -> _Places:
    """Return what the licks have. A text or number that many licks have is looked at once; what no program of ours has entered is left out."""
    found: _Places = defaultdict(list)
    ids, *columns = zip(*rows, strict=True) if rows else [(), *[()] * len(_COLUMNS)]
    at = [lick - start for lick in ids]
    for name, column in zip(_COLUMNS, columns, strict=True):
        values: dict[Any, list[int]] = defaultdict(list)
        for place, value in zip(at, column, strict=True):
            values[value].append(place)
        for key, places in _keys(name, values, search):
            found[key] += places
    return found


def _keys(name: str, values: Mapping[Any, list[int]], search: bool) -> Iterator[tuple[_Key, list[int]]]:
    """Yield what the values of a column are looked for by, with the licks that have them."""
    for nothing in (None, ""):
        if nothing in values:
            yield (_KIND[EMPTY], name), values[nothing]
    if name == "boxes":
        numbers = [boxes for boxes in values if isinstance(boxes, int) and 0 < boxes < 1 << 32]
        yield from (((_KIND[BOX], bit), values[boxes]) for boxes in numbers for bit in _listed(boxes))
    elif name in NUMBERS or name in NAMES:
        own = (int, float) if name in NUMBERS else str
        yield from (((_KIND[name], value), places) for value, places in values.items() if isinstance(value, own))
    elif name in WORDS and search:
        for text, words in words_of([text for text in values if isinstance(text, str)]).items():
            yield from (((_KIND[name], word), values[text]) for word in words)


def words_of(texts: Sequence[str]) -> dict[str, frozenset[str]]:
    """Return the words of each text, as the full-text search finds them; it is asked itself about texts beyond ASCII."""
    found = {text: frozenset(_PLAIN_WORDS.findall(text.lower())) for text in texts if text.isascii()}
    others = [text for text in texts if text not in found]
    return found | _foreign_words(others) if others else found


def _foreign_words(texts: Sequence[str]) -> dict[str, frozenset[str]]:
    db = sqlite3.connect(":memory:")
    try:
        db.execute("CREATE VIRTUAL TABLE texts USING fts5(text, tokenize = 'unicode61 remove_diacritics 2')")
        db.execute("CREATE VIRTUAL TABLE words USING fts5vocab(texts, instance)")
        db.executemany("INSERT INTO texts (rowid, text) VALUES (?, ?)", enumerate(texts))
        found: list[set[str]] = [set() for _ in texts]
        for word, number in db.execute("SELECT term, doc FROM words"):
            found[number].add(word)
    finally:
        db.close()
    return {text: frozenset(words) for text, words in zip(texts, found, strict=True)}


def _listed(bits: int) -> Iterator[int]:
    """Yield the places of the bits that are set."""
    while bits:
        lowest = bits & -bits
        yield lowest.bit_length() - 1
        bits ^= lowest


def written_licks(places: Sequence[int]) -> bytes | int:
    """Return licks as they are entered: see `read_licks`."""
    if len(places) == 1:
        return places[0]
    if len(places) <= _MOST_STEPS:
        steps = _steps(sorted(places))
        if len(steps) <= _MOST_STEPS:
            return steps
    return _bits(places).to_bytes(BYTES, "little")


def _steps(places: Sequence[int]) -> bytes:
    steps = bytearray()
    before = -1
    for place in places:
        left_out = place - before - 1
        while left_out >= SKIP:
            steps.append(SKIP)
            left_out -= SKIP
        steps.append(left_out)
        before = place
    return bytes(steps)


def _bits(places: Iterable[int]) -> int:
    bits = bytearray(BYTES)
    for place in places:
        bits[place >> 3] |= 1 << (place & 7)
    return int.from_bytes(bits, "little")
