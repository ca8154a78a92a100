"""Keeps the decoder of MP3 from writing to standard error, which it does in its own words for every damaged frame.

In: nothing. Out: a context in which file descriptor 2 leads nowhere, for the whole process. Threads may be in it together: the first one turns the
descriptor away, and the last one puts it back.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock


class _Silence:
    """Where descriptor 2 led before, while it leads nowhere."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._inside = 0  # how many are in the context
        self._kept: int | None = None  # None: standard error was closed, or no descriptor was left

    def begin(self) -> None:
        with self._lock:
            self._inside += 1
            if self._inside == 1:
                self._kept = _turned_away()

    def end(self) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside and self._kept is not None:
                os.dup2(self._kept, 2)
                os.close(self._kept)
                self._kept = None


def _turned_away() -> int | None:
    """Let descriptor 2 lead nowhere; return another one for where it led, None where nothing was changed."""
    try:
        kept = os.dup(2)
    except OSError:
        return None
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
    except OSError:
        os.close(kept)
        return None
    os.dup2(nowhere, 2)
    os.close(nowhere)
    return kept


_SILENCE = _Silence()


@contextmanager
def silenced_decoder() -> Iterator[None]:
    """A context in which nothing written to file descriptor 2 is seen."""
    _SILENCE.begin()
    try:
        yield
    finally:
        _SILENCE.end()
