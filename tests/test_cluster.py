"""A build on a Dask cluster: the same tree and manifest as on this machine, whatever happens to the workers."""

from __future__ import annotations

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from building import PATIENCE
from lickwright.build import dask_executor as module
from lickwright.build.dask_executor import Cluster, NoCluster
from lickwright.build.executor import Chunk
from lickwright.build.stage_runner import Steps
from lickwright.build.task import compile_source
from lickwright.build.worker import Setup
from lickwright.cli import main
from lickwright.export import Options
from lickwright.store.output_keys import options_key
from lickwright.store.output_writer import OutputWriter
from lickwright.store.types import CompileOptions, WorkItem, WorkResult
from storages import opened

# Imported where a cluster is made: it takes longer than all else that is collected.
pytestmark = pytest.mark.skipif(
    not all(map(find_spec, ("joblib", "distributed"))), reason="pip install 'lickwright[cluster]'"
)

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))
TIMES = 3  # each sample is in a library, so that chunks of it wait for workers


def local_cluster(workers: int, threads: int = 1) -> Any:
    """A scheduler in this process and worker processes. Its pages, which Dask serves in any case, take a free port instead of 8787."""
    return import_module("distributed").LocalCluster(
        n_workers=workers,
        threads_per_worker=threads,
        processes=True,
        dashboard_address=None,
        scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        silence_logs=50,
    )


@pytest.fixture(autouse=True)
def patience(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine that is busy with other tests a cluster may take longer to answer than a user would wait."""
    monkeypatch.setattr(module, "ANSWER", PATIENCE)


@pytest.fixture(scope="module", params=[(1, 2), pytest.param((2, 1), marks=pytest.mark.slow)], ids=str)
def scheduler(request: pytest.FixtureRequest) -> Iterator[Any]:
    """A scheduler with one worker process of two threads every day, for a process takes seconds to start, and with two of one thread."""
    with running_workers(*request.param) as running:
        yield running


@pytest.fixture(scope="module")
def mortal_workers() -> Iterator[Any]:
    """A scheduler with two worker processes, which tests may kill: Dask starts others."""
    with running_workers(2, 1) as running:
        yield running


@pytest.fixture
def two_workers(mortal_workers: Any) -> Any:
    """A scheduler with two worker processes, once both are there again."""
    with import_module("distributed").Client(mortal_workers.scheduler_address) as client:
        client.wait_for_workers(2, timeout=120)
    return mortal_workers


@contextmanager
def running_workers(workers: int, threads: int) -> Iterator[Any]:
    """A local cluster whose workers find the package and the tests."""
    os.environ["PYTHONPATH"] = os.pathsep.join(
        filter(None, (str(Path(module.__file__).parents[2]), str(Path(__file__).parent), os.environ.get("PYTHONPATH")))
    )
    with local_cluster(workers, threads) as running:
        yield running


def samples_in(here: Path, times: int) -> Path:
    """Every sample so many times in `lib`, one source with mistakes, one that is no text, a house."""
    for n in range(times * len(SAMPLES)):
        folder = here / "lib" / f"shelf {n % 7}"
        folder.mkdir(parents=True, exist_ok=True)
        text = SAMPLES[n % len(SAMPLES)].read_text("utf-8")
        (folder / f"no {n}.lick").write_text(
            f"x-number {n}\n{text}" if not text.startswith("notation") else text, "utf-8"
        )
    (here / "lib" / "bad.lick").write_text('lick "Gate"\n| e8 e5 |\n')
    (here / "lib" / "raw.lick").write_bytes(b"\xff\xfe\xff")
    (here / "lib" / "lickwright.toml").write_text('[fields]\nrights = "Mara Quill"\n[make]\nto = "tab, midi"\n')
    return here


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every sample three times."""
    monkeypatch.chdir(tmp_path)
    return samples_in(tmp_path, TIMES)


@pytest.fixture(params=[1, pytest.param(TIMES, marks=pytest.mark.slow)])
def sized_library(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Every sample once every day, and three times."""
    monkeypatch.chdir(tmp_path)
    return samples_in(tmp_path, request.param)


def sources(library: Path) -> list[str]:
    """The sources of a library that can be read."""
    return sorted(str(path) for path in library.glob("lib/*/*.lick"))


def tree(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not any(part.startswith((".lickwright", ".lw-")) for part in path.parts)
    }


def record(folder: Path) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(folder / ".lickwright.db")) as db:
        outputs = db.execute(
            "SELECT folder, name, lick, format, gone, hash, size FROM outputs ORDER BY folder, name"
        ).fetchall()
        sources = db.execute(
            "SELECT target, hash, formats, made, refused, findings, alone FROM sources ORDER BY target"
        ).fetchall()
    return [*outputs, *sources]


def test_the_same_as_on_this_machine(scheduler: Any, sized_library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    library = sized_library
    said = []
    for out, more in (("here", ["--jobs", "1"]), ("there", ["--cluster", scheduler.scheduler_address])):
        assert main(["make", "lib", "--out", out, *more]) == 3  # one source cannot be read
        seen = capsys.readouterr()
        said.append((seen.out.replace(out, "OUT").rpartition(";")[0], seen.err))
    assert len(tree(library / "here")) > 3.79 * len(sources(library))
    assert tree(library / "there") == tree(library / "here")
    assert record(library / "there") == record(library / "here")
    assert said[0] == said[1]
    assert not list((library / "there").glob(".lickwright.[jp]*")), "no journal, no probe"
    assert main(["make", "lib", "--out", "there", "--cluster", scheduler.scheduler_address]) == 3
    assert f"{len(sources(library))} unchanged" in capsys.readouterr().out


def test_sources_and_outputs_at_addresses(
    scheduler: Any, sized_library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`local://` is one that fsspec reads and writes, on both sides."""
    library = sized_library
    cluster = ["--cluster", scheduler.scheduler_address]
    assert main(["make", "lib", "--out", "here"]) == 3
    assert main(["make", f"local://{library}/lib", "--out", f"local://{library}/there", *cluster]) == 3
    assert tree(library / "there") == tree(library / "here") != {}
    capsys.readouterr()
    assert main(["make", f"local://{library}/lib", "--out", f"local://{library}/there", *cluster]) == 3
    assert f"{len(sources(library))} unchanged" in capsys.readouterr().out
    assert main(["make", (library / "lib").as_uri(), "--out", (library / "made").as_uri(), *cluster]) == 3
    assert tree(library / "made") == tree(library / "here")
    assert main(["make", "lib", "--out", "memory://made", *cluster]) == 2
    assert "does not reach memory://made: name a folder that all machines share" in capsys.readouterr().err


# --- what can go wrong -----------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_a_cluster_writes_to_an_object_server(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Who does the work and where its outputs lie do not depend on each other."""
    assert main(["make", "lib", "--out", "here"]) == 3
    with opened("s3", library) as place, local_cluster(2) as running:
        words = ["make", "lib", "--out", place.name("there"), "--cluster", running.scheduler_address]
        assert main(words) == 3
        assert place.tree("there") == tree(library / "here") != {}
        capsys.readouterr()
        assert main(words) == 3
        seen = capsys.readouterr()
        assert f"{len(sources(library))} unchanged" in seen.out and "done here" not in seen.err


def slow(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Work that takes its time, and tells where it is done."""
    time.sleep(0.02)
    result = yield from compile_source(item, compile_options, place)
    return result._replace(text=str(os.getpid()))


def deadly(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Kills whoever works on number 7."""
    if item.path.endswith("no 7.lick"):
        os.kill(os.getpid(), signal.SIGKILL)
    return compile_source(item, compile_options, place)


def buggy(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Has a bug with number 7, and tells where the others are done."""
    if item.path.endswith("no 7.lick"):
        raise AssertionError("no such string")
    result = yield from compile_source(item, compile_options, place)
    return result._replace(text=str(os.getpid()))


def buggy_there(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Has a bug with number 7 on the cluster only, as where a package is missing there."""
    there = threading.current_thread() is not threading.main_thread()
    return (yield from (buggy if there else compile_source)(item, compile_options, place))


def starved(item: WorkItem, compile_options: CompileOptions, place: OutputWriter) -> Steps:
    """Needs more memory than there is, but not in a process of its own."""
    if item.path.endswith("no 7.lick") and "dask" in " ".join(sys.modules):
        raise MemoryError
    return compile_source(item, compile_options, place)


def chunks(library: Path, size: int) -> list[Chunk]:
    items = [WorkItem(n, path, f"s{n}", 0) for n, path in enumerate(sources(library), 1)]
    return [Chunk(n, tuple(items[at : at + size])) for n, at in enumerate(range(0, len(items), size))]


def setup(work: Any) -> Setup:
    options = Options()
    return Setup("made", False, (CompileOptions(("tab",), options, None, options_key(options, ""), False),), work=work)


def run(address: str, library: Path, work: Any, size: int = 10) -> tuple[dict[int, WorkResult], list[str]]:
    said: list[str] = []
    done: dict[int, WorkResult] = {}
    with Cluster(address, said.append) as cluster, cluster.workers(setup(work)) as workers:
        for _, results in workers.run(chunks(library, size)):
            for result in results:
                assert result.id not in done, "once"
                done[result.id] = result
    return done, said


@pytest.mark.parametrize(("work", "bugs"), [(buggy, 1), (buggy_there, 0)])
def test_a_bug_costs_its_source_alone(scheduler: Any, sized_library: Path, work: Any, bugs: int) -> None:
    """As without a cluster. Only that source is tried again here, for the bug may be the worker's."""
    library = sized_library
    done, said = run(scheduler.scheduler_address, library, work)
    seventh = next(n for n, path in enumerate(sources(library), 1) if path.endswith("no 7.lick"))
    assert len(done) == len(sources(library)) and not said
    assert [n for n, result in done.items() if result.bugs] == [seventh] * bugs
    assert all(result.done and int(result.text) != os.getpid() for n, result in done.items() if n != seventh)


@pytest.mark.slow
def test_a_worker_killed_midway_loses_nothing(two_workers: Any, library: Path) -> None:
    said: list[str] = []
    done: dict[int, WorkResult] = {}
    killed: list[int] = []
    after: set[str] = set()  # who worked on when one was killed
    with Cluster(two_workers.scheduler_address, said.append) as cluster, cluster.workers(setup(slow)) as workers:
        for _, results in workers.run(chunks(library, 10)):
            done.update((result.id, result) for result in results)
            if killed:
                after.update(result.text for result in results)
            if len(done) >= 30 and not killed:
                killed.append(int(results[-1].text))
                os.kill(killed[0], signal.SIGKILL)
    assert killed and len(done) == len(sources(library))
    assert all(result.done for result in done.values())
    assert after - {str(killed[0])}, "somebody else went on"
    assert not said, "the cluster itself made good for it"
    assert len(tree(library / "made")) == sum(len(result.outputs) for result in done.values())


@pytest.mark.slow
def test_a_cluster_of_one_thread_does_the_work_too(library: Path) -> None:
    with running_workers(1, 1) as running:
        done, said = run(running.scheduler_address, library, slow)
    assert len(done) == len(sources(library)) and not said
    assert str(os.getpid()) not in {result.text for result in done.values()}, "it was done here"


@pytest.mark.slow
def test_one_deadly_source_costs_itself(library: Path) -> None:
    with running_workers(2, 1) as running:  # of its own: Dask gives up a worker that dies before it has quite started
        done, said = run(running.scheduler_address, library, deadly)
    assert len(done) == len(sources(library))
    assert sum(result.alone for result in done.values()) == 1
    assert sum(result.done for result in done.values()) == len(sources(library)) - 1
    assert said == ["the cluster does not bring back all that it was given: that is done here, each source by itself"]


@pytest.mark.slow
def test_what_needs_too_much_memory_there_is_done_here(scheduler: Any, sized_library: Path) -> None:
    library = sized_library
    done, said = run(scheduler.scheduler_address, library, starved)
    assert len(done) == len(sources(library))
    assert len(said) == 1


@pytest.mark.slow
def test_a_scheduler_that_goes_away_midway_loses_nothing(library: Path) -> None:
    said: list[str] = []
    done: dict[int, WorkResult] = {}
    running = local_cluster(1)
    with running, Cluster(running.scheduler_address, said.append) as cluster, cluster.workers(setup(slow)) as workers:
        for _, results in workers.run(chunks(library, 10)):
            done.update((result.id, result) for result in results)
            if len(done) == 50:
                threading.Thread(target=running.close).start()
    assert len(done) == len(sources(library))
    assert len(said) == 1


@pytest.mark.slow
@pytest.mark.parametrize("prefix", ["", "local://"])
def test_a_build_that_is_killed_is_gone_on_with(two_workers: Any, library: Path, prefix: str) -> None:
    lib, out = (f"{prefix}{library}/{name}" for name in ("lib", "there"))
    words = ["make", lib, "--out", out, "--cluster", two_workers.scheduler_address]
    assert main(["make", "lib", "--out", "here"]) == 3
    for most in (20, 120):
        build = subprocess.Popen([sys.executable, "-m", "lickwright", *words], stderr=subprocess.DEVNULL)
        while build.poll() is None and sum(len(names) for _, _, names in os.walk(library / "there")) < most:
            time.sleep(0.01)
        build.kill()
        build.wait()
    assert main(words) == 3
    assert tree(library / "there") == tree(library / "here") != {}
    assert main(words) == 3, "and nothing is left to do"


@pytest.mark.slow
def test_ctrl_c_leaves_it_in_good_order(scheduler: Any, library: Path) -> None:
    with Cluster(scheduler.scheduler_address, print) as cluster:
        with pytest.raises(KeyboardInterrupt), cluster.workers(setup(slow)) as workers:
            for _ in workers.run(chunks(library, 3)):
                raise KeyboardInterrupt
        files = tree(library / "made")
        time.sleep(0.5)
        assert tree(library / "made") == files, "nobody is at work any more"


# --- what is said ----------------------------------------------------------------------------------------------------


def test_nobody_there(monkeypatch: pytest.MonkeyPatch, library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))  # it does not listen, so that a connection is refused at once
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        for wrong in (address, "nonsense://x", "tcp://127.0.0.1:notaport", ""):
            assert main(["make", "lib", "--cluster", wrong]) == 2
            said = (
                f"the cluster at {wrong} does not answer"
                if wrong == address
                else f"{wrong} is not an address of a scheduler"
            )
            assert f"error: {said}" in capsys.readouterr().err
    assert not tree(library / "out") if (library / "out").exists() else True


def test_nobody_answers_in_time(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """What keeps a connection waiting is told after `ANSWER`, and not waited for."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(module, "ANSWER", 0.01)
    ended = threading.Event()

    def silent(*_: object) -> None:
        ended.wait(PATIENCE)
        raise OSError

    monkeypatch.setattr(socket, "create_connection", silent)
    try:
        assert main(["make", "lib", "--cluster", "tcp://127.0.0.1:1"]) == 2
        assert "does not answer" in capsys.readouterr().err and not ended.is_set()
    finally:
        ended.set()


def test_no_worker_there(monkeypatch: pytest.MonkeyPatch, library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The scheduler has all the time it needs to answer; a worker that there is not is not waited for long."""
    with local_cluster(0) as running:
        client = import_module("distributed").Client
        waited: list[float] = []

        def wait_for_workers(self: object, count: int, timeout: float) -> None:
            waited.append(timeout)
            return client_wait(self, count, timeout=0.01)

        client_wait = client.wait_for_workers
        monkeypatch.setattr(client, "wait_for_workers", wait_for_workers)
        assert main(["make", "lib", "--cluster", running.scheduler_address]) == 2
    assert waited == [PATIENCE]
    assert "has no worker: start one with `dask worker tcp://" in capsys.readouterr().err


def test_without_the_extra(monkeypatch: pytest.MonkeyPatch, library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert main(["make", "lib", "--cluster", "tcp://127.0.0.1:1"]) == 2
    assert "pip install dask distributed fsspec joblib" in capsys.readouterr().err


def test_workers_that_do_not_see_the_folder_or_are_another_version(
    scheduler: Any, library: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Cluster(scheduler.scheduler_address, print) as cluster:
        cluster.check("made")
        assert not list((library / "made").iterdir())
        real = module.options_key
        monkeypatch.setattr(module, "options_key", lambda *a: real(*a)[:-1] + b"x")
        with pytest.raises(NoCluster, match="has another lickwright"):
            cluster.check("made")
        monkeypatch.undo()
        monkeypatch.setattr(os.path, "abspath", lambda path: str(library / "made"))
        monkeypatch.setattr(module, "_look_at_output", blind)
        with pytest.raises(NoCluster, match="does not reach"):
            cluster.check("made")
        monkeypatch.setattr(module, "_look_at_output", absent)
        with pytest.raises(NoCluster, match="cannot run lickwright"):
            cluster.check("made")


def blind(probe: str) -> tuple[bytes, bool]:
    return options_key(Options(), ""), False


def absent(probe: str) -> tuple[bytes, bool]:
    raise ModuleNotFoundError("lickwright")


@pytest.mark.parametrize("more", ["--watch", "--dry-run"])
def test_options_that_do_not_go_together(more: str, library: Path) -> None:
    assert main(["make", "lib", "--cluster", "tcp://127.0.0.1:1", more]) == 2
