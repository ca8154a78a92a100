"""The same tricks where the output folder is named by an address."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from folders import home, rewrite, seen

from lickwright.cli import main

fsspec = pytest.importorskip("fsspec")


@pytest.fixture(params=["local", "shelf"])
def scheme(request: pytest.FixtureRequest) -> str:
    """A path of this machine written as an address, and one that Lickwright does not know to be of this machine."""
    from remote_disk import RemoteDisk

    fsspec.register_implementation("shelf", RemoteDisk, clobber=True)
    return str(request.param)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, scheme: str) -> Path:
    monkeypatch.chdir(tmp_path)
    home(tmp_path / "home")
    assert (
        main(["make", f"{scheme}://{tmp_path}/home/lib", "--out", f"{scheme}://{tmp_path}/home/far", "--jobs", "1"])
        == 0
    )
    (tmp_path / "home/lib/n0000.lick").write_text(
        (tmp_path / "home/lib/n0000.lick").read_text().replace("tempo ", "tempo 1")
    )
    return tmp_path / "home"


def _made(here: Path, scheme: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    before = seen(here, "far")
    code = main(["make", f"{scheme}://{here}/lib", "--out", f"{scheme}://{here}/far", "--jobs", "1"])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    assert code in (0, 3), err
    assert seen(here, "far") == before
    return code, err


def test_links_and_pipes_among_the_outputs(here: Path, scheme: str, capsys: pytest.CaptureFixture[str]) -> None:
    (here / "far/n0000/number-0.mid").unlink()
    (here / "far/n0000/number-0.mid").symlink_to(here / "docs/letter.txt")
    (here / "far/n0000/number-0.tab.txt").unlink()
    os.mkfifo(here / "far/n0000/number-0.tab.txt")
    code, err = _made(here, scheme, capsys)
    assert code == 3
    assert "a link stands where the file would go" in err
    assert "a pipe or device stands where the file would go" in err


def test_a_folder_of_outputs_that_is_a_link(here: Path, scheme: str, capsys: pytest.CaptureFixture[str]) -> None:
    if scheme != "local":
        pytest.skip("whether a folder is a link is not known of an address")
    (here / "far/n0000").rename(here / "far/other")
    (here / "far/n0000").symlink_to(here / "docs")
    code, err = _made(here, scheme, capsys)
    assert code == 3
    assert "is a link to another place" in err


VALUES = ["[[1]]", "[" * 50_000, b"\xff", 7, "{"]
COLUMNS = ["refused", "findings", "target", "hash", "formats"]


@pytest.mark.parametrize(
    ("scheme", "column", "value"),
    [  # every value in every column, every day at one of the two
        pytest.param(scheme, column, value, marks=[pytest.mark.slow] if (s + c + v) % 2 else [])
        for s, scheme in enumerate(("local", "shelf"))
        for c, column in enumerate(COLUMNS)
        for v, value in enumerate(VALUES)
    ],
    indirect=["scheme"],
)
def test_a_record_that_makes_no_sense_is_begun_anew(
    here: Path, scheme: str, column: str, value: object, capsys: pytest.CaptureFixture[str]
) -> None:
    rewrite(here / "far", (f"UPDATE sources SET {column} = ? WHERE path LIKE '%n0001%'", (value,)))
    code, err = _made(here, scheme, capsys)
    assert code == 0 or ("is set aside" in err and "n0000" in err), (
        "the one that was to be made again is no longer known as ours"
    )


@pytest.mark.parametrize("what", ["pipe", "link", "folder", "text"])
def test_what_is_no_record_is_not_read(here: Path, scheme: str, what: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "far/.lickwright.db"
    path.unlink()
    if what == "pipe":
        os.mkfifo(path)
    elif what == "link":
        path.symlink_to(here / "docs/letter.txt")
    elif what == "folder":
        path.mkdir()
    else:
        path.write_text("a shopping list\n" * 50)
    code, err = _made(here, scheme, capsys)
    assert "is set aside" in err
    assert what == "folder" or path.is_file()


def test_a_pipe_among_the_sources_costs_itself(here: Path, scheme: str, capsys: pytest.CaptureFixture[str]) -> None:
    os.mkfifo(here / "lib/pipe.lick")
    code, err = _made(here, scheme, capsys)
    assert code == 3
    assert "no ordinary file but a pipe or device" in err
