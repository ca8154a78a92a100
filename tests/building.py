"""Small libraries and builds of them, for tests: files in folders, a build here or as a process, a tree as a value."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from lickwright.cli import main

COMMAND = [sys.executable, "-m", "lickwright"]
HIDDEN = ".lickwright"  # how the names begin of what a build keeps for itself
PATIENCE = 300.0  # seconds that a test waits for what is sure to come: whether a busy machine is slow decides no test, but none waits without end
_STRINGS = "EADGB"


def lick(n: int) -> str:
    """A lick of its own for each number, with a title of its own."""
    notes = " ".join(f"{_STRINGS[(n + i) % 5]}{(n // 5 + i * i) % 12 + 1}" for i in range(8))
    return f'tempo {60 + n % 100}\nlick "Number {n}"\n| {notes} ||\n'


def library(folder: Path, number: int) -> Path:
    """`number` files, a lick each, in folders of fifty."""
    for n in range(number):
        path = folder / f"part{n // 50:02}" / f"n{n:04}.lick"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(lick(n))
    return folder


def tree(folder: Path) -> dict[str, bytes]:
    """Every output by its path."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.relative_to(folder).parts[0].startswith(HIDDEN)
    }


def stray(folder: Path) -> list[str]:
    """What a build must not leave behind."""
    return [
        str(path) for path in folder.rglob("*") if path.name.startswith(".lw-") or path.name == ".lickwright.journal"
    ]


def start(here: Path, *arguments: str, program: Sequence[str] = COMMAND[1:]) -> subprocess.Popen[str]:
    """A build as a process group of its own. `program`: what Python runs, if not the program as it is."""
    return subprocess.Popen(
        [sys.executable, *program, "make", *arguments],
        cwd=here,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def make(here: Path, *arguments: str) -> tuple[int, str, str]:
    """A build to its end, in this process: exit code, standard output, standard error."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.chdir(here), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["make", *arguments])
    assert "Traceback" not in out.getvalue() + err.getvalue()
    return code, out.getvalue(), err.getvalue()


def kill(process: subprocess.Popen[str], number: int = signal.SIGKILL) -> None:
    """Ends the process and all that it started."""
    try:
        os.killpg(process.pid, number)
    except ProcessLookupError:
        pass
    process.communicate(timeout=PATIENCE)


def wait_for(what: Callable[[], object]) -> None:
    """Wait until `what()` is true. Raises AssertionError after `PATIENCE`."""
    end = time.monotonic() + PATIENCE
    while not what():
        assert time.monotonic() < end, "waited too long"
        time.sleep(0.005)


def wait_for_line(process: subprocess.Popen[str], words: str) -> str:
    """Read standard output up to a line with `words`, and return it. The process is killed after `PATIENCE`. Raises AssertionError where it ends before."""
    assert process.stdout is not None
    ending = threading.Timer(PATIENCE, process.kill)
    ending.start()
    try:
        line = next((line for line in process.stdout if words in line), None)
    finally:
        ending.cancel()
    assert line is not None, f"it ended before it said {words}"
    return line


def replace_text(path: Path, text: str) -> None:
    """Write a file as a whole, at once: a build that reads it meanwhile finds the old text or the new one, not half of it."""
    new = path.with_name(f"{path.name}.new")
    new.write_text(text)
    os.replace(new, path)
