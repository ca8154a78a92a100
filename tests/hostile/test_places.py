"""Something else in the place of what is ours in an output folder: nothing outside is touched, nothing hangs, nothing breaks down."""

from __future__ import annotations

from pathlib import Path

import pytest
from folders import COMMANDS, KINDS, PLACES, home, run, seen, stand

WRITTEN = ("out", "whole")
NAMED = ("move below", "n0001", "link to a folder")  # the command names this very folder, and so where it leads

SAMPLE = [(place, kind) for i, place in enumerate(PLACES) for j, kind in enumerate(KINDS) if (i + 2 * j) % 9 == 0]


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return home(tmp_path / "home")


def _tried(here: Path, place: str, kind: str, commands: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Each command after the other."""
    try:
        stand(here, place, kind)
    except OSError as e:
        pytest.skip(f"a {kind} cannot be made here: {e}")
    before = seen(here, *WRITTEN)
    for command in commands:
        code = run(command)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err
        assert code in (0, 1, 2, 3), (command, err)
        assert seen(here, *WRITTEN) == before, (command, err)


@pytest.mark.parametrize(("place", "kind"), SAMPLE)
def test_nothing_outside_is_touched(here: Path, place: str, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    _tried(here, place, kind, ["find", "prune", "move"], capsys)


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("place", PLACES)
def test_nothing_outside_is_touched_by_any_command(
    here: Path, place: str, kind: str, command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    if (command, place, kind) != NAMED:
        _tried(here, place, kind, [command, command], capsys)


def test_a_link_that_the_user_names_is_followed_and_no_file_there_is_touched(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command, place, kind = NAMED
    stand(here, place, kind)
    ours = (str(here / "docs"), str(here / "docs/.lw-0123456789abcdef.tmp"))  # a temporary file of ours goes
    before = {path: what for path, what in seen(here, *WRITTEN).items() if path not in ours}
    for _ in range(2):
        assert run(command) == 0
        assert before.items() <= seen(here, *WRITTEN).items()
    assert list((here / "docs").glob("*.lick"))
