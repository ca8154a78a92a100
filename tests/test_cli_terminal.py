"""The program as a process of its own: pipes, encodings, colours, terminals, full disks."""

from __future__ import annotations

import io
import os
import pty
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Container, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from building import PATIENCE
from commanding import Run
from lickwright.cli import terminal

BAD = 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 || # ♯\n'
GOOD = 'lick "Größe ♯ ♭"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'
COMMAND = [sys.executable, "-m", "lickwright"]
WRITING = ["check a.lick", "make a.lick", "show a.lick", "why", "--help", "--version"]  # the first without click


@pytest.fixture
def lick(tmp_path: Path) -> Path:
    (tmp_path / "a.lick").write_text(GOOD, "utf-8")
    (tmp_path / "b.lick").write_text(BAD, "utf-8")
    return tmp_path


def _environment(more: Mapping[str, str] = {}) -> dict[str, str]:  # noqa: B006 (never changed)
    kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "PYTHONUTF8")}
    return {**kept, "TERM": "xterm", **more}


def _run(here: Path, *arguments: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    ran = subprocess.run([*COMMAND, *arguments], cwd=here, env=_environment(environment), capture_output=True)
    assert b"Traceback" not in ran.stderr + ran.stdout
    return ran


def _shell(here: Path, line: str) -> subprocess.CompletedProcess[bytes]:
    command = line.replace("LW", shlex.join(COMMAND))
    ran = subprocess.run(["bash", "-c", command], cwd=here, env=_environment(), capture_output=True)
    assert b"Traceback" not in ran.stderr + ran.stdout
    assert b"Exception ignored" not in ran.stderr
    return ran


def _on_a_terminal(here: Path, *arguments: str, **environment: str) -> bytes:
    """What a terminal receives."""
    leader, follower = pty.openpty()
    try:
        ran = subprocess.Popen([*COMMAND, *arguments], cwd=here, env=_environment(environment), stdout=follower)
        os.close(follower)
        seen = b""
        while True:
            try:
                part = os.read(leader, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            seen += part
        ran.wait(PATIENCE)
    finally:
        os.close(leader)
    return seen


@pytest.mark.parametrize(
    ("environment", "coloured"),
    [({}, True), ({"NO_COLOR": "1"}, False), ({"TERM": "dumb"}, False), ({"NO_COLOR": "1", "FORCE_COLOR": "1"}, False)],
)
def test_colour_on_a_terminal(lick: Path, environment: dict[str, str], coloured: bool) -> None:
    seen = _on_a_terminal(lick, "check", "b.lick", **environment)
    assert b"error" in seen
    assert (b"\x1b[31m" in seen) == coloured


def test_no_colour_in_a_pipe_unless_forced(lick: Path) -> None:
    assert b"\x1b" not in _run(lick, "check", "b.lick").stdout
    assert b"\x1b[31m" in _run(lick, "check", "b.lick", FORCE_COLOR="1").stdout


SHOWING = ["show a.lick", "check b.lick", "why", "--help"]


def _pairs(values: Sequence[str], daily: Container[tuple[str, str]]) -> list[Any]:
    """Every value with every command that shows something: some every day, all in slow tests."""
    pairs = [(value, command) for value in values for command in SHOWING]
    return [pytest.param(*pair, marks=() if pair in daily else pytest.mark.slow) for pair in pairs]


@pytest.mark.parametrize(
    ("columns", "command"),
    _pairs(
        ["1", "1000000", "wide", "0", "20", "-5"],
        [
            ("1", "show a.lick"),
            ("1", "check b.lick"),
            ("1", "why"),
            ("1000000", "check b.lick"),
            ("wide", "show a.lick"),
        ],
    ),
)
def test_any_width_of_terminal(lick: Path, columns: str, command: str) -> None:
    assert _on_a_terminal(lick, *command.split(), COLUMNS=columns)


@pytest.mark.parametrize(
    ("encoding", "command"),
    _pairs(
        ["ascii", "cp437", "utf-16", "latin-1", "utf-8"],
        [*(("ascii", command) for command in SHOWING), ("cp437", "show a.lick"), ("utf-16", "check b.lick")],
    ),
)
def test_a_screen_that_knows_few_characters_still_gets_everything(lick: Path, encoding: str, command: str) -> None:
    ran = _run(lick, *command.split(), PYTHONIOENCODING=encoding)
    assert ran.returncode == (command == "check b.lick")
    shown = ran.stdout.decode(encoding)
    assert shown
    if command == "show a.lick":
        assert "# " in shown or "♯" in shown


@pytest.mark.parametrize(
    "environment", [{"LC_ALL": "C"}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}]
)
def test_files_are_utf8_whatever_the_locale(lick: Path, environment: dict[str, str]) -> None:
    ran = _run(lick, "make", "a.lick", "--to", "tab", **environment)
    assert ran.returncode == 0, ran.stderr
    assert "Größe" in (lick / "out/a/grosse-flat.tab.txt").read_text("utf-8")


def test_a_reader_that_leaves_is_no_fault(lick: Path) -> None:
    (lick / "c.lick").write_text(BAD * 300)
    for line in ("LW check c.lick | head -1; echo ${PIPESTATUS[0]}", "LW why | true; echo ${PIPESTATUS[0]}"):
        ran = _shell(lick, line)
        assert ran.stdout.split()[-1] in (b"141", b"0", b"1")  # the last two where all was written before
        assert ran.stderr == b""


@pytest.mark.parametrize(
    ("command", "target"),
    [
        *((command, ">/dev/full") for command in WRITING),
        *((command, ">&-") for command in WRITING[:2]),
        *(pytest.param(command, ">&-", marks=pytest.mark.slow) for command in WRITING[2:]),
    ],
)
def test_output_that_is_lost_is_never_called_fine(lick: Path, command: str, target: str) -> None:
    ran = _shell(lick, f"LW {command} {target}")
    assert ran.returncode == 3
    assert ran.stderr.startswith(b"error: standard output cannot be written: ")
    assert ran.stderr.count(b"\n") == 1


def test_closed_streams_are_no_crash(lick: Path) -> None:
    assert _shell(lick, "LW check a.lick 2>&-").returncode == 0
    assert _shell(lick, "LW check absent.lick >&- 2>&-").returncode == 3
    assert _shell(lick, "LW check - <&-").returncode == 3
    assert _shell(lick, "LW make b.lick 2>/dev/full").returncode == 1


def test_nothing_written_by_a_user_steers_the_terminal(run_from: Callable[..., Run], tmp_path: Path) -> None:
    run, evil = run_from(), "\x1b]0;owned\x07\x9b2J\u202e\x00"
    (tmp_path / "evil.lick").write_text(f'{evil} x\nby {evil}\nlick "{evil}"\n| {evil} e5 @"{evil}" ||\n', "utf-8")
    for arguments in (["check", "evil.lick"], ["show", "evil.lick"], ["make", "evil.lick"], ["check", evil[:-1]]):
        code, *streams = run(*arguments)
        assert code and any(streams)
        for stream in streams:
            assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", stream)


def test_the_installed_command_is_there() -> None:
    command = Path(sys.executable).with_name("lickwright")
    assert subprocess.run([command, "--version"], capture_output=True, check=True).stdout.startswith(b"lickwright ")


def test_progress_is_shown_on_a_terminal_only_and_taken_away(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    for stream, drawn in ((Terminal(), True), (io.StringIO(), False)):
        monkeypatch.setattr(sys, "stderr", stream)
        progress = terminal.Progress()
        monkeypatch.setattr(terminal, "progress", progress)
        progress.show(1, 340)
        assert stream.getvalue() == ""  # short work needs none
        monkeypatch.setattr(time, "monotonic", lambda: float("inf"))
        progress.show(12, 340)
        monkeypatch.undo()
        assert ("12 of 340 files" in stream.getvalue()) == drawn
        monkeypatch.setattr(sys, "stderr", stream)
        progress.clear()
        assert stream.getvalue().endswith("\r") == drawn
        monkeypatch.undo()
