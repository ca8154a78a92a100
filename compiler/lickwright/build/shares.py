"""Checks that output folders are the shares of one build, each of them once and none missing.

In: the folders that a merge was given. Out: `ShareFolder` values; else the reasons why they cannot be brought together.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from typing import NamedTuple

from lickwright.core.diagnostics import Diagnostic
from lickwright.core.file_bytes import error_reason
from lickwright.core.files import UNREADABLE
from lickwright.core.source import Span
from lickwright.store.build_record import BuildRecord, describe_differences, load_build_record
from lickwright.store.guarded_database import Unusable, is_damage, stored_values
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.open_storage import open_storage
from lickwright.store.source_paths import STDIN, path_from_here, real_path
from lickwright.store.storage import Storage
from lickwright.store.types import PathDiagnostic


class ShareFolder(NamedTuple):
    """The output folder of one share, or of several, with its record."""

    folder: str  # as the user knows it
    record: BuildRecord


class UnfitShares(Exception):
    """Folders that are no shares of one build, or not all of them; says why, and `hint` what would be right."""

    def __init__(self, why: str, hint: str) -> None:
        super().__init__(why)
        self.hint = hint


class BrokenShare(Exception):
    """A share's manifest cannot be used; the message says why."""


def load_shares(folders: Sequence[str], out: str) -> tuple[list[ShareFolder], list[PathDiagnostic]]:
    """Return the folders with their records, and findings for those that cannot be read. Raises `UnfitShares` and `NoAddress`."""
    for n, folder in enumerate(folders):
        if real_path(folder) == real_path(out):
            raise UnfitShares(
                f"{folder} is one of the shares and the folder for all of them", "name another folder with --out"
            )
        if any(real_path(folder) == real_path(other) for other in folders[:n]):
            raise UnfitShares(f"{folder} is named twice", "name each share's folder once")
    parts: list[ShareFolder] = []
    troubles: list[PathDiagnostic] = []
    for folder in folders:
        try:
            parts.append(ShareFolder(folder, _record(folder)))
        except BrokenShare as e:
            troubles.append(
                PathDiagnostic(
                    folder, UNREADABLE.at(Span(0, 0), f"the manifest cannot be used: {e}", "build the share again")
                )
            )
        except FileNotFoundError:
            troubles.append(PathDiagnostic(folder, _no_manifest()))
    if not troubles:
        _complete(parts)
    return parts, troubles


def library_path(part: ShareFolder) -> str:
    """Return the first thing that was named when the share was made, as seen from here; "" if none of it is there."""
    for path in part.record.paths:
        try:
            if path != STDIN and (here := path_from_here(part.folder, path)) is not None:
                return here
        except OSError:  # an address that does not answer
            continue
    return ""


def _no_manifest() -> Diagnostic:
    return UNREADABLE.at(
        Span(0, 0), f"there is no manifest in this folder ({NAME})", "name the output folder of a share"
    )


def _record(folder: str) -> BuildRecord:
    storage = open_storage(folder)
    try:
        if not storage.has_manifest():
            raise FileNotFoundError
    except FileNotFoundError:
        raise
    except OSError as e:  # an address that does not answer
        raise BrokenShare(error_reason(e)) from None
    with open_share(storage) as manifest, share_damage():
        record = load_build_record(manifest.db)
    if record is None:
        raise BrokenShare("it does not say which share it is")
    return record


def _complete(parts: Sequence[ShareFolder]) -> None:
    """Raise `UnfitShares` unless the parts are one build's shares, each once."""
    _check_alike(parts)
    _check_numbers(parts)
    for folder, record in parts:
        if cut := [number for number in record.begun if number not in record.done]:
            raise UnfitShares(
                f"{folder}: share {cut[0]} of {record.of} was stopped before it was done",
                "make it again: it goes on from there",
            )


def _check_alike(parts: Sequence[ShareFolder]) -> None:
    first = parts[0]
    for part in parts[1:]:
        if words := describe_differences(first.record, part.record):
            raise UnfitShares(
                f"{first.folder} and {part.folder} do not belong together: {words}", "make all shares in the same way"
            )


def _check_numbers(parts: Sequence[ShareFolder]) -> None:
    of = parts[0].record.of
    where: dict[int, str] = {}
    for folder, record in parts:
        for number in record.begun:
            if number in where:
                raise UnfitShares(
                    f"share {number} of {of} is there twice: {where[number]} and {folder}", "leave one of them out"
                )
            where[number] = folder
    if lost := [number for number in range(1, min(of, 10**6) + 1) if number not in where]:
        raise UnfitShares(_missing(lost, of), "name the output folders of all shares")


_NAMED = 5


def _missing(lost: Sequence[int], of: int) -> str:
    """Return `share 3 of 3 is missing`; of several their numbers."""
    if len(lost) == 1:
        return f"share {lost[0]} of {of} is missing"
    numbers = [str(number) for number in lost[:_NAMED]]
    more = [f"{len(lost) - _NAMED} more"] if len(lost) > _NAMED else []
    *most, last = [*numbers, *more]
    return f"shares {', '.join(most)} and {last} of {of} are missing"


@contextmanager
def share_damage() -> Iterator[None]:
    """Turn damage of a share's manifest, as distinct from that of our own, into `BrokenShare`."""
    try:
        with stored_values():
            yield
    except Unusable as e:
        raise BrokenShare(str(e)) from None
    except sqlite3.DatabaseError as e:
        raise BrokenShare("it is damaged" if is_damage(e) else error_reason(e)) from None


@contextmanager
def open_share(storage: Storage) -> Iterator[Manifest]:
    """Open a share's manifest to be read, and prepare its storage for questions about its files. Raises `BrokenShare`."""
    with ExitStack() as stack:
        try:
            with share_damage():
                manifest = stack.enter_context(storage.manifest(write=False))
                storage.refresh()
        except OSError as e:  # a build was cut off there, say
            raise BrokenShare(error_reason(e)) from None
        yield manifest
