"""An output folder on this machine, with every guarantee: one writer at a time, whole files, a journal for killed builds, outputs that outlast a power cut.

In: folders and names as the manifest keeps them. Out: files below the output folder; never through a link, a pipe or a device that stands in the way.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from typing import BinaryIO

from lickwright.core.atomic_files import make_folder, move_file, remove_stale_files, replace_file
from lickwright.store import journal
from lickwright.store.atomic_dir import write_folder
from lickwright.store.journal import Journal
from lickwright.store.lock import Lock
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.ownership import LED_OUT, OutputPaths, UnsafePath, file_kind, open_ordinary, plain_name
from lickwright.store.storage import Data, FileState, FolderLook, Say

_INODE = (1 << 63) - 1  # as SQLite can hold it


class LocalStorage:
    """The `Storage` of a folder on this machine."""

    noun = "folder"
    is_shared = True
    limits = ""

    def __init__(self, out: str) -> None:
        self.out = out
        self._top = os.path.join(out, "")
        self._inside = OutputPaths(out)
        self._above = "."  # the folder that was last seen to lie inside
        self._may: set[str] = set()  # folders that `check_writable` has found writable

    def shown(self, folder: str, name: str = "") -> str:
        """Return the path of a stored folder or file as the user would write it."""
        return os.path.join(self.out, folder, name) if name else os.path.join(self.out, folder)

    # --- files

    def state(self, folder: str, name: str) -> FileState | None:
        """Return the state of what stands at a path, None for nothing. Raises OSError, `UnsafePath` for a path that leads out."""
        try:
            return _state(os.lstat(self._inside.file(folder, name)))
        except (FileNotFoundError, NotADirectoryError):
            return None

    def look(self, folder: str, names: Sequence[str]) -> FolderLook:
        """Return the states of a folder and of some files in it. Raises OSError."""
        above = folder.rpartition("/")[0]
        if above != self._above:
            self._inside.folder(above or ".")
            self._above = above
        path = self._top + folder
        state = _folder_state(os.lstat(path))
        at = f"{path}/"
        found = [os.lstat(at + name) for name in names]
        return FolderLook(state, [file_state(one) if stat.S_ISREG(one.st_mode) else None for one in found])

    def folder_states(self, folders: Sequence[str]) -> Iterator[tuple[int, ...]]:
        """Yield mtime, ctime and inode of folders. Raises OSError, `UnsafePath` for a name that is none of ours."""
        for above, some in groupby(folders, lambda folder: folder.rpartition("/")[0]):
            names = [folder[len(above) + 1 if above else 0 :] for folder in some]
            if not all(map(plain_name, names)):
                raise UnsafePath(LED_OUT)
            at = os.path.join(self._inside.folder(above or "."), "")
            for name in names:
                yield _folder_state(os.lstat(at + name))

    def open(self, folder: str, name: str) -> BinaryIO:
        """Open a stored file for reading. Raises OSError, `UnsafePath` for anything but an ordinary file."""
        return os.fdopen(open_ordinary(self._inside.file(folder, name)), "rb")

    def write(self, folder: str, name: str, data: Data) -> None:
        """Write a file in one move. Raises OSError when nothing was written."""
        replace_file(self._inside.file(folder, name), data)

    def is_new(self, folder: str) -> bool:
        """Return True if `folder` is not there. Raises OSError, `UnsafePath` where it or a folder above is a link."""
        self._inside.folder(os.path.dirname(folder) or ".")
        try:
            mode = os.lstat(self.shown(folder)).st_mode
        except FileNotFoundError:
            return True
        if stat.S_ISLNK(mode):
            raise UnsafePath("the folder is a link to another place")
        if not stat.S_ISDIR(mode):
            raise NotADirectoryError(20, "a file stands where the folder would go")
        return False

    def write_folder(self, folder: str, files: Sequence[tuple[str, Data]]) -> list[FileState]:
        """Write a folder that is not there in one move, and return the states of its files. Raises OSError."""
        return [_state(status) for status in write_folder(self.shown(folder), files)]

    def prepare(self, folder: str) -> None:
        """Make a folder, and remove what killed commands left in it. Raises OSError."""
        path = self.shown(folder)
        os.makedirs(path, exist_ok=True)
        remove_stale_files(path)

    def remove(self, folder: str, name: str) -> None:
        """Remove a file. Raises OSError."""
        os.unlink(self._inside.file(folder, name))

    def remove_empty(self, folder: str) -> None:
        """Remove a folder if it is empty, and those above it."""
        while folder and folder != ".":
            try:
                os.rmdir(self.shown(folder))
            except OSError:
                return
            folder = os.path.dirname(folder)

    def move(self, at: tuple[str, str], to: tuple[str, str]) -> bool:
        """Move a file; return False where something stands at the new path. Raises OSError."""
        path, there = self._inside.file(*at), self._inside.file(*to)
        if os.path.lexists(there):
            return False
        make_folder(os.path.dirname(there))
        move_file(path, there)
        return True

    def refresh(self) -> None:
        """Forget which folders were seen to lie inside the output folder."""
        self._inside = OutputPaths(self.out)
        self._above = "."

    def check_writable(self, folder: str) -> None:
        """Raise OSError if `folder` could not be made or written into."""
        path = self.shown(folder) if folder else self.out
        here = path
        while here not in self._may:
            if os.path.lexists(here):
                if not os.path.isdir(here):
                    raise NotADirectoryError(20, os.strerror(20))
                if not os.access(here or ".", os.W_OK | os.X_OK):
                    raise PermissionError(13, os.strerror(13))
                break
            above = os.path.dirname(here) or "."
            if above == here:
                break
            here = above
        self._may.add(path)

    def free_bytes(self) -> int | None:
        """Return the free space on the disk of the output folder, or of the nearest folder above that exists."""
        import shutil

        here = self.out
        while here and not os.path.isdir(here):
            here = os.path.dirname(here)
        return shutil.disk_usage(here or ".").free

    # --- the manifest, and what guards it

    @contextmanager
    def hold(self, say: Say) -> Iterator[None]:
        """Make the folder and hold its lock. Raises OSError."""
        make_folder(self.out)
        with Lock(self.out, say):
            yield

    @contextmanager
    def manifest(
        self, *, write: bool, sync: bool = False, forget: bool = False, whole: bool = True
    ) -> Iterator[Manifest]:
        """Open the manifest. `forget`: an empty one in memory. Raises `Unusable` and OSError."""
        with Manifest(None if forget else self.out, write=write and not forget, sync=sync, whole=whole) as opened:
            yield opened

    def has_manifest(self) -> bool:
        """Return True if something stands in the manifest's place."""
        return os.path.lexists(os.path.join(self.out, NAME))

    def save_manifest(self, *, force: bool = False) -> None:
        """Do nothing: the manifest is written in place."""

    def set_aside(self, error: Exception, say: Say) -> None:
        """Move the manifest to `.lickwright.db.old`. Raises OSError, also where a second look finds nothing wrong."""
        from lickwright.store.unusable_manifest import set_aside

        set_aside(self.out, error, say)

    def journal(self) -> Journal | None:
        """Return a new journal for this process."""
        return Journal(self.out)

    def is_interrupted(self) -> bool:
        """Return True if a killed build left its journal. Raises OSError."""
        return journal.has_unfinished_journal(self.out)

    def recover(self, manifest: Manifest) -> None:
        """Enter what killed builds wrote. Raises OSError."""
        if self.is_interrupted():
            from lickwright.store import recovery

            journal.recover_journals(self.out, manifest)
            recovery.enter_claims(self, manifest)

    def clear_journal(self, *, sweep: bool = False) -> None:
        """Remove the journals. Raises OSError."""
        journal.clear_journals(self.out, sweeping=sweep)


def _folder_state(status: os.stat_result) -> tuple[int, int, int]:
    """Return mtime and ctime, in nanoseconds, and the inode of a folder. Raises `UnsafePath` for anything else."""
    if not stat.S_ISDIR(status.st_mode):
        raise UnsafePath("the folder is a link to another place")
    return status.st_mtime_ns, status.st_ctime_ns, status.st_ino & _INODE


def file_state(status: os.stat_result) -> tuple[int, int, int, int]:
    """Return the values that show whether a file changed: size, both times in nanoseconds and inode; no editor keeps all of them."""
    return (
        status.st_size,
        status.st_mtime_ns,
        status.st_ctime_ns,
        status.st_ino & _INODE,
    )


def _state(status: os.stat_result) -> FileState:
    return FileState(file_kind(status.st_mode), *file_state(status))
