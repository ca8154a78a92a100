"""Keeps the decoder of MP3 from writing to standard error, which it does in its own words for every damaged frame.

In: nothing. Out: a context in which file descriptor 2 leads nowhere, for the whole process. Threads may be in it together: the first one turns the
descriptor away, and the last one puts it back. An interrupt at any point leaves the descriptor as it was.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from lickwright.core.interrupts import defer_interrupts


class _Silence:
    """Where descriptor 2 led before, while it leads nowhere."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._inside: set[object] = set()  # who is in the context
        self._kept: int | None = None  # None: standard error was closed, or no descriptor was left

    def begin(self, who: object) -> None:
        with defer_interrupts(), self._lock:
            self._inside.add(who)
            if len(self._inside) == 1:
                self._kept = _turned_away()

    def end(self, who: object) -> None:
        """Let somebody out, or do nothing for one who is not inside."""
        with defer_interrupts(), self._lock:
            self._inside.discard(who)
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
    who = object()
    try:
        try:
            _SILENCE.begin(who)
            yield
        finally:
            _SILENCE.end(who)
    finally:
        _SILENCE.end(who)  # an interrupt may have come before the first one began
