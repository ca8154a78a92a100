"""The README says what really comes back. `python tests/test_readme.py` puts the real output into it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from lickwright.compiler import compile_text
from lickwright.core.diagnostics import has_errors
from lickwright.report.console import format_findings, tally_findings
from plucked import judged, pluck, take_of, timeline_of
from shelved import SAMPLE_LICKS

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
WRONG = {" B8^10": " b8^10", "- . ||": "- . . ||"}


def blocks(text: str) -> list[str]:
    return re.findall(r"```[a-z]+\n(.*?)```", text, re.DOTALL)


def shown(lick: str) -> str:
    (one,) = compile_text(lick).licks
    return one.tab()


def checked(lick: str) -> str:
    for right, wrong in WRONG.items():
        assert right in lick
        lick = lick.replace(right, wrong)
    compiled = compile_text(lick, "porch.lick")
    return (
        format_findings(compiled.source, compiled.diagnostics)
        + f"1 file, 1 lick: {tally_findings(compiled.diagnostics)}\n"
    )


def heard(lick: str) -> str:
    """The report on a take of the lick whose second note is a whole step too high, the vibrato of bar 1 left out: no number that the ear measures."""
    from lickwright.listen.report import judgement_text

    timeline = timeline_of(lick)
    tones = take_of(timeline)[0]
    tones[1] = tones[1]._replace(pitch=lambda t, pitch=tones[1].pitch: pitch(t) + 2)
    tones[4] = tones[4]._replace(pitch=lambda t, pitch=tones[4].pitch: np.full(len(t), np.median(pitch(t))))
    return "".join(f"{line}\n" for line in judgement_text(judged(timeline, pluck(tones)), 100, False))


def test_the_example_is_real() -> None:
    lick, tab, check, *_ = blocks(README.read_text("utf-8"))
    assert not compile_text(lick).diagnostics
    assert tab == shown(lick)
    assert check == checked(lick)


def test_the_report_on_a_recording_is_real() -> None:
    text = README.read_text("utf-8")
    (said,) = [block for block in blocks(text) if "to practice:" in block]
    assert said == heard(blocks(text)[0])


def test_what_the_short_course_shows_can_be_read() -> None:
    course = README.read_text("utf-8").split("## The notation in five minutes")[1].split("##")[0]
    pieces = [
        piece
        for piece in re.findall(r"`([^`]+)`", course)
        if re.match(r"[|EADGBe(3-]", piece) and re.search(r"\d|…", piece)
    ]
    assert len(pieces) > 10
    for piece in pieces:
        music = (
            piece
            if piece.startswith("|")
            else f"| {'B8 ' if piece.startswith('-') else ''}{piece.replace('…', 'e0')} |"
        )
        found = [d for d in compile_text(f'lick "x"\n{music}\n').diagnostics if d.code not in ("L301", "L118")]
        assert not has_errors(found), (piece, [d.message for d in found])


def test_the_python_examples_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each is run in a folder with the first page's lick, and with that lick in a folder of licks."""
    text = README.read_text("utf-8")
    (tmp_path / "licks").mkdir()
    for name in ("porch.lick", "licks/porch.lick"):
        (tmp_path / name).write_text(blocks(text)[0], "utf-8")
    monkeypatch.chdir(tmp_path)
    examples = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    assert len(examples) == 2
    for example in examples:
        exec(compile(example, "README.md", "exec"), {})
    assert capsys.readouterr().out.startswith("Porch light A minor 1 ")
    (one,) = json.loads((tmp_path / "index.json").read_text("utf-8"))
    assert (one["title"], one["by"], one["key"], len(one["notes"])) == ("Porch light", "Mara Quill", "A minor", 14)


def test_ci_runs_the_readme_s_test_command() -> None:
    ci = (ROOT / ".ci/run").read_text("utf-8")
    assert "pip install" in ci
    assert "'.[dev]'" in ci
    assert re.search(r"^pytest$", ci, re.MULTILINE)


def test_the_samples_are_as_many_as_it_says() -> None:
    assert f" {SAMPLE_LICKS} licks to read, play and change: `samples/`." in README.read_text("utf-8")


if __name__ == "__main__":
    text = README.read_text("utf-8")
    lick, tab, check, *_ = blocks(text)
    (said,) = [block for block in blocks(text) if "to practice:" in block]
    text = text.replace(tab, shown(lick)).replace(check, checked(lick)).replace(said, heard(lick))
    README.write_text(text, "utf-8")
