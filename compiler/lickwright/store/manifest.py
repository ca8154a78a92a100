"""The manifest of an output folder: which outputs were made of which source, and which files the program wrote.

In: an output folder. Out: a connection to its `.lickwright.db`, a SQLite file that anyone may read. A source is entered after its outputs are in place, so the
manifest never records an output that was not written. A manifest that is damaged, of another program or of a newer lickwright raises `Unusable`;
`unusable_manifest.py` sets it aside. The features of licks, for `find`, are kept by `index_schema.py` in tables of their own.
"""

from __future__ import annotations

import os
import sqlite3
from types import TracebackType
from typing import TYPE_CHECKING, NamedTuple

from lickwright.store.durable import UnsyncedFiles
from lickwright.store.guarded_database import (
    GuardedConnection,
    Unusable,
    check_pages,
    inspect_database,
    is_damage,
    is_doubtful,
    is_locked,
    open_guarded,
    unless_readonly,
)
from lickwright.store.manifest_check import NO_MANIFEST, check_manifest, check_rows, create_tables, has_table
from lickwright.store.manifest_schema import RELEASED, SNAPSHOT, SOUNDS, SOURCE_STATES

if TYPE_CHECKING:
    from lickwright.store.naming import LickName

NAME = ".lickwright.db"
SMALL = 1 << 20  # bytes of a manifest that is always checked as a whole, in some ten milliseconds
_OUTPUTS = "SELECT name, lick, format, hash, size, mtime, ctime, inode FROM outputs WHERE folder = ?"


class OutputRow(NamedTuple):
    """One output in its place: a row of `outputs`, without its folder."""

    name: str
    lick: str
    format: str
    hash: bytes
    size: int
    mtime: int
    ctime: int
    inode: int

    @property
    def suffix(self) -> str:
        """Return what follows the lick's name, without the tempo of a practice recording: it distinguishes the outputs of a lick."""
        from lickwright.export import suffix_without_tempo  # whoever only asks an index needs no export

        return suffix_without_tempo(self.name[len(self.lick) :])


class Manifest:
    """An open manifest. Use it in a `with`: what was entered since the last `keep` is lost if the block fails.

    A full disk and the like come out of it as OSError.
    """

    def __init__(self, folder: str | None, *, write: bool, sync: bool = False, whole: bool = True) -> None:
        """Open or begin the manifest of `folder`. Without `write` nothing is created: a folder that has none, or None, gives an empty one.

        With `sync` whatever `keep` has committed outlasts a power cut. Without `whole` only the tables of a large manifest are checked, and
        neither its pages nor its rows: for a few questions whose answers are judged as they are read, and before anything else is done with it
        `check_whole` is called. Raises `Unusable` and OSError.
        """
        self.writable = write
        self.whole = whole  # False once a large one was opened without a look at all of it
        # The outputs that `keep` sees onto the disk.
        self.written = UnsyncedFiles(folder) if sync and folder is not None else None
        try:
            self.db = self._opened(folder)
        except (sqlite3.DatabaseError, UnicodeError) as e:
            if is_damage(e):
                raise Unusable(NO_MANIFEST, doubtful=is_doubtful(e)) from None
            if isinstance(e, sqlite3.OperationalError):
                raise _of_disk(e) from None
            raise

    def _opened(self, folder: str | None) -> GuardedConnection:
        path = os.path.join(folder or "", NAME)
        size = inspect_database(path, self.writable) if folder is not None else None
        if size is None and not self.writable:
            db = open_guarded(None, "")
        else:
            db = open_guarded(path, "rwc" if self.writable else "ro", size or 0)
        try:
            # A killed program loses nothing without waiting for the disk either; after a power cut a torn manifest is noticed and begun anew.
            db.execute(f"PRAGMA synchronous = {'EXTRA' if self.written is not None else 'OFF'}")
            if size is None or (self.writable and size == 0):
                create_tables(db)
                self.whole = True
            else:
                self._check(db, size)
        except BaseException:
            db.close()
            raise
        return db

    def _check(self, db: GuardedConnection, size: int) -> None:
        """Check a manifest of so many bytes, and note whether all of it is checked. Raises `Unusable`, and what SQLite raises."""
        self.whole = self.whole or size <= SMALL
        if not self.whole:
            db.bound_answers(size)
        check_manifest(db, self.writable, self.whole)

    def __enter__(self) -> Manifest:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self.db.in_transaction:
                self.db.execute("ROLLBACK" if kind else "COMMIT")
        except sqlite3.OperationalError as e:
            error = error or e
        finally:
            self.db.close()
        if isinstance(error, sqlite3.OperationalError) and not is_damage(error):
            raise _of_disk(error) from None

    def check_whole(self) -> None:
        """Check pages and rows too, if the manifest was opened without that. Raises `Unusable`, and what SQLite raises."""
        if not self.whole:
            self.db.room = None
            check_pages(self.db)
            check_rows(self.db)
            self.whole = True

    def _has_table(self, name: str) -> bool:
        return has_table(self.db, name)

    def _with_table(self, name: str, schema: str) -> None:
        """Create a table, or an index, by the statements of its schema where it is not there yet; the caller commits."""
        self.begin()
        if not self._has_table(name):
            for statement in schema.split(";\n"):
                self.db.execute(statement)

    def with_index(self) -> None:
        """Create the tables of `index_schema.py` where they are not there yet. Raises `Unusable` for an index of another form."""
        from lickwright.store import index_schema

        self.begin()
        row = self.db.execute("SELECT value FROM about WHERE name = 'index'").fetchone()
        if row is not None and row[0] != index_schema.VERSION:
            raise Unusable("its index was made by another lickwright")
        if row is None:
            index_schema.create_index(self.db)
            self.db.execute("INSERT INTO about VALUES ('index', ?)", (index_schema.VERSION,))
        self._with_table("sources_left_out", index_schema.LEFT_OUT_SCHEMA)

    def complete_index(self) -> None:
        """Enter the licks of a large index into its bitmaps, so that questions need not look at each lick; the caller commits.

        Raises `Unusable`.
        """
        if not self._has_table("licks"):
            return
        from lickwright.store import enter_bitmaps, index_schema, lick_bitmaps

        (licks,) = self.db.execute("SELECT count(*) FROM licks").fetchone()
        if licks >= enter_bitmaps.FEWEST or lick_bitmaps.has_bitmaps(self.db):
            self._with_table("bitmap_blocks", lick_bitmaps.SCHEMA)
            enter_bitmaps.enter_bitmaps(self.db, index_schema.has_full_text(self.db))

    def has_pages(self) -> bool:
        """Return True if a lesson page is on record; this looks through all outputs where none is."""
        return self.db.execute("SELECT 1 FROM outputs WHERE format = 'page' LIMIT 1").fetchone() is not None

    def has_site(self) -> bool:
        """Return True if an index of lesson pages was written."""
        return self.db.execute("SELECT 1 FROM about WHERE name = 'site'").fetchone() is not None

    def note_site(self, there: bool) -> None:
        """Enter whether there is an index of lesson pages; the caller commits."""
        self.begin()
        statement = (
            "INSERT OR REPLACE INTO about VALUES ('site', 1)" if there else "DELETE FROM about WHERE name = 'site'"
        )
        self.db.execute(statement)

    def has_sounds(self) -> bool:
        """Return True if the sounds of recordings are on record."""
        return self._has_table("sounds")

    def with_sounds(self) -> None:
        """Create the table of `recorded_sounds.py` where it is not there yet."""
        self._with_table("sounds", SOUNDS)

    def has_source_states(self) -> bool:
        """Return True if the states of sources are on record."""
        return self._has_table("source_states")

    def with_source_states(self) -> None:
        """Create the table `source_states` where it is not there yet."""
        self._with_table("source_states", SOURCE_STATES)

    def has_released(self) -> bool:
        """Return True if a release in the output folder is, or was, on record."""
        return self._has_table("released")

    def has_copies(self) -> bool:
        """Return True if any file of a release is on record."""
        return self.has_released() and self.db.execute("SELECT 1 FROM released LIMIT 1").fetchone() is not None

    def with_released(self) -> None:
        """Create the table of `build/release_files.py` where it is not there yet."""
        self._with_table("released", RELEASED)

    def with_snapshot(self) -> None:
        """Create the table `snapshot` where it is not there yet."""
        self._with_table("snapshot", SNAPSHOT)

    def snapshot(self) -> object:
        """Return what stands in `about` of the last snapshot, None where there is none or anything was entered since."""
        row = self.db.execute("SELECT value FROM about WHERE name = 'snapshot'").fetchone()
        return row[0] if row is not None and self._has_table("snapshot") else None

    def note_snapshot(self, value: str) -> None:
        """Enter what stands in `about` of the snapshot in the open transaction; the caller commits."""
        self.db.execute("INSERT OR REPLACE INTO about VALUES ('snapshot', ?)", (value,))

    def begin(self) -> None:
        """Begin a transaction, if none is open: what follows is committed together by the next `keep`.

        Whatever is entered ends the snapshot, which is of the manifest too.
        """
        if not self.db.in_transaction:
            self.db.execute("BEGIN IMMEDIATE")
            with unless_readonly():  # whoever may not write enters nothing either
                self.db.execute("DELETE FROM about WHERE name = 'snapshot'")

    def keep(self) -> None:
        """Commit everything entered so far, after the outputs are on the disk. Raises OSError where the disk does not take them."""
        if self.db.in_transaction:
            if self.written is not None:
                self.written.sync()
            self.db.execute("COMMIT")

    def is_empty(self) -> bool:
        """Return True if no source is on record."""
        return self.db.execute("SELECT 1 FROM sources LIMIT 1").fetchone() is None

    def known(self, folder: str) -> dict[str, OutputRow]:
        """Return the outputs on record in a folder, by name."""
        return {row[0]: OutputRow._make(row) for row in self.db.execute(_OUTPUTS, (folder,))}

    def current(self, folder: str) -> list[OutputRow]:
        """Return the outputs on record in a folder that are what their licks are now."""
        return [OutputRow._make(row) for row in self.db.execute(f"{_OUTPUTS} AND gone = 0", (folder,))]

    def owner(self, path: str, target: str) -> str | None:
        """Return the path of the source that a folder of outputs belongs to; None for nobody, or the one at `path`."""
        row = self.db.execute("SELECT path FROM sources WHERE target = ? AND path <> ?", (target, path)).fetchone()
        return None if row is None else str(row[0])

    def names(self, folder: str) -> tuple[LickName, ...]:
        """Return the names on record of the licks whose outputs are in a folder."""
        from lickwright.store.naming import LickName  # whoever only asks an index names no lick

        rows = self.db.execute("SELECT name, base, code, place, gone FROM names WHERE folder = ?", (folder,))
        return tuple(LickName(row[0], row[1], row[2], row[3], bool(row[4])) for row in rows)

    def claimed(self, folder: str) -> list[tuple[str, bytes]]:
        """Return names and hashes of files that a killed build may have written in a folder."""
        return list(self.db.execute("SELECT name, hash FROM claims WHERE folder = ?", (folder,)))


def _of_disk(error: sqlite3.OperationalError) -> OSError:
    if is_locked(error):
        return BlockingIOError(0, f"another program is at work on {NAME}")
    code = getattr(error, "sqlite_errorcode", 0)
    if code == sqlite3.SQLITE_READONLY_DBMOVED:
        return OSError(0, f"{NAME} was taken away meanwhile")
    if code & 0xFF == sqlite3.SQLITE_READONLY:
        return OSError(0, f"{NAME} may not be written to: permission denied")
    return OSError(0, f"{NAME}: {error}")
