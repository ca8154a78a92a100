"""A library opened to be asked: the index that a build keeps beside its outputs, or one made of sources on the spot.

In: a folder, or compilations. Out: `Shelf`, whose connection the questions go to. Writes nothing.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable
from types import TracebackType
from typing import Any

from lickwright.compilation import Compilation
from lickwright.library.facts import facts, findings
from lickwright.library.index import add
from lickwright.library.manifest import NAME, Manifest, Unusable
from lickwright.library.search import Hit, memory

__all__ = ["Shelf", "Unusable", "is_kept", "kept", "made"]


class Shelf:
    """An open library. Use it in a `with`: damage that shows while reading is then an `Unusable` too."""

    def __init__(self, connection: sqlite3.Connection, folder: str | None) -> None:
        self.connection = connection
        self._folder = folder  # from which its paths are seen; None: as they are

    def __enter__(self) -> Shelf:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.connection.close()
        if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
            raise Unusable("a build is at work on it: ask again when it is done") from None
        if isinstance(error, sqlite3.DatabaseError):
            raise Unusable("it is damaged: lickwright make begins it anew") from None

    def path(self, stored: str) -> str:
        """Where a source is, as seen from here."""
        if self._folder is None or stored == "-":
            return stored
        return os.path.normpath(os.path.join(self._folder, stored))

    @property
    def left_out(self) -> int:
        """Sources that a build knows and whose licks are not in the index."""
        if self._folder is None:
            return 0
        return int(self.connection.execute("SELECT count(*) FROM sources WHERE NOT indexed").fetchone()[0])

    def outputs(self, hit: Hit) -> list[str]:
        """The files that were made of a lick; none where the library is no build's."""
        if self._folder is None:
            return []
        rows = self.connection.execute(
            "SELECT o.folder, o.name FROM outputs o JOIN sources s ON s.target = o.folder JOIN licks l ON l.source_id = s.id "
            "WHERE l.id = ? AND o.lick = l.slug ORDER BY o.name",
            (hit.lick,),
        )
        return [os.path.normpath(os.path.join(self._folder, folder, name)) for folder, name in rows]

    def findings(self, hit: Hit) -> list[dict[str, Any]]:
        """What is wrong with a lick, for JSON."""
        rows = self.connection.execute(
            "SELECT code, severity, line, message FROM findings WHERE lick_id = ? ORDER BY rowid", (hit.lick,)
        )
        return [dict(zip(("code", "severity", "line", "message"), row, strict=True)) for row in rows]


def is_kept(folder: str) -> bool:
    """Whether a build keeps an index in this folder."""
    return os.path.isfile(os.path.join(folder, NAME))


def kept(folder: str) -> Shelf:
    """The index in an output folder; raises `Unusable`."""
    return Shelf(Manifest(folder, write=False).db, folder)


def made(compilations: Iterable[tuple[str, Compilation]]) -> Shelf:
    """An index of sources, by path, that were compiled just now."""
    connection = memory()
    connection.execute("BEGIN")
    for number, (path, compilation) in enumerate(compilations, 1):
        source = compilation.source
        connection.execute("INSERT OR REPLACE INTO sources VALUES (?, ?)", (number, path))
        own = () if compilation.licks else findings(compilation.diagnostics, source)
        add(connection, number, [facts(lick, source) for lick in compilation.licks], own)
    connection.execute("COMMIT")
    return Shelf(connection, None)
