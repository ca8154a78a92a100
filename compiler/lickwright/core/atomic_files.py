"""Write files whole or not at all.

In: a path and its bytes. Out: the file, or the old one. `replace_file` writes a file atomically, and `remove_stale_files` removes what a
killed run left; every other writer of whole files uses the same parts (`write_new`, `move_file`, `discard_temporary`). Which files may be
replaced is decided in `store/output_writer.py` for an output folder, in `destination.py` for a file that a user named.
"""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Callable, Iterable
from contextlib import suppress

_TEMPORARY = ".lw-"  # prefix of files that are not yet at their final path; they end in `.tmp`
_NAME = re.compile(r"\.lw-[0-9a-f]{16}\.tmp\Z")
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
_SAFELY = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
_TRIES = 9  # for a system call that is interrupted again and again


def replace_file(path: str, data: bytes | Iterable[bytes], like: os.stat_result | None = None) -> None:
    """Put `data`, as a whole or in pieces, at `path` atomically: a reader sees the old file or the whole new one.

    `like` is the state of a user's own file that is replaced: its permissions and owner are kept, and the data is synced
    to the disk before the move, since it could not be made again. Raises OSError, or whatever an iterator `data` raises,
    when nothing was written. Raises KeyboardInterrupt as it comes; after the move, the new file stays.
    """
    temporary, lock = "", -1
    try:
        while True:
            temporary = temporary_beside(path)
            handle = os.open(temporary, _NEW, 0o666)
            lock = _locked(handle)
            if os.fstat(handle).st_nlink:  # else another run removed it as stale before it was locked
                break
            os.close(handle)
            _unlock(lock)
        try:
            write_all(handle, data)
            if like is not None:
                _made_like(handle, temporary, like)
                os.fsync(handle)
        finally:
            os.close(handle)  # a network disk says only here that it is full; the lock stays with the other handle
        move_file(temporary, path)
        if like is not None:
            _sync_folder(os.path.dirname(path))
    except BaseException:
        discard_temporary(temporary)
        raise
    finally:
        _unlock(lock)


def make_folder(path: str) -> None:
    """Make a folder, and those above it, if it is not there. Raises OSError."""
    try:
        os.makedirs(path, exist_ok=True)
    except RecursionError:  # it has thousands of parts
        raise OSError(errno.ENAMETOOLONG, os.strerror(errno.ENAMETOOLONG)) from None


def write_new(path: str, data: bytes | Iterable[bytes]) -> os.stat_result:
    """Write a file that must not be there yet, and return its state. Raises OSError; part of the file may be left then."""
    handle = os.open(path, _NEW, 0o666)
    try:
        write_all(handle, data)
        return os.fstat(handle)
    finally:
        os.close(handle)


def temporary_name() -> str:
    """Return a new name for a file that is not yet at its final path."""
    return f"{_TEMPORARY}{os.urandom(8).hex()}.tmp"


def temporary_beside(path: str) -> str:
    """Return a new temporary path in the folder of `path`."""
    return os.path.join(os.path.dirname(path), temporary_name())


def is_temporary(name: str) -> bool:
    """Return True if a name is that of a temporary file."""
    return _NAME.match(name) is not None


def write_all(handle: int, data: bytes | Iterable[bytes]) -> None:
    """Write all of `data`, as a whole or in pieces, however little the system accepts at once. Raises OSError."""
    for piece in (data,) if isinstance(data, bytes) else data:
        rest = memoryview(piece)
        while rest:
            written = os.write(handle, rest)
            if not written:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            rest = rest[written:]


def discard_temporary(temporary: str) -> None:
    """Remove a temporary file, or a temporary folder with its files, if it is still there.

    Never raises OSError, which would hide the error that is being handled.
    """
    with suppress(OSError):
        if os.path.isdir(temporary) and not os.path.islink(temporary):
            for name in os.listdir(temporary):
                _remove(os.unlink, os.path.join(temporary, name))
            _remove(os.rmdir, temporary)
        else:
            _remove(os.unlink, temporary)


def _remove(remove: Callable[[str], None], path: str) -> None:
    """Call `os.unlink` or `os.rmdir`, again after a signal interrupted it."""
    for _ in range(_TRIES):
        try:
            return remove(path)
        except InterruptedError:
            continue
    return None


def move_file(temporary: str, path: str) -> None:
    """Call `os.replace`, again after a signal interrupted it, which Python does not do for this call. Raises OSError."""
    for _ in range(_TRIES):
        try:
            return os.replace(temporary, path)
        except InterruptedError:
            if not os.path.lexists(temporary):
                return None
    return os.replace(temporary, path)


def _made_like(handle: int, path: str, like: os.stat_result) -> None:
    now = os.fstat(handle)
    if (now.st_uid, now.st_gid) != (like.st_uid, like.st_gid) and hasattr(os, "fchown"):
        with suppress(PermissionError):  # only root gives files away
            os.fchown(handle, like.st_uid, like.st_gid)
    os.chmod(path, stat.S_IMODE(like.st_mode))


def _sync_folder(folder: str) -> None:
    """Sync a folder, so that a move in it survives a power cut, where the system can do that."""
    with suppress(OSError):
        handle = os.open(folder or ".", os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unlock(lock: int) -> None:
    if lock >= 0:
        with suppress(OSError):
            os.close(lock)


# --- what killed runs left --------------------------------------------------------------------------------------------


def remove_stale_files(folder: str, folders: bool = False) -> None:
    """Remove the temporary files in `folder` of runs that were killed.

    They are ordinary files with a temporary name that no running command holds locked; anything else stays, and no link
    is followed. `folders`: temporary folders too, which are not locked; only for a caller that knows that no other run
    writes there.
    """
    try:
        names = os.listdir(folder or ".")
    except OSError:
        return
    for name in names:
        if is_temporary(name):
            path = os.path.join(folder, name)
            with suppress(OSError):
                mode = os.lstat(path).st_mode
                if stat.S_ISREG(mode) and _abandoned(path):
                    _remove(os.unlink, path)
                elif folders and stat.S_ISDIR(mode):
                    discard_temporary(path)


try:
    import fcntl
except ImportError:  # Windows, which refuses to remove a file that is open: no lock is needed

    def _locked(handle: int) -> int:
        return -1

    def _abandoned(path: str) -> bool:
        return True

else:

    def _locked(handle: int) -> int:
        """Lock a temporary file as long as the returned handle, another one of the same file, stays open."""
        other = -1
        with suppress(OSError):  # a disk without locks, on which no stale file is ever removed
            other = os.dup(handle)
            fcntl.flock(other, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return other

    def _abandoned(path: str) -> bool:
        """Return True if no process holds the lock of a temporary file. Raises OSError where that cannot be told."""
        handle = os.open(path, os.O_RDWR | _SAFELY)
        try:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                return False
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        finally:
            os.close(handle)
