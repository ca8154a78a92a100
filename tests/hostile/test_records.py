"""A manifest, a journal or a house that was made to lead out of the output folder."""

from __future__ import annotations

import os
import sqlite3
import struct
from pathlib import Path

import pytest
from folders import LEADING_OUT, home, rewrite, run, seen

from building import lick
from lickwright.cli import main
from lickwright.store import guarded_database, journal
from lickwright.store.ownership import OutputPaths, UnsafePath, plain_folder, plain_name


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return home(tmp_path / "home")


def _all(here: Path, capsys: pytest.CaptureFixture[str], *commands: str) -> str:
    before = seen(here, "out", "whole")
    said = ""
    for command in commands:
        code = run(command)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert code in (0, 1, 2, 3), (command, err)
        assert seen(here, "out", "whole") == before, (command, err)
        said += err
    return said


# ---- the judge


@pytest.mark.parametrize("name", [*LEADING_OUT, None, 7, b"n0001"])
def test_what_leads_out_is_no_folder_of_ours(name: object) -> None:
    assert not plain_folder(name) or name == "."
    assert not plain_name(name)


@pytest.mark.parametrize("name", ["n0001", "part00/n0001", "number-1.tab.txt", "lick-con", "a" * 60 + ".slow.wav", "0"])
def test_what_we_make_is_ours(name: str) -> None:
    assert plain_folder(name)
    assert plain_name(name) == ("/" not in name)


def test_a_link_on_the_way_is_refused_and_a_link_to_the_output_folder_is_not(tmp_path: Path) -> None:
    (tmp_path / "real/a/b").mkdir(parents=True)
    (tmp_path / "other").mkdir()
    (tmp_path / "out").symlink_to("real")
    (tmp_path / "real/a/c").symlink_to(tmp_path / "other")
    (tmp_path / "real/a/d").symlink_to("b")
    inside = OutputPaths(str(tmp_path / "out"))
    assert inside.file("a/b", "x.mid") == str(tmp_path / "out/a/b/x.mid")
    assert inside.folder("not/yet/there") == str(tmp_path / "out/not/yet/there")
    for folder in ("a/c", "a/c/deep", "a/d"):
        with pytest.raises(UnsafePath, match="link to another place"):
            inside.folder(folder)


# ---- the journal


def test_a_link_in_the_place_of_the_journal_deletes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "lib/made").mkdir(parents=True)
    (tmp_path / "docs").mkdir()
    (tmp_path / "docs/a").write_text("precious")
    (tmp_path / "docs/b").write_text("precious")
    (tmp_path / "lib/made/.lickwright.journal").symlink_to("../../docs")
    (tmp_path / "lib/lickwright.toml").write_text('[make]\nout = "made"\n')
    (tmp_path / "lib/a.lick").write_text(lick(1))
    before = seen(tmp_path, "lib")
    assert main(["make", str(tmp_path / "lib")]) == 3
    assert ".lickwright.journal is a link and not ours: take it away (L604)" in capsys.readouterr().err
    assert seen(tmp_path, "lib") == before
    (tmp_path / "lib/made/.lickwright.journal").unlink()
    assert main(["make", str(tmp_path / "lib")]) == 0
    assert not (tmp_path / "lib/made/.lickwright.journal").exists()


@pytest.mark.parametrize("folder", [*LEADING_OUT, "away", "n0001/away"])
def test_a_journal_claims_and_sweeps_nothing_outside(
    here: Path, folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (here / "out/away").symlink_to(here / "docs")
    (here / "out/n0001/away").symlink_to(here / "docs")
    (here / "out" / journal.FOLDER).mkdir()
    line = b"%s %s/letter.txt\n" % (b"0" * 32, folder.encode())
    (here / "out" / journal.FOLDER / "12-abcdef01").write_bytes(b"lickwright journal 1\n" + line)
    _all(here, capsys, "prune")
    assert not (here / "out" / journal.FOLDER).exists()


def test_what_is_no_journal_stays_in_the_journals_folder(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = here / "out" / journal.FOLDER
    folder.mkdir()
    (folder / "letter.txt").write_text("mine")
    (folder / "12-abcdef01").write_text("mine too, by chance of that name\n")
    (folder / "12-abcdef02").write_text("lickwright journal 1\n")
    (folder / "12-abcdef03").write_text("lickwri")  # cut off by a full disk
    os.truncate(folder / "12-abcdef02", 1 << 40)  # a line without end
    _all(here, capsys, "make", "make")
    assert sorted(path.name for path in folder.iterdir()) == ["12-abcdef01", "letter.txt"]


# ---- the manifest


PLACES_OF_NAMES = {
    "target": "UPDATE sources SET target = ? WHERE path LIKE '%n0001%'",
    "target of a lost one": "UPDATE sources SET target = ? WHERE path LIKE '%n0002%'",
    "folder": "UPDATE outputs SET folder = ? WHERE name = 'number-2.mid'",
    "name": "UPDATE outputs SET name = ? WHERE name = 'number-2.mid'",
    "claimed folder": "INSERT INTO claims VALUES (?, 'letter.txt', x'00')",
    "claimed name": "INSERT INTO claims VALUES ('n0001', ?, x'00')",
}


# By day two names for each place, so that every name and every place is used.
NAMES_LEADING_OUT = ("../docs", "{}/docs", "n0001/../../docs", "docs\\letter.txt", "C:docs", "n0001\0", b"..")
DAILY_NAMES = [(where, NAMES_LEADING_OUT[n : n + 2]) for n, where in enumerate(PLACES_OF_NAMES)]
ALL_NAMES = [pytest.param(where, NAMES_LEADING_OUT, marks=pytest.mark.slow) for where in PLACES_OF_NAMES]


@pytest.mark.parametrize(("where", "names"), [*DAILY_NAMES, *ALL_NAMES])
def test_a_name_that_leads_out_is_followed_nowhere(
    here: Path, where: str, names: tuple[str | bytes, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    sound = (here / "out/.lickwright.db").read_bytes()
    for name in (name.replace("{}", str(here)) if isinstance(name, str) else name for name in names):
        (here / "out/.lickwright.db").write_bytes(sound)
        rewrite(here / "out", (PLACES_OF_NAMES[where], (name,)))
        said = _all(here, capsys, "find", "merge from", "prune")
        assert "the index cannot be used: it is damaged: it holds what no lickwright has entered" in said, name
        assert "out/.lickwright.db is set aside" in said, name


def test_pruning_takes_nothing_away_through_a_record(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The record tells everything that makes a file ours: hash, size, times and inode."""
    from lickwright.store.output_writer import content_digest

    letter = here / "docs/letter.txt"
    status = letter.stat()
    values = (
        content_digest(letter.read_bytes()),
        status.st_size,
        status.st_mtime_ns,
        status.st_ctime_ns,
        status.st_ino,
    )
    for folder, name in (
        ("../docs", "letter.txt"),
        (str(here / "docs"), "letter.txt"),
        ("n0002", "../../docs/letter.txt"),
        ("away", "letter.txt"),
    ):
        rewrite(
            here / "out",
            (
                "INSERT OR REPLACE INTO outputs VALUES (?, ?, 'letter', 'tab', 1, ?, ?, ?, ?, ?)",
                (folder, name, *values),
            ),
        )
        (here / "out/away").unlink(missing_ok=True)
        (here / "out/away").symlink_to(here / "docs")
        _all(here, capsys, "prune", "make", "merge from")
    assert "link to another place (L604)" in _all(here, capsys, "prune")


def test_a_journal_of_sqlites_that_names_another_file_is_not_played_back(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """SQLite deletes the file that such a journal names as the one that stands for several."""

    def played(folder: Path) -> None:
        db = sqlite3.connect(folder / ".lickwright.db")
        db.execute("SELECT count(id) FROM sources").fetchall()
        db.close()

    for target in (here / "docs/letter.txt", here / "lost"):
        name = os.fsencode(target)
        pages = (here / "out/.lickwright.db").stat().st_size // 4096
        head = guarded_database._MAGIC + struct.pack(">IIIII", 0, 1, pages, 512, 4096)
        tail = (
            struct.pack(">I", (1 << 30) // 4096 + 1)
            + name
            + struct.pack(">II", len(name), sum(name))
            + guarded_database._MAGIC
        )
        (here / "out/.lickwright.db-journal").write_bytes(head.ljust(512, b"\0") + tail)
        if target.name == "lost":  # what would happen
            target.write_text("lost")
            played(here / "out")
            assert not target.exists()
        else:
            said = _all(here, capsys, "find", "make")
            assert ".lickwright.db-journal names another file" in said


# ---- the house


@pytest.mark.parametrize("out", ["made", "made/deep", "deep/made", "made/.", "./made"])
def test_a_house_writes_through_no_link(tmp_path: Path, out: str, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "lib/deep").mkdir(parents=True)
    (tmp_path / "docs").mkdir()
    (tmp_path / "lib/made").symlink_to("../docs")
    (tmp_path / "lib/deep/made").symlink_to(tmp_path / "docs")
    (tmp_path / "lib/lickwright.toml").write_text(f'[make]\nout = "{out}"\n')
    (tmp_path / "lib/a.lick").write_text(lick(1))
    before = seen(tmp_path, "out")
    os.chdir(tmp_path)
    assert main(["make", "lib"]) == 3
    assert "is a link that leads out of this folder: only --out leads there (L703)" in capsys.readouterr().err
    assert seen(tmp_path, "out") == before


def test_a_link_that_stays_in_the_house_or_was_named_is_followed(tmp_path: Path) -> None:
    (tmp_path / "lib/real").mkdir(parents=True)
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "lib/made").symlink_to("real")
    (tmp_path / "named").symlink_to("elsewhere")
    (tmp_path / "lib/lickwright.toml").write_text('[make]\nout = "made"\n')
    (tmp_path / "lib/a.lick").write_text(lick(1))
    os.chdir(tmp_path)
    assert main(["make", "lib"]) == 0
    assert (tmp_path / "lib/real/a/number-1.mid").exists()
    assert main(["make", "lib", "--out", "named"]) == 0
    assert (tmp_path / "elsewhere/a/number-1.mid").exists()


def test_a_link_of_the_usual_name_is_not_followed_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "docs").mkdir()
    (tmp_path / "out").symlink_to("docs")
    (tmp_path / "a.lick").write_text(lick(1))
    before = seen(tmp_path)
    os.chdir(tmp_path)
    assert main(["make", "."]) == 2
    assert "out is a link to another place: say --out out to write there" in capsys.readouterr().err
    assert seen(tmp_path) == before
    assert main(["make", ".", "--out", "out"]) == 0


# ---- a shard


@pytest.mark.parametrize("whole", [False, True])
def test_a_shard_with_links_and_endless_files_is_merged_without_them(
    here: Path, whole: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    if whole:
        (here / "out/n0001").rename(here / "away")
        (here / "out/n0001").symlink_to(here / "away")
    else:
        (here / "out/n0001/number-1.mid").rename(here / "away")
        (here / "out/n0001/number-1.mid").symlink_to(here / "away")
    (here / "out/n0000/number-0.mid").unlink()
    os.mkfifo(here / "out/n0000/number-0.mid")
    os.truncate(here / "out/n0000/number-0.tab.txt", 1 << 40)
    said = _all(here, capsys, "merge from")
    assert "number-0.mid: error: the file cannot be read: number-0.mid is a pipe or device and not ours" in said
    assert "number-0.tab.txt: error: the file was changed since it was made" in said
    assert "is a link" in said
    assert (here / "whole/n0002/number-2.mid").read_bytes() == (here / "shard/n0002/number-2.mid").read_bytes()
    assert not (here / "whole/n0001/number-1.mid").exists()
    assert not (here / "whole/n0000/number-0.mid").exists()


def test_another_name_of_an_output_keeps_its_bytes(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("n0001/number-1.mid", "n0002/number-2.mid"):
        os.link(here / "out" / name, here / "docs" / Path(name).name.replace("number", "other"))
    _all(here, capsys, "prune", "make")
