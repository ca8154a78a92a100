"""Faults put into a run of the command line, at a chosen system call: the library that does it, and a server that forks a run in milliseconds.

`preload.c` counts the calls that a run makes below one folder, and fails or interrupts the one with a given number. `Server` starts one Python with
that library and with the package imported (`serving.py`); each run is a fork of it.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

HERE = Path(__file__).parent
SECONDS = 10  # a run that takes longer hangs

# In the order of `enum kind` in preload.c.
KINDS = (
    "open", "create", "read", "write", "rename", "link", "unlink", "mkdir", "sync", "truncate", "list", "status", "mode",
)  # fmt: skip
ALL = frozenset(KINDS)
SPACE = frozenset({"create", "write", "rename", "link", "mkdir", "sync", "truncate"})  # what a full disk refuses
RETRIED = frozenset({"open", "create", "read", "write", "sync", "truncate"})  # what a signal may break off
GUARDED = ALL - {"read", "write", "sync", "truncate"}  # what permissions are asked for


class Plan(ctypes.Structure):
    """`struct plan` of preload.c, in memory that a run shares with its server."""

    _fields_ = [
        *((name, ctypes.c_int) for name in ("kinds", "at", "forever", "error", "signal", "halve", "calls", "fired")),
        ("trace", ctypes.c_ubyte * 65536),
        ("folder", ctypes.c_char * 4096),
    ]


class Fault(NamedTuple):
    """What is done to which call of a run."""

    name: str = "none"
    at: int = 0  # the number of the call, from 1; 0: none
    kinds: frozenset[str] = ALL
    forever: bool = False
    error: int = 0
    signal: int = 0
    halve: bool = False

    def __str__(self) -> str:
        return f"{self.name} at call {self.at}"


NONE = Fault()


class Run(NamedTuple):
    """How a run ended."""

    code: int  # as a shell gives it: 128 and the signal's number after a signal
    out: str
    err: str
    fired: int  # calls that were disturbed
    trace: tuple[str, ...]  # the kind of each call
    hung: bool


def every(kind: str, at: int) -> list[Fault]:
    """All that may happen to a call of this kind."""
    faults = [Fault(f"EIO, {kind}", at, error=errno.EIO)]
    if kind in GUARDED:
        faults.append(Fault(f"EACCES, {kind}", at, error=errno.EACCES))
    if kind in SPACE:
        faults.append(Fault(f"ENOSPC, {kind}", at, error=errno.ENOSPC))
        faults.append(Fault(f"ENOSPC from then on, {kind}", at, SPACE, True, errno.ENOSPC))
    if kind in RETRIED:
        faults.append(Fault(f"EINTR, {kind}", at, error=errno.EINTR))
    if kind == "write":
        faults.append(Fault(f"half of it, {kind}", at, halve=True))
        faults.append(Fault(f"half of it from then on, {kind}", at, frozenset({"write"}), True, halve=True))
    if kind != "status":  # there are many, and the next call shows the same
        if kind in GUARDED:
            faults.append(Fault(f"EACCES from then on, {kind}", at, GUARDED, True, errno.EACCES))
        faults.append(Fault(f"EIO from then on, {kind}", at, ALL, True, errno.EIO))
    faults += [Fault(f"{number.name}, {kind}", at, signal=number) for number in SIGNALS]
    return faults


SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)


def missing() -> str:
    """Why no fault can be put in here; "" where it works."""
    if not sys.platform.startswith("linux"):
        return "faults are put in by a preload library of Linux"
    if shutil.which("cc") is None:
        return "the preload library needs a C compiler, and there is no cc"
    return ""


def compiled(folder: Path) -> Path:
    """The preload library, made in `folder`. Raises CalledProcessError if the compiler refuses."""
    made = folder / "preload.so"
    subprocess.run(["cc", "-O1", "-shared", "-fPIC", "-o", str(made), str(HERE / "preload.c"), "-ldl"], check=True)
    return made


class Server:
    """A Python with the package imported that forks a run at a time. Use it in a `with`."""

    def __init__(self, library: Path) -> None:
        self.runs = 0
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "serving.py")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"LD_PRELOAD": str(library), "PYTHONHASHSEED": "0", "LC_ALL": "C.UTF-8"},
        )

    def __enter__(self) -> Server:
        return self

    def __exit__(self, *_: object) -> None:
        self._process.stdin.close()  # type: ignore[union-attr]
        self._process.stdout.close()  # type: ignore[union-attr]
        self._process.wait(timeout=60)

    def run(self, folder: Path, arguments: Sequence[str], fault: Fault = NONE, seconds: float = SECONDS) -> Run:
        """Runs the command line in `folder`, which is also where its calls are counted."""
        self.runs += 1
        asked = fault._asdict() | {
            "kinds": sum(1 << KINDS.index(kind) for kind in fault.kinds),
            "folder": os.path.realpath(folder),
            "arguments": list(arguments),
            "seconds": seconds,
        }
        assert self._process.stdin and self._process.stdout
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        line = self._process.stdout.readline()
        assert line, "the server of runs broke down"
        told: dict[str, Any] = json.loads(line)
        return Run(**told | {"trace": tuple(KINDS[kind] for kind in told["trace"])})
