"""What tests of the command line share."""

from __future__ import annotations

import gc
import importlib
import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from commanding import Run
from lickwright.cli import main
from lickwright.core.interrupts import TERMINATION_SIGNALS

# The matrices of a lick are small: with threads of its own, in every worker of the tests, OpenBLAS takes twice the processor time for them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Tests start the program hundreds of times: its bytecode is kept, also where the environment says otherwise.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False


# As on the machines of users: without buffers, what is lost at the very end is lost earlier.
os.environ.pop("PYTHONUNBUFFERED", None)

# Texts and values that Hypothesis makes up for a test that does not say how many: the same ones each time, and no clock decides whether a test
# passes, neither that of one example nor that of their making. `--hypothesis-profile long` makes more, and others each time.
_WITHOUT_CLOCK = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("everyday", _WITHOUT_CLOCK, max_examples=25, derandomize=True, database=None)
settings.register_profile("long", _WITHOUT_CLOCK, max_examples=1000)
settings.load_profile("everyday")

HERE = Path(__file__).resolve().parent
MEMORY = "/dev/shm"  # a disk in memory, where a file is kept as soon as it is written
ENOUGH = 2 << 30  # bytes free there, ten times what the tests of a day leave


def pytest_configure(config: pytest.Config) -> None:
    """Lets the everyday tests write their files into memory: they wait for thousands of files to be kept on the disk otherwise."""
    if config.option.markexpr == "not slow" and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ENOUGH:
        os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", MEMORY)


@pytest.hookimpl(tryfirst=True)
def pytest_collection(session: pytest.Session) -> None:
    """Has each worker import its own share of the test modules first, where all are collected: in a fresh clone every module is
    rewritten and compiled, and what one worker has done the others read.
    """
    worker = getattr(session.config, "workerinput", None)
    if worker is None or HERE not in (Path(argument).resolve() for argument in session.config.args):
        return
    modules = sorted(path.stem for path in HERE.glob("test_*.py"))
    begin = len(modules) * int(worker["workerid"].removeprefix("gw")) // worker["workercount"]
    for name in modules[begin:]:
        try:
            importlib.import_module(name)
        except (Exception, pytest.skip.Exception):
            pass  # said when the module is collected


def pytest_collection_finish() -> None:
    """Takes the modules and the collected tests out of every later round of the garbage collector: they are 200 MB that never go.
    Makes its rounds rare, since almost nothing that tests make is in circles.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


@pytest.fixture(autouse=True)
def signals() -> Iterator[None]:
    """Give every test the handlers of signals that the one before it had: the program ignores what ended it, until its process is gone."""
    before = {number: signal.getsignal(number) for number in TERMINATION_SIGNALS}
    yield
    for number, handler in before.items():
        if signal.getsignal(number) is not handler:
            signal.signal(number, handler)


@pytest.fixture
def run_from(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Run]:
    """Moves into an empty folder. What it gives makes, of the words that all calls begin with, a function that runs the command line:
    exit code, standard output, standard error.
    """
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("COLUMNS", raising=False)  # tables are as wide as whoever runs the tests says otherwise

    def beginning(*first: str) -> Run:
        def call(*arguments: str) -> tuple[int, str, str]:
            code = main([*first, *arguments])
            out, err = capsys.readouterr()
            assert "Traceback" not in out + err
            return code, out, err

        return call

    return beginning


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls the command line in an empty folder: exit code, standard output, standard error."""
    return run_from()
