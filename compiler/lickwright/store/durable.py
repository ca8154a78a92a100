"""Syncs outputs to the disk before the manifest says that they are made, so that they outlast a power cut.

In: the files that were written since the last time. Out: nothing; when `UnsyncedFiles.sync` returns, they and their folders are on the disk. Few files
are synced one by one. Many would wait for the disk one after another (6,000 take five seconds where one call for all takes a tenth), so then the
file system that they lie in is synced as a whole, where the system can do that.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable

from lickwright.store.ownership import OutputPaths, UnsafePath, open_ordinary

_FEW = 64  # files that are synced one by one: other programs' data does not make one lick wait
_CANNOT = (errno.EINVAL, errno.ENOTSUP, errno.ENOSYS, errno.EBADF)  # a file system that knows no syncing


class UnsyncedFiles:
    """The files that were written into one output folder and are not yet known to be on the disk."""

    def __init__(self, out: str) -> None:
        self._out = out
        self._files: list[tuple[str, str]] = []  # folder and name
        self._many = False

    def note(self, folder: str, names: Iterable[str]) -> None:
        """Note files that were written just now."""
        self._many = self._many or len(self._files) > _FEW
        if not self._many or not _whole():
            self._files += [(folder, name) for name in names]

    def sync(self) -> None:
        """Wait until all noted files are on the disk. Raises OSError where the disk says that they are not."""
        files, many = self._files, (self._many or len(self._files) > _FEW) and _whole()
        self._files, self._many = [], False
        if many:
            _sync_all(self._out)
            return
        inside = OutputPaths(self._out)
        folders: dict[str, None] = {}
        for folder, name in files:
            try:
                _sync(open_ordinary(inside.file(folder, name)))
            except (FileNotFoundError, UnsafePath):  # it was taken away since
                continue
            while folder not in folders:
                folders[folder] = None
                folder = folder.rpartition("/")[0] or "."
        if os.name == "posix":  # elsewhere a folder cannot be opened
            for folder in folders:
                _sync(os.open(os.path.join(self._out, folder), os.O_RDONLY))


def _sync(handle: int) -> None:
    try:
        os.fsync(handle)
    except OSError as e:
        if e.errno not in _CANNOT:
            raise
    finally:
        os.close(handle)


def _whole() -> bool:
    """Return True if this system syncs a file system as a whole."""
    return hasattr(os, "sync")


def _sync_all(folder: str) -> None:
    """Sync the file system of `folder`; where Python's own way is the only one, all file systems. Raises OSError."""
    import ctypes

    call = getattr(ctypes.CDLL(None, use_errno=True), "syncfs", None)
    if call is None:
        os.sync()
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        if call(handle) != 0:
            error = ctypes.get_errno()
            if error not in _CANNOT:
                raise OSError(error, os.strerror(error))
            os.sync()
    finally:
        os.close(handle)
