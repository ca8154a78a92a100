"""Help for tests of the command line: files to work on, and the type of the fixture `run` (`conftest.py`)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

Run = Callable[..., tuple[int, str, str]]  # arguments to exit code, standard output, standard error


def write(name: str, text: str) -> str:
    """Puts a file into the folder that the test is in; its name."""
    Path(name).parent.mkdir(parents=True, exist_ok=True)
    Path(name).write_text(text, "utf-8")
    return name
