"""The lock of an output folder: one build at a time.

In: the folder. Out: a lock that the system takes back by itself when its holder ends, however it ends; so there is no stale lock to clear
away. Worker processes that were forked hold it too: it is free only when nobody writes any more.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from types import TracebackType

from lickwright.store.ownership import open_ordinary

NAME = ".lickwright.lock"


class Lock:
    """Holds the lock of one output folder in a `with`."""

    def __init__(self, folder: str, say: Callable[[str], None]) -> None:
        """`say` gets one line if another process holds the lock. Entering raises OSError where the lock cannot be opened, or is not one of our files."""
        self._path = os.path.join(folder, NAME)
        self._waiting = f"another build is at work in {folder}: waiting for it"
        self._say = say
        self._handle = -1

    def __enter__(self) -> Lock:
        said = False
        while True:
            self._handle = self._open()
            try:
                if not _take(self._handle):
                    if not said:
                        said = True
                        self._say(self._waiting)
                    _wait(self._handle)
                if self._still_there():
                    return self
            except BaseException:
                os.close(self._handle)
                raise
            os.close(self._handle)  # it was taken away with its folder while we waited

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._handle)

    def _open(self) -> int:
        try:
            return open_ordinary(self._path, os.O_RDWR | os.O_CREAT)
        except PermissionError:  # somebody else's: it can be locked without writing to it
            try:
                return open_ordinary(self._path)
            except FileNotFoundError:
                pass
            raise  # there is none, and none can be made

    def _still_there(self) -> bool:
        try:
            return os.path.samestat(os.fstat(self._handle), os.lstat(self._path))
        except FileNotFoundError:
            return False


try:
    import fcntl
except ImportError:  # Windows has no fcntl

    def _take(handle: int) -> bool:
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True

    def _wait(handle: int) -> None:
        while not _take(handle):
            time.sleep(0.1)

else:

    def _take(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _wait(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX)
