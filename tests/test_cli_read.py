"""`lickwright read` from the shell, and the commands that take text tab as it is."""

from __future__ import annotations

from json import loads
from pathlib import Path

import pytest

from commanding import Run, write
from lickwright.compiler import compile_text

TAB = """Porch swing, tempo 96

   Am
e|-------------------|
B|-8p5---------------|
G|-----7b9r7--5------|
D|---------------7---|
A|-------------------|
E|-------------------|

sing it softly
"""
DOUBTFUL = TAB.replace("7---|", "7?--|")
LETTER = "Dear Wren,\n\nthe tab comes tomorrow.\n"

pytestmark = pytest.mark.usefixtures("tmp_path")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def test_a_file_beside_the_tab(run: Run) -> None:
    write("mail.txt", TAB)
    code, out, err = run("read", "mail.txt")
    assert (code, out) == (0, "")
    assert "1 lick, 5 notes" in err
    assert "mail.lick" in err
    text = Path("mail.lick").read_text("utf-8")
    assert compile_text(text).ok
    assert 'lick "Porch swing, tempo 96"' in text
    assert "B8p5" in text
    assert "G7^9" in text
    assert "# sing it softly" in text
    assert "# rhythm guessed in bar 1" in text
    assert Path("mail.txt").read_text("utf-8") == TAB


def test_a_bug_in_a_reader_is_not_blamed_on_standard_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise ValueError("a bug")

    monkeypatch.setattr("lickwright.importers.import_source", fail)
    write("mail.txt", TAB)
    code, out, err = run("read", "mail.txt")
    assert (code, out) == (70, "")
    assert "standard input" not in err
    assert not Path("mail.lick").exists()


def test_a_file_is_not_replaced_unasked(run: Run) -> None:
    write("mail.txt", TAB)
    write("mail.lick", "mine\n")
    code, _, err = run("read", "mail.txt")
    assert code == 3
    assert "L605" in err
    assert Path("mail.lick").read_text("utf-8") == "mine\n"
    assert run("read", "mail.txt", "--overwrite")[0] == 0
    assert compile_text(Path("mail.lick").read_text("utf-8")).ok


def test_to_standard_output_and_elsewhere(run: Run) -> None:
    write("mail.txt", TAB)
    code, out, err = run("read", "mail.txt", "--out", "-")
    assert code == 0
    assert compile_text(out).ok
    assert "5 notes" in err
    assert not Path("mail.lick").exists()
    assert run("read", "mail.txt", "--out", "licks/")[0] in (
        0,
        3,
    )  # a folder that is not there is not made for one file
    assert run("read", "mail.txt", "--out", "porch.lick")[0] == 0
    assert Path("porch.lick").read_text("utf-8") == out


def test_key_and_box_of_the_command_line(run: Run) -> None:
    write("mail.txt", TAB)
    assert run("read", "mail.txt", "--key", "A minor", "--box", "1")[0] == 0
    lines = [" ".join(line.split()) for line in Path("mail.lick").read_text("utf-8").splitlines()]
    assert {"key A minor", "box 1"} <= set(lines)
    write("own.txt", "Key: C major\n\n" + TAB)
    for more, key in (((), "key C major"), (("--key", "A minor"), "key A minor")):
        code, out, _ = run("read", "own.txt", *more, "--out", "-")
        assert code == 0
        assert [" ".join(line.split()) for line in out.splitlines() if line.startswith("key")] == [key]


@pytest.mark.parametrize("option", [("--track", "1"), ("--tuning", "drop D"), ("--phrases",)])
def test_an_option_about_another_format_is_wrong_usage(run: Run, option: tuple[str, ...]) -> None:
    write("mail.txt", TAB)
    code, out, err = run("read", "mail.txt", *option)
    assert (code, out) == (2, "")
    assert f"{option[0]} is about" in err
    assert not Path("mail.lick").exists()


def test_the_tuning_of_a_text_tab_is_said_above_it(run: Run) -> None:
    """As the message about --tuning says."""
    write("mail.txt", "Tuning: drop D\n\n" + TAB)
    code, out, _ = run("read", "mail.txt", "--out", "-")
    assert code == 0
    assert "tuning drop D" in [" ".join(line.split()) for line in out.splitlines()]


@pytest.mark.parametrize("option", [("--key", "H"), ("--box", "99"), ("--tuning", "foo")])
def test_a_key_box_or_tuning_that_is_none_is_wrong_usage(run: Run, option: tuple[str, str]) -> None:
    write("mail.txt", TAB)
    code, out, err = run("read", "mail.txt", *option)
    assert (code, out) == (2, "")
    assert err.startswith(f"error: {option[0]}: ")
    assert not Path("mail.lick").exists()


def test_no_tab_is_an_error_with_its_place(run: Run) -> None:
    write("letter.txt", LETTER)
    code, _, err = run("read", "letter.txt")
    assert code == 1
    assert "letter.txt:1:1: error: no tab found (L810)" in err
    assert not Path("letter.lick").exists()
    assert run("read", "nowhere.txt")[0] == 3


def test_a_folder_for_the_lick_is_made(run: Run) -> None:
    write("mail.txt", TAB)
    write("letter.txt", LETTER)
    assert run("read", "letter.txt", "--out", "none/")[0] == 1
    assert not Path("none").exists()
    assert run("read", "mail.txt", "--out", "songs/new/")[0] == 0
    assert Path("songs/new/mail.lick").is_file()


def test_a_lick_is_not_read_again(run: Run) -> None:
    write("porch.lick", 'key A minor\nlick "Porch"\n| A0 A3 D0 D2 G0 G2 B1 G2 ||\n')
    code, out, err = run("read", "porch.lick")
    assert (code, out) == (1, "")
    assert "help: it is a lick already" in err


def test_tab_in_a_lick_is_led_to_read(run: Run) -> None:
    write("porch.lick", 'lick "Porch"\n' + TAB[TAB.index("e|") :])
    code, out, err = run("tidy", "porch.lick")
    assert (code, out) == (1, "")
    assert "`lickwright read` writes a drawn tab so" in err


def test_doubts_point_at_their_place(run: Run) -> None:
    write("mail.txt", DOUBTFUL)
    code, _, err = run("read", "mail.txt")
    assert code == 0
    assert "mail.txt:7:19: warning: `?` on string 4 is not understood (L812)" in err
    assert "                  ^\n" in err
    assert "1 of them unsure" in err
    assert run("read", "mail.txt", "--strict", "--overwrite")[0] == 1
    report = loads(run("read", "mail.txt", "--overwrite", "--format", "json")[1])["files"][0]
    assert (report["path"], report["written"], report["format"], report["notes"], report["unsure"]) == (
        "mail.txt", "mail.lick", "text tab", 5, 1,
    )  # fmt: skip
    found = [d for d in report["diagnostics"] if d["code"] == "L812"]
    assert [(d["line"], d["column"]) for d in found] == [(7, 19)]


def test_check_compare_and_find_take_text_tab(run: Run) -> None:
    write("mail.txt", DOUBTFUL)
    write("lib/porch.lick", 'key A minor\nlick "Porch"\n| B8p5 G7^9 -r G5 D7 -- ||\n')
    code, out, _ = run("check", "mail.txt")
    assert code == 0
    assert "mail.txt:7:19: warning" in out
    assert "mail.txt:4:3: note: rhythm guessed in bar 1" in out
    code, out, _ = run("compare", "mail.txt", "lib/porch.lick")
    assert code in (0, 1)
    assert "score" in out
    run("read", "mail.txt", "--out", "lib/again.lick")
    run("make", "lib", "--out", "out", "--to", "tab")
    code, out, _ = run("find", "out", "--like", "mail.txt")
    assert code == 0
    assert "the same tab" in out


def test_a_lick_in_a_text_file_stays_a_lick(run: Run) -> None:
    write("notes.txt", 'lick "Porch"\n| B8p5 G7^9 -r G5 D7 -- |\n')
    code, out, _ = run("check", "notes.txt")
    assert code == 0
    assert "L8" not in out


def many() -> None:
    write("tabs/one.txt", TAB)
    write("tabs/sub/two.tab", DOUBTFUL.replace("Porch swing", "Gate"))
    write("tabs/letter.txt", LETTER)
    write("tabs/picture.png", "no text at all")


def test_a_folder_is_read_into_a_library(run: Run) -> None:
    many()
    code, out, err = run("read", "tabs", "--out", "licks")
    assert code == 1
    assert "tabs/letter.txt:1:1: error: no tab found (L810)" in err
    assert "2 licks in licks" in out
    assert "3 sources: 2 made, 1 failed" in out
    made = sorted(str(path) for path in Path("licks").rglob("*.lick"))
    assert made == ["licks/one/one.lick", "licks/sub/two/two.lick"]
    assert "Gate" in run("find", "licks", "unsure")[1]
    assert "Porch swing" not in run("find", "licks", "unsure")[1]
    assert "lickwright find licks unsure  lists 1 lick to compare with the original" in out
    Path("tabs/sub/two.tab").write_text(TAB.replace("Porch swing", "Gate"))
    assert "unsure" not in run("read", "tabs", "--out", "licks")[1]


def test_a_folder_with_nothing_to_read(run: Run) -> None:
    Path("tabs").mkdir()
    code, out, err = run("read", "tabs", "--out", "licks")
    assert code == 3
    assert "there is no .mid, .midi, .musicxml, .mxl, .xml, .txt, .tab or .text file in this folder or below it" in err
    assert "lickwright find" not in out


def test_only_what_changed_is_read_again(run: Run) -> None:
    many()
    run("read", "tabs", "--out", "licks")
    before = {path: path.stat().st_mtime_ns for path in Path("licks").rglob("*.lick")}
    assert "2 unchanged" in run("read", "tabs", "--out", "licks")[1]
    write("tabs/one.txt", TAB.replace("-8p5-", "-8p6-"))
    assert "1 made, 1 unchanged" in run("read", "tabs", "--out", "licks")[1]
    after = {path: path.stat().st_mtime_ns for path in Path("licks").rglob("*.lick")}
    assert [path.name for path in before if before[path] != after[path]] == ["one.lick"]
    assert "B8p6" in Path("licks/one/one.lick").read_text("utf-8")


def test_a_lick_that_was_edited_stays(run: Run) -> None:
    many()
    run("read", "tabs", "--out", "licks")
    write("licks/one/one.lick", 'lick "Mine now"\n| B8p5 G7^9 -r G5 D7 -- |\n')
    write("tabs/one.txt", TAB.replace("-8p5-", "-8p6-"))
    code, _, err = run("read", "tabs", "--out", "licks")
    assert code == 3
    assert "L605" in err
    assert "Mine now" in Path("licks/one/one.lick").read_text("utf-8")


@pytest.mark.parametrize(
    "arguments",
    [("tabs",), ("tabs", "--out", "-"), ("tabs", "--out", "licks", "--format", "json"), ("tabs/one.txt", "--jobs", "2"),
     ("tabs/one.txt", "--out", "-", "--format", "json"), ("tabs", "--out", "licks", "--box", "1")],
)  # fmt: skip
def test_what_makes_no_sense_is_refused(run: Run, arguments: tuple[str, ...]) -> None:
    many()
    assert run("read", *arguments)[0] == 2
