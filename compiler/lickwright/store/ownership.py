"""Decides what in an output folder is ours: checks stored names, and the files that stand under our own names.

An output folder is input, as hostile as a source: it may have come in a mail. In: folders and names as a record or a journal gives them, and
paths of files that we keep for ourselves. Out: a path that lies below the output folder by real path, or an open ordinary file; else `UnsafePath`, which
says in a user's words what stands there. Nothing here follows a link, waits for a pipe or touches a device.
"""

from __future__ import annotations

import os
import re
import stat

# What `slugs.slug` and the suffixes of the exports make. No dot comes first, so neither `..` nor a hidden file of ours is one.
_PART = "[a-z0-9][a-z0-9._-]{0,199}"
_FOLDER = re.compile(rf"{_PART}(?:/{_PART}){{0,63}}|\.")
_NAME = re.compile(_PART)
_FOLDER_BYTES, _NAME_BYTES = (re.compile(pattern.pattern.encode()) for pattern in (_FOLDER, _NAME))

TOO_DEEP = "it would lie in more than 64 folders"
LED_OUT = "its name leads out of the output folder"

_FLAGS = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


class UnsafePath(OSError):
    """A path at which nothing is read, written or removed, whatever the options; `strerror` says why."""

    def __init__(self, why: str) -> None:
        super().__init__(0, why)

    def __str__(self) -> str:
        return str(self.strerror)


def plain_folder(folder: object) -> bool:
    """Return True if a stored folder has the form of ours: relative, no `..`, nothing but letters, digits, `.`, `_` and `-` between slashes.

    `.` is the output folder itself.
    """
    return isinstance(folder, str) and _FOLDER.fullmatch(folder) is not None


def plain_name(name: object) -> bool:
    """Return True if a stored file name has the form of ours."""
    return isinstance(name, str) and _NAME.fullmatch(name) is not None


def plain_folder_bytes(folder: object) -> bool:
    """Return `plain_folder` for a folder as bytes, which may be no text."""
    return isinstance(folder, bytes) and _FOLDER_BYTES.fullmatch(folder) is not None


def plain_name_bytes(name: object) -> bool:
    """Return `plain_name` for a name as bytes, which may be no text."""
    return isinstance(name, bytes) and _NAME_BYTES.fullmatch(name) is not None


class OutputPaths:
    """Makes paths below one output folder, which may itself be a link, since the user named it. What was found of a folder is cached."""

    def __init__(self, out: str) -> None:
        self.out = out
        self._seen = {"", "."}  # folders that are known to lie inside

    def folder(self, folder: str) -> str:
        """Return the path of a stored folder, which need not be there. Raises `UnsafePath` for one that leads out of the output folder."""
        if folder not in self._seen:
            if not plain_folder(folder):
                raise UnsafePath(LED_OUT)
            self._refuse_links(folder)
        return os.path.join(self.out, folder)

    def _refuse_links(self, folder: str) -> None:
        """Raise `UnsafePath` if any part of the path is a link."""
        above = folder.rpartition("/")[0]
        if above not in self._seen:
            self._refuse_links(above)
        try:
            mode = os.lstat(os.path.join(self.out, folder)).st_mode
        except (FileNotFoundError, NotADirectoryError):  # nothing to be followed yet
            return
        if stat.S_ISLNK(mode):
            raise UnsafePath(f"the folder {folder} is a link to another place")
        self._seen.add(folder)

    def file(self, folder: str, name: str) -> str:
        """Return the path of a stored file. Raises `UnsafePath` where it does not lie inside; what stands there is not looked at."""
        if not plain_name(name):
            raise UnsafePath(LED_OUT)
        return os.path.join(self.folder(folder), name)


def file_kind(mode: int) -> str:
    """Return what a file of this mode is, in a user's words."""
    if stat.S_ISLNK(mode):
        return "link"
    if stat.S_ISDIR(mode):
        return "folder"
    return "file" if stat.S_ISREG(mode) else "pipe or device"


def state_of_kind(path: str, wanted: str = "file") -> os.stat_result | None:
    """Return the state of what stands at `path`, None for nothing. Raises `UnsafePath` unless it is of the kind that is wanted."""
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return None
    found = file_kind(status.st_mode)
    if found != wanted:
        raise UnsafePath(f"{os.path.basename(path)} is a {found} and not ours: take it away")
    return status


def open_ordinary(path: str, flags: int = os.O_RDONLY) -> int:
    """Open an ordinary file, never through a link and without waiting; return its descriptor.

    Raises `UnsafePath` for anything else, and other errors of the system as they are.
    """
    state_of_kind(path)  # not to touch a device at all
    handle = os.open(path, flags | _FLAGS | getattr(os, "O_CLOEXEC", 0), 0o666)
    found = file_kind(os.fstat(handle).st_mode)  # of what was really opened
    if found != "file":
        os.close(handle)
        raise UnsafePath(f"{os.path.basename(path)} is a {found} and not ours: take it away")
    return handle
