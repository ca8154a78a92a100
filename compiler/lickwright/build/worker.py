"""The worker process of a pool: its loop, its limits, and what its exit code means.

In: items, over a pipe. Out: results over the same pipe, or the end of the process, which `end_in_words` explains. A worker ends by itself when
there is nobody to work for, when a source takes too long (the system's own alarm, which needs no help from a program that hangs) and when
memory runs out.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from lickwright.build.stage_runner import Turns, Work, run_sources, source_size
from lickwright.build.task import compile_source
from lickwright.core.interrupts import TERMINATION_SIGNALS
from lickwright.export import Length
from lickwright.store.open_storage import open_storage
from lickwright.store.output_writer import OutputWriter
from lickwright.store.recorded_sounds import Sounds
from lickwright.store.storage import Storage
from lickwright.store.types import CompileOptions, WorkItem

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

OUT_OF_MEMORY = 77  # a worker's exit code
SIGKILL = getattr(signal, "SIGKILL", 0)
KILLED = 3  # tries of a source whose worker was killed from outside, as happens where memory is short
PORTION = 4096  # bytes of a source
_SHORTEST = 1e-3  # seconds; an alarm of none would never ring


class Limits(NamedTuple):
    """What one source may cost (estimates)."""

    seconds: float = 60.0  # by the clock, and as much again for every `PORTION` of the file; most need two thousandths
    memory: int = 2 << 30  # bytes of address space, where the system can limit it


class Setup(NamedTuple):
    """What every worker needs to know, as a value that travels between processes."""

    out: str
    overwrite: bool
    option_sets: tuple[CompileOptions, ...]
    limits: Limits = Limits()
    work: Work = compile_source  # tests put one in its place that crashes
    dry: bool = False  # nothing is written
    sounds: Sounds = {}  # noqa: RUF012 (never changed)


class RecordingBegun(NamedTuple):
    """Sent by a worker before it makes a recording, which may take as long as the recording lasts."""

    name: str
    length: Length


def output_writer(setup: Setup, storage: Storage | None = None) -> OutputWriter:
    """Return the writer of outputs for this process. `storage`: the one of `setup.out`, if it is open here already."""
    storage = storage or open_storage(setup.out)
    if setup.dry:
        from lickwright.store.dry_output import Rehearsal

        writer: OutputWriter = Rehearsal(storage, setup.overwrite)
    else:
        writer = OutputWriter(storage, setup.overwrite)
    writer.sounds = setup.sounds
    return writer


class _Alarms(Turns):
    """Gives each source its own time, whatever others are worked on in between."""

    def __init__(self, parent: int, seconds: float) -> None:
        self._parent, self._seconds = parent, seconds
        self._left: dict[int, float] = {}  # seconds, by the number of the item

    def begin(self, item: WorkItem) -> None:
        """Let the alarm ring when the source has used up its time. Raises EOFError if there is nobody to work for."""
        if os.getppid() != self._parent and hasattr(os, "fork"):
            raise EOFError
        left = self._left.pop(item.id, None)
        _alarm(seconds_allowed(item, self._seconds) if left is None else left)

    def end(self, item: WorkItem) -> None:
        """Keep what is left of its time."""
        self._left[item.id] = max(_SHORTEST, _left())


def serve_pool(conn: Connection, setup: Setup, others: Sequence[Connection], parent: int) -> None:
    """Work on chunks from the pipe until it is closed, or the parent is gone."""
    for other in others:  # if this process kept them open too, their worker would not notice that the parent is gone
        other.close()
    _limit(setup.limits)
    writer = output_writer(setup)

    def begins(name: str, length: Length) -> None:
        _alarm(_left() + length.seconds)
        conn.send(RecordingBegun(name, length))

    writer.begins = begins
    try:
        while True:
            items: tuple[WorkItem, ...] = conn.recv()
            alarms = _Alarms(parent, setup.limits.seconds)
            results = list(run_sources(setup.work, items, setup.option_sets, writer, alarms))
            _alarm(0)
            conn.send(results)
    except (EOFError, OSError):  # the parent is gone, or has no more use for us
        pass
    except MemoryError:
        os._exit(OUT_OF_MEMORY)


def _limit(limits: Limits) -> None:
    for number in TERMINATION_SIGNALS:  # Ctrl-C goes to all of us, and the parent decides
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, TERMINATION_SIGNALS)
    try:
        import resource
    except ImportError:  # Windows has none
        return
    for which, most in ((resource.RLIMIT_AS, limits.memory), (resource.RLIMIT_CORE, 0)):
        soft, hard = resource.getrlimit(which)
        allowed = [limit for limit in (most, soft, hard) if limit != resource.RLIM_INFINITY]
        resource.setrlimit(which, (min(allowed), hard))


def seconds_allowed(item: WorkItem, seconds: float) -> float:
    """Return how many seconds a source may take."""
    return seconds * (1 + source_size(item) // PORTION)


def _alarm(seconds: float) -> None:
    """Let the system end this process after so many seconds; 0: never."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _left() -> float:
    """Return the seconds until the alarm."""
    return signal.getitimer(signal.ITIMER_REAL)[0] if hasattr(signal, "getitimer") else 0.0


def end_in_words(code: int | None, late: bool, limits: Limits) -> str:
    """Return what became of a worker, in a few words."""
    if code == OUT_OF_MEMORY:
        return f"it needs more than {limits.memory / (1 << 30):.3g} GiB of memory"
    if late or code == -getattr(signal, "SIGALRM", 0):
        return f"it took longer than {limits.seconds:g} seconds for each {PORTION // 1024} KiB"
    if code == -SIGKILL:
        return f"its process was killed {KILLED} times, as happens where memory is short"
    if code is not None and code < 0:
        return f"lickwright broke down over it ({signal.Signals(-code).name})"
    return f"lickwright broke down over it (exit code {code})"
