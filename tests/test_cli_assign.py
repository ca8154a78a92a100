"""`lickwright assign`: a pupil's folder with the assignment and the lesson pages that it leads to."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from commanding import Run
from lickwright.export.page.assignment import AssignedLick, assignment_page
from pages import LICK, Reader, hosts_in
from payloads import PAYLOADS

TWO = LICK + 'lick "Back porch"\ntempo 100\nmeter 6/8\n| e8 e5 B8 e5 G7 - ||\n'
PAGE = Path("mara/assignment.html")


@pytest.fixture
def assign(run: Run) -> Run:
    """Assigns without recordings."""
    Path("songs.lick").write_text(TWO)

    def call(*arguments: str) -> tuple[int, str, str]:
        return run("assign", *arguments, "--silent-page")

    return call


def test_a_pupil_gets_a_folder_with_everything_in_it(assign: Run) -> None:
    code, out, err = assign("Mara", "songs.lick", "--by", "2026-12-05", "--note", "Slowly & <softly>.")
    assert (code, err) == (0, "")
    assert out == "mara/assignment.html: 2 licks for Mara\n"
    read = Reader(PAGE.read_text("utf-8"))
    assert read.all("h1")[0].text == "Mara"
    assert "Until Saturday, December 5, 2026" in read.all("header")[0].text
    assert "Slowly & <softly>." in read.all("header")[0].text
    assert [one.text for one in read.all("h2")] == ["Window seat", "Back porch", "Results"]
    for link in (one for one in read.all("a") if one.text != "printed sheet"):
        page = Path("mara", str(link.attributes["href"])).read_text("utf-8")
        assert Reader(page).all("h1")[0].text == link.text
    first = [one.attributes["data-bpm"] for one in read.all("input") if "data-bpm" in one.attributes][:9]
    assert first == ["58", "63", "68", "73", "78", "83", "88", "93", "96"]
    assert "From quarter note = 58 to 96" in read.all("section")[0].text
    assert "From dotted quarter note = 60 to 100" in read.all("section")[1].text
    assert "1/4" not in PAGE.read_text("utf-8")


def test_the_tempos_are_those_that_are_asked_for_on_both_pages(assign: Run) -> None:
    assert assign("Mara", "songs.lick", "--lick", "window SEAT", "--from", "50%", "--to", "72", "--step", "12")[0] == 0
    inputs = Reader(PAGE.read_text("utf-8")).all("input")
    ticks = [one.attributes["data-bpm"] for one in inputs if one.attributes["type"] == "checkbox"]
    assert ticks == ["48", "60", "72"]
    lesson = Reader(Path("mara/window-seat.html").read_text("utf-8"))
    assert [
        one.attributes["data-bpm"] for one in lesson.all("button") if one.attributes.get("class") == "rung"
    ] == ticks
    assert not Path("mara/back-porch.html").exists()


def test_the_results_name_the_licks_and_their_controls_are_not_printed(assign: Run) -> None:
    assert assign("Mara", "songs.lick")[0] == 0
    read = Reader(PAGE.read_text("utf-8"))
    assert [one.text for one in read.all("option")] == ["Window seat", "Back porch"]
    assert [one.text for one in read.all("th")] == ["day", "lick", "tempo", "score of 100", "look at bars"]
    assert read.all("form")[0].attributes["class"] == "screen"
    assert ".results:not(:has(tbody tr)){display:none;}" in PAGE.read_text("utf-8")  # an empty table is not, either


def test_again_it_is_the_same_and_what_is_not_ours_stays(assign: Run) -> None:
    assert assign("Mara", "songs.lick")[0] == 0
    before = PAGE.read_bytes()
    assert assign("Mara", "songs.lick")[0] == 0
    assert PAGE.read_bytes() == before
    PAGE.write_bytes(before.replace(b"Window seat", b"My window"))
    code, _, err = assign("Mara", "songs.lick")
    assert code == 3
    assert "not overwritten" in err
    assert b"My window" in PAGE.read_bytes()
    assert assign("Mara", "songs.lick", "--overwrite")[0] == 0
    Path("mara/window-seat.html").write_text("mine")
    assert assign("Mara", "songs.lick")[0] == 3
    assert Path("mara/window-seat.html").read_text() == "mine"


def test_a_lick_with_errors_is_left_out_and_said(assign: Run) -> None:
    Path("bad.lick").write_text('lick "Bad"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n')
    code, out, err = assign("Mara", "songs.lick", "bad.lick")
    assert code == 1
    assert "bad.lick" in err and "2 licks for Mara" in out
    assert 'left out, since it has errors: "Bad"\n' in err
    assert [one.text for one in Reader(PAGE.read_text("utf-8")).all("h2")] == ["Window seat", "Back porch", "Results"]
    code, out, err = assign("Ada", "bad.lick")
    assert (code, out) == (1, "")
    assert "nothing was assigned" in err
    assert not Path("ada").exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--from", "soon"], "soon is not a tempo: write 72 for beats a minute, or 60%"),
        (["--from", "15%"], "it goes from 20% to 200%"),
        (["--from", "12"], '"Window seat" is written at 96 beats a minute; write 12% for a share of that'),
        (["--from", "98"], '--from 98 is above --to 100% for "Window seat", written at 96: practice goes up'),
        (["--from", "90%", "--to", "80%"], "practice goes up"),
        (["--by", "tomorrow"], "tomorrow is no day: write year, month and day, as in 2026-12-05"),
        (["--by", "2026-02-30"], "2026-02-30 is no day"),
        (["--lick", "Windov seat"], 'did you mean "Window seat"?'),
        (["--out", "-"], "--out names a folder"),
    ],
)
def test_wrong_usage_is_said(assign: Run, more: list[str], words: str) -> None:
    code, _, err = assign("Mara", "songs.lick", *more)
    assert code == 2
    assert words in err
    assert not Path("mara").exists()


def test_a_pupil_needs_a_name_and_any_name_will_do(assign: Run) -> None:
    assert assign(" ", "songs.lick")[0] == 2
    assert assign("<b>Åsa/..\\", "songs.lick")[0] == 0
    assert Reader(Path("b-asa/assignment.html").read_text("utf-8")).all("h1")[0].text == "<b>Åsa/..\\"


def test_what_cannot_be_written_is_said(assign: Run) -> None:
    Path("mara").write_text("a file")
    code, _, err = assign("Mara", "songs.lick")
    assert code == 3
    assert "mara" in err and Path("mara").read_text() == "a file"


def test_two_licks_of_one_title_get_two_pages(assign: Run) -> None:
    Path("other.lick").write_text(LICK)
    assert assign("Mara", "songs.lick", "other.lick", "--lick", "Window seat")[0] == 0
    links = [str(one.attributes["href"]) for one in Reader(PAGE.read_text("utf-8")).all("a")]
    assert len(set(links)) == 4 and all(Path("mara", link).is_file() for link in links)
    Path("own.lick").write_text(LICK.replace("Window seat", "Assignment"))
    assert assign("Mara", "own.lick", "--out", "again")[0] == 0
    assert {path.name for path in Path("again").iterdir()} == {
        "assignment.html",
        "assignment-2.html",
        "assignment-2.pdf",
    }


def test_no_words_become_part_of_the_page() -> None:
    def made(words: str) -> str:
        lick = AssignedLick(words, "a.html", (("key", words),), "quarter note", (Fraction(60), Fraction(66)), (words,))
        return assignment_page(words, words, words, [lick])

    plain = [(one.name, tuple(one.attributes)) for one in Reader(made("plain")).elements]
    for payload in PAYLOADS:
        page = made(payload)
        assert [(one.name, tuple(one.attributes)) for one in Reader(page).elements] == plain, payload
    assert hosts_in(made("plain")) == set()


def test_it_holds_recordings_unless_told_otherwise(run: Run) -> None:
    Path("songs.lick").write_text(LICK)
    assert run("assign", "Mara", "songs.lick")[0] == 0
    assert "take-1" in Path("mara/window-seat.html").read_text("utf-8")


def _files(folder: str) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in Path(folder).iterdir()}


@pytest.mark.parametrize(
    "more", [["--lick", "Back porch"], ["--note", "Softly."], ["--from", "70%"], ["--by", "2026-12-12"]]
)
def test_last_weeks_assignment_is_not_replaced(assign: Run, more: list[str]) -> None:
    assert assign("Mara", "songs.lick", "--lick", "Window seat", "--lick", "Back porch")[0] == 0
    before = _files("mara")
    code, out, err = assign("Mara", "songs.lick", *more)
    if "--by" in more:
        assert (code, out, err) == (0, "mara-2026-12-12/assignment.html: 2 licks for Mara\n", "")
        again = _files("mara-2026-12-12")
        assert assign("Mara", "songs.lick", *more)[0] == 0
        assert _files("mara-2026-12-12") == again
        code, _, err = assign("Mara", "songs.lick", *more, "--note", "Other words.")
        assert _files("mara-2026-12-12") == again
    assert code == 3
    assert "another assignment is there: not replaced" in err
    assert "--by" in err and "--out" in err and "--overwrite" in err
    assert _files("mara") == before


def test_what_an_overwritten_assignment_led_to_is_named(assign: Run) -> None:
    assert assign("Mara", "songs.lick")[0] == 0
    code, out, _ = assign("Mara", "songs.lick", "--lick", "Window seat", "--overwrite")
    assert code == 0
    assert out.endswith("no longer in the assignment, still in mara: back-porch.html, back-porch.pdf\n")
    assert Path("mara/back-porch.html").exists()


@pytest.mark.parametrize("tags", ["<a ", "<a href=", '<a href="'])
def test_a_former_page_of_tags_without_an_end_is_read_in_linear_time(assign: Run, tags: str) -> None:
    PAGE.parent.mkdir()
    PAGE.write_text(tags * 300_000)
    code, _, err = assign("Mara", "songs.lick")
    assert code == 3
    assert "assignment.html" in err
    assert PAGE.read_text() == tags * 300_000


def test_the_printed_sheet_is_in_the_folder(assign: Run) -> None:
    assert assign("Mara", "songs.lick")[0] == 0
    assert Path("mara/window-seat.pdf").read_bytes().startswith(b"%PDF-")
    links = [one.attributes["href"] for one in Reader(PAGE.read_text("utf-8")).all("a")]
    assert links == ["window-seat.html", "window-seat.pdf", "back-porch.html", "back-porch.pdf"]
    assert assign("Ada", "songs.lick", "--no-sheet")[0] == 0
    assert not list(Path("ada").glob("*.pdf"))


@pytest.mark.parametrize("option", ["--count", "--staff", "--left-handed"])
def test_page_options_pass_through(assign: Run, option: str) -> None:
    assert assign("Mara", "songs.lick", "--lick", "Window seat")[0] == 0
    assert assign("Ada", "songs.lick", "--lick", "Window seat", option)[0] == 0
    for name in ("window-seat.html", "window-seat.pdf"):
        assert Path("mara", name).read_bytes() != Path("ada", name).read_bytes(), name


def test_the_pupil_comes_first(assign: Run) -> None:
    code, _, err = assign("songs.lick", "Mara")
    assert code == 2
    assert 'the pupil comes first: lickwright assign "Mara" songs.lick' in err
