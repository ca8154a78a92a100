"""What a build needs of the place that holds its outputs: a small set of operations on stored files.

In: folders and names as the manifest keeps them, relative to the output folder. Out: file states, bytes, and a manifest to work with. There are two
implementations, `local_storage.py` (a folder on this machine) and `remote_storage.py` (any address that fsspec knows); `open_storage.py` chooses one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, BinaryIO, NamedTuple, Protocol, TypeAlias

from lickwright.store.spool import PIECE, LargeData

if TYPE_CHECKING:
    from lickwright.store.journal import Journal
    from lickwright.store.manifest import Manifest

Say: TypeAlias = Callable[[str], None]  # takes one line for the user
Data: TypeAlias = "bytes | Iterable[bytes]"


class FileState(NamedTuple):
    """The metadata of one file in a storage. Equal states mean the same, unchanged file."""

    kind: str  # "file", "folder", "link", "pipe or device"
    size: int  # bytes
    mtime: int = 0  # nanoseconds; 0 where the storage has no such time
    ctime: int = 0  # nanoseconds; 0 likewise
    inode: int = 0  # of a remote file a hash of its ETag, version or times


class FolderLook(NamedTuple):
    """The states of a folder of outputs and of some files in it, without their kind."""

    folder: (
        tuple[int, ...] | None
    )  # mtime, ctime and inode: they change with every name in it; None where a storage has no such thing
    files: Sequence[
        tuple[int, ...] | None
    ]  # size, mtime, ctime and inode of each; None for anything but an ordinary file


class Storage(Protocol):
    """An output folder. Every operation raises OSError where the storage refuses, and `UnsafePath` for a path that leads out of the folder."""

    out: str  # the output folder as the user names it
    noun: str  # what it is called in messages: "folder" or "place"
    is_shared: bool  # True if other processes see what this one writes
    limits: str  # what the storage cannot promise, as a line for the user; "" for nothing

    def shown(self, folder: str, name: str = "") -> str:
        """Return the path of a stored folder or file as the user would write it."""

    # --- files

    def state(self, folder: str, name: str) -> FileState | None:
        """Return the state of what stands at a path, None for nothing. Links are not followed."""

    def look(self, folder: str, names: Sequence[str]) -> FolderLook:
        """Return the states of a folder and of some files in it.

        The fast way to ask about all files of a folder: raises OSError where one is missing.
        """

    def folder_states(self, folders: Sequence[str]) -> Iterator[tuple[int, ...]] | None:
        """Return an iterator over the states of folders as `look` gives them, which raises OSError; None where a storage has no such thing."""

    def open(self, folder: str, name: str) -> BinaryIO:
        """Open a stored file for reading. Raises `UnsafePath` for anything but an ordinary file."""

    def write(self, folder: str, name: str, data: Data) -> None:
        """Write a file whole: whoever reads it meanwhile sees the old bytes or all of the new ones, where the storage can promise that."""

    def is_new(self, folder: str) -> bool:
        """Return True if `folder` is not there and can be written at once by `write_folder`."""

    def write_folder(self, folder: str, files: Sequence[tuple[str, Data]]) -> list[FileState]:
        """Write a folder that is not there with all its files, and return their states. Raises OSError, and then nothing of it is left."""

    def prepare(self, folder: str) -> None:
        """Make a folder ready to be written into; remove the temporary files that killed commands left in it."""

    def remove(self, folder: str, name: str) -> None:
        """Remove a file."""

    def remove_empty(self, folder: str) -> None:
        """Remove a folder if it is empty, and those above it; does nothing where folders do not exist by themselves."""

    def move(self, at: tuple[str, str], to: tuple[str, str]) -> bool:
        """Move a file, and return True; return False, with nothing done, where the storage cannot move or the new path is taken."""

    def refresh(self) -> None:
        """Prepare for questions about many files: a remote storage lists all of them in one request."""

    def check_writable(self, folder: str) -> None:
        """Raise OSError if `folder` could not be made or written into, as far as that can be known without writing."""

    def free_bytes(self) -> int | None:
        """Return the free space, None where that is not known."""

    # --- the manifest, and what guards it

    def hold(self, say: Say) -> AbstractContextManager[object]:
        """Return a context that holds the output folder for one writer, where the storage has locks; makes the folder."""

    def manifest(
        self, *, write: bool, sync: bool = False, forget: bool = False, whole: bool = True
    ) -> AbstractContextManager[Manifest]:
        """Return a context with the manifest open. `forget`: begin with an empty one; without `whole` only its tables need be checked.

        Raises `Unusable` for one that cannot be used.
        """

    def has_manifest(self) -> bool:
        """Return True if something stands in the manifest's place. Raises OSError where that cannot be told."""

    def save_manifest(self, *, force: bool = False) -> None:
        """Store the manifest as it was last committed, now and then; nothing to do where it is written in place."""

    def set_aside(self, error: Exception, say: Say) -> None:
        """Move a manifest that cannot be used out of the way because of `error`, and announce it with `say`."""

    def journal(self) -> Journal | None:
        """Return a new write-ahead journal for one process; None where outputs are known by their bytes alone."""

    def is_interrupted(self) -> bool:
        """Return True if a build was killed here and left something for `recover`. Raises OSError."""

    def recover(self, manifest: Manifest) -> None:
        """Enter what killed builds wrote into the manifest, by their journals. Nobody else may be writing."""

    def clear_journal(self, *, sweep: bool = False) -> None:
        """Remove the journals once the manifest holds what they say. `sweep`: also the temporary files of workers that died."""


def read_output(storage: Storage, folder: str, name: str) -> Iterator[bytes]:
    """Yield the bytes of a stored file, at most `PIECE` at a time. Raises OSError, `UnsafePath` for anything but an ordinary file."""
    with storage.open(folder, name) as file:
        while piece := file.read(PIECE):
            yield piece


def stored_digest(storage: Storage, folder: str, name: str) -> bytes:
    """Return the 128-bit BLAKE2b hash of a stored file. Raises what `read_output` raises."""
    return LargeData(lambda: read_output(storage, folder, name)).hash
