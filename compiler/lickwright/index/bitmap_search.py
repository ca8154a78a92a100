"""Questions answered from the bitmaps of a large index, without a look at each lick.

In: what conditions ask of the bitmaps (`Lookup`), and a connection. Out: a `LickSet`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Mapping
from typing import Any, NamedTuple, TypeAlias

from lickwright.store.lick_bitmaps import KINDS, SIZE, has_bitmaps, living_licks, next_unentered, read_licks


class Lookup(NamedTuple):
    """The licks that have a value of some kind: any of `kinds`, each of which is in `lick_bitmaps.KINDS`."""

    kinds: tuple[str, ...]
    test: str  # of `value`, in SQL
    values: tuple[str | int | float, ...]


Ways: TypeAlias = tuple[
    tuple[Lookup, ...], ...
]  # one of them must hold, with all of its lookups; (): bitmaps do not know


class LickSet(Collection[int]):
    """Ids of licks, as a bitmap for each block."""

    def __init__(self, blocks: Mapping[int, int]) -> None:
        self._blocks = blocks

    def __len__(self) -> int:
        return sum(bits.bit_count() for bits in self._blocks.values())

    def __contains__(self, lick: Any) -> bool:
        return bool(self._blocks.get(lick // SIZE, 0) >> lick % SIZE & 1)

    def __iter__(self) -> Iterator[int]:
        for block, bits in sorted(self._blocks.items()):
            yield from (block * SIZE + place for place, bit in enumerate(reversed(f"{bits:b}")) if bit == "1")

    def __and__(self, other: LickSet) -> LickSet:
        return LickSet({block: bits & other._blocks.get(block, 0) for block, bits in self._blocks.items()})

    def __or__(self, other: LickSet) -> LickSet:
        both = self._blocks.keys() | other._blocks.keys()
        return LickSet({block: self._blocks.get(block, 0) | other._blocks.get(block, 0) for block in both})

    def __sub__(self, other: LickSet) -> LickSet:
        return LickSet({block: bits & ~other._blocks.get(block, 0) for block, bits in self._blocks.items()})


def all_licks(connection: sqlite3.Connection) -> LickSet | None:
    """Return all licks; None where the index has no bitmaps, or licks that these do not know. Raises `Unusable`."""
    if not has_bitmaps(connection):
        return None
    last = connection.execute("SELECT max(id) FROM licks").fetchone()[0]
    if last is not None and last >= next_unentered(connection):
        return None
    return LickSet(living_licks(connection))


def licks_by_ways(connection: sqlite3.Connection, ways: Ways) -> LickSet:
    """Return the licks for which one of the ways holds, removed ones among them."""
    found = LickSet({})
    for first, *others in ways:
        own = _licks_of(connection, first)
        for other in others:
            own = own & _licks_of(connection, other)
        found = found | own
    return found


def _licks_of(connection: sqlite3.Connection, lookup: Lookup) -> LickSet:
    kinds = ", ".join(str(KINDS.index(kind)) for kind in lookup.kinds)
    rows = connection.execute(
        "SELECT a.block, b.licks FROM bitmap_blocks a CROSS JOIN bitmaps b "
        f"WHERE b.block = a.block AND b.kind IN ({kinds}) AND {lookup.test}",
        lookup.values,
    )
    blocks: dict[int, int] = {}
    for block, licks in rows:
        blocks[block] = blocks.get(block, 0) | read_licks(licks)
    return LickSet(blocks)
