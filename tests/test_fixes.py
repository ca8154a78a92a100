"""Fixes: offered where one answer is sure and nowhere else, right when taken, and never a file's loss."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interrupting import interrupted_call
from lickwright import compile_text
from lickwright.cli import main
from lickwright.compiler.rules import all_rules
from lickwright.core.diagnostics import Change, Fix, has_errors, replacement_fix
from lickwright.core.source import Source, Span, decode_source
from lickwright.core.text_edits import apply_fixes, compatible_fixes, place_change, rewrite_bytes
from lickwright.transform.autofix import autofix
from shares import every_nth

RULES = all_rules()

HEAD = 'lick "Gate"\n'
REST = " e8 e5 B8 B5 G7 - -"

# What a person types, and the one thing that it can have been meant to be.
SURE = [
    (f"{HEAD}| b8{REST} |", f"{HEAD}| B8{REST} |"),
    (f"{HEAD}| g7&b8{REST} |", f"{HEAD}| G7&B8{REST} |"),
    (f"{HEAD}| d5h7 e5 B8 B5 G7 - - |", f"{HEAD}| D5h7 e5 B8 B5 G7 - - |"),
    (f"{HEAD}| –{REST[:-4]} – e5 |", None),  # nothing sounds before: it cannot be a hold
    (f"{HEAD}| e8 – B8 B5 G7 – — − |", f"{HEAD}| e8 - B8 B5 G7 - - - |"),
    (f"{HEAD}| e8’4{REST} |", f"{HEAD}| e8'4{REST} |"),
    (f"{HEAD}| e8 B5 G7 G5 … e5 |", f"{HEAD}| e8 B5 G7 G5 ... e5 |"),
    (f"{HEAD}| e8\u00a0e5 B8 B5 G7 - - - |", f"{HEAD}| e8 e5 B8 B5 G7 - - - |"),
    (f"{HEAD}| e\u200b8{REST} |", f"{HEAD}| e8{REST} |"),
    (f"lick “Gate”\n| e8{REST} |", f"{HEAD}| e8{REST} |"),
    (f'Lick "Gate"\n| e8{REST} |', f"{HEAD}| e8{REST} |"),
    (f"{HEAD}| @“so” e8{REST} |", f'{HEAD}| @"so" e8{REST} |'),
    (f"{HEAD}| @MF e8{REST} |", f"{HEAD}| @mf e8{REST} |"),
    (f"{HEAD}| @tempo = 90 e8{REST} |", f"{HEAD}| @tempo=90 e8{REST} |"),
    (f"{HEAD}| (pm E0 E0 E0 E0) e8 - - - |", f"{HEAD}| (pm: E0 E0 E0 E0) e8 - - - |"),
    (f"{HEAD}| (PM: E0 E0 E0 E0) e8 - - - |", f"{HEAD}| (pm: E0 E0 E0 E0) e8 - - - |"),
    (f"{HEAD}| (pm : E0 E0 E0 E0) e8 - - - |", f"{HEAD}| (pm: E0 E0 E0 E0) e8 - - - |"),
    (f"{HEAD}|: e8{REST} :| x3", f"{HEAD}|: e8{REST} :|x3"),
    (f"{HEAD}|: e8{REST} :||  x3", f"{HEAD}|: e8{REST} :||x3"),
    (f"{HEAD}| 3 [e8 e5 B8] B5 G7 - - - - |", f"{HEAD}| 3[e8 e5 B8] B5 G7 - - - - |"),
    (f"{HEAD}| 5:4 [e8 e5 B8 B5 G7] G5 - - - |", f"{HEAD}| 5:4[e8 e5 B8 B5 G7] G5 - - - |"),
    (f"{HEAD}key: A minor\n| e8{REST} |", f"{HEAD}key A minor\n| e8{REST} |"),
    (f"{HEAD}tempo=90\n| e8{REST} |", f"{HEAD}tempo 90\n| e8{REST} |"),
    (f"{HEAD}Tempo 90\n| e8{REST} |", f"{HEAD}tempo 90\n| e8{REST} |"),
    (f"{HEAD}sound Lead\n| e8{REST} |", f"{HEAD}sound lead\n| e8{REST} |"),
    (f"{HEAD}Key a minor\n| e8{REST} |", f"{HEAD}key A minor\n| e8{REST} |"),
    (f"{HEAD}key A minor\nbox frets 5–8\n| e8{REST} |", f"{HEAD}key A minor\nbox frets 5-8\n| e8{REST} |"),
    (f"{HEAD}| G7P5 e5 B8 B5 G7 - - |", f"{HEAD}| G7p5 e5 B8 B5 G7 - - |"),
    (f"{HEAD}| G5&B5 GH7&BH7 e5 B8 B5 G7 - - |", f"{HEAD}| G5&B5 Gh7&Bh7 e5 B8 B5 G7 - - |"),
    (f"{HEAD}| GX e5 B8 B5 G7 - - - |", f"{HEAD}| Gx e5 B8 B5 G7 - - - |"),
    (f"{HEAD}| G7 h5 B8 B5 G7 - - - |", f"{HEAD}| G7 p5 B8 B5 G7 - - - |"),
    (f"{HEAD}| G5p7 e5 B8 B5 G7 - - |", f"{HEAD}| G5h7 e5 B8 B5 G7 - - |"),
    (f"{HEAD}| e5 G7&B5 Gh5&B8 e5 G7 - - - |", f"{HEAD}| e5 G7&B5 Gp5&B8 e5 G7 - - - |"),
    (f"{HEAD}| G7 /5 B8 B5 G7 - - - |", f"{HEAD}| G7 \\5 B8 B5 G7 - - - |"),
    (f"{HEAD}| G5 \\\\7 B8 B5 G7 - - - |", f"{HEAD}| G5 //7 B8 B5 G7 - - - |"),
    (f"{HEAD}| G5 G7 | e8{REST} | e8 e5 G7 - - - |", f"{HEAD}pickup 1/4\n| G5 G7 | e8{REST} | e8 e5 G7 - - - |"),
    (f"{HEAD}| (let ring: E0 G0 B0 e0) e8 - - - |", f"{HEAD}| (ring: E0 G0 B0 e0) e8 - - - |"),
    (f"{HEAD}| (P.M.: E0 E0 E0 E0) e8 - - - |", f"{HEAD}| (pm: E0 E0 E0 E0) e8 - - - |"),
    (f"{HEAD}| e 8{REST} |", f"{HEAD}| e8{REST} |"),
    (f"Key: A minor\n{HEAD}| e8{REST} |", f"key A minor\n{HEAD}| e8{REST} |"),
    (f"key = A minor\n{HEAD}| e8{REST} |", f"key A minor\n{HEAD}| e8{REST} |"),
]  # fmt: skip

# What could be mended in two ways has no fix.
UNSURE = [
    f"{HEAD}| e8{REST[:-2]} |",  # a bar one short
    f"{HEAD}| e8{REST} - |",  # one long
    f"{HEAD}| G5 G7 B8 B5 e5 | e8{REST} |",  # a pick-up, or steps left out
    f"{HEAD}| G5 G7 | e8{REST} |",  # the same: nothing at the end makes up for it
    f"{HEAD}| e5|B5 e5 B8 e5 G7 - - - |",  # a pick-up, or two notes together
    f"{HEAD}|e5 B8 e5 B8|e5 B8 e5 B8|",  # a pick-up, or quarters
    f"{HEAD}| H8{REST} |",  # a hammer-on, or the B string of German books
    f"{HEAD}| G5H7{REST} |",
    f"{HEAD}| G5 H7{REST[:-2]} |",
    f"{HEAD}| G7 b9{REST[:-2]} |",  # the B string, or a bend
    f"{HEAD}| e8 B5 • e5 G7 - - - |",  # a rest, a hold, a dead note
    f"{HEAD}| c8{REST} |",  # no string has such a letter
    f"{HEAD}| f7{REST} |",
    f"{HEAD}| G7. G5 e5 B8 B5 G7 - |",  # a rest, or a longer note
    f"{HEAD}| G7/G9 e5 B8 B5 G7 - - |",
    f"{HEAD}| B8b10{REST} |",
    f"{HEAD}| G7 h7 B8 B5 G7 - - - |",  # the same fret: held, or picked
    f"{HEAD}| B8^13{REST} |",  # a bend, or a slide
    f"{HEAD}| (palm: E0 E0 E0 E0) e8 - - - |",
    f"{HEAD}temp 90\n| e8{REST} |",
    f"{HEAD}| e8\x07{REST} |",
    f"{HEAD}| [e8 e5 B8] B5 G7 - - - - |",
    f"{HEAD}|: e8{REST} :| x1",
    f"{HEAD}|: G7 - - - e8 e5 B8 B5 :|x3",
    f"{HEAD}|: h7 - - - e8 e5 G5 G8 :| G5 - - - - - - - |",
    f"{HEAD}| e8{REST} @“let it hang| e8{REST} |",  # where the words end
    f"{HEAD}| e8 @“let it hang e5 e8 | e8{REST} |",
]  # fmt: skip


def _fixes(text: str) -> list[Fix]:
    return [d.fix for d in compile_text(text).diagnostics if d.fix]


@pytest.mark.parametrize(("typed", "meant"), [(t, m) for t, m in SURE if m], ids=[m for _, m in SURE if m])
def test_what_is_sure_is_mended(typed: str, meant: str) -> None:
    assert [d for d in compile_text(typed + "\n").diagnostics if d.fix], "no fix offered"
    assert autofix(compile_text(typed + "\n")).after.source.text == meant + "\n"


@pytest.mark.parametrize(("typed", "meant"), [(t, m) for t, m in SURE if m], ids=[m for _, m in SURE if m])
def test_what_was_mended_is_right(typed: str, meant: str) -> None:
    assert not has_errors(compile_text(meant + "\n").diagnostics)
    assert _fixes(meant + "\n") == []


@pytest.mark.parametrize("typed", UNSURE)
def test_what_is_not_sure_has_no_fix(typed: str) -> None:
    assert _fixes(typed + "\n") == []


@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.bad], ids=lambda rule: rule.code)
def test_no_fix_of_a_bad_example_makes_new_errors(rule: object) -> None:
    before = compile_text(rule.bad)  # type: ignore[attr-defined]
    mended = autofix(before)
    errors = [d for d in before.diagnostics if d.severity == "error"]
    assert len([d for d in mended.after.diagnostics if d.severity == "error"]) <= len(errors)
    assert mended.rewrite(before.source.text.encode("utf-8", "surrogatepass")).decode() == mended.after.source.text


def test_a_join_over_a_bar_line_that_is_played_twice_is_not_sure() -> None:
    text = f"{HEAD}| e8 e5 B8 e5 e8 e5 G5 G7 |: h5 - - - e8 e5 G7 G5 :|\n"
    found = compile_text(text).diagnostics
    assert [d.code for d in found if d.severity == "error"]
    assert not [d for d in found if d.fix]


# --- putting them into a text ----------------------------------------------------------------------------------------


def test_fixes_that_touch_are_not_taken_together() -> None:
    source = Source("a", "abcdef\n")
    first, second, third = replacement_fix(0, 2, "X"), replacement_fix(2, 4, "Y"), replacement_fix(5, 6, "Z")
    assert compatible_fixes(source, [first, second, third, first]) == [first, third]
    assert apply_fixes(source, [first, third]) == "XcdeZ\n"


def test_a_line_of_its_own_goes_before_its_line() -> None:
    source = Source("a", "one\ntwo three\n")
    fix = Fix("add", (Change(Span(8, 8), "new\n"),))
    assert place_change(source, fix.changes[0]) == Change(Span(4, 4), "new\n")
    assert apply_fixes(source, [fix]) == "one\nnew\ntwo three\n"


@given(st.text("ab\r\n\ufeff\U0001f3b8"), st.data())
def test_the_bytes_of_a_file_keep_their_line_ends(text: str, data: st.DataObject) -> None:
    raw = text.encode()
    source = decode_source("a", raw)
    at = data.draw(st.integers(0, len(source.text)))
    new = rewrite_bytes(raw, source, [replacement_fix(at, at, "XY")])
    assert new.replace(b"XY", b"", 1) == raw
    assert decode_source("a", new).text == apply_fixes(source, [replacement_fix(at, at, "XY")])


def test_windows_line_ends_and_the_mark_survive() -> None:
    raw = f"\ufeff{HEAD}| G5 G7 | b8{REST} | e8{REST[:-4]} |\n".replace("\n", "\r\n").encode()
    mended = autofix(compile_text(raw.decode()))
    assert (
        mended.rewrite(raw)
        == f"\ufeff{HEAD}pickup 1/4\n| G5 G7 | B8{REST} | e8{REST[:-4]} |\n".replace("\n", "\r\n").encode()
    )


# --- the whole ------------------------------------------------------------------------------------------------------


def test_a_fix_that_would_bring_an_error_is_refused_and_the_rest_is_done() -> None:
    text = f"{HEAD}key: A minor\n| e8 e5 g8 B5 G7 - - - - |\n| b8{REST} |\n"
    mended = autofix(compile_text(text))
    assert mended.after.source.text == text.replace("key:", "key").replace("| b8", "| B8")
    (refused,) = mended.refused
    assert refused.finding.code == "L103"
    assert refused.because.code == "L302"


def test_one_mistake_that_hides_another_with_a_fix_is_mended_with_it() -> None:
    mended = autofix(compile_text(f"{HEAD}| G7 h5 b8 B5 G7 - - - |\n"))
    assert mended.after.source.text == f"{HEAD}| G7 p5 B8 B5 G7 - - - |\n"
    assert not mended.refused


def test_many_fixes_cost_few_tries() -> None:
    text = HEAD + f"| b8{REST} |\n" * 300
    mended = autofix(compile_text(text))
    assert mended.count == 300
    assert mended.after.ok


# --- the command ----------------------------------------------------------------------------------------------------

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.chdir(tmp_path)

    def go(*arguments: str) -> tuple[int, str, str]:
        code = main(list(arguments))
        out, err = capsys.readouterr()
        return code, out, err

    return go


def _write(name: str, text: str) -> Path:
    path = Path(name)
    path.write_bytes(text.encode())
    return path


SLIP, RIGHT = f"{HEAD}| b8{REST} |\n", f"{HEAD}| B8{REST} |\n"


def test_fix_prints_a_diff_and_writes_nothing(run: Run) -> None:
    path = _write("a.lick", SLIP)
    code, out, err = run("check", "--fix", "a.lick")
    assert code == 1  # the file as it stands has an error
    assert out == (f"--- a.lick\n+++ a.lick (fixed)\n@@ -1,2 +1,2 @@\n {HEAD}-| b8{REST} |\n+| B8{REST} |\n")
    assert "1 fix shown, nothing written" in err
    assert path.read_text() == SLIP


def test_in_place_writes_and_a_second_run_finds_nothing(run: Run) -> None:
    path = _write("a.lick", SLIP)
    path.chmod(0o640)
    assert run("check", "--fix", "--in-place", "a.lick")[0] == 0
    assert path.read_text() == RIGHT
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert os.listdir() == ["a.lick"]
    before = path.stat().st_mtime_ns
    code, out, _ = run("check", "--fix", "--in-place", "a.lick")
    assert (code, out) == (0, "")
    assert path.stat().st_mtime_ns == before


def test_in_place_follows_a_link_and_leaves_it_one(run: Run) -> None:
    path = _write("real.lick", SLIP)
    Path("link.lick").symlink_to("real.lick")
    assert run("check", "--fix", "--in-place", "link.lick")[0] == 0
    assert Path("link.lick").is_symlink()
    assert path.read_text() == RIGHT


def test_a_file_that_cannot_be_written_is_as_it_was(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    path = _write("a.lick", SLIP)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    for call in ("replace", "fsync"):
        with monkeypatch.context() as patch:
            patch.setattr(os, call, full)
            code, _, err = run("check", "--fix", "--in-place", "a.lick")
        assert code == 3
        assert "nothing was written: no space left on device (L604)" in err
        assert path.read_text() == SLIP
        assert os.listdir() == ["a.lick"]


def test_a_file_that_changed_meanwhile_is_left_alone(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from lickwright.cli import fix_view

    path = _write("a.lick", SLIP)
    whole = fix_view.autofix

    def slow(before: object) -> object:
        path.write_text("# mine\n" + SLIP)
        return whole(before)  # type: ignore[arg-type]

    monkeypatch.setattr(fix_view, "autofix", slow)
    code, _, err = run("check", "--fix", "--in-place", "a.lick")
    assert code == 3
    assert "was changed" in err
    assert path.read_text() == "# mine\n" + SLIP


def test_standard_input_has_a_diff_and_no_place(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    import io
    import sys

    for arguments, code in ((["--fix"], 1), (["--fix", "--in-place"], 3)):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(SLIP.encode())))
        got, out, _ = run("check", *arguments, "-")
        assert got == code
        assert "+| B8" in out


@pytest.mark.parametrize(
    "arguments",
    [["--in-place"], ["--fix", "--format", "json"], ["--fix", "--profile"], ["--profile", "--format", "sarif"]],
)
def test_options_that_do_not_go_together(run: Run, arguments: list[str]) -> None:
    _write("a.lick", SLIP)
    code, out, err = run("check", "a.lick", *arguments)
    assert (code, out) == (2, "")
    assert re.match("error: .*\n", err)


def test_json_has_the_fix(run: Run) -> None:
    import json

    _write("a.lick", SLIP)
    value = json.loads(run("check", "--format", "json", "a.lick")[1])
    (found,) = [d for d in value["files"][0]["diagnostics"] if d["code"] == "L103"]
    assert found["fix"] == {
        "title": "write `B8`",
        "changes": [{"line": 2, "column": 3, "end_line": 2, "end_column": 5, "text": "B8"}],
    }
    assert re.fullmatch("[0-9a-f]{32}", found["fingerprint"])


# --- in whole files -------------------------------------------------------------------------------------------------

SLIPS = (
    "string in small letters", "long dash", "curly title", "times sign", "nothing to be seen", "space before [",
    "word without colon", "slide the wrong way", "Lick", "colon after a field",
)  # fmt: skip


@every_nth(3)
@pytest.mark.parametrize("name", SLIPS)
def test_a_slip_in_a_sample_is_mended_to_the_letter(name: str, every: int) -> None:
    from random import Random

    from planting import MISTAKES, pieces

    (mistake,) = (m for m in MISTAKES if m.name == name)
    chance, done = Random(name), 0
    for path in sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))[::every]:
        text = path.read_text("utf-8")
        page = pieces(text)
        sites = [n for n, piece in enumerate(page) if piece.kind == mistake.where]
        made = next((m for n in chance.sample(sites, len(sites)) if (m := mistake.make(page, n, chance))), None)
        slipped = "".join((made or {}).get(n, piece.text) for n, piece in enumerate(page))
        if slipped == text:
            continue
        mended = autofix(compile_text(slipped)).after.source.text
        if name == "string in small letters" and mended == slipped:
            continue  # `G2 b3` may be a bend: it stays as it was typed
        assert mended == text, path.name
        done += 1
    assert done >= max(1, 2 // every)


def test_in_place_leaves_what_a_link_leads_to_outside(run: Run) -> None:
    """A folder that somebody sends must not change files elsewhere; in place means below what was named."""
    for name in ("lib", "lib/below", "else"):
        os.mkdir(name)
    own, deep, other = _write("lib/a.lick", SLIP), _write("lib/below/b.lick", SLIP), _write("else/c.lick", SLIP)
    os.symlink("../else/c.lick", "lib/c.lick")
    os.symlink("below/b.lick", "lib/d.lick")
    for name in ("lib/below", "else"):
        Path(name, ".lw-0123456789abcdef.tmp").touch()
    code, out, err = run("check", "--fix", "--in-place", "lib")
    assert code == 1  # the one that was left has its error
    assert (own.read_text(), deep.read_text(), other.read_text()) == (RIGHT, RIGHT, SLIP)
    assert os.path.islink("lib/c.lick") and os.path.islink("lib/d.lick")
    assert "lib/c.lick: left as it is: it is a link to a file outside what was named\n" in err
    assert "2 fixes written" in err
    assert "c.lick" not in out
    assert (
        os.listdir("lib/below") == ["b.lick"] and len(os.listdir("else")) == 2
    )  # what a killed run left, inside alone
    assert run("check", "--fix", "--in-place", "lib", "lib/c.lick")[0] == 0  # named: the link stays, its file is mended
    assert other.read_text() == RIGHT
    assert os.path.islink("lib/c.lick")


@pytest.mark.parametrize("named", [["else", "lib"], ["lib", "else/c.lick"], ["linked"], ["."]])
def test_in_place_mends_a_linked_file_below_anything_that_was_named(run: Run, named: list[str]) -> None:
    for name in ("lib", "else"):
        os.mkdir(name)
    other = _write("else/c.lick", SLIP)
    os.symlink("../else/c.lick", "lib/c.lick")
    os.symlink("else", "linked")
    assert run("check", "--fix", "--in-place", *named)[0] == 0
    assert other.read_text() == RIGHT


def test_a_folder_is_not_taken_for_another_whose_name_begins_the_same(run: Run) -> None:
    for name in ("lib", "library"):
        os.mkdir(name)
    other = _write("library/c.lick", SLIP)
    os.symlink("../library/c.lick", "lib/c.lick")
    assert run("check", "--fix", "--in-place", "lib")[0] == 1
    assert other.read_text() == SLIP


def test_another_name_of_the_same_file_keeps_the_old_text_and_it_is_said(run: Run) -> None:
    """So a copy that a backup made with hard links is not changed with it."""
    path = _write("a.lick", SLIP)
    os.link(path, "backup")
    code, _, err = run("check", "--fix", "--in-place", "a.lick")
    assert code == 0
    assert "a.lick: the file has another name too (a hard link), where the old text stays" in err
    assert (path.read_text(), Path("backup").read_text()) == (RIGHT, SLIP)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root gives files away")
def test_the_owner_stays(run: Run) -> None:
    path = _write("a.lick", SLIP)
    os.chown(path, 1234, 2345)
    path.chmod(0o2644)
    assert run("check", "--fix", "--in-place", "a.lick")[0] == 0
    assert (path.stat().st_uid, path.stat().st_gid, stat.S_IMODE(path.stat().st_mode)) == (1234, 2345, 0o2644)


@pytest.mark.parametrize("call", ["open", "write", "chmod", "fsync", "close", "replace"])
@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
def test_what_is_said_after_an_interrupt_is_true(
    run: Run, monkeypatch: pytest.MonkeyPatch, call: str, after: bool
) -> None:
    """At each call in turn: as many fixes are said to be written as are; the interrupt ends the run."""
    for number in range(1, 40):
        paths = [_write(f"{name}.lick", SLIP) for name in "abc"]
        with interrupted_call(monkeypatch, call, number, after) as calls:
            code, _, err = run("check", "--fix", "--in-place", ".")
        if calls.count < number:
            assert number > 3 and code == 0
            return
        assert code == 130
        assert err.endswith("stopped\n")
        assert "nothing was written" not in err
        assert {path.read_text() for path in paths} <= {SLIP, RIGHT}
        written = sum(path.read_text() == RIGHT for path in paths)
        said = re.search(r"^(\d) fix(es)? written until then$", err, re.MULTILINE)
        assert said is None or int(said[1]) == written
        assert written == 0 or said, err
        assert sorted(os.listdir()) == ["a.lick", "b.lick", "c.lick"]
    pytest.fail("it never ended")


def test_a_wish_to_end_tidies_up_and_has_its_own_code(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    import signal

    _write("a.lick", SLIP)
    for number, code in ((signal.SIGTERM, 143), (signal.SIGINT, 130), (signal.SIGHUP, 129)):
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", lambda _: os.kill(os.getpid(), number))  # noqa: B023
            assert run("check", "--fix", "--in-place", "a.lick")[0] == code
        assert os.listdir() == ["a.lick"]
        assert Path("a.lick").read_text() == SLIP
