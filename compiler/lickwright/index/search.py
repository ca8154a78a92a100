"""Questions answered from the index: which licks, in the order of their files.

In: a connection with the tables of `store/index_schema.py`, and a question. Out: `SearchResult`. Reads only; how it is shown is the caller's.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any, NamedTuple, overload

from lickwright.index.multiword_values import join_multiword_values
from lickwright.index.order import SortKey, sorted_by, split_sort_terms
from lickwright.index.query_fields import Condition, to_condition
from lickwright.index.query_parser import QueryTerm, parse_query
from lickwright.store.index_schema import COLUMNS, searchable

_FEW = 3000  # licks that are cheaper to fetch and sort than to look for in the order of the files


class SearchHit(NamedTuple):
    """One lick that was found."""

    lick: int  # its id in the index
    path: str  # of its source, as the index keeps it
    facts: dict[
        str, Any
    ]  # by the names of `LickFacts`, without findings and moments; and `level`, `errors`, `warnings`


class Hits(Sequence[SearchHit]):
    """Licks that were found, in order. They are read a few at a time, as often as they are looked at: a library may have very many."""

    def __init__(self, connection: sqlite3.Connection, ids: Sequence[int]) -> None:
        self._connection, self._ids = connection, ids

    def __len__(self) -> int:
        return len(self._ids)

    def __iter__(self) -> Iterator[SearchHit]:
        for some in _some(self._ids):
            by_id = {hit.lick: hit for hit in fetch_hits(self._connection, some)}
            yield from (by_id[lick] for lick in some)

    @overload
    def __getitem__(self, at: int) -> SearchHit: ...
    @overload
    def __getitem__(self, at: slice) -> Hits: ...
    def __getitem__(self, at: int | slice) -> SearchHit | Hits:
        if isinstance(at, slice):
            return Hits(self._connection, self._ids[at])
        (hit,) = fetch_hits(self._connection, [self._ids[at]])
        return hit

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Hits) and list(self) == list(other)

    __hash__ = None  # type: ignore[assignment]


class SearchResult(NamedTuple):
    """An answer."""

    total: int  # how many there are
    hits: Hits  # the first of them
    none: tuple[QueryTerm, ...]  # where there are none: the terms that no lick meets even alone


class Question(NamedTuple):
    """A question, understood."""

    terms: tuple[tuple[QueryTerm, Condition], ...]  # each with what it asks of the index
    order: tuple[SortKey, ...]  # in which licks are to stand; () for that of their files


def interpret_question(question: str, search: bool = True) -> Question:
    """What a question asks; raises `QueryError`. `search`: the index has a full-text search."""
    asking, order = split_sort_terms(join_multiword_values(parse_query(question)))
    return Question(tuple((term, to_condition(term, search)) for term in asking), order)


def search_index(connection: sqlite3.Connection, question: str, limit: int | None = None) -> SearchResult:
    """The licks that answer a question, by path and line; raises `QueryError` where it cannot be read."""
    terms, order = interpret_question(question, searchable(connection))
    ids = find_ids(connection, [one for _, one in terms])
    alone = len(terms) == 1
    none = [term for term, one in terms if not ids and (alone or not find_ids(connection, [one], 1))]
    return SearchResult(len(ids), sorted_hits(connection, ids, limit, order), tuple(none))


def matching_ids(connection: sqlite3.Connection, question: str) -> list[int] | None:
    """The ids of the licks that answer a question; None for one that asks nothing."""
    terms, _ = interpret_question(question, searchable(connection))
    return find_ids(connection, [one for _, one in terms]) if terms else None


def find_ids(connection: sqlite3.Connection, conditions: Sequence[Condition], limit: int = -1) -> list[int]:
    """The ids of all licks that meet all conditions, in no order; at most `limit`, if it is not negative.

    Words are looked for by themselves where they can be, which is two or three times as fast as asking each lick for them.
    """
    without = [one for one in conditions if one.match and one.negated]
    others = [one for one in conditions if one not in without]
    if without and limit < 0:
        lost = set(_with_words(connection, " OR ", without, limit))
        return [lick for lick in find_ids(connection, others) if lick not in lost]
    if conditions and not without and all(one.match for one in conditions):
        return _with_words(connection, " AND ", conditions, limit)
    where = " AND ".join(f"({one.sql})" for one in conditions) or "1"
    values = [value for one in conditions for value in one.values]
    rows = connection.execute(f"SELECT id FROM licks WHERE {where} LIMIT ?", [*values, limit])
    return [row[0] for row in rows]


def _with_words(connection: sqlite3.Connection, between: str, conditions: Sequence[Condition], limit: int) -> list[int]:
    asked = between.join(f"({one.match})" for one in conditions)
    rows = connection.execute("SELECT rowid FROM lick_text WHERE lick_text MATCH ? LIMIT ?", (asked, limit))
    return [row[0] for row in rows]


def sorted_hits(
    connection: sqlite3.Connection, ids: Collection[int], limit: int | None = None, order: Sequence[SortKey] = ()
) -> Hits:
    """These licks in that order, else by path and line, at most `limit`."""
    if order:
        return Hits(connection, _sorted(connection, ids, order)[:limit])
    if limit is not None and _FEW < len(ids) > limit:
        return Hits(connection, list(_in_order(connection, ids, limit)))
    return Hits(connection, list(_first(connection, ids, limit)))


def _sorted(connection: sqlite3.Connection, ids: Iterable[int], order: Sequence[SortKey]) -> list[int]:
    columns = list(dict.fromkeys(column for column, _ in order))
    names = ", ".join(f'l."{column}"' for column in columns)
    rows = [row for some in _some(ids) for row in connection.execute(
        f"SELECT s.path, l.line, l.id, {names} FROM licks l JOIN sources s ON s.id = l.source_id "
        f"WHERE l.id IN ({', '.join('?' * len(some))})", some)]  # fmt: skip
    rows.sort(key=lambda row: row[:3])
    return [row[2] for row in sorted_by(order, rows, lambda row, column: row[3 + columns.index(column)])]


def _first(connection: sqlite3.Connection, ids: Iterable[int], limit: int | None) -> Iterator[int]:
    """The first by path and line, by sorting all."""
    rows = [place for some in _some(ids) for place in connection.execute(
        "SELECT s.path, l.line, l.id FROM licks l JOIN sources s ON s.id = l.source_id "
        f"WHERE l.id IN ({', '.join('?' * len(some))})", some)]  # fmt: skip
    return (lick for _, _, lick in sorted(rows)[:limit])


def _in_order(connection: sqlite3.Connection, ids: Collection[int], limit: int) -> Iterator[int]:
    """The first by path and line, by going through all licks until enough are found: of very many that is quicker."""
    wanted, left = set(ids), limit
    rows = connection.execute(
        "SELECT l.id FROM sources s CROSS JOIN licks l ON l.source_id = s.id ORDER BY s.path, l.line, l.id"
    )
    for (lick,) in rows:
        if left <= 0:
            break
        if lick in wanted:
            left -= 1
            yield lick


def fetch_hits(connection: sqlite3.Connection, ids: Iterable[int]) -> Iterator[SearchHit]:
    """These licks, in no order."""
    names = ("level", "errors", "warnings", *COLUMNS)
    columns = ", ".join(f'l."{name}"' for name in names)
    for some in _some(ids):
        rows = connection.execute(
            f"SELECT l.id, s.path, {columns} FROM licks l JOIN sources s ON s.id = l.source_id "
            f"WHERE l.id IN ({', '.join('?' * len(some))})",
            some,
        )
        for lick, path, *values in rows:
            yield SearchHit(lick, path, dict(zip(names, values, strict=True)))


def _some(ids: Iterable[int]) -> Iterator[list[int]]:
    """As many at once as one statement takes."""
    every = list(ids)
    yield from (every[start : start + 500] for start in range(0, len(every), 500))


def create_memory_index() -> sqlite3.Connection:
    """An empty index that lives as long as this process, for licks of which no index is kept."""
    from lickwright.store.index_schema import create

    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute("CREATE TABLE sources (id INTEGER PRIMARY KEY, path TEXT NOT NULL UNIQUE)")
    create(connection)
    return connection
