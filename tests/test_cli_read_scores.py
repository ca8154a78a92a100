"""`lickwright read` with scores and MIDI files, from the shell."""

from __future__ import annotations

from io import BytesIO, TextIOWrapper
from json import loads
from pathlib import Path

import pytest

from commanding import Run
from lickwright.compiler import compile_text
from lickwright.export import Options

LICK = 'key A minor\nbox 1\ntempo 96\nlick "Porch light"\n| A5 A7 D5 D7 G5h7 B8^10 -r | e5 B8 B5 G7 G5~--- ||\n'

pytestmark = pytest.mark.usefixtures("tmp_path")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (lick,) = compile_text(LICK).licks
    Path("porch.mid").write_bytes(lick.emit("midi").data)
    Path("porch.musicxml").write_bytes(lick.emit("musicxml").data)
    Path("porch.mxl").write_bytes(lick.emit("musicxml", Options(compressed=True)).data)


@pytest.mark.parametrize("name", ["porch.mid", "porch.musicxml", "porch.mxl"])
def test_a_lick_beside_the_file(run: Run, name: str) -> None:
    code, out, err = run("read", name)
    assert (code, out) == (0, "")
    assert "1 lick, 12 notes in porch.lick" in err
    (lick,) = compile_text(Path("porch.lick").read_text("utf-8")).licks
    assert lick.ok
    assert lick.title == "Porch light"
    assert "A5 A7 D5 D7 G5h7 B8^10 -r" in Path("porch.lick").read_text("utf-8")


def test_the_contents_say_which_format_it_is(run: Run) -> None:
    Path("porch.mid").rename("porch.txt")
    code, out, _ = run("read", "porch.txt", "--format", "json", "--out", "porch.lick")
    assert code == 0
    assert loads(out)["files"][0]["format"] == "MIDI"


def test_a_track_that_is_not_there(run: Run) -> None:
    code, _, err = run("read", "porch.mid", "--track", "9")
    assert code != 0
    assert "no track `9`" in err
    assert not Path("porch.lick").exists()


def test_damaged_files(run: Run) -> None:
    Path("cut.mid").write_bytes(Path("porch.mid").read_bytes()[:-20])
    Path("cut.mxl").write_bytes(Path("porch.mxl").read_bytes()[:-20])
    Path("cut.xml").write_bytes(Path("porch.musicxml").read_bytes()[:-20])
    for name in ("cut.mid", "cut.mxl", "cut.xml"):
        code, out, err = run("read", name)
        assert code != 0
        assert not out
        assert "cannot be read" in err or "is not XML" in err
        assert not Path("cut.lick").exists()


def test_from_standard_input_to_standard_output(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(Path("porch.mid").read_bytes())))
    code, out, _ = run("read", "-")
    assert code == 0
    assert compile_text(out).licks[0].ok


def test_standard_input_among_several_files_may_be_as_long_as_alone(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    track = bytes.fromhex("00904050 83608040 0000ff2f 00")
    filler = b"XXXX" + (1 << 20).to_bytes(4, "big") + bytes(1 << 20)  # of a kind that readers of MIDI files leave out
    head = bytes.fromhex("4d546864 00000006 0000 0001 01e0")
    data = head + filler + b"MTrk" + len(track).to_bytes(4, "big") + track
    Path("other.mid").write_bytes(head + b"MTrk" + len(track).to_bytes(4, "big") + track)
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(data)))
    code, out, err = run("read", "-", "other.mid", "--out", "licks")
    assert (code, out.splitlines()[0]) == (0, "2 licks in licks"), err
