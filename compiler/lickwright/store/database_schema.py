"""Tells whether the tables of a database are ours.

In: a connection, and the statements by which our tables are made. Out: nothing, or `Unusable`.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterable, Mapping

from lickwright.store.guarded_database import Unusable

_COMMENT = re.compile(r"--[^\n]*")  # in SQL
_SCHEMA = "SELECT type, name, tbl_name, sql FROM sqlite_master WHERE sql IS NOT NULL"


def check_database(
    db: sqlite3.Connection, wanted: Mapping[str, str], optional: Callable[[], Iterable[Mapping[str, str]]]
) -> None:
    """Check that the tables are exactly those wanted, with any of the `optional` groups.

    Of two groups that share a table the first that is there whole counts. Raises `Unusable`, and what SQLite raises.
    """
    rows = db.execute(f"{_SCHEMA} LIMIT 100").fetchall()
    found = _named(rows)
    # A trigger may have the name of a table. Of two rows of one name one would hide the other.
    if len(rows) != len(found) or not wanted.items() <= found.items() or _without(found, wanted, optional):
        raise Unusable("it is damaged, or no manifest: its tables are not ours")


def _without(
    found: Mapping[str, str], wanted: Mapping[str, str], optional: Callable[[], Iterable[Mapping[str, str]]]
) -> set[tuple[str, str]]:
    """Return what is left of the tables found without those wanted and the groups that are there whole."""
    rest = found.items() - wanted.items()
    if rest:
        for group in optional():
            if group.items() <= rest:
                rest -= group.items()
                if not rest:
                    break
    return rest


def schema_of(statements: Iterable[str]) -> dict[str, str]:
    """Return what `check_database` finds where these statements were executed, without those that this SQLite cannot execute."""
    db = sqlite3.connect(":memory:")
    try:
        for statement in statements:
            try:
                db.execute(statement)
            except sqlite3.OperationalError as e:
                if "no such module" not in str(e):
                    raise
        return _named(db.execute(_SCHEMA))
    finally:
        db.close()


def _named(rows: Iterable[tuple[object, ...]]) -> dict[str, str]:
    """Return the statements of a schema by what they make: `table sources`, `index licks_place of licks`."""
    return {f"{type} {name}" + (f" of {table}" if table != name else ""): _bare(sql) for type, name, table, sql in rows}


def _bare(sql: object) -> str:
    """Return a statement without comments and without differences of quotes and white space.

    SQLite keeps the comments of whoever made a table, which another version words differently. Only the comment itself goes, not the line end
    after it, so that nothing of another meaning becomes equal: a quote before `--` stays, and what SQLite reads on after it too.
    """
    return " ".join(_COMMENT.sub("", str(sql)).replace("'", '"').split())
