"""`lickwright move` from the shell."""

from __future__ import annotations

from pathlib import Path

import pytest

from lickwright.cli import main
from lickwright.compiler import compile_text

LICK = '# mine\nkey A minor\nbox 1\n\nlick "Porch light"\n| e8 e5 B8^10 -r p5 G7~-- |  # end\n'


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "porch.lick"
    file.write_text(LICK)
    return file


def test_to_the_screen(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["move", str(path), "--key", "C minor"]) == 0
    text = capsys.readouterr().out
    assert "# mine" in text
    assert "key C minor" in text
    assert "| e11 e8 B11^13 -r p8 G10~-- |  # end" in text
    assert compile_text(text).ok
    assert path.read_text() == LICK


def test_a_family_into_a_file(path: Path, tmp_path: Path) -> None:
    out = tmp_path / "family.lick"
    assert main(["move", str(path), "--all-keys", "--all-boxes", "--out", str(out)]) == 0
    compiled = compile_text(out.read_text())
    assert compiled.ok
    assert len(compiled.licks) == 60
    assert len({lick.title for lick in compiled.licks}) == 60
    assert compiled.licks[1].title == "Porch light, C minor, box 2"


def test_a_family_into_a_folder(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = f"{tmp_path / 'family'}/"
    assert main(["move", str(path), "--all-boxes", "--out", folder]) == 0
    assert capsys.readouterr().err.endswith(f"5 licks in {folder}\n")
    files = sorted(Path(folder).glob("*.lick"))
    assert [file.name for file in files] == [f"porch-light-box-{n}.lick" for n in range(1, 6)]
    assert all(compile_text(file.read_text()).ok for file in files)
    files[0].write_text("mine now\n")
    assert main(["move", str(path), "--all-boxes", "--out", folder]) == 3
    assert files[0].read_text() == "mine now\n"
    assert "L605" in capsys.readouterr().err


def test_what_was_not_kept_is_said_beside_the_lick(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["move", str(path), "--box", "2"]) == 0
    out, err = capsys.readouterr()
    assert err == '"Porch light": the pull-off in bar 1 is picked: its notes lie on two strings here\n'
    assert "box 2" in out


def test_families_of_scales_without_numbers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "seven.lick"
    file.write_text('key D dorian\nbox E shape\n\nlick "Seven"\n| E10 E12 E13 A10 A12 --- |\n')
    assert main(["move", str(file), "--all-boxes"]) == 0
    titles = [lick.title for lick in compile_text(capsys.readouterr().out).licks]
    assert titles == [f"Seven, {letter} shape" for letter in "EDCAG"]


def test_a_file_that_is_there_stays(path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "other.lick"
    other.write_text("mine\n")
    words = ["move", str(path), "--octave", "up", "--out"]
    assert main([*words, str(other)]) == 3
    assert other.read_text() == "mine\n"
    assert "--overwrite" in capsys.readouterr().err
    assert main([*words, str(other), "--overwrite"]) == 0
    assert "e20 e17" in other.read_text()
    assert main([*words, str(other)]) == 0  # the very licks stand there
    assert main([*words, str(path), "--overwrite"]) == 3  # the file that is moved from: its other licks would be lost
    assert path.read_text() == LICK


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        ([], 2, "where to?"),
        (["--key", "C minor", "--all-keys"], 2, "one key or all of them"),
        (["No such", "--key", "C minor"], 2, 'no lick called "No such"'),
        (["--key", "C major"], 1, "a move keeps the mode"),
        (["--box", "7", "--all-keys"], 1, "boxes are numbered 1 to 5"),
        (["--box", "7"], 1, "boxes are numbered 1 to 5"),
    ],
)
def test_what_is_wrong_is_said(
    path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], code: int, words: str
) -> None:
    assert main(["move", str(path), *arguments]) == code
    assert words in capsys.readouterr().err


def test_a_file_that_is_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["move", "nowhere.lick", "--box", "2"]) == 3
