"""Questions answered from the index: which licks, in the order of their files.

In: a connection with the tables of `store/index_schema.py`, and a question. Out: a `SearchResult`. Nothing is written or printed here.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import chain, filterfalse
from typing import Any, NamedTuple, overload

from lickwright.index.bitmap_search import LickSet, all_licks, licks_by_ways
from lickwright.index.multiword_values import join_multiword_values
from lickwright.index.query_conditions import Condition, to_condition
from lickwright.index.query_parser import QueryTerm, parse_query
from lickwright.index.sort_order import SortKey, sorted_by, split_sort_terms
from lickwright.store.index_schema import COLUMNS, has_full_text

_SOME = 500  # licks asked about in one statement
_BY_PLACE = "SELECT l.id FROM sources s CROSS JOIN licks l ON l.source_id = s.id {} ORDER BY s.path, l.line, l.id"
_FEW = 3000  # licks that are cheaper to fetch and sort than to look for in the order of the files (measured)


class SearchHit(NamedTuple):
    """One lick that was found."""

    lick: int  # its id in the index
    path: str  # of its source, as the index keeps it
    facts: dict[
        str, Any
    ]  # by the names of `LickFacts`, without findings and moments; and `level`, `errors`, `warnings`


class Hits(Sequence[SearchHit]):
    """Licks that were found, in order. They are read some at a time, and all anew each time they are looked at: a library may have very many."""

    def __init__(self, connection: sqlite3.Connection, ids: Sequence[int]) -> None:
        self._connection, self._ids = connection, ids
        self._first: list[SearchHit] = []  # those read first, where no others are

    def __len__(self) -> int:
        return len(self._ids)

    def __iter__(self) -> Iterator[SearchHit]:
        for some in _some(self._ids):
            if not self._first:
                by_id = {hit.lick: hit for hit in fetch_hits(self._connection, some)}
                hits = [by_id[lick] for lick in some]
                self._first = hits if len(hits) == len(self._ids) else []
            yield from self._first or hits

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
    """The answer to a question."""

    total: int  # how many there are
    hits: Hits  # the first of them
    none: tuple[QueryTerm, ...]  # if there are none: the terms that no lick meets even alone


class Question(NamedTuple):
    """A question as read."""

    terms: tuple[tuple[QueryTerm, Condition], ...]  # each with what it asks of the index
    order: tuple[SortKey, ...]  # in which licks are to stand; () for that of their files


def interpret_question(question: str, search: bool = True) -> Question:
    """Return what a question asks; `search`: the index has a full-text search. Raises QueryError."""
    asking, order = split_sort_terms(join_multiword_values(parse_query(question)))
    return Question(tuple((term, to_condition(term, search)) for term in asking), order)


def search_index(connection: sqlite3.Connection, question: str, limit: int | None = None) -> SearchResult:
    """Return the licks that answer a question, by path and line, at most `limit`. Raises QueryError if it cannot be read."""
    terms, order = interpret_question(question, has_full_text(connection))
    conditions = [one for _, one in terms]
    every = all_licks(connection) if not conditions or any(one.ways for one in conditions) else None
    if every is None and limit is not None and not order and _are_words(conditions):
        total = _count_with_words(connection, conditions)
        if _FEW < total > limit:
            return SearchResult(total, Hits(connection, _first_with_words(connection, conditions, limit)), ())
    ids = _licks_with(connection, conditions, every)
    none = () if ids else _unmet_terms(connection, terms, every)
    return SearchResult(len(ids), sorted_hits(connection, ids, limit, order), none)


def _unmet_terms(
    connection: sqlite3.Connection, terms: Sequence[tuple[QueryTerm, Condition]], every: LickSet | None
) -> tuple[QueryTerm, ...]:
    """Return the terms of a question without an answer that no lick meets even alone. Raises QueryError for one that is probably wrong."""
    alone = len(terms) == 1
    none = [(term, one) for term, one in terms if alone or not _licks_with(connection, [one], every, 1)]
    for _, one in none:
        if one.doubt is not None:
            raise one.doubt
    return tuple(term for term, _ in none)


def matching_ids(connection: sqlite3.Connection, question: str) -> list[int] | None:
    """Return the ids of the licks that answer a question; None for one that asks nothing. Raises QueryError."""
    terms, _ = interpret_question(question, has_full_text(connection))
    return list(_licks_with(connection, [one for _, one in terms], all_licks(connection))) if terms else None


def _licks_with(
    connection: sqlite3.Connection, conditions: Sequence[Condition], every: LickSet | None, limit: int = -1
) -> Collection[int]:
    """Return the ids of the licks that meet all conditions, as `find_ids` does, by bitmaps where there are any. `every`: all licks, by them."""
    if every is None:
        return find_ids(connection, conditions, limit)
    found = every
    for one in conditions:
        if one.ways:
            own = licks_by_ways(connection, one.ways)
            found = found - own if one.negated else found & own
    others = [one for one in conditions if not one.ways]
    return _also_with(connection, others, found) if others else found


def _also_with(connection: sqlite3.Connection, conditions: Sequence[Condition], found: LickSet) -> list[int]:
    """Return the ids of those licks that meet these conditions too, which bitmaps do not know."""
    if len(found) <= _FEW:  # only those few are looked at
        return _where(connection, [Condition(f"id IN ({', '.join(map(str, found))})", ()), *conditions], -1)
    excluded = [one for one in conditions if one.match and one.negated]
    others = [one for one in conditions if one not in excluded]
    kept = set(found)
    if excluded:
        kept.difference_update(_with_words(connection, " OR ", excluded, -1))
    return list(kept.intersection(find_ids(connection, others)) if others else kept)


def find_ids(connection: sqlite3.Connection, conditions: Sequence[Condition], limit: int = -1) -> list[int]:
    """Return the ids of all licks that meet all conditions, in no order; at most `limit`, if it is not negative.

    Words are searched for by themselves if they can be, which is two or three times as fast as testing each lick for them.
    """
    excluded = [one for one in conditions if one.match and one.negated]
    if excluded and limit < 0:
        lost = set(_with_words(connection, " OR ", excluded, limit))
        kept = find_ids(connection, [one for one in conditions if one not in excluded])
        return list(filterfalse(lost.__contains__, kept))
    if conditions and _are_words(conditions):
        return _with_words(connection, " AND ", conditions, limit)
    return _where(connection, conditions, limit)


def _are_words(conditions: Sequence[Condition]) -> bool:
    """Return True if full-text search alone answers all of them."""
    return all(one.match and not one.negated for one in conditions)


def _where(connection: sqlite3.Connection, conditions: Sequence[Condition], limit: int) -> list[int]:
    terms = _terms(conditions)
    where = " AND ".join(f"({sql})" for sql, _ in terms) or "1"
    values = chain.from_iterable(values for _, values in terms)
    rows = connection.execute(f"SELECT id FROM licks WHERE {where} LIMIT ?", [*values, limit])
    return [row[0] for row in rows]


def _terms(conditions: Sequence[Condition]) -> list[tuple[str, Sequence[Any]]]:
    """Return the SQL of conditions with their values, in the order in which licks are tested for them.

    Where an index holds all columns but the words, it is read through, and each lick then looked for among those with the words:
    that takes half the time of fetching each lick with the words. `+` keeps SQLite from the latter.
    """
    columns = [(one.sql, one.values) for one in conditions if not one.match]
    words = [one for one in conditions if one.match]
    if not words or not all(one.narrow for one in conditions if not one.match):
        return [(one.sql, one.values) for one in conditions]
    return [*columns, *((one.sql if one.negated else f"+{one.sql}", one.values) for one in words)]


def _with_words(connection: sqlite3.Connection, between: str, conditions: Sequence[Condition], limit: int) -> list[int]:
    asked = _asked(conditions, between)
    rows = connection.execute("SELECT rowid FROM lick_text WHERE lick_text MATCH ? LIMIT ?", (asked, limit))
    return [row[0] for row in rows]


def _asked(conditions: Sequence[Condition], between: str = " AND ") -> str:
    """Return conditions that words answer as one full-text query."""
    return between.join(f"({one.match})" for one in conditions)


def _count_with_words(connection: sqlite3.Connection, conditions: Sequence[Condition]) -> int:
    """Return how many licks have all the words; without conditions, how many licks there are."""
    counted = "lick_text WHERE lick_text MATCH ?" if conditions else "licks"
    asked = (_asked(conditions),) if conditions else ()
    return int(connection.execute(f"SELECT count(*) FROM {counted}", asked).fetchone()[0])


def _first_with_words(connection: sqlite3.Connection, conditions: Sequence[Condition], limit: int) -> list[int]:
    """Return the first licks by path and line that have all the words; without conditions, the first of all."""
    where = "WHERE l.id IN (SELECT rowid FROM lick_text WHERE lick_text MATCH ?)" if conditions else ""
    values = [_asked(conditions), limit] if conditions else [limit]
    return [row[0] for row in connection.execute(f"{_BY_PLACE.format(where)} LIMIT ?", values)]


def sorted_hits(
    connection: sqlite3.Connection, ids: Collection[int], limit: int | None = None, order: Sequence[SortKey] = ()
) -> Hits:
    """Return these licks in this order, else by path and line, at most `limit`."""
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
    """Yield the first by path and line, by sorting all."""
    rows = [place for some in _some(ids) for place in connection.execute(
        "SELECT s.path, l.line, l.id FROM licks l JOIN sources s ON s.id = l.source_id "
        f"WHERE l.id IN ({', '.join('?' * len(some))})", some)]  # fmt: skip
    return (lick for _, _, lick in sorted(rows)[:limit])


def _in_order(connection: sqlite3.Connection, ids: Collection[int], limit: int) -> Iterator[int]:
    """Yield the first by path and line, by going through all licks until enough are found: of very many that is faster."""
    wanted, left = ids if isinstance(ids, LickSet) else set(ids), limit
    for (lick,) in connection.execute(_BY_PLACE.format("")):
        if left <= 0:
            break
        if lick in wanted:
            left -= 1
            yield lick


def fetch_hits(connection: sqlite3.Connection, ids: Iterable[int]) -> Iterator[SearchHit]:
    """Yield these licks, in no order."""
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
    """Yield as many at once as one statement takes."""
    every = list(ids)
    yield from (every[start : start + _SOME] for start in range(0, len(every), _SOME))


def create_memory_index() -> sqlite3.Connection:
    """Return an empty index that is gone with this process, for licks of which no index is kept."""
    from lickwright.store.index_schema import create_index

    connection = sqlite3.connect(":memory:", isolation_level=None)
    connection.execute("CREATE TABLE sources (id INTEGER PRIMARY KEY, path TEXT NOT NULL UNIQUE)")
    create_index(connection)
    return connection
