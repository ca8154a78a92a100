"""Finds and reads sources, on this machine and at addresses.

In: paths and addresses as the user names them. Out: what there is to compile, in a fixed order, and its bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.core.file_bytes import error_reason, read_file
from lickwright.core.files import NO_LICKS, UNREADABLE
from lickwright.core.source import Span
from lickwright.core.source_discovery import SUFFIX, FoundSource, any_suffix, walk_sources
from lickwright.store.addresses import is_remote, parse_address, read_remote, remote_errors, shared_by_processes


def read_source(path: str) -> bytes:
    """Return the bytes of a source, at most one more than the limit. Raises `Unopened` and `Unreadable`."""
    return read_remote(path) if is_remote(path) else read_file(path)


def is_shared(path: str) -> bool:
    """Return True if other processes reach what a user named. Raises `NoAddress`."""
    return not is_remote(path) or shared_by_processes(parse_address(path))


def walk_paths_and_addresses(
    paths: Sequence[str], leave_out: str = "", suffixes: tuple[str, ...] = (SUFFIX,)
) -> Iterator[FoundSource]:
    """Yield every source that `paths` mean, one as often as it is named. `leave_out` is a real folder that is not looked into, `suffixes` are those
    of the files that are looked for in folders.

    Raises `NoAddress` for an address that cannot be used at all.
    """
    for path in paths:
        if is_remote(path):
            yield from _at_address(path.rstrip("/"), leave_out, suffixes)
        else:
            yield from walk_sources([path], leave_out, suffixes)


def _at_address(address: str, leave_out: str, suffixes: tuple[str, ...]) -> Iterator[FoundSource]:
    at = parse_address(address)
    try:
        with remote_errors():
            is_folder = at.fs.isdir(at.path)
            found = at.fs.find(at.path, detail=True) if is_folder else {}
    except OSError as e:
        yield FoundSource(
            address, UNREADABLE.at(Span(0, 0), f"the folder cannot be read: {error_reason(e)}", "check who may read it")
        )
        return
    if not is_folder:
        yield FoundSource(address, real=address, named=True)
        return
    some = False
    for path, info in sorted(found.items()):
        inside = path[len(at.path) :].lstrip("/")
        whole = f"{address}/{inside}"
        if not _is_source_name(inside, suffixes) or (leave_out and whole.startswith(f"{leave_out}/")):
            continue
        some = True
        if info.get("type", "file") != "file" and not info.get("islink"):
            why = "this is no ordinary file but a pipe or device"
            yield FoundSource(whole, UNREADABLE.at(Span(0, 0), why, "name a file"))
            continue
        yield FoundSource(whole, below=inside.rpartition("/")[0], real=whole)
    if not some:
        message = f"there is no {any_suffix(suffixes)} file at this address or below it"
        yield FoundSource(address, NO_LICKS.at(Span(0, 0), message, "check the address"))


def _is_source_name(path: str, suffixes: tuple[str, ...]) -> bool:
    """Return True if a path below an address is that of a source, and neither it nor a folder on the way is hidden."""
    return path.lower().endswith(suffixes) and not any(part.startswith(".") for part in path.split("/"))
