"""Paths of sources as the manifest keeps them: relative to the output folder where both lie on this machine, so that both may move together.

In: paths and addresses as the user names them, or as the manifest has them. Out: the one from the other, and whether a source is still there.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable

from lickwright.store import addresses
from lickwright.store.addresses import is_remote

STDIN = "-"  # the path of standard input


def slashed(path: str) -> str:
    """Return a path as the manifest keeps it: with `/`, and bytes that are no UTF-8 written as `\\\\udce9`."""
    path = path.replace(os.sep, "/")
    if path.isascii():
        return path
    return path.encode("utf-8", "backslashreplace").decode("utf-8")


def output_root(out: str) -> str:
    """Return the real path of an output folder, from which sources are seen; of an address the address."""
    return out.rstrip("/") if is_remote(out) else os.path.realpath(out)


def real_path(path: str) -> str:
    """Return the path of a source without links; of an address the address."""
    return path.rstrip("/") if is_remote(path) else os.path.realpath(path)


def folder_from_output(root: str, folder: str) -> str:
    """Return a real folder of sources as the manifest keeps it; `root` is an `output_root`. From a remote one, local folders are absolute."""
    if is_remote(folder) or is_remote(root):
        return slashed(folder)
    try:
        return slashed(os.path.relpath(folder, root))
    except ValueError:  # on another drive, where a system has such
        return slashed(folder)


def source_from_output(out: str, source: str) -> str:
    """Return the path of a source as the manifest of `out` keeps it."""
    if source == STDIN or is_remote(source):
        return source
    folder, name = os.path.split(os.path.realpath(source))
    return slashed(os.path.join(folder_from_output(output_root(out), folder), name))


def names_from_output(out: str, paths: Iterable[str]) -> list[str]:
    """Return what a user named, as the manifest of `out` keeps it."""
    root = output_root(out)
    return [path if path == STDIN else folder_from_output(root, real_path(path)) for path in paths]


def path_from_here(out: str, path: str) -> str | None:
    """Return where a path of the manifest is, as seen from here; None if nothing is there. Raises OSError where an address cannot be asked."""
    if is_remote(path):
        return path if addresses.exists(path) else None
    raw = re.sub(r"\\udc([89a-f][0-9a-f])", lambda byte: chr(0xDC00 + int(byte[1], 16)), path)
    base = "" if is_remote(out) else out
    places = (os.path.normpath(os.path.join(base, name)) for name in (path, raw))
    return next((place for place in places if _stands(place)), None)


def _stands(path: str) -> bool:
    """Return True if something is at `path`, also if the system refuses access: only a path known to be gone counts as gone."""
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError, ValueError):
        return False
    except OSError:
        return True
    return True


def source_exists(out: str, path: str) -> bool:
    """Return True if something is at a path of the manifest. Raises OSError where an address cannot be asked."""
    return path_from_here(out, path) is not None


class SourceLookup:
    """Tells of many sources whether they are there: at addresses with one request a folder."""

    def __init__(self, out: str) -> None:
        self._out = out
        self._folders: dict[str, frozenset[str]] = {}  # names by the address of their folder

    def exists(self, path: str) -> bool:
        """Return True if something is at a path of the manifest. Raises OSError where an address cannot be asked, and `NoAddress`."""
        if not is_remote(path):
            return source_exists(self._out, path)
        folder, _, name = path.rpartition("/")
        if folder not in self._folders:
            at = addresses.parse_address(folder)
            with addresses.remote_errors():
                self._folders[folder] = frozenset(addresses.list_remote_folder(at, at.path))
        return name in self._folders[folder]


def owner_in_words(out: str, owner: str | None, path: str) -> str:
    """Return whose a folder of outputs is, for a message to the source at `path`.

    It is "" for nobody's, for a source that is there no more, and for one that is a link to the source at `path` by now: that is the same source,
    moved. Both paths are as the manifest of `out` keeps them.
    """
    if owner == STDIN:
        return "standard input"
    place = None if owner is None else path_from_here(out, owner)
    return "" if place is None or source_from_output(out, place) == path else f"another source, {owner}"
