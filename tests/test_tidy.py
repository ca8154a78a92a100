"""`lickwright tidy`: one form of a lick, which sounds the same, with every comment; files written whole or not at all."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from random import Random

import pytest

from effort import steps
from interrupting import interrupted_call
from lickwright.cli import main
from lickwright.compiler import Compilation, compile_text
from lickwright.core.source import Source
from lickwright.settings.fields import FIELD_ORDER, FIELDS
from lickwright.timeline.equality import is_same_timeline
from lickwright.transform import tidy as tidying
from lickwright.transform.tidy import tidy, tidy_bytes, tidy_text
from made_licks import made_lick
from shares import every_nth

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))


def comments_in(text: str) -> list[str]:
    """The words of every comment, in order, found without the parser: a lone `#` outside of quotes."""
    found = []
    for line in text.splitlines():
        bare = re.sub(r'"(?:[^"\\]|\\.)*"', lambda m: "x" * len(m[0]), line)
        at = re.search(r"^#|(?<=[ \t])#(?=[ \t]|$)", bare)
        if at:
            found.append(line[at.start() + 1 :].strip())
    return found


def tidied(text: str) -> str:
    """The tidy text, which must be of the same music, with the same comments, and tidy. Licks that no hand can play count too."""
    before = compile_text(text)
    assert not any(d.code.startswith("L1") and d.severity == "error" for d in before.diagnostics), (text, before)
    tidy_one = tidy_text(before.source)
    after = compile_text(tidy_one)
    assert [lick.title for lick in before.licks] == [lick.title for lick in after.licks]
    for one, other in zip(before.licks, after.licks, strict=True):
        assert one.timeline and other.timeline and is_same_timeline(one.timeline, other.timeline), text
    assert _found(before) == _found(after)
    assert comments_in(text) == comments_in(tidy_one), tidy_one
    assert tidy_text(after.source) == tidy_one
    assert not any(line != line.rstrip() for line in tidy_one.splitlines())
    if before.ok:
        assert tidy(before) == (before, tidy_one, "")
    return tidy_one


def _found(compilation: Compilation) -> list[tuple[str, str, int]]:
    return sorted((d.code, d.message, d.bar or 0) for d in compilation.diagnostics)


# --- any lick --------------------------------------------------------------------------------------------------------


def test_every_sample_is_tidy() -> None:
    """`lickwright tidy --in-place samples` makes them so."""
    assert len(SAMPLES) > 10
    for path in SAMPLES:
        text = path.read_text("utf-8")
        assert tidy_text(Source(path.name, text)) == text


def _strewn(text: str, chance: Random) -> str:
    """The same music written by a hasty hand: other blanks, holds apart, comments and blank lines in between."""
    lines = []
    for line in text.splitlines():
        music = line.lstrip().startswith(("|", ":")) or line.startswith("  ")
        if music and '"' not in line:
            line = re.sub(r"(?<=[0-9x>*)~])-+(?=[ |)])", lambda m: " " + " ".join(m[0]), line)
            line = re.sub(r"(?<=[^ ]) (?=[^ ])", lambda m: " " * chance.choice([1, 1, 2, 5]), line)
        lines.append(line + " " * chance.choice([0, 0, 3]))
    return "\n".join(lines) + "\n" * chance.randint(0, 3)


@every_nth(4)
def test_a_sample_in_a_hasty_hand_is_tidied_to_the_letter(every: int) -> None:
    chance = Random(5)
    for path in SAMPLES[::every]:
        text = path.read_text("utf-8")
        strewn = _strewn(text, chance)
        assert strewn != text
        assert tidied(strewn) == text, path


def _made_text(number: int) -> str:
    """A made-up file: one or two licks, fields in any order, comments and blank lines anywhere."""
    chance = Random(number)
    words = iter(range(10_000))

    def strew(lines: list[str]) -> Iterator[str]:
        for line in lines:
            if chance.random() < 0.2:
                yield f"# comment {next(words)}"
            yield line + (f"   # comment {next(words)}" if chance.random() < 0.2 else "")
            yield from [""] * chance.choice([0, 0, 0, 1, 3])

    head = ["by Mara Quill", "step 1/8", "tempo 90", "sound clean", "key A minor", "x-shelf 3"]
    text = "\n".join(strew(chance.sample(head, chance.randint(0, 6)))) + "\n"
    for title in ("Gate", "Arch")[: chance.randint(1, 2)]:
        music, fields = made_lick(chance)
        broken = re.sub(r" \| ", lambda m: chance.choice([" | ", " |\n| ", " |\n\n  ", " |\n  "]), music)
        broken = re.sub(r"(?<=[0-9]) (?=[EADGBe][0-9])", lambda m: chance.choice([" ", " ", "\n  ", "   "]), broken)
        own = chance.sample([*fields, "tags one, two", "level 2", "note some words", "capo 2"], chance.randint(1, 4))
        own += [one for one in fields if one not in own]
        lines = broken.split("\n")
        text += f'\nlick "{title}"\n' + "\n".join([*strew(own), lines[0], *strew(lines[1:])]) + "\n"
    return text


@pytest.mark.parametrize(
    "numbers", [range(25), pytest.param(range(25, 1060), marks=pytest.mark.slow)], ids=["by day", "slow"]
)
def test_made_up_licks(numbers: range) -> None:
    for number in numbers:
        tidied(_made_text(number))


def test_the_reference_shows_what_becomes_of_a_file() -> None:
    page = (Path(__file__).parents[1] / "grammar" / "reference.md").read_text("utf-8")
    section = page[page.index("## The tidy form") :]
    before, after = re.findall(r"```lick\n(.*?)```", section, re.DOTALL)[:2]
    assert before != after == tidied(before)
    order = re.search(r"in this order: (.*?)\. Each", section, re.DOTALL)
    assert order is not None
    names = re.findall(r"`([a-z]+)`|(your own)", order[1])
    assert [name or "x-" for name, _ in names] == list(FIELD_ORDER)


def test_every_field_has_its_place() -> None:
    assert sorted(FIELD_ORDER) == sorted([*(row.name for row in FIELDS), "x-"])


# --- what a teacher sees -----------------------------------------------------------------------------------------------

HEAD = 'key A minor\n\nlick "Gate"\n'


@pytest.mark.parametrize(
    ("music", "expected"),
    [
        ("| A5 A7 D5 D7 G5 -  - - |", "| A5 A7 D5 D7 G5--- |"),
        ("| G5 h7 p5 D7 . . - - |", "| G5h7p5 D7 .. -- |"),
        ("| B8- -^10 -~ -- -r - |", "| B8- -^10 -~-- -r- |"),
        ("| G7---~ (rake: D G B e8) - . . |", "| G7-- -~ (rake: D G B e8)- .. |"),
        ("| e5&B5 - A0&e7 A-&e8 e. e8B8 G7 |", "| e5&B5- A0&e7 A-&e8 e. e8 B8 G7 |"),
        ("| 3:2[A5 A7 D5] 1/16 A5 A7 1/16 D5 D7 1/8 G5 - - |", "| 3[A5 A7 D5] 1/16 A5 A7 D5 D7 1/8 G5-- |"),
        ("| A5~'1~ A7'1^'p^9 D5 D7 G5--- |", "| A5~'1~ A7^'1'p^9 D5 D7 G5--- |"),  # not `~~`, not `^^9`
        ("| A5 A7 D5 D7 G5 - - -\n\n||", "| A5 A7 D5 D7 G5--- ||"),
        ("| A5 A7 D5 D7 G5 - - - ||\n|:", "| A5 A7 D5 D7 G5--- ||\n|:"),
        ("| A5 A7 D5 D7\n  G5 - - - |", "| A5 A7 D5 D7 G5--- |"),
        # One column for each eighth, as a careful hand writes it, stays one column for each beat.
        (
            "| A5 A7 D5 D7 G5 -  D7 -  |\n| G5 -  D7 -  A5 A7 D5 D7 |\n",
            "| A5 A7 D5 D7 G5-   D7-   |\n| G5-   D7-   A5 A7 D5 D7 |",
        ),
        (
            "| A5 A7 D5 D7 G5 - - - |\n| (pm: A5 A7) @mf D5 D7 G5--- ||",
            "|      A5 A7      D5 D7 G5--- |\n| (pm: A5 A7) @mf D5 D7 G5--- ||",
        ),
        ("|: A5------- |1st A5------- :|\n|2nd G5------- ||", "|:   A5------- |1st A5------- :|\n|2nd G5------- ||"),
        ("| A5------- | %\n| % | e5--- e5--- ||", "| A5------- | %           |\n| %         | e5--- e5--- ||"),
    ],
)  # fmt: skip
def test_bars(music: str, expected: str) -> None:
    assert tidied(f"{HEAD}{music}\n") == f"{HEAD}{expected}\n"


def test_a_bar_that_is_much_longer_than_the_others_moves_none_of_them() -> None:
    rich = " ".join(f"(up: G{n}&B{n}!)" for n in (5, 7, 8, 9, 5, 7, 8, 9))
    text = f"{HEAD}| A5 - - - D5 - - - | A7------- |\n| {rich} | e5 - - - - - - - ||\n"
    assert tidied(text) == f"{HEAD}| A5--- D5--- | A7------- |\n| {rich} | e5------- ||\n"


def test_a_long_bar_keeps_its_line_breaks() -> None:
    half = " ".join(["(up: G5&B5!)"] * 4)
    text = f"{HEAD}| {half}\n {half} |\n| A5------- ||\n"
    assert tidied(text) == f"{HEAD}| {half}\n  {half} |\n| A5------- ||\n"


@pytest.mark.parametrize(
    ("head", "expected"),
    [
        ("tempo 90\nkey A minor\nby Ann\n", "by    Ann\nkey   A minor\ntempo 90\n"),
        ("# mine\ntempo 90\nkey A minor\n", "# mine\nkey   A minor\ntempo 90\n"),  # about the file: it stays at the top
        ("key A minor\n# slow\ntempo 60\nbox 1\n", "key   A minor\nbox   1\n# slow\ntempo 60\n"),  # about the tempo
        ("# a\nnote x # b\n# c\nkey A minor\n", "# a\nnote x  # b\n# c\nkey  A minor\n"),  # comments keep their order
        ("tempo 90\nkey A minor\n\n\n\ncapo 2\nby Ann\n", "key   A minor\ntempo 90\n\nby    Ann\ncapo  2\n"),
        ("notation 1\nx-mine 3\nnote b\nnote a\nkey A minor\n", "notation 1\nkey    A minor\nx-mine 3\nnote   b\nnote   a\n"),
        ("note one\n   two # why\n  three\n", "note one\n     two  # why\n     three\n"),
        ("chords Am7|Dm7\n  |Am7 / / E7 | #\n  Am7\n", "chords Am7        | Dm7\n     | Am7 / / E7 |  #\n       Am7\n"),
        ("#no blank\n#   drawn: ---\n", "#no blank\n#   drawn: ---\n"),
    ],
)  # fmt: skip
def test_fields(head: str, expected: str) -> None:
    music = '\nlick "Gate"\n| A5 A7 D5 D7 G5--- | A5------- | A5------- | A5------- ||\n'
    assert tidied(head + music) == expected + music


def test_comments_and_paragraphs_stay_where_they_are() -> None:
    text = (
        '# one\n\n\n# two\nlick "Gate"   # three\n# four\nkey A minor # five\n\n\n| A5 A7 D5 D7 G5 - - - |   # six\n# seven\n'
        '\n| A5 - - - - - - - ||\n# eight\n\n# nine\nlick "Arch"\n| A5 A7 # ten\n  D5 D7 G5 - - - ||\n\n# eleven\n\n'
    )
    assert tidied(text) == (
        '# one\n\n# two\nlick "Gate"   # three\n# four\nkey A minor  # five\n\n| A5 A7 D5 D7 G5--- |  # six\n# seven\n'
        '\n| A5------- ||\n# eight\n\n# nine\nlick "Arch"\n| A5 A7  # ten\n  D5 D7 G5--- ||\n\n# eleven\n'
    ).replace('"   # three', '"  # three')


def test_bars_under_a_count_stay_as_they_are_aligned() -> None:
    counted = "#  1  & 2  & 3  & 4  &\n|  A5 - D5 - G5 - -  - |  # one\n|  D5 - A5 - e5 - -  - |\n"
    loose, tidy_bars = "\n| A5 - D5 - G5 -  - - |   # two\n", "\n| A5- D5- G5--- |  # two\n"
    words = "# 1 and not 2\n|  A5 - D5 - G5 - -  - |\n"
    assert tidied(HEAD + counted + loose) == HEAD + counted + tidy_bars
    assert tidied(HEAD + words) == HEAD + words[: words.index("|")] + "| A5- D5- G5--- |\n"


def test_a_text_of_many_bars_takes_time_in_proportion() -> None:
    """Blocks, comments and fields: four times as much of each takes four times the lines of Python, and not sixteen."""

    def text(number: int) -> str:
        bars = "".join(f"| e5 e5 e5 e5 {'e5-- e5' if n % 2 else '----'} |\n" for n in range(number))
        return "# a\n" * number + f"{HEAD}{bars}" + "# b\n" * number

    counts = [steps(lambda: tidy_text(Source("-", text(number)))) for number in (40, 160)]  # noqa: B023
    assert counts[1] < 6 * counts[0]


# --- the command -------------------------------------------------------------------------------------------------------

Run = Callable[..., tuple[int, str, str]]
LOOSE, TIDY = f"{HEAD}| A5 A7 D5 D7 G5 - - - ||\n", f"{HEAD}| A5 A7 D5 D7 G5--- ||\n"
WRONG = f"{HEAD}| b8 e8 ||\n"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)

    def go(*arguments: str) -> tuple[int, str, str]:
        code = main(["tidy", *arguments])
        out, err = capsys.readouterr()
        return code, out, err

    return go


def _write(name: str, text: str) -> Path:
    path = Path(name)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(text.encode())
    return path


def test_one_file_is_printed_and_stays(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    import io
    import sys

    path = _write("a.lick", LOOSE)
    assert run("a.lick") == (0, TIDY, "")
    assert path.read_text() == LOOSE
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(LOOSE.encode())))
    assert run("-") == (0, TIDY, "")


def test_of_many_the_names_are_printed(run: Run) -> None:
    for name, text in (("a", LOOSE), ("b", TIDY), ("c", LOOSE)):
        _write(f"lib/{name}.lick", text)
    assert run("lib") == (0, "lib/a.lick\nlib/c.lick\n", "2 of 3 files would change\n")
    assert run("--check", "lib") == (1, "lib/a.lick\nlib/c.lick\n", "2 of 3 files would change\n")
    assert run("--check", "lib/b.lick") == (0, "", "nothing to change in 1 file\n")
    assert run("--in-place", "lib") == (0, "lib/a.lick\nlib/c.lick\n", "2 of 3 files written\n")
    assert {path.read_text() for path in Path("lib").iterdir()} == {TIDY}
    assert run("--check", "lib") == (0, "", "nothing to change in 3 files\n")
    assert run("--in-place", "lib") == (0, "", "nothing to change in 3 files\n")


def test_a_diff(run: Run) -> None:
    path = _write("a.lick", LOOSE)
    code, out, _ = run("--diff", "a.lick")
    assert (code, path.read_text()) == (0, LOOSE)
    assert out.startswith("--- a.lick\n+++ a.lick (tidy)\n")
    assert out.endswith("-| A5 A7 D5 D7 G5 - - - ||\n+| A5 A7 D5 D7 G5--- ||\n")
    assert run("--diff", "--check", "a.lick")[:2] == (1, out)
    assert run("--diff", "--in-place", "a.lick")[:2] == (0, out)
    assert path.read_text() == TIDY


def test_check_writes_nothing(run: Run) -> None:
    path = _write("a.lick", LOOSE)
    code, _, err = run("--check", "--in-place", "a.lick")
    assert code == 2 and "--check writes nothing" in err
    assert path.read_text() == LOOSE


def test_a_file_with_errors_is_reported_and_left(run: Run) -> None:
    wrong, good = _write("lib/wrong.lick", WRONG), _write("lib/good.lick", LOOSE)
    code, out, err = run("--in-place", "lib")
    assert (code, out) == (1, "lib/good.lick\n")
    assert "lib/wrong.lick: left as it is: 1 error; see `lickwright check`\n" in err
    assert err.endswith("1 of 2 files written; 1 left as it is\n")
    assert (wrong.read_text(), good.read_text()) == (WRONG, TIDY)
    code, out, err = run("lib/wrong.lick")
    assert (code, out) == (1, "") and "there is no string `b`" in err
    assert run("lib/none.lick")[0] == 3
    os.mkdir("empty")
    code, out, err = run("--check", "empty", "lib/good.lick")
    assert (code, out) == (3, "") and "(L603)" in err


def test_what_would_sound_different_is_refused(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A mistake in the tidy form must not reach the file."""
    path = _write("a.lick", LOOSE)
    honest, more = tidying.canonical_text, count(1)

    def wrong(change: Callable[[str], str]) -> None:
        monkeypatch.setattr(tidying, "canonical_text", lambda *some: change(honest(*some)))

    for change, why in (
        (lambda text: text.replace("D7", "D5"), '"Gate" would not be the same'),
        (lambda text: text.replace("||", "|"), '"Gate" would not be the same'),
        (lambda text: text.replace("D7", "d7"), "it would have an error"),
        (lambda text: text.rstrip() + " # more\n", "a comment would be lost"),
        (lambda text: text + "\n" * next(more), "its tidy form would change again"),
    ):
        wrong(change)
        code, out, err = run("--in-place", "a.lick")
        assert (code, out) == (70, "")
        assert f"a.lick: left as it is: {why}; that is a mistake of Lickwright's: please report it\n" in err
        assert path.read_text() == LOOSE


def test_line_ends_and_byte_order_mark_stay(run: Run) -> None:
    path = Path("a.lick")
    path.write_bytes(b"\xef\xbb\xbf" + LOOSE.replace("\n", "\r\n").encode())
    assert run("--in-place", "a.lick")[0] == 0
    assert path.read_bytes() == b"\xef\xbb\xbf" + TIDY.replace("\n", "\r\n").encode()
    assert tidy_bytes(b"a\n", "b\n") == b"b\n"


def test_what_other_commands_write_is_tidy(run: Run, capsys: pytest.CaptureFixture[str]) -> None:
    lines = [f"{name}|{'-5-7-' if name in 'DG' else '-----'}|" for name in "eBGDAE"]
    _write("tab.txt", "Tuning: standard\n\n" + "\n".join(lines) + "\n")
    assert main(["read", "tab.txt", "--out", "read.lick"]) == 0
    os.mkdir("moved")
    for path in SAMPLES[::5]:
        assert main(["move", str(path), "--octave", "up", "--by", "shape", "--out", f"moved/{path.stem}.lick"]) < 2
    capsys.readouterr()
    assert run("--check", "read.lick")[0] == 0
    code, out, err = run("--check", "moved")
    assert (code, out) == (0, ""), out
    assert re.fullmatch(r"nothing to change in \d files\n", err)


# --- the file ----------------------------------------------------------------------------------------------------------


def test_owner_permissions_and_links_stay(run: Run) -> None:
    for name in ("lib", "else"):
        os.mkdir(name)
    own, other = _write("lib/a.lick", LOOSE), _write("else/c.lick", LOOSE)
    own.chmod(0o640)
    os.symlink("../else/c.lick", "lib/c.lick")
    os.link(own, "copy")
    code, out, err = run("--in-place", "lib")
    assert (code, out) == (0, "lib/a.lick\n")
    assert "lib/c.lick: left as it is: it is a link to a file outside what was named\n" in err
    assert "lib/a.lick: the file has another name too (a hard link)" in err
    assert (own.read_text(), other.read_text(), Path("copy").read_text()) == (TIDY, LOOSE, LOOSE)
    assert stat.S_IMODE(own.stat().st_mode) == 0o640
    assert run("--in-place", "lib/c.lick")[0] == 0  # the link itself was named
    assert other.read_text() == TIDY and os.path.islink("lib/c.lick")


@pytest.mark.parametrize("call", ["replace", "fsync", "write"])
def test_a_full_disk_leaves_the_file(run: Run, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    path = _write("a.lick", LOOSE)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, call, full)
        code, out, err = run("--in-place", "a.lick")
    assert (code, out) == (3, "")
    assert "nothing was written: no space left on device (L604)" in err
    assert path.read_text() == LOOSE
    assert os.listdir() == ["a.lick"]


def test_a_file_that_may_not_be_written_or_was_changed_is_left(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from lickwright.cli import tidy_view

    path = _write("a.lick", LOOSE)
    with monkeypatch.context() as patch:
        patch.setattr(os, "access", lambda *_: False)
        code, _, err = run("--in-place", "a.lick")
    assert code == 3 and "the file may not be written to" in err
    whole = tidy_view.tidy

    def slow(before: Compilation) -> object:
        path.write_text("# mine\n" + LOOSE)
        return whole(before)

    monkeypatch.setattr(tidy_view, "tidy", slow)
    code, _, err = run("--in-place", "a.lick")
    assert code == 3 and "the file was changed while it was read" in err
    assert path.read_text() == "# mine\n" + LOOSE


@pytest.mark.parametrize("call", ["open", "write", "fsync", "close", "replace"])
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_what_is_said_after_an_interrupt_is_true(
    run: Run, monkeypatch: pytest.MonkeyPatch, call: str, after: bool
) -> None:
    for number in range(1, 40):
        paths = [_write(f"{name}.lick", LOOSE) for name in "ab"]
        with interrupted_call(monkeypatch, call, number, after) as calls:
            code, _, err = run("--in-place", ".")
        if calls.count < number:
            assert number > 2 and code == 0
            return
        assert code == 130
        assert {path.read_text() for path in paths} <= {LOOSE, TIDY}
        written = sum(path.read_text() == TIDY for path in paths)
        said = re.search(r"^(\d) files? written until then$", err, re.MULTILINE)
        assert int(said[1] if said else 0) == written, err
        assert sorted(os.listdir()) == ["a.lick", "b.lick"]
    pytest.fail("it never ended")
