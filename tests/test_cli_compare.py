"""`lickwright compare`, as a user calls it."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from commanding import Run, write

TEACHER = 'key A minor\nlick "Porch light"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'
OTHER = '\nlick "Low road"\n| A5 A7 A5 A7 A5 A7 A5 A7 ||\n'


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls `compare` in a folder with the teacher's file."""
    call = run_from("compare")
    write("theirs.lick", TEACHER)
    return call


def _mine(text: str, name: str = "mine.lick") -> str:
    Path(name).write_text(text, "utf-8")
    return name


def test_alike(run: Run) -> None:
    code, out, err = run(_mine(TEACHER), "theirs.lick")
    assert (code, err) == (0, "")
    assert out.startswith('"Porch light": just like the teacher\'s\nscore 100 of 100: all 8 notes are just right\n')
    assert "how the score is counted" not in out
    assert "yours:" not in out


def test_different(run: Run) -> None:
    code, out, err = run("--width", "100", _mine(TEACHER.replace("B5", "B6")), "theirs.lick")
    assert (code, err) == (1, "")
    lines = out.splitlines()
    assert lines[:2] == [
        '"Porch light": very close',
        "score 90 of 100: 7 of 8 notes are just right; one place to look at",
    ]
    assert " 1  bar 1, beat 2 &  fret 6 on the B string: the teacher plays fret 5, one fret lower" in lines
    assert lines.index("the teacher's:") < lines.index("yours:")
    assert lines[-2:] == [
        "  for starting on time, 1 for length, 2 for how it is played; a wrong note keeps the points for its",
        "  start, an extra note costs 5",
    ]


@pytest.mark.parametrize(
    ("music", "counted"),
    [
        ("| . e8 e5 B8 B5 G7 G5 D7 | D5 ..", "all 8 notes are right but for their time; one place to look at"),
        ("| . e8 e5 B8 B5 G7 G5 D7 | D3 ..", "7 of 8 notes are right but for their time; 2 places to look at"),
        (
            "| e8 e5 B8 B5 G7 . G5 D7 | D5 ..",
            "5 of 8 notes are just right, 3 more but for their time; one place to look at",
        ),
    ],
)
def test_notes_that_are_only_late_are_counted_as_right_but_for_that(run: Run, music: str, counted: str) -> None:
    code, out, _ = run(
        "--width", "100", _mine(f'key A minor\nlick "Porch light"\n{music} . . . . . ||\n'), "theirs.lick"
    )
    assert code == 1
    assert out.splitlines()[1].partition(": ")[2] == counted


def test_hardly_anything_right(run: Run) -> None:
    code, out, _ = run(
        "--width", "100", _mine('key A minor\nlick "Porch light"\n| A3 A2 E4 A5 E2 E3 E1 E0 ||\n'), "theirs.lick"
    )
    assert code == 1
    assert out.splitlines()[:2] == [
        '"Porch light": start with bar 1, slowly: 8 notes to find',
        "0 of 8 notes are just right; 8 places to look at; score 20 of 100",
    ]


def test_json(run: Run) -> None:
    code, out, _ = run("--format", "json", _mine(TEACHER.replace("B5", "B6")), "theirs.lick")
    (lick,) = json.loads(out)["licks"]
    assert code == 1
    assert lick["title"] == "Porch light"
    assert [d["kind"] for d in lick["differences"]] == ["fret"]


def test_only_licks_match_whatever_they_are_called(run: Run) -> None:
    assert run(_mine(TEACHER.replace("Porch", "My porch")), "theirs.lick")[0] == 0


def test_licks_match_by_title(run: Run) -> None:
    Path("theirs.lick").write_text(TEACHER + OTHER, "utf-8")
    mine = _mine(OTHER.replace("A7 A5 A7 ||", "A7 A5 A8 ||") + TEACHER.split("\n", 1)[1])
    code, out, _ = run(mine, "theirs.lick")
    assert code == 1
    assert [line for line in out.splitlines() if line.startswith('"')] == [
        '"Porch light": just like the teacher\'s', '"Low road": very close',
    ]  # fmt: skip
    assert out.count("how the score is counted") == 1
    assert run(mine, "theirs.lick", "porch  LIGHT")[0] == 0
    assert run(mine, "theirs.lick", "Low road")[0] == 1


def test_standard_input(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(TEACHER.encode())))
    assert run("-", "theirs.lick")[0] == 0
    code, _, err = run("-", "-")
    assert code == 2
    assert "only one of the two can be standard input" in err


def test_nothing_to_match(run: Run) -> None:
    mine = _mine(TEACHER.replace("Porch", "My porch") + OTHER)
    code, out, err = run(mine, "theirs.lick")
    assert (code, out) == (2, "")
    assert 'no lick has the same title in both: yours are "My porch light", "Low road"' in err
    code, _, err = run(mine, "theirs.lick", "Attic")
    assert code == 2
    assert 'there is no lick called "Attic"' in err


def test_a_file_that_is_not_there(run: Run) -> None:
    code, out, err = run("nowhere.lick", "theirs.lick")
    assert (code, out) == (3, "")
    assert "no such file" in err.lower()
    assert run("theirs.lick")[0] == 2


def test_what_cannot_be_read_is_not_compared(run: Run) -> None:
    code, out, err = run(_mine(TEACHER.replace("B5", "Q5")), "theirs.lick")
    assert (code, out) == (1, "")
    assert "error" in err


def test_a_bar_that_does_not_add_up_is_said_and_compared(run: Run) -> None:
    code, out, err = run(_mine(TEACHER.replace(" ||", " | D5 - - - - - - | D5 - - - - - - - ||")), "theirs.lick")
    assert code == 1
    assert "bar 2 holds 7 eighths" in err
    assert "score" in out


def test_all_lists_everything(run: Run) -> None:
    music = "| " + " | ".join(["e8 e5 B8 B5 G7 G5 D7 D5"] * 4) + " ||\n"
    theirs, mine = (
        'lick "Gate"\n' + music,
        'lick "Gate"\n' + music.replace("e8", "e7").replace("B8", "B9").replace("D7", "D6").replace("G5", "A3"),
    )
    Path("theirs.lick").write_text(theirs, "utf-8")
    code, short, _ = run(_mine(mine), "theirs.lick")
    _, full, _ = run("--all", _mine(mine), "theirs.lick")
    assert code == 1
    assert "more after that: --all lists them" in short
    assert "further on" not in full
    assert len(full.splitlines()) > len(short.splitlines())
