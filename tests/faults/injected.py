"""Every fault at every call of every scene, counted; run this file for all of it, or with the names of scenes for some.

python tests/faults/injected.py [SCENE...] [--sample N] [--at CALL]
"""

from __future__ import annotations

import argparse
import random
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from injecting import Fault, Server, compiled, every, missing
from scenes import SCENES, Scene, Stage

FIELD = "\x1f"  # between scene, fault and words of a failure


class Totals:
    """What was done and what was wrong."""

    def __init__(self) -> None:
        self.scenes = 0
        self.runs = 0  # of the command line, in all
        self.disturbed: Counter[str] = Counter()  # faults that happened, by what was done
        self.kinds: Counter[str] = Counter()  # and by the kind of call
        self.without = 0  # faults whose call did not come, since the run took another way
        self.codes: Counter[int] = Counter()
        self.failures: list[str] = []

    def add(self, other: Totals) -> None:
        """Counts those of another as well."""
        self.scenes += other.scenes
        self.runs += other.runs
        self.disturbed += other.disturbed
        self.kinds += other.kinds
        self.without += other.without
        self.codes += other.codes
        self.failures += other.failures

    def __str__(self) -> str:
        kills = sum(number for what, number in self.disturbed.items() if what.startswith("SIG"))
        lines = [
            f"{self.runs:,} runs of {self.scenes} scenes: {sum(self.disturbed.values()) - kills:,} injected errors, "
            f"{kills:,} signals, {len(self.failures):,} failures",
            "  faults: " + ", ".join(f"{what} {number:,}" for what, number in self.disturbed.most_common()),
            "  calls: " + ", ".join(f"{kind} {number:,}" for kind, number in self.kinds.most_common()),
            "  exit codes: " + ", ".join(f"{code} {number:,}" for code, number in sorted(self.codes.items())),
        ]
        if self.without:
            lines.append(f"  {self.without:,} faults did not happen: their call never came")
        return "\n".join(lines + _grouped(self.failures))


_CHANCE = re.compile(r"[.]lw-[0-9a-f]+")


def _grouped(failures: Iterable[str]) -> list[str]:
    """Failures with the same words in a scene once, with how many there are and the first fault that showed it."""
    groups: dict[tuple[str, str], list[str]] = {}
    for failure in failures:
        scene, fault, words = failure.split(FIELD)
        groups.setdefault((scene, _CHANCE.sub(".lw-*", " ".join(words.split()))), []).append(fault)
    return [
        f"  {len(faults):,} x {scene}, {words}\n      first: {faults[0]}" for (scene, words), faults in groups.items()
    ]


def faults(trace: Iterable[str]) -> Iterator[Fault]:
    """All that may happen to a run that makes these calls."""
    for number, kind in enumerate(trace, 1):
        yield from every(kind, number)


def disturb(
    scene: Scene, folder: Path, server: Server, sample: int | None = None, seed: int = 9, at: int = 0
) -> Totals:
    """Plays a scene with every fault, or with some of them. Raises AssertionError if the scene itself is wrong."""
    totals, before = Totals(), server.runs
    stage = Stage(scene, folder, server)
    wanted = list(faults(stage.clean.trace))
    if at:
        wanted = [fault for fault in wanted if fault.at == at]
    if sample is not None:
        wanted = random.Random(f"{seed} {scene.name}").sample(wanted, min(sample, len(wanted)))
    for fault in wanted:
        run, wrong = stage.play(fault)
        what, _, kind = fault.name.partition(", ")
        if run.fired:
            totals.disturbed[what] += 1
            totals.kinds[kind] += 1
        else:
            totals.without += 1
        totals.codes[run.code] += 1
        totals.failures += [FIELD.join((scene.name, str(fault), words)) for words in wrong]
    totals.scenes = 1
    totals.runs = server.runs - before
    return totals


def main() -> int:
    """The command line; 1 if anything was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scenes", nargs="*", help="names, or parts of names")
    parser.add_argument("--sample", type=int, help="so many faults of each scene")
    parser.add_argument("--seed", type=int, default=9)
    parser.add_argument("--at", type=int, default=0, help="only faults at the call with this number")
    asked = parser.parse_args()
    if why := missing():
        print(f"skipped: {why}")
        return 0
    totals, began = Totals(), time.monotonic()
    with tempfile.TemporaryDirectory() as place, Server(compiled(Path(place))) as server:
        for number, scene in enumerate(SCENES):
            if asked.scenes and not any(name in scene.name for name in asked.scenes):
                continue
            one = disturb(scene, Path(place, str(number)), server, asked.sample, asked.seed, asked.at)
            print(f"{scene.name}: {one}", flush=True)
            totals.add(one)
    print(f"\nin all, {time.monotonic() - began:.0f} s: {totals}")
    return 1 if totals.failures else 0


if __name__ == "__main__":
    sys.exit(main())
