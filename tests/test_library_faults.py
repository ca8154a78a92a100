"""What machines and people do to a build: it is killed, the disk is full, a source is poison, the manifest is torn.

The promise: every file is the old one or the whole new one, nobody else's file is touched, and the next build puts everything right. Each fault
has a short test; the long ones are marked `slow`.
"""

from __future__ import annotations

import contextlib
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from building import COMMAND, PATIENCE, kill, library, lick, make, start, stray, tree, wait_for
from lickwright.build import task
from lickwright.build.build_config import BuildConfig
from lickwright.build.engine import build_library
from lickwright.build.stage_runner import Steps
from lickwright.cli import main
from lickwright.cli.build_view import BuildView
from lickwright.export import Options
from lickwright.store import journal, manifest, manifest_schema, unusable_manifest
from lickwright.store.local_storage import LocalStorage
from lickwright.store.manifest import Manifest
from lickwright.store.output_keys import options_key
from lickwright.store.output_writer import OutputWriter, content_digest
from lickwright.store.types import CompileOptions, WorkItem

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def _whole(here: Path, *more: str) -> dict[str, bytes]:
    """What an undisturbed build of `lib` gives."""
    with contextlib.chdir(here):
        assert main(["make", "lib", "--out", "undisturbed", "--jobs", "1", *more]) == 0
    whole = tree(here / "undisturbed")
    shutil.rmtree(here / "undisturbed")
    return whole


def _right(here: Path, whole: dict[str, bytes], *more: str) -> None:
    """The next build puts everything right, and the one after it has nothing to do."""
    code, _, err = make(here, "lib", *more)
    assert (code, err) == (0, "")
    assert tree(here / "out") == whole
    assert not stray(here / "out")
    assert "made" not in make(here, "lib", *more)[1]


# ---- killed


def _killed(here: Path, number: int, kills: int, seed: int) -> None:
    library(here / "lib", number)
    sources = tree(here / "lib")
    versions = ([], ["--tempo", "77"])
    wholes = [_whole(here, *more) for more in versions]
    chance = random.Random(seed)
    seconds, cut = 1.0, 0
    for _ in range(kills):
        began = time.monotonic()
        process = start(here, "lib", "--jobs", "2", *chance.choice(versions))
        try:
            process.wait(chance.uniform(0.05, seconds))
            seconds = max(0.3, time.monotonic() - began)  # it came to its end: the next are killed before
            shutil.rmtree(here / "out")
        except subprocess.TimeoutExpired:
            cut += 1
            seconds *= 1.02
        kill(process)
        for name, data in tree(here / "out").items() if (here / "out").exists() else ():
            assert "/.lw-" in name or data in (wholes[0][name], wholes[1][name]), name
        assert tree(here / "lib") == sources
    print(f"{cut} of {kills} builds were cut short")
    assert cut > kills / 3
    _right(here, wholes[0])


@pytest.mark.slow
def test_builds_that_are_killed_leave_nothing_torn_and_nothing_unknown(tmp_path: Path) -> None:
    _killed(tmp_path, 160, 6, 1)


@pytest.mark.slow
def test_two_hundred_killed_builds_of_two_thousand_licks(tmp_path: Path) -> None:
    _killed(tmp_path, 2000, 200, 2)


@pytest.mark.slow
def test_a_worker_that_is_killed_costs_nothing(tmp_path: Path) -> None:
    library(tmp_path / "lib", 400)
    whole = _whole(tmp_path)
    process = start(tmp_path, "lib", "--jobs", "2")
    wait_for(lambda: len(_children(process.pid)) == 2)
    for _ in range(3):
        for child in _children(process.pid)[:1]:
            os.kill(child, signal.SIGKILL)
        time.sleep(0.05)
    out, err = process.communicate(timeout=PATIENCE)
    assert (process.returncode, err) == (0, "")
    assert out.startswith("1,200 files of 400 licks")
    assert tree(tmp_path / "out") == whole


def _children(pid: int) -> list[int]:
    try:
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


def _dies_once(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Dies in the middle of writing, the first time; is done well when tried again."""
    try:
        (Path(place.storage.out).parent / "died").touch(exist_ok=False)  # by one worker only, whichever comes first
    except FileExistsError:
        return task.compile_source(item, compile_options, place)
    place.note(item.target, [("a.mid", bytes(16))])
    Path(place.storage.out, os.path.dirname(item.target), f".lw-{0:016x}.tmp").mkdir(parents=True)
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


def test_what_a_killed_worker_was_writing_goes_with_the_same_build(tmp_path: Path) -> None:
    library(tmp_path / "lib", 150)  # so many that workers do it: what dies would be the tests otherwise
    compile_options = CompileOptions(("tab",), Options(), None, options_key(Options(), ""), False)
    wish = BuildConfig([str(tmp_path / "lib")], str(tmp_path / "out"), lambda path: compile_options, 2, work=_dies_once)
    account = build_library(wish, BuildView())
    assert (account.built, account.failed) == (150, 0)
    assert (tmp_path / "died").exists()
    assert not stray(tmp_path / "out")


def test_a_journal_that_a_full_disk_cut_off_is_read_and_taken_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notes = journal.Journal(str(tmp_path))
    write, left = os.write, [10]  # bytes that the disk takes

    def full(handle: int, data: bytes) -> int:
        if not left[0]:
            raise OSError(28, "no space left on device")
        taken = write(handle, data[: left[0]])
        left[0] -= taken
        return taken

    monkeypatch.setattr(os, "write", full)
    hashes = [bytes([n]) * 16 for n in range(3)]
    for space, hash in zip((10, 30, 1000), hashes, strict=True):  # in the first line, in the second, all of it
        left[0] = space
        if space < 1000:
            with pytest.raises(OSError, match="no space"):
                notes.note("a", [("a.mid", hash)])
        else:
            notes.note("a", [("a.mid", hash)])
    notes.close()
    with Manifest(str(tmp_path), write=True) as kept:
        journal.recover_journals(str(tmp_path), kept)
        assert kept.claimed("a") == [("a.mid", hashes[2])]
    assert not stray(tmp_path)


@pytest.mark.parametrize("again", [True, False])
def test_what_a_killed_build_wrote_of_a_lick_that_is_gone_is_still_ours(tmp_path: Path, again: bool) -> None:
    """The output was written anew, or for the first time, and its lick deleted before the next build."""
    lib, out = tmp_path / "lib", tmp_path / "out"
    lib.mkdir()
    other = lick(2).partition("\n")[2]
    (lib / "a.lick").write_text(lick(1) + (other if again else ""))
    assert make(tmp_path, "lib", "--to", "tab")[0] == 0
    rest = tree(out)
    written = OutputWriter(LocalStorage(str(out)), False)  # as a build does that is killed before it is on record
    written.note("a", [("number-2.tab.txt", content_digest(b"new"))])
    (out / "a/number-2.tab.txt").write_bytes(b"new")
    written.close()
    (lib / "a.lick").write_text(lick(1))
    code, _, err = make(tmp_path, "lib", "--to", "tab", "--prune")
    assert code == 0 and "by hand" not in err
    rest.pop("a/number-2.tab.txt", None)
    assert tree(out) == rest
    (lib / "a.lick").write_text(lick(1) + other)
    assert make(tmp_path, "lib", "--to", "tab")[0] == 0
    assert b"new" not in tree(out).values() and len(tree(out)) == 2


def test_an_output_that_cannot_be_looked_at_costs_only_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.lick").write_text(lick(1))
    compile_options = CompileOptions(("tab", "midi"), Options(), None, options_key(Options(), ""), False)
    wish = BuildConfig([str(tmp_path / "a.lick")], str(tmp_path / "out"), lambda path: compile_options)
    assert build_library(wish, BuildView()).files == 2
    (tmp_path / "a.lick").write_text(lick(1).replace("tempo 61", "tempo 62"))
    lstat = os.lstat

    def refused(path: str, **more: object) -> os.stat_result:
        if str(path).endswith(".mid"):
            raise PermissionError(13, "Permission denied")
        return lstat(path, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "lstat", refused)
    screen = BuildView()
    build_library(wish, screen)
    monkeypatch.undo()
    assert screen.code == 3
    assert build_library(wish, BuildView()).failed == 0
    assert "1/4 = 62" in (tmp_path / "out" / "a" / "number-1.tab.txt").read_text("utf-8")


# ---- stopped


# `make` with worker processes that do one source each and stay with the second, until they are stopped: whatever the machine's speed, it is at work.
HELD = """
import os, sys, time
from lickwright.__main__ import run
from lickwright.build import executor_choice, task

done = []

def held(item, compile_options, place, real=task.compile_source):
    if done:
        open(f"held-{os.getpid()}", "w").close()
        time.sleep(3600)
    done.append(item)
    return real(item, compile_options, place)

executor_choice.CHUNK = 1
executor_choice.Limits = lambda real=executor_choice.Limits: real(seconds=3600.0)
task.compile_source = held
sys.exit(run())
"""


@pytest.mark.parametrize(
    ("signals", "code"),
    [
        pytest.param([signal.SIGINT], 130, marks=pytest.mark.slow),
        pytest.param([signal.SIGINT, signal.SIGINT], 130, marks=pytest.mark.slow),
        ([signal.SIGTERM], 143),
        pytest.param([signal.SIGHUP], 129, marks=pytest.mark.slow),
    ],
)
def test_a_build_that_is_stopped_ends_at_once_and_goes_on_later(tmp_path: Path, signals: list[int], code: int) -> None:
    library(tmp_path / "lib", 150)
    process = start(tmp_path, "lib", "--jobs", "2", program=["-c", HELD])
    wait_for(lambda: len(list(tmp_path.glob("held-*"))) == 2)
    workers = [path.name.removeprefix("held-") for path in tmp_path.glob("held-*")]
    for number in signals:
        os.killpg(process.pid, number)  # as a terminal does: workers get it too
    out, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == code
    assert "Traceback" not in out + err
    assert not any(os.path.exists(f"/proc/{child}") for child in workers)
    assert "stopped" in err
    assert not stray(tmp_path / "out")
    assert len(tree(tmp_path / "out")) == 2 * 3, "it went on with what was left"
    assert make(tmp_path, "lib")[0] == 0
    assert len(tree(tmp_path / "out")) == 450


# ---- poison


POISON = """
import ctypes, os, signal, sys
from lickwright.export import Options
from lickwright.cli.build_view import BuildView
from lickwright.cli import terminal
from lickwright.build import task, worker
from lickwright.build.build_config import BuildConfig
from lickwright.build.engine import build_library
from lickwright.store.output_keys import options_key
from lickwright.store.types import CompileOptions

EVERY, SECONDS, MEMORY = int(sys.argv[1]), float(sys.argv[2]), 1 << 29
KINDS = ("crash", "exit", "loop", "memory", "bug", "abort")

def poisoned(item, compile_options, place):
    number = int(os.path.basename(item.path)[1:5])
    if number % EVERY == 0:
        kind = KINDS[number // EVERY % len(KINDS)]
        if kind == "crash":
            ctypes.string_at(0)
        elif kind == "exit":
            os._exit(3)
        elif kind == "loop":
            while True:
                pass
        elif kind == "memory":
            held = []
            while True:
                held.append(bytes(1 << 25))
        elif kind == "bug":
            raise RuntimeError("poison")
        elif kind == "abort":
            signal.raise_signal(signal.SIGABRT)
    return task.compile_source(item, compile_options, place)

class Teller(BuildView):
    def progress(self, done, total, licks):
        pass

terminal.prepare_streams()
teller = Teller(everything=True)
compile_options = CompileOptions(("tab", "midi", "timing"), Options(), None, options_key(Options(), ""), True)
config = BuildConfig(["lib"], "out", lambda path: compile_options, 2, limits=worker.Limits(SECONDS, MEMORY), work=poisoned)
account = build_library(config, teller)
assert account.found == account.built + account.unchanged + account.failed + account.skipped, vars(account)
terminal.err(teller.findings(["lib"]))
print(account.found, account.built, account.unchanged, account.failed)
"""


def _poisoned(here: Path, number: int, every: int, seconds: float) -> None:
    library(here / "lib", number)
    whole = _whole(here)
    bad = number // every
    for again in (False, True):  # what is poison once is poison again, and is not worked on in the build's own process
        ran = subprocess.run(
            [sys.executable, "-c", POISON, str(every), str(seconds)],
            cwd=here,
            capture_output=True,
            text=True,
            timeout=900,
        )
        assert "Traceback" not in ran.stderr
        assert ran.returncode == 0, ran.stderr
        assert ran.stdout.split() == [
            str(number),
            *(["0", str(number - bad)] if again else [str(number - bad), "0"]),
            str(bad),
        ]
        bugs = sum(n // every % 6 == 4 for n in range(0, number, every))
        assert ran.stderr.count("given up") == bad - bugs
        assert ran.stderr.count("RuntimeError: poison") == bugs > 0
        for words in ("broke down over it (SIGSEGV)", "exit code 3", "longer than", "GiB of memory", "SIGABRT"):
            assert words in ran.stderr
    made = tree(here / "out")
    assert {name.split("/")[1] for name in whole} - {name.split("/")[1] for name in made} == {
        f"n{n:04}" for n in range(0, number, every)
    }
    assert made.items() <= whole.items()
    _right(here, whole)


@pytest.mark.slow
def test_a_poison_source_costs_itself_only(tmp_path: Path) -> None:
    _poisoned(tmp_path, 180, 30, 2.0)


@pytest.mark.slow
def test_twenty_five_poison_sources_among_two_thousand(tmp_path: Path) -> None:
    _poisoned(tmp_path, 2000, 80, 3.0)


LOOKED_INTO = """
import ctypes, sys
from lickwright.export import Options, tab
from lickwright.cli import terminal
from lickwright.cli.build_view import BuildView
from lickwright.build.build_config import BuildConfig
from lickwright.build.engine import build_library
from lickwright.store.output_keys import options_key
from lickwright.store.types import CompileOptions
from lickwright.build import executor_choice

def emit(stages, options, real=tab.emit):
    if stages.timeline.title in sys.argv[1:]:
        ctypes.string_at(0)
    return real(stages, options)

tab.emit = emit
executor_choice.SERIAL = 1
terminal.prepare_streams()
teller = BuildView(everything=True)
compile_options = CompileOptions(("tab", "midi"), Options(), None, options_key(Options(), ""), True)
account = build_library(BuildConfig(["lib"], "out", lambda path: compile_options, 2), teller)
assert account.found == account.built + account.unchanged + account.failed + account.skipped
terminal.err(teller.findings(["lib"]))
print(account.built, account.failed, account.licks, account.refused)
"""


@pytest.mark.parametrize(
    ("bad", "counts"),
    [
        (["Number 3"], "1 1 10 1"),
        pytest.param(["Number 0", "Number 4"], "1 1 9 2", marks=pytest.mark.slow),
        pytest.param([f"Number {n}" for n in range(5)], "1 1 6 0", marks=pytest.mark.slow),
    ],
)
def test_a_poison_lick_costs_itself_only(tmp_path: Path, bad: list[str], counts: str) -> None:
    (tmp_path / "lib").mkdir()
    text = "tempo 90\n" + "".join(lick(n).partition("\n")[2] for n in range(5))
    (tmp_path / "lib/many.lick").write_text(text.replace("Number", "Number"))
    (tmp_path / "lib/other.lick").write_text("".join(lick(n).partition("\n")[2] for n in range(5, 11)))
    whole = _whole(tmp_path, "--to", "tab,midi")
    for _ in range(2):
        ran = subprocess.run(
            [sys.executable, "-c", LOOKED_INTO, *bad], cwd=tmp_path, capture_output=True, text=True, timeout=120
        )
        assert (ran.returncode, "Traceback" in ran.stderr) == (0, False), ran.stderr
        built, rest = counts.split(" ", 1)
        assert ran.stdout.split()[1:] == rest.split()
        assert ran.stderr.count("given up: ") == (len(bad) if len(bad) < 5 else 1)
    made = tree(tmp_path / "out")
    assert len(made) == 22 - 2 * len(bad)
    assert made.items() <= whole.items()
    _right(tmp_path, whole, "--to", "tab,midi")


# ---- the manifest


def _damaged(here: Path, damages: list[bytes | str]) -> None:
    library(here / "lib", 3)
    whole = _whole(here)
    assert make(here, "lib")[0] == 0
    path = here / "out" / manifest.NAME
    sound = path.read_bytes()
    ran = subprocess.run(
        [sys.executable, "-c", DAMAGE, str(path)],
        cwd=here,
        input=repr(damages),
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert ran.returncode == 0, ran.stderr[-2000:]
    print(ran.stdout.splitlines()[-1])
    assert tree(here / "out") == whole
    assert sound
    _right(here, whole)


DAMAGE = """
import ast, os, sys
from pathlib import Path
from lickwright.cli import main
path = Path(sys.argv[1])
sound = path.read_bytes()
said = 0
outputs = {p: p.read_bytes() for p in Path("out").rglob("n*/*")}
for damage in ast.literal_eval(sys.stdin.read()):
    kind, *where = damage
    if kind == "cut":
        path.write_bytes(sound[: where[0]])
    else:
        data = bytearray(sound)
        for at in where:
            data[at % len(data)] ^= 1 << at % 8
        path.write_bytes(data)
    code = main(["make", "lib"])
    assert code == 0, (damage, code)
    assert {p: p.read_bytes() for p in Path("out").rglob("n*/*")} == outputs, damage
    said += os.path.exists("out/.lickwright.db.old")
    Path("out/.lickwright.db.old").unlink(missing_ok=True)
    for rest in ("-journal", "-wal"):
        Path(str(path) + rest).unlink(missing_ok=True)
print(said, "were set aside")
"""


def test_a_manifest_that_is_cut_off_or_damaged_costs_nothing(tmp_path: Path) -> None:
    chance = random.Random(3)
    cuts = [("cut", length) for length in (0, 1, 15, 16, 99, 100, 4095, 4096, 4097, 8192, 20000, 40960)]
    flips = [("flip", *(chance.randrange(1 << 30) for _ in range(count))) for count in (1, 1, 1, 4, 4, 50, 50, 500)]
    _damaged(tmp_path, [*cuts, *flips])  # type: ignore[list-item]


def test_a_manifest_whose_index_leads_nowhere_is_set_aside(tmp_path: Path) -> None:
    """SQLite's quick check does not look at indexes: such a manifest is opened, and then says that it is malformed, to every build."""
    library(tmp_path / "lib", 3)
    whole = _whole(tmp_path)
    make(tmp_path, "lib")
    path = tmp_path / "out" / manifest.NAME
    entry = b"../lib/part00/n0002.lick\3"  # in the index of paths: a path, and the row that it leads to
    assert path.read_bytes().count(entry) == 1
    path.write_bytes(path.read_bytes().replace(entry, entry[:-1] + b"\x63"))
    code, _, err = make(tmp_path, "lib")
    assert (code, err) == (
        0,
        "out/.lickwright.db is set aside: it is damaged; what is in the folder is checked again\n",
    )
    assert tree(tmp_path / "out") == whole
    _right(tmp_path, whole)


@pytest.mark.slow
def test_a_manifest_that_is_cut_off_anywhere(tmp_path: Path) -> None:
    chance = random.Random(4)
    cuts = [("cut", length) for length in range(0, 140_000, 97)]
    flips = [("flip", *(chance.randrange(1 << 30) for _ in range(chance.choice((1, 3, 30))))) for _ in range(1500)]
    _damaged(tmp_path, [*cuts, *flips])  # type: ignore[list-item]


@pytest.mark.parametrize("what", ["newer", "older", "foreign", "text", "folder", "link"])
def test_what_is_no_manifest_of_ours_is_set_aside_with_one_line(tmp_path: Path, what: str) -> None:
    import sqlite3

    library(tmp_path / "lib", 3)
    whole = _whole(tmp_path)
    make(tmp_path, "lib")
    path = tmp_path / "out" / manifest.NAME
    if what in ("newer", "older"):
        db = sqlite3.connect(path)
        db.execute(f"PRAGMA user_version = {manifest_schema.FORM + (1 if what == 'newer' else -1)}")
        db.close()
    elif what == "foreign":
        path.unlink()
        db = sqlite3.connect(path)
        db.execute("CREATE TABLE sources (id)")
        db.close()
    elif what == "text":
        path.write_text("a shopping list\n" * 100)
    elif what == "folder":
        path.unlink()
        path.mkdir()
    else:
        (tmp_path / "theirs").write_text("precious")
        path.unlink()
        path.symlink_to(tmp_path / "theirs")
    (tmp_path / "out/part00/n0001/number-1.mid").write_text("by hand")
    code, _, err = make(tmp_path, "lib")
    assert code == 3
    assert err.splitlines()[0].startswith(f"out/{manifest.NAME} is set aside: ")
    assert "n0001/number-1.mid: error" in err
    assert (tmp_path / "out" / unusable_manifest.ASIDE).exists() or what == "link"
    (tmp_path / "out/part00/n0001/number-1.mid").unlink()
    if what == "link":
        assert (tmp_path / "theirs").read_text() == "precious"
    _right(tmp_path, whole)


def test_after_a_power_cut_empty_outputs_are_made_again(tmp_path: Path) -> None:
    library(tmp_path / "lib", 3)
    whole = _whole(tmp_path)
    make(tmp_path, "lib")
    for path in (tmp_path / "out").rglob("*.mid"):
        path.write_bytes(b"")
    _right(tmp_path, whole)


# ---- two at once


def test_two_builds_at_once_do_the_work_of_one(tmp_path: Path) -> None:
    library(tmp_path / "lib", 150)
    whole = _whole(tmp_path)
    both = [start(tmp_path, "lib", "--jobs", "2") for _ in range(2)]
    outs = [process.communicate(timeout=PATIENCE) for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert sorted(out.split("sources: ")[1].split(";")[0] for out, _ in outs) == ["150 made", "150 unchanged"]
    assert sorted(err for _, err in outs) in (["", ""], ["", "another build is at work in out: waiting for it\n"])
    assert tree(tmp_path / "out") == whole
    assert not stray(tmp_path / "out")


@pytest.mark.slow
def test_a_killed_holder_leaves_the_lock_free(tmp_path: Path) -> None:
    library(tmp_path / "lib", 200)
    whole = _whole(tmp_path)
    for _ in range(2):
        holder = start(tmp_path, "lib", "--jobs", "2")
        wait_for(lambda: (tmp_path / "out" / manifest.NAME).exists())
        waiting = start(tmp_path, "lib", "--jobs", "2")
        time.sleep(0.2)
        os.kill(holder.pid, signal.SIGKILL)  # its workers see that it is gone
        holder.communicate()
        _, err = waiting.communicate(timeout=PATIENCE)
        assert waiting.returncode == 0, err
        assert tree(tmp_path / "out") == whole
        shutil.rmtree(tmp_path / "out")


# ---- disks and permissions


def _limited(here: Path, size: int) -> tuple[int, str]:
    """A build that may write no file larger than `size` bytes, as on a disk that gets full."""

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    ran = subprocess.run([*COMMAND, "make", "lib"], cwd=here, capture_output=True, text=True, preexec_fn=limit)
    assert "Traceback" not in ran.stderr
    return ran.returncode, ran.stderr


@pytest.mark.parametrize(
    "size",
    [0, 4096, 60_000, *(pytest.param(size, marks=pytest.mark.slow) for size in (100, 20_000))],
)
def test_a_disk_that_takes_no_more_is_named_and_the_next_build_goes_on(tmp_path: Path, size: int) -> None:
    library(tmp_path / "lib", 20)
    whole = _whole(tmp_path)
    code, err = _limited(tmp_path, size)
    assert code == 3
    assert "nothing was written" in err
    assert tree(tmp_path / "out").items() <= whole.items()
    assert not [name for name in stray(tmp_path / "out") if "journal" not in name]
    _right(tmp_path, whole)


@pytest.mark.skipif(not ROOT, reason="only root can mount")
@pytest.mark.parametrize("size", ["200k", *(pytest.param(size, marks=pytest.mark.slow) for size in ("64k", "300k"))])
def test_a_full_disk_is_named_and_the_next_build_goes_on(tmp_path: Path, size: str) -> None:
    library(tmp_path / "lib", 150)
    whole = _whole(tmp_path)
    (tmp_path / "out").mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(tmp_path / "out")])
    if mounted.returncode:
        pytest.skip("mounting is not allowed here")
    try:
        code, _, err = make(tmp_path, "lib")
        assert code == 3
        assert "nothing was written" in err
        assert tree(tmp_path / "out").items() <= whole.items()
        subprocess.run(["mount", "-o", "remount,size=64m", str(tmp_path / "out")], check=True)
        _right(tmp_path, whole)
    finally:
        subprocess.run(["umount", str(tmp_path / "out")], check=True)


def _as_nobody(here: Path, *arguments: str) -> tuple[int, str, str]:
    nobody = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
    ran = subprocess.run([*nobody, *COMMAND, "make", *arguments], cwd=here, capture_output=True, text=True)
    assert "Traceback" not in ran.stderr
    return ran.returncode, ran.stdout, ran.stderr


@pytest.mark.skipif(not ROOT or not shutil.which("setpriv"), reason="only root can become someone else")
def test_what_may_not_be_read_or_written_costs_itself_only() -> None:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:  # pytest's own is not for others
        here = Path(folder)
        here.chmod(0o755)
        library(here / "lib", 4)
        code, _, err = _as_nobody(here, "lib")
        if code in (1, 127) or "No module" in err:  # 127: nor may Python
            pytest.skip("the program itself may not be read by others here")
        assert (code, err.count("\n")) == (3, 2)
        assert "out: error: nothing was written: permission denied" in err
        assert make(here, "lib")[0] == 0
        code, out, err = _as_nobody(here, "lib")  # nothing to do, so nothing to write
        assert (code, err) == (0, "")
        (here / "lib/part00/n0001.lick").chmod(0)
        code, out, err = _as_nobody(here, "lib")
        assert code == 3
        assert "n0001.lick: error: the file cannot be read: permission denied" in err
        assert "3 unchanged, 1 failed" in out
        (here / "lib/part00/n0002.lick").write_text(lick(77))
        code, out, err = _as_nobody(here, "lib")
        assert code == 3
        (here / "lib/part00/n0001.lick").chmod(0o644)
        (here / "lib/part00").chmod(0)
        assert "lib/part00: error: the folder cannot be read" in _as_nobody(here, "lib")[2]
        (here / "lib/part00").chmod(0o755)
        _right(here, _whole(here), "--prune")


def test_sources_that_are_no_files_or_go_away_are_named(tmp_path: Path) -> None:
    library(tmp_path / "lib", 3)
    os.mkfifo(tmp_path / "lib/part00/pipe.lick")
    (tmp_path / "lib/part00/folder.lick").mkdir()
    (tmp_path / "lib/part00/large.lick").write_bytes(b"#" * (1 << 20) + b"#")
    code, out, err = make(tmp_path, "lib", "lib/part00/gone.lick")
    assert code == 3
    for name in ("pipe", "large", "gone"):
        assert f"{name}.lick: error" in err
    assert "6 sources: 3 made, 3 failed" in out


def test_outputs_never_leave_the_output_folder(tmp_path: Path) -> None:
    library(tmp_path / "lib", 3)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out/part00").symlink_to(tmp_path / "elsewhere")
    code, _, err = make(tmp_path, "lib")
    assert code == 3
    assert err.count("is a link to another place") == 3
    assert list((tmp_path / "elsewhere").iterdir()) == []
    (tmp_path / "out/part00").unlink()
    (tmp_path / "out/part00").mkdir()
    (tmp_path / "out/part00/n0001").symlink_to(tmp_path / "elsewhere")
    assert make(tmp_path, "lib")[0] == 3
    assert list((tmp_path / "elsewhere").iterdir()) == []


@pytest.mark.slow
def test_sources_that_change_while_they_are_built_give_the_one_or_the_other(tmp_path: Path) -> None:
    library(tmp_path / "lib", 200)
    path = tmp_path / "lib/part01/n0060.lick"
    valid = set()
    for text in (lick(60), lick(61)):
        path.write_text(text)
        valid.add(
            tuple(
                sorted(
                    _whole(tmp_path)[f"part01/n0060/number-{n}.mid"] for n in (60, 61) if str(n) in text.split('"')[1]
                )
            )
        )
    process = start(tmp_path, "lib", "--jobs", "2")
    while process.poll() is None:
        for text in (lick(60), lick(61)):
            path.with_suffix(".new").write_text(text)
            os.replace(path.with_suffix(".new"), path)
    process.communicate()
    made = tuple(sorted(p.read_bytes() for p in (tmp_path / "out/part01/n0060").glob("*.mid")))
    assert made in valid
    assert make(tmp_path, "lib")[0] == 0
    _right(tmp_path, tree(tmp_path / "out"))


def test_one_refused_look_at_the_library_is_no_silent_prune(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Either the command says that something is wrong, or what is gone is pruned."""
    monkeypatch.chdir(tmp_path)
    library(tmp_path / "lib", 3)
    fired = times = 0
    stat = os.stat

    def refused(path: object, *rest: object, **more: object) -> os.stat_result:
        nonlocal fired
        if str(path) == "lib":
            fired += 1
            if fired == times:
                raise OSError(5, "Input/output error")
        return stat(path, *rest, **more)  # type: ignore[arg-type]

    while times <= fired:
        times, fired = times + 1, 0
        library(tmp_path / "lib", 3)
        assert main(["make", "lib", "--to", "tab", "--jobs", "1"]) == 0
        (tmp_path / "lib/part00/n0001.lick").unlink()
        with monkeypatch.context() as patch:
            patch.setattr(os, "stat", refused)
            code = main(["make", "lib", "--to", "tab", "--jobs", "1", "--prune"])
        left = sorted(path.name for path in (tmp_path / "out/part00").iterdir())
        assert code == 3 or left == ["n0000", "n0002"], (times, capsys.readouterr())
    assert times > 2
