"""What a user installs: the wheel, with click and lark and nothing else, compiles a lick by the grammar inside it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import distribution
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import pytest

from building import PATIENCE
from lickwright.core.extras import EXTRAS, install_command

ROOT = Path(__file__).parent.parent
LICK = 'lick "Porch light"\nkey A minor\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- ||\n'


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True)
    (made,) = out.iterdir()
    return made


def test_the_wheel_carries_the_grammar_and_only_what_it_needs(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
        metadata = archive.read(next(name for name in names if name.endswith("METADATA"))).decode()
    assert "lickwright/grammar/lick.lark" in names
    assert "lickwright/grammar/lick.parser.json" in names
    assert "lickwright/core/rules.json" in names
    assert "lickwright/cli/make.py" in names
    assert {f"lickwright/engraving/fonts/{name}" for name in ("sans.ttf", "music.json", "OFL.txt")} <= set(names)
    assert not [name for name in names if not name.startswith("lickwright")]
    needed = [line for line in metadata.splitlines() if line.startswith("Requires-Dist") and "extra ==" not in line]
    assert sorted(line.split()[1].split(">")[0] for line in needed) == ["click", "lark"]


@pytest.mark.parametrize("failure", [SystemExit(1), OSError("no compiler"), KeyboardInterrupt()])
def test_a_compiled_wheel_that_fails_leaves_no_folder(
    failure: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spec = spec_from_file_location("hatch_build", ROOT / "compiler/hatch_build.py")
    assert spec is not None and spec.loader is not None
    build = module_from_spec(spec)
    spec.loader.exec_module(build)
    copied: list[Path] = []

    def fail(package: Path) -> dict[str, str]:
        copied.append(package.absolute())
        assert (package / "compiler/__init__.py").is_file() and tmp_path in copied[0].parents
        raise failure

    monkeypatch.setattr(build, "compile_modules", fail)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setenv("LICKWRIGHT_COMPILE", "1")
    before = Path.cwd()
    hook = build.CustomBuildHook(str(ROOT), {}, None, None, str(tmp_path), "wheel")
    with pytest.raises(type(failure)):
        hook.initialize("standard", {"force_include": {}})
    assert copied and not list(tmp_path.iterdir()) and Path.cwd() == before


# Under `nohup` a hang-up is ignored, and so it is in what is started there, unless that asks for it.
ENDED = """
import signal, sys, time
signal.signal(signal.SIGHUP, signal.SIG_DFL)
sys.path.insert(0, sys.argv[1])
import hatch_build
def work(package):
    print("compiling", flush=True)
    while True:
        time.sleep(60)
hatch_build.compile_modules = work
hook = hatch_build.CustomBuildHook(sys.argv[2], {}, None, None, sys.argv[3], "wheel")
hook.initialize("standard", {"force_include": {}})
"""


@pytest.mark.skipif(os.name != "posix", reason="signals of other systems end a process at once")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_a_compiled_wheel_whose_build_is_ended_leaves_no_folder(name: str, tmp_path: Path) -> None:
    (tmp_path / "root/compiler/lickwright").mkdir(parents=True)
    (tmp_path / "temporary").mkdir()
    env = {**os.environ, "LICKWRIGHT_COMPILE": "1", "TMPDIR": str(tmp_path / "temporary")}
    command = [sys.executable, "-c", ENDED, str(ROOT / "compiler"), str(tmp_path / "root"), str(tmp_path)]
    with subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None and process.stdout.readline() == "compiling\n"
        assert list((tmp_path / "temporary").iterdir())
        process.send_signal(number := signal.Signals[name])
        try:
            assert process.wait(PATIENCE) == 128 + number
        finally:
            process.kill()
    assert not list((tmp_path / "temporary").iterdir())


def test_messages_name_the_packages_of_each_extra() -> None:
    """Without Lickwright's own name, which no registry knows where it was installed from a folder."""
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]

    def packages(extra: str) -> set[str]:
        found: set[str] = set()
        for requirement in extras[extra]:
            inner = re.fullmatch(r"lickwright\[([a-z,-]+)\]", requirement)
            names = (
                set().union(*map(packages, inner[1].split(","))) if inner else {re.split(r"[<>=~;\[ ]", requirement)[0]}
            )
            found |= names
        return found

    assert {extra: set(names) for extra, names in EXTRAS.items()} == {extra: packages(extra) for extra in EXTRAS}
    assert install_command("audio") == "pip install numpy soundfile"
    said = [path for path in (ROOT / "compiler").rglob("*.py") if "pip install 'lickwright" in path.read_text("utf-8")]
    assert not said


def test_it_compiles_in_an_empty_environment(wheel: Path, tmp_path: Path) -> None:
    place = tmp_path / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(place)], check=True)
    (site,) = (place / "lib").glob("python*/site-packages")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    for name in ("click", "lark"):  # as pip would put them there, without asking a network
        found = Path(str(distribution(name).locate_file(name)))
        (site / name).symlink_to(found)
    (tmp_path / "a.lick").write_text(LICK)
    clean = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    python = str(place / "bin" / "python")
    made = subprocess.run(
        [python, "-m", "lickwright", "make", "a.lick"], cwd=tmp_path, env=clean, capture_output=True, text=True
    )
    assert made.returncode == 0, made.stderr
    assert (tmp_path / "out/a/porch-light.mid").read_bytes().startswith(b"MThd")
    where = subprocess.run(
        [python, "-c", "import lickwright; print(lickwright.__file__)"], env=clean, capture_output=True, text=True
    )
    assert where.stdout.startswith(str(tmp_path))
