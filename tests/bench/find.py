"""How fast a library answers: `python tests/bench/find.py [licks]`; 100,000 if not said, about two minutes.

The licks are the samples in many keys and boxes, cut to other bars (`library_maker.py`), each under a title and at a tempo of its own; every
other one has some of its notes changed besides, so that phrases are many. Their facts are made once and varied, for what is measured is the
index and not the compiler. Times are the best and the middle of several, inside one process; then the work of whole commands.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

from library import paired
from library_maker import make

from lickwright.compiler import compile_file
from lickwright.index.coverage_gaps import find_gaps
from lickwright.index.duplicates import find_duplicates
from lickwright.index.search import create_memory_index, search_index
from lickwright.index.similarity_search import find_similar
from lickwright.index.statistics import library_statistics
from lickwright.store import index_schema
from lickwright.store.features import LickFacts, lick_facts
from lickwright.store.manifest import Manifest

QUESTIONS = (
    'bend box:2 key:"A minor" level<=3', "bend", "not bend", "box:2", 'technique:slide,tapped tempo:80-100', "fret<=5 level>=4",
    "kettle", '"on the stove"', "rights:none", "by:quill feel:shuffle", "scale:blues not key:minor", "finding:warning", "file:blues/", "",
)  # fmt: skip
GOAL = 100  # ms, of a question to 100,000 licks
AT_ONCE = 64  # licks to a batch, as a build puts them in
POOL = 1500  # licks that are compiled
DUPLICATES = 10_000  # licks whose duplicates are looked for
WORDS = ("porch", "kettle", "river", "lamp", "gate", "stone", "ladder", "creak", "window", "harbor")


def known() -> list[LickFacts]:
    """The facts of licks that are not the same but for title and tempo."""
    with tempfile.TemporaryDirectory() as folder:
        make(Path(folder), POOL)
        compiled = [compile_file(path) for path in sorted(Path(folder).rglob("*.lick"))]
    return [lick_facts(lick, c.source) for c in compiled for lick in c.licks]


def varied(ones: list[LickFacts], number: int) -> Iterator[LickFacts]:
    """So many licks, no two of them alike in everything, every other one a phrase of its own."""
    chance = random.Random(1)
    for n in range(number):
        one = ones[n % len(ones)]
        title = f"{one.title} {chance.choice(WORDS)} {n}"
        if n % 2:
            moments = bytearray(one.moments)
            for _ in range(chance.randint(1, 6)):
                moments[chance.randrange(one.notes)] = 128 + chance.choice((-5, -2, 0, 3, 5, 7, 10, 12, 15))
            one = one._replace(moments=bytes(moments), phrase=chance.getrandbits(62))
        yield one._replace(
            title=title, tempo=float(chance.randint(50, 180)), tab=chance.getrandbits(62), line=8 * (n % 10) + 5
        )


def fill(folder: str, ones: list[LickFacts], number: int) -> float:
    """A manifest with the index of so many licks, ten a file; gives the seconds a lick."""
    spent = 0.0
    with Manifest(folder, write=True) as manifest:
        manifest.with_index()
        licks = list(varied(ones, number))
        for first in range(0, number, AT_ONCE):
            rows = [
                (n, f"../{licks[n].style or 'other'}/{n:06}.lick", f"{n:06}")
                for n in range(first, min(first + AT_ONCE, number))
            ]
            manifest.db.executemany("INSERT INTO sources VALUES (?, ?, ?, NULL, NULL, 'tab', 1, '', '', 1, 0)", rows)
            begun = time.perf_counter()
            index_schema.add_licks_of_sources(manifest.db, [(n, [licks[n]]) for n, _, _ in rows])
            spent += time.perf_counter() - begun
        begun = time.perf_counter()
        manifest.complete_index()
        spent += time.perf_counter() - begun
        manifest.keep()
    return spent / number


def timed(work: Callable[[], object], rounds: int = 5) -> tuple[float, float]:
    """Best and middle of several, in milliseconds."""
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        times.append((time.perf_counter() - begun) * 1e3)
    return min(times), median(times)


def show(what: str, times: tuple[float, float], note: str = "") -> None:
    print(f"{what:<44} {times[0]:8.1f} {times[1]:8.1f} ms   {note}", flush=True)


def main() -> None:
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    ones = known()
    print(f"{len(ones)} licks varied to {number:,}")
    with tempfile.TemporaryDirectory() as folder:
        spent = fill(folder, ones, number)
        size = (Path(folder) / ".lickwright.db").stat().st_size
        print(f"indexing: {spent * 1e6:.0f} us a lick, {size / number:.0f} bytes a lick")
        with Manifest(folder, write=False) as manifest:
            for question in QUESTIONS:
                total = search_index(manifest.db, question, 1).total
                times = timed(lambda question=question: search_index(manifest.db, question, 50))  # type: ignore[misc]
                show(question or "(everything)", times, f"{total:,} found; goal {GOAL}")
            for n in (0, len(ones) // 3, len(ones) // 2):
                times = timed(lambda n=n: find_similar(manifest.db, ones[n], 20))  # type: ignore[misc]
                show(f"like a lick of {ones[n].notes} notes", times)
            show("overview", timed(lambda: library_statistics(manifest.db), 2))
            show("what is missing", timed(lambda: find_gaps(manifest.db), 2))
        start = [sys.executable, "-c", "import click"]
        for question in ("", *QUESTIONS[:4], "bend box:2 level<=3"):
            middle, ratio = paired([sys.executable, "-m", "lickwright", "find", folder, question], start)
            what = f"whole command: {question or '(everything)'}"
            print(f"{what:<64} cpu {middle.cpu * 1e3:4.0f} ms, {ratio:.2f} of starting Python and click, goal 1.3")
    connection = create_memory_index()
    licks = list(varied(ones, DUPLICATES))
    connection.executemany("INSERT INTO sources VALUES (?, ?)", [(n, f"{n:06}.lick") for n in range(DUPLICATES)])
    index_schema.add_licks_of_sources(connection, [(n, [one]) for n, one in enumerate(licks)])
    begun = time.perf_counter()
    found = find_duplicates(connection).groups
    seconds = time.perf_counter() - begun
    phrases = len({one.phrase for one in licks})
    kinds = Counter(group.kind for group in found)
    print(f"duplicates of {DUPLICATES:,} licks, {phrases:,} phrases: {seconds:.1f} s; {dict(kinds)}")


if __name__ == "__main__":
    main()
