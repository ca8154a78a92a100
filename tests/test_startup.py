"""Starting up is the price of every command: what `check` must not load."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "numpy",
    "scipy",
    "mido",
    "pretty_midi",
    "rich",
    "soundfile",
    "importlib.metadata",
    "asyncio",
    "csv",
    "subprocess",
    "multiprocessing",
    "sqlite3",
    "lickwright.build.engine",
    "lickwright.performance.note_events",
    "lickwright.layout.columns",
)


def _loaded(code: str) -> set[str]:
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(ran.stderr.split())


def test_check_loads_nothing_heavy(tmp_path: Path) -> None:
    path = tmp_path / "a.lick"
    path.write_text('lick "Porch light"\nkey A minor\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- ||\n')
    loaded = _loaded(
        "import sys; from lickwright.cli import main; "
        f"assert main(['check', {str(path)!r}]) == 0; print(*sys.modules, file=sys.stderr)"
    )
    assert "lickwright.compiler" in loaded
    assert not loaded.intersection(HEAVY)


@pytest.mark.parametrize("arguments", [["--version"], ["--help"]])
def test_help_and_version_load_no_compiler(arguments: list[str]) -> None:
    loaded = _loaded(
        "import sys; from lickwright.cli import main; "
        f"assert main({arguments!r}) == 0; print(*sys.modules, file=sys.stderr)"
    )
    assert "lickwright.cli" in loaded
    assert not loaded.intersection({"lark", "lickwright.compiler", *HEAVY})


def test_import_lickwright_costs_nothing() -> None:
    loaded = _loaded("import sys, lickwright; print(*sys.modules, file=sys.stderr)")
    assert "lickwright.core.version" in loaded
    assert not loaded.intersection({"lark", "click", "lickwright.compiler", *HEAVY})


def test_making_one_file_starts_no_workers_and_nothing_to_do_loads_no_compiler(tmp_path: Path) -> None:
    path = tmp_path / "a.lick"
    path.write_text('lick "Porch light"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n')
    code = (
        "import sys; from lickwright.cli import main; "
        f"assert main(['make', {str(path)!r}, '--out', {str(tmp_path)!r}]) == 0; print(*sys.modules, file=sys.stderr)"
    )
    loaded = _loaded(code)
    assert "lickwright.compiler" in loaded
    assert not loaded.intersection({"multiprocessing", "numpy", "subprocess", "lickwright.store.index_schema"})
    assert not _loaded(code).intersection({"lark", "lickwright.compiler", "lickwright.build.task"})
