"""Write a single file that a user named for an output: `make --report`, `box --svg`, `move --out`.

In: its path, the bytes, and the paths that the command reads. Out: the file, whole or not at all, or the finding that
says why nothing was written. The rules, in this order:

- a link, a folder, a pipe, a socket or a disk at the path is refused, whatever the options;
- a character device, such as the null device, is written into and stays what it is;
- what the command reads, a `lickwright.toml` and Lickwright's own record are never replaced; nor is a `.lick` file,
  unless the output is licks itself;
- an ordinary file is replaced if Lickwright wrote it and nobody changed it since, which its seal shows, or with
  `--overwrite`.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from typing import NamedTuple

from lickwright.core.atomic_files import remove_stale_files, replace_file, write_all
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.digest import blake2b
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import NOT_OURS, UNWRITABLE
from lickwright.core.source import Span

_BLOCK = 1 << 20  # bytes read at once
_HASH = 16  # bytes of a seal's hash
_READ = "a file that the command reads"
_NEVER = ("lickwright.toml", ".lickwright.db", ".lickwright.lock")


class Seal(NamedTuple):
    """The end of a file that Lickwright wrote: a hash of everything before it, which any change of the file breaks."""

    before: bytes
    after: bytes

    def add_to(self, parts: Iterable[bytes]) -> Iterator[bytes]:
        """Yield the parts, and the seal after them."""
        hash = blake2b(digest_size=_HASH)
        for part in parts:
            hash.update(part)
            yield part
        yield self._end(hash.hexdigest())

    def matches_file(self, path: str) -> bool:
        """Return True if an ordinary file ends with its seal, unbroken. Raises OSError for one that cannot be read."""
        hash = blake2b(digest_size=_HASH)
        end = b""
        with open(os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)), "rb") as file:
            status = os.fstat(file.fileno())
            rest = status.st_size - len(self._end("0" * 2 * _HASH))
            if not stat.S_ISREG(status.st_mode) or rest < 0:
                return False
            file.seek(rest)  # first whether it ends as ours do: a file of another may be a terabyte
            if not file.read(_BLOCK).startswith(self.before):
                return False
            file.seek(0)
            while rest and (part := file.read(min(rest, _BLOCK))):
                hash.update(part)
                rest -= len(part)
            end = file.read(_BLOCK)
        return end == self._end(hash.hexdigest())

    def matches_bytes(self, data: bytes) -> bool:
        """Return True if the bytes of a whole file end with its seal, unbroken."""
        rest = len(data) - len(self._end("0" * 2 * _HASH))
        return rest >= 0 and data[rest:] == self._end(blake2b(data[:rest], digest_size=_HASH).hexdigest())

    def _end(self, hash: str) -> bytes:
        return self.before + hash.encode("ascii") + self.after


def find_obstacle(path: str, seal: Seal | None, overwrite: bool, sources: Sequence[str]) -> Diagnostic | None:
    """Return why nothing may be written at `path`; None if it may, as far as can be known before writing.

    `seal` is that of the output's kind, None for licks. `sources` are paths that the command reads. Raises OSError or
    ValueError for a path that the system does not accept.
    """
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return None
    kind = _KINDS.get(stat.S_IFMT(status.st_mode), "something that is no file")
    if stat.S_ISLNK(status.st_mode):
        return _refused(
            "this is a link: not followed and not replaced",
            "name the file it leads to, or - for standard output",
        )
    if kind:
        return _refused(f"{kind} is in the way", "name a file, or - for standard output")
    if stat.S_ISCHR(status.st_mode):
        return None
    if what := _protected(path, status, seal, sources):
        return _refused(f"this is {what}: never overwritten", "name another file")
    if overwrite or (seal is not None and seal.matches_file(path)):
        return None
    if seal is None:
        return _refused("the file already exists: not overwritten", "name another file, or say --overwrite")
    message = "another file is there, or it was changed since it was written: not overwritten"
    return _refused(message, "name another file, or say --overwrite")


def save_file(
    path: str, data: bytes | Iterable[bytes], seal: Seal | None, overwrite: bool, sources: Sequence[str]
) -> Diagnostic | None:
    """Write `data`, with the seal after it, at `path`, and return why nothing was written, else None.

    Raises KeyboardInterrupt as it comes; a device may have received a part by then.
    """
    parts = (data,) if isinstance(data, bytes) else data
    whole = parts if seal is None else seal.add_to(parts)

    def still_free() -> Iterator[bytes]:
        """Yield the whole, and look at the path again at its end, which may be long after."""
        yield from whole
        if found := find_obstacle(path, seal, overwrite, sources):
            raise _InTheWay(found)

    try:
        if seal is None and isinstance(data, bytes) and _stands(path, data):
            return None
        found = find_obstacle(path, seal, overwrite, sources)
        if found is not None:
            return found
        if _is_device(path):
            _into(path, whole)
        else:
            remove_stale_files(os.path.dirname(path))
            replace_file(path, still_free())
    except _InTheWay as e:
        return e.found
    except (OSError, ValueError) as e:
        return UNWRITABLE.at(Span(0, 0), f"nothing was written: {error_reason(e)}"[:180], "name another file")
    return None


class _InTheWay(Exception):
    def __init__(self, found: Diagnostic) -> None:
        super().__init__()
        self.found = found


_KINDS = {
    stat.S_IFREG: "",
    stat.S_IFCHR: "",
    stat.S_IFLNK: "a link",
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFBLK: "a disk",
}


def _refused(message: str, hint: str) -> Diagnostic:
    return NOT_OURS.at(Span(0, 0), message, hint)


def _protected(path: str, status: os.stat_result, seal: Seal | None, sources: Sequence[str]) -> str:
    """Return what a file is that nothing may replace; "" for any other."""
    name = os.path.basename(path).lower()
    if _is_source(status, sources):
        return _READ
    if name in _NEVER:
        return "a file that Lickwright itself needs"
    return "a lick" if seal is not None and name.endswith(".lick") else ""


def source_conflict(path: str, sources: Sequence[str]) -> Diagnostic | None:
    """Return the refusal to write at `path` if it is one of the sources, under whatever name; else None."""
    with suppress(OSError, ValueError):
        if _is_source(os.lstat(path), sources):
            return _refused(f"this is {_READ}: never overwritten", "name another place")
    return None


def _is_source(status: os.stat_result, sources: Sequence[str]) -> bool:
    for source in sources:
        with suppress(OSError, ValueError):  # standard input, or a source that is not there
            if os.path.samestat(status, os.stat(source)):
                return True
    return False


def _stands(path: str, data: bytes) -> bool:
    """Return True if an ordinary file at `path` holds exactly these bytes already."""
    try:
        status = os.lstat(path)
        if not stat.S_ISREG(status.st_mode) or status.st_size != len(data):
            return False
        with open(path, "rb") as file:
            return file.read(len(data) + 1) == data
    except OSError:
        return False


def _is_device(path: str) -> bool:
    try:
        return stat.S_ISCHR(os.lstat(path).st_mode)
    except FileNotFoundError:
        return False


def _into(path: str, parts: Iterable[bytes]) -> None:
    """Write into a device, which is checked again once it is open. Raises OSError."""
    safely = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
    handle = os.open(path, os.O_WRONLY | safely)
    try:
        if not stat.S_ISCHR(os.fstat(handle).st_mode):
            raise OSError("another file took the device's place")
        os.set_blocking(handle, True)
        write_all(handle, parts)
    finally:
        os.close(handle)
