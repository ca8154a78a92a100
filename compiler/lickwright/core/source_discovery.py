"""Find the sources that paths mean: files as named, and every `.lick` file in a folder and below it.

In: paths: files, folders, `-` for standard input. Out: what there is to compile, in a fixed order. A folder that cannot
be read becomes an entry whose finding says so. Hidden and linked folders are left out, so that a link to a folder above
does not make an endless walk.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import NO_LICKS, UNREADABLE
from lickwright.core.source import Span

SUFFIX = ".lick"


class FoundSource(NamedTuple):
    """One source to compile, or the reason why a path has none."""

    path: str  # as the user gave it or as found below it; `-` is standard input
    trouble: Diagnostic | None = None  # why there is nothing to compile; None: there is
    below: str = ""  # the folder in which it lies, as seen from the folder that was named; "" for a file that was named
    real: str = ""  # the same file without links; "" with a trouble
    named: bool = False  # it was named itself, not found in a folder


def find_sources(paths: Sequence[str]) -> list[FoundSource]:
    """Return everything that `paths` mean, each file once."""
    found: dict[str, FoundSource] = {}
    for one in walk_sources(paths):
        found.setdefault(one.real or one.path, one)
    return list(found.values())


def walk_sources(
    paths: Sequence[str], leave_out: str | None = None, suffixes: tuple[str, ...] = (SUFFIX,)
) -> Iterator[FoundSource]:
    """Yield everything that `paths` mean, a file as often as it is named.

    `leave_out` is a folder, without links in its path, that is not searched unless it is named; `suffixes` are those of the files that are
    looked for in folders, in small letters.
    """
    for path in paths:
        if path == "-":
            yield FoundSource(path, real=path, named=True)
        elif os.path.isdir(path):
            some = False
            for folder in walk_folders(path, leave_out, suffixes):
                some = some or bool(folder.names) or folder.trouble is not None
                yield from _sources_in(folder)
            if not some:
                message = f"there is no {any_suffix(suffixes)} file in this folder or below it"
                yield FoundSource(path, NO_LICKS.at(Span(0, 0), message, "check the folder's name"))
        else:
            yield FoundSource(path, real=os.path.realpath(path), named=True)


def any_suffix(suffixes: tuple[str, ...]) -> str:
    """Return suffixes as a message names them: `.mid, .xml or .txt`."""
    *first, last = suffixes
    return f"{', '.join(first)} or {last}" if first else last


class SourceFolder(NamedTuple):
    """One folder that was searched."""

    shown: str  # its path as it is reported
    below: str  # as seen from the folder that was named, "" for that one
    real: str  # its path without links
    names: Sequence[str] = ()  # of the sources in it, in order
    links: frozenset[str] = frozenset()  # those of them that are links
    all_ordinary: bool = True  # False if any of them is a link, a pipe or a device
    trouble: Diagnostic | None = None  # why it cannot be searched; None: it was

    def shown_path(self, name: str) -> str:
        """Return the path of a file in it as it is reported."""
        return name if self.shown == "." else os.path.join(self.shown, name)

    def real_path(self, name: str) -> str:
        """Return the path of a source in it without links."""
        path = os.path.join(self.real, name)
        return os.path.realpath(path) if name in self.links else path


def walk_folders(
    top: str, leave_out: str | None = None, suffixes: tuple[str, ...] = (SUFFIX,)
) -> Iterator[SourceFolder]:
    """Yield a folder and those below it, in order of their paths; `leave_out` and `suffixes` as for `walk_sources`."""
    folders = [SourceFolder(os.path.normpath(top), "", os.path.realpath(top))]
    while folders:
        folder = folders.pop()
        try:
            with os.scandir(folder.shown) as scan:
                entries = sorted(
                    [(one.name, one.is_symlink(), _is_folder(one), one.is_file(follow_symlinks=False)) for one in scan]
                )
        except OSError as e:
            message = f"the folder cannot be read: {error_reason(e)}"
            yield folder._replace(trouble=UNREADABLE.at(Span(0, 0), message, "check who may read it"))
            continue
        found = [
            entry
            for entry in entries
            if not entry[2] and entry[0].lower().endswith(suffixes) and not entry[0].startswith(".")
        ]
        links = frozenset(name for name, linked, _, _ in found if linked)
        ordinary = all(entry[3] for entry in found)
        yield folder._replace(names=[entry[0] for entry in found], links=links, all_ordinary=ordinary)
        folders += _subfolders(folder, entries, leave_out)


_Entry = tuple[str, bool, bool, bool]  # name, whether it is a link, a folder or leads to one, an ordinary file


def _sources_in(folder: SourceFolder) -> Iterator[FoundSource]:
    """Yield the sources in a folder, or why it cannot be searched."""
    if folder.trouble is not None:
        yield FoundSource(folder.shown, folder.trouble)
    at, inside = folder.shown_path(""), os.path.join(folder.real, "")
    for name in folder.names:
        real = folder.real_path(name) if name in folder.links else inside + name
        yield FoundSource(at + name, None, folder.below, real)


def _subfolders(folder: SourceFolder, entries: Sequence[_Entry], leave_out: str | None) -> Iterator[SourceFolder]:
    """Yield the folders to be searched in a folder, the last first: the list that they go to is read from its end."""
    at, inside = folder.shown_path(""), os.path.join(folder.real, "")
    for name, linked, is_folder, _ in reversed(entries):
        if is_folder and not linked and name[0] != "." and inside + name != leave_out:
            yield SourceFolder(at + name, f"{folder.below}/{name}" if folder.below else name, inside + name)


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Return True if an entry is a folder or leads to one; a link in a circle does not, and fails when it is read."""
    try:
        return entry.is_dir()
    except OSError:
        return False
