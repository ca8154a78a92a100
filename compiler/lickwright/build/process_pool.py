"""Worker processes that a bad source cannot take anything from but itself.

In: chunks of items. Out: the chunks with their results, as they become ready. Each worker has one chunk in flight over a pipe of its own. When
a worker breaks down, hangs or runs out of memory, the sources of its chunk are done again one by one, each alone in its chunk; one that brings
its worker down again is given up and named. Nothing queued is ever lost, since nothing is queued with a worker.

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

from lickwright.build import crash_bisection
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
        self.died = False  # a worker broke down, maybe in the middle of writing
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
                results = queue.broke(chunk, end_in_words(worker.process.exitcode, worker.late, self._setup.limits))
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
        with defer_interrupts():  # or a wish to end would find the child with our way to deal with it
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
                self.deadline = (
                    time.monotonic() + sum(seconds_allowed(item, self._seconds) for item in chunk.items) + 1.0
                )
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
        self._parts: dict[
            int, tuple[Chunk, dict[int, WorkResult]]
        ] = {}  # by number: the chunk, and results of its sources
        self._probes: dict[int, crash_bisection.Probe] = {}  # sources in which the bad lick is being looked for

    def next(self) -> Chunk | None:
        """What a worker is to do next."""
        return self._again.popleft() if self._again else next(self._chunks, None)

    def again(self, chunk: Chunk) -> None:
        """Takes back a chunk whose worker broke down."""
        if not chunk.alone:
            self._parts[chunk.number] = (chunk, {})
        self._again.extend(Chunk(chunk.number, (item,), chunk.alone + 1) for item in chunk.items)

    def broke(self, chunk: Chunk, why: str) -> list[WorkResult]:
        """A source brought its worker down again: one with several licks is looked into, any other is given up."""
        item = chunk.items[0]
        if item.only is not None:
            self._probes[item.id].broke(why)
            self._look_on(chunk)
            return []
        if not item.without and 1 < (licks := crash_bisection.count_licks(item)) <= crash_bisection.MOST:
            self._probes[item.id] = crash_bisection.Probe(item, licks)
            self._look_on(chunk)
            return []
        return [crashed_result(item, why)]

    def _look_on(self, chunk: Chunk) -> None:
        """The next thing to try in a source that is looked into."""
        item = self._probes[chunk.items[0].id].next()
        if item is None:  # every lick alone is fine, or none is: as a whole it cannot be made
            item = chunk.items[0]._replace(only=None, without=((-1, ""),))
        self._again.append(Chunk(chunk.number, (item,), chunk.alone))

    def done(self, chunk: Chunk, results: Sequence[WorkResult]) -> Iterator[tuple[Chunk, list[WorkResult]]]:
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
