"""Calls in several processes: results in order, and a value that ends its process costs only its own result."""

from __future__ import annotations

import os
import signal
import time
from multiprocessing.process import BaseProcess
from pathlib import Path
from threading import Event, Thread

import pytest

from lickwright.build.isolated_calls import Ended, call_isolated

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="a function of a test reaches a process only by fork")


def _children() -> set[str]:
    """The processes of this one, by their numbers."""
    found = set()
    for status in Path("/proc").glob("[0-9]*/status"):
        try:
            fields = dict(line.split(":", 1) for line in status.read_text().splitlines())
        except OSError:  # it ended just now
            continue
        if fields["PPid"].strip() == str(os.getpid()):
            found.add(fields["Pid"].strip())
    return found


def test_results_come_in_the_order_of_the_values(tmp_path: Path) -> None:
    def last_first(value: int) -> int:
        """The first value is ready when the last one is."""
        while value == 0 and not (tmp_path / "last").exists():
            time.sleep(0.001)
        if value == 19:
            (tmp_path / "last").touch()
        return value * value

    assert list(call_isolated(last_first, range(20), 3)) == [n * n for n in range(20)]
    assert list(call_isolated(last_first, [], 3)) == []


def test_a_value_that_ends_its_process_is_tried_twice_and_costs_the_others_nothing(tmp_path: Path) -> None:
    def ending(value: int) -> int:
        if value == 2:
            with open(tmp_path / "tries", "a") as file:
                file.write("x")
            os._exit(9)
        if value == 3 and not (tmp_path / "once").exists():
            (tmp_path / "once").touch()
            os._exit(9)
        return value

    results = list(call_isolated(ending, range(6), 2))
    assert [r for r in results if not isinstance(r, Ended)] == [0, 1, 3, 4, 5]
    assert isinstance(results[2], Ended)
    assert (tmp_path / "tries").read_text() == "xx"


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="looks for processes in /proc")
def test_no_process_is_left_where_it_is_given_up() -> None:
    before = _children()
    results = call_isolated(lambda value: time.sleep(3600 if value else 0), range(3), 3)
    assert next(results) is None
    assert len(_children() - before) == 3
    results.close()  # type: ignore[attr-defined]
    assert _children() <= before  # others may have ended meanwhile


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="looks for processes in /proc")
@pytest.mark.parametrize(
    "threads", [0, 1]
)  # another thread takes a signal that the one which starts a process holds back
def test_no_process_is_left_where_an_interrupt_comes_while_one_starts(
    monkeypatch: pytest.MonkeyPatch, threads: int
) -> None:
    start = BaseProcess.start

    def interrupted_start(process: BaseProcess) -> None:
        start(process)
        os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.05)  # the other thread gets it

    monkeypatch.setattr(BaseProcess, "start", interrupted_start)
    ended, before = Event(), _children()
    for _ in range(threads):
        Thread(target=ended.wait, daemon=True).start()
    handler = signal.signal(
        signal.SIGINT, signal.default_int_handler
    )  # a shell lets what it runs behind it ignore Ctrl-C
    try:
        with pytest.raises(KeyboardInterrupt):
            next(call_isolated(time.sleep, [3600], 1))
    finally:
        signal.signal(signal.SIGINT, handler)
        ended.set()
    assert _children() <= before
