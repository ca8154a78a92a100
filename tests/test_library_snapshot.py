"""A build of a library in which nothing changed takes one short look, and says what the long one says."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from building import lick, stray, tree
from commanding import Run, write
from lickwright.build import planner, up_to_date
from lickwright.store import manifest as manifests
from lickwright.store.local_storage import LocalStorage
from lickwright.store.manifest import Manifest

WRONG = 'lick "Wrong"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'
WARNS = 'meant L203 bar 1 "by design"\n' + lick(7)


@pytest.fixture
def looks(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Which builds took the long way, by what they scanned. Files that were written this moment count as settled."""
    found: list[str] = []
    scan_sources = planner.scan_sources
    monkeypatch.setattr(planner, "scan_sources", lambda *given: (found.append(given[1]), scan_sources(*given))[1])
    monkeypatch.setattr(up_to_date, "_SETTLED", -(10**10))
    return found


@pytest.fixture
def run(run_from: Callable[..., Run], looks: list[str]) -> Run:
    """Calls `make` in a folder with a library of six, one of them with an error and one with a warning, that has a snapshot."""
    call = run_from("make")
    for n, name in enumerate(("a", "slow/b", "slow/c", "slow/deep/d")):
        write(f"lib/{name}.lick", lick(n))
    write("lib/slow/wrong.lick", WRONG)
    write("lib/warns.lick", WARNS)
    call("lib", "--to", "tab")
    call("lib", "--to", "tab")
    looks.clear()
    return call


def _said(given: tuple[int, str, str]) -> tuple[int, str, str]:
    return given[0], given[1].rpartition(";")[0], given[2]


def test_it_says_what_the_long_look_says(run: Run, looks: list[str]) -> None:
    before = tree(Path("out")), Path("out/.lickwright.db").stat().st_mtime_ns
    short = _said(run("lib", "--to", "tab"))
    assert looks == []
    assert (tree(Path("out")), Path("out/.lickwright.db").stat().st_mtime_ns) == before
    with Manifest("out", write=True) as manifest:
        manifest.begin()
    assert _said(run("lib", "--to", "tab")) == short
    assert looks == ["out"]
    assert "6 sources: 5 unchanged, 1 failed" in short[1] and "warns.lick" in short[2] and 'skipped "Wrong"' in short[1]
    assert _said(run("lib", "--to", "tab", "--check-contents")) == short
    assert _said(run("./lib/", "--to", "tab", "--prune")) == short
    assert looks == ["out"]


def test_neither_a_source_is_read_nor_an_output_looked_at(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    os.unlink("lib/slow/wrong.lick"), os.unlink("lib/warns.lick")
    run("lib", "--to", "tab", "--prune"), run("lib", "--to", "tab")

    def look(*given: object, **kind: object) -> None:
        raise AssertionError(given)

    monkeypatch.setattr(LocalStorage, "look", look)
    monkeypatch.setattr("lickwright.build.snapshot.read_file", look)
    monkeypatch.setattr(up_to_date, "read_source", look)
    assert "4 sources: 4 unchanged" in run("lib", "--to", "tab")[1]


def _edit_keeping_size_and_time() -> None:
    stamp = os.stat("lib/a.lick").st_mtime_ns
    write("lib/a.lick", lick(0).replace("tempo 60", "tempo 61"))
    os.utime("lib/a.lick", ns=(stamp, stamp))


def _link_instead_of_outputs() -> None:
    os.rename("out/slow/deep", "elsewhere")
    os.symlink(os.path.abspath("elsewhere"), "out/slow/deep")


CHANGES: dict[str, tuple[Callable[[], object], str]] = {
    "a source edited": (_edit_keeping_size_and_time, "1 made, 4 unchanged, 1 failed"),
    "a source touched": (lambda: os.utime("lib/a.lick", (1, 1)), "5 unchanged, 1 failed"),
    "a source added": (lambda: write("lib/slow/new.lick", lick(9)), "1 made, 5 unchanged, 1 failed"),
    "a source gone": (lambda: os.unlink("lib/slow/c.lick"), "4 unchanged, 1 failed"),
    "a source renamed": (lambda: os.rename("lib/a.lick", "lib/aa.lick"), "1 made, 4 unchanged, 1 failed"),
    "a folder moved": (lambda: os.rename("lib/slow/deep", "lib/deep"), "1 made, 4 unchanged, 1 failed"),
    "a linked source": (lambda: os.symlink("a.lick", "lib/b.lick"), "5 unchanged, 1 failed"),
    "a pipe instead of a source": (lambda: (os.unlink("lib/a.lick"), os.mkfifo("lib/a.lick")), "4 unchanged, 2 failed"),
    "an output gone": (lambda: os.unlink("out/a/number-0.tab.txt"), "1 made, 4 unchanged, 1 failed"),
    "an output replaced": (
        lambda: (write("new", "mine"), os.replace("new", "out/a/number-0.tab.txt")),
        "4 unchanged, 2 failed",
    ),
    "a folder of outputs gone": (lambda: shutil.rmtree("out/slow/deep"), "1 made, 4 unchanged, 1 failed"),
    "a link in its place": (_link_instead_of_outputs, "4 unchanged, 2 failed"),
    "a project file": (lambda: write("lib/slow/deep/lickwright.toml", '[fields]\nstyle = "x"\n'), "1 made, 4 unch"),
}


_SEEN_IN_CONTENTS = (
    "a source edited",
    "a pipe instead of a source",
    "a source touched",
    "a source gone",
    "an output replaced",
)


@pytest.mark.parametrize(
    ("change", "contents"),
    [*((one, []) for one in CHANGES), *((one, ["--check-contents"]) for one in _SEEN_IN_CONTENTS)],
)
def test_every_change_is_noticed(run: Run, looks: list[str], change: str, contents: list[str]) -> None:
    apply, counts = CHANGES[change]
    apply()
    assert counts in run("lib", "--to", "tab", *contents)[1]
    if not (contents and change == "a source touched"):  # the bytes are the same
        assert looks == ["out"]


@pytest.mark.parametrize(
    "more", [["--to", "midi"], ["--to", "tab", "--width", "60"], ["--to", "tab", "--tempo", "50%"]]
)
def test_other_options_are_noticed(run: Run, looks: list[str], more: list[str]) -> None:
    assert "5 made, 1 failed" in run("lib", *more)[1]
    assert looks == ["out"]


def test_another_sound_of_the_project_is_noticed(run: Run, looks: list[str]) -> None:
    write("lib/lickwright.toml", '[sounds.mine]\nlike = "nylon"\n')
    write("lib/a.lick", "sound mine\n" + lick(0))
    run("lib", "--to", "tab"), run("lib", "--to", "tab")
    looks.clear()
    run("lib", "--to", "tab")
    assert looks == []
    write("lib/lickwright.toml", '[sounds.mine]\nlike = "lead"\n')
    assert "1 made, 4 unchanged, 1 failed" in run("lib", "--to", "tab")[1]


def test_another_program_is_noticed(run: Run, looks: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lickwright.store.output_keys.program_key", lambda: "another")
    assert "5 made, 1 failed" in run("lib", "--to", "tab")[1]


def test_an_output_changed_in_place_is_noticed_where_contents_are_checked(run: Run, looks: list[str]) -> None:
    """The folder that it lies in does not show it; what it holds is safe either way."""
    with open("out/a/number-0.tab.txt", "a") as file:
        file.write("my own words\n")
    assert "5 unchanged, 1 failed" in run("lib", "--to", "tab")[1]
    code, out, err = run("lib", "--to", "tab", "--check-contents")
    assert (code, looks) == (3, ["out"])
    assert (
        "4 unchanged, 2 failed" in out
        and "out/a/number-0.tab.txt: error: the file was changed since it was made" in err
    )
    assert Path("out/a/number-0.tab.txt").read_text().endswith("my own words\n")
    assert "4 unchanged, 2 failed" in run("lib", "--to", "tab")[1], "from then on it is known"


def test_whatever_is_entered_ends_it(run: Run, looks: list[str]) -> None:
    write("other/one.lick", lick(20))
    assert run("other/one.lick", "--to", "tab")[0] == 0
    run("lib", "--to", "tab")
    assert looks == ["out", "out"]


def test_it_holds_for_the_paths_that_were_named_only(run: Run, looks: list[str]) -> None:
    assert "3 sources: 3 unchanged" in run("lib/slow/deep", "lib/a.lick", "lib/warns.lick", "--to", "tab")[1]
    assert "4 sources: 3 unchanged, 1 failed" in run("lib/slow", "--to", "tab")[1]
    assert looks == ["out", "out"]
    assert "6 sources: 5 unchanged, 1 failed" in run("lib", "--to", "tab")[1]
    assert len(looks) == 2


def test_files_without_a_lick_are_counted_and_pruned(run: Run, looks: list[str]) -> None:
    os.unlink("lib/a.lick")
    run("lib", "--to", "tab")  # a source on record is gone: no snapshot tells whether it comes back
    assert run("lib", "--to", "tab")[1].count("1 file of licks that are gone: --prune takes them away") == 1
    assert looks == ["out", "out"]
    run("lib", "--to", "tab", "--prune"), run("lib", "--to", "tab", "--prune")
    write("lib/warns.lick", WARNS.replace("Number 7", "Another"))
    run("lib", "--to", "tab"), run("lib", "--to", "tab")
    looks.clear()
    assert "1 file of licks that are gone" in run("lib", "--to", "tab")[1]
    assert looks == []
    assert "removed out/warns/number-7.tab.txt" in run("lib", "--to", "tab", "--prune")[1]


def test_what_a_killed_build_left_is_looked_at(run: Run, looks: list[str]) -> None:
    write("out/.lickwright.journal/12-abcdef01", "lickwright journal 1\n" + "0" * 32 + " a/stray.mid\n")
    run("lib", "--to", "tab")
    assert (looks, stray(Path("out"))) == (["out"], [])


def test_the_rest_of_a_large_record_is_checked_before_anything_else_is_done_with_it(
    run: Run, looks: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(manifests, "SMALL", 0)
    _enter("UPDATE outputs SET lick = x'07' WHERE name = 'number-0.tab.txt'")
    assert "5 unchanged, 1 failed" in run("lib", "--to", "tab")[1]
    assert looks == []
    write("lib/slow/new.lick", lick(9))
    assert ".lickwright.db is set aside: it is damaged: it holds what no lickwright has entered" in run("lib")[2]


_STATEMENTS = (
    "UPDATE snapshot SET targets = replace(targets, 'slow/deep/d', '../../docs')",
    "UPDATE snapshot SET targets = replace(targets, 'a', '/')",
    "UPDATE snapshot SET targets = ''",
    "UPDATE snapshot SET targets = 7",
    "UPDATE snapshot SET states = 'x', contents = 'x'",
    "UPDATE snapshot SET outputs = '../../docs/letter.txt'",
    "UPDATE snapshot SET told = '99 a'",
    "UPDATE snapshot SET told = 'x y z'",
    "DELETE FROM snapshot",
    "INSERT INTO snapshot SELECT 99, targets, told, states, contents, outputs FROM snapshot LIMIT 1",
    "UPDATE about SET value = 7 WHERE name = 'snapshot'",
    "UPDATE about SET value = '[' WHERE name = 'snapshot'",
    "UPDATE about SET value = '[[[' || replace(hex(zeroblob(60000)), '00', '[') WHERE name = 'snapshot'",
    "UPDATE about SET value = replace(value, '\"found\": 6', '\"found\": -6') WHERE name = 'snapshot'",
    "UPDATE about SET value = replace(value, '\"found\": 6', '\"found\": \"6\"') WHERE name = 'snapshot'",
    "UPDATE about SET value = replace(value, '\"found\"', '\"remembered\": 1, \"found\"') WHERE name = 'snapshot'",
    "DROP TABLE snapshot",
)


@pytest.mark.parametrize(
    ("statement", "contents"),
    [*((one, []) for one in _STATEMENTS), *((one, ["--check-contents"]) for one in _STATEMENTS[:6])],
)
def test_a_snapshot_that_no_program_of_ours_has_entered_is_passed_over(
    run: Run, looks: list[str], statement: str, contents: list[str]
) -> None:
    _enter(statement)
    before = tree(Path("out"))
    code, out, err = run("lib", "--to", "tab", *contents)
    assert code in (0, 1) and "6 sources: 5 unchanged, 1 failed" in out and "Traceback" not in err
    assert tree(Path("out")) == before


def test_a_snapshot_tells_of_each_source_once_whatever_it_says(run: Run, looks: list[str]) -> None:
    before = _said(run("lib", "--to", "tab"))
    for told in ("told || char(10) || told", "replace(told, 'slow/wrong', 'warns')", "replace(told, '0', '1')"):
        _enter(f"UPDATE snapshot SET told = {told}")
        assert _said(run("lib", "--to", "tab")) == before


@pytest.mark.parametrize("value", ["7", "x'00'", "'['", "NULL"])
@pytest.mark.parametrize("column", ["findings", "refused"])
def test_findings_that_no_program_of_ours_has_entered_are_judged_where_they_are_shown(
    run: Run, column: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(manifests, "SMALL", 0)
    if value == "NULL":
        pytest.raises(sqlite3.IntegrityError, _enter, f"UPDATE sources SET {column} = NULL")
        return
    _enter(f"UPDATE sources SET {column} = {value} WHERE path LIKE '%wrong.lick'")
    code, out, err = run("lib", "--to", "tab")
    assert code in (0, 1) and ".lickwright.db is set aside: it is damaged" in err
    assert "6 sources: 5 made, 1 failed" in out


def test_who_may_not_write_the_record_learns_it_too(run: Run, looks: list[str]) -> None:
    os.chmod("out/.lickwright.db", 0o444)
    assert "5 unchanged, 1 failed" in run("lib", "--to", "tab")[1]
    assert looks == []


def test_none_is_taken_of_files_that_changed_this_moment(
    run: Run, looks: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(up_to_date, "_SETTLED", 10**10)
    with Manifest("out", write=True) as manifest:
        manifest.begin()
    for _ in range(2):
        run("lib", "--to", "tab")
    assert looks == ["out", "out"]


def _enter(statement: str) -> None:
    with closing(sqlite3.connect("out/.lickwright.db")) as db, db:  # closed too where the statement is refused
        db.execute(statement)
