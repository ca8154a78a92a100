"""Holds outputs that can be too large for the memory, until they are written to their places.

In: exports that write into a file. Out: `LargeData` values, which are read a piece at a time. What is spooled lies in memory while it is small, then
in a temporary file without a name, which the system takes away however the process ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from io import SEEK_CUR, SEEK_END, SEEK_SET, RawIOBase
from typing import Any, BinaryIO, cast

from lickwright.core.digest import blake2b
from lickwright.core.file_bytes import error_reason
from lickwright.export import Writer

PIECE = 1 << 20  # bytes handed on at once
IN_MEMORY = 1 << 23  # bytes of one source's outputs that need no file


class LargeData:
    """Bytes that are read a piece at a time, as often as wanted, by iterating."""

    def __init__(self, pieces: Callable[[], Iterator[bytes]]) -> None:
        """Read all of `pieces` once, for size and hash. Raises what reading them raises."""
        hash, size = blake2b(digest_size=16), 0
        for piece in pieces():
            hash.update(piece)
            size += len(piece)
        self._pieces = pieces
        self._hash, self._size = hash.digest(), size

    def __iter__(self) -> Iterator[bytes]:
        return self._pieces()

    def __len__(self) -> int:
        return self._size

    @property
    def hash(self) -> bytes:
        """The 128-bit BLAKE2b hash."""
        return self._hash


class Spool:
    """The large outputs of one source in one temporary file. Use it in a `with`; what it returned is readable until its end."""

    def __init__(self) -> None:
        import tempfile  # here and below: a build with nothing to do needs none

        # A file of the system is begun when there is more than the memory should hold.
        self._file: Any = tempfile.SpooledTemporaryFile(max_size=IN_MEMORY)  # noqa: SIM115 (closed by `__exit__`)
        self._size = 0

    def __enter__(self) -> Spool:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def take(self, write: Writer) -> LargeData:
        """Return what `write` writes. Raises OSError where the temporary file cannot hold it, and whatever `write` raises."""
        import tempfile

        self._file.seek(self._size)
        self._file.truncate()  # what a work that failed has left
        section = _Section(self._file, self._size)
        try:
            with tempfile.SpooledTemporaryFile(max_size=1) as scratch:  # a file once anything is put aside
                write(cast(BinaryIO, section), cast(BinaryIO, scratch))
            begin, end = self._size, self._size + section.seek(0, SEEK_END)
            large = LargeData(lambda: _pieces(self._file, begin, end))
        except OSError as e:
            raise OSError(
                e.errno, f"{error_reason(e)} in the folder for temporary files, {tempfile.gettempdir()}"
            ) from None
        self._size = end
        return large


def _pieces(file: BinaryIO, begin: int, end: int) -> Iterator[bytes]:
    for at in range(begin, end, PIECE):
        file.seek(at)
        yield file.read(min(PIECE, end - at))


class _Section(RawIOBase):
    """The part of a file from byte `begin` on, as a file of its own."""

    def __init__(self, file: Any, begin: int) -> None:
        self._file, self._begin, self._at = file, begin, 0

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = SEEK_SET) -> int:
        if whence == SEEK_CUR:
            offset += self._at
        elif whence == SEEK_END:
            offset += max(0, self._file.seek(0, SEEK_END) - self._begin)
        self._at = max(0, offset)
        return self._at

    def tell(self) -> int:
        return self._at

    def readinto(self, buffer: Any) -> int:
        self._file.seek(self._begin + self._at)
        count: int = self._file.readinto(buffer)
        self._at += count
        return count

    def write(self, data: Any) -> int:
        self._file.seek(self._begin + self._at)
        self._file.write(data)
        self._at += len(data)
        return len(data)
