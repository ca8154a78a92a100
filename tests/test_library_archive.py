"""`make --zip`: a release in one file, its names and its order, and what never goes into it."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Iterator
from pathlib import Path
from zipfile import ZipFile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from commanding import Run
from lickwright.config.name_pattern import NUMBERS, PATTERN_FIELDS, parse_pattern
from lickwright.core.slugs import MAX_SLUG
from lickwright.store import output_writer

MUSIC = "| e{} e5 B8 e5 G7 - - - ||\n"
VALUES: dict[str, str | int] = {name: 3 if name in NUMBERS else "Low Road" for name in PATTERN_FIELDS}
FEW = ("--to", "timing", "--jobs", "1", "--zip", "course.zip")


def lick(title: str, fret: int = 8, fields: str = "key A minor\n") -> str:
    return f'lick "{title}"\n{fields}{MUSIC.format(fret)}'


@pytest.fixture
def course(run: Run) -> Run:
    for path, text in (
        ("intro.lick", lick("Warm up")),
        ("slow/a.lick", lick("Twin", 8, "key A minor\nbox 1\nlevel 2\nby Mara Quill\n") + lick("Low road", 5)),
        ("slow/b.lick", lick("Twin", 7)),
        ("fast/a.lick", lick("Twin", 3, "key E minor\n")),
    ):
        (Path("songs") / path).parent.mkdir(parents=True, exist_ok=True)
        (Path("songs") / path).write_text(text)
    return run


def names(path: str = "course.zip") -> list[str]:
    with ZipFile(path) as archive:
        assert archive.testzip() is None
        found = archive.namelist()
    assert found[0].endswith("/contents.txt") and len(set(found)) == len(found)
    return [name.partition("/")[2].removesuffix(".timing.csv") for name in found[1:]]


# --- patterns


@pytest.mark.parametrize(
    ("pattern", "name"),
    [
        ("{chapter}-{number:02}-{title}", "low-road-03-low-road"),
        ("Lick {book-number:03}", "lick-003"),
        ("{number}{number:4}", "3-3"),
        ("{title:.3}_{key}", "low-low-road"),
        ("{{{title}", None),
        ("{title", None),
        ("{titel}", "title?"),
        ("{title.upper}", None),
        ("{title[0]}", None),
        ("{title!r}", None),
        ("{}", None),
        ("{0}", None),
        ("{number:{level}}", None),
        ("{number:.3}", ":02"),
        ("{title:>99999999}", None),
        ("a/{title}", "`layout`"),
        ("..\\{title}", None),
        ("plain", "same name"),
        ("{title}" * 50, None),
    ],
)
def test_patterns_give_names_or_say_what_is_wrong(pattern: str, name: str | None) -> None:
    if name is not None and re.fullmatch("[a-z0-9-]+", name):
        assert parse_pattern(pattern).name(VALUES) == name
        return
    with pytest.raises(ValueError) as found:
        parse_pattern(pattern)
    assert name is None or name in str(found.value)


@given(st.text("{}:!.[]/\\ atilenumbr0129-_é\0", max_size=30), st.text(max_size=200))
def test_no_pattern_gives_a_name_that_is_not_safe(pattern: str, title: str) -> None:
    try:
        read = parse_pattern(pattern)
    except ValueError:
        return
    name = read.name({**VALUES, "title": title, "number": 10**9})
    assert re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", name) and len(name) <= MAX_SLUG + len("lick-")


def test_a_name_that_is_too_long_keeps_its_numbers() -> None:
    name = parse_pattern("{chapter}-{title}-{number:03}").name({**VALUES, "title": "x" * 100})
    assert len(name) == MAX_SLUG and name.endswith("-003") and name.startswith("low-road-x")


def test_the_houses_page_has_every_field() -> None:
    page = (Path(__file__).parents[1] / "grammar" / "house.md").read_text("utf-8")
    assert "".join(f"| `{name}` | {said} |\n" for name, said in PATTERN_FIELDS.items()) in page


# --- the archive


def test_it_holds_the_tree_and_a_page_of_contents_in_the_books_order(course: Run) -> None:
    code, out, _ = course("make", "songs", *FEW)
    assert code == 0 and "5 files of 5 licks in course.zip" in out
    assert names() == ["fast/a/twin", "intro/warm-up", "slow/a/low-road", "slow/a/twin", "slow/b/twin"]
    with ZipFile("course.zip") as archive:
        page = archive.read("course/contents.txt").decode()
        assert archive.read("course/slow/a/twin.timing.csv") == Path("out/slow/a/twin.timing.csv").read_bytes()
    titles = re.findall(r"^  (\d)\. ([^:]+):", page, re.MULTILINE)
    assert titles == [("1", "Warm up"), ("2", "Twin"), ("3", "Twin"), ("4", "Low road"), ("5", "Twin")]
    assert "Twin: A minor, box 1, level 2, 100 beats a minute, by Mara Quill\n       slow/a/twin.timing.csv\n" in page


def test_a_lick_that_was_skipped_is_missed_in_the_archives_own_line(course: Run) -> None:
    Path("songs/slow/b.lick").write_text(lick("Twin", 7).replace("B8", "b8"))
    for _ in range(2):  # made, and remembered
        code, out, _ = course("make", "songs", *FEW)
        assert code == 1 and "4 files of 4 licks in course.zip; 1 skipped lick left out\n" in out
    Path("out/intro/warm-up.timing.csv").write_text("mine")
    _, out, _ = course("make", "songs", *FEW)
    assert "3 files of 3 licks in course.zip; 1 skipped lick and 1 file left out\n" in out


def test_the_same_release_is_the_same_bytes_whenever_and_wherever(course: Run) -> None:
    course("make", "songs", *FEW)
    first = Path("course.zip").read_bytes()
    for path in Path("out").rglob("*.csv"):
        os.utime(path, (1, 1))
        path.chmod(0o600)
    course("make", "songs", *FEW)
    assert Path("course.zip").read_bytes() == first
    os.mkdir("else")
    course("make", "songs", *FEW[:-1], "else/course.zip", "--out", "other")
    assert Path("else/course.zip").read_bytes() == first


@pytest.mark.parametrize(
    ("options", "wanted"),
    [
        (("--layout", "flat"), ["low-road", "twin-a-fast", "twin-a-slow", "twin-b", "warm-up"]),
        (
            ("--layout", "by-format"),
            [f"timing/{name}" for name in ("fast/a/twin", "intro/warm-up", "slow/a/low-road", "slow/a/twin", "slow/b/twin")],
        ),
        (
            ("--layout", "flat", "--names", "{book-number:02}-{chapter}-{number}-{title}"),
            ["01-intro-1-warm-up", "02-fast-1-twin", "03-slow-1-twin", "04-slow-2-low-road", "05-slow-3-twin"],
        ),
        (("--names", "{key}"), ["fast/a/e-minor", "intro/a-minor", "slow/a/a-minor-low-road", "slow/a/a-minor-twin", "slow/b/a-minor"]),
    ],
)  # fmt: skip
def test_names_and_layouts_never_collide(course: Run, options: tuple[str, ...], wanted: list[str]) -> None:
    assert course("make", "songs", *FEW, *options)[0] == 0
    assert names() == wanted


def test_the_house_says_how_files_are_named(course: Run) -> None:
    house = Path("songs/lickwright.toml")
    house.write_text('[make]\nlayout = "flat"\n[names]\nlick = "{file-number:02}-{title}-{source}-{chapter}"\n')
    assert course("make", "songs", *FEW)[0] == 0
    assert "01-twin-b-slow" in names()
    house.write_text('[names]\nlick = "{chapter}-{numbr:02}"\n')
    before = Path("course.zip").read_bytes()
    code, _, err = course("make", "songs", *FEW)
    assert code == 3 and "lickwright.toml:2:20" in err and "`numbr`: number?" in err
    assert Path("course.zip").read_bytes() == before, "nothing is given away by a house with mistakes in it"


def test_a_lick_that_was_not_made_keeps_its_number(course: Run) -> None:
    options = ("--layout", "flat", "--names", "{book-number}-{title}")
    course("make", "songs", *FEW, *options)
    whole = names()
    path = Path("songs/slow/a.lick")
    path.write_text(path.read_text().replace("e5 e5", "e5 zz"))
    code, out, _ = course("make", "songs", *FEW, *options)
    assert code == 1 and "4 files of 4 licks in course.zip" in out
    assert names() == [name for name in whole if name != "4-low-road"]


def test_what_was_changed_by_hand_is_left_out_and_said_and_once(course: Run) -> None:
    course("make", "songs", *FEW[:-2])
    Path("out/slow/a/twin.timing.csv").write_text("mine")
    Path("out/slow/a/foreign.timing.csv").write_text("mine too")
    code, out, err = course("make", "songs", *FEW)
    assert code == 3 and err.count("twin.timing.csv: error") == 1
    assert "4 files of 4 licks in course.zip; 1 file left out" in out
    assert "slow/a/twin" not in names() and "slow/a/foreign" not in names()


@pytest.mark.parametrize("what", ["a source that is no text", "a folder where an output goes"])
def test_nothing_is_given_away_while_something_cannot_be_read_or_made(course: Run, what: str) -> None:
    course("make", "songs", *FEW)
    before = Path("course.zip").read_bytes()
    if what == "a source that is no text":
        Path("songs/fast/a.lick").write_bytes(b"\xff\xfe\0")
    else:
        Path("songs/slow/a.lick").write_text(lick("Low road", 4))
        Path("out/slow/a/low-road.timing.csv").unlink()
        Path("out/slow").rename("elsewhere")
        Path("out/slow").write_text("in the way")
    code, _, err = course("make", "songs", *FEW)
    assert code == 3 and "course.zip: error: nothing was written: something could not be read or made" in err
    assert Path("course.zip").read_bytes() == before


def test_an_output_that_cannot_be_read_is_not_said_to_be_changed(course: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fails for a moment: the archive that is there stays, since the new one would lack the output."""
    course("make", "songs", *FEW)
    before = Path("course.zip").read_bytes()
    Path("songs/slow/b.lick").write_text(lick("Twin", 8))
    output = Path("out/slow/b/twin.timing.csv")
    os.utime(output, (1, 1))  # so that the build has to read it
    old = output.read_bytes()

    def failing(*_: object) -> bytes:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(output_writer, "stored_digest", failing)
        code, _, err = course("make", "songs", *FEW)
        assert code == 3 and "twin.timing.csv: error: nothing was written: input/output error (L604)\n" in err
        assert "course.zip: error: nothing was written: something could not be read or made" in err
        assert (output.read_bytes(), Path("course.zip").read_bytes()) == (old, before)
        assert course("make", "songs", *FEW, "--overwrite")[0] == 0
    assert output.read_bytes() != old and Path("course.zip").read_bytes() != before


def test_only_an_archive_of_ours_is_replaced(course: Run) -> None:
    Path("course.zip").write_bytes(b"somebody's own")
    code, _, err = course("make", "songs", *FEW)
    assert code == 3 and "course.zip" in err and Path("course.zip").read_bytes() == b"somebody's own"
    assert not Path("out").exists(), "said before any work is done"
    assert course("make", "songs", *FEW, "--overwrite")[0] == 0
    assert course("make", "songs", *FEW, "--layout", "flat")[0] == 0
    with Path("course.zip").open("ab") as file:
        file.write(b"more")
    assert course("make", "songs", *FEW)[0] == 3


@pytest.mark.parametrize(
    "words",
    [
        ("--layout", "flat", "--shard", "1/2"), ("--names", "{title}", "--shard", "1/2"), ("--zip", "-"), ("--zip", "x.zip", "--shard", "1/2"),
        ("--zip", "x.zip", "--watch"), ("--zip", "x.zip", "--names", "{titel}"), ("--zip", "x.zip", "--merge"),
    ],
)  # fmt: skip
def test_no_option_is_taken_and_ignored(course: Run, words: tuple[str, ...]) -> None:
    code, _, err = course("make", "songs", *words)
    assert code == 2 and "--" in err and not Path("x.zip").exists()


def test_a_dry_run_writes_none(course: Run) -> None:
    code, out, _ = course("make", "songs", *FEW, "--dry-run")
    assert code == 0 and "would write course.zip" in out and not Path("course.zip").exists()


def test_a_file_that_changes_while_it_is_read_stops_the_whole(course: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    course("make", "songs", *FEW)
    before = Path("course.zip").read_bytes()
    from lickwright.build import archive

    def other(*_: object) -> Iterator[bytes]:
        yield b"something else"

    monkeypatch.setattr(archive, "read_output", other)
    code, _, err = course("make", "songs", *FEW, "--layout", "flat")
    assert code == 3 and "changed meanwhile" in err
    assert Path("course.zip").read_bytes() == before
