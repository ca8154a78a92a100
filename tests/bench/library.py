"""How fast and how large a library is built: `python tests/bench/library.py [1000 10000 ...]`; ten thousand take about two minutes.

Each size is built with one job and with as many as there are cores, then again with nothing changed and with one file changed. The bare cost is the
same files compiled and written in one process with nothing of a build round it. Times are this machine's, by the clock; the ratios are what
counts. `cpu` is the work of all processes together, which other programs at work on the machine disturb less. Linux only, for the memory.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import NamedTuple

from library_maker import make

BARE = """
import gc, os, sys
from lickwright.export import EXPORTS, Options
from lickwright.compiler import compile_file
gc.set_threshold(50_000, 20)
rows = [row for row in EXPORTS if row.name in ("tab", "midi", "timing")]
options = Options()
for number, path in enumerate(sys.stdin.read().split()):
    for lick in compile_file(path).licks:
        folder = os.path.join(sys.argv[1], str(number // 1000), str(number))
        os.makedirs(folder)
        for row in rows:
            with open(os.path.join(folder, lick.slug + row.suffix), "wb") as file:
                file.write(lick.emit(row.name, options).data)
"""
CORES = len(os.sched_getaffinity(0))


_COMPILED = {
    name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
}  # as when installed


class Run(NamedTuple):
    """One process and its children."""

    seconds: float
    cpu: float
    parent: int  # KiB at its largest
    worker: int  # of the largest child; 0 without any


def run(argv: list[str], stdin: str = "") -> Run:
    """Runs it to its end and watches its memory."""
    before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    process = subprocess.Popen(
        argv, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True, env=_COMPILED
    )
    peak = {"parent": 0, "worker": 0}
    watcher = threading.Thread(target=_watch, args=(process, peak))
    watcher.start()
    process.communicate(stdin)
    seconds = time.monotonic() - begun
    watcher.join()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert process.returncode == 0, argv
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return Run(seconds, cpu, peak["parent"], peak["worker"])


def _watch(process: subprocess.Popen[str], peak: dict[str, int]) -> None:
    while process.poll() is None:
        peak["parent"] = max(peak["parent"], _largest(process.pid))
        try:
            children = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        except OSError:
            children = []
        peak["worker"] = max([peak["worker"], *(_largest(int(child)) for child in children)])
        time.sleep(0.02)


def _largest(pid: int) -> int:
    try:
        status = Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM")), 0)


def measure(number: int) -> None:
    """Everything about one size."""
    here = Path(tempfile.mkdtemp(prefix="lickwright-bench-"))
    try:
        make(here / "library", number)
        files = sorted(map(str, here.glob("library/**/*.lick")))
        command = [sys.executable, "-m", "lickwright", "make", str(here / "library"), "--out"]
        bare = run([sys.executable, "-c", BARE, str(here / "bare")], "\n".join(files))
        _show("bare cost, one process", number, bare, bare)
        one = run([*command, str(here / "one"), "--jobs", "1"])
        _show("build, 1 job", number, one, bare)
        many = run([*command, str(here / "many"), "--jobs", str(CORES)])
        _show(f"build, {CORES} jobs", number, many, bare)
        again = run([*command, str(here / "many"), "--tempo", "100%", "--jobs", str(CORES)])
        _show("all again, no byte changed", number, again, bare)
        idle = min((run([*command, str(here / "one")]) for _ in range(5)), key=lambda r: r.seconds)
        _show("nothing to do", number, idle, bare)
        changed = min(
            (_changed(files[number // 2], [*command, str(here / "one")]) for _ in range(5)), key=lambda r: r.seconds
        )
        _show("one file changed", number, changed, bare)
        print(
            f"  speed-up of {CORES} jobs {one.seconds / many.seconds:.2f}; one changed costs {changed.seconds / idle.seconds:.2f} of none"
        )
    finally:
        shutil.rmtree(here)


def _changed(path: str, argv: list[str]) -> Run:
    with open(path, "a", encoding="utf-8") as file:
        file.write("# changed\n")
    return run(argv)


def _show(what: str, number: int, run: Run, bare: Run) -> None:
    print(
        f"{number:>7,} {what:<28} {run.seconds:7.2f} s {number / run.seconds:7.0f} licks/s  cpu {run.cpu:7.2f} s "
        f"{run.cpu / bare.cpu:5.2f} of bare  parent {run.parent / 1024:5.1f} MiB  worker {run.worker / 1024:5.1f} MiB",
        flush=True,
    )


if __name__ == "__main__":
    for size in map(int, sys.argv[1:] or ["1000", "10000"]):
        measure(size)
