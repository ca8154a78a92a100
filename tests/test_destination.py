"""Single outputs: `make --report`, `box --svg`, `move --out`. Never over what is not ours, never over a source, whole or not at all."""

from __future__ import annotations

import json
import os
import signal
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from building import PATIENCE
from commanding import Run, write
from lickwright.cli import main
from lickwright.core import atomic_files
from lickwright.core.destination import Seal, save_file

LICK = 'lick "Porch light"\nkey A minor\nbox 1\n| e8 e5 B8 B5 G7 G5 D7 D5 |\n'
SLIP = LICK.replace("| e8", "| b8")

# What writes one file, and the words before its name.
COMMANDS = {
    "report": ("make", "lib", "--to", "tab", "--report"),
    "svg": ("box", "A blues", "1", "--svg"),
    "move": ("move", "lib/a.lick", "--octave", "up", "--out"),
}
root = pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root makes device nodes")


@pytest.fixture(params=COMMANDS)
def words(request: pytest.FixtureRequest, run: Run) -> tuple[str, ...]:
    """A command without its last word, in a folder with a library."""
    write("lib/a.lick", LICK)
    write("lib/lickwright.toml", "[make]\nwidth = 70\n")
    return COMMANDS[request.param]


def _temporaries() -> list[str]:
    return [str(path) for path in Path().rglob(".lw-*")]


# ---- what is in the way


def test_a_new_file_is_written_and_what_we_wrote_is_written_anew(run: Run, words: tuple[str, ...]) -> None:
    assert run(*words, "new.json")[0] == 0
    assert Path("new.json").stat().st_size > 60
    assert run(*words, "new.json")[0] == 0
    assert _temporaries() == []


def test_another_file_stays_unless_it_is_said(run: Run, words: tuple[str, ...]) -> None:
    for text in ("a user's own", "", "{}\n"):
        Path("mine.json").write_text(text)
        code, _, err = run(*words, "mine.json")
        assert (code, Path("mine.json").read_text()) == (3, text)
        assert "L605" in err and "--overwrite" in err
    assert run(*words, "mine.json", "--overwrite")[0] == 0
    assert Path("mine.json").stat().st_size > 60


def test_what_was_changed_since_stays(run: Run, words: tuple[str, ...]) -> None:
    run(*words, "ours")
    whole = Path("ours").read_bytes()
    for changed in (whole + b"mine\n", b" " + whole, whole[:20] + b"?" + whole[21:], whole[:-30]):
        Path("ours").write_bytes(changed)
        assert run(*words, "ours")[0] == 3
        assert Path("ours").read_bytes() == changed


@pytest.mark.parametrize("name", ["lib/a.lick", "lib/../lib/a.lick", "lib/lickwright.toml"])
def test_no_source_is_replaced_whatever_is_said(run: Run, words: tuple[str, ...], name: str) -> None:
    before = Path(name).read_bytes()
    for more in ((), ("--overwrite",)):
        code, _, err = run(*words, name, *more)
        assert (code, Path(name).read_bytes()) == (3, before)
        assert "never overwritten" in err


def test_a_source_under_another_name_stays(run: Run) -> None:
    write("lib/a.lick", LICK)
    write("notes.txt", LICK.replace("Porch", "Barn"))
    os.link("notes.txt", "other.txt")
    for name in ("notes.txt", "other.txt"):
        assert run("make", "notes.txt", "--to", "tab", "--report", name, "--overwrite")[0] == 3
        assert run("move", "notes.txt", "--octave", "up", "--out", name, "--overwrite")[0] == 3
        assert Path(name).read_text() == LICK.replace("Porch", "Barn")


def test_a_moved_lick_in_a_folder_does_not_replace_its_own_source(run: Run) -> None:
    """The file is called as its lick is, so the moved one would have its name."""
    source = Path(write("lib/porch-light.lick", LICK + '\nlick "Barn"\n| e8 e5 B8 B5 G7 G5 D7 D5 |\n'))
    before = source.read_text()
    for folder in ("lib", "lib/", "./lib/."):
        code, _, err = run("move", "lib/porch-light.lick", "--octave", "up", "--out", folder, "--overwrite")
        assert code == 3
        assert "porch-light.lick: error: this is a file that the command reads: never overwritten (L605)" in err
        assert source.read_text() == before
        assert "e20" in Path("lib/barn.lick").read_text()


def test_no_report_and_no_picture_takes_a_licks_or_the_records_place(run: Run) -> None:
    write("lib/a.lick", LICK)
    write("other/b.LICK", LICK)
    assert run("make", "lib", "--to", "tab")[0] == 0
    record = Path("out/.lickwright.db").read_bytes()
    for words in (COMMANDS["report"], COMMANDS["svg"]):
        assert run(*words, "other/b.LICK", "--overwrite")[0] == 3
        assert run(*words, "out/.lickwright.db", "--overwrite")[0] == 3
    assert run(*COMMANDS["move"], "out/.lickwright.db", "--overwrite")[0] == 3
    assert Path("other/b.LICK").read_text() == LICK
    assert Path("out/.lickwright.db").read_bytes() == record
    assert run(*COMMANDS["move"], "other/b.LICK", "--overwrite")[0] == 0  # licks over other licks, if it is said


def test_a_refused_report_is_told_before_anything_is_made(run: Run) -> None:
    write("lib/a.lick", LICK)
    write("mine.json", "mine")
    code, out, _ = run("make", "lib", "--report", "mine.json")
    assert (code, out) == (3, "")
    assert not Path("out").exists()


@contextmanager
def _standing(kind: str, name: str) -> Iterator[None]:
    """Something that is no ordinary file."""
    if kind == "folder":
        os.mkdir(name)
    elif kind == "pipe":
        os.mkfifo(name)
    elif kind == "link":
        os.symlink("target", name)
    elif kind == "link to nothing":
        os.symlink("nowhere", name)
    elif kind == "link to itself":
        os.symlink(name, name)
    elif kind == "link to a folder":
        os.symlink("lib", name)
    elif kind == "disk":
        os.mknod(name, 0o600 | stat.S_IFBLK, os.makedev(240, 7))
    else:
        with socket.socket(socket.AF_UNIX) as server:
            server.bind(name)
            yield
        return
    yield


KINDS = ["folder", "pipe", "socket", "link", "link to nothing", "link to itself", pytest.param("disk", marks=root)]


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_is_refused_whatever_is_said(run: Run, words: tuple[str, ...], kind: str) -> None:
    write("target", "precious")
    with _standing(kind, "it"):
        if kind == "folder" and words[0] == "move":
            return  # a folder gets a file a lick
        before = os.lstat("it")
        for more in ((), ("--overwrite",)):
            code, _, err = run(*words, "it", *more)
            assert code == 3, err
            assert "L605" in err
        assert (os.lstat("it").st_ino, os.lstat("it").st_mode) == (before.st_ino, before.st_mode)
    assert Path("target").read_text() == "precious"
    assert not Path("nowhere").exists()
    assert _temporaries() == []


@root
def test_a_device_is_written_into_and_stays_a_device(run: Run, words: tuple[str, ...]) -> None:
    """Nodes of our own, like the null device and the one that is always full."""
    os.mknod("null", 0o666 | stat.S_IFCHR, os.makedev(1, 3))
    os.mknod("full", 0o666 | stat.S_IFCHR, os.makedev(1, 7))
    for more in ((), ("--overwrite",)):
        assert run(*words, "null", *more)[0] == 0
        code, _, err = run(*words, "full", *more)
        assert code == 3 and "no space left on device" in err
    for name, minor in (("null", 3), ("full", 7)):
        assert stat.S_ISCHR(os.lstat(name).st_mode)
        assert os.lstat(name).st_rdev == os.makedev(1, minor)
    assert _temporaries() == []


@pytest.mark.parametrize("name", ["", "nowhere/x.json", "lib/a.lick/x", "nul\0", "x" * 300, "\ud800", "\x1b[31m\n/x"])
def test_a_name_that_no_system_takes_is_told(run: Run, words: tuple[str, ...], name: str) -> None:
    code, _, err = run(*words, name)
    assert code == 3, err
    assert "L604" in err and "\x1b" not in err
    assert _temporaries() == []


def test_a_name_that_is_not_utf8_is_as_good_as_any(run: Run, words: tuple[str, ...]) -> None:
    name = os.fsdecode(b"caf\xe9.json")
    assert run(*words, name)[0] == 0
    assert os.path.getsize(name) > 60


# ---- standard output


def test_a_dash_is_standard_output(run: Run, words: tuple[str, ...]) -> None:
    run(*words, "file")
    code, out, err = run(*words, "-")
    assert code == 0
    assert not Path("-").exists()
    if words[0] == "make":
        value = json.loads(out)  # nothing else is on that stream
        assert value["counts"]["unchanged"] == 1
        assert "3 files" not in out and "1 source: 1 unchanged" in err
        code, out, err = run(*words, "-", "--dry-run")
        assert json.loads(out)["counts"]["found"] == 1
    else:
        assert out.encode() == Path("file").read_bytes()


def test_a_dash_is_no_folder(run: Run) -> None:
    write("lib/a.lick", LICK)
    code, _, err = run("make", "lib", "--out", "-")
    assert code == 2 and "--out names a folder" in err
    assert os.listdir() == ["lib"]


# ---- interrupts, failures, kills


@pytest.mark.parametrize("call", ["open", "write", "close", "replace"])
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_an_interrupt_goes_through(
    run: Run, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch, call: str, after: bool
) -> None:
    """At each call about the temporary file in turn: the file is whole or not there, and nothing else is left."""
    run(*words, "file")
    whole = Path("file").read_bytes()
    for number in range(1, 20):
        os.unlink("file")
        with monkeypatch.context() as patch:
            fired = _interrupted(patch, call, number, after)
            code, _, err = run(*words, "file")
        assert _temporaries() == []
        if not fired:
            assert number > 1 and code == 0
            return
        assert (code, err.splitlines()[-1]) == (130, "stopped")
        moved = call == "replace" and after or call == "close" and number == 2  # the second one is the lock's
        assert os.path.exists("file") == moved
        if moved and words[0] != "make":  # a report counts its seconds
            assert Path("file").read_bytes() == whole
        Path("file").touch()
    pytest.fail("it never ended")


def _interrupted(patch: pytest.MonkeyPatch, call: str, number: int, after: bool) -> list[bool]:
    """Lets an interrupt come with the call of that number that is about a temporary file; says whether it came."""
    real, opened, duplicated = getattr(os, call), os.open, os.dup
    handles: set[int] = set()
    fired: list[bool] = []
    seen = 0

    def opening(path: str, *rest: int) -> int:
        handle = opened(path, *rest)
        if ".lw-" in os.fspath(path):
            handles.add(handle)
        return handle

    def duplicating(handle: int) -> int:
        other = duplicated(handle)
        if handle in handles:
            handles.add(other)
        return other

    def stopped(first: int | str, *rest: object, **more: object) -> object:
        nonlocal seen
        near = first in handles if isinstance(first, int) else ".lw-" in os.fspath(first)
        seen += near
        if near and call == "close":
            handles.discard(first)  # type: ignore[arg-type]
        if not near or fired or seen != number:
            return real(first, *rest, **more)
        fired.append(True)
        if after or call == "close":
            real(first, *rest, **more)
        raise KeyboardInterrupt

    if call != "open":
        patch.setattr(os, "open", opening)
        patch.setattr(os, "dup", duplicating)
    patch.setattr(os, call, stopped)
    return fired


FAULTS = [("open", 28), ("write", 28), ("write", 5), ("close", 28), ("close", 122), ("replace", 18), ("replace", 13)]


@pytest.mark.parametrize(("call", "number"), FAULTS)
def test_a_failing_disk_leaves_the_old_file_and_no_rubbish(
    run: Run, monkeypatch: pytest.MonkeyPatch, call: str, number: int
) -> None:
    run(*COMMANDS["svg"], "file")
    before = Path("file").read_bytes()
    real, fired = getattr(os, call), []

    def failing(*args: object, **more: object) -> object:
        if call == "open" and not str(args[0]).startswith(".lw-"):
            return real(*args, **more)
        if call == "close" and not fired:
            real(*args)
        fired.append(args)
        raise OSError(number, os.strerror(number))

    with monkeypatch.context() as patch:
        patch.setattr(os, call, failing)
        code, _, err = run("box", "A blues", "2", "--svg", "file")
    assert fired and code == 3
    assert f"nothing was written: {os.strerror(number).lower()} (L604)" in err.lower().replace("(l604)", "(L604)")
    assert Path("file").read_bytes() == before
    assert _temporaries() == []


def test_short_writes_and_interrupted_calls_are_gone_on_with(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run(*COMMANDS["svg"], "whole")
    write_real, replace_real, times = os.write, os.replace, []

    def interrupted(old: str, new: str) -> None:
        times.append(old)
        if len(times) < 3:
            raise InterruptedError(4, "Interrupted system call")
        replace_real(old, new)

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", lambda handle, data: write_real(handle, data[:7]))
        patch.setattr(os, "replace", interrupted)
        assert run(*COMMANDS["svg"], "file")[0] == 0
    assert len(times) == 3
    assert Path("file").read_bytes() == Path("whole").read_bytes()
    with monkeypatch.context() as patch:
        patch.setattr(os, "write", lambda handle, data: 0)
        assert run(*COMMANDS["svg"], "other")[0] == 3
    assert not Path("other").exists()


def _killed(words: tuple[str, ...]) -> None:
    """Runs a command in a process of its own that is killed just before the file would be moved to its place."""
    child = os.fork()
    if not child:
        os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)  # type: ignore[assignment]
        try:
            main(list(words))
        finally:
            os._exit(1)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


@pytest.mark.parametrize("name", [*COMMANDS, "fix", "fix again"])
def test_what_a_killed_run_left_is_removed_by_the_next(run: Run, name: str) -> None:
    write("lib/a.lick", LICK)
    write("slip.lick", SLIP)
    fix = name.startswith("fix")
    words = ("check", "--fix", "--in-place", "slip.lick") if fix else (*COMMANDS[name], "file")
    _killed(words)
    assert len(_temporaries()) == 1
    if name == "fix again":
        write("slip.lick", LICK)  # there is nothing to write any more
    assert run(*words)[0] == 0
    assert _temporaries() == []


def test_a_sweep_takes_only_what_is_certainly_ours_and_idle(tmp_path: Path) -> None:
    kept = {
        "a user's": tmp_path / ".lw-0123456789abcde.tmp",
        "another form": tmp_path / ".lw-0123456789abcdef.tmp.lick",
        "capitals": tmp_path / ".lw-0123456789ABCDEF.tmp",
    }
    for path in kept.values():
        path.write_text("mine")
    precious = tmp_path / "precious"
    precious.write_text("mine")
    (tmp_path / ".lw-0000000000000001.tmp").symlink_to(precious)
    (tmp_path / ".lw-0000000000000002.tmp").mkdir()
    (tmp_path / ".lw-0000000000000002.tmp" / "x").write_text("mine")
    os.mkfifo(tmp_path / ".lw-0000000000000003.tmp")
    os.link(precious, tmp_path / ".lw-0000000000000004.tmp")
    (tmp_path / ".lw-0000000000000005.tmp").write_text("half")
    handle = os.open(tmp_path / ".lw-0000000000000006.tmp", os.O_CREAT | os.O_RDWR)
    before = set(os.listdir(tmp_path))
    lock = atomic_files._locked(handle)  # another command is at work on it
    atomic_files.remove_stale_files(str(tmp_path))
    assert before - set(os.listdir(tmp_path)) == {".lw-0000000000000004.tmp", ".lw-0000000000000005.tmp"}
    os.close(handle)
    os.close(lock)
    atomic_files.remove_stale_files(str(tmp_path))
    assert not (tmp_path / ".lw-0000000000000006.tmp").exists()
    assert precious.read_text() == "mine"
    atomic_files.remove_stale_files(str(tmp_path / "nowhere"))


def test_two_writers_at_once_do_not_sweep_each_other(tmp_path: Path) -> None:
    def parts() -> Iterator[bytes]:
        yield b"first"
        assert save_file(str(tmp_path / "b"), b"second", None, False, ()) is None
        yield b", and more"

    assert save_file(str(tmp_path / "a"), parts(), None, False, ()) is None
    assert (tmp_path / "a").read_bytes() == b"first, and more"
    assert sorted(os.listdir(tmp_path)) == ["a", "b"]


@pytest.mark.parametrize("overwrite", [False, True])
def test_what_takes_the_place_while_the_data_are_made_stays(tmp_path: Path, overwrite: bool) -> None:
    path = tmp_path / "a"

    def parts() -> Iterator[bytes]:
        yield b"ours"
        if overwrite:
            os.mkfifo(path)
        else:
            path.write_text("a user's own")

    found = save_file(str(path), parts(), None, overwrite, ())
    assert found is not None and found.code == "L605"
    assert os.listdir(tmp_path) == ["a"]
    assert overwrite or path.read_text() == "a user's own"


# ---- seals


def test_a_seal_holds_for_its_own_kind_alone(tmp_path: Path) -> None:
    one, other = Seal(b"<", b">"), Seal(b"[", b"]")
    path = tmp_path / "x"
    for parts in ((), (b"",), (b"a",), (b"x" * (1 << 20), b"y")):
        path.write_bytes(b"".join(one.add_to(parts)))
        assert one.matches_file(str(path))
        assert not other.matches_file(str(path))
    for data in (b"", b"<", b"<>", b"x" * 33):
        path.write_bytes(data)
        assert not one.matches_file(str(path))


# ---- reading


@pytest.mark.parametrize(
    "words",
    [
        ("check", "it"), ("check", "--fix", "--in-place", "it"), ("show", "it"), ("make", "it"), ("move", "it", "--octave", "up"),
        ("box", "--for", "it"), ("compare", "it", "lib/a.lick"), ("compare", "lib/a.lick", "it"), ("find", "it", "bend"),
        ("find", "out", "--like", "it"), ("library", "it"),
    ],
    ids=" ".join,
)  # fmt: skip
@pytest.mark.parametrize("kind", ["pipe", "device"])
def test_what_is_no_file_is_never_waited_for(run: Run, words: tuple[str, ...], kind: str) -> None:
    write("lib/a.lick", LICK)
    assert run("make", "lib")[0] == 0
    if kind == "pipe":
        os.mkfifo("it")
    elif os.geteuid() == 0:
        os.mknod("it", 0o666 | stat.S_IFCHR, os.makedev(1, 5))  # zeros without end
    else:
        pytest.skip("only root makes device nodes")
    before = signal.signal(signal.SIGALRM, _waited)
    signal.alarm(int(PATIENCE))  # whoever waits for these waits without end
    try:
        code, _, err = run(*words)
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
    assert code in (2, 3), err


def _waited(number: int, frame: object) -> None:
    pytest.fail("it waits for what is no file")


# ---- a folder of outputs


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("what", ["files", "folders"])
def test_an_interrupt_ends_a_build_at_once(run: Run, monkeypatch: pytest.MonkeyPatch, what: str, after: bool) -> None:
    """Of outputs that are replaced, and of folders that are new: nothing more is made, and the next build goes on."""
    real = os.replace
    for number in range(1, 20):
        for name in ("a", "b", "c"):
            write(f"lib/{name}.lick", LICK)
        out = f"out{number}"
        words = ("make", "lib", "--to", "tab,timing", "--jobs", "1", "--out", out)
        if what == "files":
            run(*words)
            for name in ("a", "b", "c"):
                write(f"lib/{name}.lick", LICK.replace("e5 ", "e8 "))
        made: list[str] = []

        def stopped(old: str, new: str) -> None:
            made.append(new)  # noqa: B023
            if len(made) == number and not after:  # noqa: B023
                raise KeyboardInterrupt
            real(old, new)
            if len(made) == number:  # noqa: B023
                raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", stopped)
            code, _, err = run(*words)
        if len(made) < number:
            assert number > 3 and code == 0
            return
        assert code == 130
        assert len(made) == number
        assert err.splitlines()[-1].startswith("stopped")
        assert run(*words)[0] == 0
        assert run(*words)[1].count("3 unchanged") == 1
        assert _temporaries() == []
    pytest.fail("it never ended")
