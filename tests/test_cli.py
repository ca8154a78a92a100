"""The commands, as a user calls them, in this process."""

from __future__ import annotations

import json
import os
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from commanding import Run, write
from lickwright.cli.commands import COMMANDS
from lickwright.compiler.rules import all_rules
from lickwright.core.version import __version__
from lickwright.export import EXPORTS

RULES = all_rules()

GOOD = 'lick "Porch light"\n| e8 e5 B8 B5 G7 G5 D7 D5 ||\n'
BAD = 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'  # hammers on to nothing
ODD = 'lick "Upbeat"\n| e8 e5 | e8 e5 B8 B5 G7 G5 D7 D5 ||\n'  # a pick-up that nobody declared: a warning


def _tree(folder: str = "out") -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in Path(folder).rglob("*") if p.is_file() and p.name[0] != ".")


# ---- the whole


def test_version_and_help(run: Run) -> None:
    assert run("--version") == (0, f"lickwright {__version__} (notation 1)\n", "")
    code, out, _ = run("--help")
    assert code == 0
    assert all(f"\n  {name} " in out and f"\n    lickwright {name} " in out for name in COMMANDS)


def test_no_arguments_show_the_help(run: Run) -> None:
    code, out, err = run()
    assert code == 2
    assert "Usage: lickwright" in out + err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["mak"], "did you mean lickwright make?"),
        (["song.lick"], "did you mean lickwright check song.lick?"),
        (["make"], "a PATH is missing"),
        (["check"], "a PATH is missing"),
        (["make", "x", "--to", "mid"], "did you mean midi?"),
        (["make", "x", "--to", "pdf"], "did you mean sheet?"),
        (["make", "x", "--to", "html"], "did you mean page?"),
        (["make", "x", "--to", "svg"], "write sheet, and --sheet-format svg"),
        (["make", "x", "--letter"], "there is no option --letter; did you mean --paper letter?"),
        (["make", "x", "--html"], "did you mean --to page?"),
        (["make", "x", "--ouy", "y"], "there is no option --ouy; did you mean --out"),
        (
            ["make", "x", "--book", "--to", "sheet"],
            "error: --book needs a title before --to\n    lickwright make --help",
        ),
        (["make", "x", "--book"], "error: --book needs a title\n"),
        (["assign", "Mara", "x", "--note", "--by", "2026-12-05"], "--note needs words before --by"),
        (["find", "x", "--like", "--limit", "3"], "--like needs a file before --limit"),
        (["make", "x", "--silent-page"], "--silent-page is about lesson pages: say --to page"),
        (["box", "Am8"], '"Am8" is not a chord known here: write A, Am7'),
        (["make", "x", "--to", ","], "no format named"),
        (["make", "x", "--tempo", "fast"], "72 for beats a minute, or 60%"),
        (["make", "x", "--tempo", "5"], "from 10 to 400"),
        (["make", "x", "--tempo", "500%"], "from 10 to 400"),
        (["make", "x", "--tempo", "٧٢"], "is not a tempo"),
        (["make", "x", "--width", "1"], "--width"),
        (["make", "x", "--widt", "80"], "--width"),
        (["check", "x", "--format", "xml"], "json"),
        (["why", "L9"], "there is no finding L9"),
        (["\x1b[2J"], r"\u{1B}[2J"),
        (["why", "\x1b[2J"], r"\u{1B}[2J"),
    ],
)
def test_wrong_usage_ends_with_2_and_says_what_is_right(run: Run, arguments: list[str], said: str) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert err.startswith("error: ")
    assert "\x1b" not in err


def test_a_bug_of_ours_is_owned_up_to(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyError("secret\x1b[2J")

    write("a.lick", GOOD)
    write("b.lick", BAD)
    monkeypatch.setattr("lickwright.compiler.check_timeline", broken)
    code, out, err = run("check", "a.lick", "absent.lick")
    assert code == 70
    assert "sorry" in err
    assert f"lickwright {__version__}" in err
    assert "a.lick" in err
    assert "test_cli.py:" in err  # where it happened, for whoever mends it
    assert "\x1b" not in err
    assert "absent.lick" in out  # the rest goes on


@pytest.mark.parametrize(
    "arguments", [["check", "--fix", "a.lick"], ["compare", "a.lick", "b.lick"], ["box", "--for", "a.lick"]]
)
def test_a_bug_while_compiling_ends_every_command_with_70(
    run: Run, monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    write("a.lick", GOOD)
    write("b.lick", GOOD)
    monkeypatch.setattr("lickwright.compiler.check_timeline", lambda *_: 1 / 0)
    code, _, err = run(*arguments)
    assert code == 70
    assert "sorry" in err


def test_a_bug_outside_the_files_is_owned_up_to(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lickwright.cli.sources.find_sources", lambda _: 1 / 0)
    code, _, err = run("check", "a.lick")
    assert code == 70
    assert "ZeroDivisionError" in err


def test_control_c_ends_with_130(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("lickwright.cli.sources.find_sources", stopped)
    assert run("check", "a.lick") == (130, "", "stopped\n")


# ---- check


def test_check_a_clean_file(run: Run) -> None:
    write("a.lick", "key A minor\nscale minor pentatonic\nbox 1\n" + GOOD)
    assert run("check", "a.lick") == (0, "1 file, 1 lick: no findings\n", "")


def test_check_points_at_the_error(run: Run) -> None:
    write("a.lick", BAD)
    code, out, err = run("check", "a.lick")
    assert (code, err) == (1, "")
    assert "\na.lick:2:3: error: " in out
    assert "\n    | h7 e5 B8 B5 G7 G5 D7 D5 ||\n      ^^\n" in out
    assert "1 file, 1 lick: 1 error" in out.splitlines()[-1]


def test_check_warnings_fail_only_when_strict(run: Run) -> None:
    write("a.lick", ODD)
    assert run("check", "a.lick")[0] == 0
    assert "warning" in run("check", "a.lick")[1]
    assert run("check", "a.lick", "--strict")[0] == 1


def test_check_json_has_the_promised_form(run: Run) -> None:
    write("a.lick", GOOD + BAD)
    code, out, err = run("check", "a.lick", "absent.lick", "--format", "json")
    assert (code, err) == (3, "")
    value = json.loads(out)
    assert list(value) == ["files"]
    first, second = value["files"]
    assert list(first) == ["path", "licks", "diagnostics", "profiles"]
    assert first["path"] == "a.lick"
    assert first["licks"] == ["Porch light", "Low road"]
    (error,) = [d for d in first["diagnostics"] if d["severity"] == "error"]
    keys = ["code", "severity", "line", "column", "end_line", "end_column", "message", "help", "lick", "bar", "beat"]
    assert list(error) == [*keys, "notes", "fix", "fingerprint"]
    assert (error["line"], error["column"], error["end_line"], error["end_column"]) == (4, 3, 4, 5)
    assert error["lick"] == "Low road"
    assert (second["path"], second["licks"]) == ("absent.lick", [])
    assert second["diagnostics"][0]["code"] == "L601"


def test_check_goes_on_after_a_file_that_cannot_be_read(run: Run) -> None:
    write("d/a.lick", BAD)
    Path("d/b.lick").write_bytes(b"\xff\xfe")
    Path("d/empty").mkdir()
    code, out, _ = run("check", "d", "d/empty", "absent.lick")
    assert code == 3
    for part in ("d/a.lick:2:3: error", "d/b.lick: error", "d/empty: error", "absent.lick: error"):
        assert part in out


def test_standard_input_is_read(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    import io

    def stdin(text: str) -> None:
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))

    stdin(BAD)
    assert "\nstandard input:2:3: error: " in run("check", "-")[1]
    stdin(GOOD)
    assert "Porch light" in run("show", "-")[1]
    stdin(GOOD)
    assert run("make", "-", "--to", "tab")[0] == 0
    assert _tree() == ["stdin/porch-light.tab.txt"]
    monkeypatch.setattr("sys.stdin", None)
    assert run("check", "-")[0] == 3


# ---- show


def test_show_prints_every_lick_or_the_one_asked_for(run: Run) -> None:
    write("a.lick", GOOD + GOOD.replace("Porch", "Street"))
    code, out, err = run("show", "a.lick")
    assert (code, err) == (0, "")
    assert "Porch light" in out
    assert "Street light" in out
    one = run("show", "a.lick", "street  LIGHT")[1]
    assert "Street light" in one
    assert "Porch" not in one
    assert one in out


@pytest.mark.parametrize(
    ("command", "after"),
    [
        ("show", ()), ("play", ()), ("move", ("--key", "C minor")), ("compare", ()), ("box --for", ()),
        ("find --like", ()),
    ],
)  # fmt: skip
@pytest.mark.parametrize(
    ("title", "wish"),
    [("Street lihgt", 'did you mean "Street light"?'), ("zzz", 'there are "Porch light", "Street light"')],
)
def test_no_such_lick_is_one_message(run: Run, command: str, after: tuple[str, ...], title: str, wish: str) -> None:
    write("a.lick", GOOD + GOOD.replace("Porch", "Street"))
    assert run("make", "a.lick", "--out", "built")[0] == 0
    name, *options = command.split()
    asked = {
        "compare": ("a.lick", "a.lick", title), "box": (*options, "a.lick", title),
        "find": ("built", *options, "a.lick", "--title", title),
    }.get(name, ("a.lick", title))  # fmt: skip
    code, out, err = run(name, *asked, *after)
    assert (code, out) == (2, "")
    assert err.splitlines()[0] == f'error: there is no lick called "{title}" in a.lick; {wish}'


def test_show_leaves_out_a_lick_with_errors_and_says_why(run: Run) -> None:
    write("a.lick", BAD + GOOD)
    code, out, err = run("show", "a.lick")
    assert code == 1
    assert "Porch light" in out
    assert "Low road" not in out
    assert "a.lick:2:3: error" in err
    code, out, err = run("show", "a.lick", "Porch light")
    assert (code, err) == (0, "")  # what was asked for is fine
    assert run("show", "absent.lick")[0] == 3
    assert run("show", "absent.lick", "x")[0] == 3


def test_show_keeps_to_the_width(run: Run) -> None:
    write("a.lick", 'lick "Long"\n' + "| e8 e5 B8 B5 G7 G5 D7 D5 " * 8 + "||\n")
    for width in (40, 80, 120):
        lines = run("show", "a.lick", "--width", str(width))[1].splitlines()
        assert max(map(len, lines)) <= width
    assert max(map(len, run("show", "a.lick")[1].splitlines())) <= 80


# ---- make


def test_make_writes_every_format_asked_for(run: Run) -> None:
    write("songs/a.lick", GOOD)
    code, out, err = run("make", "songs/a.lick")
    assert (code, out, err) == (0, "3 files of 1 lick in out\n", "")
    assert _tree() == ["a/porch-light.mid", "a/porch-light.tab.txt", "a/porch-light.timing.csv"]
    everything = ",".join(row.name for row in EXPORTS)
    assert run("make", "songs", "--to", everything, "--out", "all")[0] == 0
    assert _tree("all") == sorted("a/porch-light" + row.suffix for row in EXPORTS)


def test_make_twice_gives_the_same_bytes_and_writes_nothing(run: Run) -> None:
    write("a.lick", GOOD)

    def state() -> list[tuple[str, bytes, int]]:
        return [(str(p), p.read_bytes(), p.stat().st_mtime_ns) for p in sorted(Path("out").rglob("*.*")) if p.is_file()]

    run("make", "a.lick")
    before = state()
    assert len(before) == 3 + len([".lickwright.db", ".lickwright.lock"])
    assert run("make", "a.lick")[:2] == (0, "3 files of 1 lick in out\n")
    assert state() == before


def test_make_skips_a_lick_with_errors_and_makes_the_others(run: Run) -> None:
    write("a.lick", BAD + GOOD)
    write("b.lick", GOOD)
    Path("c.lick").write_bytes(b"\xff")
    code, out, err = run("make", "a.lick", "c.lick", "b.lick")
    assert code == 3
    assert out == ('6 files of 2 licks in out\n  skipped "Low road" in a.lick: 1 error\n  1 source could not be read\n')
    assert "a.lick:2:3: error" in err
    assert "c.lick: error" in err
    assert not [name for name in _tree() if "low" in name]
    assert run("make", "a.lick")[0] == 1


def test_make_keeps_sources_of_one_name_apart(run: Run) -> None:
    for folder in ("easy", "hard"):
        write(f"{folder}/blues.lick", GOOD)
    assert run("make", "easy", "hard", "--to", "tab")[0] == 0
    assert _tree() == ["easy-blues/porch-light.tab.txt", "hard-blues/porch-light.tab.txt"]


def test_make_keeps_licks_of_one_name_apart_whatever_their_case(run: Run) -> None:
    write("a.lick", GOOD + GOOD.replace("Porch light", "PORCH LIGHT!") + GOOD.replace("Porch light", "../../x"))
    assert run("make", "a.lick", "--to", "tab")[0] == 0
    assert _tree() == ["a/porch-light-2.tab.txt", "a/porch-light.tab.txt", "a/x.tab.txt"]


def test_make_does_not_overwrite_a_file_changed_by_hand(run: Run) -> None:
    write("a.lick", GOOD)
    run("make", "a.lick")
    Path("out/a/porch-light.tab.txt").write_text("my own fingering")
    write("a.lick", GOOD.replace("e8", "e7"))
    code, out, err = run("make", "a.lick")
    assert code == 3
    assert "out/a/porch-light.tab.txt: error" in err
    assert "--overwrite" in err
    assert out.startswith("2 files")
    assert Path("out/a/porch-light.tab.txt").read_text() == "my own fingering"
    assert run("make", "a.lick", "--overwrite")[0] == 0
    assert "Porch light" in Path("out/a/porch-light.tab.txt").read_text()


def test_make_into_a_place_that_is_no_folder(run: Run) -> None:
    write("a.lick", GOOD)
    write("file", "")
    code, out, err = run("make", "a.lick", "--out", "file")
    assert (code, out) == (2, "")
    assert err.startswith("error: --out: file is a file, not a folder\n")


def test_a_bug_in_one_format_costs_one_lick(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from lickwright.export import tab

    real = tab.emit

    def broken(stages, options):  # type: ignore[no-untyped-def]
        if stages.timeline.title == "Porch light":
            raise RecursionError("too deep")
        return real(stages, options)

    monkeypatch.setattr(tab, "emit", broken)
    write("a.lick", GOOD + GOOD.replace("Porch", "Street"))
    code, out, err = run("make", "a.lick", "--to", "tab")
    assert code == 70
    assert "sorry" in err
    assert 'skipped "Porch light" in a.lick' in out
    assert _tree() == ["a/street-light.tab.txt"]


def test_make_at_another_tempo(run: Run) -> None:
    write("a.lick", "tempo 120\n" + GOOD)
    made = {}
    for name, wish in {"full": [], "half": ["--tempo", "50%"], "sixty": ["--tempo", "60"]}.items():
        assert run("make", "a.lick", "--to", "timing,midi", "--out", name, *wish)[0] == 0
        made[name] = [Path(name, "a", f"porch-light.{suffix}").read_bytes() for suffix in ("mid", "timing.csv")]
    assert made["half"] == made["sixty"]
    assert made["half"] != made["full"]


def test_make_leaves_sources_alone(run: Run) -> None:
    write("out/porch/a.lick", GOOD)
    before = Path("out/porch/a.lick").stat().st_mtime_ns
    assert run("make", "out/porch", "--out", "out/porch")[0] == 0
    assert Path("out/porch/a.lick").read_text() == GOOD
    assert Path("out/porch/a.lick").stat().st_mtime_ns == before


def test_names_that_are_not_utf8_or_start_with_a_hyphen_are_handled(run: Run) -> None:
    name = os.fsdecode(b"caf\xe9.lick")
    write(name, BAD)
    write("-x.lick", GOOD)
    assert r"caf\u{DCE9}.lick:2:3: error" in run("check", name)[1]
    assert json.loads(run("check", name, "--format", "json")[1])["files"][0]["path"] == name
    assert run("make", "--to", "tab", "--", name, "-x.lick")[0] == 1
    assert _tree() == ["x/porch-light.tab.txt"]


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become someone else")
def test_what_may_not_be_read_or_written_is_named_and_the_rest_goes_on(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    with TemporaryDirectory() as here:
        monkeypatch.chdir(here)
        os.chmod(here, 0o755)
        for name in ("a.lick", "secret.lick", "d/b.lick"):
            write(name, GOOD)
        assert run("make", "a.lick", "secret.lick", "--out", "loaded")[0] == 0  # loads every module while it may
        os.chmod("secret.lick", 0)
        os.chmod("d", 0)
        os.seteuid(65534)
        try:
            code, out, _ = run("check", "secret.lick", "a.lick", "d")
            made = run("make", "a.lick")
        finally:
            os.seteuid(0)
        assert code == 3
        assert out.count("ermission denied") == 2
        assert "3 files, 1 lick" in out
        assert made[0] == 3
        assert made[1].startswith("0 files")
        assert "out/a: error: nothing was written: permission denied" in made[2]
        monkeypatch.undo()


# ---- why


def test_why_lists_every_rule(run: Run) -> None:
    code, out, _ = run("why")
    assert code == 0
    assert [line[:4] for line in out.splitlines()] == [rule.code for rule in RULES]


def test_why_explains_each_with_its_examples(run: Run) -> None:
    for rule in RULES:
        code, out, _ = run("why", rule.code.lower())
        assert code == 0
        assert out.startswith(f"{rule.code}  {rule.name} ({rule.severity.word})\n")
        for line in (rule.bad + rule.good).splitlines():
            assert line in out
    assert run("why", RULES[0].name) == run("why", RULES[0].code)


def test_a_missing_file_is_answered_with_the_one_beside_it(run: Run) -> None:
    Path("songs").mkdir()
    Path("songs/mine.lick").write_text('lick "Gate"\n| e8 e5 B8 e5 ||\n')
    Path("songs/mint.txt").write_text("")
    assert f"did you mean {Path('songs/mine.lick')}?" in run("check", "songs/mine.lic")[1]
    assert "check the name and the folder" in run("check", "songs/zzzzz.lick")[1]
    assert "check the name and the folder" in run("check", "nowhere/mine.lic")[1]


def test_a_choice_may_have_capitals(run: Run) -> None:
    Path("mine.lick").write_text('lick "Gate"\n| e8 e5 B8 e5 B8 e5 G7 - ||\n')
    assert run("make", "mine.lick", "--to", "tab", "--paper", "Letter", "--findings", "TEXT")[0] == 0
