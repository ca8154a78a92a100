"""Termination signals (Ctrl-C, a closed terminal, a shutdown), deferred where they would do harm.

In: nothing. Out: a context in which none of them is delivered; afterwards they are.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager

TERMINATION_SIGNALS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


@contextmanager
def defer_interrupts() -> Iterator[None]:
    """Block termination signals in this thread, and in processes that it forks, where the system can do that."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, TERMINATION_SIGNALS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
