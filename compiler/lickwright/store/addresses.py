"""Addresses of files that are not on this machine: anything that fsspec knows, such as `s3://shelf/licks`.

In: addresses and bytes. Out: bytes, listings, and a number by which an unchanged file is known again. An address of the form `file://` or `local://` means a
path on this machine and is turned into it (`local_path`).
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import Any, NamedTuple

from lickwright.core.file_bytes import Unopened, error_reason
from lickwright.core.unreadable import MAX_BYTES

# Where one request stores a whole file or none.
_OBJECT_STORES = frozenset(("s3", "s3a", "gs", "gcs", "az", "abfs", "abfss", "adl", "oss", "oci", "memory"))
_TELLING = ("ETag", "etag", "md5Hash", "mtime", "LastModified", "last_modified", "updated", "created", "ino", "size")
_HERE = ("file://", "local://")


class NoAddress(Exception):
    """An address cannot be used at all; the message says why in a user's words."""


class RemotePath(NamedTuple):
    """An address taken apart."""

    fs: Any  # a file system of fsspec
    path: str  # in that file system's own form


def is_remote(text: str) -> bool:
    """Return True if a name is an address of somewhere else: `s3://…`, never `file://…` or a plain path."""
    return "://" in text and not text.startswith(_HERE) and re.match(r"[a-z][a-z0-9+.:-]*://", text) is not None


def local_path(text: str) -> str:
    """Return the path that `file:///srv/licks%20of%20mine` or `local:///srv/licks` means; anything else as it is. Raises `NoAddress`."""
    if text.startswith("local://"):
        path = text.removeprefix("local://")
    elif text.startswith("file://"):
        from urllib.parse import urlsplit
        from urllib.request import url2pathname

        path = url2pathname(urlsplit(text).path)
    else:
        return text
    if "\0" in path:
        raise NoAddress(f"{text} is not an address of a file: no name holds %00")
    return path


def absolute_name(text: str) -> str:
    """Return a name that means the same in any folder of any machine that shares it."""
    return text if is_remote(text) else os.path.abspath(text)


def parse_address(address: str) -> RemotePath:
    """Return the file system and path of an address, which may be a plain path. Raises `NoAddress`."""
    try:
        fs, path = import_module("fsspec.core").url_to_fs(absolute_name(local_path(address)))
    except ModuleNotFoundError:
        from lickwright.core.extras import install_command

        raise NoAddress(f"{address} needs fsspec: {install_command('cluster')}") from None
    except ImportError as e:
        raise NoAddress(f"{address} needs one more package: {str(e)[:80]}") from None
    except Exception as e:
        raise NoAddress(f"{address} cannot be reached: {error_reason(e)}"[:200]) from None
    return RemotePath(fs, path.rstrip("/"))


@contextmanager
def remote_errors(*ours: type[Exception]) -> Iterator[None]:
    """Turn whatever the other side raises into OSError; `ours` are let through."""
    through: tuple[type[Exception], ...] = (OSError, *ours)
    try:
        yield
    except through:
        raise
    except Exception as e:
        raise OSError(0, error_reason(e)[:180]) from None


def exists(address: str) -> bool:
    """Return True if something is there, as seen from this process. Raises OSError where that cannot be told, and `NoAddress`."""
    if not is_remote(address):
        return os.path.exists(address)
    at = parse_address(address)
    with remote_errors():
        at.fs.invalidate_cache()
        return bool(at.fs.exists(at.path))


def is_reachable(address: str) -> bool:
    """Return True if something is seen there from this process; False also where that cannot be told."""
    try:
        return exists(address)
    except (NoAddress, OSError):
        return False


def read_remote(address: str) -> bytes:
    """Return the bytes of a source, at most one more than a source may have. Raises `Unopened` and `NoAddress`."""
    at = parse_address(address)
    try:
        data: bytes = at.fs.cat_file(at.path, start=0, end=MAX_BYTES + 1)
    except Exception as e:  # whatever the other side raises
        raise Unopened(
            f"the file cannot be read: {error_reason(e)}"[:180], "check the address, and who may read it"
        ) from None
    return data


def put_remote(at: RemotePath, path: str, data: bytes | Iterable[bytes]) -> None:
    """Put a file in its place, its folder too; a large one is sent in pieces. Raises OSError."""
    with remote_errors():
        if is_object_store(at):
            _send(at, path, data)
            return
        folder, _, name = path.rpartition("/")
        at.fs.makedirs(folder, exist_ok=True)
        from lickwright.core.atomic_files import temporary_name  # most commands ask only whether a path is an address

        temporary = f"{folder}/{temporary_name()}"
        try:
            _send(at, temporary, data)
            at.fs.mv(temporary, f"{folder}/{name}")
        except BaseException:
            with suppress(Exception):  # whatever the other side raises: the first error is the one to report
                at.fs.rm_file(temporary)
            raise


def _send(at: RemotePath, path: str, data: bytes | Iterable[bytes]) -> None:
    if isinstance(data, bytes) or not shared_by_processes(at):
        at.fs.pipe_file(path, data if isinstance(data, bytes) else b"".join(data))
        return
    file = at.fs.open(path, "wb")
    try:
        file.writelines(data)
    except BaseException:
        file.discard()  # closing it would put the bytes sent so far in place
        with suppress(AttributeError):
            file.closed = True
        raise
    file.close()


def list_remote_folder(at: RemotePath, folder: str) -> dict[str, Mapping[str, Any]]:
    """Return what stands in a folder, by name; nothing for one that is not there. Raises what the other side raises."""
    try:
        try:
            found = at.fs.ls(folder, detail=True, refresh=True)
        except TypeError:  # a file system without `refresh`
            found = at.fs.ls(folder, detail=True)
    except (FileNotFoundError, NotADirectoryError):
        return {}
    return {str(one["name"]).rstrip("/").rpartition("/")[2]: one for one in found}


def remote_fingerprint(info: Mapping[str, Any]) -> int:
    """Return a 63-bit number that another file, or the same one written again, does not have: a hash of the metadata that the storage gives."""
    told = repr([(name, str(info[name])) for name in _TELLING if info.get(name) is not None])
    from lickwright.core.digest import blake2b

    return int.from_bytes(blake2b(told.encode(), digest_size=8).digest(), "big") >> 1


def _protocols(fs: Any) -> frozenset[str]:
    said = getattr(fs, "protocol", ())
    return frozenset((said,) if isinstance(said, str) else said)


def is_object_store(at: RemotePath) -> bool:
    """Return True where one request stores a whole file or none, and folders do not exist by themselves."""
    return bool(_protocols(at.fs) & _OBJECT_STORES)


def shared_by_processes(at: RemotePath) -> bool:
    """Return True if another process sees what this one writes."""
    return "memory" not in _protocols(at.fs)
