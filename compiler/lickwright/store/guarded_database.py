"""Opens a SQLite file that anybody may have made, so that it can do no harm.

In: a path. Out: a connection whose every statement ends, and which listens to Ctrl-C while SQLite is at work; or `Unusable`. SQLite itself follows
links, plays back whatever journal lies beside a file, and deletes the file that such a journal names: so what lies there is looked at first.
"""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from itertools import chain
from typing import Any

from lickwright.store.ownership import file_kind, open_ordinary

BESIDE = ("-journal", "-wal", "-shm")  # what SQLite keeps beside a file
LARGEST = 1 << 33  # bytes; a million licks take one gigabyte
_LONGEST = 1 << 24  # bytes of one value; the largest of ours are the findings of one source
_OFTEN = 100_000  # SQLite instructions between two checks of the limits: about a millisecond
_MOST = 60_000_000  # instructions of one statement, and as many again for every `_PER`
_PER = 1 << 24  # bytes of the file
_MEMORY = 96 << 20  # bytes that SQLite may take in all; a build of 300,000 outputs takes 10 million
_ROOM = 32 << 20  # bytes that the answer to one statement may take, and twice the file's besides
_ROW = 64  # bytes that a row takes at least
_NUMBERS = frozenset((int, float, type(None)))  # types of values without a length
_AT_ONCE = 100  # rows of a bounded answer that are counted together
_CACHE = 2 << 10  # KiB of pages kept in memory, whatever the file's own setting
_WAIT = (5.0, 8.0)  # seconds to wait for another process that has the file locked: to read, to write
_MAGIC = b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7"  # begins a journal of SQLite's; ends one that names another file
_HEAD = struct.Struct(
    ">8sIIIII"
)  # of such a journal: its magic, records, nonce, the file's pages, sector and page in bytes
_BEGIN_ANEW = "move it away: the next lickwright make starts a new one from the sources"


class Unusable(Exception):
    """What stands in the manifest's place is no manifest that can be used; `str()` says why, `hint` what to do."""

    def __init__(self, why: str, hint: str = _BEGIN_ANEW, doubtful: bool = False) -> None:
        super().__init__(why)
        self.hint = hint
        self.doubtful = doubtful  # a disk that refused to be read for a moment would look the same


DAMAGED = "it is damaged"
FOREIGN_VALUES = "it is damaged: it holds what no lickwright has entered"
_RAISED = "user-defined function raised exception"  # Python's words, whose error code is that of any wrong statement


class GuardedConnection(sqlite3.Connection):
    """A connection whose statements end: after too much work they raise `Unusable`, after Ctrl-C KeyboardInterrupt."""

    _ticks = 0
    _most = 0
    room: int | None = None  # bytes that one statement may give

    def guard(self, size: int) -> None:
        """Set the limits. `size` is the file's, in bytes: the work that is allowed grows with it."""
        self._most = (_MOST + _MOST * size // _PER) // _OFTEN
        self.set_progress_handler(self._tick, _OFTEN)
        self.execute(f"PRAGMA hard_heap_limit = {_MEMORY}")  # before the tables are read, which may be a million
        self.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST)
        self.setlimit(sqlite3.SQLITE_LIMIT_ATTACHED, 0)
        self.setlimit(sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH, 1)
        for pragma in ("trusted_schema = OFF", "cell_size_check = ON", "mmap_size = 0", f"cache_size = -{_CACHE}"):
            self.execute(f"PRAGMA {pragma}")
        if hasattr(self, "setconfig"):  # Python 3.12 and later
            self.setconfig(sqlite3.SQLITE_DBCONFIG_DEFENSIVE, True)  # type: ignore[attr-defined,unused-ignore]

    def cursor(self, factory: Any = None) -> Any:
        """Return a cursor that raises `Unusable` or KeyboardInterrupt where SQLite only says that it was interrupted."""
        return super().cursor(factory or _Cursor)

    def execute(self, *arguments: Any) -> Any:
        """Execute a statement by a cursor of our own: Python's `execute` makes one of its own."""
        return self.cursor().execute(*arguments)

    def executemany(self, *arguments: Any) -> Any:
        """Execute a statement for many rows."""
        return self.cursor().executemany(*arguments)

    def begun(self) -> None:
        """Note that a statement begins."""
        self._ticks = 0

    def meant(self, error: sqlite3.OperationalError | MemoryError) -> BaseException:
        """Return what an error of SQLite's means. Python drops what a signal's handler raises in a function that SQLite calls."""
        if isinstance(error, MemoryError):
            return Unusable("it is damaged: it takes too much memory", doubtful=True)
        if str(error) == _RAISED:
            # The functions that records are judged with take any bytes, and raise nothing themselves.
            return KeyboardInterrupt()
        if getattr(error, "sqlite_errorcode", 0) != sqlite3.SQLITE_INTERRUPT:
            return error
        if self._ticks > self._most:
            return Unusable("it is damaged: a look at it does not end")
        return KeyboardInterrupt()

    def bound_answers(self, size: int) -> None:
        """Bound what one statement may give. `size` is the file's, in bytes.

        In a file whose pages were not checked, a page can stand in a table millions of times over.
        """
        self.room = _ROOM + 2 * size

    def within_room(self, rows: list[Any], left: int) -> int:
        """Return how many of `left` bytes are left after some rows of a statement. Raises `Unusable` where none are."""
        left -= _ROW * len(rows)
        if not _NUMBERS.issuperset(map(type, chain.from_iterable(rows))):  # an answer may be each lick's number
            left -= sum(len(value) for row in rows for value in row if isinstance(value, (str, bytes)))
        if left < 0:
            raise Unusable("it is damaged: it gives more than it holds")
        return left

    def _tick(self) -> bool:
        self._ticks += 1
        return self._ticks > self._most


class _Cursor(sqlite3.Cursor):
    connection: GuardedConnection

    def execute(self, *arguments: Any) -> _Cursor:
        self.connection.begun()
        try:
            return super().execute(*arguments)
        except (sqlite3.OperationalError, MemoryError) as e:
            raise self.connection.meant(e) from None

    def executemany(self, *arguments: Any) -> _Cursor:
        self.connection.begun()
        try:
            return super().executemany(*arguments)
        except (sqlite3.OperationalError, MemoryError) as e:
            raise self.connection.meant(e) from None

    def fetchone(self) -> Any:
        try:
            return super().fetchone()
        except (sqlite3.OperationalError, MemoryError) as e:
            raise self.connection.meant(e) from None

    def fetchall(self) -> list[Any]:
        try:
            return super().fetchall() if self.connection.room is None else list(self)
        except (sqlite3.OperationalError, MemoryError) as e:
            raise self.connection.meant(e) from None

    def __iter__(self) -> Any:
        left = self.connection.room
        try:
            if left is None:
                yield from iter(super().__next__, None)
                return
            while rows := super().fetchmany(_AT_ONCE):
                left = self.connection.within_room(rows, left)
                yield from rows
        except (sqlite3.OperationalError, MemoryError) as e:
            raise self.connection.meant(e) from None


def inspect_database(path: str, write: bool) -> int | None:
    """Return the size of the file at `path` in bytes, None where there is none. Raises `Unusable` for what SQLite must not open, and OSError."""
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        status = None
    for rest in BESIDE:
        _look_beside(path + rest, rest, status.st_size if status is not None else 0)
    if status is None:
        return None
    found = file_kind(status.st_mode)
    if found != "file":
        raise Unusable(f"a {found} stands in its place")
    if status.st_size > LARGEST:
        raise Unusable(f"it is larger than any of ours ({status.st_size:,} bytes)")
    if write and status.st_nlink > 1:
        raise Unusable("it is one file with another, by a hard link")
    handle = open_ordinary(path)
    try:
        head = os.read(handle, 20)
    finally:
        os.close(handle)
    if head and (head[:16] != b"SQLite format 3\0" or head[18:20] != b"\1\1"):  # ours keep no write-ahead log
        raise Unusable("it is damaged, or no manifest")
    return status.st_size


def _look_beside(path: str, rest: str, size: int) -> None:
    """Check that what stands beside the file of `size` bytes is nothing, or a journal of its own. Raises `Unusable`.

    SQLite brings the file to the size that its journal tells. We never make a file smaller, so an honest journal tells no larger one.
    """
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return
    found = file_kind(status.st_mode)
    if found != "file" or rest != "-journal" or status.st_nlink > 1:
        raise Unusable(f"{os.path.basename(path)} is not ours")
    handle = open_ordinary(path)
    try:
        head = os.read(handle, _HEAD.size)
        if len(head) == _HEAD.size:
            magic, _, _, pages, _, page = _HEAD.unpack(head)
            if magic == _MAGIC and pages * page > size:
                raise Unusable(f"{os.path.basename(path)} belongs to a larger file")
        if status.st_size >= 2 * len(_MAGIC):
            os.lseek(handle, -len(_MAGIC), os.SEEK_END)
            if os.read(handle, len(_MAGIC)) == _MAGIC:
                raise Unusable(f"{os.path.basename(path)} names another file")
    finally:
        os.close(handle)


def open_guarded(path: str | None, mode: str, size: int = 0) -> GuardedConnection:
    """Return a connection to the file at `path`, in which `inspect_database` has found nothing wrong; without a path to tables in memory.

    `mode` is SQLite's: `ro`, `rw`, `rwc`.
    """
    place = ":memory:" if path is None else f"file:{_quoted(path)}?mode={mode}"
    db = sqlite3.connect(
        place,
        uri=True,
        isolation_level=None,
        timeout=_WAIT[mode != "ro"],
        cached_statements=64,
        factory=GuardedConnection,
    )
    try:
        db.guard(size)
    except BaseException:
        db.close()
        raise
    return db


def check_pages(db: sqlite3.Connection, indexes: bool = False) -> None:
    """Check that every page is in its place; with `indexes` also that each index agrees with its table, which takes several times as long.

    After that no page is met twice, so no walk through a table is endless; before it such a walk ends at the limits of `guard`.
    Raises `Unusable`, and what SQLite raises.
    """
    ((said,),) = db.execute(f"PRAGMA {'integrity' if indexes else 'quick'}_check(1)").fetchall()
    if said != "ok":
        raise Unusable(DAMAGED, doubtful=True)


@contextmanager
def stored_values() -> Iterator[None]:
    """Turn errors that only values can cause which no program of ours has entered into `Unusable`."""
    try:
        yield
    except (TypeError, ValueError, LookupError, ArithmeticError, AttributeError, RecursionError, struct.error) as e:
        raise Unusable(FOREIGN_VALUES) from e


@contextmanager
def unless_readonly() -> Iterator[None]:
    """Leave out an entry that SQLite refuses for want of a permission: one without which a record is still right."""
    try:
        yield
    except sqlite3.OperationalError as e:
        if "readonly" not in str(e):
            raise


def is_locked(error: BaseException) -> bool:
    """Return True if another program did not unlock the file in time."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def is_damage(error: BaseException) -> bool:
    """Return True if the file's contents are wrong, and not the disk or a permission."""
    if isinstance(error, (Unusable, UnicodeError)):  # where bytes of a damaged file get into SQLite's own message
        return True
    # Without a code it is Python's: a text that is no text.
    return isinstance(error, sqlite3.DatabaseError) and (
        getattr(error, "sqlite_errorcode", sqlite3.SQLITE_CORRUPT) & 0xFF in _wrong()
    )


def is_doubtful(error: BaseException) -> bool:
    """Return True if a second look is worth while: SQLite calls a file malformed when the disk refuses to read a page of it."""
    if isinstance(error, Unusable):
        return error.doubtful
    return getattr(error, "sqlite_errorcode", 0) == sqlite3.SQLITE_CORRUPT


@cache
def _wrong() -> frozenset[int]:
    names = ("ERROR", "CORRUPT", "NOTADB", "CONSTRAINT", "MISMATCH", "TOOBIG", "FORMAT", "SCHEMA", "RANGE")
    return frozenset(getattr(sqlite3, f"SQLITE_{name}") for name in names)


def _quoted(path: str) -> str:
    """Return a path for SQLite's `file:` form, whatever bytes it holds."""
    plain = b"/-_.~0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return "".join(chr(b) if b in plain else f"%{b:02X}" for b in os.fsencode(os.path.abspath(path)))
