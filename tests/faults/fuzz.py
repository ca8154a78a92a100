"""Fuzzing of everything that reads what others wrote.

    python tests/faults/fuzz.py [TARGET...] --seconds N [--keep]

The targets stand in `targets.py`; without one named, all of them share the time, an hour if not said. With `atheris` (`pip install -e '.[fuzz]'`)
inputs are guided by coverage; without it a seeded loop mutates the corpus: which of both it is, is said. What breaks a target is saved in `--finds`;
once cured it belongs into `corpus/`, whose inputs an everyday test runs again. `--keep` puts what reached new code into the corpus, minimised.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import json
import os
import pkgutil
import random
import re
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from targets import Target

HERE = Path(__file__).parent
CORPUS = HERE / "corpus"
ROOM = 60_000  # bytes of the corpus for one target
MOST = 1000  # new inputs that are looked at to be kept
SECONDS, MEMORY = 10, 2048  # what one input may take; MiB
_EDGES = re.compile(r"cov: (\d+)")
_NEAR = re.compile(r"[0-9]+")


class Watch:
    """Calls a target, counts, and saves what breaks it: a kind of error once a place."""

    def __init__(self, target: str, finds: Path) -> None:
        from targets import TARGETS

        self._call = TARGETS[target].call
        self._target = target
        self._finds = finds
        self._said = finds / f"{target}.json"
        self._broken: dict[str, str] = {}  # by place: the file that shows it
        self._outcomes: Counter[str] = Counter()
        self._next = 0.0

    def __call__(self, data: bytes) -> None:
        """One input."""
        data = bytes(data)
        try:
            self._outcomes[self._call(data)] += 1
        except KeyboardInterrupt:
            raise
        except BaseException as e:
            self._outcomes["broken"] += 1
            place = _place(e)
            if place not in self._broken:
                file = self._finds / f"{self._target}-{name_of(data)}"
                file.write_bytes(data)
                file.with_suffix(".txt").write_text("".join(traceback.format_exception(e)), "utf-8", "backslashreplace")
                self._broken[place] = file.name
                self.tell()
        if time.monotonic() > self._next:
            self._next = time.monotonic() + 1
            self.tell()

    def tell(self) -> None:
        """Writes what was done so far, for whoever started this process, which may be killed."""
        whole = {"outcomes": self._outcomes, "broken": self._broken}
        part = self._said.with_suffix(".part")
        part.write_text(json.dumps(whole), "utf-8")
        part.replace(self._said)


def name_of(data: bytes) -> str:
    """The name of an input in the corpus."""
    return hashlib.sha1(data).hexdigest()[:12]


def _place(error: BaseException) -> str:
    """Which mistake it is: the kind of error and the lines of ours that led there."""
    frames = [
        frame
        for frame in traceback.extract_tb(error.__traceback__)
        if "lickwright" in frame.filename or "targets" in frame.filename
    ]
    words = _NEAR.sub("0", str(error))[:80] if isinstance(error, AssertionError) else ""
    return " ".join(
        [type(error).__name__, words, *(f"{Path(frame.filename).name}:{frame.lineno}" for frame in frames[-2:])]
    )


# --- in a process of its own: one target, guided or not


def guided(target: str, work: Path, finds: Path, seconds: int) -> None:
    """Fuzzes one target with atheris until the time is over; does not come back."""
    import atheris

    with atheris.instrument_imports(include=["lickwright", "lark"]):
        import targets

        import lickwright  # noqa: F401

        modules = ("cli", "cli.find", "cli.library", "cli.make", "build.engine", "transform.autofix", "report.sarif")
        for module in (*modules, "report.annotations"):
            __import__(f"lickwright.{module}")
    chosen = targets.TARGETS[target]
    words = finds / f"{target}.words"
    words.write_text("\n".join(f'"{_escaped(word)}"' for word in chosen.words() if word), "ascii")
    options = [
        f"-max_total_time={seconds}",
        f"-timeout={SECONDS}",
        f"-rss_limit_mb={MEMORY}",
        f"-max_len={chosen.longest}",
        f"-artifact_prefix={finds}/{target}-",
        f"-dict={words}",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], str(work), *options], Watch(target, finds))
    atheris.Fuzz()


def _instrumented(target: str) -> Target:
    """A target, with all modules of ours imported so that atheris sees which code an input reaches."""
    import atheris

    with atheris.instrument_imports(include=["lickwright", "lark"]):
        import lickwright

        for module in pkgutil.walk_packages(lickwright.__path__, "lickwright."):
            if not module.name.endswith(("__main__", "write_parser_tables")) and ".synth" not in module.name:
                with contextlib.suppress(ImportError):  # of an extra that is not there
                    importlib.import_module(module.name)
        import targets
    return targets.TARGETS[target]


def _escaped(word: str) -> str:
    return "".join(chr(byte) if 32 <= byte < 127 and byte not in b'"\\' else f"\\x{byte:02X}" for byte in word.encode())


def unguided(target: str, work: Path, finds: Path, seconds: int, seed: int) -> None:
    """Mutates the corpus until the time is over."""
    from targets import TARGETS

    chosen, chance, watch = TARGETS[target], random.Random(f"{seed} {target}"), Watch(target, finds)
    inputs = [path.read_bytes() for path in sorted(work.iterdir())] or [b""]
    words = [word.encode() for word in chosen.words()]
    for data in inputs:
        watch(data)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        watch(mutated(chance, inputs, words)[: chosen.longest])
    watch.tell()


def mutated(chance: random.Random, inputs: list[bytes], words: list[bytes]) -> bytes:
    """One of the inputs with a few changes."""
    data = bytearray(chance.choice(inputs))
    for _ in range(chance.choice((1, 1, 2, 3, 8))):
        at, end = sorted((chance.randint(0, len(data)), chance.randint(0, len(data))))
        near = min(end, at + chance.choice((1, 1, 4, 30)))
        what = chance.randrange(6)
        if what == 0:
            data[at:near] = b""
        elif what == 1:
            data[at:at] = data[at:near] * chance.choice((1, 1, 2, 20))
        elif what == 2:
            data[at:near] = chance.randbytes(near - at)
        elif what == 3 and words:
            data[at:at] = chance.choice(words)
        elif what == 4 and words:
            data[at:near] = chance.choice(words)
        else:
            other = chance.choice(inputs)
            start = chance.randint(0, len(other))
            data[at:near] = other[start : start + chance.choice((2, 10, 100))]
    return bytes(data)


# --- the command


def fuzz(target: str, seconds: int, finds: Path, seed: int, keep: bool, alone: bool) -> str:
    """Fuzzes one target in processes of its own; what came of it, in a line."""
    from targets import TARGETS

    outcomes: Counter[str] = Counter()
    broken: dict[str, str] = {}
    edges, began = 0, time.monotonic()
    with tempfile.TemporaryDirectory(prefix="lickwright-fuzz-") as place:
        work = Path(place, "work")
        work.mkdir()
        for data in (*TARGETS[target].seeds(), *kept(target)):
            (work / name_of(data)).write_bytes(data)
        while (left := int(seconds - (time.monotonic() - began))) > 0:
            words = [
                sys.executable,
                __file__,
                target,
                "--work",
                str(work),
                "--finds",
                str(finds),
                "--seconds",
                str(left),
            ]
            words += ["--seed", str(seed), *(["--unguided"] if alone else [])]
            ended = subprocess.run(
                words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=os.environ | {"TMPDIR": place}
            )
            log = ended.stdout.decode("utf-8", "replace")
            said = finds / f"{target}.json"
            if said.exists():
                told = json.loads(said.read_text("utf-8"))
                outcomes.update(told["outcomes"])
                broken |= told["broken"]
                said.unlink()
            edges = max([edges, *map(int, _EDGES.findall(log))])
            if ended.returncode:  # too slow, too large, or a mistake of this kit
                (finds / f"{target}.log").write_text(log, "utf-8")
                saved = re.findall(rf"Test unit written to \S*/({target}-\S+)", log)
                for name in saved or ["the process itself"]:
                    broken[f"ended with {ended.returncode}: {target}.log"] = name
                if not saved:
                    break
            seed += 1
        if keep:
            _keep(target, work)
    runs = f"{target}: {sum(outcomes.values()):,} executions in {time.monotonic() - began:.0f} s"
    counted = ", ".join(f"{number:,} {word}" for word, number in outcomes.most_common())
    known = f", {edges:,} edges" if edges else ""
    lines = [f"{runs} ({counted}){known}, {len(list(kept(target))):,} inputs kept, {len(broken):,} failures"]
    return "\n".join(lines + [f"  {file}: {why}" for why, file in broken.items()])


def kept(target: str) -> Iterable[bytes]:
    """The inputs of a target in the corpus."""
    for path in sorted((CORPUS / target).glob("*")):
        yield path.read_bytes()


def _keep(target: str, work: Path) -> None:
    """Puts inputs that reach lines which no seed and no kept input reaches into the corpus, small ones first, as far as there is room."""
    from targets import TARGETS

    chosen = TARGETS[target]
    old = [*chosen.seeds(), *kept(target)]
    reached: set[tuple[str, int]] = set()
    for data in old:
        reached |= lines_of(chosen, data)
    new = sorted({path.read_bytes() for path in work.iterdir()} - {*old}, key=lambda data: (len(data), data))
    room = ROOM - sum(map(len, kept(target)))
    folder = CORPUS / target
    folder.mkdir(parents=True, exist_ok=True)
    for data in new[:MOST]:
        more = lines_of(chosen, data) - reached
        if more and len(data) <= room:
            reached |= more
            room -= len(data)
            (folder / name_of(data)).write_bytes(data)


def lines_of(target: Target, data: bytes) -> set[tuple[str, int]]:
    """The lines of ours that an input reaches."""
    reached: set[tuple[str, int]] = set()

    def trace(frame: FrameType, event: str, argument: object) -> object:
        if "lickwright" not in frame.f_code.co_filename:
            return None
        if event == "line":
            reached.add((frame.f_code.co_filename, frame.f_lineno))
        return trace

    sys.settrace(trace)
    try:
        target.call(data)
    except Exception:  # what breaks a target is saved elsewhere
        pass
    finally:
        sys.settrace(None)
    return reached


def main() -> int:
    """The command line; 1 if anything broke."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("targets", nargs="*", metavar="TARGET")
    parser.add_argument("--seconds", type=int, default=3600, help="in all, by default an hour")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--finds", type=Path, default=Path("fuzz-finds"), help="a folder for what breaks a target")
    parser.add_argument("--keep", action="store_true", help="put what is new into the corpus")
    parser.add_argument("--unguided", action="store_true", help="do without atheris")
    parser.add_argument("--work", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    alone = asked.unguided or find_spec("atheris") is None
    if asked.work and alone:
        unguided(asked.targets[0], asked.work, asked.finds, asked.seconds, asked.seed)
    elif asked.work:
        guided(asked.targets[0], asked.work, asked.finds, asked.seconds)
    else:
        return _all(asked, alone)
    return 0


def _all(asked: argparse.Namespace, alone: bool) -> int:
    from targets import TARGETS

    chosen = asked.targets or list(TARGETS)
    if unknown := [name for name in chosen if name not in TARGETS]:
        print(f"there is no target {unknown[0]}; there are {', '.join(TARGETS)}", file=sys.stderr)
        return 2
    print("a seeded loop that mutates the corpus" if alone else "atheris, guided by coverage", flush=True)
    finds = asked.finds.resolve()
    finds.mkdir(parents=True, exist_ok=True)
    failures = 0
    for target in chosen:
        told = fuzz(target, asked.seconds // len(chosen), finds, asked.seed, asked.keep, alone)
        failures += told.count("\n")
        print(told, flush=True)
    print(f"{failures:,} failures" + (f": the inputs are in {asked.finds}" if failures else ""))
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
