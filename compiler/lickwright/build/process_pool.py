"""A process pool that isolates crashes: a source that kills its worker fails alone.

In: chunks of items. Out: the chunks with their results, as they become ready. Each worker has one chunk in flight over a pipe of its own. When
a worker crashes, hangs or runs out of memory, the sources of its chunk are done again one by one, each alone in its chunk; one that crashes
its worker again is given up and named. Nothing queued is ever lost, since nothing is queued with a worker.

Workers (`worker.py`) are forked where the system can: they start in milliseconds, hold the build's lock with us, and end when we do.
"""

from __future__ import annotations

import math
import os
import signal
import time
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection, wait
from typing import Any

from lickwright.build import crash_isolation
from lickwright.build.executor import Chunk
from lickwright.build.task import crashed_result
from lickwright.build.worker import KILLED, SIGKILL, RecordingBegun, Setup, end_in_words, seconds_allowed, serve_pool
from lickwright.core.interrupts import defer_interrupts
from lickwright.store.output_writer import Begins
from lickwright.store.types import WorkResult


class Pool:
    """An `Executor` of several processes. At its end, however it comes, no process is left."""

    def __init__(self, setup: Setup, jobs: int, begins: Begins | None = None) -> None:
        self._setup, self._begins = setup, begins
        self._context: Any = get_context("fork" if "fork" in get_all_start_methods() else "spawn")
        self.died = False  # a worker crashed, maybe in the middle of writing
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

    def run(self, chunks: Iterable[Chunk]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield every chunk with the results of its items, in the order in which they become ready."""
        queue = _Queue(chunks)
        self._hand_out(queue)
        while busy := {worker.conn: worker for worker in self._workers if worker.chunk}:
            first = min(worker.deadline for worker in busy.values())
            ready = wait(list(busy), None if first == math.inf else max(0.0, first - time.monotonic()))
            for conn in ready:
                yield from self._answer(busy[conn], queue)  # type: ignore[index]
            self._hand_out(queue)  # there may be something to be done again by now
            if not ready:
                _kill_late(busy.values())

    def _hand_out(self, queue: _Queue) -> None:
        for worker in self._workers:
            if not worker.chunk:
                worker.give(queue.next())

    def _answer(self, worker: _Worker, queue: _Queue) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        chunk = worker.chunk
        assert chunk is not None
        try:
            results: list[WorkResult] | RecordingBegun = worker.conn.recv()
            if isinstance(results, RecordingBegun):
                worker.deadline += results.length.seconds
                if self._begins is not None:
                    self._begins(*results)
                return
            worker.give(queue.next())
        except (EOFError, OSError):
            self.died = True
            worker.end()
            self._workers.remove(worker)
            killed = worker.process.exitcode == -SIGKILL and not worker.late
            if chunk.alone >= (KILLED if killed else 1):
                results = queue.crashed(chunk, end_in_words(worker.process.exitcode, worker.late, self._setup.limits))
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
            target=serve_pool, args=(theirs, self._setup, others if inherited else (), os.getpid()), daemon=True
        )
        with defer_interrupts():  # else Ctrl-C would find the child with the parent's signal handlers
            process.start()
        theirs.close()
        return _Worker(process, ours, self._setup.limits.seconds)


def _kill_late(workers: Iterable[_Worker]) -> None:
    """Kill the workers that are past their deadline; they are noticed as crashed in the next round."""
    for worker in workers:
        if worker.deadline <= time.monotonic():
            worker.late = True
            worker.process.kill()


class _Worker:
    """A worker process, seen from the parent."""

    def __init__(self, process: Any, conn: Connection, seconds: float) -> None:
        self.process = process
        self.conn = conn
        self.chunk: Chunk | None = None  # what it is at work on
        self.deadline = math.inf  # when even its last source would have taken too long
        self.late = False  # we killed it, since it took too long
        self._seconds = seconds

    def give(self, chunk: Chunk | None) -> None:
        """Hand over the next chunk; None: there is none for it now."""
        self.chunk = chunk
        if chunk is not None:
            if not hasattr(signal, "setitimer"):  # elsewhere the system itself ends a worker that takes too long
                self.deadline = (
                    time.monotonic() + sum(seconds_allowed(item, self._seconds) for item in chunk.items) + 1.0
                )
            try:
                self.conn.send(chunk.items)
            except OSError:  # it is gone: noticed when its answer is read
                pass

    def end(self) -> None:
        """Wait for the process to end, and close its pipe."""
        self.process.join(5)
        self.conn.close()


class _Queue:
    """The chunks to hand out, and those whose sources are tried again one by one."""

    def __init__(self, chunks: Iterable[Chunk]) -> None:
        self._chunks = iter(chunks)
        self._again: deque[Chunk] = deque()
        self._parts: dict[
            int, tuple[Chunk, dict[int, WorkResult]]
        ] = {}  # by number: the chunk, and results of its sources
        self._isolations: dict[
            int, crash_isolation.CrashIsolation
        ] = {}  # sources in which the bad lick is being looked for

    def next(self) -> Chunk | None:
        """Return the next chunk for a worker, None if there is none now."""
        return self._again.popleft() if self._again else next(self._chunks, None)

    def again(self, chunk: Chunk) -> None:
        """Take back a chunk whose worker crashed: its sources are tried again one by one."""
        if not chunk.alone:
            self._parts[chunk.number] = (chunk, {})
        self._again.extend(Chunk(chunk.number, (item,), chunk.alone + 1) for item in chunk.items)

    def crashed(self, chunk: Chunk, why: str) -> list[WorkResult]:
        """Handle a source that crashed its worker again: return its result if it is given up, nothing if its licks are tried one by one."""
        item = chunk.items[0]
        if item.only is not None:
            self._isolations[item.id].note_crash(why)
            self._try_next(chunk)
            return []
        if not item.without and 1 < (licks := crash_isolation.count_licks(item)) <= crash_isolation.MOST_LICKS:
            self._isolations[item.id] = crash_isolation.CrashIsolation(item, licks)
            self._try_next(chunk)
            return []
        return [crashed_result(item, why)]

    def _try_next(self, chunk: Chunk) -> None:
        """Queue the next try in a source whose bad lick is looked for."""
        item = self._isolations[chunk.items[0].id].next()
        if item is None:  # every lick alone is fine, or none is: as a whole it cannot be made
            item = chunk.items[0]._replace(only=None, without=((-1, ""),))
        self._again.append(Chunk(chunk.number, (item,), chunk.alone))

    def done(self, chunk: Chunk, results: Sequence[WorkResult]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
        """Yield the chunk, if all of it is done now."""
        if chunk.number not in self._parts:
            yield chunk, list(results)
            return
        if results and chunk.items[0].only is not None:
            self._try_next(chunk)
            return
        whole, ready = self._parts[chunk.number]
        ready.update((result.id, result) for result in results)
        if len(ready) == len(whole.items):
            del self._parts[chunk.number]
            yield whole, [ready[item.id] for item in whole.items]
