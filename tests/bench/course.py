"""An author's day with a course of three thousand licks: `python tests/bench/course.py [LICKS] [--other PYTHON]`; it takes about three minutes.

The course lies in forty folders, and seven licks in a hundred have a mistake. Each command of the day is run as a user would, and what it
came to is printed: exit code, lines on the screen (sixty are one screen), CPU seconds, and their ratio to the first build. With --other, the
interpreter of another installed version runs the same commands on a course of its own, and the ratio to that is printed beside it.
"""

from __future__ import annotations

import os
import re
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import NamedTuple

from library_maker import _pool, _varied

FOLDERS, LICKS, BAD = 40, 3000, 0.07
SCREEN = 60  # lines
_ENVIRONMENT = {
    **{name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}, "COLUMNS": "100",
}  # fmt: skip


class Step(NamedTuple):
    """One command of the day."""

    name: str
    words: tuple[str, ...]  # after `lickwright`
    before: Callable[[Path], None] | None = None  # what the author does first
    says: str = ""  # what must be said, as a regular expression
    code: int | None = None  # that it must end with


def course(folder: Path, licks: int, seed: int = 11) -> None:
    """Writes the course."""
    pool, chance = _pool(seed), Random(seed)
    for n in range(licks):
        text = _varied(pool[n % len(pool)], n, chance)
        if chance.random() < BAD:
            text = chance.choice(MISTAKES)(text)
        place = folder / f"chapter-{n * FOLDERS // licks + 1:02}"
        place.mkdir(parents=True, exist_ok=True)
        (place / f"{n:04}.lick").write_text(text, "utf-8")


# A letter in place of a string, a bar with a step too many, a field that is not there, notes beside the box.
MISTAKES: tuple[Callable[[str], str], ...] = (
    lambda text: re.sub(r"\bB(\d)", r"b\1", text, count=1),
    lambda text: re.sub(r"\| ", "| . ", text, count=1),
    lambda text: text.replace("\nkey ", "\nkee ", 1) if "\nkey " in text else f"kee A minor\n{text}",
    lambda text: re.sub(r"\bG(\d+)", lambda m: f"G{int(m[1]) + 1}", text),
)


def _break_one(here: Path) -> None:
    path = next(path for path in sorted((here / "lib").rglob("*.lick")) if "| ." not in path.read_text("utf-8"))
    path.write_text(re.sub(r"\| ", "| zz ", path.read_text("utf-8"), count=1), "utf-8")


def _edit_one(here: Path) -> None:
    path = sorted((here / "lib").rglob("*.lick"))[-1]
    path.write_text(path.read_text("utf-8").replace('lick "', 'lick "New ', 1), "utf-8")


def _delete_one(here: Path) -> None:
    sorted((here / "lib").rglob("*.lick"))[-1].unlink()


def _wrong_field(here: Path) -> None:
    (here / "wrong").mkdir()
    for path in sorted((here / "lib").rglob("*.lick"))[:600]:
        text = re.sub(r"(?m)^(scale|box)\s.*\n", "", path.read_text("utf-8"))
        (here / "wrong" / path.name).write_text(text, "utf-8")
    (here / "wrong/lickwright.toml").write_text('[fields]\nscale = "whole tone"\n', "utf-8")


DAY = (
    Step("check the course", ("check", "lib"), says=r"lickwright check --all", code=1),
    Step("first build", ("make", "lib"), code=1),
    Step("build again", ("make", "lib"), says=r"unchanged", code=1),
    Step("one lick edited", ("make", "lib"), _edit_one, r"1 made", 1),
    Step("one lick broken", ("make", "lib"), _break_one, r"older files", 1),
    Step("dry run", ("make", "lib", "--dry-run"), code=1),
    Step("find, the easiest first", ("find", "out", "bend level<=2 sort:level"), code=0),
    Step("find what is not fresh", ("find", "out", "box:1", "--limit", "30"), says=r"(broken|changed|errors)", code=0),
    Step("what the course holds", ("library", "out"), code=0),
    Step("what is there twice", ("library", "out", "--duplicates", "--limit", "3"), code=0),
    Step("is it ready", ("library", "out", "--ready"), code=1),
    Step("a lick deleted, pruned", ("make", "lib", "--prune"), _delete_one, r"removed", 1),
    Step("a setting that floods", ("check", "wrong"), _wrong_field, r"\Awrong/lickwright.toml:2:", None),
    *(Step(f"share {n} of 3", ("make", "lib", "--shard", f"{n}/3", "--out", f"part{n}")) for n in (1, 2, 3)),
    Step(
        "a share is missing",
        ("make", "--merge", "part1", "part2", "--out", "merged"),
        says=r"3 of 3 is missing",
        code=2,
    ),
    Step("shares together", ("make", "--merge", "part1", "part2", "part3", "--out", "merged"), code=1),
    Step("an archive", ("make", "lib", "--zip", "course.zip", "--layout", "by-format"), code=1),
)


class Ran(NamedTuple):
    """What a command came to."""

    code: int
    lines: int
    cpu: float
    text: str


def lived(python: str, licks: int) -> Iterator[tuple[Step, Ran]]:
    """The day, with a course of its own, step by step."""
    with tempfile.TemporaryDirectory() as folder:
        here = Path(folder)
        course(here / "lib", licks)
        for step in DAY:
            if step.before is not None:
                step.before(here)
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            done = subprocess.run(
                [python, "-m", "lickwright", *step.words], cwd=here, env=_ENVIRONMENT, capture_output=True, text=True
            )
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
            text = done.stderr + done.stdout
            yield step, Ran(done.returncode, text.count("\n"), cpu, text)


def judged(step: Step, ran: Ran) -> str:
    """What is wrong with a step; "" for nothing."""
    wrong = [f"{ran.lines} lines"] if ran.lines > SCREEN else []
    wrong += [f"ended with {ran.code}, not {step.code}"] if step.code not in (None, ran.code) else []
    wrong += [f"did not say {step.says}"] if not re.search(step.says, ran.text) else []
    wrong += ["a traceback"] if "Traceback" in ran.text else []
    return ", ".join(wrong)


def main() -> None:
    """Prints the table; the exit code says nothing."""
    words = sys.argv[1:]
    other = words[words.index("--other") + 1] if "--other" in words else None
    licks = next((int(word) for word in words if word.isdigit()), LICKS)
    print(f"{licks:,} licks in {FOLDERS} folders\n")
    print(f"{'step':26} {'exit':>4} {'lines':>5} {'cpu s':>7} {'to build':>8}" + (f" {'to other':>8}" if other else ""))
    others = lived(other, licks) if other else None
    build = 0.0
    for step, ran in lived(sys.executable, licks):
        build = ran.cpu if step.name == "first build" else build
        ratio = f"{ran.cpu / build:8.2f}" if build else f"{'':8}"
        beside = f" {ran.cpu / next(others)[1].cpu:8.2f}" if others is not None else ""
        print(
            f"{step.name:26} {ran.code:4} {ran.lines:5} {ran.cpu:7.2f} {ratio}{beside}  {judged(step, ran)}".rstrip(),
            flush=True,
        )


if __name__ == "__main__":
    main()
