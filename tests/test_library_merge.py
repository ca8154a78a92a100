"""Shares of a library brought together: complete, alike, and with all that was wrong in them."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from building import lick, tree
from commanding import Run, write
from lickwright.store.manifest import Manifest

BAD = 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """`lickwright make`, in a folder with a library of nine sources, one of them with an error."""
    for n in range(8):
        write(f"lib/{'slow/' if n % 2 else ''}n{n}.lick", lick(n))
    write("lib/bad.lick", BAD)
    return run_from("make")


def shares(run: Run, of: int, *more: str, lib: str = "lib") -> list[str]:
    """The output folders of all shares."""
    folders = [f"part{n}" for n in range(1, of + 1)]
    for n, folder in enumerate(folders, 1):
        run(lib, "--to", "tab", "--out", folder, "--shard", f"{n}/{of}", *more)
    return folders


def refused(run: Run, *arguments: str, out: str = "merged") -> str:
    """What is said where nothing is brought together."""
    code, said, err = run("--merge", *arguments, "--out", out)
    assert (code, said) == (2, "")
    assert not Path(out).exists()
    return err


def test_shares_are_a_partition_and_merge_to_the_whole(run: Run) -> None:
    code, _, wrong = run("lib", "--to", "tab", "--out", "whole")
    parts = shares(run, 3)
    assert sum(len(tree(Path(part))) for part in parts) == len(tree(Path("whole"))) == 8
    merged = run("--merge", *parts, "--out", "merged")
    assert merged[0] == code == 1
    assert merged[1].startswith(
        '8 files of 8 licks in merged\n  skipped "Low road" in lib/bad.lick: 1 error\n  9 sources: 8 made, 1 failed;'
    )
    assert merged[2] == wrong
    assert tree(Path("merged")) == tree(Path("whole"))
    assert "9 sources: 8 unchanged, 1 failed" in run("lib", "--to", "tab", "--out", "merged")[1]
    with Manifest("merged", write=False) as one, Manifest("whole", write=False) as whole:
        question = "SELECT title, slug, line FROM licks ORDER BY title"
        assert one.db.execute(question).fetchall() == whole.db.execute(question).fetchall()


def test_missing_and_doubled_shares_are_refused(run: Run) -> None:
    parts = shares(run, 5)
    assert "share 3 of 5 is missing" in refused(run, *parts[:2], *parts[3:])
    assert "shares 1, 3 and 5 of 5 are missing" in refused(run, "part2", "part4")
    assert "part1 is named twice" in refused(run, *parts, "part1")
    run("lib", "--to", "tab", "--out", "again", "--shard", "2/5")
    assert "share 2 of 5 is there twice: part2 and again" in refused(run, *parts, "again")
    assert "part2 is one of the shares" in run("--merge", *parts, "--out", "part2")[2]
    assert run("--merge", *parts, "--out", "merged")[0] == 1


def test_shares_of_different_builds_are_refused(run: Run) -> None:
    shares(run, 2)
    other = ("--out", "other", "--shard", "2/2")
    run("lib", "--to", "tab", "--out", "other", "--shard", "2/3")
    assert "one is a share of 2, the other of 3" in refused(run, "part1", "other")
    run("lib", "--to", "tab,midi", *other)
    assert "in different formats: tab and tab,midi" in refused(run, "part1", "other")
    run("lib", "--to", "tab", "--width", "100", *other)
    assert "with different options: without --width and with --width 100" in refused(run, "part1", "other")
    write("lib/lickwright.toml", '[fields]\nfeel = "shuffle"\n')
    run("lib", "--to", "tab", *other)
    assert "their lickwright.toml is not the same" in refused(run, "part1", "other")
    os.unlink("lib/lickwright.toml")
    write("lib/late.lick", lick(20))
    run("lib", "--to", "tab", *other)
    assert "different libraries: of 9 and of 10 sources" in refused(run, "part1", "other")
    os.rename("lib/late.lick", "lib/n9.lick")
    shares(run, 2)
    os.rename("lib/n9.lick", "lib/late.lick")
    run("lib", "--to", "tab", *other)
    assert "shares of different libraries" in refused(run, "part1", "other")


def test_a_share_that_was_stopped_is_refused(run: Run) -> None:
    shares(run, 2)
    with Manifest("part2", write=True) as manifest:
        (text,) = manifest.db.execute("SELECT value FROM about WHERE name = 'build'").fetchone()
        value = json.loads(text)
        assert (value["begun"], value["done"]) == ([2], [2])
        manifest.begin()
        manifest.db.execute("UPDATE about SET value = ? WHERE name = 'build'", (json.dumps({**value, "done": []}),))
    assert "part2: share 2 of 2 was stopped before it was done" in refused(run, "part1", "part2")
    for damage in ("[]", "{", json.dumps({**value, "of": -1}), json.dumps({**value, "asked": [1]})):
        with Manifest("part2", write=True) as manifest:
            manifest.begin()
            manifest.db.execute("UPDATE about SET value = ? WHERE name = 'build'", (damage,))
        code, _, err = run("--merge", "part1", "part2", "--out", "merged")
        assert code == 3
        assert "part2: error: the manifest cannot be used: it is damaged" in err
    with Manifest("part2", write=True) as manifest:
        manifest.begin()
        manifest.db.execute("DELETE FROM about WHERE name = 'build'")
    assert "it does not say which share it is" in run("--merge", "part1", "part2", "--out", "merged")[2]
    assert not Path("merged").exists()


def test_shares_built_into_one_folder_and_parts_built_again_are_known(run: Run) -> None:
    for n in (1, 2):
        run("lib", "--to", "tab", "--out", "both", "--shard", f"{n}/3")
    run("lib", "--to", "tab", "--out", "last", "--shard", "3/3")
    mine = next(path.name for path in Path("both/slow").iterdir())
    run(f"lib/slow/{mine}.lick", "--to", "tab", "--out", "both")  # a part of it leaves the record as it is
    assert run("--merge", "both", "last", "--out", "merged")[0] == 1
    assert len(tree(Path("merged"))) == 8
    theirs = next(path.name for path in Path("last/slow").iterdir())
    run(f"lib/slow/{theirs}.lick", "--to", "tab", "--out", "both")
    code, _, err = run("--merge", "both", "last", "--out", "merged")
    assert code == 3
    assert f"lib/slow/{theirs}.lick: error: it is in both and in last, where it was made outside of its share" in err
    run("lib/slow", "--to", "tab", "--out", "both", "--shard", "1/3")
    assert "different libraries" in refused(run, "both", "last", out="again")


def test_what_failed_in_a_share_is_not_forgotten(run: Run) -> None:
    Path("lib/worse.lick").write_bytes(b"\xff\xfe")
    Path("lib/large.lick").write_bytes(b"#" * (1 << 20) + b"#")
    write("lib/warned.lick", 'lick "Warned"\nkey A minor\nbox 1\n| e8 e5 B8 B5 G7 G5 D7 G9 ||\n')
    code, _, whole = run("lib", "--to", "tab", "--out", "whole")
    parts = shares(run, 2)
    merged, out, err = run("--merge", *parts, "--out", "merged", "--report", "merge.json")
    assert merged == code == 3
    assert "lib/large.lick: error: the source could not be read when the share was made" in err
    assert "2 sources could not be read" in out
    assert "12 sources: 9 made, 3 failed" in out
    for line in whole.splitlines():
        assert "large" in line or line in err or "help: " in line
    counts = json.loads(Path("merge.json").read_text())["counts"]
    assert (counts["found"], counts["built"], counts["failed"], counts["outputs"]) == (12, 9, 3, 9)
    again = json.loads(Path("merge.json").read_text())["sources"]
    assert {source["path"] for source in again if source["state"] == "failed"} == {"lib/bad.lick", "lib/worse.lick"}
    os.unlink("lib/worse.lick")
    os.unlink("lib/large.lick")
    os.unlink("lib/bad.lick")
    parts = shares(run, 2)
    assert run("--merge", *parts, "--out", "merged")[0] == 0
    assert run("--merge", *parts, "--out", "merged", "--strict")[0] == 1


def test_a_dry_merge_writes_nothing_and_says_what_would_be_done(run: Run) -> None:
    parts = shares(run, 2)
    write("merged/n0/number-0.tab.txt", "a user's own")
    code, out, err = run("--merge", *parts, "--out", "merged", "--dry-run")
    assert code == 3
    assert out.count("would take over lib/") == 7
    assert "would write 7 files into merged: " in out
    assert "merged/n0/number-0.tab.txt: error" in err
    assert [str(path) for path in Path("merged").rglob("*") if path.is_file()] == ["merged/n0/number-0.tab.txt"]
    assert run("--merge", *parts, "--out", "merged")[::2] == (code, err)
    code, out, _ = run("--merge", *parts, "--out", "merged", "--dry-run", "--overwrite")
    assert code == 1
    assert "would write 1 file into merged: " in out


def test_a_merge_prunes_and_leaves_no_empty_folders(run: Run) -> None:
    parts = shares(run, 2)
    run("--merge", *parts, "--out", "merged")
    assert not Path("merged/bad").exists()
    os.unlink("lib/n0.lick")
    parts = shares(run, 2, "--prune")
    assert "1 file of licks that are gone: --prune takes them away" in run("--merge", *parts, "--out", "merged")[1]
    _, out, _ = run("--merge", *parts, "--out", "merged", "--prune", "--dry-run")
    assert "would remove merged/n0/number-0.tab.txt\n" in out
    assert Path("merged/n0").exists()
    assert "removed merged/n0/number-0.tab.txt" in run("--merge", *parts, "--out", "merged", "--prune")[1]
    assert not Path("merged/n0").exists()


def test_older_files_of_a_share_are_not_taken_over(run: Run) -> None:
    shares(run, 2)
    write("lib/slow/n1.lick", BAD)
    parts = shares(run, 2)
    assert sum(len(tree(Path(part))) for part in parts) == 8
    run("--merge", *parts, "--out", "merged")
    assert len(tree(Path("merged"))) == 7
    assert not Path("merged/slow/n1").exists()


def test_merging_takes_nothing_that_was_changed_and_overwrites_nothing(run: Run) -> None:
    (part,) = shares(run, 1)
    write("part1/n0/number-0.tab.txt", "by hand")
    write("merged/slow/n1/number-1.tab.txt", "a user's own")
    code, out, err = run("--merge", part, "--out", "merged")
    assert code == 3
    assert "part1/n0/number-0.tab.txt: error" in err
    assert "merged/slow/n1/number-1.tab.txt: error" in err
    assert out.startswith("6 files")
    assert Path("merged/slow/n1/number-1.tab.txt").read_text() == "a user's own"
    code, out, err = run("--merge", part, "nowhere", "--out", "other")
    assert code == 3
    assert "nowhere: error: there is no manifest in this folder" in err
    assert not Path("other").exists()


@pytest.mark.parametrize(
    "more",
    ["--to=tab", "--tempo=72", "--width=90", "--single-channel", "--count-in=1", "--click", "--repeat=2", "--backing",
     "--vary=1", "--format=flac", "--practice", "--ladder=50%,5,110%", "--longest=9", "--watch", "--shard=1/2",
     "--cluster=tcp://name:8786"],
)  # fmt: skip
def test_what_only_a_build_can_do_is_refused(run: Run, more: str) -> None:
    code, _, err = run("--merge", "part1", more)
    assert code == 2
    assert f"leave {more.partition('=')[0]} out" in err
