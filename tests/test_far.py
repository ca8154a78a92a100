"""Builds whose sources and outputs are at addresses: the same tree as on this machine, and only what changed is made again."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from lickwright import compiler
from lickwright.build.process_pool import Pool
from lickwright.cli import main
from lickwright.store import addresses
from lickwright.store.addresses import absolute_name, is_remote, local_path, remote_fingerprint

fsspec = pytest.importorskip("fsspec")
SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))[:12]
SURE = 'lick "Gate"\nkey A minor\n| e8 e5 B8 e5 G7 - - - ||\n'


@pytest.fixture
def memory() -> Iterator[Any]:
    """A file system that is nowhere."""
    from fsspec.implementations.memory import MemoryFileSystem

    MemoryFileSystem.store.clear()
    MemoryFileSystem.pseudo_dirs[:] = [""]
    yield fsspec.filesystem("memory")
    MemoryFileSystem.store.clear()


@pytest.fixture
def shelf() -> Iterator[Any]:
    """A file system of fsspec that other processes see, at `shelf://` and a path of this machine."""
    from remote_disk import RemoteDisk

    fsspec.register_implementation("shelf", RemoteDisk, clobber=True)
    yield RemoteDisk()


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for n, sample in enumerate(SAMPLES):
        folder = tmp_path / "lib" / f"Shelf {n % 3}"
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"no {n}.lick").write_bytes(sample.read_bytes())
    (tmp_path / "lib" / "bad.lick").write_text('lick "Gate"\n| e8 e5 |\n')
    (tmp_path / "lib" / "own.lick").write_text(SURE)
    (tmp_path / "lib" / ".hidden.lick").write_text(SURE)
    (tmp_path / "lib" / "lickwright.toml").write_text('[fields]\nrights = "Mara Quill"\n[make]\nto = "tab, midi"\n')
    return tmp_path


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith(".lickwright")
    }


def stored(fs: Any, root: str) -> dict[str, bytes]:
    return {
        path[len(root) + 1 :]: fs.cat_file(path)
        for path in fs.find(root)
        if not path.rpartition("/")[2].startswith(".lickwright")
    }


# --- addresses -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "away"),
    [
        ("s3://shelf/licks", True), ("local:///srv", False), ("memory://x", True), ("simplecache::s3://x/y", True),
        ("file:///srv", False), ("/srv/a", False), ("a/b", False), ("-", False), ("C:\\licks", False), ("", False), ("a b://c", False),
    ],
)  # fmt: skip
def test_what_is_somewhere_else(text: str, away: bool) -> None:
    assert is_remote(text) == away
    assert (absolute_name(text) == text) == (away or os.path.isabs(text))


def test_addresses_of_files_are_their_paths(library: Path) -> None:
    assert local_path((library / "lib" / "Shelf 1").as_uri()) == str(library / "lib" / "Shelf 1")
    assert local_path(f"local://{library}/lib") == f"{library}/lib"
    assert main(["make", (library / "lib").as_uri(), "--out", (library / "made it").as_uri()]) == 1
    assert main(["make", "lib"]) == 1
    assert tree(library / "made it") == tree(library / "out") != {}


def test_a_mark_is_of_what_is_told() -> None:
    one = {"name": "/a", "size": 3, "ETag": '"x"'}
    assert (
        remote_fingerprint(one)
        == remote_fingerprint({**one, "name": "/b", "odd": 1})
        != remote_fingerprint({**one, "ETag": '"y"'})
    )
    assert 0 <= remote_fingerprint(one) < 1 << 63


# --- builds ----------------------------------------------------------------------------------------------------------


def test_the_same_as_on_this_machine(library: Path, memory: Any, capsys: pytest.CaptureFixture[str]) -> None:
    memory.put(str(library / "lib"), "/shelf/lib", recursive=True)
    assert main(["make", "lib"]) == 1
    said = capsys.readouterr()
    assert main(["make", "memory://shelf/lib", "--out", "memory://shelf/out"]) == 1
    seen = capsys.readouterr()
    assert stored(memory, "/shelf/out") == tree(library / "out") != {}
    assert b"Mara Quill" in stored(memory, "/shelf/out")["own/gate.mid"], "the house counts there too"
    note, _, err = seen.err.partition("\n")
    assert (
        note
        == "memory://shelf/out has no lock and no journal: run one build there at a time; if it is killed, run it again before you change a lick"
    )
    assert err.replace("memory://shelf/", "") == said.err
    assert seen.out.rpartition(";")[0].replace("memory://shelf/", "") == said.out.rpartition(";")[0]
    assert memory.exists("/shelf/out/.lickwright.db")


def test_a_format_of_several_files_is_made_once(
    tmp_path: Path, memory: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    memory.pipe_file("/lib/own.lick", b'lick "Beat"\nmeter 1/4\n| e8 e5 ||\n')
    words = ["make", "memory://lib", "--out", "memory://out", "--to", "audio", "--ladder", "90%,10,100%"]
    assert main(words) == 0
    assert len(stored(memory, "/out")) == 4
    capsys.readouterr()
    assert main(words) == 0
    assert "1 source: 1 unchanged" in capsys.readouterr().out
    assert main([*words, "--format", "flac"]) == 0
    assert "1 source: 1 made" in capsys.readouterr().out
    assert len(stored(memory, "/out")) == 8


def test_a_mistake_of_ours_costs_its_source_only(
    library: Path, memory: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    memory.put(str(library / "lib"), "/lib", recursive=True)
    real = compiler.compile_in_stages

    def compile_in_stages(data: bytes, name: str = "-", house: Any = None) -> Any:
        if name.endswith("own.lick"):
            raise RuntimeError("a bug")
        return real(data, name, house)

    monkeypatch.setattr(compiler, "compile_in_stages", compile_in_stages)
    assert main(["make", "memory://lib", "--out", "memory://out"]) == 70
    seen = capsys.readouterr()
    assert "memory://lib/own.lick" in seen.err and "RuntimeError: a bug" in seen.err
    assert "12 made, 2 failed" in seen.out
    assert memory.exists("/out/.lickwright.db")


def test_only_what_changed_is_made_again(
    library: Path, memory: Any, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    memory.put(str(library / "lib"), "/lib", recursive=True)
    wrote: list[str] = []
    real = addresses.put_remote
    monkeypatch.setattr(addresses, "put_remote", lambda at, path, data: (wrote.append(path), real(at, path, data))[1])

    def make(code: int = 1) -> list[str]:
        wrote.clear()
        assert main(["make", "memory://lib", "--out", "memory://out"]) == code
        return [path for path in wrote if not path.endswith(".lickwright.db")]

    assert len(make()) == len(stored(memory, "/out"))
    assert make() == []
    assert f"{len(SAMPLES) + 1} unchanged" in capsys.readouterr().out
    memory.pipe_file("/lib/Shelf 0/no 0.lick", SURE.encode())
    assert make() == ["/out/shelf-0/no-0/gate.tab.txt", "/out/shelf-0/no-0/gate.mid"]
    memory.rm_file("/out/shelf-0/no-0/gate.mid")
    assert make() == ["/out/shelf-0/no-0/gate.mid"], "what is gone is made again"
    memory.pipe_file("/out/shelf-0/no-0/gate.mid", b"mine")
    assert make(3) == []
    assert "changed since it was made" in capsys.readouterr().err
    assert memory.cat_file("/out/shelf-0/no-0/gate.mid") == b"mine"
    memory.rm_file("/out/.lickwright.db")
    memory.rm_file("/out/shelf-0/no-0/gate.mid")
    assert make() == ["/out/shelf-0/no-0/gate.mid"], "without its manifest, what stands there is known by its bytes"
    memory.pipe_file("/lib/lickwright.toml", b'[make]\nto = "tab, midi"\n')
    assert make() != []


def test_from_here_to_there_and_back(library: Path, memory: Any) -> None:
    assert main(["make", "lib", "--out", "memory://made"]) == 1
    assert main(["make", "lib", "--out", "out"]) == 1
    assert stored(memory, "/made") == tree(library / "out") != {}
    memory.pipe_file("/one/a.lick", SURE.encode())
    assert main(["make", "memory://one/a.lick", "--out", "single", "--to", "tab"]) == 0
    assert list(tree(library / "single")) == ["a/gate.tab.txt"]


def test_a_house_at_an_address(library: Path, memory: Any) -> None:
    memory.pipe_file("/shelf/lickwright.toml", b'[fields]\nby = "Wren"\n[make]\nto = "tab"\nout = "made"\n')
    memory.pipe_file("/shelf/deep/a.lick", SURE.encode())
    assert main(["make", "memory://shelf/deep"]) == 0
    (found,) = stored(memory, "/shelf/made").items()
    assert found[0] == "a/gate.tab.txt" and b"Wren" in found[1]
    memory.pipe_file("/shelf/deep/lickwright.toml", b"[make]\nwidht = 3\n")
    assert main(["make", "memory://shelf"]) != 0


def test_in_several_processes(library: Path, shelf: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    leave = Pool.__exit__
    monkeypatch.setattr("lickwright.build.executor_choice.SERIAL", 10)
    pools: list[object] = []
    monkeypatch.setattr(Pool, "__exit__", lambda self, *_: (pools.append(self), leave(self, *_))[1])
    assert main(["make", f"shelf://{library}/lib", "--out", f"shelf://{library}/made", "--jobs", "2"]) == 1
    assert len(pools) == 1
    assert main(["make", "lib"]) == 1
    assert tree(library / "made") == tree(library / "out") != {}
    assert not list((library / "made").rglob(".lw-*"))


def test_the_manifest_is_any_other(library: Path, shelf: Any) -> None:
    assert main(["make", f"shelf://{library}/lib", "--out", f"shelf://{library}/made"]) == 1
    with closing(sqlite3.connect(library / "made" / ".lickwright.db")) as db:
        assert db.execute("SELECT count(*) FROM licks").fetchone()[0] >= len(SAMPLES)
        assert {format for (format,) in db.execute("SELECT DISTINCT format FROM outputs")} == {"tab", "midi"}
    assert main(["find", "made", "by:mara"]) in (0, 1)


def test_a_file_system_that_only_moves(library: Path, memory: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """One that is neither shared nor a store of objects: a file is written beside its place and moved there."""
    monkeypatch.setattr(addresses, "_OBJECT_STORES", frozenset())
    assert main(["make", "lib", "--out", "memory://made"]) == 1
    assert stored(memory, "/made")
    assert not [path for path in memory.find("/") if ".lw-" in path]


# --- what can go wrong -----------------------------------------------------------------------------------------------


def test_nothing_there(memory: Any, library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    memory.makedirs("/empty")
    assert main(["make", "memory://empty", "--out", "memory://out"]) == 3
    assert "there is no .lick file at this address" in capsys.readouterr().err
    assert main(["make", "memory://nowhere/a.lick", "--out", "memory://out"]) == 3
    assert "the file cannot be read" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("address", "says"), [("nonsense://x", "cannot be reached"), ("s3://x/y", "needs one more package")]
)
def test_addresses_that_cannot_be_used(
    address: str, says: str, library: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if address.startswith("s3") and __import__("importlib.util").util.find_spec("s3fs"):
        pytest.skip("it is installed")
    assert main(["make", "lib", "--out", address]) == 2
    assert f"error: {address} {says}" in capsys.readouterr().err


def test_without_the_extra(library: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "fsspec.core", None)
    assert main(["make", "lib", "--out", "memory://x"]) == 2
    assert "pip install dask distributed fsspec joblib" in capsys.readouterr().err


def test_an_address_is_not_watched(library: Path, memory: Any, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["make", "lib", "--out", "memory://x", "--watch"]) == 2
    assert "--watch goes with files of this machine" in capsys.readouterr().err
    assert not memory.exists("/x")


def failing(name: str, times: int) -> Callable[..., Any]:
    def fail(*_: Any, **__: Any) -> Any:
        raise RuntimeError(f"the other side says no to {name} {times}")

    return fail


def test_the_other_side_may_raise_anything(
    library: Path, memory: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from fsspec.implementations.memory import MemoryFileSystem

    memory.put(str(library / "lib"), "/lib", recursive=True)
    for name, code in (
        ("cat_file", 3),
        ("pipe_file", 3),
        ("ls", 3),
        ("find", 3),
        ("exists", 3),
        ("info", 3),
        ("isdir", 3),
    ):
        with monkeypatch.context() as broken:
            broken.setattr(MemoryFileSystem, name, failing(name, 1))
            assert main(["make", "memory://lib", "--out", f"memory://out-{name}"]) == code, name
        seen = capsys.readouterr()
        assert "sorry" not in seen.err, name
        assert "the other side says no" in seen.err, name
    assert stored(memory, "/lib") and memory.exists("/lib/bad.lick"), "sources are only read"


def test_ctrl_c_keeps_what_is_done(library: Path, memory: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    real, calls = addresses.put_remote, []

    def put(at: Any, path: str, data: bytes) -> None:
        calls.append(path)
        if len(calls) == 9:
            raise KeyboardInterrupt
        real(at, path, data)

    monkeypatch.setattr(addresses, "put_remote", put)
    assert main(["make", "lib", "--out", "memory://out"]) == 130
    monkeypatch.undo()
    assert memory.exists("/out/.lickwright.db")
    monkeypatch.chdir(library)
    assert main(["make", "lib", "--out", "memory://out"]) == 1
    assert main(["make", "lib"]) == 1
    assert stored(memory, "/out") == tree(library / "out")
