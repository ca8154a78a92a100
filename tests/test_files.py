"""Files: what is read, what a title becomes on a disk; no output is torn, or put over what is not ours."""

from __future__ import annotations

import ast
import os
import re
import socket
import stat
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright.cli.output import Output, OutputFolder
from lickwright.cli.sources import find_sources
from lickwright.core import file_bytes, files
from lickwright.core.slugs import MAX_SLUG, distinct_names, slug
from lickwright.core.source import MAX_BYTES, Unreadable, decode_source
from lickwright.store import local_storage
from lickwright.store.atomic_dir import write_folder
from lickwright.store.manifest import NAME, Manifest

# ---- names


@pytest.mark.parametrize(
    ("title", "name"),
    [
        ("Porch light", "porch-light"),
        ("  Low   road! ", "low-road"),
        ("Café Élan", "cafe-elan"),
        ("F# run", "f-sharp-run"),
        ("Lick #1", "lick-1"),
        ("Don't stop", "dont-stop"),
        ("B♭ blues", "b-flat-blues"),
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\x", "c-x"),
        ("-rf", "rf"),
        ("CON", "lick-con"),
        ("nul", "lick-nul"),
        ("com1", "lick-com1"),
        ("COM¹", "lick-com1"),
        ("Con man", "con-man"),
    ],
)
def test_slugs(title: str, name: str) -> None:
    assert slug(title) == name


@pytest.mark.parametrize("title", ["", ".", "..", "\n", "\U0001f3b8", "日本", "---", "\ud800"])
def test_titles_with_nothing_to_keep_get_a_stable_name_of_their_own(
    title: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "anyascii", None)  # as where the extra is not installed
    assert re.fullmatch(r"lick-[0-9a-f]{8}", slug(title))
    assert slug(title) == slug(title)
    assert slug(title) != slug(title + "!")


@pytest.mark.parametrize(
    ("title", "name"), [("Калинка", "kalinka"), ("Вечер blues", "vecher-blues"), ("Blå ø", "bla-o"), ("ο♭", "o-flat")]
)
def test_titles_in_other_scripts_are_written_in_latin_letters(title: str, name: str) -> None:
    pytest.importorskip("anyascii")
    assert slug(title) == name
    assert slug(title, readable=False) != name


@given(st.text(st.characters(), max_size=300))
def test_every_title_gives_a_safe_name(title: str) -> None:
    name = slug(title)
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", name)
    assert len(name) <= MAX_SLUG + len("lick-")
    assert not re.fullmatch(r"con|prn|aux|nul|com\d|lpt\d", name)


@given(st.lists(st.sampled_from(["x", "x-2", "x-3", "y", "x-2-2"]), max_size=12))
def test_names_never_collide_and_single_ones_stay(names: list[str]) -> None:
    result = distinct_names(names)
    assert len(set(result)) == len(names)
    for name, given_name in zip(names, result, strict=True):
        if names.count(name) == 1:
            assert given_name == name
        assert given_name.startswith(name)


def test_ten_thousand_equal_titles_are_quick() -> None:
    assert distinct_names(["x"] * 10_000)[-1] == "x-10000"


# ---- reading


def test_only_ordinary_files_are_read(tmp_path: Path) -> None:
    pipe, server = tmp_path / "pipe", socket.socket(socket.AF_UNIX)
    os.mkfifo(pipe)
    with server:
        server.bind(str(tmp_path / "socket"))
        for path in (pipe, tmp_path / "socket", tmp_path, Path("/dev/zero"), tmp_path / "absent", Path("nul\0")):
            with pytest.raises(file_bytes.Unopened):
                file_bytes.read_file(str(path))


def test_the_limit_is_checked_before_reading_and_on_both_sides(tmp_path: Path) -> None:
    path = tmp_path / "a.lick"
    path.write_bytes(b"#" * MAX_BYTES)
    assert len(decode_source("a", file_bytes.read_file(str(path))).text) == MAX_BYTES
    path.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(Unreadable, match="larger than 1 MiB"):
        file_bytes.read_file(str(path))
    with open(path, "wb") as file:
        file.truncate(1 << 30)  # sparse: reading it would take a gigabyte
    with pytest.raises(Unreadable, match="larger than 1 MiB"):
        file_bytes.read_file(str(path))


def test_folders_are_walked_in_order_and_hidden_and_linked_ones_left_out(tmp_path: Path) -> None:
    for name in ("b/z.lick", "a.lick", "b/c/y.LICK", ".hidden/x.lick", "._a.lick", "notes.txt"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("")
    (tmp_path / "b" / "loop").symlink_to(tmp_path)
    found = find_sources([str(tmp_path)])
    assert [os.path.relpath(one.path, tmp_path) for one in found] == ["a.lick", "b/z.lick", "b/c/y.LICK"]
    assert len(find_sources([str(tmp_path), str(tmp_path / "a.lick"), str(tmp_path / "b" / ".." / "a.lick")])) == 3


def test_a_folder_without_licks_is_an_error(tmp_path: Path) -> None:
    (one,) = find_sources([str(tmp_path)])
    assert one.trouble is not None
    assert one.trouble.code == files.NO_LICKS.code


# ---- writing


def _folder(tmp_path: Path, source: str = "song.lick", overwrite: bool = False) -> OutputFolder:
    (tmp_path / source).touch()
    return OutputFolder(str(tmp_path / "out"), "song", str(tmp_path / source), overwrite)


def _tree(tmp_path: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted((tmp_path / "out" / "song").iterdir())}


def test_outputs_are_written_and_our_own_replaced(tmp_path: Path) -> None:
    assert _folder(tmp_path).write([Output("a.mid", b"1"), Output("a.txt", b"2")]) == []
    assert _tree(tmp_path) == {"a.mid": b"1", "a.txt": b"2"}
    assert _folder(tmp_path).write([Output("a.mid", b"3")]) == []
    assert _folder(tmp_path).write([Output("a.txt", b"4")]) == []
    assert _tree(tmp_path) == {"a.mid": b"3", "a.txt": b"4"}


def test_nothing_is_written_where_the_same_bytes_stand(tmp_path: Path) -> None:
    def stamps() -> dict[str, tuple[int, int]]:
        return {p.name: (p.stat().st_ino, p.stat().st_mtime_ns) for p in (tmp_path / "out" / "song").iterdir()}

    _folder(tmp_path).write([Output("a.mid", b"1")])
    _folder(tmp_path).write([Output("a.mid", b"2")])
    before = stamps()
    assert _folder(tmp_path).write([Output("a.mid", b"2")]) == []
    assert stamps() == before


def test_a_file_changed_by_hand_or_from_elsewhere_is_not_overwritten_unless_asked(tmp_path: Path) -> None:
    _folder(tmp_path).write([Output("a.txt", b"1"), Output("b.txt", b"1")])
    (tmp_path / "out/song/a.txt").write_bytes(b"by hand")
    (tmp_path / "out/song/c.txt").write_bytes(b"a user's own")
    wanted = [Output("a.txt", b"2"), Output("b.txt", b"2"), Output("c.txt", b"2")]
    troubles = _folder(tmp_path).write(wanted)
    assert [(os.path.basename(t.path), t.finding.code) for t in troubles] == [("a.txt", "L605"), ("c.txt", "L605")]
    assert _tree(tmp_path) == {"a.txt": b"by hand", "b.txt": b"2", "c.txt": b"a user's own"}
    assert _folder(tmp_path, overwrite=True).write(wanted) == []
    assert set(_tree(tmp_path).values()) == {b"2"}


def test_another_source_of_the_same_name_is_not_overwritten_while_it_exists(tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    _folder(tmp_path).write([Output("a.txt", b"1")])
    (trouble,) = _folder(tmp_path, "b/song.lick").write([Output("a.txt", b"2")])
    assert "another source" in trouble.finding.message
    assert _tree(tmp_path) == {"a.txt": b"1"}
    (tmp_path / "song.lick").unlink()  # it was moved: the outputs belong to the new place
    assert _folder(tmp_path, "b/song.lick").write([Output("a.txt", b"2")]) == []
    assert _tree(tmp_path) == {"a.txt": b"2"}


@pytest.mark.parametrize("damage", [b"", b"{", b"SQLite format 3\0", b"\xff" * 5000, b"\0" * 4096])
def test_a_damaged_record_costs_no_file(tmp_path: Path, damage: bytes) -> None:
    _folder(tmp_path).write([Output("a.txt", b"1")])
    (tmp_path / "out" / NAME).write_bytes(damage)
    assert len(_folder(tmp_path).write([Output("a.txt", b"2")])) == 1
    assert _tree(tmp_path) == {"a.txt": b"1"}
    assert _folder(tmp_path).write([Output("a.txt", b"1")]) == []  # the same bytes: known again
    assert _folder(tmp_path).write([Output("a.txt", b"2")]) == []


def test_what_is_no_file_stays(tmp_path: Path) -> None:
    target = tmp_path / "target"
    target.write_bytes(b"precious")
    _folder(tmp_path).write([Output("x", b"")])
    (tmp_path / "out/song/link.txt").symlink_to(target)
    (tmp_path / "out/song/dir.txt").mkdir()
    os.mkfifo(tmp_path / "out/song/pipe.txt")
    for overwrite in (False, True):
        outputs = [Output(f"{name}.txt", b"2") for name in ("link", "dir", "pipe")]
        assert len(_folder(tmp_path, overwrite=overwrite).write(outputs)) == 3
        assert target.read_bytes() == b"precious"
        assert (tmp_path / "out/song/link.txt").is_symlink()


def test_a_linked_folder_is_not_followed_out(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out/song").symlink_to(tmp_path / "elsewhere")
    assert len(_folder(tmp_path).write([Output("a.txt", b"1")])) == 1
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_hard_links_other_name_keeps_its_bytes(tmp_path: Path) -> None:
    _folder(tmp_path).write([Output("a.txt", b"1")])
    os.link(tmp_path / "out/song/a.txt", tmp_path / "kept")
    _folder(tmp_path).write([Output("a.txt", b"2")])
    assert (tmp_path / "kept").read_bytes() == b"1"


@pytest.mark.parametrize("call", ["open", "write", "close", "replace"])
def test_a_failing_disk_leaves_old_or_new_and_no_rubbish(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    _folder(tmp_path).write([Output("a.txt", b"1"), Output("b.txt", b"1")])
    real = getattr(os, call)
    fired = []

    def failing(*args: object, **kwargs: object) -> object:
        if len(fired) < 2 and not (call == "open" and "song" not in str(args[0])):
            fired.append(args)
            if call == "close":  # the system closes a file also when it tells of an error
                real(*args)
            raise OSError(28, "No space left on device")
        return real(*args, **kwargs)

    monkeypatch.setattr(os, call, failing)
    troubles = _folder(tmp_path).write([Output("a.txt", b"2"), Output("b.txt", b"2")])
    monkeypatch.undo()
    assert fired
    assert {t.finding.code for t in troubles} == {"L604"}
    assert "no space left on device" in troubles[0].finding.message
    assert set(_tree(tmp_path)) == {"a.txt", "b.txt"}
    assert set(_tree(tmp_path).values()) <= {b"1", b"2"}
    assert _folder(tmp_path).write([Output("a.txt", b"2"), Output("b.txt", b"2")]) == []
    assert set(_tree(tmp_path).values()) == {b"2"}


def test_a_run_that_was_cut_short_leaves_nothing_unknown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The record is written first, so the next run knows both the old and the new bytes as ours."""
    _folder(tmp_path).write([Output("a.txt", b"1"), Output("b.txt", b"1")])
    real = local_storage.replace_file

    def killed(path: str, data: bytes) -> None:
        if path.endswith("b.txt"):
            raise KeyboardInterrupt
        real(path, data)

    monkeypatch.setattr(local_storage, "replace_file", killed)
    with pytest.raises(KeyboardInterrupt):
        _folder(tmp_path).write([Output("a.txt", b"2"), Output("b.txt", b"2")])
    monkeypatch.undo()
    assert _tree(tmp_path) == {"a.txt": b"2", "b.txt": b"1"}
    assert _folder(tmp_path).write([Output("a.txt", b"3"), Output("b.txt", b"3")]) == []
    assert set(_tree(tmp_path).values()) == {b"3"}


def test_leftovers_of_killed_runs_are_swept_once_nobody_holds_them(tmp_path: Path) -> None:
    fcntl = pytest.importorskip("fcntl")
    _folder(tmp_path).write([Output("a.txt", b"1")])
    left, held = (tmp_path / f"out/song/.lw-{digit * 16}.tmp" for digit in "0a")
    left.touch()
    with held.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        _folder(tmp_path).write([Output("a.txt", b"1")])
        assert not left.exists()
        assert held.exists()
    _folder(tmp_path).write([Output("a.txt", b"1")])
    assert not held.exists()


def test_outputs_have_the_mode_that_the_user_asks_of_every_file(tmp_path: Path) -> None:
    before = os.umask(0o027)
    try:
        _folder(tmp_path).write([Output("a.txt", b"1")])
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "out/song/a.txt").stat().st_mode) == 0o640


def test_the_record_names_no_place_on_this_machine(tmp_path: Path) -> None:
    _folder(tmp_path).write([Output("a.txt", b"1")])
    assert bytes(tmp_path) not in (tmp_path / "out" / NAME).read_bytes()
    with Manifest(str(tmp_path / "out"), write=False) as manifest:
        assert manifest.db.execute("SELECT path, target, hash FROM sources").fetchall() == [
            ("../song.lick", "song", None)
        ]
        assert list(manifest.known("song")) == ["a.txt"]


# --- whole files and folders ------------------------------------------------------------------------------------------


def test_a_signal_in_the_move_of_a_folder_costs_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    moves: list[str] = []

    def interrupted(old: str, new: str, move: Callable[[str, str], None] = os.replace) -> None:
        moves.append(new)
        if len(moves) == 1:
            raise InterruptedError
        move(old, new)

    monkeypatch.setattr(os, "replace", interrupted)
    folder = str(tmp_path / "out" / "porch-light")
    states = write_folder(folder, [("a.txt", b"one"), ("b.txt", [b"t", b"wo"])])
    assert moves == [folder, folder]
    assert [state.st_size for state in states] == [3, 3]
    assert {path.name: path.read_bytes() for path in (tmp_path / "out").rglob("*.txt")} == {
        "a.txt": b"one",
        "b.txt": b"two",
    }
    assert os.listdir(tmp_path / "out") == ["porch-light"]


def test_of_a_folder_that_cannot_be_filled_nothing_is_left(tmp_path: Path) -> None:
    def failing() -> Iterator[bytes]:
        yield b"half"
        raise OSError("no more")

    with pytest.raises(OSError, match="no more"):
        write_folder(str(tmp_path / "gate"), [("a.txt", b"one"), ("b.txt", failing())])
    assert os.listdir(tmp_path) == []


def test_only_one_module_moves_files_into_their_place() -> None:
    """Every writer uses the parts of `atomic_files`, which know signals, locks and what a network disk says late."""
    package = Path(__file__).parents[1] / "compiler" / "lickwright"
    moves = re.compile(r"\.\s*(?:replace|rename|link|move)\b")
    texts = {path: path.read_text("utf-8") for path in package.rglob("*.py")}
    found = {
        str(path.relative_to(package))
        for path, text in texts.items()
        if re.search(r"\b(?:os|shutil)\b", text) and moves.search(text)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in ("os", "shutil")
        if node.attr in ("replace", "rename", "link", "move")
    }
    assert found == {"core/atomic_files.py"}
