"""Which files are meant by paths: files as named, and of a folder every `.lick` file in it and below.

In: paths: files, folders, `-` for standard input. Out: what there is to compile, in a fixed order. A folder that cannot be read becomes
an entry whose finding says so. Hidden and linked folders are left out, so that a link to a folder above is no endless walk.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.files import NO_LICKS, UNREADABLE, error_reason
from lickwright.core.source import Span

SUFFIX = ".lick"


class FoundSource(NamedTuple):
    """One thing to compile."""

    path: str  # as the user gave it or as found below it; `-` is standard input
    trouble: Diagnostic | None = None  # why there is nothing to compile; None: there is
    below: str = ""  # the folder in which it lies, as seen from the folder that was named; "" for a file that was named
    real: str = ""  # the same file without links; "" with a trouble
    named: bool = False  # it was named itself, not found in a folder


def find_sources(paths: Sequence[str]) -> list[FoundSource]:
    """Everything that `paths` mean, each file once."""
    found: dict[str, FoundSource] = {}
    for one in walk_sources(paths):
        found.setdefault(one.real or one.path, one)
    return list(found.values())


def walk_sources(paths: Sequence[str], leave_out: str | None = None) -> Iterator[FoundSource]:
    """The same one by one, a file as often as it is named. `leave_out` is a real folder that is not looked into, unless it is named."""
    for path in paths:
        if path == "-":
            yield FoundSource(path, real=path, named=True)
        elif os.path.isdir(path):
            some = False
            for one in _below(path, leave_out):
                some = True
                yield one
            if not some:
                message = "there is no .lick file in this folder or below it"
                yield FoundSource(path, NO_LICKS.at(Span(0, 0), message, "check the folder's name"))
        else:
            yield FoundSource(path, real=os.path.realpath(path), named=True)


def _below(top: str, leave_out: str | None) -> Iterator[FoundSource]:
    folders = [(os.path.normpath(top), "", os.path.realpath(top))]
    while folders:
        shown, below, real = folders.pop()
        try:
            with os.scandir(shown) as entries:
                here = [(entry.name, entry.is_symlink(), _is_folder(entry)) for entry in entries]
        except OSError as e:
            message = f"the folder cannot be read: {error_reason(e)}"
            yield FoundSource(shown, UNREADABLE.at(Span(0, 0), message, "check who may read it"))
            continue
        here.sort()
        at = "" if shown == "." else os.path.join(shown, "")
        inside = os.path.join(real, "")
        for name, linked, folder in here:
            if name[-5:].lower() == SUFFIX and name[0] != "." and not folder:
                whole = inside + name
                yield FoundSource(at + name, None, below, os.path.realpath(whole) if linked else whole)
        for name, linked, folder in reversed(here):
            if folder and not linked and name[0] != "." and inside + name != leave_out:
                folders.append((at + name, f"{below}/{name}" if below else name, inside + name))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    """Whether an entry is a folder or leads to one; a link in a circle does not, and whoever reads it says so."""
    try:
        return entry.is_dir()
    except OSError:
        return False
