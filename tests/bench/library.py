"""How fast and how large a library is built: `python tests/bench/library.py [1000 10000 ...] [--dask]`; ten thousand take about two minutes.

Each size is built with one job and with as many as there are cores, then again with nothing changed and with one file changed, and asked. The bare cost
is the same files compiled and written in one process with nothing of a build round it; the floor of a build with nothing to do is a bare Python that walks
and reads all sources, hashes them and looks at all outputs. The last table shows how each figure grows with the size: the exponent is 1 for what grows as
the library does, 0 for what does not grow. With `--dask` the first size is built by 1, 2 and 4 workers of a Dask cluster on this machine. Times are this
machine's; the ratios are what counts, each with its goal. `cpu` is the work of all processes together, which other programs at work on the machine
disturb less. Linux only, for the memory. Exits with 0 whatever it shows.
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
from math import log
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

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
FLOOR = """
import os, sys
from hashlib import blake2b
for path in (os.path.join(at, name) for at, _, names in os.walk(sys.argv[1]) for name in sorted(names)):
    handle = os.open(path, os.O_RDONLY)
    blake2b(os.read(handle, os.fstat(handle).st_size + 1), digest_size=16).digest()
    os.close(handle)
for path in (os.path.join(at, name) for at, _, names in os.walk(sys.argv[2]) for name in sorted(names)):
    os.lstat(path)
"""
CORES = len(os.sched_getaffinity(0))
COMMAND = [sys.executable, "-m", "lickwright"]
ROUNDS = 5
QUESTION = "bend box:2 level<=3"
_COMPILED = {
    name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
}  # as when installed


class Run(NamedTuple):
    """One process and its children."""

    seconds: float
    cpu: float
    parent: int  # KiB at its largest
    worker: int  # of the largest child; 0 without any


Figures = dict[str, float]  # what grows with a library, by its name in the last table


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
    assert process.returncode in (0, 1), argv  # 1: a small library has no lick that is asked for
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


def paired(ours: list[str], bare: list[str]) -> tuple[Run, float]:
    """The middle one of several runs of ours, and the median of how much more work each was than the bare run after it."""
    pairs = [(run(ours), run(bare)) for _ in range(ROUNDS)]
    middle = sorted(pairs, key=lambda pair: pair[0].cpu)[ROUNDS // 2][0]
    return middle, median(a.cpu / b.cpu for a, b in pairs)


def measure(number: int) -> Figures:
    """Shows everything about one size."""
    here = Path(tempfile.mkdtemp(prefix="lickwright-bench-"))
    try:
        make(here / "library", number)
        return _build(here, number) | _again(here, number) | _ask(here, number)
    finally:
        shutil.rmtree(here)


def _build(here: Path, number: int) -> Figures:
    """The library made for the first time, and all over again."""
    files = sorted(map(str, here.glob("library/**/*.lick")))
    command = [*COMMAND, "make", str(here / "library"), "--out"]
    bare = run([sys.executable, "-c", BARE, str(here / "bare")], "\n".join(files))
    _show("bare cost, one process", number, bare)
    one = run([*command, str(here / "one"), "--jobs", "1"])
    _show("build, 1 job", number, one, one.cpu / bare.cpu, "of bare")
    many = run([*command, str(here / "many"), "--jobs", str(CORES)])
    _show(f"build, {CORES} jobs", number, many, many.cpu / bare.cpu, "of bare")
    again = run([*command, str(here / "many"), "--tempo", "100%", "--jobs", str(CORES)])
    _show("all again, no byte changed", number, again, again.cpu / bare.cpu, "of bare")
    print(
        f"  speed-up of {CORES} jobs {one.seconds / many.seconds:.2f}; a worker {many.worker / 1024:.1f} MiB, goal 48"
    )
    size = (here / "one" / ".lickwright.db").stat().st_size
    print(f"  record and index: {size / number:.0f} bytes a lick")
    return {
        "build, seconds": many.seconds, "parent, MiB": many.parent / 1024, "worker, MiB": many.worker / 1024,
        "record and index, MB": size / 1e6,
    }  # fmt: skip


def _again(here: Path, number: int) -> Figures:
    """Builds with nothing, and with one file to do."""
    library, out = str(here / "library"), str(here / "one")
    command, floor = [*COMMAND, "make", library, "--out", out], [sys.executable, "-c", FLOOR, library, out]
    run(command)  # notes the states of all sources
    hashed, ratio = paired([*command, "--check-contents"], floor)
    _show("nothing to do, all read", number, hashed, ratio, "of the floor, goal 1.2")
    idle, ratio = paired(command, floor)
    _show("nothing to do, by state", number, idle, ratio, "of the floor, goal 0.6")
    path = sorted(here.glob("library/**/*.lick"))[number // 2]
    runs = []
    for _ in range(ROUNDS):
        with open(path, "a", encoding="utf-8") as file:
            file.write("# changed\n")
        runs.append(run(command))
    changed = sorted(runs, key=lambda one: one.cpu)[ROUNDS // 2]
    _show("one file changed", number, changed, changed.cpu / idle.cpu, "of nothing to do")
    return {"nothing to do, all read": hashed.cpu, "nothing to do, by state": idle.cpu, "one file changed": changed.cpu}


def _ask(here: Path, number: int) -> Figures:
    """Whole commands that ask the library."""
    out, path = str(here / "one"), str(sorted(here.glob("library/**/*.lick"))[number // 3])
    start = [sys.executable, "-c", "import click"]
    find, ratio = paired([*COMMAND, "find", out, QUESTION], start)
    _show("find", number, find, ratio, "of starting Python and click, goal 1.3 at 100,000")
    like, ratio = paired([*COMMAND, "find", out, "--like", path], start)
    _show("find --like", number, like, ratio, "of starting Python and click")
    return {"find": find.cpu, "find --like": like.cpu}


def _show(what: str, number: int, run: Run, ratio: float | None = None, against: str = "") -> None:
    compared = "" if ratio is None else f"{ratio:6.2f} {against}"
    print(
        f"{number:>7,} {what:<28} {run.seconds:7.2f} s {number / run.seconds:7.0f} licks/s  cpu {run.cpu:7.2f} s  "
        f"parent {run.parent / 1024:5.1f} MiB  worker {run.worker / 1024:5.1f} MiB  {compared}".rstrip(),
        flush=True,
    )


def growth(sizes: list[int], found: list[Figures]) -> None:
    """The figures of all sizes, and the exponent between each two."""
    print("\n" + " " * 26 + "".join(f"{size:>12,}" for size in sizes) + "   exponents")
    for name in found[0]:
        values = [figures[name] for figures in found]
        steps = zip(zip(sizes, values, strict=True), list(zip(sizes, values, strict=True))[1:], strict=False)
        exponents = [f"{log(b / a) / log(m / n):.2f}" for (n, a), (m, b) in steps]
        print(f"{name:<26}" + "".join(f"{value:>12.3f}" for value in values) + "   " + " ".join(exponents))


def clusters(number: int) -> None:
    """The same build by workers of Dask, against one process and no cluster."""
    import distributed

    here = Path(tempfile.mkdtemp(prefix="lickwright-bench-"))
    try:
        make(here / "library", number)
        command = [*COMMAND, "make", str(here / "library"), "--out"]
        alone = run([*command, str(here / "alone"), "--jobs", "1"])
        _show("one process, no cluster", number, alone)
        first = None
        for workers in (1, 2, 4):
            out = here / f"by{workers}"
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            with distributed.LocalCluster(  # type: ignore[no-untyped-call]
                n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
            ) as cluster:
                made = run([*command, str(out), "--cluster", cluster.scheduler_address])
            after = resource.getrusage(resource.RUSAGE_CHILDREN)  # the workers have ended
            cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            first = first or made
            same = _outputs(out) == _outputs(here / "alone")
            print(
                f"{number:>7,} Dask, {workers} workers: {made.seconds:.2f} s, {number / made.seconds:.0f} licks/s, {first.seconds / made.seconds:.2f} "
                f"times one worker, {alone.seconds / made.seconds:.2f} times one process; {(cpu - alone.cpu) / number * 1e3:.2f} ms of work "
                f"more a source, with starting the workers; outputs {'equal' if same else 'DIFFERENT'}",
                flush=True,
            )
    finally:
        shutil.rmtree(here)


def _outputs(folder: Path) -> dict[str, bytes]:
    files: Any = (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def main() -> None:
    sizes = sorted(int(word) for word in sys.argv[1:] if word.isdigit()) or [1000, 10_000]
    growth(sizes, [measure(size) for size in sizes])
    if "--dask" in sys.argv:
        clusters(sizes[0])


if __name__ == "__main__":
    main()
