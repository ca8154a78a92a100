"""Build hook: with `LICKWRIGHT_COMPILE=1` the stages that every lick passes are compiled by mypyc; without it the wheel is pure Python.

In: the sources of the package. Out: the same modules as extensions beside them in the wheel, which Python prefers to the sources. A class of
`core/fast_dataclass.py` is made when it runs, so that mypyc would leave it as it is: mypyc is given one whose methods are written out.
"""

from __future__ import annotations

import ast
import os
import shutil
import signal
import sys
import tempfile
import threading
from contextlib import chdir
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SOURCES = (
    *("core/source.py", "core/diagnostics.py", "core/slugs.py", "core/keep_last.py", "music/*.py", "notation/b*.py"),
    *("notation/navigation.py", "notation/parse_tree.py", "notation/techniques.py", "notation/tree.py"),
    *("settings/[fr]*.py", "timeline/*.py", "performance/*.py", "layout/*.py", "hand/*.py", "checks/*.py"),
    *("analysis/difficulty*.py", "analysis/fi*.py", "export/tab/*.py", "export/midi/*.py", "export/timing/*.py"),
    *("compiler/__init__.py", "compiler/compilation.py", "compiler/finding_lists.py", "store/features.py"),
)
OPTIONS = ["--config-file=", "--ignore-missing-imports", "--follow-imports=silent", "--disable-error-code=type-var"]


class CustomBuildHook(BuildHookInterface):  # type: ignore[type-arg]
    """What hatchling calls when it builds a wheel."""

    def dependencies(self) -> list[str]:
        """Return what a build needs besides hatchling."""
        return ["mypy[mypyc]>=1.13", "setuptools"] if os.environ.get("LICKWRIGHT_COMPILE") == "1" else []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile the modules, and put them into the wheel. Raises `SystemExit` where mypyc or the C compiler fails."""
        if version == "editable" or os.environ.get("LICKWRIGHT_COMPILE") != "1":
            return
        # A signal that would end this process at once ends it in order, so that the folder is removed.
        self._before = {number: signal.signal(number, _exit) for number in _ENDING if _is_default(number)}
        self._folder = tempfile.TemporaryDirectory(
            prefix="lickwright-build-"
        )  # removed at the latest when the build ends
        folder = Path(self._folder.name)
        try:
            shutil.copytree(Path(self.root, "compiler"), folder, dirs_exist_ok=True)
            with chdir(folder):
                compiled = compile_modules(Path("lickwright"))
        except BaseException:
            self._clear()
            raise
        build_data["force_include"] |= {str(folder / built): path for built, path in compiled.items()}
        build_data |= {"pure_python": False, "infer_tag": True}

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove the compiled files, which are in the wheel by now."""
        if hasattr(self, "_folder"):
            self._clear()

    def _clear(self) -> None:
        self._folder.cleanup()
        for number, handler in self._before.items():
            signal.signal(number, handler)


_ENDING = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]


def _is_default(number: int) -> bool:
    """Return True if a signal ends this process; only its main thread may say otherwise."""
    return signal.getsignal(number) is signal.SIG_DFL and threading.current_thread() is threading.main_thread()


def _exit(number: int, frame: object) -> None:
    """Raise `SystemExit`, with the exit code that a shell gives for the signal."""
    sys.exit(128 + number)


def compile_modules(package: Path) -> dict[str, str]:
    """Compile modules of a package below the working folder, whose sources are rewritten; return where each extension is and belongs."""
    from mypyc.build import mypycify
    from setuptools import Distribution

    found = sorted(path for pattern in SOURCES for path in package.glob(pattern))
    modules = [path for path in found if path.stat().st_size > 200]  # others are a docstring
    fields: dict[str, dict[str, _Field]] = {}
    for path in modules:
        tree = ast.parse(path.read_text("utf-8"))
        classes = [node for node in tree.body if isinstance(node, ast.ClassDef)]
        if sum(_write_out_methods(node, fields) for node in classes):
            tree.body[2:2] = ast.parse("from typing import Any, ClassVar").body  # after docstring and __future__
            path.write_text(ast.unparse(ast.fix_missing_locations(tree)), "utf-8")
    extensions = mypycify([*OPTIONS, *map(str, modules)], opt_level="1", multi_file=True, group_name="lickwright")
    build = Distribution({"name": "lickwright", "ext_modules": extensions}).get_command_obj("build_ext")
    build.ensure_finalized()
    build.run()
    return {path: os.path.relpath(path, build.build_lib) for path in build.get_outputs()}


class _Field:
    """A field of a record: how it is taken by `__init__`, and the statement that sets it."""

    def __init__(self, name: str, node: ast.AnnAssign) -> None:
        given = {"default": ast.unparse(node.value)} if node.value else {}
        if isinstance(node.value, ast.Call) and ast.unparse(node.value.func) == "field":
            given = {str(k.arg): ast.unparse(k.value) for k in node.value.keywords}
        self.init, self.compare, self.repr = (given.get(key) != "False" for key in ("init", "compare", "repr"))
        self.kw_only = given.get("kw_only") == "True"
        made = f"{given['default_factory']}()" if "default_factory" in given else given.get("default")
        self.parameter, self.statement = f"{name}: {ast.unparse(node.annotation)}", f"self.{name} = {name}"
        if not self.init:  # without a default `__post_init__` sets it
            self.statement = f"self.{name} = {made}" if made else "pass"
        elif "default_factory" in given:
            self.parameter += " | None = None"
            self.statement = f"self.{name} = {made} if {name} is None else {name}"
        elif made:
            self.parameter += f" = {made}"


class _Record:
    """The fields of a record, in the order in which they are set, and the methods that its decorator would give it."""

    def __init__(self, node: ast.ClassDef, known: dict[str, dict[str, _Field]]) -> None:
        own = {ast.unparse(one.target): one for one in node.body if isinstance(one, ast.AnnAssign)}
        inherited = {name: field for base in node.bases for name, field in known.get(ast.unparse(base), {}).items()}
        self.name = node.name
        self.fields = inherited | {name: _Field(name, one) for name, one in own.items()}
        self.methods = {one.name for one in node.body if isinstance(one, ast.FunctionDef)}  # that it has already
        for one in own.values():
            one.value = None

    def methods_text(self) -> str:
        """Return the methods, but for that of its hash."""
        taken = tuple(name for name, field in self.fields.items() if field.init)
        matched = tuple(name for name in taken if not self.fields[name].kw_only)
        return f"""
__record_parameters__: ClassVar[tuple[str, ...]] = {taken!r}
__match_args__: ClassVar[Any] = {matched!r}
{self._init_text(taken, matched)}
def __eq__(self, other: object) -> bool:
    return type(other) is type(self) and isinstance(other, {self.name}) and self._values() == other._values()
def _values(self) -> tuple[Any, ...]:
    return ({"".join(f"self.{name}, " for name, field in self.fields.items() if field.compare)})
def __repr__(self) -> str:
    return f"{self.name}({", ".join(f"{name}={{self.{name}!r}}" for name, field in self.fields.items() if field.repr)})"
def __reduce__(self) -> Any:
    from functools import partial
    return partial({self.name}, {", ".join(f"{name}=self.{name}" for name in taken)}), ()
"""

    def _init_text(self, taken: tuple[str, ...], matched: tuple[str, ...]) -> str:
        keywords = [self.fields[name].parameter for name in taken if name not in matched]
        parameters = [
            "self",
            *(self.fields[name].parameter for name in matched),
            *(["*", *keywords] if keywords else []),
        ]
        statements = [field.statement for field in self.fields.values()]
        if "__post_init__" in self.methods:
            statements.append("self.__post_init__()")
        return f"def __init__({', '.join(parameters)}) -> None:\n    {'; '.join(statements)}"


def _write_out_methods(node: ast.ClassDef, known: dict[str, dict[str, _Field]]) -> bool:
    """Give a record the methods that its decorator would; return whether it is one. `known` has the fields of those before, and gets its own."""
    decorators = {ast.unparse(one) for one in node.decorator_list} & {"record", "mutable_record"}
    if not decorators:
        return False
    record = _Record(node, known)
    known[node.name] = record.fields
    written = record.methods_text()
    if "record" in decorators:
        written += "def __hash__(self) -> int:\n    return hash(self._values())\n"
    made = [one for one in ast.parse(written).body if getattr(one, "name", "") not in record.methods]
    node.body += made
    node.decorator_list = [one for one in node.decorator_list if ast.unparse(one) not in decorators]
    return True
