"""The index of a library, opened for questions: the one that a build keeps beside its outputs, or one made of compiled sources.

In: a folder, or compilations. Out: a `LibraryIndex`, whose connection the questions go to. Nothing is written.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import TracebackType
from typing import TYPE_CHECKING, Any

from lickwright.core.file_bytes import error_reason
from lickwright.index.query_parser import QueryError
from lickwright.index.search import SearchHit, create_memory_index
from lickwright.store.guarded_database import (
    DAMAGED,
    Unusable,
    inspect_database,
    is_locked,
    open_guarded,
    stored_values,
)
from lickwright.store.index_schema import VERSION, add_licks, create_index
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.source_paths import slashed

if TYPE_CHECKING:
    from lickwright.compiler.compilation import Compilation

_AT_WORK = "a build is at work on it", "ask again when it is done"

__all__ = ["LibraryIndex", "Unusable", "has_index", "open_index", "index_in_memory"]


class LibraryIndex:
    """An open index. Use it in a `with` statement, which turns damage that shows while reading into `Unusable` too."""

    def __init__(
        self, connection: sqlite3.Connection, folder: str | None, names: Mapping[str, str] | None = None
    ) -> None:
        self.connection = connection
        self._folder = folder  # from which its paths are seen; None: as they are
        self._states: dict[str, str] = {}  # of sources, by path as kept; filled as it is asked for
        self._left_out: list[str] | None = None  # see `left_out`, which is asked more than once
        self._names = names or {}  # paths that no table can hold, since they are no text, by what stands for them
        self._version: int | None = None  # of the index, by SQLite's count, as the first `one_state` block found it

    def __enter__(self) -> LibraryIndex:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.connection.close()
        if error is not None and self._folder is not None:
            _judge(error)

    @contextmanager
    def one_state(self, hold: bool = True) -> Iterator[None]:
        """Make sure that all statements of the block read one state of the index, which is that of earlier blocks too.

        With `hold` a read transaction keeps that state, and a build cannot commit before the block ends: so the block is short and
        writes to no stream. Without it the block may be long, and is checked at its end. Raises `Unusable` where a build has committed
        something meanwhile.
        """
        if hold:
            self.connection.execute("BEGIN")
        try:
            self._check_version()
            try:
                yield
            except Exception:
                self._check_version()  # an error that comes of two states is no damage
                raise
            self._check_version()
        finally:
            if self.connection.in_transaction:
                self.connection.execute("COMMIT")

    def _check_version(self) -> None:
        (version,) = self.connection.execute("PRAGMA data_version").fetchone()
        if self._version not in (None, version):
            raise Unusable(*_AT_WORK)
        self._version = version

    def path(self, kept: str) -> str:
        """Return where a source is, as seen from the current folder."""
        if self._folder is None or kept == "-":
            return self._names.get(kept, kept)
        path = os.path.normpath(os.path.join(self._folder, kept))
        try:
            here = os.path.relpath(path) if os.path.isabs(path) else path
        except OSError:  # the folder that the user is in was taken away
            return path
        return path if here.startswith(os.pardir) else here

    @property
    def licks(self) -> int:
        """The number of licks."""
        return int(self.connection.execute("SELECT count(*) FROM licks").fetchone()[0])

    @property
    def is_empty(self) -> bool:
        """True if there is no lick."""
        return self.connection.execute("SELECT 1 FROM licks LIMIT 1").fetchone() is None

    @property
    def made(self) -> tuple[int, int]:
        """The number of licks that a build has made files of, and the number of these files."""
        row = self.connection.execute(
            "SELECT count(DISTINCT folder || '/' || lick), count(*) FROM outputs WHERE gone = 0"
        ).fetchone()
        return row[0], row[1]

    def left_out(self) -> list[str]:
        """Return the sources that a build knows and whose licks are not in the index, as seen from the current folder."""
        if self._folder is None:
            return []
        if self._left_out is None:
            rows = self.connection.execute("SELECT path FROM sources WHERE NOT indexed").fetchall()
            self._left_out = [self.path(path) for path in sorted(path for (path,) in rows) if path != "-"]
        return self._left_out

    def state(self, kept: str) -> str:
        """Return what became of a source since its licks were indexed, one of `source_state.WORDS`; "" if nothing did."""
        if self._folder is None:
            return ""
        if kept not in self._states:
            from lickwright.store.source_state import state_of

            row = self.connection.execute("SELECT hash FROM sources WHERE path = ?", (kept,)).fetchone()
            self._states[kept] = state_of(self._folder, kept, row[0] if row else None)
        return self._states[kept]

    def stale(self) -> dict[str, int]:
        """Return how many licks have a source that changed or is gone, by what became of it. Every source is looked at.

        Call it outside of `one_state`: that may take long. Raises `Unusable` as that does.
        """
        found: dict[str, int] = {}
        if self._folder is None:
            return found
        from lickwright.store.source_state import state_of

        rows = "SELECT s.path, s.hash, count(*) FROM licks l JOIN sources s ON s.id = l.source_id GROUP BY s.id"
        with self.one_state():
            sources = self.connection.execute(rows).fetchall()
        for path, hash, licks in sources:
            state = self._states[path] if path in self._states else state_of(self._folder, path, hash)
            if state:
                found[state] = found.get(state, 0) + licks
        return found

    def complete(self, compiled: Callable[[Sequence[str]], Iterable[tuple[str, Compilation]]]) -> None:
        """Add the licks of sources that a build knows and the index does not, such as files that were made one by one.

        `compiled` yields the sources at some paths compiled. Raises `Unusable`, and then the index is closed.
        """
        try:
            if self.left_out():
                self._copy()
                self._bring_in(compiled(self.left_out()))
        except BaseException as e:
            self.connection.close()
            _judge(e)
            raise

    def _copy(self) -> None:
        """Go on with a copy of the index that is gone with this process: what a build enters meanwhile does not change it."""
        # With the empty name a file that only SQLite knows, since an index may be larger than memory.
        copy = sqlite3.connect("", isolation_level=None)
        try:
            self.connection.backup(copy)
        except BaseException:
            copy.close()
            raise
        self.connection.close()
        self.connection = copy
        self._left_out = self._version = None

    def _bring_in(self, compilations: Iterable[tuple[str, Compilation]]) -> None:
        """Add the licks of these sources, by path as seen from the current folder, to the copy."""
        copy = self.connection
        create_index(copy)
        kept: dict[int, str] = dict(copy.execute("SELECT id, path FROM sources").fetchall())
        numbers = {self.path(path): number for number, path in kept.items()}
        copy.execute("BEGIN")
        for path, compilation in compilations:
            _put(copy, numbers[path], compilation)
            self._states[kept[numbers[path]]] = ""  # compiled just now
        copy.execute("COMMIT")

    def outputs(self, hit: SearchHit) -> list[str]:
        """Return the files that were made of a lick; none if the library is not a build's."""
        if self._folder is None:
            return []
        rows = self.connection.execute(
            "SELECT o.folder, o.name FROM outputs o JOIN sources s ON s.target = o.folder JOIN licks l ON l.source_id = s.id "
            "WHERE l.id = ? AND o.lick = l.slug AND o.gone = 0 ORDER BY o.name",
            (hit.lick,),
        )
        found = list(rows)
        if self.has_released:
            found += self.connection.execute(
                "SELECT r.folder, r.name FROM outputs o JOIN sources s ON s.target = o.folder JOIN licks l ON l.source_id = s.id "
                "JOIN released r ON r.target = o.folder AND r.output = o.name AND r.hash = o.hash "
                "WHERE l.id = ? AND o.lick = l.slug AND o.gone = 0 ORDER BY r.folder, r.name",
                (hit.lick,),
            )
        return [os.path.normpath(os.path.join(self._folder, folder, name)) for folder, name in found]

    @property
    def has_released(self) -> bool:
        """True if a build keeps a release in the folder."""
        row = self.connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'released'").fetchone()
        return self._folder is not None and row is not None

    def phrase(self, hit: SearchHit) -> dict[str, list[object]]:
        """Return the semitones from each note to the next and the times between them, in whole notes, for JSON."""
        from fractions import Fraction

        from lickwright.analysis.fingerprint import WHOLE, unpack_moments

        row = self.connection.execute("SELECT moments FROM phrases WHERE code = ?", (hit.facts["phrase"],)).fetchone()
        pitches, _, waits = unpack_moments(row[0] if row else b"")
        steps = [after - before for before, after in zip(pitches, pitches[1:], strict=False)]
        return {"intervals": [*steps], "rhythm": [str(Fraction(wait, WHOLE)) for wait in waits[:-1]]}

    def findings(self, hit: SearchHit) -> list[dict[str, Any]]:
        """Return the findings about a lick, for JSON."""
        rows = self.connection.execute(
            "SELECT code, severity, line, message FROM findings WHERE lick_id = ? ORDER BY rowid", (hit.lick,)
        )
        return [dict(zip(("code", "severity", "line", "message"), row, strict=True)) for row in rows]


def has_index(folder: str) -> bool:
    """True if a build keeps an index in this folder, or something of its name is there, which `open_index` looks at."""
    return os.path.lexists(os.path.join(folder, NAME))


def open_index(folder: str, whole: bool = True) -> LibraryIndex:
    """Return the index in an output folder. Raises `Unusable`.

    Without `whole` a large one is checked only where it is read, unless sources are left out of it: to add them it is copied.
    """
    try:
        manifest = _opened(folder, whole)
    except BlockingIOError:
        raise Unusable(*_AT_WORK) from None
    except OSError as e:
        if os.path.exists(os.path.join(folder, NAME + "-journal")):
            raise Unusable("a build was cut off there", "only who may write there can take it back") from None
        raise Unusable(error_reason(e), "check who may read it") from None
    shelf = LibraryIndex(manifest.db, folder)
    try:
        row = manifest.db.execute("SELECT value FROM about WHERE name = 'index'").fetchone()
        if row is not None and row[0] != VERSION:
            raise Unusable("another lickwright made it")
        if manifest.whole or not shelf.left_out():
            return shelf
    except BaseException as e:
        manifest.db.close()
        _judge(e)
        raise
    manifest.db.close()
    return open_index(folder)


def _judge(error: BaseException) -> None:
    """Raise `Unusable` for an error that comes of an index that is locked or damaged.

    The values in an index are input: a wrong one is no bug of ours, whatever error it causes.
    """
    if is_locked(error):
        raise Unusable(*_AT_WORK) from None
    if isinstance(error, sqlite3.DatabaseError):
        raise Unusable(DAMAGED) from None
    if not isinstance(error, QueryError):  # which is an error of the question
        with stored_values():
            raise error


def _opened(folder: str, whole: bool) -> Manifest:
    """Return the manifest. If a build was killed, SQLite first takes back what it had begun, if it may write."""
    try:
        return Manifest(folder, write=False, whole=whole)
    except BlockingIOError:
        raise
    except OSError:
        path = os.path.join(folder, NAME)
        try:
            again = open_guarded(path, "rw", inspect_database(path, True) or 0)
        except sqlite3.Error:
            return Manifest(folder, write=False, whole=whole)
        try:
            again.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()
        except sqlite3.OperationalError:
            pass  # the second attempt reports the error
        finally:
            again.close()
        return Manifest(folder, write=False, whole=whole)


def index_in_memory(compilations: Iterable[tuple[str, Compilation]]) -> LibraryIndex:
    """Return an index of compiled sources, by path. What is raised while they are compiled goes through, and leaves nothing open."""
    connection, names = create_memory_index(), {}
    try:
        connection.execute("BEGIN")
        for number, (path, compilation) in enumerate(compilations, 1):
            names[slashed(path)] = path
            connection.execute("INSERT INTO sources VALUES (?, ?)", (number, slashed(path)))
            _put(connection, number, compilation)
        connection.execute("COMMIT")
    except BaseException:
        connection.close()
        raise
    return LibraryIndex(connection, None, names)


def _put(connection: sqlite3.Connection, number: int, compilation: Compilation) -> None:
    from lickwright.store.features import index_findings, lick_facts

    source = compilation.source
    own = () if compilation.licks else index_findings(compilation.diagnostics, source)
    add_licks(connection, number, [lick_facts(lick, source) for lick in compilation.licks], own)
