"""Worker processes that a bad source cannot take anything from but itself.

In: chunks of items. Out: the chunks with their results, as they become ready. Each worker has one chunk in flight over a pipe of its own. When
a worker breaks down, hangs or runs out of memory, the sources of its chunk are done again one by one, each alone in its chunk; one that brings
its worker down again is given up and named. Nothing queued is ever lost, since nothing is queued with a worker.

Workers are forked where the system can: they start in milliseconds, hold the build's lock with us, and end when we do.
"""

from __future__ import annotations

import math
import os
import signal
import time
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection, wait
from typing import Any, NamedTuple

from lickwright.library import careful
from lickwright.library.orders import Item, Order, Result
from lickwright.library.outputs import Place
from lickwright.library.work import Work, given_up, make, safely

OUT_OF_MEMORY = 77  # a worker's exit code
_SIGKILL = getattr(signal, "SIGKILL", 0)
KILLED = 3  # tries of a source whose worker was killed from outside, as happens where memory is short
PORTION = 4096  # bytes of a source
CHUNK = 32  # sources; a chunk costs about a source's hundredth part to hand over


class Limits(NamedTuple):
    """What one source may cost."""

    seconds: float = 60.0  # by the clock, and as much again for every `PORTION` of the file; most need two thousandths
    memory: int = 2 << 30  # bytes of address space, where the system can limit it


class Setup(NamedTuple):
    """What every worker needs to know."""

    out: str
    overwrite: bool
    orders: tuple[Order, ...]
    limits: Limits = Limits()
    work: Work = make  # tests put one in its place that breaks down


class Chunk(NamedTuple):
    """Sources that are handed over together."""

    number: int
    items: tuple[Item, ...]
    alone: int = 0  # how often its only source was tried by itself, after its chunk brought a worker down


class Pool:
    """Some workers at work. Use it in a `with`: at its end, however it comes, no process is left."""

    def __init__(self, setup: Setup, jobs: int) -> None:
        self._setup = setup
        self._context: Any = get_context("fork" if "fork" in get_all_start_methods() else "spawn")
        self._workers: list[_Worker] = []
        for _ in range(jobs):
            try:
                self._workers.append(self._start())
            except OSError:  # the system allows no more processes
                if not self._workers:
                    raise
                break

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._workers:
            worker.process.kill()
        for worker in self._workers:
            worker.end()
        self._workers.clear()

    def pids(self) -> tuple[int, ...]:
        """The workers of this moment."""
        return tuple(worker.process.pid or 0 for worker in self._workers)

    def run(self, chunks: Iterable[Chunk]) -> Iterator[tuple[Chunk, list[Result]]]:
        """Every chunk with the results of its items, in the order in which they become ready."""
        queue = _Queue(chunks)
        for worker in self._workers:
            worker.give(queue.next())
        while any(worker.chunk for worker in self._workers):
            busy = {worker.conn: worker for worker in self._workers if worker.chunk}
            now = time.monotonic()
            first = min(worker.deadline for worker in busy.values())
            ready = wait(list(busy), None if first == math.inf else max(0.0, first - now))
            for conn in ready:
                yield from self._answer(busy[conn], queue)  # type: ignore[index]
            for worker in self._workers:
                if not worker.chunk:  # there may be something to be done again by now
                    worker.give(queue.next())
            if not ready:
                for worker in busy.values():
                    if worker.deadline <= time.monotonic():
                        worker.late = True
                        worker.process.kill()  # noticed as broken down in the next round

    def _answer(self, worker: _Worker, queue: _Queue) -> Iterator[tuple[Chunk, list[Result]]]:
        chunk = worker.chunk
        assert chunk is not None
        try:
            results: list[Result] = worker.conn.recv()
            worker.give(queue.next())
        except (EOFError, OSError):
            worker.end()
            self._workers.remove(worker)
            killed = worker.process.exitcode == -_SIGKILL and not worker.late
            if chunk.alone >= (KILLED if killed else 1):
                results = queue.broke(chunk, _why(worker.process.exitcode, worker.late, self._setup.limits))
            else:
                results = []
                queue.again(chunk)
            self._workers.append(new := self._start())
            new.give(queue.next())
        yield from queue.done(chunk, results)

    def _start(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        others = [ours] + [worker.conn for worker in self._workers]
        inherited = self._context.get_start_method() == "fork"
        process = self._context.Process(
            target=_serve, args=(theirs, self._setup, others if inherited else (), os.getpid()), daemon=True
        )
        with _unheard():  # or a wish to end would find the child with our way to deal with it
            process.start()
        theirs.close()
        return _Worker(process, ours, self._setup.limits.seconds)


class _Worker:
    """One process, seen from ours."""

    def __init__(self, process: Any, conn: Connection, seconds: float) -> None:
        self.process = process
        self.conn = conn
        self.chunk: Chunk | None = None  # what it is at work on
        self.deadline = math.inf  # when even its last source would have taken too long
        self.late = False  # we killed it, since it took too long
        self._seconds = seconds

    def give(self, chunk: Chunk | None) -> None:
        """Hands it the next chunk; None: there is none for it now."""
        self.chunk = chunk
        if chunk is not None:
            if not hasattr(signal, "setitimer"):  # elsewhere the system itself ends a worker that takes too long
                self.deadline = time.monotonic() + sum(_seconds(item, self._seconds) for item in chunk.items) + 1.0
            try:
                self.conn.send(chunk.items)
            except OSError:  # it is gone: noticed when its answer is read
                pass

    def end(self) -> None:
        """Sees it out."""
        self.process.join(5)
        self.conn.close()


class _Queue:
    """Chunks to hand out, and those that are being done again one by one."""

    def __init__(self, chunks: Iterable[Chunk]) -> None:
        self._chunks = iter(chunks)
        self._again: deque[Chunk] = deque()
        self._parts: dict[int, tuple[Chunk, dict[int, Result]]] = {}  # by number: the chunk, and results of its sources
        self._probes: dict[int, careful.Probe] = {}  # sources in which the bad lick is being looked for

    def next(self) -> Chunk | None:
        """What a worker is to do next."""
        return self._again.popleft() if self._again else next(self._chunks, None)

    def again(self, chunk: Chunk) -> None:
        """Takes back a chunk whose worker broke down."""
        if not chunk.alone:
            self._parts[chunk.number] = (chunk, {})
        self._again.extend(Chunk(chunk.number, (item,), chunk.alone + 1) for item in chunk.items)

    def broke(self, chunk: Chunk, why: str) -> list[Result]:
        """A source brought its worker down again: one with several licks is looked into, any other is given up."""
        item = chunk.items[0]
        if item.only is not None:
            self._probes[item.id].broke(why)
            self._look_on(chunk)
            return []
        if not item.without and 1 < (licks := careful.count(item)) <= careful.MOST:
            self._probes[item.id] = careful.Probe(item, licks)
            self._look_on(chunk)
            return []
        return [given_up(item, why)]

    def _look_on(self, chunk: Chunk) -> None:
        """The next thing to try in a source that is looked into."""
        item = self._probes[chunk.items[0].id].next()
        if item is None:  # every lick alone is fine, or none is: as a whole it cannot be made
            item = chunk.items[0]._replace(only=None, without=((-1, ""),))
        self._again.append(Chunk(chunk.number, (item,), chunk.alone))

    def done(self, chunk: Chunk, results: Sequence[Result]) -> Iterator[tuple[Chunk, list[Result]]]:
        """The chunk, if all of it is done now."""
        if chunk.number not in self._parts:
            yield chunk, list(results)
            return
        if results and chunk.items[0].only is not None:
            self._look_on(chunk)
            return
        whole, ready = self._parts[chunk.number]
        ready.update((result.id, result) for result in results)
        if len(ready) == len(whole.items):
            del self._parts[chunk.number]
            yield whole, [ready[item.id] for item in whole.items]


_ENDINGS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]


@contextmanager
def _unheard() -> Iterator[None]:
    """Keeps wishes to end waiting, here and in what is forked."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _ENDINGS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


# --- in the worker -----------------------------------------------------------------------------------------------------


def _serve(conn: Connection, setup: Setup, others: Sequence[Connection], parent: int) -> None:
    """What a worker does until there is nothing more, or nobody to do it for."""
    for other in others:  # held by us too, they would never tell their own worker that the parent is gone
        other.close()
    _limit(setup.limits)
    place = Place(setup.out, setup.overwrite)
    try:
        while True:
            items: tuple[Item, ...] = conn.recv()
            results = []
            for item in items:
                if os.getppid() != parent and hasattr(os, "fork"):
                    return
                _alarm(_seconds(item, setup.limits.seconds))
                results.append(safely(setup.work, item, setup.orders[item.order], place))
            _alarm(0)
            conn.send(results)
    except (EOFError, OSError):  # the parent is gone, or has no more use for us
        pass
    except MemoryError:
        os._exit(OUT_OF_MEMORY)


def _limit(limits: Limits) -> None:
    for number in _ENDINGS:  # Ctrl-C goes to all of us, and the parent decides
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _ENDINGS)
    try:
        import resource
    except ImportError:  # Windows has none
        return
    for which, most in ((resource.RLIMIT_AS, limits.memory), (resource.RLIMIT_CORE, 0)):
        soft, hard = resource.getrlimit(which)
        allowed = [limit for limit in (most, soft, hard) if limit != resource.RLIM_INFINITY]
        resource.setrlimit(which, (min(allowed), hard))


def _seconds(item: Item, seconds: float) -> float:
    """How long a source may take."""
    try:
        return seconds * (1 + os.stat(item.path).st_size // PORTION)
    except (OSError, ValueError):  # it cannot be read either: that is said soon
        return seconds


def _alarm(seconds: float) -> None:
    """Lets the system end this process, if the source it is at takes so long; 0: no more."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _why(code: int | None, late: bool, limits: Limits) -> str:
    """What became of a worker, in a few words."""
    if code == OUT_OF_MEMORY:
        return f"it needs more than {limits.memory / (1 << 30):.3g} GiB of memory"
    if late or code == -getattr(signal, "SIGALRM", 0):
        return f"it took longer than {limits.seconds:g} seconds for each {PORTION // 1024} KiB"
    if code == -_SIGKILL:
        return f"its process was killed {KILLED} times, as happens where memory is short"
    if code is not None and code < 0:
        return f"lickwright broke down over it ({signal.Signals(-code).name})"
    return f"lickwright broke down over it (exit code {code})"
