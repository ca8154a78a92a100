"""The process that runs are forked from: `injecting.py` starts it with the preload library, and asks for a run a line."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import importlib
import json
import mmap
import os
import pkgutil
import select
import signal
import sys
import traceback
from pathlib import Path
from typing import Any

from injecting import Plan

FOLDER = "folder"


def warm() -> None:
    """Imports what a run may need, so that a fork finds it there."""
    import lickwright
    from lickwright import compile_text

    for module in pkgutil.walk_packages(lickwright.__path__, "lickwright."):
        if not module.name.endswith(("__main__", ".dask_executor", ".write_parser_tables")):
            with contextlib.suppress(ImportError):  # an extra that is not there: no scene uses it then
                importlib.import_module(module.name)
    for name in ("json", "sqlite3", "difflib", "click.testing", "multiprocessing.popen_fork", "soundfile"):
        with contextlib.suppress(ImportError):
            importlib.import_module(name)
    lick = compile_text('lick "Warm"\n| A5 D5 G5 B5 A5 D5 G5 B5 ||\n').licks[0]
    lick.tab(), lick.midi(), lick.timing()
    gc.collect()
    gc.freeze()  # or every fork would copy each page at its first collection


def child(asked: dict[str, Any], streams: tuple[int, int], library: Any, plan: Plan) -> int:
    """The run itself; its exit code."""
    from lickwright.cli import main

    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    for number, stream in zip((1, 2), streams, strict=True):
        os.dup2(stream, number)
    sys.stdout = os.fdopen(1, "w", encoding="utf-8")
    sys.stderr = os.fdopen(2, "w", encoding="utf-8")
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.chdir(asked[FOLDER])
    library.faults_arm(ctypes.byref(plan))
    try:
        return int(main(asked["arguments"]))
    except BaseException:
        traceback.print_exc()
        return 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()


def watched(pid: int, seconds: float) -> tuple[int, bool]:
    """Waits for a run: its exit code, and whether it hung and was killed."""
    handle = os.pidfd_open(pid)
    hung = not select.select([handle], [], [], seconds)[0]
    os.close(handle)
    if hung:
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    code = os.waitstatus_to_exitcode(status)
    with contextlib.suppress(ProcessLookupError):  # workers that outlived it
        os.killpg(pid, signal.SIGKILL)
    return 128 - code if code < 0 else code, hung


def text(stream: int) -> str:
    """All that was written to a stream."""
    os.lseek(stream, 0, os.SEEK_SET)
    with os.fdopen(stream, "rb") as file:
        return file.read().decode("utf-8", "backslashreplace")


def serve() -> None:
    """Runs what is asked for until nobody asks."""
    warm()
    library = ctypes.CDLL(None)  # what is preloaded is among the symbols of the program
    memory = mmap.mmap(-1, ctypes.sizeof(Plan))
    for line in sys.stdin:
        asked = json.loads(line)
        plan = Plan.from_buffer(memory)
        for name in ("kinds", "at", "forever", "error", "signal", "halve"):
            setattr(plan, name, int(asked[name]))
        plan.calls = plan.fired = 0
        plan.folder = os.fsencode(asked[FOLDER])
        out, err = os.memfd_create("out"), os.memfd_create("err")
        pid = os.fork()
        if pid == 0:
            code = 1
            try:
                code = child(asked, (out, err), library, plan)
            finally:
                os._exit(code)
        code, hung = watched(pid, asked["seconds"])
        trace = list(plan.trace[: plan.calls])
        answer = {"code": code, "out": text(out), "err": text(err), "fired": plan.fired, "trace": trace, "hung": hung}
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    serve()
