"""The manifest of an output folder: what was made of which source, and which files there are ours.

In: an output folder. Out: a connection to `.lickwright.db` in it, a SQLite file that anyone may read. It never says done for what is not
there: a source is entered after its outputs are in their places. One that is damaged, from another program or from a newer lickwright is
set aside and begun anew. What a lick is (its facts) is kept by `index_schema.py` in tables of its own.
"""

from __future__ import annotations

import errno
import os
import sqlite3
from collections.abc import Callable
from functools import cache
from types import TracebackType
from typing import NamedTuple

from lickwright.core.files import move_file
from lickwright.core.slugs import slug
from lickwright.export import suffix_without_tempo
from lickwright.store.durable import UnsyncedFiles
from lickwright.store.guarded_database import (
    BESIDE,
    DAMAGED,
    Unusable,
    check_database,
    connect,
    damaged,
    doubtful,
    inspect_database,
    locked,
    tables,
)
from lickwright.store.naming import Named
from lickwright.store.ownership import UnsafePath, plain_folder, plain_name

__all__ = ["DAMAGED", "Made", "Manifest", "Unusable", "damaged"]

NAME = ".lickwright.db"
ASIDE = NAME + ".old"  # what stood in its place and could not be used
FORM = 2  # of the tables below; a manifest with a higher number is a newer lickwright's
GONE, OLDER = 1, 2  # values of `outputs.gone`; 0: it is what its lick is now
_MARK = 0x4C69636B  # "Lick": SQLite's application_id of our files

# Paths have `/` on every system. `folder` and `target` are below the output folder, `path` is as seen from there, so that both may move.
SCHEMA = """
CREATE TABLE sources (
    id INTEGER PRIMARY KEY,
    path TEXT NOT NULL UNIQUE,     -- of the source; '-' is standard input
    target TEXT NOT NULL UNIQUE,   -- the folder of its outputs, which is no other source's
    hash BLOB,                     -- of the bytes that were compiled; NULL: to be made again
    key BLOB,                      -- of the options, the house and the program
    formats TEXT NOT NULL,         -- that were made with this hash and key: 'tab,midi'
    made INTEGER NOT NULL,         -- licks that were written
    refused TEXT NOT NULL,         -- JSON: each lick that was not, see `orders.Skipped`
    findings TEXT NOT NULL,        -- JSON, '' for none
    indexed INTEGER NOT NULL,      -- 1: its licks' facts are in the index
    alone INTEGER NOT NULL         -- 1: it brought a worker down, and is tried only in a process of its own
);
CREATE TABLE outputs (
    folder TEXT NOT NULL,
    name TEXT NOT NULL,            -- of the file in it
    lick TEXT NOT NULL,            -- the slug of its lick
    format TEXT NOT NULL,
    gone INTEGER NOT NULL,         -- 1: its lick is no more in the source; 2: its lick could not be made, it is of an earlier version
    hash BLOB NOT NULL,            -- of its bytes as we wrote them
    size INTEGER NOT NULL,         -- these four as the file system had them then
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL,
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
CREATE TABLE claims (              -- files that a run that died may have written
    folder TEXT NOT NULL,
    name TEXT NOT NULL,
    hash BLOB NOT NULL,
    PRIMARY KEY (folder, name, hash)
) WITHOUT ROWID;
CREATE TABLE about (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
"""
# What came with form 2. A manifest of form 1 gets it, and stays what it is otherwise.
SECOND = """
CREATE TABLE names (               -- of licks: see `naming.py`
    folder TEXT NOT NULL,          -- the `target` of their source
    name TEXT NOT NULL,            -- `lick` in `outputs`
    base TEXT NOT NULL,
    code INTEGER NOT NULL,
    place INTEGER NOT NULL,
    gone INTEGER NOT NULL,         -- 1: its lick is no more in the source; the name is free when its outputs are removed
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
"""

_MOST = 200_000  # outputs of one source, which are looked at together: a file has at most 10,000 licks

# Rows that no program of ours has entered: a type that is not the column's, a name that leads out of the folder, too many of one source.
# A folder is checked with the source that it belongs to, where there is one.
_FOREIGN = (
    "SELECT 1 FROM sources WHERE typeof(path) <> 'text' OR typeof(formats) <> 'text' OR typeof(made) <> 'integer' "
    "OR typeof(refused) <> 'text' OR typeof(findings) <> 'text' OR typeof(indexed) <> 'integer' OR typeof(alone) <> 'integer' "
    "OR typeof(hash) NOT IN ('blob', 'null') OR typeof(key) NOT IN ('blob', 'null') OR NOT plain_folder(target)",
    "SELECT 1 FROM (SELECT DISTINCT folder FROM outputs) WHERE folder NOT IN (SELECT target FROM sources) AND NOT plain_folder(folder)",
    "SELECT 1 FROM outputs WHERE typeof(lick) <> 'text' OR typeof(format) <> 'text' OR typeof(gone) <> 'integer' "
    "OR typeof(hash) <> 'blob' OR typeof(size) <> 'integer' OR typeof(mtime) <> 'integer' OR typeof(ctime) <> 'integer' "
    "OR typeof(inode) <> 'integer' OR NOT plain_name(name)",
    f"SELECT 1 FROM outputs GROUP BY folder HAVING count(*) > {_MOST}",
    f"SELECT 1 FROM claims GROUP BY folder HAVING count(*) > {_MOST}",
    "SELECT 1 FROM claims WHERE typeof(hash) <> 'blob' OR NOT plain_folder(folder) OR NOT plain_name(name)",
    "SELECT 1 FROM names WHERE typeof(base) <> 'text' OR typeof(code) <> 'integer' OR typeof(place) <> 'integer' "
    "OR typeof(gone) <> 'integer' OR NOT plain_name(name) OR folder NOT IN (SELECT target FROM sources) AND NOT plain_folder(folder)",
)

_NAMES_OF_INDEX = (
    "INSERT OR IGNORE INTO names SELECT s.target, l.slug, base(l.title), l.tab, l.line, 0 FROM licks l "
    "JOIN sources s ON s.id = l.source_id WHERE plain_name(l.slug) AND typeof(l.tab) = 'integer' AND typeof(l.line) = 'integer'"
)


# Comes with the first recording.
SOUNDS = """
CREATE TABLE sounds (
    hash BLOB PRIMARY KEY,         -- of a recording in `outputs`
    sound BLOB NOT NULL            -- the key of what is heard in it: see `recorded_sounds.py`
) WITHOUT ROWID
"""

# Comes with the first build that finds a source unchanged: what its file was like when it was last read, see `build/up_to_date.py`.
SOURCE_STATES = """
CREATE TABLE source_states (
    id INTEGER PRIMARY KEY,        -- in `sources`
    hash BLOB NOT NULL,            -- of the bytes that were read: the row counts only while it is that of the source
    size INTEGER NOT NULL,         -- these four as the file system had them before the reading
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL
)
"""

# The same in the index, where there is one: phrases longer than any lick's. A lick has 10,000 events, its repeats and bends among them.
_FOREIGN_PHRASES = "SELECT 1 FROM phrases WHERE typeof(moments) <> 'blob' OR length(moments) > 400000"

RELEASE = "release_files"  # a folder of outputs is made of slugs, which have no underscore: no source has this one
# Comes with the first release: see `build/release_files.py`.
RELEASED = """
CREATE TABLE released (
    folder TEXT NOT NULL,          -- `release_files`, or one below it
    name TEXT NOT NULL,
    target TEXT NOT NULL,          -- `folder` and `name` in `outputs` of what it is a copy of
    output TEXT NOT NULL,
    hash BLOB NOT NULL,            -- of its bytes as we wrote them
    size INTEGER NOT NULL,         -- these four as the file system had them then
    mtime INTEGER NOT NULL,        -- nanoseconds
    ctime INTEGER NOT NULL,
    inode INTEGER NOT NULL,
    PRIMARY KEY (folder, name)
) WITHOUT ROWID;
CREATE INDEX released_of ON released (target, output)
"""
_FOREIGN_RELEASED = (
    "SELECT 1 FROM released WHERE typeof(target) <> 'text' OR typeof(output) <> 'text' OR typeof(hash) <> 'blob' "
    "OR typeof(size) <> 'integer' OR typeof(mtime) <> 'integer' OR typeof(ctime) <> 'integer' OR typeof(inode) <> 'integer' "
    f"OR NOT plain_folder(folder) OR NOT plain_name(name) OR (folder <> '{RELEASE}' AND folder NOT GLOB '{RELEASE}/*')",
    "SELECT 1 FROM (SELECT count(*) AS files FROM released) WHERE files > 5000000",
)


class Made(NamedTuple):
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
        """What follows the lick's name, without the tempo of a practice recording: it tells the outputs of a lick apart."""
        return suffix_without_tempo(self.name[len(self.lick) :])


class Manifest:
    """An open manifest. Use it in a `with`: what was entered since the last `keep` is lost if the block fails.

    A full disk and the like come out of it as OSError.
    """

    def __init__(self, folder: str | None, *, write: bool, sync: bool = False) -> None:
        """Opens or begins the manifest of `folder`. Without `write` nothing is created: a folder that has none, or None, gives an empty one.

        With `sync` whatever `keep` has made true is still true after a power cut. Raises `Unusable` and OSError.
        """
        path = os.path.join(folder or "", NAME)
        size = inspect_database(path, write) if folder is not None else None
        self.writable = write
        self.written = (
            UnsyncedFiles(folder) if sync and folder is not None else None
        )  # outputs that `keep` sees on disk
        try:
            if size is None and not write:
                self.db = connect(None, "")
            else:
                self.db = connect(path, "rwc" if write else "ro", size or 0)
            try:
                self._prepare(begin=size is None or (write and size == 0))
            except BaseException:
                self.db.close()
                raise
        except (sqlite3.DatabaseError, UnicodeError) as e:
            if damaged(e):
                raise Unusable("it is damaged, or no manifest", doubtful=doubtful(e)) from None
            if isinstance(e, sqlite3.OperationalError):
                raise _of_disk(e) from None
            raise

    def _prepare(self, begin: bool) -> None:
        db = self.db
        # A killed program loses nothing without waiting for the disk either; after a power cut a torn manifest is then noticed and begun anew.
        db.execute(f"PRAGMA synchronous = {'EXTRA' if self.written is not None else 'OFF'}")
        if begin:
            db.execute("BEGIN IMMEDIATE")
            for statement in (SCHEMA + SECOND).split(";\n"):
                db.execute(statement)
            db.execute(f"PRAGMA application_id = {_MARK}")
            db.execute(f"PRAGMA user_version = {FORM}")
            db.execute("COMMIT")
            return
        (mark,) = db.execute("PRAGMA application_id").fetchone()
        (form,) = db.execute("PRAGMA user_version").fetchone()
        if mark != _MARK:
            raise Unusable("it is damaged, or no manifest")
        if form > FORM:
            raise Unusable("it was made by a newer lickwright")
        if form < 1:
            raise Unusable("it was made by an older lickwright")
        check_database(db, _tables(form), _further_tables)
        db.create_function("plain_folder", 1, plain_folder, deterministic=True)
        db.create_function("plain_name", 1, plain_name, deterministic=True)
        if form == 1:
            self._to_second()
        indexed = db.execute("SELECT 1 FROM sqlite_master WHERE name = 'phrases'").fetchone() is not None
        further = ((_FOREIGN_PHRASES,) if indexed else ()) + (_FOREIGN_RELEASED if self.has_released() else ())
        for question in (*_FOREIGN, *further):
            if db.execute(f"{question} LIMIT 1").fetchone() is not None:
                raise Unusable("it is damaged: it holds what no lickwright has entered")

    def _to_second(self) -> None:
        """Gives a manifest of form 1 the table of form 2; for one that is only read it is gone with the connection."""
        db = self.db
        db.execute("BEGIN IMMEDIATE" if self.writable else "BEGIN")
        db.execute(SECOND if self.writable else SECOND.replace("TABLE", "TEMP TABLE", 1))
        if self.writable:
            db.create_function("base", 1, lambda title: slug(str(title), readable=False), deterministic=True)
            if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'licks'").fetchone() is not None:
                db.execute(_NAMES_OF_INDEX)
            db.execute(f"PRAGMA user_version = {FORM}")
        db.execute("COMMIT")

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
        if isinstance(error, sqlite3.OperationalError) and not damaged(error):
            raise _of_disk(error) from None

    def with_index(self) -> None:
        """Sees that the tables of `index_schema.py` are there; an index of another form is begun anew with the whole manifest."""
        from lickwright.store import index_schema

        self.begin()
        row = self.db.execute("SELECT value FROM about WHERE name = 'index'").fetchone()
        if row is not None and row[0] != index_schema.VERSION:
            raise Unusable("its index was made by another lickwright")
        if row is None:
            index_schema.create(self.db)
            self.db.execute("INSERT INTO about VALUES ('index', ?)", (index_schema.VERSION,))

    def has_site(self) -> bool:
        """Whether an index of lesson pages was written."""
        return self.db.execute("SELECT 1 FROM about WHERE name = 'site'").fetchone() is not None

    def note_site(self, there: bool) -> None:
        """Enter whether there is an index of lesson pages; the caller keeps it."""
        self.begin()
        statement = (
            "INSERT OR REPLACE INTO about VALUES ('site', 1)" if there else "DELETE FROM about WHERE name = 'site'"
        )
        self.db.execute(statement)

    def has_sounds(self) -> bool:
        """Whether it knows the sounds of recordings."""
        return self.db.execute("SELECT 1 FROM sqlite_master WHERE name = 'sounds'").fetchone() is not None

    def with_sounds(self) -> None:
        """Sees that the table of `recorded_sounds.py` is there."""
        self.begin()
        if not self.has_sounds():
            self.db.execute(SOUNDS)

    def has_source_states(self) -> bool:
        """Return whether the states of sources are on record."""
        return self.db.execute("SELECT 1 FROM sqlite_master WHERE name = 'source_states'").fetchone() is not None

    def with_source_states(self) -> None:
        """Create the table `source_states` where it is not there yet."""
        self.begin()
        if not self.has_source_states():
            self.db.execute(SOURCE_STATES)

    def has_released(self) -> bool:
        """Whether it knows a release in the output folder."""
        return self.db.execute("SELECT 1 FROM sqlite_master WHERE name = 'released'").fetchone() is not None

    def has_copies(self) -> bool:
        """Whether any file of a release is on record."""
        return self.has_released() and self.db.execute("SELECT 1 FROM released LIMIT 1").fetchone() is not None

    def with_released(self) -> None:
        """Sees that the table of `build/release_files.py` is there."""
        self.begin()
        if not self.has_released():
            for statement in RELEASED.split(";\n"):
                self.db.execute(statement)

    def begin(self) -> None:
        """Opens a transaction, if none is open: what follows becomes true together at the next `keep`."""
        if not self.db.in_transaction:
            self.db.execute("BEGIN IMMEDIATE")

    def keep(self) -> None:
        """Makes everything entered so far true. Raises OSError where the disk does not take the outputs."""
        if self.db.in_transaction:
            if self.written is not None:
                self.written.sync()
            self.db.execute("COMMIT")

    def is_empty(self) -> bool:
        """Return True if no source is on record."""
        return self.db.execute("SELECT 1 FROM sources LIMIT 1").fetchone() is None

    def known(self, folder: str) -> dict[str, Made]:
        """The outputs on record in a folder, by name."""
        rows = self.db.execute(
            "SELECT name, lick, format, hash, size, mtime, ctime, inode FROM outputs WHERE folder = ?", (folder,)
        )
        return {row[0]: Made._make(row) for row in rows}

    def current(self, folder: str) -> list[Made]:
        """Those of them that are what their licks are now."""
        rows = self.db.execute(
            "SELECT name, lick, format, hash, size, mtime, ctime, inode FROM outputs WHERE folder = ? AND gone = 0",
            (folder,),
        )
        return [Made._make(row) for row in rows]

    def owner(self, path: str, target: str) -> str | None:
        """The source that a folder of outputs belongs to, if it is not the one at `path`."""
        row = self.db.execute("SELECT path FROM sources WHERE target = ? AND path <> ?", (target, path)).fetchone()
        return None if row is None else str(row[0])

    def names(self, folder: str) -> tuple[Named, ...]:
        """The names of licks on record of the source whose outputs are in a folder."""
        rows = self.db.execute("SELECT name, base, code, place, gone FROM names WHERE folder = ?", (folder,))
        return tuple(Named(row[0], row[1], row[2], row[3], bool(row[4])) for row in rows)

    def claimed(self, folder: str) -> list[tuple[str, bytes]]:
        """Names and hashes that a run that died may have written there."""
        return list(self.db.execute("SELECT name, hash FROM claims WHERE folder = ?", (folder,)))


@cache
def _tables(form: int) -> dict[str, str]:
    """The tables of a manifest, as `guarded.check` wants them."""
    return tables((SCHEMA + SECOND if form > 1 else SCHEMA).split(";\n"))


@cache
def _further_tables() -> tuple[dict[str, str], ...]:
    """Return the groups of tables that a manifest may have beside its own, each whole or not at all.

    An index has a full-text search or not: the larger group comes first.
    """
    from lickwright.store import index_schema

    own = index_schema.SCHEMA.split(";")
    return (
        tables([*own, *index_schema.SEARCH_SCHEMA.split(";")]),
        tables(own),
        *(tables(group.split(";\n")) for group in (SOUNDS, SOURCE_STATES, RELEASED)),
    )


def aside(folder: str, why: object) -> str:
    """What is said about a manifest that cannot be used."""
    return f"{os.path.join(folder, NAME)} is set aside: {why}; what is in the folder is checked again"


def reason_aside(error: Exception) -> object:
    """Return why a manifest is set aside, for `aside`."""
    return error if isinstance(error, Unusable) else DAMAGED


def _of_disk(error: sqlite3.OperationalError) -> OSError:
    if locked(error):
        return BlockingIOError(0, f"another program is at work on {NAME}")
    code = getattr(error, "sqlite_errorcode", 0)
    if code == sqlite3.SQLITE_READONLY_DBMOVED:
        return OSError(0, f"{NAME} was taken away meanwhile")
    if code & 0xFF == sqlite3.SQLITE_READONLY:
        return OSError(0, f"{NAME} may not be written to: permission denied")
    return OSError(0, f"{NAME}: {error}")


def _look_again(folder: str) -> None:
    """Raises OSError if the manifest is well, or cannot be read."""
    try:
        Manifest(folder, write=False).db.close()
    except Unusable:
        return
    raise OSError(errno.EIO, f"{NAME} could not be read for a moment: run the command again")


def set_aside(folder: str, error: Exception, say: Callable[[str], None]) -> None:
    """Moves what stands in the manifest's place away because of `error`, and says so; then a new one can be begun.

    Raises OSError, also where a second look finds nothing wrong: for one page that the disk would not read no record is given up.
    """
    if doubtful(error):
        _look_again(folder)
    say(aside(folder, reason_aside(error)))
    path = os.path.join(folder, NAME)
    try:
        move_file(path, os.path.join(folder, ASIDE))
    except FileNotFoundError:  # only something beside it was wrong
        pass
    except (IsADirectoryError, NotADirectoryError, FileExistsError):
        raise UnsafePath(f"{ASIDE} is in the way: move it away") from None
    except OSError as e:
        if e.errno == errno.ENOTEMPTY:
            raise UnsafePath(f"{ASIDE} is in the way: move it away") from None
        raise
    for rest in BESIDE:  # they belong to what was moved: a new file must not be mended with them
        try:
            os.unlink(path + rest)
        except FileNotFoundError:
            pass
        except (IsADirectoryError, PermissionError):
            if os.path.isdir(path + rest):
                raise UnsafePath(f"{NAME}{rest} is a folder and not ours: move it away") from None
            raise
