"""What sheets and lesson pages cost: `python tests/bench/pages.py [LICKS]`; with the usual thousand it takes about two minutes.

A library of made-up licks is built into each format by one process. Printed are processor seconds, milliseconds a lick, the ratio to text tabs, and
the bytes of an average file; then the same for a hundred pages with recordings, and for a build in which nothing changed.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from random import Random

from library_maker import _pool, _varied

LICKS, SOUNDED = 1000, 100


def library(folder: Path, licks: int, seed: int = 5) -> None:
    """Writes a library, a lick a file."""
    pool, chance = _pool(seed), Random(seed)
    folder.mkdir()
    for n in range(licks):
        (folder / f"{n:05}.lick").write_text(_varied(pool[n % len(pool)], n, chance), "utf-8")


def build(folder: Path, *words: str) -> float:
    """Processor seconds of `lickwright make` with these words."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, "-m", "lickwright", "make", "licks", "--jobs", "1", *words]
    ran = subprocess.run(command, cwd=folder, env={**os.environ, "COLUMNS": "100"}, capture_output=True, text=True)
    assert ran.returncode in (0, 1), ran.stderr[-2000:]
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def report(name: str, seconds: float, folder: Path, suffix: str, tab: float) -> None:
    """Prints a line."""
    sizes = [path.stat().st_size for path in folder.rglob(f"*{suffix}") if path.name != "index.html"]
    each = 1000 * seconds / len(sizes)
    print(
        f"{name:24} {len(sizes):5} files {seconds:7.1f} s {each:7.1f} ms each {seconds / tab:6.1f} x tab {sum(sizes) // len(sizes) / 1000:8.1f} kB each"
    )


def main(licks: int) -> None:
    """Builds and prints."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        library(folder / "licks", licks)
        tab = build(folder, "--to", "tab", "--out", "tabs")
        report("text tab", tab, folder / "tabs", ".tab.txt", tab)
        report("sheet (PDF)", build(folder, "--to", "sheet", "--out", "sheets"), folder / "sheets", ".pdf", tab)
        silent = ("--to", "page", "--silent-page", "--out", "pages")
        report("page, no recording", build(folder, *silent), folder / "pages", ".html", tab)
        report("  again, unchanged", build(folder, *silent), folder / "pages", ".html", tab)
        for path in sorted((folder / "licks").glob("*.lick"))[SOUNDED:]:
            path.unlink()
        some = tab * SOUNDED / licks
        report(
            "page with recordings", build(folder, "--to", "page", "--out", "sounded"), folder / "sounded", ".html", some
        )
        print(f"index page: {(folder / 'pages' / 'index.html').stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else LICKS)
