"""What is on record as made is on the disk: what a power cut leaves cannot be tried here, the order of the calls can."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

import pytest

from building import lick
from lickwright.cli import main
from lickwright.store import durable, guarded_database


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("lib/deep").mkdir(parents=True)
    for n in range(4):
        Path(f"lib/deep/n{n}.lick").write_text(lick(n))
    return tmp_path


def _watched(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What is synced from now on, by path, and every COMMIT."""
    calls: list[str] = []
    fsync, execute = os.fsync, guarded_database.GuardedConnection.execute

    def synced(handle: int) -> None:
        calls.append(os.path.relpath(os.readlink(f"/proc/self/fd/{handle}")))
        fsync(handle)

    def executed(db: guarded_database.GuardedConnection, *arguments: object) -> object:
        if arguments[0] == "COMMIT" and db.execute("SELECT count(path) FROM sources").fetchone() != (0,):
            calls.append("COMMIT")
        return execute(db, *arguments)

    monkeypatch.setattr(durable.os, "fsync", synced)
    monkeypatch.setattr(guarded_database.GuardedConnection, "execute", executed)
    return calls


@pytest.mark.skipif(not os.path.isdir("/proc/self/fd"), reason="needs /proc")
def test_outputs_and_folders_are_on_the_disk_before_they_are_on_record(
    here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = _watched(monkeypatch)
    assert main(["make", "lib"]) == 0
    files = {os.path.relpath(path) for path in Path("out/deep").rglob("*.*")}
    folders = {"out", "out/deep", *(f"out/deep/n{n}" for n in range(4))}
    assert len(files) == 12
    assert files | folders | {"COMMIT"} == set(calls)
    assert all(calls.count(path) == 1 for path in files)
    assert calls[-1] == "COMMIT", "nothing that was written is later on the disk than on record"
    calls.clear()
    assert main(["make", "lib"]) == 0
    assert not files & set(calls), "nothing was written"
    Path("lib/deep/n1.lick").write_text(lick(1).replace("tempo ", "tempo 1"))
    assert main(["make", "lib"]) == 0
    assert {"out/deep/n1/number-1.mid", "out/deep/n1"} <= set(calls)
    assert calls[-1] == "COMMIT"


def test_many_outputs_are_synced_together(here: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole: list[str] = []
    monkeypatch.setattr(durable, "_FEW", 3)
    monkeypatch.setattr(durable, "_sync_all", whole.append)
    assert main(["make", "lib"]) == 0
    assert whole == ["out"]
    assert main(["make", "lib"]) == 0
    assert main(["make", "lib", "--tempo", "60%", "--no-sync"]) == 0
    assert whole == ["out"]


def test_the_file_system_can_be_synced_as_a_whole(tmp_path: Path) -> None:
    durable._sync_all(str(tmp_path))


def test_what_the_disk_does_not_take_is_not_on_record(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(handle: int) -> None:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(durable.os, "fsync", broken)
        assert main(["make", "lib"]) == 3
    assert "nothing was written: input/output error (L604)" in capsys.readouterr().err
    db = sqlite3.connect("out/.lickwright.db")
    assert db.execute("SELECT count(*) FROM sources").fetchone() == (0,)
    db.close()
    assert main(["make", "lib"]) == 0
    assert main(["make", "lib"]) == 0
    assert "4 unchanged" in capsys.readouterr().out
