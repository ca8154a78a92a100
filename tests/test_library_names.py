"""Names of outputs: a lick and a source keep theirs, whatever comes and goes beside them."""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from building import tree
from commanding import Run
from lickwright.store.manifest import NAME, Manifest
from lickwright.store.naming import assign_names

A, B, C, D = (f"| e{n} e5 B8 e5 G7 - - - ||\n" for n in (8, 7, 5, 3))
SONGS = Path("songs")
BLUES = SONGS / "blues.lick"


def twins(*music: str, title: str = "Twin") -> str:
    return "".join(f'lick "{title}"\n{notes}' for notes in music)


def made(run: Run, text: str | None = None, *more: str) -> dict[str, str]:
    """Builds, and gives every output by its path."""
    if text is not None:
        SONGS.mkdir(exist_ok=True)
        BLUES.write_text("key A minor\n" + text)
    code, _, err = run("make", "songs", "--to", "timing", "--jobs", "1", *more)
    assert code in (0, 1), err
    return {path: data.decode() for path, data in tree(Path("out")).items()}


@pytest.mark.parametrize(
    ("then", "names"),
    [
        ((C, A, B), ("twin-3", "twin", "twin-2")),
        ((A, C, B), ("twin", "twin-3", "twin-2")),
        ((B, A), ("twin-2", "twin")),
        ((B,), ("twin-2",)),
        ((C, B), ("twin", "twin-2")),
        ((A, C), ("twin", "twin-2")),
        ((C, D), ("twin", "twin-2")),
        ((B, C), ("twin-2", "twin-3")),
    ],
)
def test_a_lick_keeps_its_name_by_what_it_is(then: tuple[str, ...], names: tuple[str, ...]) -> None:
    code = {A: 1, B: 2, C: 3, D: 4}
    before = assign_names([("Twin", 1), ("twin!", 2)], (), True)
    assert [row.name for row in before] == ["twin", "twin-2"]
    after = assign_names([("Twin", code[one]) for one in then], before, True)
    assert tuple(row.name for row in after if not row.gone) == names


def test_a_name_is_not_given_on_while_its_files_may_be_there() -> None:
    before = assign_names([("Twin", 1), ("Twin", 2)], (), True)
    without = assign_names([("Twin", 2)], before, True)
    assert [(row.name, row.gone) for row in without] == [("twin-2", False), ("twin", True)]
    assert [row.name for row in assign_names([("Twin", 2), ("Twin", 9)], without, True)] == ["twin-2", "twin-3", "twin"]
    assert [row.name for row in assign_names([("Twin", 1), ("Twin", 2)], without, True)] == ["twin", "twin-2"]


def test_a_lick_that_cannot_be_read_for_a_while_keeps_its_name_and_its_music() -> None:
    before = assign_names([("Twin", 1), ("Twin", 2)], (), True)
    broken = assign_names([("Twin", 0), ("Twin", 2)], before, False)
    assert broken == before
    assert [row.gone for row in assign_names([("Twin", 2)], before, False)] == [False, False]


def test_inserted_reordered_and_removed_licks_leave_the_files_of_others_alone(run: Run) -> None:
    first = made(run, twins(A, B))
    assert set(first) == {"blues/twin.timing.csv", "blues/twin-2.timing.csv"}
    more = made(run, twins(C, B, A))
    assert {path: more[path] for path in first} == first
    assert set(more) - set(first) == {"blues/twin-3.timing.csv"}
    less = made(run, twins(B, A), "--prune")
    assert less == first
    code, out, _ = run("find", "out", "twin", "--format", "json")
    assert code == 0 and all(f"twin{end}.timing.csv" in out for end in ("", "-2"))


def test_names_that_were_pruned_are_free_again(run: Run) -> None:
    made(run, twins(A, B))
    made(run, twins(B), "--prune")
    assert set(made(run, twins(B, D))) == {"blues/twin.timing.csv", "blues/twin-2.timing.csv"}


def test_sources_of_one_name_keep_their_folders(run: Run) -> None:
    made(run, twins(A))
    (SONGS / "a-b.lick").write_text(twins(A))
    first = made(run)
    (SONGS / "a b.lick").write_text(twins(B))
    both = made(run)
    assert {path: both[path] for path in first} == first
    (folder,) = {path.split("/")[0] for path in both} - {path.split("/")[0] for path in first}
    (SONGS / "a-b.lick").unlink()
    left = made(run, None, "--prune")
    assert {path.split("/")[0] for path in left} == {"blues", folder}


def test_a_name_on_record_stays_though_the_extra_comes_later(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "anyascii", None)
    SONGS.mkdir()
    (SONGS / "Песня.lick").write_text(twins(A, title="Калинка"), "utf-8")
    first = made(run)
    monkeypatch.setitem(sys.modules, "anyascii", SimpleNamespace(anyascii=lambda text: "spelled out"))
    (SONGS / "Песня.lick").write_text(twins(A, title="Калинка") + twins(B, title="Вечер"), "utf-8")
    then = made(run)
    assert {path: then[path] for path in first} == first
    (new,) = set(then) - set(first)
    assert new.endswith("/spelled-out.timing.csv")


def test_a_manifest_of_the_first_form_is_gone_on_with(run: Run) -> None:
    first = made(run, twins(A, B))
    db = sqlite3.connect(Path("out") / NAME)
    db.execute("DROP TABLE names")
    db.execute("PRAGMA user_version = 1")
    db.commit()
    db.close()
    with Manifest("out", write=False) as manifest:
        assert manifest.names("blues") == ()
    code, _, err = run("find", "out", "twin")
    assert code == 0 and not err
    more = made(run, twins(C, A, B))
    assert {path: more[path] for path in first} == first


def test_shares_keep_their_names_when_they_are_brought_together(run: Run) -> None:
    first = made(run, twins(A, B))
    for number in (1, 2):
        run("make", "songs", "--to", "timing", "--shard", f"{number}/2", "--out", f"part{number}", "--jobs", "1")
    code, _, err = run("make", "--merge", "part1", "part2", "--out", "whole")
    assert code in (0, 1), err
    with Manifest("whole", write=False) as manifest:
        assert [row.name for row in manifest.names("blues")] == ["twin", "twin-2"]
    assert tree(Path("whole")) == tree(Path("out")) == {path: text.encode() for path, text in first.items()}


def test_a_source_replaced_by_a_link_to_where_it_went_is_the_same_source(run: Run) -> None:
    """Its outputs are its own still, in a build and by themselves; those of another source are not."""
    before = made(run, twins(A))
    elsewhere = Path("elsewhere")
    elsewhere.mkdir()
    BLUES.rename(elsewhere / "blues.lick")
    BLUES.symlink_to(Path("..") / elsewhere / "blues.lick")
    assert made(run) == before
    assert "L605" not in run("make", str(BLUES), "--to", "timing", "--out", "out")[2]
    BLUES.unlink()
    BLUES.write_text(f"key A minor\n{twins(B)}")  # which is another one
    code, _, err = run("make", "songs", "--to", "timing", "--jobs", "1")
    assert code == 3 and "the folder holds the outputs of another source, ../elsewhere/blues.lick (L605)" in err
    assert {path: data.decode() for path, data in tree(Path("out")).items()} == before
