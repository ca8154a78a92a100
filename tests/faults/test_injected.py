"""Faults at system calls: nothing is torn, nothing of anybody's is lost, and the next run puts everything right."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from injected import disturb
from injecting import Fault, Server, compiled, missing
from scenes import SCENES, Scene, Stage

from lickwright.cli import terminal

pytestmark = [
    pytest.mark.skipif(bool(missing()), reason=missing() or "it works"),
]


DAILY = [scene for scene in SCENES if scene.daily]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    with Server(compiled(tmp_path_factory.mktemp("preload"))) as running:
        yield running


def test_a_fault_happens_where_it_was_wanted_and_nowhere_else(server: Server, tmp_path: Path) -> None:
    (tmp_path / "a.lick").write_text('lick "One"\n| e8 e5 B8 B5 G7 B5 B8 e5 ||\n')
    clean = server.run(tmp_path, ["check", "a.lick"])
    assert clean.code == 0 and "open" in clean.trace and "read" in clean.trace
    opening = Fault("EACCES", clean.trace.index("open") + 1, error=13)
    refused = server.run(tmp_path, ["check", "a.lick"], opening)
    assert (refused.code, refused.fired) == (3, 1) and "permission denied" in refused.out
    assert server.run(tmp_path, ["check", "a.lick"], opening._replace(at=10_000)).fired == 0
    assert server.run(tmp_path, ["check", "a.lick"], opening._replace(error=0, signal=9)).code == 128 + 9
    assert server.run(tmp_path, ["check", "a.lick"]) == clean


def test_a_file_that_was_written_is_not_said_to_be_unwritten(server: Server, tmp_path: Path) -> None:
    scene = next(scene for scene in SCENES if scene.name == "make what changed")
    stage = Stage(scene, tmp_path, server)
    trace = stage.clean.trace
    places = [at for at, kind in enumerate(trace, 1) if kind == "status" and trace[at - 2] == "rename"]
    assert places, "no output is looked at after it was written"
    for at in places[:2]:
        run, wrong = stage.play(Fault("EACCES, status", at, error=13))
        assert run.code == 3 and "was written" in run.err and not wrong


def test_one_page_that_the_disk_would_not_read_costs_no_record(server: Server, tmp_path: Path) -> None:
    scene = next(scene for scene in SCENES if scene.name == "make --prune")
    stage = Stage(scene, tmp_path, server)
    reads = [at for at, kind in enumerate(stage.clean.trace, 1) if kind == "read"]
    for at in reads[:: len(reads) // 5]:
        run, wrong = stage.play(Fault("EIO, read", at, error=5))
        assert run.code in (0, 3) and run.fired and not wrong
        assert "set aside" not in run.err


def test_a_wish_to_end_keeps_its_exit_code_where_sqlite_drops_it() -> None:
    before = signal.getsignal(signal.SIGTERM)
    others = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGHUP)}
    try:
        with pytest.raises(KeyboardInterrupt) as ended, terminal.handle_interrupts():
            try:
                signal.raise_signal(signal.SIGTERM)
            except KeyboardInterrupt:
                raise KeyboardInterrupt from None  # as `store/guarded_database.py` does
        assert isinstance(ended.value, terminal.Interrupted) and ended.value.code == 143
    finally:
        for number, handler in (others | {signal.SIGTERM: before}).items():
            signal.signal(number, handler)


@pytest.mark.parametrize("scene", DAILY, ids=[scene.name.replace(" ", "-") for scene in DAILY])
def test_some_faults_at_some_calls(server: Server, tmp_path: Path, scene: Scene) -> None:
    totals = disturb(scene, tmp_path, server, sample=1)
    assert sum(totals.disturbed.values()) == 1
    assert not totals.failures


@pytest.mark.slow
@pytest.mark.parametrize("scene", SCENES, ids=[scene.name.replace(" ", "-") for scene in SCENES])
def test_every_fault_at_every_call(server: Server, tmp_path: Path, scene: Scene) -> None:
    totals = disturb(scene, tmp_path, server)
    print(f"\n{scene.name}: {totals}")
    assert totals.runs > 100
    assert scene.chancy or not totals.without
    assert not totals.failures
