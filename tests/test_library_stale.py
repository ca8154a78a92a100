"""Answers about licks whose source is gone, changed or broken say so."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from building import lick
from commanding import Run, write


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls the command line in a folder with a library of five that was built into `out`."""
    call = run_from()
    for n in range(5):
        write(f"lib/n{n}.lick", lick(n))
    assert call("make", "lib", "--to", "tab")[0] == 0
    return call


def states(run: Run, *arguments: str) -> dict[str, str | None]:
    """The states of the licks found, by title; where there is one, and only there, `stale` or an error."""
    answer = json.loads(run("find", "out", *arguments, "--format", "json")[1])
    for one in answer["licks"]:
        assert one["stale"] == (one["state"] not in (None, "has errors"))
    return {one["title"]: one["state"] for one in answer["licks"]}


def test_a_fresh_library_says_nothing(run: Run) -> None:
    assert set(states(run).values()) == {None}
    _, out, err = run("find", "out")
    assert "state" not in out.splitlines()[0]
    assert "up to date" not in out + err + run("library", "out")[1]


def test_sources_that_are_gone_or_changed_are_marked(run: Run) -> None:
    os.unlink("lib/n1.lick")
    write("lib/n2.lick", lick(2) + "\n")
    Path("lib/n3.lick").write_bytes(b"#" * (1 << 20) + b"#")
    wrong = {"Number 0": None, "Number 1": "gone", "Number 2": "changed", "Number 3": "unreadable", "Number 4": None}
    assert states(run) == wrong
    _, out, _ = run("find", "out")
    head, *rows = out.splitlines()
    assert head.split()[-2:] == ["state", "where"]
    for row, (title, state) in zip(rows, wrong.items(), strict=False):
        assert row.startswith(title)
        assert (state or "lib/") in row
    end = (
        "1 lick of sources that changed since, 1 lick of sources that are gone, 1 lick of sources that cannot be read: "
        "lickwright make brings out up to date"
    )
    assert rows[-1] == end
    assert end not in run("find", "out", "title:4")[1]
    paths, said = run("find", "out", "--paths")[1:]
    assert paths == "".join(f"lib/n{n}.lick\n" for n in range(5))
    assert said == end + "\n"
    table = list(csv.DictReader(run("find", "out", "--format", "csv")[1].splitlines()))
    assert {row["title"]: row["state"] or None for row in table} == wrong
    assert f"stale       {end}" in run("library", "out")[1]
    value = json.loads(run("library", "out", "--format", "json")[1])
    assert value["stale"] == {"gone": 1, "changed": 1, "unreadable": 1}


def test_licks_like_one_are_marked(run: Run) -> None:
    write("mine.lick", lick(1))
    os.unlink("lib/n1.lick")
    assert states(run, "--like", "mine.lick")["Number 1"] == "gone"
    _, out, _ = run("find", "out", "--like", "mine.lick")
    assert "gone" in out.splitlines()[1]
    assert "1 lick of sources that are gone: lickwright make brings out up to date\n" in out


def test_duplicates_are_marked(run: Run) -> None:
    write("lib/twin.lick", lick(1).replace("Number 1", "Twin"))
    run("make", "lib", "--to", "tab")
    os.unlink("lib/twin.lick")
    _, out, _ = run("library", "out", "--duplicates")
    assert "(gone)" in next(line for line in out.splitlines() if line.strip().startswith("Twin"))
    assert "1 lick of sources that are gone" in out
    (group,) = json.loads(run("library", "out", "--duplicates", "--format", "json")[1])["groups"]
    assert {one["title"]: one["stale"] for one in group["licks"]} == {"Number 1": False, "Twin": True}


def test_a_lick_that_broke_is_marked_and_its_older_files_are_not_given(run: Run) -> None:
    write("lib/n1.lick", 'lick "Number 1"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n')
    run("make", "lib", "--to", "tab")
    assert Path("out/n1/number-1.tab.txt").exists()
    answer = json.loads(run("find", "out", "title:1", "--format", "json")[1])
    assert [(one["state"], one["stale"], one["outputs"]) for one in answer["licks"]] == [("has errors", False, [])]
    assert "has errors" in run("find", "out", "title:1")[1]


def test_files_made_one_by_one_are_read_again_and_fresh(run: Run) -> None:
    write("single.lick", lick(30))
    run("make", "single.lick", "--to", "tab")
    write("single.lick", lick(31))
    assert states(run)["Number 31"] is None
    write("lib/n1.lick", lick(40))
    assert states(run)["Number 1"] == "changed"


def test_names_that_are_no_utf8_are_no_reason_to_be_gone(run: Run) -> None:
    write(os.fsdecode(b"lib/caf\xe9.lick"), lick(9))
    run("make", "lib", "--to", "tab")
    assert states(run)["Number 9"] is None
    os.unlink(os.fsdecode(b"lib/caf\xe9.lick"))
    assert states(run)["Number 9"] == "gone"
