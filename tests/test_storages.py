"""What `make` does is the same wherever outputs and sources lie: in folders here, in memory, on another disk, at an object server (slow)."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from zipfile import ZipFile

import pytest

import album
from building import lick
from commanding import Run, write
from lickwright.build import executor_choice
from lickwright.store import addresses
from storages import KINDS, Place, opened

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning:(moto|botocore|aiobotocore|werkzeug|s3fs).*")
BAD = 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'
NAMES = ("a", "slow/b", "slow/c", "d")


@pytest.fixture(params=KINDS)
def place(request: pytest.FixtureRequest, tmp_path: Path, run: Run) -> Iterator[Place]:
    """A place with a library of four."""
    with opened(request.param, tmp_path) as place:
        for n, name in enumerate(NAMES):
            place.write(f"lib/{name}.lick", lick(n))
        yield place


def beat(n: int) -> str:
    """A lick of one beat, where it is to be heard."""
    return f'lick "Number {n}"\nmeter 1/4\n| e{n} e5 ||\n'


def made(run: Run, place: Place, *more: str, lib: str = "lib", out: str = "out") -> tuple[int, str, str]:
    """Builds; what is said has plain names, and no word about what an address cannot promise."""
    code, said, err = run("make", place.name(lib), "--to", "tab", "--out", place.name(out), "--jobs", "1", *more)
    err = "".join(line for line in err.splitlines(True) if "has no lock" not in line)
    return code, said.replace(place.name(""), ""), err.replace(place.name(""), "")


def test_it_is_the_tree_of_a_folder_here_and_only_what_changed_is_made_again(run: Run, place: Place) -> None:
    for n, name in enumerate(NAMES):
        write(f"here/lib/{name}.lick", lick(n))
    assert run("make", "here/lib", "--to", "tab", "--out", "here/out")[0] == 0
    assert made(run, place)[0] == 0
    assert place.tree("out") == Place("local", "").tree("here/out") != {}
    before = place.everything("out")
    assert "4 sources: 4 unchanged" in made(run, place)[1]
    assert place.tree("out") == {path: data for path, data in before.items() if not path.startswith(".lickwright")}
    place.write("lib/slow/b.lick", lick(9))
    code, said, _ = made(run, place)
    assert code == 0 and "1 made, 3 unchanged" in said and "1 file of licks that are gone" in said
    place.write("out/a/number-0.tab.txt", "changed by hand")
    place.remove("out/d/number-3.tab.txt")
    code, said, err = made(run, place)
    assert code == 3 and "out/a/number-0.tab.txt: error: the file was changed since it was made" in err
    assert place.tree("out")["a/number-0.tab.txt"] == b"changed by hand"
    assert place.tree("out")["d/number-3.tab.txt"] == before["d/number-3.tab.txt"]


def test_what_an_address_cannot_promise_is_said_once(run: Run, place: Place) -> None:
    words = ("make", place.name("lib"), "--to", "tab", "--out", place.name("out"), "--jobs", "1")
    first, second = run(*words)[2], run(*words)[2]
    assert second == ""
    assert ("has no lock and no journal: run one build there at a time" in first) == (place.kind != "local")
    assert ("half replaced" in first) == (place.kind == "disk")


def test_files_of_what_is_gone_are_pruned_and_those_changed_by_hand_are_kept(run: Run, place: Place) -> None:
    made(run, place)
    place.remove("lib/a.lick")
    place.remove("lib/slow/c.lick")
    place.write("lib/slow/b.lick", BAD)
    place.write("out/slow/c/number-2.tab.txt", "changed by hand")
    code, said, _ = made(run, place)
    assert code == 1 and "2 files of licks that are gone: --prune takes them away" in said
    assert len(place.tree("out")) == 4
    code, said, _ = made(run, place, "--prune")
    assert code == 1
    assert "removed out/a/number-0.tab.txt" in said and "kept out/slow/c/number-2.tab.txt" in said
    assert sorted(place.tree("out")) == ["d/number-3.tab.txt", "slow/c/number-2.tab.txt"]
    assert "--prune" not in made(run, place)[1]


def test_a_dry_run_foretells_it_and_writes_nothing(run: Run, place: Place) -> None:
    code, said, err = made(run, place, "--dry-run")
    assert (code, err) == (0, "") and said.count("would make lib/") == 4
    assert place.everything("out") == {}
    made(run, place)
    place.remove("lib/a.lick")
    place.write("lib/d.lick", lick(9))
    place.write("out/slow/b/number-1.tab.txt", "changed by hand")
    before = place.everything("out")
    foretold = made(run, place, "--dry-run", "--prune")
    assert place.everything("out") == before
    assert "would make lib/d.lick: 1 file\n" in foretold[1]
    assert foretold[1].count("would remove out/") == 2
    real = made(run, place, "--prune")
    assert (real[0], real[2]) == (foretold[0], foretold[2])
    assert real[1].count("removed out/") == 2


def test_the_report_says_what_was_done(run: Run, place: Place) -> None:
    place.write("lib/bad.lick", BAD)
    assert made(run, place, "--report", "build.json")[0] == 1
    value = json.loads(Path("build.json").read_text().replace(place.name(""), ""))
    assert value["out"] == "out"
    assert {source["path"]: source["state"] for source in value["sources"]} == {
        "lib/bad.lick": "failed", **{f"lib/{name}.lick": "built" for name in NAMES},
    }  # fmt: skip
    assert {path for source in value["sources"] for path in source["outputs"]} == place.tree("out").keys()


def test_shares_merge_to_the_whole(run: Run, place: Place) -> None:
    place.write("lib/bad.lick", BAD)
    code, _, wrong = made(run, place, out="whole")
    parts = ["part1", "part2", "part3"]
    for n, part in enumerate(parts, 1):
        made(run, place, "--shard", f"{n}/3", out=part)
    assert sum(len(place.tree(part)) for part in parts) == len(place.tree("whole")) == 4
    names = [place.name(part) for part in parts]
    code, _, err = run("make", "--merge", *names[:2], "--out", place.name("merged"))
    assert code == 2 and "share 3 of 3 is missing" in err
    code, said, _ = run("make", "--merge", *names, "--out", place.name("merged"), "--dry-run")
    assert code == 1 and said.count("would take over") == 4 and place.everything("merged") == {}
    code, said, err = run("make", "--merge", *names, "--out", place.name("merged"))
    assert code == 1 and "5 sources: 4 made, 1 failed" in said
    assert err.replace(place.name(""), "").endswith(wrong)
    assert place.tree("merged") == place.tree("whole")
    assert "5 sources: 4 unchanged, 1 failed" in made(run, place, out="merged")[1]


def test_a_merge_takes_nothing_that_was_changed(run: Run, place: Place) -> None:
    made(run, place, "--shard", "1/1", out="part")
    place.write("part/a/number-0.tab.txt", "changed by hand")
    place.remove("part/d/number-3.tab.txt")
    code, _, err = run("make", "--merge", place.name("part"), "--out", place.name("merged"))
    assert code == 3
    assert f"{place.name('part')}/a/number-0.tab.txt: error: the file was changed since it was made" in err
    assert f"{place.name('part')}/d/number-3.tab.txt: error: the file cannot be read" in err
    assert sorted(place.tree("merged")) == ["slow/b/number-1.tab.txt", "slow/c/number-2.tab.txt"]


def test_a_release_follows_the_build(run: Run, place: Place) -> None:
    words = ("--layout", "flat", "--names", "{book-number:02}-{title}")
    code, said, _ = made(run, place, *words)
    assert code == 0 and "4 files in out/release_files: 4 written" in said
    copies = {path: data for path, data in place.tree("out").items() if path.startswith("release_files/")}
    assert list(copies)[0] == "release_files/01-number-0.tab.txt"
    assert copies["release_files/01-number-0.tab.txt"] == place.tree("out")["a/number-0.tab.txt"]
    place.remove("lib/a.lick")
    code, said, _ = made(run, place, *words, "--prune")
    assert code == 0
    copies = {path for path in place.tree("out") if path.startswith("release_files/")}
    assert copies == {f"release_files/0{n}-number-{m}.tab.txt" for n, m in ((1, 3), (2, 1), (3, 2))}


def test_an_archive_is_the_same_everywhere(run: Run, place: Place) -> None:
    assert made(run, place, "--zip", "course.zip")[0] == 0
    with ZipFile(io.BytesIO(Path("course.zip").read_bytes())) as archive:
        inside = {name.partition("/")[2]: archive.read(name) for name in archive.namelist()}
    assert inside.pop("contents.txt").startswith(b"course: 4 licks, 4 files\n")
    assert inside == place.tree("out")


def test_lesson_pages_have_an_index(run: Run, place: Place) -> None:
    words = ("make", place.name("lib"), "--to", "page", "--silent-page", "--out", place.name("out"), "--jobs", "1")
    code, said, _ = run(*words)
    assert code == 0 and f"{place.name('out')}/index.html lists 4 lesson pages" in said
    page = place.tree("out")["index.html"]
    assert b"Number 3" in page
    assert "index.html" not in run(*words)[1] and place.tree("out")["index.html"] == page
    place.remove("lib/a.lick")
    assert run(*words, "--prune")[0] == 0
    assert b"Number 0" not in place.tree("out")["index.html"]


def test_standard_input_is_a_source(run: Run, place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(lick(7).encode())))
    assert run("make", "-", "--to", "tab", "--out", place.name("out"))[0] == 0
    assert list(place.tree("out")) == ["stdin/number-7.tab.txt"]


def test_recordings_are_numbered_and_not_played_twice(run: Run, place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("soundfile")
    place.write(
        "lib/lickwright.toml", '[make]\nto = "audio"\n[album]\ntitle = "Porch songs"\ncover = "art/front.png"\n'
    )
    place.write("lib/art/front.png", album.png())
    words = ("make", place.name("lib"), "--out", place.name("out"), "--format", "flac", "--jobs", "1")
    for n, name in enumerate(NAMES):
        place.write(f"lib/{name}.lick", beat(n))
    assert run(*words)[0] == 0
    for path, number in (("a/number-0.flac", "1"), ("slow/c/number-2.flac", "4")):
        blocks = album.flac(place.tree("out")[path])
        assert album.comment(blocks[4])["TRACKNUMBER"] == number
        assert album.picture(blocks[6]) == (3, "image/png", 3, 2, album.png())
    place.write("lib/0.lick", beat(0).replace("Number 0", "Another title"))

    def play(*_: object) -> None:
        raise AssertionError("a recording was played again")

    monkeypatch.setattr("lickwright.export.audio.render_samples", play)
    code, said, _ = run(*words)
    assert code == 0 and "5 made" in said
    assert album.comment(album.flac(place.tree("out")["a/number-0.flac"])[4])["TRACKNUMBER"] == "2"
    place.write("lib/lickwright.toml", '[album]\ntitle = "Porch songs"\ncover = "art/none.png"\n')
    code, _, err = run(*words)
    assert code == 3 and "cannot be read" in err


def test_a_manifest_that_cannot_be_used_is_set_aside(run: Run, place: Place) -> None:
    made(run, place)
    before = place.tree("out")
    place.write("out/.lickwright.db", b"a shopping list\n" * 50)
    code, _, err = made(run, place, "--dry-run")
    assert (
        code == 0 and "out/.lickwright.db is set aside" in err and ".lickwright.db.old" not in place.everything("out")
    )
    code, _, err = made(run, place)
    assert code == 0 and "out/.lickwright.db is set aside" in err
    assert place.everything("out")[".lickwright.db.old"] == b"a shopping list\n" * 50
    assert place.tree("out") == before
    assert "4 unchanged" in made(run, place)[1]


@pytest.mark.parametrize("many", [40, pytest.param(executor_choice.SERIAL, marks=pytest.mark.slow)])
def test_a_large_library_is_built_by_what_can_be_had(
    run: Run, place: Place, many: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By several processes where they see the outputs, else by this one: the manifest is one that SQLite reads."""
    monkeypatch.setattr(executor_choice, "SERIAL", many)
    for n in range(many):
        place.write(f"more/n{n}.lick", lick(n))
    code, said, _ = run("make", place.name("more"), "--to", "tab", "--out", place.name("out"), "--jobs", "2")
    assert code == 0 and f"{many} made" in said
    assert len(place.tree("out")) == many
    Path("manifest.db").write_bytes(place.everything("out")[".lickwright.db"])
    db = sqlite3.connect("manifest.db")
    assert db.execute("SELECT count(*) FROM licks").fetchone() == (many,)
    db.close()


@pytest.mark.parametrize("place", ["memory"], indirect=True)
def test_lost_sources_are_asked_for_folder_by_folder(run: Run, place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    for n in range(30):
        place.write(f"lib/more/n{n}.lick", lick(n))
    made(run, place)
    for n in range(30):
        place.remove(f"lib/more/n{n}.lick")
    asked: list[str] = []
    listing, exists = addresses.list_remote_folder, addresses.exists
    monkeypatch.setattr(addresses, "list_remote_folder", lambda at, path: (asked.append(path), listing(at, path))[1])
    monkeypatch.setattr(addresses, "exists", lambda address: (asked.append(address), exists(address))[1])
    assert "30 files of licks that are gone" in made(run, place)[1]
    assert [path for path in asked if "more" in path] == ["/shelf/lib/more"]


@pytest.mark.parametrize("place", ["memory"], indirect=True)
def test_what_cannot_be_asked_is_not_taken_for_gone(run: Run, place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    """A source that no scan finds, and a network that does not say whether it is there."""
    made(run, place)
    made(run, place, lib="lib/slow")
    before = place.tree("out")
    place.remove("lib/a.lick")
    listing = addresses.list_remote_folder

    def refused(at: addresses.RemotePath, folder: str) -> object:
        if folder.endswith("/lib"):
            raise OSError(5, "the network is down")
        return listing(at, folder)

    with monkeypatch.context() as patch:
        patch.setattr(addresses, "list_remote_folder", refused)
        code, _, err = made(run, place, "--prune")
    assert code == 3 and "the network is down" in err
    assert place.tree("out") == before
    assert made(run, place, "--prune")[0] == 0
    assert place.tree("out").keys() == before.keys() - {"a/number-0.tab.txt"}
