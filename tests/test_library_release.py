"""`make --layout` and `--names`: the copies that an output folder keeps in `release_files`."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from commanding import Run
from lickwright.build import release_files
from lickwright.store.local_storage import LocalStorage
from lickwright.store.manifest import Manifest
from lickwright.store.storage import FileState

MUSIC = "| e{} e5 B8 e5 G7 - - - ||\n"
TREE = Path("out/release_files")
MAKE = ("make", "songs", "--to", "timing", "--jobs", "1", "--no-sync")
NUMBERED = ("--layout", "flat", "--names", "{book-number:02}-{title}")


def lick(title: str, fret: int = 8) -> str:
    return f'lick "{title}"\nkey A minor\nrights "all"\nby "Mara Quill"\n{MUSIC.format(fret)}'


def write(path: str, *licks: str) -> None:
    (Path("songs") / path).parent.mkdir(parents=True, exist_ok=True)
    (Path("songs") / path).write_text("".join(licks))


@pytest.fixture
def course(run: Run) -> Run:
    write("a.lick", lick("Twin"), lick("Low road", 5))
    write("slow/b.lick", lick("Gate", 7))
    return run


def tree(folder: Path = TREE) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)).removesuffix(".timing.csv"): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def stamps() -> dict[str, tuple[int, int, int]]:
    found = {}
    for path in Path("out").rglob("*"):
        if ".lickwright" not in str(path):
            status = path.lstat()
            found[str(path)] = status.st_ino, status.st_mtime_ns, status.st_ctime_ns
    return found


def ready(run: Run) -> str:
    return run("library", "out", "--ready")[1]


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (("--layout", "flat"), ["gate", "low-road", "twin"]),
        (("--layout", "by-format"), ["timing/a/low-road", "timing/a/twin", "timing/slow/b/gate"]),
        (NUMBERED, ["01-twin", "02-low-road", "03-gate"]),
        (("--names", "{file-number}-{title}"), ["a/1-twin", "a/2-low-road", "slow/b/1-gate"]),
    ],
)
def test_copies_are_named_and_laid_out_as_wanted(course: Run, words: tuple[str, ...], wanted: list[str]) -> None:
    code, out, err = course(*MAKE, *words)
    assert (code, err) == (0, "") and "  3 files in out/release_files: 3 written\n" in out
    assert list(tree()) == wanted
    assert sorted(tree().values()) == sorted(
        Path(f"out/{path}.timing.csv").read_bytes() for path in ("a/twin", "a/low-road", "slow/b/gate")
    )


def test_without_a_layout_the_output_folder_is_as_ever(course: Run) -> None:
    course(*MAKE)
    assert not TREE.exists()
    with closing(sqlite3.connect("out/.lickwright.db")) as db:
        assert not db.execute("SELECT 1 FROM sqlite_master WHERE name LIKE 'released%'").fetchall()


def test_a_folder_made_before_gets_its_release_without_making_anything_again(course: Run) -> None:
    course(*MAKE)
    before = stamps()
    code, out, _ = course(*MAKE, *NUMBERED)
    assert code == 0 and "2 unchanged" in out
    after = stamps()
    assert [path for path in before if after[path] != before[path]] == []
    assert len(tree()) == 3


def test_a_build_with_nothing_to_do_touches_nothing(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = stamps()
    code, out, _ = course(*MAKE, *NUMBERED)
    assert code == 0 and "  3 files in out/release_files\n" in out
    assert stamps() == before


def test_a_file_whose_name_changes_moves_at_once(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = {path: path.lstat().st_ino for path in TREE.iterdir()}
    write("a.lick", lick("First", 3), lick("Twin"), lick("Low road", 5))
    code, out, _ = course(*MAKE, *NUMBERED)
    assert code == 0 and "4 files in out/release_files: 1 written, 3 renamed" in out
    assert list(tree()) == ["01-first", "02-twin", "03-low-road", "04-gate"]
    assert (TREE / "02-twin.timing.csv").lstat().st_ino == before[TREE / "01-twin.timing.csv"]


def test_another_layout_moves_all_of_them_and_leaves_no_empty_folder(course: Run) -> None:
    course(*MAKE, "--layout", "by-format")
    _, out, _ = course(*MAKE, "--layout", "flat")
    assert "3 files in out/release_files: 3 renamed" in out
    assert list(tree()) == ["gate", "low-road", "twin"] and not [path for path in TREE.iterdir() if path.is_dir()]


def test_names_that_change_places_are_written_anew(course: Run) -> None:
    words = ("--layout", "flat", "--names", "{book-number}")
    course(*MAKE, *words)
    old = tree()
    write("a.lick", lick("Low road", 5), lick("Twin"))
    assert course(*MAKE, *words)[0] == 0
    new = tree()
    assert (new["1"], new["2"], new["3"]) == (old["2"], old["1"], old["3"]) and len(new) == 3
    assert "release_files" not in ready(course)


def test_a_lick_that_is_gone_leaves_only_with_prune(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    write("a.lick", lick("Twin"))
    _, out, _ = course(*MAKE, *NUMBERED)
    assert "1 file there is no more in the release: --prune takes it away" in out
    assert list(tree()) == ["01-twin", "02-gate", "02-low-road"]
    assert "release_files/02-low-road.timing.csv" in ready(course)
    _, out, _ = course(*MAKE, *NUMBERED, "--prune")
    assert "removed out/release_files/02-low-road.timing.csv" in out
    assert list(tree()) == ["01-twin", "02-gate"] and "release_files" not in ready(course)


def test_a_file_changed_by_hand_is_never_replaced_moved_or_removed(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    mine = TREE / "01-twin.timing.csv"
    mine.write_text("mine")
    code, _, err = course(*MAKE, *NUMBERED)
    assert code == 3 and "release_files/01-twin.timing.csv: error" in err and mine.read_text() == "mine"
    assert "01-twin.timing.csv: it was changed by hand" in ready(course)
    code, out, _ = course(*MAKE, "--layout", "flat", "--prune")
    assert code == 0 and "kept out/release_files/01-twin.timing.csv" in out and mine.read_text() == "mine"
    assert list(tree()) == ["01-twin", "gate", "low-road", "twin"]


def test_a_foreign_file_in_the_way_stays_unless_overwrite_is_said(course: Run) -> None:
    TREE.mkdir(parents=True)
    (TREE / "twin.timing.csv").write_text("foreign")
    code, _, err = course(*MAKE, "--layout", "flat")
    assert (
        code == 3
        and "twin.timing.csv: error: the file was changed since it was made, or is not ours" in err
        and tree()["twin"] == b"foreign"
    )
    assert course(*MAKE, "--layout", "flat", "--overwrite")[0] == 0 and tree()["twin"] != b"foreign"


def test_a_link_in_its_place_is_not_followed(course: Run, tmp_path: Path) -> None:
    course(*MAKE)
    elsewhere = Path("elsewhere")
    elsewhere.mkdir()
    TREE.symlink_to(elsewhere.absolute())
    code, _, err = course(*MAKE, "--layout", "flat")
    assert code == 3 and "link" in err and not list(elsewhere.iterdir())


def test_a_changed_output_is_left_out_and_its_copy_stays(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = tree()
    Path("out/a/twin.timing.csv").write_text("mine")
    for words in ((), ("--prune",)):
        assert course(*MAKE, *NUMBERED, *words)[0] == 3
        assert tree() == before


def test_while_something_cannot_be_read_it_is_left_as_it_was(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = tree()
    Path("songs/a.lick").write_bytes(b"\xff\xfe\0")
    code, out, _ = course(*MAKE, *NUMBERED, "--prune")
    assert code == 3 and "out/release_files is left as it was: something could not be read or made" in out
    assert tree() == before


def test_a_lick_with_errors_keeps_its_number_and_its_older_copy(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = tree()
    write("a.lick", lick("Twin").replace("e5 e5", "e5").replace("B8", "zz"), lick("Low road", 5))
    assert course(*MAKE, *NUMBERED)[0] == 1
    assert tree() == before and "01-twin" in ready(course)


def test_a_part_of_the_library_leaves_it_and_says_so(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = tree()
    _, out, _ = course("make", "songs/slow", "--to", "timing", *NUMBERED)
    assert "is left as it was: make the whole library" in out and tree() == before


def test_forgetting_the_layout_leaves_it_and_prune_takes_it_away(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    before = tree()
    _, out, _ = course(*MAKE)
    assert "is left as it was: say --names or --layout" in out and tree() == before
    course(*MAKE, "--prune")
    assert not TREE.exists() and Path("out/a/twin.timing.csv").exists()
    assert "release_files" not in course(*MAKE)[1]


def test_with_an_archive_only_a_release_that_is_there_is_kept(course: Run) -> None:
    course(*MAKE, *NUMBERED, "--zip", "x.zip")
    assert not TREE.exists()
    course(*MAKE, *NUMBERED)
    write("slow/b.lick", lick("Gate", 6))
    before = tree()
    course(*MAKE, *NUMBERED, "--zip", "x.zip")
    assert tree()["03-gate"] == Path("out/slow/b/gate.timing.csv").read_bytes() != before["03-gate"]


def test_the_house_says_it_and_a_dry_run_writes_nothing(course: Run) -> None:
    Path("songs/lickwright.toml").write_text('[make]\nlayout = "flat"\n[names]\nlick = "{number}-{title}"\n')
    _, out, _ = course(*MAKE, "--dry-run")
    assert "the release would be brought up to date" in out and not Path("out").exists()
    course(*MAKE)
    assert list(tree()) == ["1-gate", "1-twin", "2-low-road"]


def test_a_house_with_a_mistake_takes_nothing_away(course: Run) -> None:
    house = Path("songs/lickwright.toml")
    house.write_text('[make]\nlayout = "flat"\n')
    course(*MAKE)
    before = tree()
    house.write_text('[make]\nlayot = "flat"\n')
    assert course(*MAKE, "--prune")[0] == 3 and tree() == before


def test_shares_have_none_and_the_build_of_all_makes_it(course: Run) -> None:
    assert course(*MAKE, *NUMBERED, "--shard", "1/2")[0] == 2
    for number in ("1", "2"):
        course(*MAKE, "--shard", f"{number}/2", "--out", f"part{number}")
    course("make", "part1", "part2", "--merge")
    before = stamps()
    code, out, _ = course(*MAKE, *NUMBERED)
    assert code == 0 and list(tree()) == ["01-twin", "02-low-road", "03-gate"]
    assert all(stamps()[path] == state for path, state in before.items() if path != "out")


def test_a_merge_leaves_a_release_that_nobody_arranges_and_says_so(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    write("slow/b.lick", lick("Gate", 6))
    before = tree()
    for number in ("1", "2"):
        course(*MAKE, "--shard", f"{number}/2", "--out", f"part{number}")
    code, out, _ = course("make", "part1", "part2", "--merge")
    assert code == 0 and "out/release_files is left as it was: say --names or --layout" in out and tree() == before
    course(*MAKE, *NUMBERED)
    assert tree()["03-gate"] == Path("out/slow/b/gate.timing.csv").read_bytes() != before["03-gate"]


def test_a_merge_makes_the_release_of_the_whole(course: Run) -> None:
    """Numbered in the order of the library, whatever the order of the shares; arranged as the command or the project says."""
    write("slow/a.lick", lick("Fence", 4))
    write("z.lick", lick("Last", 3))
    course(*MAKE, *NUMBERED, "--out", "whole")
    whole = tree(Path("whole/release_files"))
    assert list(whole) == ["01-twin", "02-low-road", "03-last", "04-fence", "05-gate"]
    for number in ("1", "2", "3"):
        course(*MAKE, "--shard", f"{number}/3", "--out", f"part{number}")
    merge = ("make", "--merge", "part3", "part1", "part2")
    assert "the release would be brought up to date" in course(*merge, *NUMBERED, "--dry-run")[1]
    assert not Path("out").exists()
    code, out, _ = course(*merge, *NUMBERED)
    assert code == 0 and "5 files in out/release_files: 5 written" in out and tree() == whole
    assert "release_files" not in ready(course)
    Path("songs/lickwright.toml").write_text('[make]\nlayout = "flat"\n[names]\nlick = "{book-number:02}-{title}"\n')
    for number in ("1", "2", "3"):
        course(*MAKE, "--shard", f"{number}/3", "--out", f"part{number}")
    code, out, _ = course(*merge, "--out", "again")
    assert code == 0 and "5 files in again/release_files: 5 written" in out
    assert tree(Path("again/release_files")) == whole


def test_find_names_the_copies(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    (found,) = json.loads(course("find", "out", "gate", "--format", "json")[1])["licks"]
    assert found["outputs"] == ["out/slow/b/gate.timing.csv", "out/release_files/03-gate.timing.csv"]


def test_ready_says_what_is_old_or_not_there(course: Run) -> None:
    course(*MAKE, *NUMBERED)
    assert "release_files" not in ready(course)
    write("slow/b.lick", lick("Gate", 6), lick("More", 4))
    course(*MAKE)
    said = ready(course)
    assert "release_files/03-gate.timing.csv: it is of an earlier version of its lick" in said
    assert "more.timing.csv: it is not in release_files" in said
    (TREE / "01-twin.timing.csv").unlink()
    assert "release_files/01-twin.timing.csv: it is gone" in ready(course)
    course(*MAKE, *NUMBERED)
    assert "release_files" not in ready(course)


def test_no_folder_gets_more_files_than_it_can_take(course: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    course(*MAKE, "--layout", "by-format")
    before = tree()
    monkeypatch.setattr(release_files, "MOST", 2)
    code, _, err = course(*MAKE, "--layout", "flat")
    assert code == 3 and "out/release_files: error: 3 files are too many for one folder (L605)" in err
    assert tree() == before


def test_no_source_can_have_its_folder() -> None:
    from lickwright.core.slugs import slug

    assert slug(release_files.RELEASE) != release_files.RELEASE


@pytest.mark.parametrize("place", ["../elsewhere", "a", "release_files/../a", "release_files/x/../../.."])
def test_a_record_that_leads_elsewhere_is_no_manifest(course: Run, place: str) -> None:
    course(*MAKE, *NUMBERED)
    db = sqlite3.connect("out/.lickwright.db")
    db.execute("UPDATE released SET folder = ?", (place,))
    db.commit()
    db.close()
    Path("elsewhere").mkdir()
    victim = Path("elsewhere/01-twin.timing.csv")
    victim.write_bytes(tree()["01-twin"])
    _, _, err = course(*MAKE, "--prune")
    assert "set aside" in err and victim.exists() and Path("out/a/twin.timing.csv").exists()


def test_a_copy_that_cannot_be_looked_at_after_its_move_is_still_ours(
    course: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    course(*MAKE, *NUMBERED)
    state = LocalStorage.state
    moved: list[tuple[str, str]] = []

    def refused_after_a_move(self: LocalStorage, folder: str, name: str) -> FileState | None:
        if (folder, name) in moved:
            raise OSError(5, "input/output error")
        return state(self, folder, name)

    move = LocalStorage.move
    with monkeypatch.context() as patch:
        patch.setattr(LocalStorage, "state", refused_after_a_move)
        patch.setattr(LocalStorage, "move", lambda self, at, to: (move(self, at, to), moved.append(to))[0])
        code, out, err = course(*MAKE, "--layout", "flat")
    assert (code, err) == (0, "") and "3 renamed" in out
    write("a.lick", lick("Twin", 3), lick("Low road", 6))
    assert course(*MAKE, "--layout", "flat")[0] == 0 and list(tree()) == ["gate", "low-road", "twin"]
    assert "release_files" not in ready(course)


def test_what_a_killed_run_wrote_is_known_again(course: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run ends between writing and entering; then its licks change, and so does the layout."""
    course(*MAKE)

    class Killed(BaseException):
        pass

    def kill(*_: object) -> None:
        raise Killed

    with monkeypatch.context() as patch:
        patch.setattr(release_files._Tree, "_enter", kill)
        patch.setattr("lickwright.store.local_storage.journal.clear_journals", kill)
        with pytest.raises(Killed):
            course(*MAKE, *NUMBERED)
    assert len(tree()) == 3
    write("a.lick", lick("Twin", 3), lick("Low road", 5))
    code, _, err = course(*MAKE, "--layout", "by-format")
    assert (code, err) == (0, "")
    assert list(tree()) == ["timing/a/low-road", "timing/a/twin", "timing/slow/b/gate"]
    with Manifest("out", write=False) as manifest:
        assert not manifest.db.execute("SELECT 1 FROM claims").fetchall()
    assert "release_files" not in ready(course)
