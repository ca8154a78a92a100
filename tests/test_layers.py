"""The floors of the house: a module imports only from floors below its own, or from its own folder."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "compiler" / "lickwright"

# From the ground up. Those on one line do not import each other.
FLOORS: tuple[tuple[str, ...], ...] = (
    ("source", "version", "names", "records", "interrupts"),
    ("diagnostics",),
    ("fixes", "style"),
    ("report", "files"),
    ("scan", "destination"),
    ("github", "sarif"),
    ("music",),
    ("notation",),
    ("settings", "hand"),
    ("settling",),
    ("bending",),
    ("timeline",),
    ("bar_count",),
    ("counting", "tonality", "harmony"),
    ("resolve", "locate", "diagram"),
    ("swing",),
    ("clock", "curves", "grid"),
    ("fingering_costs",),
    ("fingering",),
    ("checks", "meant"),
    ("difficulty_facts", "difficulty_rhythm"),
    ("difficulty",),
    ("moves",),
    ("marks",),
    ("layout_holds",),
    ("layout_rows",),
    ("layout", "layout_tones", "performance"),
    ("synth", "excerpt"),
    ("backends",),
    ("compare",),
    ("compilation",),
    ("pipeline",),
    ("mending",),
    ("library",),
    ("cli",),
    ("__init__", "__main__"),
)
FLOOR = {name: floor for floor, names in enumerate(FLOORS) for name in names}

# Who may touch the outside world, and who may load what is slow.
OUTSIDE = {"subprocess", "socket", "shutil", "tempfile", "time", "datetime", "random", "asyncio"}
ONLY_IN: dict[str, set[str]] = {
    "multiprocessing": {"library"},
    "sqlite3": {"library"},
    "lark": {"notation"},
    "click": {"cli"},
    "pretty_midi": {"compilation"},
    "mido": set(),
    "numpy": {"synth", "backends"},
    "soundfile": {"backends"},
    "sounddevice": {"cli"},
}


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _unit(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def _nodes(path: Path) -> list[ast.AST]:
    return list(ast.walk(ast.parse(path.read_text("utf-8"))))


def _imports(path: Path) -> Iterator[tuple[str, ast.stmt]]:
    for node in _nodes(path):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: write the whole name"
            assert node.module is not None
            if node.module == "lickwright":
                yield from ((f"lickwright.{alias.name}", node) for alias in node.names)
            else:
                yield node.module, node


def test_there_is_a_house() -> None:
    assert len(_modules()) > 20


def test_imports_only_go_down() -> None:
    wrong = []
    for path in _modules():
        unit = _unit(path)
        assert unit in FLOOR, f"give {unit} a floor in FLOORS"
        for name, node in _imports(path):
            if not name.startswith("lickwright."):
                continue
            other = name.split(".")[1]
            if other not in ("__version__", unit) and FLOOR[other] >= FLOOR[unit]:
                wrong.append(f"{path}:{node.lineno}: {unit} must not import {other}")
    assert not wrong, "\n".join(wrong)


def test_the_outside_world_is_met_in_one_place() -> None:
    wrong = []
    for path in _modules():
        unit = _unit(path)
        for name, node in _imports(path):
            top = name.split(".")[0]
            if unit not in ("cli", "library") and top in OUTSIDE:
                wrong.append(f"{path}:{node.lineno}: {unit} may not import {top}")
            if top in ONLY_IN and unit not in ONLY_IN[top]:
                wrong.append(f"{path}:{node.lineno}: {top} belongs to {ONLY_IN[top]}")
    assert not wrong, "\n".join(wrong)


def test_nothing_runs_what_it_reads() -> None:
    """No pickle, no eval, no shell: what a user wrote is never code."""
    wrong = []
    for path in _modules():
        wrong += [
            f"{path}:{node.lineno}: {name}"
            for name, node in _imports(path)
            if name.split(".")[0] in ("pickle", "marshal", "shelve")
        ]
        wrong += [
            f"{path}:{node.lineno}: {node.func.id}"
            for node in _nodes(path)
            if isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id in ("eval", "exec", "compile", "__import__")
        ]
    assert not wrong, "\n".join(wrong)
