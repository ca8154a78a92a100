"""What a build or a check says about a whole course: one screen, causes and errors first, nothing twice, nothing again."""

from __future__ import annotations

import json
import os
import re
import time

import pytest

from commanding import Run, write
from lickwright.cli.findings_view import LINES
from lickwright.report.console import display_width

GOOD = 'key A minor\n\nlick "Good {0}"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'
ODD = 'key A minor\nbox 1\n\nlick "Odd {0}"\n| e8 e5 B8 B5 G4 G5 D4 D5 | e8 e6 e5 B9 B8 B5 G7 - ||\n'  # outside scale and box
BAD = 'lick "Bad {0}"\n| e8 zz B8 ||\n'
FIXABLE = 'lick "Fixable {0}"\n| b8 e5 B8 B5 G7 G5 D7 D5 ||\n'


def course(count: int = 60) -> None:
    """A course of so many files in six folders, most of them with something wrong."""
    for number in range(count):
        text = (ODD, ODD, GOOD, BAD, ODD, FIXABLE)[number % 6]
        write(f"lib/part{number % 6}/n{number:03}.lick", text.format(number))


def test_a_check_of_a_course_fits_one_screen(run: Run) -> None:
    course()
    code, out, _ = run("check", "lib")
    lines = out.splitlines()
    assert code == 1
    assert len(lines) <= 60 and max(map(display_width, lines)) <= 100
    every = json.loads(run("check", "lib", "--format", "json")[1])["files"]
    found = [d for file in every for d in file["diagnostics"]]
    assert sum(d["severity"] == "error" for d in found) >= 10 and len(found) > 100
    for code_ in {d["code"] for d in found}:
        (row,) = [line for line in lines if re.match(rf"(error|warning|note) +{code_} ", line)]
        number = sum(d["code"] == code_ for d in found)
        assert re.search(rf"{code_} +{number:,}  ", row), row
    severities = [line.split()[0] for line in lines if re.match(r"(error|warning|note) +L", line)]
    assert severities == sorted(severities, key=["error", "warning", "note"].index)
    assert "error: " in lines[0], "errors stand first, in full"
    assert any(line.startswith("worst files") for line in lines) and any(
        line.startswith("worst folders") for line in lines
    )
    assert re.search(r"lickwright check --all lib +shows all \d+ findings", out)
    assert re.search(r"lickwright check --fix lib +shows how 10 of them", out)
    assert lines[-1].startswith("60 files, 60 licks: ")


@pytest.mark.parametrize("count", [2, 60])
def test_findings_of_what_changed_come_before_those_of_what_did_not(run: Run, count: int) -> None:
    for number in range(count):
        write(f"lib/n{number:02}.lick", BAD.format(number))
    run("make", "lib", "--to", "tab")
    last = f"n{count - 1:02}.lick"
    write(f"lib/{last}", BAD.format("again"))
    err = run("make", "lib", "--to", "tab")[2]
    assert last in err.splitlines()[0]
    row = next((line for line in err.splitlines() if line.startswith("error   L1")), None)
    assert count == 2 or (row is not None and last in row.split(",")[0])


def test_all_shows_everything_and_few_findings_are_shown_in_full(run: Run) -> None:
    course()
    out = run("check", "lib", "--all")[1]
    every = json.loads(run("check", "lib", "--format", "json")[1])["files"]
    assert len(re.findall(r"\(L\d{3}\)$", out, re.MULTILINE)) == sum(len(file["diagnostics"]) for file in every)
    assert run("check", "lib", "--all", "--format", "json")[0] == 2
    few = run("check", "lib/part0/n000.lick", "lib/part3/n003.lick")[1]
    assert few == run("check", "lib/part0/n000.lick", "lib/part3/n003.lick", "--all")[1]
    one = run("check", "lib/part0/n000.lick")[1]
    assert one.count("\n") <= LINES and "worst" not in one


def test_one_setting_of_a_house_is_named_once_with_all_that_goes_back_to_it(run: Run) -> None:
    for number in range(20):
        write(f"lib/n{number:02}.lick", f'key A major\n\nlick "L {number}"\n| e9 e7 e5 e4 B7 B5 G6 G4 ||\n')
    write("lib/lickwright.toml", '[fields]\nscale = "minor pentatonic"\n')
    code, out, _ = run("check", "lib")
    first, quoted, caret, *_ = out.splitlines()
    assert code == 0
    number = len(re.findall(r"\(L203\)", run("check", "lib", "--all")[1]))
    assert re.fullmatch(
        rf"lib/lickwright.toml:2:\d+: scale is set here: {number:,} findings in 20 licks go back to it \(L203 {number:,}\)",
        first.replace(os.sep, "/"),
    )
    assert quoted.strip() == 'scale = "minor pentatonic"' and set(caret.strip()) == {"^"}
    single = run("check", "lib/n00.lick")[1]
    assert "lickwright.toml, line 2: scale is set here" in single, "each finding shows the line that it goes back to"


def test_a_build_says_no_failure_twice(run: Run) -> None:
    course()
    code, out, err = run("make", "lib", "--to", "tab")
    assert code == 1
    assert len((out + err).splitlines()) <= 60
    assert "lickwright check --all lib" in err and "failed lib" not in out
    assert out.count("skipped") == 6  # five by name, and how many more
    write("two/a.lick", BAD.format(1))
    write("two/b.lick", BAD.format(2))
    out, err = run("make", "two", "--to", "tab")[1:]
    assert (out + err).count("a.lick") == 2, "the finding, and the lick that was left out"


def test_strict_and_annotations_of_a_build(run: Run) -> None:
    write("lib/a.lick", ODD.format(1))
    assert run("make", "lib", "--to", "tab")[0] == 0
    assert run("make", "lib", "--to", "tab", "--strict")[0] == 1
    checked = run("check", "lib", "--format", "github")[1]
    for words in (["--findings", "github"], ["--format", "github"], ["--format=github"]):
        code, out, err = run("make", "lib", "--to", "tab", "--out", "-".join(words).strip("-"), *words)
        assert code == 0 and not err
        found = [line for line in out.splitlines() if line.startswith("::")]
        assert found == [line for line in checked.splitlines() if not line.startswith("::notice")], (
            "notes are for check"
        )
    assert run("make", "lib", "--findings", "github", "--all")[0] == 2


def test_fixes_of_a_folder_come_without_the_findings_again(run: Run) -> None:
    course(12)
    code, out, err = run("check", "--fix", "lib")
    assert out.count("+| B8 e5") == 2
    assert code == 1 and re.fullmatch(r"2 fixes shown, nothing written; what is left: .*\n", err)
    assert "L2" in run("check", "--fix", "lib/part0/n000.lick")[2]


def test_watching_says_what_stands_once_and_the_file_edited_last_at_the_end(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("a", "b", "c"):
        write(f"lib/{name}.lick", GOOD.format(name))
    write("lib/lickwright.toml", 'required = ["level"]\n')
    edits: list[dict[str, str]] = [
        {},
        {"a": BAD, "b": BAD},
        {"c": GOOD.format("x")},
        {},
        {"c": GOOD},
        {"c": GOOD + "\n"},
    ]

    def edit(_: float) -> None:
        """What an author does between two rounds."""
        if not edits:
            raise KeyboardInterrupt
        for name, text in edits.pop(0).items():
            write(f"lib/{name}.lick", text.format(name))

    for number, name in enumerate("acb"):
        os.utime(f"lib/{name}.lick", (number, number))
    monkeypatch.setattr(time, "sleep", edit)
    code, out, err = run("make", "lib", "--to", "tab", "--watch")
    said = re.findall(r"(\w)\.lick:.*\(L705\)", err)
    assert said == ["a", "c", "b", "a", "b", "c", "c"], (
        "all at first, then what was edited, once, but nothing of what stays"
    )
    rounds = re.findall(r"sources: (.*?)(?:;|\n)", out)
    assert rounds == ["3 made", "1 unchanged, 2 failed", *["1 made, 2 failed"] * 3]
    assert code == 130


@pytest.mark.parametrize(
    ("speed", "words"), [(600.0, "600 licks a second"), (1.0, "1 licks a second"), (0.25, "15.0 licks a minute")]
)
def test_slow_work_has_a_speed_too(speed: float, words: str) -> None:
    from lickwright.cli.terminal import speed_words

    assert speed_words(speed) == words
