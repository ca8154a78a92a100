"""`lickwright box`, as a user calls it."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from commanding import Run

SAMPLES = Path(__file__).parents[1] / "samples"


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls `box`."""
    return run_from("box")


def test_all_five_side_by_side(run: Run) -> None:
    code, out, err = run("A minor pentatonic", "--width", "160")
    assert (code, err) == (0, "")
    heads = [line for line in out.splitlines() if "shape" in line]
    assert len(heads) == 1 and all(f"box {n} " in heads[0] for n in range(1, 6))
    assert max(map(len, run("A minor pentatonic")[1].splitlines())) <= 80


@pytest.mark.parametrize(
    ("arguments", "caption"),
    [
        (("A minor pentatonic", "1"), "box 1 (E shape), frets 5-8"),
        (("A minor", "1"), "box 1 (E shape), frets 5-8"),
        (("A blues", "1", "at", "12"), "box 1 (E shape), frets 17-20"),
        (("A minor", "E shape"), "E shape, frets 4-8"),
        (("A minor", "E", "shape"), "E shape, frets 4-8"),
        (("D dorian", "frets 5-8"), "frets 5-8"),
        (("E 1 b3 4 b5 5 b7", "open"), "open position, frets 0-3"),
        (("A major blues", "1", "--numbering", "tonic"), "box 1 (E shape), frets 4-7"),
        (("E minor pentatonic", "1", "--tuning", "bass"), "box 1 (E shape), frets 0-3"),
    ],
)
def test_one_box(run: Run, arguments: tuple[str, ...], caption: str) -> None:
    code, out, _ = run(*arguments)
    assert code == 0
    assert out.splitlines()[2] == caption


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "a scale is missing"),
        (("A foo",), "not a scale known here"),
        (("H blues",), "not a note name"),
        (("A",), "write A minor or A major for a scale, A chord for the chord"),
        (("A blues", "7"), "there is no box 7"),
        (("A", "blues", "1"), 'put the name in quotes: "A blues" 1'),
        (("A", "minor", "pentatonic"), 'put the name in quotes: "A minor pentatonic"'),
        (("A minor", "pentatonic", "3"), 'put the name in quotes: "A minor pentatonic" 3'),
        (("Am pentatonic", "1"), '"Am" names a chord; for the scale, write "A minor pentatonic"'),
        (("Em dorian",), 'write "E dorian"'),
        (("Cmaj scale",), 'write "C major scale"'),
        (("Am pentatonik", "1"), "minor pentatonic?"),
        (("F#m", "pentatonic", "2"), 'put the name in quotes: "F# minor pentatonic" 2'),
        (("A blues", "E shpe"), "E shape?"),
        (("A major", "1", "--show", "finger"), "did you mean fingers?"),
        (("A major", "--tuning", "drp D"), "drop D?"),
        (("A minor pentatonic", "1", "--tuning", "drop D"), "such as frets 5-8"),
        (("A blues", "--numbering", "other"), "is not one of relative, tonic"),
        (("--for", "x.lick", "--svg", "x.svg"), "leave out --svg"),
    ],
)
def test_wrong_usage_says_what_would_be_right(run: Run, arguments: tuple[str, ...], words: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert words in err and err.startswith("error: ")


# --- pictures --------------------------------------------------------------------------------------------------------


def test_svg_to_a_file_and_to_standard_output(run: Run) -> None:
    code, out, err = run("A blues", "1", "--svg", "box.svg")
    assert (code, out, err) == (0, "", "")
    drawn = Path("box.svg").read_text("utf-8")
    assert drawn.startswith(run("A blues", "1", "--svg", "-")[1])
    assert os.listdir() == ["box.svg"]


def test_a_picture_of_ours_is_drawn_anew_and_no_other_is_touched(run: Run) -> None:
    run("A blues", "1", "--svg", "box.svg")
    first = Path("box.svg").read_bytes()
    assert run("A blues", "2", "--svg", "box.svg")[0] == 0
    second = Path("box.svg").read_bytes()
    assert first != second
    Path("box.svg").write_bytes(second.replace(b"#ccc", b"red"))
    code, _, err = run("A blues", "1", "--svg", "box.svg")
    assert code == 3 and "L605" in err and b"red" in Path("box.svg").read_bytes()
    assert run("A blues", "1", "--svg", "box.svg", "--overwrite")[0] == 0
    assert Path("box.svg").read_bytes() == first


def test_links_and_folders_are_not_replaced(run: Run) -> None:
    Path("mine.svg").write_text("mine")
    os.symlink("mine.svg", "link.svg")
    os.mkdir("folder.svg")
    for name in ("mine.svg", "link.svg", "folder.svg"):
        assert run("A blues", "1", "--svg", name)[0] == 3
    assert Path("mine.svg").read_text() == "mine"
    assert run("A blues", "1", "--svg", "folder.svg", "--overwrite")[0] == 3
    assert sorted(os.listdir()) == ["folder.svg", "link.svg", "mine.svg"]


def test_a_folder_that_is_not_there_is_said(run: Run) -> None:
    code, _, err = run("A blues", "1", "--svg", "nowhere/box.svg")
    assert code == 3 and "L604" in err


# --- where a lick lives ----------------------------------------------------------------------------------------------


def test_where_the_licks_of_a_file_live(run: Run) -> None:
    code, out, err = run("--for", str(SAMPLES / "pentatonic" / "five-boxes.lick"))
    assert (code, err) == (0, "")
    assert out.count("  best  ") == 6 and out.count("  or    ") == 6
    assert re.search(r'"Attic"\n  best  G minor pentatonic, box 4 \(A shape\), frets 10-13 +holds all 16 notes\n', out)


def test_one_lick_by_its_title(run: Run) -> None:
    path = str(SAMPLES / "pentatonic" / "five-boxes.lick")
    assert run("--for", path, "back", "stairs")[1].startswith('"Back stairs"\n  best  C minor pentatonic, box 2')
    code, _, err = run("--for", path, "backstairs")
    assert code == 2 and '"Back stairs"' in err


def test_notes_left_out_are_counted_and_a_close_call_is_said(run: Run) -> None:
    Path("a.lick").write_text('lick "One slip"\n| A7 D5 D7 G5 G7 G6 D7 D5 | e8 D7~--- ... ||\n')
    code, out, _ = run("--for", "a.lick")
    assert code == 0
    assert (
        "best  A minor pentatonic, box 1 (E shape), frets 5-8   1 of 10 notes doesn't fit: 1 outside the scale\n" in out
    )
    assert "close call" in run("--for", str(SAMPLES / "jazz" / "two-five.lick"), "Umbrella stand")[1]


def test_files_that_cannot_be_read_or_counted(run: Run) -> None:
    assert run("--for", "nowhere.lick")[0] == 3
    Path("bad.lick").write_text('lick "Low road"\n| %% e5 ||\n\nlick "Fine"\n| A7 D5 D7 G5 G7 D7 D5 D7 ||\n')
    code, out, err = run("--for", "bad.lick")
    assert code == 1 and '"Low road" has errors' in err and '"Fine"\n  best  ' in out
    Path("mute.lick").write_text('lick "Chuck"\n| Gx Gx Gx Gx - - - - ||\n')
    assert run("--for", "mute.lick")[1] == '"Chuck" has no note with a pitch\n'


@pytest.mark.parametrize("words", ["eb locrian", "Eb locrian", "EB locrian", "eb  Locrian"])
def test_eb_locrian_is_eb_locrian(run: Run, words: str) -> None:
    code, out, err = run(words)
    assert (code, err) == (0, "") and out.startswith("Eb locrian\n")


def test_a_small_letter_names_the_tonic_too(run: Run) -> None:
    assert run("a minor pentatonic", "1") == run("A minor pentatonic", "1")
    assert run("bb blues", "1") == run("Bb blues", "1")
