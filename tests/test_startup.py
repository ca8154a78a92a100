"""Starting up is the price of every command: what `check` must not load."""

from __future__ import annotations

import io
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from lickwright import cli
from lickwright.cli.commands import COMMANDS

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
    "lickwright.engraving.engrave",
    "lickwright.export.sheet",
    "lickwright.export.page.markup",
)


# What takes long to import and a plain check can do without: the libraries that it stands on, and what they and dataclasses bring along.
SLOW = (
    "click",
    "lark",
    "dataclasses",
    "inspect",
    "json",
    "hashlib",
    "_hashlib",
    "logging",
    "pickle",
    "platform",
    "shlex",
)
COMPILER = ("lickwright.compiler", "lickwright.notation.tree", "lickwright.music.pitch")


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
    assert not loaded.intersection({*HEAVY, *SLOW} - {"json"})  # the parser's tables are JSON


@pytest.mark.parametrize("arguments", [["why"], ["why", "L301"], ["why", "bar too short"]])
def test_why_loads_neither_click_nor_the_compiler(arguments: list[str]) -> None:
    loaded = _loaded(
        "import sys; from lickwright.cli import main; "
        f"assert main({arguments!r}) == 0; print(*sys.modules, file=sys.stderr)"
    )
    assert "lickwright.core.kept_rules" in loaded
    assert not loaded.intersection({*HEAVY, *COMPILER, *SLOW} - {"json"})


def test_find_loads_neither_click_nor_the_compiler(tmp_path: Path) -> None:
    (tmp_path / "a.lick").write_text(GOOD)
    out = str(tmp_path / "out")
    assert cli.main(["make", str(tmp_path), "--out", out]) == 0
    loaded = _loaded(
        "import sys; from lickwright.cli import main; "
        f"assert main(['find', {out!r}, 'bend', 'box:1']) == 0; print(*sys.modules, file=sys.stderr)"
    )
    assert "lickwright.index.search" in loaded
    needless = {"fractions", "decimal", "tempfile", "shutil", "lickwright.export"}
    needless |= {
        "lickwright.core.diagnostics",
        "lickwright.core.fast_dataclass",
        "lickwright.notation.techniques",
        "lickwright.store.features",
    }
    assert not loaded.intersection({*HEAVY, *COMPILER, *SLOW, *needless} - {"sqlite3", "lickwright.music.pitch"})


def test_a_wav_file_is_written_without_an_encoder(tmp_path: Path) -> None:
    (tmp_path / "a.lick").write_text('tempo 240\nlick "Porch light"\n| e8~ - B8^10 - - - - - ||\n')
    arguments = ["make", str(tmp_path / "a.lick"), "--to", "audio", "--out", str(tmp_path / "out")]
    for form, loads in (("wav", False), ("flac", True)):
        loaded = _loaded(
            "import sys; from lickwright.cli import main; "
            f"assert main({[*arguments, '--format', form]!r}) == 0; print(*sys.modules, file=sys.stderr)"
        )
        assert "numpy" in loaded and ("soundfile" in loaded) == loads
        assert "numpy.ma" not in loaded


@pytest.mark.parametrize("arguments", [["--version"], ["--help"]])
def test_help_and_version_load_no_compiler(arguments: list[str]) -> None:
    loaded = _loaded(
        "import sys; from lickwright.cli import main; "
        f"assert main({arguments!r}) == 0; print(*sys.modules, file=sys.stderr)"
    )
    assert "lickwright.cli" in loaded
    assert not loaded.intersection({"lark", "json", "hashlib", *COMPILER, *HEAVY})
    assert not [name for name in loaded if name.startswith("lickwright.cli.") and name.partition("cli.")[2] in COMMANDS]


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


def test_a_digest_of_a_build_with_nothing_to_do_loads_no_compiler(tmp_path: Path) -> None:
    for n in range(30):
        (tmp_path / f"{n}.lick").write_text(
            f'lick "Wide stretch {n}"\nkey A minor\nbox 1\n| e5 e6 e8 e9 e5 e5 e5 e5 ||\n'
        )
    arguments = ["make", str(tmp_path), "--out", str(tmp_path / "out"), "--to", "tab", "--jobs", "1"]
    said = []
    for run in range(2):
        ran = subprocess.run(
            [sys.executable, "-c", f"import sys; from lickwright.cli import main; main({arguments!r}); print(*sys.modules)"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        said.append(ran.stdout + ran.stderr)
        assert "worst files" in said[run]
    assert "lickwright.compiler" in said[0]
    assert "lickwright.compiler" not in said[1].split()


GOOD = 'lick "Porch light"\nkey A minor\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- ||\n'
BAD = 'lick "Bad step"\n| e8 e5 q9 |\n| e99 |\n'


@pytest.mark.parametrize(
    "arguments",
    [
        "check good.lick", "check bad.lick", "check .", "check good.lick bad.lick nowhere.lick", "check", "check ''", "check -",
        "check a/b/c.lick good.lick", "why", "why L301", "why l301", "why 'bar too short'", "why L999", "why a b", "why ''", "check lickwright.toml",
        "find", "find .", "find good.lick bend", "find good.lick bend box:1 level<=1", "find nowhere.lick", "find . nothing", "find . colour:red",
        "find '' bend", "find - step", "find good.lick ''", "find bad.lick 'box:'",
    ],
)  # fmt: skip
def test_without_click_a_command_says_what_it_says_with_it(arguments, tmp_path, monkeypatch, capsys) -> None:
    (tmp_path / "good.lick").write_text(GOOD)
    (tmp_path / "bad.lick").write_text(BAD)
    (tmp_path / "lickwright.toml").write_text('[fields]\nkey = "A minor"\nnothing = 1\n')
    monkeypatch.chdir(tmp_path)
    ended = []
    for plain in (cli._WITHOUT_CLICK, {}):
        monkeypatch.setattr(cli, "_WITHOUT_CLICK", plain)
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(BAD.encode())))
        ended.append((cli.main(shlex.split(arguments)), *capsys.readouterr()))
    assert ended[0] == ended[1]
    assert any(ended[0][1:])
