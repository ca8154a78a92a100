"""What fuzzing found stays found: every input that was kept is run again, and the command that finds more works with and without a guide."""

from __future__ import annotations

import json
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import fuzz
import pytest
from targets import TARGETS, Target, changed, patched

SOME = 6  # of the inputs that a target starts from, so many are run each day


@pytest.mark.parametrize("target", TARGETS.values(), ids=list(TARGETS))
def test_inputs_that_were_kept_do_what_is_documented(target: Target) -> None:
    seeds = list(target.seeds())
    inputs = [*fuzz.kept(target.name), *seeds[:: max(1, len(seeds) // SOME)]]
    outcomes = {target.call(data) for data in inputs}
    assert "refused" in outcomes and len(outcomes) > 1, "all inputs end in the same way: they show nothing"


@pytest.mark.slow
@pytest.mark.parametrize("target", TARGETS.values(), ids=list(TARGETS))
def test_mutated_inputs_do_what_is_documented(target: Target) -> None:
    chance = random.Random(4)
    inputs = [*fuzz.kept(target.name), *target.seeds()]
    words = [word.encode() for word in target.words()]
    for _ in range(2000):
        target.call(fuzz.mutated(chance, inputs, words)[: target.longest])


def test_the_corpus_is_small() -> None:
    sizes = {path: path.stat().st_size for path in fuzz.CORPUS.rglob("*") if path.is_file()}
    assert sum(sizes.values()) < 300_000
    assert {path.parent.name for path in sizes} <= set(TARGETS)


def test_what_breaks_a_target_is_saved_once_and_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def call(data: bytes) -> str:
        if b"x" in data:
            raise IndexError("a mistake")
        return "made"

    monkeypatch.setitem(TARGETS, "broken", TARGETS["query"]._replace(call=call))
    watch = fuzz.Watch("broken", tmp_path)
    for data in (b"a", b"x1", b"x2"):
        watch(data)
    watch.tell()
    told = json.loads((tmp_path / "broken.json").read_text())
    assert told["outcomes"] == {"made": 1, "broken": 2}
    (saved,) = told["broken"].values()
    assert (tmp_path / saved).read_bytes() == b"x1"
    assert "IndexError" in (tmp_path / saved).with_suffix(".txt").read_text()


def test_a_loop_without_a_guide_runs_the_corpus_and_mutates_it(tmp_path: Path) -> None:
    work, finds = tmp_path / "work", tmp_path / "finds"
    work.mkdir(), finds.mkdir()
    for number, data in enumerate(TARGETS["query"].seeds()):
        (work / str(number)).write_bytes(data)
    fuzz.unguided("query", work, finds, 0, 1)
    told = json.loads((finds / "query.json").read_text())
    assert sum(told["outcomes"].values()) == number + 1 and not told["broken"]
    chance = random.Random(1)
    new = {fuzz.mutated(chance, [b"box:1 gate", b"level<=3"], [b"not "]) for _ in range(100)}
    assert len(new) > 60


def test_hostile_statements_stay_in_their_database(tmp_path: Path) -> None:
    place = tmp_path / "a.db"
    sqlite3.connect(place).execute("CREATE TABLE t (n)").connection.close()
    elsewhere = tmp_path / "b.db"
    changed(
        place, f"INSERT INTO t VALUES (1); ATTACH '{elsewhere}' AS b; CREATE TABLE b.t (n); VACUUM INTO '{elsewhere}'"
    )
    assert not elsewhere.exists()
    with closing(sqlite3.connect(place)) as db:
        assert db.execute("SELECT n FROM t").fetchall() == [(1,)]
    assert patched(b"abcd", b"\0\0\1x\0\0\7y?") == b"axcy"
