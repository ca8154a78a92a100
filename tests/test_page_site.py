"""The index page of the lesson pages of a library: kept current by `make`, safe, and never in a user's way."""

from __future__ import annotations

import re
from pathlib import Path
from zipfile import ZipFile

import pytest

from commanding import Run
from lickwright.export.page import index_page as pages_index
from lickwright.export.page.index_page import IndexEntry, index_page
from lickwright.export.page.markup import asset
from pages import Reader, hosts_in
from payloads import PAYLOADS

INDEX = Path("out/index.html")
BOOK = """by Orla Venn
key A minor
box 1

lick "Porch light"
tags evening, slow bend
chords Am7 | D7
| e8 e5 B8^10 -r p5 G7~-- |

lick "Gate & hedge"
level 3
box 2
| e8 e10 B8 B10 G7 G9 D7 D10 |
"""


@pytest.fixture
def make(run: Run) -> Run:
    """Makes silent pages of a book of two licks and a file beside it."""
    Path("songs").mkdir()
    Path("songs/book.lick").write_text(BOOK)
    Path("songs/attic.lick").write_text('lick "Attic"\nkey C major\n| e8 e5 B8 e5 G7 - - - |\n')

    def call(*arguments: str) -> tuple[int, str, str]:
        return run("make", "songs", "--to", "page", "--silent-page", *arguments)

    return call


def rows() -> dict[str, dict[str, str | None]]:
    """Title and attributes of the row of each lick, with the address of its page."""
    read = Reader(INDEX.read_text("utf-8"))
    return {
        a.text: {**li.attributes, "href": str(a.attributes["href"]).partition("#")[0]}
        for a, li in zip(read.all("a"), read.all("li"), strict=True)
    }


def test_a_library_gets_an_index_that_leads_to_every_page(make: Run) -> None:
    code, out, _ = make()
    assert code == 0
    assert "out/index.html lists 3 lesson pages" in out
    found = rows()
    assert list(found) == ["Attic", "Gate & hedge", "Porch light"]
    assert all((INDEX.parent / str(one["href"])).is_file() for one in found.values())
    porch = found["Porch light"]
    assert (porch["data-key"], porch["data-box"], porch["data-chord"], porch["data-tag"]) == (
        "A minor",
        "1",
        "Am7|D7",
        "evening|slow bend",
    )
    assert "whole-step" in str(porch["data-technique"]) or "bend" in str(porch["data-technique"])
    assert found["Gate & hedge"]["data-level"] == "3"
    labels = [one.text for one in Reader(INDEX.read_text("utf-8")).all("label")]
    assert labels == ["Search", "Key", "Box", "Level", "Technique", "Chord", "Tag"]


def test_a_build_that_changes_nothing_leaves_it_alone_and_one_that_does_brings_it_up_to_date(make: Run) -> None:
    make()
    before = INDEX.stat()
    code, out, _ = make()
    assert (code, "lesson page" in out) == (0, False)
    assert INDEX.stat().st_mtime_ns == before.st_mtime_ns and INDEX.stat().st_ino == before.st_ino
    Path("songs/attic.lick").write_text('lick "Loft"\nkey C major\n| e8 e5 B8 e5 G7 - - - |\n')
    make()
    assert list(rows()) == ["Gate & hedge", "Loft", "Porch light"]
    Path("songs/attic.lick").unlink()
    make("--prune")
    assert list(rows()) == ["Gate & hedge", "Porch light"]
    Path("songs/book.lick").write_text(BOOK.split('lick "Gate')[0])
    code, out, _ = make("--prune")
    assert code == 0
    assert not INDEX.exists(), "one page needs no index"
    assert "removed out/index.html" in out


def test_it_is_the_same_from_one_file_and_from_any_order(make: Run, run: Run) -> None:
    make()
    first = INDEX.read_bytes()
    make("--jobs", "2")
    assert INDEX.read_bytes() == first
    Path("songs/lickwright.toml").write_text('[album]\ntitle = "Evening & <b>"\n')
    make()
    assert Reader(INDEX.read_text("utf-8")).all("h1")[0].text == "Evening & <b>"
    Path("lone.lick").write_text(BOOK)
    assert run("make", "lone.lick", "--to", "page", "--silent-page", "--out", "alone")[0] == 0
    assert Path("alone/index.html").is_file()
    Path("lone.lick").write_text(BOOK.split('lick "Gate')[0])
    assert run("make", "lone.lick", "--to", "page", "--silent-page", "--out", "single")[0] == 0
    assert not Path("single/index.html").exists()


def test_a_file_made_by_itself_in_another_format_stays_in_it(make: Run, run: Run) -> None:
    make()
    before = INDEX.read_bytes()
    assert run("make", "songs/attic.lick", "--to", "midi")[0] == 0
    assert INDEX.read_bytes() == before
    Path("songs/attic.lick").write_text('lick "Attic"\nkey D major\n| e8 e5 B8 e5 G7 - - - |\n')
    assert run("make", "songs/attic.lick", "--to", "tab")[0] == 0
    found = rows()
    assert list(found) == [
        "Attic",
        "Gate & hedge",
        "Porch light",
    ]  # its page is there, and the lick is in another key now
    assert found["Attic"]["data-key"] == "D major"
    assert "Attic" in run("find", "out", "key:D")[1]


def test_a_merge_of_shares_gives_the_index_of_a_whole_build(make: Run, run: Run) -> None:
    Path("songs/lickwright.toml").write_text('[album]\ntitle = "Evening"\n')
    make()
    for share in ("1", "2"):
        assert make("--shard", f"{share}/2", "--out", f"part{share}")[0] == 0
    code, out, _ = run("make", "part1", "part2", "--merge", "--out", "merged")
    assert code == 0
    assert "merged/index.html lists 3 lesson pages" in out
    assert Path("merged/index.html").read_bytes() == INDEX.read_bytes()


def test_an_archive_has_an_index_of_its_own_whose_links_lead_to_its_files(make: Run) -> None:
    assert make("--zip", "course.zip", "--layout", "by-format", "--names", "{book-number:02}-{title}")[0] == 0
    with ZipFile("course.zip") as archive:
        read = Reader(archive.read("course/index.html").decode())
        links = [f"course/{str(one.attributes['href']).partition('#')[0]}" for one in read.all("a")]
        assert len(links) == 3 and set(links) <= set(archive.namelist())
    assert read.all("h1")[0].text == "course"
    assert {one.attributes["data-chord"] for one in read.all("li")} == {"", "Am7|D7"}
    Path("songs/index.lick").write_text('lick "Index"\n| e8 e5 B8 e5 G7 - - - |\n')
    assert make("--zip", "flat.zip", "--layout", "flat")[0] == 0
    with ZipFile("flat.zip") as archive:
        assert b'<h1 dir="auto">Index</h1>' in archive.read("flat/index.html"), "a lick's own file keeps its name"


def test_an_index_of_somebody_else_is_not_replaced(make: Run) -> None:
    Path("out").mkdir()
    INDEX.write_text("mine")
    code, _, err = make()
    assert code == 3
    assert "out/index.html" in err and "not overwritten" in err
    assert INDEX.read_text() == "mine"
    assert make("--overwrite")[0] == 0
    assert len(rows()) == 3
    INDEX.write_text(INDEX.read_text("utf-8").replace("Attic", "My attic"), "utf-8")
    assert make()[0] == 3
    assert "My attic" in INDEX.read_text("utf-8")


@pytest.mark.parametrize("kind", ["link", "folder"])
def test_what_is_no_file_stays(make: Run, kind: str) -> None:
    Path("out").mkdir()
    Path("elsewhere").write_text("theirs")
    if kind == "link":
        INDEX.symlink_to(Path("elsewhere").absolute())
    else:
        INDEX.mkdir()
    code, _, err = make("--overwrite")
    assert code == 3
    assert f"a {kind} is in the way" in err
    assert Path("elsewhere").read_text() == "theirs"
    assert INDEX.is_symlink() or INDEX.is_dir()


def test_without_pages_there_is_no_index(make: Run, run: Run) -> None:
    assert run("make", "songs", "--to", "tab")[0] == 0
    assert not INDEX.exists()


def _entry(words: str) -> IndexEntry:
    return IndexEntry("a/b.html", words, words, words, words, 3, 96.0, words, words, words, words, words)


def test_no_words_of_a_user_become_part_of_it() -> None:
    def kinds(page: str) -> set[tuple[str, tuple[str, ...]]]:
        return {(one.name, tuple(one.attributes)) for one in Reader(page).elements}

    plain = kinds(index_page("plain", [_entry("plain"), _entry("other")._replace(level=1)]))
    for payload in PAYLOADS:
        page = index_page(payload, [_entry(payload)])
        assert kinds(page) <= plain, payload
        assert len(Reader(page).all("script")) == len(Reader(page).all("li")) == 1
        assert Reader(page).all("a")[0].attributes["href"] == "a/b.html#up-1"
    assert (
        Reader(index_page("x", [_entry("x")._replace(path='a b/"c.html')])).all("a")[0].attributes["href"]
        == "a%20b/%22c.html#up-1"
    )


def test_it_names_no_host_and_asks_for_what_is_there() -> None:
    page = index_page("Licks", [_entry("a"), _entry("b")])
    assert hosts_in(page) == set()
    ids = {one.attributes.get("id") for one in Reader(page).elements}
    assert set(re.findall(r'getElementById\("([a-z-]+)"\)', asset("site.js"))) <= ids


def test_a_very_large_library_is_cut_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages_index, "MOST", 20)
    page = index_page("Licks", [_entry("a")] * 25)
    assert page.count("<li") == 20
    assert "5 more licks are not listed." in page
