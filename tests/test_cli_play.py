"""`lickwright play`: what goes to the sound device, and what is said when there is none. The device is a stand-in."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from lickwright.cli import main

LICKS = 'tempo 120\nlick "One"\n| G5 - G7 - G5 - - - ||\nlick "Two"\n| G5 - - - - - - - | G7 - - - - - - - ||\n'


class _PortAudioError(Exception):
    pass


def device(monkeypatch: pytest.MonkeyPatch, *, there: bool = True, fails: bool = False) -> list[tuple[Any, int]]:
    """Puts a stand-in in place; what is played through it."""
    played: list[tuple[Any, int]] = []

    def query(kind: str) -> None:
        if not there:
            raise _PortAudioError("Error querying device -1")

    class Stream:
        def __init__(self, rate: int, *, channels: int, dtype: str) -> None:
            if fails:
                raise _PortAudioError("unplugged")
            assert (channels, dtype) == (2, "float32")
            self.rate, self.pieces = rate, []

        def __enter__(self) -> Stream:
            return self

        def write(self, piece: np.ndarray) -> None:
            assert piece.flags.c_contiguous
            self.pieces.append(piece)

        def __exit__(self, *_: object) -> None:
            played.append((np.concatenate(self.pieces), self.rate))

    fake = SimpleNamespace(PortAudioError=_PortAudioError, query_devices=query, OutputStream=Stream)
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    return played


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "two.lick"
    path.write_text(LICKS, "utf-8")
    return str(path)


def test_every_lick_is_played_in_turn(
    file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    played = device(monkeypatch)
    assert main(["play", file]) == 0
    assert [(wave.shape[1], rate) for wave, rate in played] == [(2, 48_000)] * 2
    assert [wave.shape[0] / rate for wave, rate in played] == pytest.approx([3.0, 5.0], abs=0.01)
    assert all(0.05 < np.abs(wave).max() <= 1 for wave, _ in played)
    assert "playing One, 3 seconds; Ctrl-C stops" in capsys.readouterr().err


def test_one_lick_as_it_is_asked_for(file: str, monkeypatch: pytest.MonkeyPatch) -> None:
    played = device(monkeypatch)
    arguments = ["--tempo", "60", "--count-in", "1", "--click", "--repeat", "2"]
    assert main(["play", file, "two", *arguments]) == 0
    ((wave, rate),) = played
    assert wave.shape[0] / rate == pytest.approx(4 + 2 * 8 + 1, abs=0.01)


def test_a_part_is_played_and_the_answer_waited_for(
    file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    played = device(monkeypatch)
    assert main(["play", file, "two", "--bars", "2", "--answer"]) == 0
    ((wave, rate),) = played
    assert wave.shape[0] / rate == pytest.approx(2 + 2 + 1, abs=0.01)
    assert main(["play", file, "two", "--bars", "2-3"]) == 1
    assert "there is no bar 3: the lick has bars 1 to 2" in capsys.readouterr().err
    assert len(played) == 1


def test_a_lick_with_errors_is_not_played(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    played = device(monkeypatch)
    path = tmp_path / "bad.lick"
    path.write_text(LICKS.replace("G5 - G7", "G5 - - G7"), "utf-8")
    assert main(["play", str(path)]) == 1
    assert len(played) == 1
    assert "bar 1 holds 9 eighths" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("state", "code", "words"),
    [({"there": False}, 2, "there is no sound device"), ({"fails": True}, 3, "the sound device gave up: unplugged")],
)
def test_a_device_that_does_not_play(
    file: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    state: dict[str, bool],
    code: int,
    words: str,
) -> None:
    device(monkeypatch, **state)
    assert main(["play", file, "One"]) == code
    assert words in capsys.readouterr().err


def test_a_long_one_is_announced_and_a_full_disk_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    device(monkeypatch)
    monkeypatch.setattr("lickwright.export.audio.render_samples", full)
    path = tmp_path / "long.lick"
    path.write_text('tempo 10\nlick "Long"\n|: G5 - - - - - - - :|x75\n', "utf-8")
    assert main(["play", str(path)]) == 3
    said = capsys.readouterr().err
    assert said.startswith("Long: 30 minutes, about 690 MB to put aside; it is played when all of it is ready\n")
    assert "error: no space left on device in the folder for temporary files" in said
    assert "Traceback" not in said


def test_without_the_extra_it_says_what_to_install(
    file: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    assert main(["play", file]) == 2
    assert "pip install numpy soundfile sounddevice" in capsys.readouterr().err
