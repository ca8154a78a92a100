"""A library as a build tool keeps it: a tree like the sources', only what changed, nothing of anybody else's touched."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from building import library, lick, make, stray, tree
from commanding import Run, write
from lickwright.build import executor, snapshot, up_to_date
from lickwright.store.manifest import NAME, Manifest


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls `make` in a folder with a library `lib` of six licks."""
    call = run_from("make")
    for n, name in enumerate(("a", "slow/b", "slow/c", "slow/deep/d", "Fast Ones/e", "Fast Ones/f")):
        write(f"lib/{name}.lick", lick(n))
    return call


def _counts(out: str) -> str:
    return next(line for line in out.splitlines() if "source" in line and ";" in line).strip().rpartition(";")[0]


def _stamps() -> dict[str, tuple[int, int]]:
    return {str(p): (p.stat().st_ino, p.stat().st_mtime_ns) for p in Path("out").rglob("*") if p.is_file()}


# ---- the tree


def test_the_tree_of_outputs_is_that_of_the_sources(run: Run) -> None:
    code, out, err = run("lib", "--to", "tab,midi")
    assert (code, err) == (0, "")
    assert out.startswith("12 files of 6 licks in out\n")
    assert _counts(out) == "6 sources: 6 made"
    names = ["a", "fast-ones/e", "fast-ones/f", "slow/b", "slow/c", "slow/deep/d"]
    assert sorted({os.path.dirname(name) for name in tree(Path("out"))}) == names


@pytest.mark.parametrize("broken", ["Fast Ones", "slow"])
def test_a_broken_project_file_holds_for_its_own_folder_only(run: Run, broken: str) -> None:
    for folder in ("Fast Ones", "slow"):
        write(f"lib/{folder}/lickwright.toml", "[make\n" if folder == broken else "# nothing yet\n")
    sources = {"Fast Ones": 2, "slow": 3}
    code, out, err = run("lib", "--to", "tab")
    assert code == 3
    assert _counts(out) == f"6 sources: {6 - sources[broken]} made, {sources[broken]} failed"
    assert f"lib/{broken}/lickwright.toml:1:" in err
    assert len(tree(Path("out"))) == 6 - sources[broken]


def test_findings_name_the_project_file_of_their_own_folder(run: Run) -> None:
    for folder in ("Fast Ones", "slow"):
        write(f"lib/{folder}/lickwright.toml", '[fields]\nmeter = "3/4"\n')
        write(f"lib/{folder}/short in {folder}.lick", 'lick "Short"\n| e8 e5 e8 e5 |\n')
    _, _, err = run(*(f"lib/{folder}/short in {folder}.lick" for folder in ("Fast Ones", "slow")), "--to", "tab")
    for folder in ("Fast Ones", "slow"):
        assert f"lib/{folder}/lickwright.toml, line 2: the meter is set here" in err


def test_files_and_folders_in_any_mix_and_each_once(run: Run) -> None:
    code, out, _ = run("lib/slow", "lib/a.lick", "lib/slow/deep", "lib/slow/../a.lick", "--to", "tab")
    assert code == 0
    assert _counts(out) == "4 sources: 4 made"
    assert sorted(tree(Path("out"))) == [
        f"{name}.tab.txt" for name in ("a/number-0", "b/number-1", "c/number-2", "deep/d/number-3")
    ]


def test_names_that_differ_in_case_only_or_are_no_names(run: Run) -> None:
    for n, name in enumerate(
        ("Blues", "blues", "BLUES!", "con", "x" * 200, "日本", "🎸", "<script>", "a'b; rm", "-rf")
    ):
        write(f"odd/{name}.lick", lick(n).replace(f"Number {n}", "../../etc/passwd" if n % 2 else "<script>"))
    os.makedirs("odd/Slow Blues")
    os.makedirs("odd/slow-blues")
    for n, folder in enumerate(("Slow Blues", "slow-blues")):
        write(f"odd/{folder}/same.lick", lick(20 + n))
    code, out, _ = run("odd", "--to", "tab")
    assert code == 0
    made = tree(Path("out"))
    assert len(made) == 12
    assert len({name.lower() for name in made}) == 12
    for name in made:
        assert all(
            part.replace(".tab.txt", "").replace("-", "").isalnum() and len(part) < 80 for part in name.split("/")
        ), name
    assert _counts(run("odd", "--to", "tab")[1]) == "12 sources: 12 unchanged"
    assert sorted(os.listdir(".")) == ["lib", "odd", "out"]


def test_links_in_circles_and_linked_folders_are_not_followed(run: Run, tmp_path: Path) -> None:
    Path("lib/slow/up").symlink_to(tmp_path / "lib")
    Path("lib/slow/up2").symlink_to(tmp_path / "lib")
    Path("lib/alias.lick").symlink_to(tmp_path / "lib" / "a.lick")  # the same file under another name: once
    Path("lib/broken.lick").symlink_to(tmp_path / "nowhere")
    code, out, err = run("lib", "--to", "tab")
    assert code == 3
    assert "lib/broken.lick: error" in err
    assert _counts(out) == "7 sources: 6 made, 1 failed"


def test_an_output_folder_inside_the_library_is_no_source(run: Run) -> None:
    assert run("lib", "--out", "lib/out", "--to", "tab")[0] == 0
    write("lib/out/stray.lick", lick(9))
    before = {p: p.read_bytes() for p in Path("lib").rglob("*.lick")}
    assert _counts(run("lib", "--out", "lib/out", "--to", "tab")[1]) == "6 sources: 6 unchanged"
    code, out, _ = run("lib", "--out", "lib", "--to", "tab")  # beside the sources: nothing of ours ends in .lick
    assert (code, _counts(out)) == (0, "7 sources: 7 made")
    assert {p: p.read_bytes() for p in Path("lib").rglob("*.lick")} == before


def test_a_part_of_a_library_goes_where_the_library_put_it(run: Run) -> None:
    run("lib", "--to", "tab")
    whole = tree(Path("out"))
    assert run("lib/slow/deep/d.lick", "--to", "tab")[1] == "1 file of 1 lick in out\n"
    run("lib/slow", "--to", "tab", "--prune")
    assert tree(Path("out")) == whole
    assert _counts(run("lib", "--to", "tab")[1]) == "6 sources: 6 unchanged"


# ---- only what changed


def test_only_what_changed_is_made_again(run: Run) -> None:
    run("lib")
    before = _stamps()
    assert _counts(run("lib")[1]) == "6 sources: 6 unchanged"
    assert _stamps() == before
    write("lib/slow/b.lick", lick(1).replace("B1 ", "B2 ").replace("tempo 61", "tempo 62"))
    os.utime("lib/a.lick", (0, 0))  # a time says nothing
    assert _counts(run("lib")[1]) == "6 sources: 1 made, 5 unchanged"
    changed = {name for name, stamp in _stamps().items() if before[name] != stamp}
    assert {os.path.dirname(name) for name in changed} == {"out", "out/slow/b"}


def test_same_size_and_time_with_other_contents_is_noticed(run: Run) -> None:
    run("lib")
    stamp = os.stat("lib/a.lick").st_mtime_ns
    write("lib/a.lick", lick(0).replace("tempo 60", "tempo 61"))
    os.utime("lib/a.lick", ns=(stamp, stamp))
    assert _counts(run("lib")[1]) == "6 sources: 1 made, 5 unchanged"


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The sources that are read to see whether they changed. Files that were written this moment count as settled."""
    found: list[str] = []
    read_source = up_to_date.read_source
    for module, name in ((up_to_date, "read_source"), (snapshot, "read_file")):
        monkeypatch.setattr(module, name, lambda path, **kind: (found.append(path), read_source(path))[1])
    monkeypatch.setattr(up_to_date, "_SETTLED", -(10**10))
    return found


def test_a_source_is_read_once_more_after_it_was_made_and_then_only_if_its_state_changed(
    run: Run, reads: list[str]
) -> None:
    run("lib")
    assert _counts(run("lib")[1]) == "6 sources: 6 unchanged"
    assert len(reads) == 6
    reads.clear()
    before = _stamps()
    assert _counts(run("lib")[1]) == "6 sources: 6 unchanged"
    assert (reads, _stamps()) == ([], before)
    os.utime("lib/a.lick", (0, 0))
    shutil.copy("lib/slow/b.lick", "copy")
    os.replace("copy", "lib/slow/b.lick")
    assert _counts(run("lib")[1]) == "6 sources: 6 unchanged"
    assert reads == ["lib/a.lick", "lib/slow/b.lick"]
    reads.clear()
    stamp = os.stat("lib/a.lick").st_mtime_ns
    write("lib/a.lick", lick(0).replace("tempo 60", "tempo 61"))
    os.utime("lib/a.lick", ns=(stamp, stamp))  # neither size nor time tells; when the inode changed does
    assert _counts(run("lib")[1]) == "6 sources: 1 made, 5 unchanged"
    assert reads == ["lib/a.lick"]


def test_who_may_not_write_the_record_still_learns_that_nothing_is_to_be_done(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the states of sources would be entered: as soon as the files are older than a few seconds."""
    write("lib/a.lick", lick(1))
    assert run("lib", "--to", "tab")[0] == 0
    monkeypatch.setattr(up_to_date, "_SETTLED", -(10**12))

    def refused(self: Manifest) -> None:
        raise sqlite3.OperationalError("attempt to write a readonly database")

    monkeypatch.setattr(Manifest, "begin", refused)
    code, out, err = run("lib", "--to", "tab")
    assert (code, err) == (0, "") and "6 unchanged" in out


def test_every_source_is_read_where_the_project_asks_for_it(run: Run, reads: list[str]) -> None:
    run("lib"), run("lib")
    reads.clear()
    assert _counts(run("lib", "--check-contents")[1]) == "6 sources: 6 unchanged"
    assert len(reads) == 6
    write("lickwright.toml", "[make]\ncheck-contents = true\n")
    run("lib"), reads.clear()
    assert _counts(run("lib")[1]) == "6 sources: 6 unchanged"
    assert len(reads) == 6
    assert _counts(run("lib", "--no-check-contents")[1]) == "6 sources: 6 unchanged"
    assert len(reads) == 6


def test_the_state_of_a_source_proves_nothing_while_it_is_young_or_of_other_bytes(
    run: Run, reads: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(up_to_date, "_SETTLED", 10**10)
    for _ in range(3):
        run("lib")
    assert len(reads) == 12, "written just now: a second change within one tick of the clock would look the same"
    monkeypatch.setattr(up_to_date, "_SETTLED", -(10**10))
    run("lib")
    with Manifest(
        "out", write=True
    ) as manifest:  # as after a build of other bytes, and the file system turned back since
        manifest.begin()
        manifest.db.execute("UPDATE sources SET hash = zeroblob(16) WHERE path LIKE '%a.lick'")
    assert _counts(run("lib")[1]) == "6 sources: 1 made, 5 unchanged"


def test_outputs_that_are_gone_or_touched_are_put_right(run: Run) -> None:
    run("lib", "--to", "tab")
    whole = tree(Path("out"))
    os.unlink("out/a/number-0.tab.txt")
    shutil.rmtree("out/slow/b")
    os.utime("out/slow/c/number-2.tab.txt", (1, 1))  # as a copy would be: read, found the same
    assert _counts(run("lib", "--to", "tab")[1]) == "6 sources: 2 made, 4 unchanged"
    assert tree(Path("out")) == whole
    shutil.copytree("out", "copy")
    shutil.rmtree("out")
    os.rename("copy", "out")  # other inodes and times everywhere
    assert _counts(run("lib", "--to", "tab")[1]) == "6 sources: 6 unchanged"


@pytest.mark.parametrize("more", [["--width", "60"], ["--tempo", "50%"], ["--single-channel"], ["--to", "timing"]])
def test_other_options_are_made_anew_and_back(run: Run, more: list[str]) -> None:
    run("lib", "--to", "midi,tab")
    first = tree(Path("out"))
    assert _counts(run("lib", *(["--to", "midi,tab"] if "--to" not in more else []), *more)[1]) == "6 sources: 6 made"
    assert _counts(run("lib", "--to", "midi,tab")[1]) == (
        "6 sources: 6 unchanged" if "--to" in more else "6 sources: 6 made"
    )
    assert tree(Path("out")).items() >= first.items()


def test_another_program_makes_all_anew_and_writes_only_other_bytes(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("lib")
    before = {name: stamp for name, stamp in _stamps().items() if not name.startswith("out/.")}
    monkeypatch.setattr("lickwright.store.output_keys.program_key", lambda: "another")
    assert _counts(run("lib")[1]) == "6 sources: 6 made"
    assert {name: stamp for name, stamp in _stamps().items() if not name.startswith("out/.")} == before


def test_what_is_wrong_is_said_again_without_work(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    write("lib/bad.lick", 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n' + lick(8).partition("\n")[2])
    first = run("lib")
    assert first[0] == 1
    assert "lib/bad.lick:2:3: error" in first[2]
    assert 'skipped "Low road" in lib/bad.lick: 1 error' in first[1]
    monkeypatch.setattr("lickwright.build.task.compile_source", lambda *_: 1 / 0)
    again = run("lib")
    assert (again[0], again[2]) == (first[0], first[2])
    assert _counts(again[1]) == "7 sources: 6 unchanged, 1 failed"
    assert again[1].splitlines()[:2] == first[1].splitlines()[:2]


# ---- many at once


def test_jobs_change_nothing(run: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    library(tmp_path / "more", 60)
    write("more/part00/n0007.lick", "what is this\n" + lick(7))
    write("more/part01/n0053.lick", 'lick "x"\n| h7 e5 ||\n')
    monkeypatch.setattr("lickwright.build.executor_choice.SERIAL", 10)
    monkeypatch.setattr(executor, "CHUNK", 4)
    serial = run("more", "--out", "serial", "--jobs", "1")
    parallel = run("more", "--out", "parallel", "--jobs", "3")
    assert serial[0] == parallel[0] == 1
    assert serial[2] == parallel[2]
    assert tree(Path("serial")) == tree(Path("parallel"))
    assert not stray(Path("parallel"))
    rows = []
    for out in ("serial", "parallel"):
        with Manifest(out, write=False) as manifest:
            rows.append(
                manifest.db.execute("SELECT id, path, target, hash, made, findings FROM sources ORDER BY id").fetchall()
            )
    assert rows[0] == rows[1]


def test_the_report_adds_up(run: Run) -> None:
    write("lib/bad.lick", 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n')
    Path("lib/worse.lick").write_bytes(b"\xff\xfe")
    for expected in ("built", "unchanged"):
        assert run("lib", "absent.lick", "--report", "build.json")[0] == 3
        report = json.loads(Path("build.json").read_text("ascii"))
        counts = report["counts"]
        assert counts["found"] == 9 == counts["built"] + counts["unchanged"] + counts["failed"] + counts["skipped"]
        assert counts[expected] == 6
        assert counts["failed"] == 3
        assert counts["outputs"] == 18 == sum(len(source["outputs"]) for source in report["sources"])
        states = {source["path"]: source["state"] for source in report["sources"]}
        assert states["lib/a.lick"] == expected
        assert states["lib/bad.lick"] == states["lib/worse.lick"] == states["absent.lick"] == "failed"
        assert all(
            os.path.isfile(os.path.join("out", name)) for source in report["sources"] for name in source["outputs"]
        )
        (error,) = next(source["findings"] for source in report["sources"] if source["path"] == "lib/bad.lick")
        assert (error["line"], error["column"], error["severity"]) == (2, 3, "error")
        assert report["codes"]["L602"] == 1


def test_a_file_in_the_place_of_a_folder_of_outputs_is_named(run: Run) -> None:
    run("lib", "--to", "tab")
    shutil.rmtree("out/a")
    write("out/a", "a user's own")
    code, out, err = run("lib", "--to", "tab")
    assert code == 3
    assert "a file stands where the folder would go" in err
    assert "5 unchanged, 1 failed" in out
    assert Path("out/a").read_text() == "a user's own"


def test_prune_takes_away_only_what_we_made_and_nobody_changed(run: Run) -> None:
    run("lib", "--to", "tab,midi")
    write("out/a/mine.txt", "a user's own")
    write("out/slow/c/number-2.tab.txt", "mended by hand")
    os.unlink("lib/a.lick")
    os.unlink("lib/slow/c.lick")
    write("lib/slow/b.lick", lick(1).replace("Number 1", "Another title"))
    code, out, _ = run("lib", "--to", "tab,midi")
    assert code == 0
    assert "6 files of licks that are gone: --prune takes them away" in out
    assert Path("out/slow/b/number-1.mid").exists()
    code, out, _ = run("lib", "--to", "tab,midi", "--prune")
    assert code == 0
    assert out.count("  removed ") == 5
    assert "kept out/slow/c/number-2.tab.txt" in out
    assert sorted(name for name in tree(Path("out")) if name.startswith(("a/", "slow/b", "slow/c"))) == [
        "a/mine.txt", "slow/b/another-title.mid", "slow/b/another-title.tab.txt", "slow/c/number-2.tab.txt"
    ]  # fmt: skip
    assert "gone" not in run("lib", "--to", "tab,midi", "--prune")[1]


def test_sources_whose_names_are_no_utf8_are_known_again_and_not_pruned(run: Run) -> None:
    name = os.fsdecode(b"lib/slow/caf\xe9.lick")
    write(name, lick(9))
    assert run("lib", "--to", "tab")[0] == 0
    assert _counts(run("lib", "--to", "tab", "--report", "r.json")[1]) == "7 sources: 7 unchanged"
    assert name in [source["path"] for source in json.loads(Path("r.json").read_text("ascii"))["sources"]]
    whole = tree(Path("out"))
    run("lib/Fast Ones", "--to", "tab", "--prune")
    assert tree(Path("out")) == whole
    os.unlink(name)
    assert "removed out/slow/caf/number-9.tab.txt" in run("lib", "--to", "tab", "--prune")[1]


def test_prune_keeps_outputs_of_sources_that_were_not_meant(run: Run) -> None:
    run("lib", "--to", "tab")
    whole = tree(Path("out"))
    write("lib/a.lick", "lick")
    run("lib/slow", "--to", "tab", "--prune")
    assert tree(Path("out")) == whole
    write("lib/a.lick", lick(0))
    run("lib", "--to", "midi", "--prune")
    assert tree(Path("out")).items() >= whole.items()


BROKEN = 'lick "Number 0"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'


def test_older_files_of_a_lick_that_breaks_are_said_and_pruned(run: Run) -> None:
    run("lib", "--to", "tab,midi")
    whole = tree(Path("out"))
    write("lib/a.lick", BROKEN)
    for _ in range(2):  # what is remembered says the same
        code, out, _ = run("lib", "--to", "tab,midi")
        assert code == 1
        assert 'skipped "Number 0" in lib/a.lick: 1 error; 2 older files of it are still there\n' in out
        assert "2 older files of licks that were skipped: --prune takes them away\n" in out
        assert tree(Path("out")) == whole
    write("out/a/number-0.tab.txt", "mended by hand")
    code, out, _ = run("lib/a.lick", "--to", "tab,midi", "--prune")
    assert code == 1
    assert "removed out/a/number-0.mid" in out
    assert "kept out/a/number-0.tab.txt" in out
    assert "still there" not in out
    assert Path("out/a/number-0.tab.txt").read_text() == "mended by hand"
    write("out/a/number-0.tab.txt", whole["a/number-0.tab.txt"].decode())
    write("lib/a.lick", lick(0))
    assert run("lib", "--to", "tab,midi")[0] == 0
    assert tree(Path("out")) == whole


def test_older_files_of_a_source_that_cannot_be_parsed_or_read_are_said(run: Run) -> None:
    run("lib", "--to", "tab")
    write("lib/a.lick", "| e5 ||\n")  # no lick in it
    assert "1 older file of licks that were skipped" in run("lib", "--to", "tab")[1]
    Path("lib/a.lick").write_bytes(b"#" * (1 << 20) + b"#")
    assert "1 source could not be read; 1 older file of it is still there\n" in run("lib", "--to", "tab")[1]


def test_a_source_that_moved_takes_its_outputs_with_it(run: Run) -> None:
    run("lib", "--to", "tab")
    os.rename("lib", "songs")
    assert _counts(run("songs", "--to", "tab", "--prune")[1]) == "6 sources: 6 made"
    assert len(tree(Path("out"))) == 6
    assert _counts(run("songs", "--to", "tab")[1]) == "6 sources: 6 unchanged"


# ---- shares


@pytest.mark.parametrize("wrong", ["0/2", "3/2", "2", "a/b", "1/0", "-1/2", "1/2/3", "١/٢"])
def test_wrong_shards_are_refused(run: Run, wrong: str) -> None:
    assert run("lib", "--shard", wrong)[0] == 2


# ---- watching


def test_watch_makes_what_changes_and_ends_tidily(tmp_path: Path) -> None:
    import signal

    from building import PATIENCE, replace_text, start, wait_for_line

    library(tmp_path / "lib", 3)
    process = start(tmp_path, "lib", "--to", "tab", "--watch")
    wait_for_line(process, "3 made")
    replace_text(tmp_path / "lib/part00/n0001.lick", lick(1).replace("Number 1", "Another"))
    wait_for_line(process, "1 made, 2 unchanged")
    assert (tmp_path / "out/part00/n0001/another.tab.txt").exists()
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=PATIENCE)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert err.splitlines() == ["watching: press Ctrl-C to stop", "stopped"]


def test_the_manifest_is_one_file_that_others_can_read(run: Run) -> None:
    run("lib")
    assert sorted(name for name in os.listdir("out") if name.startswith(".")) == [NAME, ".lickwright.lock"]
    with Manifest("out", write=False) as manifest:
        assert manifest.db.execute("SELECT count(*) FROM outputs").fetchone() == (18,)
        assert manifest.db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert make(Path.cwd(), "lib")[0] == 0
