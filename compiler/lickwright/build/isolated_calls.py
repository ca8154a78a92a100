"""A function called with many values in several processes, so that a value that ends its process costs only its own result.

In: the function, the values, and how many processes. Out: the results in the order of the values. Each process has one value in flight over a pipe of
its own, and there are no threads, which a fork could catch with a lock in their hands.
"""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from multiprocessing import get_all_start_methods, get_context
from multiprocessing.connection import Connection, wait
from typing import Any, Generic, TypeVar, cast

from lickwright.core.interrupts import TERMINATION_SIGNALS, defer_interrupts

Value = TypeVar("Value")
Result = TypeVar("Result")
_TRIES = 2  # of a value: where memory is short, the system ends any process


class Ended:
    """The result of a value whose process was ended from outside, each time that it was tried."""


def call_isolated(function: Callable[[Value], Result], values: Sequence[Value], count: int) -> Iterator[Result | Ended]:
    """Yield `function(value)` for each value, in order. `function` raises nothing. Where this ends, however it does, no process is left."""
    with _Calls(function, values, count) as calls:
        for index in range(len(values)):
            while index not in calls.results:
                calls.go_on()
            yield calls.results.pop(index)


class _Calls(Generic[Value, Result]):
    """The processes, what each is at work on, and what is ready."""

    def __init__(self, function: Callable[[Value], Result], values: Sequence[Value], count: int) -> None:
        self.results: dict[int, Result | Ended] = {}
        self._function, self._values = function, values
        self._context: Any = get_context("fork" if "fork" in get_all_start_methods() else "spawn")
        self._left = deque(range(len(values)))
        self._tries = [0] * len(values)
        self._workers: dict[Connection, Any] = {}  # the process at the other end
        self._busy: dict[Connection, int] = {}  # the index of the value that it works on
        self._count = count

    def __enter__(self) -> _Calls[Value, Result]:
        return self

    def __exit__(self, *_: object) -> None:
        started = [process for process in self._workers.values() if process.pid is not None]
        for process in started:
            process.kill()
        for process in started:
            process.join(5)
        for conn in self._workers:
            conn.close()

    def go_on(self) -> None:
        """Hand out what is left, and wait until at least one process has answered or is gone."""
        while self._left and len(self._busy) < self._count:
            self._give(self._left.popleft())
        for ready in wait(list(self._busy)):
            conn = cast("Connection", ready)  # on Windows it is another class with the same methods
            index = self._busy.pop(conn)
            try:
                self.results[index] = conn.recv()
            except (EOFError, OSError):
                self._workers.pop(conn).join(5)
                conn.close()
                self._try_again(index)

    def _give(self, index: int) -> None:
        conn = next((one for one in self._workers if one not in self._busy), None) or self._start()
        self._busy[conn] = index
        self._tries[index] += 1
        try:
            conn.send(self._values[index])
        except OSError:
            pass  # it is gone: noticed when its answer is read

    def _try_again(self, index: int) -> None:
        if self._tries[index] < _TRIES:
            self._left.appendleft(index)
        else:
            self.results[index] = Ended()

    def _start(self) -> Connection:
        ours, theirs = self._context.Pipe()
        inherited = [ours, *self._workers] if self._context.get_start_method() == "fork" else []
        process = self._context.Process(target=_serve, args=(theirs, self._function, inherited), daemon=True)
        self._workers[ours] = process  # before it starts, else an interrupt could come first, and nobody would end it
        with defer_interrupts():  # else Ctrl-C would find the child with the parent's signal handlers
            process.start()
        theirs.close()
        return ours  # type: ignore[no-any-return]


def _serve(conn: Connection, function: Callable[[Any], Any], others: Sequence[Connection]) -> None:
    """Answer until the pipe is closed, which it also is when the parent is gone."""
    for other in others:  # if this process kept them open too, their process would not notice that
        other.close()
    for number in TERMINATION_SIGNALS:  # Ctrl-C goes to all of us, and the parent decides
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, TERMINATION_SIGNALS)
    try:
        while True:
            conn.send(function(conn.recv()))
    except (EOFError, OSError):
        pass
    except MemoryError:
        os._exit(1)
