"""GitHub's workflow commands: one line a finding, and no text of a user's makes another."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright.cli import main
from lickwright.core.diagnostics import Rule, Severity
from lickwright.core.source import Source, Span
from lickwright.report.annotations import annotation_commands

RULE = Rule("L301", "bar too short", Severity.ERROR, "s", "e", "", "")
_LINE = re.compile(r"::(error|warning|notice) ([^:]*)::([^\n]*)\n")


def _read(line: str) -> tuple[str, dict[str, str], str]:
    """A command as GitHub's runner reads it."""
    match = _LINE.fullmatch(line)
    assert match, line
    properties = dict(part.split("=", 1) for part in match[2].split(","))
    return match[1], {name: _back(value) for name, value in properties.items()}, _back(match[3])


def _back(text: str) -> str:
    for escaped, plain in (("%0D", "\r"), ("%0A", "\n"), ("%3A", ":"), ("%2C", ","), ("%25", "%")):
        text = text.replace(escaped, plain)
    return text


def test_a_finding_in_full() -> None:
    found = RULE.at(Span(2, 4), "bar 1 holds 2, 4/4 asks for 8: 100% short", "add 6", bar=1)
    assert annotation_commands([(Source("a,b:c.lick", "| e8 |"), [found])]) == (
        "::error file=a%2Cb%3Ac.lick,line=1,endLine=1,col=3,endColumn=5,title=L301%2C bar 1"
        "::bar 1 holds 2, 4/4 asks for 8: 100%25 short%0Aadd 6\n"
    )


def test_columns_only_within_one_line_and_no_place_for_a_file() -> None:
    source = Source("a.lick", "ab\ncd\n")
    (line,) = annotation_commands([(source, [RULE.at(Span(0, 5), "m", severity=Severity.WARNING)])]).splitlines(
        keepends=True
    )
    kind, properties, _ = _read(line)
    assert kind == "warning"
    assert properties == {"file": "a.lick", "line": "1", "endLine": "2", "title": "L301"}
    file_rule = Rule("L601", "file cannot be read", Severity.INFO, "s", "e", "", "")
    kind, properties, _ = _read(annotation_commands([(source, [file_rule.at(Span(0, 0), "m")])]))
    assert (kind, properties) == ("notice", {"file": "a.lick", "title": "L601"})


@given(st.text(), st.text(), st.text(min_size=1), st.text())
def test_nothing_that_is_said_ends_the_line(message: str, hint: str, name: str, lick: str) -> None:
    from dataclasses import replace

    found = replace(RULE.at(Span(0, 1), message, hint), lick=lick)
    text = annotation_commands([(Source(name, "x"), [found])])
    assert text.count("\n") == 1
    _, properties, _ = _read(text)
    assert list(properties) == ["file", "line", "endLine", "col", "endColumn", "title"]
    if message.isascii() and message.isprintable() and "%" not in message:
        assert _read(text)[2].startswith(message)


def test_the_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.lick").write_text('lick "Gate"\n| e8 b8 e8 e5 e8 e5 e8 e5 |\n', "utf-8")
    assert main(["check", "--format", "github", str(tmp_path / "a.lick")]) == 1
    lines = capsys.readouterr().out.splitlines(keepends=True)
    found = [_read(line) for line in lines]
    assert ("error", "a.lick", "2", "6") in [(kind, p["file"], p["line"], p["col"]) for kind, p, _ in found]
