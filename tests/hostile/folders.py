"""Folders that somebody sends: a library with a good build in it, things of the user's beside it, and tricks played on the output folder.

Everything is made by code in a throw-away folder; device nodes are the test's own. `seen` is what must not change.
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import os
import shutil
import socket
import sqlite3
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import cache
from pathlib import Path

from building import lick
from lickwright.cli import main

COMMANDS: dict[str, list[str]] = {
    "make": ["make", "lib", "--out", "out", "--jobs", "1"],
    "prune": ["make", "lib", "--out", "out", "--prune", "--jobs", "1"],
    "dry": ["make", "lib", "--out", "out", "--prune", "--dry-run"],
    "merge into": ["make", "shard", "--merge", "--out", "out"],
    "merge from": ["make", "out", "--merge", "--out", "whole"],
    "move": ["move", "lib/n0001.lick", "--octave", "up", "--out", "out/"],
    "move below": ["move", "lib/n0001.lick", "--octave", "up", "--out", "out/n0001/"],
    "find": ["find", "out", "tempo>1"],
    "like": ["find", "out", "--like", "lib/n0001.lick"],
    "json": ["find", "out", "--format", "json"],
    "library": ["library", "out"],
    "duplicates": ["library", "out", "--duplicates"],
}


def home(here: Path) -> Path:
    """A library `lib`, its output folder `out`, an output folder `shard`, and `docs`, which belongs to the user. Gives `here`."""
    shutil.copytree(_first_home(), here, symlinks=True)
    os.chdir(here)
    return here


@cache
def _first_home() -> Path:
    """The folder that every `home` is a copy of, which this process builds once."""
    folder = Path(tempfile.mkdtemp(prefix="lickwright-home-"))
    atexit.register(_remove, folder, os.getpid())
    (folder / "lib").mkdir()
    for n in range(3):
        (folder / f"lib/n{n:04}.lick").write_text(lick(n))
    with contextlib.chdir(folder):
        assert main(["make", "lib", "--out", "out", "--jobs", "1"]) == 0
    shutil.copytree(folder / "out", folder / "shard")
    docs = folder / "docs"
    (docs / "deep").mkdir(parents=True)
    for name in ("letter.txt", "empty", ".lw-0123456789abcdef.tmp", "deep/photo", "number-1.mid", "12-abcdef01"):
        (docs / name).write_bytes(b"" if name == "empty" else f"my own {name}\n".encode() * 3)
    (docs / "secret").write_bytes(b"not for others")
    (docs / "secret").chmod(0o600)
    sqlite3.connect(docs / "accounts.db").close()
    change(folder)
    return folder


def _remove(folder: Path, owner: int) -> None:
    """Remove the folder, but not in a process that was forked and ends first: a TemporaryDirectory goes with the last reference to it, there too."""
    if os.getpid() == owner:
        shutil.rmtree(folder)


def change(here: Path) -> None:
    """Gives every kind of command something to do: one lick changed, one gone, one new."""
    (here / "lib/n0001.lick").write_text(lick(1).replace("tempo ", "tempo 1"))
    (here / "lib/n0002.lick").unlink()
    (here / "lib/n0003.lick").write_text(lick(3))


def seen(here: Path, *without: str) -> dict[str, tuple[object, ...]]:
    """Everything below `here`, but for what lies below the folders `without`: modes, inodes, times of change, bytes, where links lead."""
    found: dict[str, tuple[object, ...]] = {}
    for folder, folders, files in os.walk(here):
        if Path(folder) == here:
            folders[:] = [name for name in folders if name not in without]
        for name in (*folders, *files):
            path = os.path.join(folder, name)
            status = os.lstat(path)
            what: object = None
            if stat.S_ISLNK(status.st_mode):
                what = os.readlink(path)
            elif stat.S_ISREG(status.st_mode) and status.st_size < 1 << 30:
                what = Path(path).read_bytes()
            if name not in without:
                found[path] = (status.st_mode, status.st_ino, status.st_mtime_ns, status.st_size, what)
    return found


def run(command: str) -> int:
    """One of `COMMANDS`, from the folder of `home`: its exit code."""
    return main(COMMANDS[command])


# --- what may stand in a place ---------------------------------------------------------------------------------------


def _away(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    path.parent.mkdir(parents=True, exist_ok=True)


def _link(target: str) -> Callable[[Path, Path], None]:
    def put(path: Path, docs: Path) -> None:
        path.symlink_to(docs / target)

    return put


def _circle(path: Path, docs: Path) -> None:
    path.symlink_to(path.name)


def _folder(path: Path, docs: Path) -> None:
    path.mkdir()
    (path / "letter.txt").write_text("mine too")


def _full(path: Path, docs: Path) -> None:
    path.mkdir()
    for name in ("12-abcdef01", ".lw-0123456789abcdef.tmp", "n0000"):
        (path / name).symlink_to(docs / "letter.txt" if name != "n0000" else docs)


def _pipe(path: Path, docs: Path) -> None:
    os.mkfifo(path)


def _socket(path: Path, docs: Path) -> None:
    here = os.getcwd()
    os.chdir(path.parent)  # a socket's name may not be long
    try:
        with socket.socket(socket.AF_UNIX) as one:
            one.bind(path.name)
    finally:
        os.chdir(here)


def _device(path: Path, docs: Path) -> None:
    os.mknod(path, stat.S_IFCHR | 0o666, os.makedev(1, 3))  # a null device of our own


def _hard(path: Path, docs: Path) -> None:
    os.link(docs / "letter.txt", path)


def _hard_empty(path: Path, docs: Path) -> None:
    os.link(docs / "empty", path)


def _sparse(path: Path, docs: Path) -> None:
    with open(path, "wb") as file:
        file.truncate(1 << 40)


KINDS: dict[str, Callable[[Path, Path], None]] = {
    "link to a folder": _link("."),
    "link to a file": _link("letter.txt"),
    "link to an empty file": _link("empty"),
    "link to nothing": _link("not-there"),
    "link to a database": _link("accounts.db"),
    "link in a circle": _circle,
    "folder": _folder,
    "folder of links": _full,
    "pipe": _pipe,
    "socket": _socket,
    "device": _device,
    "hard link": _hard,
    "hard link to an empty file": _hard_empty,
    "sparse file": _sparse,
}
PLACES = (
    ".lickwright.journal",
    ".lickwright.journal/12-abcdef01",
    ".lickwright.lock",
    ".lickwright.db",
    ".lickwright.db-journal",
    ".lickwright.db-wal",
    ".lickwright.db-shm",
    ".lickwright.db.old",
    ".lw-0123456789abcdef.tmp",
    "n0001",
    "n0001/.lw-0123456789abcdef.tmp",
    "n0001/number-1.mid",
    "n0002",
    "n0002/number-2.mid",
    "n0003",
)


def stand(here: Path, place: str, kind: str) -> None:
    """Puts a thing of a kind into the place of one of ours in `out`. Raises OSError where this system or user cannot."""
    path = here / "out" / place
    _away(path)
    KINDS[kind](path, here / "docs")
    if place == ".lickwright.db.old":  # something that is to be set aside
        (here / "out/.lickwright.db").write_bytes(b"a shopping list\n" * 100)


# --- what may stand in a record --------------------------------------------------------------------------------------

LEADING_OUT = (
    "../docs", "..", "n0001/../../docs", "/", "./../docs", "n0001/..", "docs\\letter.txt", "C:docs", "C:/docs", "//docs", "n0001//..",
    "", " ", "n0001\n", "n0001/", "/n0001", ".", "./n0001", ".hidden", "~", "n\u200bb", "\u2025", "-" + "/.." * 40, "a" * 5000, "a/" * 5000, "n0001\0",
)  # fmt: skip


def rewrite(folder: Path, *statements: tuple[str, tuple[object, ...]]) -> None:
    """Executes statements in the manifest of a folder."""
    with closing(sqlite3.connect(folder / ".lickwright.db", isolation_level=None, timeout=0)) as db:
        db.execute("PRAGMA writable_schema = ON")
        for statement, values in statements:
            try:
                db.execute(statement, values)
            except sqlite3.OperationalError as e:
                if "locked" not in str(e):
                    raise
                gc.collect()  # a command that failed keeps its last look at the file until then, and with it a lock
                db.execute(statement, values)


def columns(folder: Path) -> Iterator[tuple[str, str]]:
    """Every table and column of the manifest of a folder, those of the full-text search left out."""
    db = sqlite3.connect(folder / ".lickwright.db")
    for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall():
        if not table.startswith(("lick_text", "phrase_grams")):
            for row in db.execute(f"PRAGMA table_info({table})").fetchall():
                yield table, row[1]
    db.close()
