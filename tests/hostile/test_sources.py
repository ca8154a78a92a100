"""Sources, addresses and permissions that are not what they should be: each costs only itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from building import COMMAND, lick
from lickwright.cli import main
from lickwright.store import output_writer

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


@pytest.mark.parametrize("name", ["loop.lick", "loop", "loop.lick/"])
def test_a_link_in_a_circle_costs_only_itself(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("lib/deep").mkdir(parents=True)
    for n in range(2):
        Path("lib", "deep" if n else "", f"n{n}.lick").write_text(lick(n))
    for folder in ("lib", "lib/deep"):
        Path(folder, name).symlink_to(Path(name).name)
    code = main(["make", "lib"])
    out, err = capsys.readouterr()
    assert code == (0 if name == "loop" else 3)
    assert "6 files of 2 licks in out" in out
    assert err.count("too many levels of symbolic links (L601)") == (0 if name == "loop" else 2)
    assert main(["check", "lib"]) == code


@pytest.mark.parametrize(
    ("address", "wanted"), [("s3://shelf/licks", "s3fs"), ("http://shelf.example/licks", "aiohttp")]
)
def test_an_address_without_its_package_says_what_to_install(
    address: str, wanted: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("fsspec")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(sys.modules, wanted, None)
    Path("a.lick").write_text(lick(1))
    for words in (["make", address], ["make", "a.lick", "--out", address]):
        assert main(words) == 2
        assert wanted in capsys.readouterr().err


@pytest.mark.parametrize("address", ["file:///srv/a%00", "file://[x/a"])
def test_what_is_no_address_of_a_file(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.lick").write_text(lick(1))
    for words in (["make", address], ["make", "a.lick", "--out", address]):
        assert main(words) == 2
        assert "error: " in capsys.readouterr().err
    assert os.listdir() == ["a.lick"]


@pytest.mark.parametrize(
    "address", ["nonsense", "", "tcp://", "tcp://name", "name:port", "tcp://a b:8786", "http//x:1:2"]
)
def test_what_is_no_address_of_a_scheduler_is_said_at_once(
    tmp_path: Path, address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before a client of distributed is begun, which would wait and then complain by itself."""
    (tmp_path / "a.lick").write_text(lick(1))
    assert main(["make", str(tmp_path / "a.lick"), "--out", str(tmp_path / "out"), "--cluster", address]) == 2
    err = capsys.readouterr().err
    assert "is not an address of a scheduler: write it as tcp://name:8786" in err
    assert err.count("\n") == 2


@pytest.mark.parametrize("host", ["127.0.0.1", "no-such.invalid", "[::1]"])
def test_where_no_scheduler_answers_nothing_is_loaded(
    tmp_path: Path, host: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("distributed")
    from lickwright.build import dask_executor

    monkeypatch.setattr(dask_executor, "ANSWER", 0.5)
    monkeypatch.setattr(dask_executor, "import_module", None)
    (tmp_path / "a.lick").write_text(lick(1))
    for port in (9, 99999):
        words = ["make", str(tmp_path / "a.lick"), "--out", str(tmp_path / "out"), "--cluster", f"tcp://{host}:{port}"]
        assert main(words) == 2
        assert f"the cluster at tcp://{host}:{port} does not answer" in capsys.readouterr().err


def test_folders_in_too_many_folders(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("lib", *"d" * 70).mkdir(parents=True)
    for folder in (Path("lib"), Path("lib", *"d" * 70)):
        (folder / "a.lick").write_text(lick(1))
    for made in (1, 0):
        assert main(["make", "lib"]) == 3
        out, err = capsys.readouterr()
        assert "it would lie in more than 64 folders (L605)" in err
        assert "set aside" not in err
        assert ("1 made" in out) == bool(made)
    assert main(["find", "out"]) == 0


@pytest.mark.parametrize("name", ["a/" * 1900, "a/" * 3000, "a" * 5000])
def test_a_house_with_an_output_folder_too_deep(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.lick").write_text(lick(1))
    Path("lickwright.toml").write_text(f'[make]\nout = "{name}"\n')
    for words in (
        ["make", "."],
        ["make", ".", "--out", name],
        ["move", "a.lick", "--octave", "up", "--out", name + "/"],
    ):
        assert main(words) == 3
        assert "name too long (L604)" in capsys.readouterr().err
    assert sorted(os.listdir()) == ["a.lick", "lickwright.toml"]


@pytest.mark.skipif(os.name != "posix", reason="elsewhere such a folder cannot be taken away")
def test_where_the_user_is_in_a_folder_that_was_taken_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "gone").mkdir()
    (tmp_path / "lib").mkdir()
    (tmp_path / "lib/a.lick").write_text(lick(1))
    lib, out = str(tmp_path / "lib"), str(tmp_path / "out")
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    for words in (["make", lib, "--out", out], ["find", out], ["library", out], ["check", lib]):
        assert main(words) == 0, capsys.readouterr().err
    assert main(["make", "."]) == 3


def test_an_output_folder_that_is_taken_away_during_a_build(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from lickwright.build import task

    monkeypatch.chdir(tmp_path)
    Path("a.lick").write_text(lick(1))
    made = task.compile_source

    def removing(*given: object) -> object:
        shutil.rmtree("out")
        return made(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(task, "compile_source", removing)
    assert main(["make", "."]) == 3
    assert ".lickwright.db was taken away meanwhile (L604)" in capsys.readouterr().err


def test_one_read_error_is_no_reason_to_forget_an_output(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("lib").mkdir()
    for n in range(2):
        Path(f"lib/n{n}.lick").write_text(lick(n))
    assert main(["make", "lib"]) == 0
    Path("lib/n1.lick").unlink()
    os.utime("out/n1/number-1.mid")  # so that it has to be read to be known

    def broken(*_: object) -> bytes:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(output_writer, "stored_digest", broken)
        assert main(["make", "lib", "--prune"]) == 3
    assert "out/n1/number-1.mid: error: not removed: input/output error (L604)" in capsys.readouterr().err
    assert os.listdir("out/n1") == ["number-1.mid"]
    assert main(["make", "lib", "--prune"]) == 0
    assert not os.path.exists("out/n1")


@pytest.mark.skipif(not ROOT or not shutil.which("setpriv"), reason="only root can become someone else")
def test_a_folder_that_may_not_be_written_is_said_to_be_so() -> None:
    with tempfile.TemporaryDirectory() as folder:  # pytest's own is not for others
        here = Path(folder)
        here.chmod(0o755)
        (here / "a.lick").write_text(lick(1))
        (here / "out").mkdir()
        nobody = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
        for words in (["make", "a.lick"], ["move", "a.lick", "--octave", "up", "--out", "out/"]):
            ran = subprocess.run([*nobody, *COMMAND, *words], cwd=here, capture_output=True, text=True)
            if "No module" in ran.stderr or ran.returncode == 127:  # 127: nor may Python
                pytest.skip("the program itself may not be read by others here")
            assert ran.returncode == 3
            assert "permission denied (L604)" in ran.stderr
            assert "no such file" not in ran.stderr
