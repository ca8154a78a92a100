"""What reading text tab costs: `python tests/bench/reading.py [FILES]`; with the usual thousand it takes about half a minute.

The tabs of the corpus are written as often as it takes, each with a remark of its own, and read into a library by one process, by one a
core, and once more without a change. Printed are files a second by the clock and by processor time, and the corpus's own figures: notes
that are right, and wrong without a word.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from text_tab_corpus import score_case, tab_cases

FILES = 1000
PARTS = ("clean", "ragged", "damaged")


def tabs(folder: Path, files: int) -> int:
    """Writes the tabs; how many bytes that are."""
    cases = [case for name in PARTS for case in tab_cases(name)]
    for n in range(files):
        case = cases[n % len(cases)]
        path = folder / f"{n % 20:02}" / f"{n:05}.txt"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(case.data + f"\n\nnumber {n}\n".encode("utf-16" if case.data[:2] == b"\xff\xfe" else "ascii"))
    return sum(path.stat().st_size for path in folder.rglob("*.txt"))


def read(folder: Path, *words: str) -> tuple[float, float]:
    """Seconds by the clock and of processors that `lickwright read` takes with these words."""
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    command = [sys.executable, "-m", "lickwright", "read", "tabs", *words]
    ran = subprocess.run(command, cwd=folder, env={**os.environ, "COLUMNS": "100"}, capture_output=True, text=True)
    assert ran.returncode in (0, 1), ran.stderr[-2000:]
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.monotonic() - began, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(files: int) -> None:
    """Reads and prints."""
    for name in PARTS:
        scores = [score_case(case) for case in tab_cases(name)]
        notes, right = sum(score.expected for score in scores), sum(score.right for score in scores)
        silent = sum(score.silent for score in scores)
        print(f"{name:8} {len(scores):3} tabs {right:4} of {notes:4} notes right, {silent} wrong without a word")
    cores = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        size = tabs(folder / "tabs", files)
        print(f"{files} files, {size // files} bytes each")
        for words, how in (
            (("--out", "one", "--jobs", "1"), "one process"),
            (("--out", "all", "--jobs", str(cores)), f"{cores} processes"),
            (("--out", "all", "--jobs", str(cores)), "again, unchanged"),
        ):
            clock, processor = read(folder, *words)
            print(
                f"{how:18} {files / clock:7.0f} files a second, {1000 * processor / files:6.1f} ms of processor time each"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else FILES)
