"""Dry runs: what they foretell is what the real run does, and they write nothing."""

from __future__ import annotations

import gc
import json
import os
import re
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from building import lick, tree
from commanding import Run, write
from lickwright.store.manifest import Manifest
from test_library_build import BROKEN


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """`lickwright make` in a folder with a library of six."""
    for n, name in enumerate(("a", "slow/b", "slow/c", "d", "e", "f")):
        write(f"lib/{name}.lick", lick(n))
    return run_from("make")


def everything() -> dict[str, tuple[int, int]]:
    """All files below this folder, with size and time."""
    return {str(path): (path.stat().st_size, path.stat().st_mtime_ns) for path in Path().rglob("*") if path.is_file()}


def foretold(run: Run, *arguments: str) -> tuple[int, str, str]:
    """The dry run, which must leave everything as it is; the real run must end alike and say the same of what is wrong."""
    before = everything()
    code, out, err = run(*arguments, "--dry-run")
    assert everything() == before
    real = run(*arguments)
    assert (real[0], real[2]) == (code, err)
    after = everything()
    written = {
        name
        for name in after
        if name.startswith("out/") and "/.lickwright" not in name and before.get(name) != after[name]
    }
    (said,) = re.findall(r"would write ([\d,]+) files? into", out)
    assert int(said) == len(written)
    if written:
        assert screen_size(sum(after[name][0] for name in written)) in out
    assert out.count("would remove") == len({name for name in before if name.startswith("out/")} - after.keys())
    return code, out, err


def screen_size(number: int) -> str:
    return f"{number / 1000:.1f} kB" if number < 9950 else f"{number / 1000:.0f} kB"


def test_a_library_for_the_first_time_and_again(run: Run) -> None:
    code, out, _ = foretold(run, "lib")
    assert code == 0
    assert out.count("would make lib/") == 6
    assert "would make lib/a.lick: 3 files\n" in out
    assert "at a guess: nothing was made here before\n" in out
    assert "6 sources: 6 to make;" in out
    code, out, _ = foretold(run, "lib")
    assert out.startswith("would write 0 files into out\n  6 sources: 6 unchanged;")
    write("lib/a.lick", lick(9))
    assert "about a second, as fast as the last build here\n" in foretold(run, "lib")[1]


def test_errors_and_files_in_the_way_are_foretold(run: Run) -> None:
    write("lib/d.lick", BROKEN)
    write("out/a/number-0.mid", "a user's own")
    write("out/e", "no folder")
    Path("lib/f.lick").write_bytes(b"\xff\xfe")
    code, out, err = foretold(run, "lib")
    assert code == 3
    assert "out/a/number-0.mid: error: the file was changed since it was made, or is not ours: not overwritten" in err
    assert "out/e: error: nothing was written: a file stands where the folder would go" in err
    assert 'skipped "Number 0" in lib/d.lick: 1 error\n' in out
    assert "6 sources: 2 to make, 4 failing;" in out


def test_names_that_are_taken_and_house_errors_are_foretold(run: Run) -> None:
    run("lib/slow/b.lick", "--out", "out")
    write("other/b.lick", lick(30))
    code, _, err = foretold(run, "other/b.lick")
    assert code == 3
    assert "the folder holds the outputs of another source" in err
    write("lib/lickwright.toml", "nonsense = 1\n")
    code, _, err = foretold(run, "lib")
    assert code == 3
    assert "lickwright.toml:1:1: error" in err


def test_what_goes_is_foretold(run: Run) -> None:
    run("lib")
    os.unlink("lib/a.lick")
    write("lib/slow/b.lick", lick(1).replace("Number 1", "Another title"))
    write("lib/d.lick", BROKEN.replace("Number 0", "Number 3"))
    write("out/slow/b/number-1.mid", "mended by hand")
    before = everything()
    code, out, _ = run("lib", "--dry-run")
    assert code == 1
    assert "  6 files of licks that are gone: --prune takes them away\n" in out
    assert "  3 older files of licks that were skipped: --prune takes them away\n" in out
    assert everything() == before
    _, out, _ = foretold(run, "lib", "--prune")
    assert out.count("would remove") == 8
    assert "kept out/slow/b/number-1.mid" in out


def test_a_place_that_cannot_be_written_into_is_foretold(run: Run) -> None:
    write("taken", "a file")
    code, out, err = run("lib", "--out", "taken/below", "--dry-run")
    real = run("lib", "--out", "taken/below")
    assert (code, err) == (3, real[2])
    assert "nothing was written" in err


def test_recordings_are_foretold_and_not_made(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise AssertionError("a recording was made")

    monkeypatch.setattr("lickwright.export.audio.render_samples", none)
    code, out, _ = run("lib/a.lick", "lib/d.lick", "--to", "audio", "--repeat", "2", "--dry-run")
    assert code == 0
    assert re.search(r"would write 2 files into out: about [\d.]+ MB, \d+ seconds of sound; about", out)
    code, out, err = run("lib/a.lick", "--to", "audio", "--longest", "1", "--dry-run")
    assert code == 1
    assert "it is not made" in err
    write("out/a/number-0.wav", "a user's own")
    assert run("lib/a.lick", "--to", "audio", "--dry-run")[0] == 3


def test_a_large_library_is_foretold_on_one_screen(run: Run) -> None:
    for n in range(40):
        write(f"lib/many/n{n}.lick", lick(n))
    code, out, _ = run("lib", "--to", "tab", "--dry-run")
    assert code == 0
    assert out.count("would make lib/") == 20
    assert "would make 26 more: --all names them\n" in out
    assert run("lib", "--to", "tab", "--dry-run", "--all")[1].count("would make lib/") == 46


def test_a_dry_run_by_several_processes_says_the_same(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    write("lib/d.lick", BROKEN)
    write("out/a/number-0.mid", "a user's own")
    timeless = lambda said: (said[0], re.sub(r"; about [^,\n]*|; [^;]*$", "", said[1]), said[2])  # noqa: E731
    alone = timeless(run("lib", "--dry-run", "--jobs", "1"))
    assert "14 files" in alone[1] and "second" not in alone[1]
    monkeypatch.setattr("lickwright.build.executor_choice.SERIAL", 2)
    assert timeless(run("lib", "--dry-run", "--jobs", "2")) == alone
    assert list(tree(Path("out"))) == ["a/number-0.mid"]


def test_the_report_of_a_dry_run_is_that_of_the_real_one(run: Run) -> None:
    write("lib/d.lick", BROKEN)
    states = []
    for more in (["--dry-run"], []):
        run("lib", "--report", "build.json", "--overwrite", *more)
        value = json.loads(Path("build.json").read_text())
        states.append([(source["path"], source["state"], source["findings"]) for source in value["sources"]])
    assert states[0] == states[1]


@pytest.mark.slow
def test_what_would_be_pruned_is_never_in_memory_as_a_whole(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten times as many lost outputs take no more of Python's memory."""
    run("lib/a.lick", "--to", "tab")
    peaks = []
    for last in (300, 3000):
        with Manifest("out", write=True) as manifest:
            manifest.begin()
            for n in range(len(peaks) * 300, last):
                manifest.db.execute(
                    "INSERT INTO outputs SELECT ?, name, lick, format, gone, hash, size, mtime, ctime, inode FROM outputs "
                    "WHERE folder = 'a'",
                    (f"lost/n{n}",),
                )
        gc.collect()
        tracemalloc.start()
        code, out, _ = run("lib", "--to", "tab", "--dry-run", "--prune", "--jobs", "1")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert code == 0 and "would write 5 files into out" in out
    assert peaks[1] < peaks[0] + 200_000
