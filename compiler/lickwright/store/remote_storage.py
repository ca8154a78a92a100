"""An output folder at an address of fsspec: an object store, a server, a file system in memory.

In: folders and names as the manifest keeps them. Out: files at the address. The manifest is fetched, used as a temporary file here, and stored back now and
then and in the end. No address can be locked, so two builds at once give the same outputs and the manifest of the later one. There is no
journal: what a killed build wrote is known again by its bytes.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from typing import Any, BinaryIO, cast

from lickwright.store import addresses
from lickwright.store.addresses import RemotePath, parse_address, remote_errors
from lickwright.store.guarded_database import LARGEST, Unusable
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.ownership import LED_OUT, UnsafePath, plain_folder, plain_name
from lickwright.store.spool import PIECE, LargeData
from lickwright.store.storage import Data, FileState, FolderLook, Say
from lickwright.store.unusable_manifest import ASIDE, set_aside_message

_SAVED = 30.0  # seconds between two times that the manifest is stored, at least


class RemoteStorage:
    """The `Storage` of an address. Raises `NoAddress` when it is made for an address that cannot be used."""

    noun = "place"

    def __init__(self, out: str) -> None:
        self.out = out
        self._at: RemotePath = parse_address(out)
        self.is_shared = addresses.shared_by_processes(self._at)
        self.limits = f"{out} has no lock and no journal: run one build there at a time; if it is killed, run it again before you change a lick"
        if not addresses.is_object_store(self._at):
            self.limits += "; a file there may be seen half replaced"
        self._folders: dict[str, dict[str, Mapping[str, Any] | None]] = {}  # listings; None: ask again
        self._listed = False  # `_folders` holds every folder there is
        self._home = ""  # the folder here that holds the manifest
        self._stored = b""  # the hash of the manifest as it was stored last
        self._saved = 0.0  # when that was
        self._unusable = False  # the manifest there is not to be read

    def shown(self, folder: str, name: str = "") -> str:
        """Return the address of a stored folder or file."""
        return "/".join(part for part in (self.out.rstrip("/"), folder if folder != "." else "", name) if part)

    # --- files

    def state(self, folder: str, name: str) -> FileState | None:
        """Return the state of what stands at a path, None for nothing. Raises OSError, `UnsafePath` for a name that is none of ours."""
        path = self._path(folder, name)
        with remote_errors():
            there = self._listing(folder or ".")
            if name not in there:
                return None
            info = there[name]
            if info is None:
                info = there[name] = self._at.fs.info(path)
            return _state(info)

    def look(self, folder: str, names: Sequence[str]) -> FolderLook:
        """Return, of some files, size, 0, 0 and a hash of the storage's metadata. Raises OSError."""
        found = [self.state(folder, name) for name in names]
        return FolderLook(None, [state[1:] if state is not None and state.kind == "file" else None for state in found])

    def folder_states(self, folders: Sequence[str]) -> None:
        """Return None: no time tells what became of the files in a folder."""

    def open(self, folder: str, name: str) -> BinaryIO:
        """Open a stored file for reading. Raises OSError."""
        with remote_errors():
            return cast(BinaryIO, self._at.fs.open(self._path(folder, name), "rb"))

    def write(self, folder: str, name: str, data: Data) -> None:
        """Write a file: in one request at an object store, elsewhere beside its place and then moved there. Raises OSError."""
        path = self._path(folder, name)
        addresses.put_remote(self._at, path, data)
        self._folders.setdefault(folder or ".", {})[name] = None

    def is_new(self, folder: str) -> bool:
        """Return False: no folder can be written in one move. Raises `UnsafePath` for a name that is none of ours."""
        self._path(folder)
        return False

    def write_folder(self, folder: str, files: Sequence[tuple[str, Data]]) -> list[FileState]:
        """Raise OSError: a folder cannot be written in one move."""
        raise OSError(0, "no folder can be moved here")

    def prepare(self, folder: str) -> None:
        """List the folder anew. Raises OSError."""
        with remote_errors():
            self._folders.pop(folder, None)
            self._listed = False
            self._listing(folder)

    def remove(self, folder: str, name: str) -> None:
        """Remove a file. Raises OSError."""
        with remote_errors():
            self._at.fs.rm_file(self._path(folder, name))
        self._folders.get(folder or ".", {}).pop(name, None)

    def remove_empty(self, folder: str) -> None:
        """Remove a folder if it is empty, and those above it, where folders exist by themselves."""
        if addresses.is_object_store(self._at) and self.is_shared:
            return
        while folder and folder != ".":
            try:
                self._at.fs.rmdir(self._path(folder))
            except Exception:  # it is not empty, or whatever the other side raises
                return
            folder = folder.rpartition("/")[0]

    def move(self, at: tuple[str, str], to: tuple[str, str]) -> bool:
        """Return False: the file is written anew at its new path."""
        return False

    def refresh(self) -> None:
        """List every file in as few requests as the storage allows. Raises OSError."""
        with remote_errors():
            self._at.fs.invalidate_cache()
            found: Mapping[str, Mapping[str, Any]] = self._at.fs.find(self._at.path, detail=True)
        self._folders = {}
        for path, info in found.items():
            folder, _, name = path[len(self._at.path) :].lstrip("/").rpartition("/")
            self._folders.setdefault(folder or ".", {})[name] = info
        self._listed = True

    def check_writable(self, folder: str) -> None:
        """Do nothing: whether an address can be written is known only after writing."""

    def free_bytes(self) -> int | None:
        """Return None: it is not known."""
        return None

    def _path(self, folder: str, name: str = "") -> str:
        if not plain_folder(folder or ".") or (name and not plain_name(name)):
            raise UnsafePath(LED_OUT)
        return "/".join(part for part in (self._at.path, folder if folder != "." else "", name) if part)

    def _listing(self, folder: str) -> dict[str, Mapping[str, Any] | None]:
        if folder not in self._folders:
            found = {} if self._listed else addresses.list_remote_folder(self._at, self._path(folder))
            self._folders[folder] = dict(found)
        return self._folders[folder]

    # --- the manifest

    @contextmanager
    def hold(self, say: Say) -> Iterator[None]:
        """Hold nothing: an address has no lock."""
        yield

    @contextmanager
    def manifest(
        self, *, write: bool, sync: bool = False, forget: bool = False, whole: bool = True
    ) -> Iterator[Manifest]:
        """Fetch the manifest and open it; store it in the end. Raises `Unusable` and OSError."""
        with tempfile.TemporaryDirectory(prefix="lickwright-") as self._home:
            path = os.path.join(self._home, NAME)
            self._stored = b"" if forget or self._unusable else self._fetch(path)
            self._saved = time.monotonic()
            try:
                with Manifest(self._home, write=write) as opened:
                    yield opened
            except OSError:
                with suppress(OSError):  # what was committed is kept if the storage still takes it
                    self._save(write)
                raise
            self._save(write)

    def _fetch(self, path: str) -> bytes:
        """Fetch the manifest to `path`; return its hash, b"" if there is none. Raises `Unusable` and OSError."""
        there = self._own(NAME)
        with remote_errors(Unusable):
            self._at.fs.invalidate_cache()
            if not self._at.fs.exists(there):
                return b""
            info = self._at.fs.info(there)
            if info.get("islink") or info["type"] != "file" or int(info["size"] or 0) > LARGEST:
                raise Unusable("it is not one of our files")
            self._at.fs.get_file(there, path)
        return _data_of(path).hash

    def has_manifest(self) -> bool:
        """Return True if something stands in the manifest's place. Raises OSError where that cannot be told."""
        with remote_errors():
            return bool(self._at.fs.exists(self._own(NAME)))

    def save_manifest(self, *, force: bool = False) -> None:
        """Store the manifest as it was last committed, if it was not stored in the last 30 seconds. Raises OSError."""
        if force or time.monotonic() - self._saved > _SAVED:
            self._save(True)

    def _save(self, write: bool) -> None:
        if not write:
            return
        data = _data_of(os.path.join(self._home, NAME))
        if data.hash != self._stored:
            addresses.put_remote(self._at, self._own(NAME), data)
            self._stored = data.hash
        self._saved = time.monotonic()

    def set_aside(self, error: Exception, say: Say) -> None:
        """Move the manifest to `.lickwright.db.old`. Raises OSError."""
        say(set_aside_message(self.out, error))
        self._unusable = True
        with remote_errors():
            if self._at.fs.isdir(self._own(NAME)):
                raise UnsafePath(f"{NAME} is a folder and not ours: move it away")
            self._at.fs.mv(self._own(NAME), self._own(ASIDE))

    def _own(self, name: str) -> str:
        return f"{self._at.path}/{name}"

    def journal(self) -> None:
        """Return None: outputs are known by their bytes."""

    def is_interrupted(self) -> bool:
        """Return False: there is no journal."""
        return False

    def recover(self, manifest: Manifest) -> None:
        """Do nothing: there is no journal."""

    def clear_journal(self, *, sweep: bool = False) -> None:
        """Do nothing: there is no journal."""


def _data_of(path: str) -> LargeData:
    """Return the bytes of a file here, which are never in memory as a whole. Raises OSError."""

    def pieces() -> Iterator[bytes]:
        with open(path, "rb") as file:
            while piece := file.read(PIECE):
                yield piece

    return LargeData(pieces)


def _state(info: Mapping[str, Any]) -> FileState:
    kind = str(info.get("type", "file"))
    if info.get("islink"):
        kind = "link"
    elif kind == "directory":
        kind = "folder"
    elif kind != "file":
        kind = "pipe or device"
    return FileState(kind, int(info["size"] or 0), inode=addresses.remote_fingerprint(info))
