"""Files that are not of this machine: any address that fsspec knows, `s3://shelf/licks` say.

In: addresses and bytes. Out: bytes, listings, and marks by which a file is known again. An address of the form `file://` is this machine's own and is
turned into its path (`here`): then everything is as it always is. What is written is whole or not there where the other side can do that: stores of
objects put a file in one piece, a shared disk and most servers move one into its place.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from hashlib import blake2b
from importlib import import_module
from typing import Any, NamedTuple

from lickwright.core.files import Unopened, error_reason, replace_file, temporary_name
from lickwright.core.files import read_file as read_here
from lickwright.core.source import MAX_BYTES
from lickwright.store.spool import PIECE, Large

# Where one request puts a whole file or none.
_WHOLE = frozenset(("s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "adl", "oss", "oci", "memory"))
_TELLING = ("ETag", "etag", "md5Hash", "mtime", "LastModified", "last_modified", "updated", "created", "ino", "size")


class NoAddress(Exception):
    """An address cannot be used at all; says why in a user's words."""


class Spot(NamedTuple):
    """An address taken apart."""

    fs: Any  # of fsspec
    path: str  # as that file system has it


def far(text: str) -> bool:
    """Whether a name is an address of somewhere else: `s3://…`, never `file://…` or a plain path."""
    return "://" in text and re.match(r"(?!file://)[a-z][a-z0-9+.:-]*://", text) is not None


def here(text: str) -> str:
    """`file:///srv/licks%20of%20mine` as the path that it means; anything else as it is. Raises `NoAddress`."""
    if not text.startswith("file://"):
        return text
    from urllib.parse import urlsplit
    from urllib.request import url2pathname

    path = url2pathname(urlsplit(text).path)
    if "\0" in path:
        raise NoAddress(f"{text} is not an address of a file: no name holds %00")
    return path


def absolute_name(text: str) -> str:
    """A name that means the same in any folder of any machine that shares it."""
    return text if far(text) else os.path.abspath(text)


def parse_address(address: str) -> Spot:
    """The file system and path of an address; raises `NoAddress`. A plain path is one too."""
    try:
        fs, path = import_module("fsspec.core").url_to_fs(absolute_name(here(address)))
    except ModuleNotFoundError:
        raise NoAddress(f"{address} needs fsspec: pip install 'lickwright[cluster]'") from None
    except ImportError as e:
        raise NoAddress(f"{address} needs one more package: {str(e)[:80]}") from None
    except Exception as e:
        raise NoAddress(f"{address} cannot be reached: {error_reason(e)}"[:200]) from None
    return Spot(fs, path.rstrip("/"))


@contextmanager
def answering(*ours: type[Exception]) -> Iterator[None]:
    """Whatever the other side raises comes out as OSError; `ours` are let through."""
    through: tuple[type[Exception], ...] = (OSError, *ours)
    try:
        yield
    except through:
        raise
    except Exception as e:
        raise OSError(0, error_reason(e)[:180]) from None


def exists(address: str) -> bool:
    """Whether something is there, as seen from this process; what cannot be asked is not."""
    if not far(address):
        return os.path.exists(address)
    try:
        at = parse_address(address)
        with answering():
            at.fs.invalidate_cache()
            return bool(at.fs.exists(at.path))
    except (NoAddress, OSError):
        return False


def read_remote(address: str) -> bytes:
    """The bytes of a source; raises `Unopened` as a file of this machine does."""
    at = parse_address(address)
    if local(at):
        return read_here(at.path)
    try:
        data: bytes = at.fs.cat_file(at.path, start=0, end=MAX_BYTES + 1)
    except Exception as e:  # whatever the other side raises
        raise Unopened(
            f"the file cannot be read: {error_reason(e)}"[:180], "check the address, and who may read it"
        ) from None
    return data


def remote_digest(at: Spot, path: str) -> bytes:
    """The hash of a file, which is read a piece at a time; raises what the other side raises."""
    with at.fs.open(path, "rb") as file:
        return Large(lambda: iter(lambda: file.read(PIECE), b"")).hash


def put_remote(at: Spot, path: str, data: bytes | Large) -> None:
    """Puts a file in its place, its folder too; a large one is sent in pieces. Raises OSError."""
    with answering():
        if _local(at.fs):
            os.makedirs(os.path.dirname(path), exist_ok=True)
            replace_file(path, data)
        elif _protocols(at.fs) & _WHOLE:
            _send(at, path, data)
        else:
            folder, _, name = path.rpartition("/")
            at.fs.makedirs(folder, exist_ok=True)
            temporary = f"{folder}/{temporary_name()}"
            _send(at, temporary, data)
            at.fs.mv(temporary, f"{folder}/{name}")


def _send(at: Spot, path: str, data: bytes | Large) -> None:
    if isinstance(data, bytes) or not shared_by_processes(at):
        at.fs.pipe_file(path, data if isinstance(data, bytes) else b"".join(data))
        return
    file = at.fs.open(path, "wb")
    try:
        file.writelines(data)
    except BaseException:
        file.discard()  # to close it would put in place what was sent so far
        with suppress(AttributeError):
            file.closed = True
        raise
    file.close()


def list_remote_folder(at: Spot, folder: str) -> dict[str, Mapping[str, Any]]:
    """What stands in a folder, by name; nothing for one that is not there."""
    try:
        found = at.fs.ls(folder, detail=True, refresh=True) if not _local(at.fs) else at.fs.ls(folder, detail=True)
    except (FileNotFoundError, NotADirectoryError):
        return {}
    except TypeError:  # a file system without `refresh`
        found = at.fs.ls(folder, detail=True)
    return {str(one["name"]).rstrip("/").rpartition("/")[2]: one for one in found}


def mark(info: Mapping[str, Any]) -> int:
    """A number that another file, or the same one written again, does not have: of what the other side tells of it."""
    told = repr([(name, str(info[name])) for name in _TELLING if info.get(name) is not None])
    return int.from_bytes(blake2b(told.encode(), digest_size=8).digest(), "big") >> 1


def _protocols(fs: Any) -> frozenset[str]:
    said = getattr(fs, "protocol", ())
    return frozenset((said,) if isinstance(said, str) else said)


def local(at: Spot) -> bool:
    """Whether it is a place of this machine after all."""
    return _local(at.fs)


def _local(fs: Any) -> bool:
    return "local" in _protocols(fs)


def shared_by_processes(at: Spot) -> bool:
    """Whether another process sees what this one writes."""
    return "memory" not in _protocols(at.fs)
