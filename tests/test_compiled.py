"""The wheel whose stages are compiled (`LICKWRIGHT_COMPILE=1`, see `compiler/hatch_build.py`): it gives what the sources give, to the byte."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from made_licks import made_lick

ROOT = Path(__file__).parent.parent
FORMATS = ("tab", "midi", "timing", "timing-json", "timing-text", "musicxml")
MADE = 500  # licks by chance
# Those that compare whole outputs and findings, and walk the notation; none of them puts functions of its own into our modules.
TESTS = "golden bad samples contract syntax tab midi midi_techniques timing performance layout checks_rhythm checks_box checks_hands tidy"

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(os.name != "posix", reason="the compiler is looked for by its Unix name"),
]


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the package as its compiled wheel holds it. Building takes minutes."""
    wheels, place = tmp_path_factory.mktemp("wheels"), tmp_path_factory.mktemp("place")
    build = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(wheels), str(ROOT)]
    done = subprocess.run(build, env={**os.environ, "LICKWRIGHT_COMPILE": "1"}, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    (made,) = wheels.iterdir()
    assert "none-any" not in made.name
    with zipfile.ZipFile(made) as archive:
        archive.extractall(place)
    return place


def _run(place: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "PYTHONPATH": str(place)}
    return subprocess.run([sys.executable, *arguments], env=env, cwd=ROOT, capture_output=True, text=True)


def test_the_stages_are_compiled_and_the_rest_is_not(installed: Path) -> None:
    code = "import lickwright.timeline.build as a, lickwright.export as b; print(a.__file__, b.__file__)"
    stage, other = _run(installed, "-c", code).stdout.split()
    assert stage.startswith(str(installed)) and not stage.endswith(".py")
    assert other.startswith(str(installed)) and other.endswith(".py")


def test_every_output_and_finding_is_the_same(installed: Path) -> None:
    pure, compiled = (_run(place, __file__) for place in (ROOT / "compiler", installed))
    assert pure.returncode == 0, pure.stderr
    assert compiled.returncode == 0, compiled.stderr
    assert pure.stdout.splitlines()[1:] == compiled.stdout.splitlines()[1:]
    assert pure.stdout.split()[0] == str(ROOT / "compiler") and compiled.stdout.split()[0] == str(installed)
    assert len(pure.stdout.splitlines()) > MADE + 20


def test_values_of_its_classes_are_compared_copied_and_pickled(installed: Path) -> None:
    code = """if True:
        import copy, pickle
        from lickwright.compiler import compile_text
        from lickwright.core.fast_dataclass import replace
        timeline = compile_text('lick "Kettle"\\nkey A minor\\nbox 1\\n| e8 e5 B8^10 -r p5 G7~-- ||\\n').licks[0].timeline
        for same in (pickle.loads(pickle.dumps(timeline)), copy.copy(timeline), copy.deepcopy(timeline), replace(timeline)):
            assert same == timeline and same is not timeline and repr(same.bars) == repr(timeline.bars)
        assert replace(timeline, title="Lid") != timeline
        assert hash(timeline.slots[0].event) == hash(replace(timeline.slots[0].event))
    """
    done = _run(installed, "-c", code)
    assert done.returncode == 0, done.stderr


def test_the_everyday_tests_pass_on_it(installed: Path) -> None:
    files = [f"tests/test_{name}.py" for name in TESTS.split()]
    done = _run(installed, "-m", "pytest", "-q", "-n", "2", "-p", "no:cacheprovider", *files)
    assert done.returncode == 0, done.stdout[-5000:]


def _texts() -> Iterator[tuple[str, str]]:
    """Yield names and texts: every sample, the bad files, and licks made by chance."""
    for path in [*sorted(ROOT.glob("samples/**/*.lick")), *sorted((ROOT / "tests").glob("**/*.lick"))]:
        yield str(path), path.read_bytes().decode("utf-8", "replace")
    chance = Random(7)
    for number in range(MADE):
        music, fields = made_lick(chance)
        yield f"made {number}", "\n".join([f'lick "Made {number}"', *fields, music, ""])


def _digests() -> Iterator[str]:
    """Yield a line for each text: a hash of its findings, its tidy text and every output of its licks."""
    from lickwright.compiler import compile_text
    from lickwright.export import Options
    from lickwright.transform.tidy import tidy

    for name, text in _texts():
        found = compile_text(text, name)
        digest = hashlib.sha256(repr((found.diagnostics, tidy(found)[1:])).encode())
        for lick in (lick for lick in found.licks if lick.ok):
            made = [lick.emit(one, Options()) for one in FORMATS] + [lick.emit("midi", Options(single_channel=True))]
            for export in made:
                digest.update(export.data + repr(export.losses).encode())
        yield f"{digest.hexdigest()} {name}"


if __name__ == "__main__":
    import lickwright

    print(Path(lickwright.__file__).parent.parent)
    print("\n".join(_digests()))
