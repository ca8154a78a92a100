"""The packages: imports only go down, and no modules import each other, however long the circle."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "compiler" / "lickwright"

# From the ground up: a module imports from its own package and from those on lines above it. Packages on one line do not import each other.
LAYERS = """
core
report
music
notation diagram
settings
timeline
performance layout
hand synth
checks analysis engraving
export
importers
compiler compare
listen
store
config index transform
build
cli
__init__ __main__
"""
LINE = {package: number for number, line in enumerate(LAYERS.split("\n")) for package in line.split()}

# Who may touch the outside world, and who may load what is slow.
OUTSIDE = {"subprocess", "socket", "shutil", "tempfile", "time", "datetime", "random", "asyncio"}
ONLY_IN: dict[str, set[str]] = {
    "multiprocessing": {"build"},
    "sqlite3": {"store", "index", "build"},
    "lark": {"notation"},
    "click": {"cli"},
    "pretty_midi": {"compiler"},
    "mido": {"importers"},
    "numpy": {"synth", "export", "listen"},
    "soundfile": {"export", "listen"},
    "resvg_py": {"export"},
    "sounddevice": {"cli"},
}


def _modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _unit(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def _parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@cache
def _nodes(path: Path) -> list[ast.AST]:
    return list(ast.walk(_parsed(path)))


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


def _name(path: Path) -> str:
    """The dotted name of a module below the package; a package has its folder's."""
    return ".".join(path.relative_to(PACKAGE).with_suffix("").parts).removesuffix(".__init__")


def test_imports_only_go_down() -> None:
    wrong = []
    for path in _modules():
        package = _unit(path)
        assert package in LINE, f"give {package} a line in LAYERS"
        for name, node in _imports(path):
            other = name.split(".")[1] if name.startswith("lickwright.") else package
            if other not in ("__version__", package) and LINE[other] >= LINE[package]:
                wrong.append(f"{path}:{node.lineno}: {package} must not import {other}")
    assert not wrong, "\n".join(wrong)
    assert set(LINE) == {_unit(path) for path in _modules()}, "LAYERS names what is not there"


def test_no_modules_import_each_other() -> None:
    """Imports within functions and for types count too: a circle of modules is one module in several files."""
    modules = {_name(path): path for path in _modules()}
    imports: dict[str, set[str]] = {}
    for name, path in modules.items():
        imports[name] = set()
        for node in _nodes(path):
            if isinstance(node, ast.ImportFrom) and (node.module or "").partition(".")[0] == "lickwright":
                base = str(node.module).removeprefix("lickwright").removeprefix(".")
                inner = {f"{base}.{alias.name}".removeprefix(".") for alias in node.names}
                imports[name] |= {one if one in modules else base for one in inner} & set(modules)
        imports[name].discard(name)
    while leaves := [name for name, others in imports.items() if not others]:
        for leaf in leaves:
            del imports[leaf]
        for others in imports.values():
            others.difference_update(leaves)
    assert not imports, f"in or above a circle: {', '.join(sorted(imports))}"


def _homes(
    kind: type[ast.ClassDef | ast.FunctionDef], nodes: Callable[[Path], Sequence[ast.AST]]
) -> dict[str, list[str]]:
    """The modules that define each public name of a kind among the nodes."""
    homes: dict[str, list[str]] = {}
    for path in _modules():
        for node in nodes(path):
            if isinstance(node, kind) and not node.name.startswith("_"):
                homes.setdefault(node.name, []).append(_name(path))
    return homes


def test_a_class_name_stands_for_one_thing() -> None:
    homes = _homes(ast.ClassDef, _nodes)
    twice = {name: where for name, where in homes.items() if len(where) > 1}
    assert len(homes) > 200
    assert not twice, twice


def test_no_class_of_a_compiled_module_is_derived_from_elsewhere() -> None:
    """A class that mypyc compiled refuses to be the base of one that it did not: see `compiler/hatch_build.py`."""
    hook = ast.parse((PACKAGE.parent / "hatch_build.py").read_text("utf-8"))
    (sources,) = (
        node for node in hook.body if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "SOURCES"
    )
    patterns = [str(node.value) for node in ast.walk(sources) if isinstance(node, ast.Constant)]
    compiled = {path for pattern in patterns for path in PACKAGE.glob(pattern)}
    assert len(compiled) > 80
    bases = {node.name for path in compiled for node in _parsed(path).body if isinstance(node, ast.ClassDef)}
    derived = {
        f"{_name(path)}.{node.name}": ast.unparse(base)
        for path in _modules()
        for node in _nodes(path)
        if path not in compiled and isinstance(node, ast.ClassDef)
        for base in node.bases
        if ast.unparse(base).rpartition(".")[2] in bases
    }
    assert not derived, derived


# Names that a module is called by, whichever it is: the module of a command, of a format, of a command that does without click.
HOOKS = {"command", "emit", "read", "run_plain"}


def test_a_function_name_stands_for_one_thing() -> None:
    homes = _homes(ast.FunctionDef, lambda path: _parsed(path).body)  # no methods
    twice = {name: where for name, where in homes.items() if len(where) > 1}
    assert len(homes) > 800
    assert twice.keys() == HOOKS, twice


def test_the_outside_world_is_met_in_one_place() -> None:
    wrong = []
    for path in _modules():
        unit = _unit(path)
        for name, node in _imports(path):
            top = name.split(".")[0]
            if unit not in ("cli", "build", "store") and top in OUTSIDE:
                wrong.append(f"{path}:{node.lineno}: {unit} may not import {top}")
            if top in ONLY_IN and unit not in ONLY_IN[top]:
                wrong.append(f"{path}:{node.lineno}: {top} belongs to {ONLY_IN[top]}")
    assert not wrong, "\n".join(wrong)


# Makes `__init__` from the names of a class's fields, which stand in our own code; a function made in any other way takes its arguments slowly.
MAKES_CODE = {("core.fast_dataclass", "exec")}


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
            and (_name(path), node.func.id) not in MAKES_CODE
        ]
    assert not wrong, "\n".join(wrong)
