"""The outputs of one source into their folder: each whole or not at all, and never over a file that is not ours.

In: names and bytes, and what is on record of the folder. Out: what stands there now, and findings for what was not written. The rule: a
file in the way is replaced only if its bytes are what Lickwright itself wrote there, which the manifest tells by hash. So a tab that a
teacher mended by hand is safe, and no lost manifest costs a file. A file with the very bytes that were to be written counts as ours.
"""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Callable, Collection, Iterator, Sequence
from hashlib import blake2b
from typing import NamedTuple, TypeAlias

from lickwright.core.files import NOT_OURS, UNWRITABLE, discard_temporary, error_reason, is_temporary, replace_file
from lickwright.core.source import Span
from lickwright.export import Export, Length
from lickwright.store.atomic_dir import write_folder
from lickwright.store.journal import Journal
from lickwright.store.manifest import Made
from lickwright.store.ownership import (
    LED_OUT,
    TOO_DEEP,
    Inside,
    UnsafePath,
    file_kind,
    open_ours,
    plain_folder,
    plain_name,
)
from lickwright.store.recorded_sounds import Sounds, taken_over
from lickwright.store.spool import PIECE, Large, Spool
from lickwright.store.types import Trouble, WorkItem

LARGEST = 1 << 29  # bytes; nothing larger was written by us, and it is not read to find out
_OLD = 600  # seconds after which a temporary file is nobody's; a younger one may be another command's at this moment


class Output(NamedTuple):
    """One file to be."""

    name: str  # in its folder
    data: bytes | Large
    lick: str = ""  # the slug of its lick
    format: str = ""
    sound: bytes = b""  # the key of a recording's sound


class Placed(NamedTuple):
    """What became of the outputs of one source."""

    made: tuple[Made, ...]  # those that stand in their place
    written: int  # how many of them were not there before
    troubles: tuple[Trouble, ...]
    size: int = 0  # bytes of those that were written


Begins: TypeAlias = Callable[[str, Length], None]  # the output's name, and how much it is going to be


def _begins(name: str, length: Length) -> None:
    """Nobody wants to know."""


class OutputWriter:
    """An output folder as the outputs of many sources are put into it by one process."""

    def __init__(self, out: str, overwrite: bool) -> None:
        self.out = out
        self.journal = Journal(out)
        self.begins: Begins = _begins  # told before an output that takes long
        self.sounds: Sounds = {}  # that stand here already
        self._overwrite = overwrite  # replace whatever file stands in the way
        self._inside = Inside(out)

    def content(self, name: str, emission: Export, spool: Spool) -> bytes | Large | None:
        """What the output of this name holds, None where there is none. Raises OSError where there is no room for it."""
        if not callable(emission.content):
            return emission.content
        if (kept := taken_over(emission, self.sounds, self._inside, spool)) is not None:
            return kept
        if emission.length is not None:
            self.begins(name, emission.length)
        return spool.take(emission.content)

    def put(self, item: WorkItem, outputs: Sequence[Output]) -> Placed:
        """Writes into the item's folder what is not there already; the item says what there is ours."""
        target, known = item.target, {row.name: row for row in item.known}
        folder = os.path.join(self.out, target)
        named = [output for output in outputs if not plain_name(output.name)]
        if named or not plain_folder(target):
            why = TOO_DEEP if target.count("/") >= 64 else LED_OUT
            return Placed((), 0, (refused(os.path.join(folder, *(one.name for one in named[:1])), why),))
        if item.taken and not self._overwrite:
            message = f"the folder holds the outputs of {item.taken}"
            hint = "name another folder with --out, or say --overwrite"
            return Placed((), 0, (Trouble(folder, NOT_OURS.at(Span(0, 0), message, hint)),))
        try:
            if self._new(folder, target) and outputs:
                placed = self._write_new(target, folder, outputs)
                if placed is not None:
                    return placed
            self._prepare(folder)
        except UnsafePath as e:
            return Placed((), 0, (refused(folder, str(e)),))
        except OSError as e:
            return Placed((), 0, (unwritable(folder, e),))
        made: list[Made] = []
        troubles: list[Trouble] = []
        todo: list[tuple[Output, bytes]] = []
        for output in outputs:
            hash = content_digest(output.data)
            path = os.path.join(folder, output.name)
            row = known.get(output.name)
            try:
                sizes = () if item.claimed else (len(output.data), row.size if row else -1)
                standing = _standing(path, row, sizes)
            except UnsafePath as e:
                troubles.append(Trouble(path, NOT_OURS.at(Span(0, 0), str(e), "move it away")))
                continue
            except OSError as e:  # what stands there, if anything, cannot be looked at
                troubles.append(unwritable(path, e))
                continue
            if standing is None:
                todo.append((output, hash))
            elif standing.hash == hash:
                made.append(standing._replace(lick=output.lick, format=output.format))
            elif self._overwrite or _ours(standing, row, item.claimed):
                todo.append((output, hash))
            else:
                troubles.append(in_the_way(path))
        return self._write(target, folder, todo, made, troubles)

    def _write(
        self, target: str, folder: str, todo: list[tuple[Output, bytes]], made: list[Made], troubles: list[Trouble]
    ) -> Placed:
        written = size = 0
        if todo:
            try:
                self.journal.note(target, [(output.name, hash) for output, hash in todo])
            except OSError as e:
                return Placed(tuple(made), 0, (*troubles, unwritable(folder, e)))
        for output, hash in todo:
            path = os.path.join(folder, output.name)
            try:
                replace_file(path, output.data)
            except OSError as e:
                troubles.append(unwritable(path, e))
                continue
            written += 1
            size += len(output.data)
            try:
                made.append(_made(output.name, output.lick, output.format, hash, os.lstat(path)))
            except OSError as e:  # it is not on record then: the next run knows it by its bytes
                message = f"the file was written, and cannot be looked at: {error_reason(e)}"
                troubles.append(Trouble(path, UNWRITABLE.at(Span(0, 0), message, "run the command again")))
        return Placed(tuple(made), written, tuple(troubles), size)

    def _new(self, folder: str, target: str) -> bool:
        """Whether the folder is not there yet. Sees that it lies inside the output folder."""
        above = os.path.dirname(target)
        self._inside.folder(above or ".")
        try:
            mode = os.lstat(folder).st_mode
        except FileNotFoundError:
            return True
        if stat.S_ISLNK(mode):
            raise UnsafePath("the folder is a link to another place")
        if not stat.S_ISDIR(mode):
            raise NotADirectoryError(20, "a file stands where the folder would go")
        return False

    def _prepare(self, folder: str) -> None:
        """Makes a folder ready to be written into."""
        os.makedirs(folder, exist_ok=True)
        _sweep(folder)

    def _write_new(self, target: str, folder: str, outputs: Sequence[Output]) -> Placed | None:
        """The whole folder at once; None where that does not work, whatever the reason."""
        hashes = [content_digest(output.data) for output in outputs]
        try:
            self.journal.note(target, [(output.name, hash) for output, hash in zip(outputs, hashes, strict=True)])
            states = write_folder(folder, [(output.name, output.data) for output in outputs])
        except OSError:
            return None
        made = tuple(
            _made(output.name, output.lick, output.format, hash, state)
            for output, hash, state in zip(outputs, hashes, states, strict=True)
        )
        return Placed(made, len(made), (), sum(row.size for row in made))


def content_digest(data: bytes | Large) -> bytes:
    """The hash by which sources and outputs are known: 128 bits of BLAKE2b."""
    return data.hash if isinstance(data, Large) else blake2b(data, digest_size=16).digest()


def digest_of(path: str) -> bytes:
    """The hash of an ordinary file. Raises what `pieces` raises."""
    return Large(lambda: read_pieces(path)).hash


def read_pieces(path: str) -> Iterator[bytes]:
    """The bytes of an ordinary file, a piece at a time and never through a link. Raises OSError, `UnsafePath` for what is no such file."""
    handle = open_ours(path)
    try:
        while part := os.read(handle, PIECE):
            yield part
    finally:
        os.close(handle)


def file_state(status: os.stat_result) -> tuple[int, int, int, int]:
    """Return what tells whether a file changed: its size, both times in nanoseconds and its inode, which no editor keeps all."""
    return status.st_size, status.st_mtime_ns, status.st_ctime_ns, inode_of(status)


def unaltered(made: Made, status: os.stat_result) -> bool:
    """Return whether a file is certainly as we left it."""
    return made[4:] == file_state(status)


def inode_of(status: os.stat_result) -> int:
    """The inode as SQLite can hold it."""
    return status.st_ino & (1 << 63) - 1


def recorded_file(path: str, row: Made) -> Made | None:
    """The file at `path` that `row` is on record of, None where there is none; its hash is empty where it is surely another.

    Raises OSError where it cannot be read, `UnsafePath` for what is no ordinary file.
    """
    try:
        status = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    if not stat.S_ISREG(status.st_mode):
        raise UnsafePath(f"a {file_kind(status.st_mode)} stands where the file would be")
    if unaltered(row, status):
        return row
    hash = digest_of(path) if status.st_size == row.size else b""
    return _made(os.path.basename(path), "", "", hash, status)


def _standing(path: str, row: Made | None, sizes: Collection[int]) -> Made | None:
    """The file at `path`, None where there is none; its hash is empty where it cannot be ours.

    `row` is what is on record of it. It is read only if its size is one of `sizes`, or if there are none.
    """
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(status.st_mode):
        raise UnsafePath(f"a {file_kind(status.st_mode)} stands where the file would go")
    if row is not None and unaltered(row, status):
        return row
    hash = b""
    if status.st_size <= LARGEST and (not sizes or status.st_size in sizes):
        try:
            hash = digest_of(path)
        except UnsafePath:  # it changed into something else just now
            raise
        except OSError:  # may not be read, so cannot be told to be ours
            pass
    return _made(os.path.basename(path), "", "", hash, status)


def _ours(standing: Made, row: Made | None, claimed: Sequence[tuple[str, bytes]]) -> bool:
    """Whether we wrote what stands there. A file on record that is empty is what a power cut leaves, and holds nothing of anybody's."""
    if row is not None and (standing.hash == row.hash or standing.size == 0):
        return True
    return (standing.name, standing.hash) in claimed


def _made(name: str, lick: str, format: str, hash: bytes, status: os.stat_result) -> Made:
    return Made(name, lick, format, hash, *file_state(status))


def _sweep(folder: str) -> None:
    """Takes away what commands that were killed left behind."""
    for name in os.listdir(folder):
        if is_temporary(name):
            path = os.path.join(folder, name)
            try:
                old = time.time() - os.lstat(path).st_mtime > _OLD
            except OSError:  # it was the other command's, and is gone
                continue
            if old:
                discard_temporary(path)


def refused(path: str, why: str) -> Trouble:
    """That nothing is put at `path`, whatever the options."""
    return Trouble(path, NOT_OURS.at(Span(0, 0), why, "name another folder with --out"))


def not_removed(path: str, error: Exception) -> Trouble:
    """That an output whose lick is gone could not be taken away."""
    return Trouble(
        path, UNWRITABLE.at(Span(0, 0), f"not removed: {error_reason(error)}"[:180], "it is tried again with --prune")
    )


def unwritable(path: str, error: Exception, place: str = "folder") -> Trouble:
    """That nothing could be written at `path`."""
    message = f"nothing was written: {error_reason(error)}"[:180]
    return Trouble(path, UNWRITABLE.at(Span(0, 0), message, f"name another {place} with --out"))


def in_the_way(path: str) -> Trouble:
    """That a file at `path` is not replaced."""
    message = "the file was changed since it was made, or is not ours: not overwritten"
    return Trouble(path, NOT_OURS.at(Span(0, 0), message, "move it away, or say --overwrite"))
