"""How findings look: the caret lies under the culprit whatever the line holds, and no text steers the screen."""

from __future__ import annotations

import re
from unicodedata import category

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright.core.diagnostics import Change, Fix, RelatedInformation, Rule, Severity
from lickwright.core.source import Source, Span
from lickwright.report import console

RULE = Rule("L301", "bar too short", Severity.ERROR, "s", "e", "", "")
FILE_RULE = Rule("L601", "file cannot be read", Severity.ERROR, "s", "e", "", "")


def _at(text: str, part: str) -> Span:
    start = text.index(part)
    return Span(start, start + len(part))


def test_a_finding_in_full() -> None:
    text = "meter 4/4\n| e8 e5 |\n"
    source = Source("porch.lick", text)
    note = RelatedInformation(_at(text, "4/4"), "the meter is set here")
    found = RULE.at(_at(text, "e8 e5"), "bar 1 holds 2 eighths, 4/4 asks for 8", "add 6 steps", (note,))
    assert console.format_finding(source, found) == (
        "porch.lick:2:3: error: bar 1 holds 2 eighths, 4/4 asks for 8 (L301)\n"
        "    | e8 e5 |\n"
        "      ^^^^^\n"
        "    line 1: the meter is set here\n"
        "        meter 4/4\n"
        "              ^^^\n"
        "    help: add 6 steps\n"
    )


@pytest.mark.parametrize(
    ("line", "part", "caret"),
    [
        ("| e8 |", "e8", "  ^^"),
        ("|\te8\tB5", "B5", "        ^^"),  # tab stops every 4 columns
        ("日本 B5", "B5", "     ^^"),  # wide characters take two columns
        ("e\u0301e\u0301 B5", "B5", "   ^^"),  # combining marks take none
        ("\x1b[2J B5", "B5", "          ^^"),  # shown as \u{1B}
        ("日", "日", "^^"),
    ],
)
def test_the_caret_lies_under_the_part_as_it_is_displayed(line: str, part: str, caret: str) -> None:
    _, carets = console.source_excerpt(Source("x", line), _at(line, part))
    assert carets == caret


_PIECES = st.sampled_from(["a", " ", "\t", "日", "é", "e\u0301", "\x1b", "\u202e", "\U0001f3b8", "-"])


@given(st.lists(_PIECES, max_size=40), st.lists(_PIECES, min_size=1, max_size=5), st.lists(_PIECES, max_size=40))
def test_what_stands_left_of_the_caret_is_as_wide_as_it(before: list[str], part: list[str], after: list[str]) -> None:
    left, middle = "".join(before), "".join(part)
    text, carets = console.source_excerpt(
        Source("x", left + middle + "".join(after)), Span(len(left), len(left) + len(middle))
    )
    expected, _ = console.source_excerpt(Source("x", left + "|"), Span(0, 1))
    assert len(carets) - len(carets.lstrip()) == console.display_width(expected) - 1
    assert text.startswith(expected[:-1].rstrip())


def test_a_long_line_is_cut_round_the_part() -> None:
    line = "x" * 5000 + "B5" + "y" * 5000
    text, carets = console.source_excerpt(Source("x", line), Span(5000, 5002), 80)
    assert len(text) < 90
    assert text.startswith("...")
    assert text.endswith("...")
    assert text[carets.index("^") :].startswith("B5")
    assert carets.count("^") == 2


@pytest.mark.parametrize("span", [Span(0, 0), Span(3, 3), Span(4, 4), Span(99, 100), Span(0, 99)])
def test_spans_at_the_edges_get_a_caret(span: Span) -> None:
    for text in ("", "\n", "abc", "abc\n", "abc\nde"):
        _, carets = console.source_excerpt(Source("x", text), span)
        assert carets.strip(" ")
        assert set(carets) <= {" ", "^"}


def test_a_part_of_several_lines_is_marked_to_its_first_lines_end() -> None:
    assert console.source_excerpt(Source("x", "abc\ndef"), Span(1, 6))[1] == " ^^"


@given(st.text())
def test_safe_lets_nothing_through_that_steers_a_screen(text: str) -> None:
    shown = console.safe_text(text)
    assert not [char for char in shown if category(char) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")]
    assert console.safe_text(shown) == shown


def test_safe_names_the_character_and_leaves_music_alone() -> None:
    assert console.safe_text("\x1b]0;x\x07 \u202ea\ud800 B♭ F♯ é") == r"\u{1B}]0;x\u{7} \u{202E}a\u{D800} B♭ F♯ é"


def test_every_text_of_a_finding_is_made_safe() -> None:
    source = Source("na\x1bme", "\x1b[31m\n")
    found = RULE.at(Span(0, 1), "mess\x1bage", "he\x1blp", (RelatedInformation(Span(0, 1), "no\x1bte"),))
    assert "\x1b" not in console.format_finding(source, found)
    coloured = console.format_finding(source, found, color=True)
    assert coloured.replace("\x1b[0m", "").count("\x1b") == coloured.count("\x1b[0m")  # only the pairs that we add


def test_colour_changes_nothing_but_colour() -> None:
    source = Source("x", "| e8 |")
    found = RULE.at(Span(2, 4), "message", "help", (RelatedInformation(Span(0, 1), "note"),))
    plain, coloured = console.format_finding(source, found), console.format_finding(source, found, color=True)
    assert coloured != plain
    assert re.sub(r"\x1b\[[0-9]*m", "", coloured) == plain


def test_a_finding_about_a_file_points_at_no_line() -> None:
    found = FILE_RULE.at(Span(0, 0), "no such file", "check the name")
    assert console.format_finding(Source("a.lick", ""), found) == (
        "a.lick: error: no such file (L601)\n    help: check the name\n"
    )


def test_a_hundred_findings_are_shown_and_the_rest_is_counted_errors_first() -> None:
    source = Source("x", "a" * 300)
    many = [RULE.at(Span(i, i + 1), f"m{i}", severity=Severity.INFO if i < 200 else Severity.ERROR) for i in range(205)]
    text = console.format_findings(source, many)
    assert text.count("(L301)") == console.MAX_SHOWN
    assert all(f" m{i} " in text for i in range(200, 205))
    assert text.endswith("x: and 105 more findings not shown\n")
    assert "not shown" not in console.format_findings(source, many[:100])


@pytest.mark.parametrize(
    ("severities", "text"),
    [
        ([], "no findings"),
        ([Severity.ERROR], "1 error"),
        ([Severity.WARNING, Severity.ERROR, Severity.WARNING], "1 error, 2 warnings"),
        ([Severity.INFO], "1 note"),
    ],
)
def test_the_tally(severities: list[Severity], text: str) -> None:
    assert console.tally_findings(RULE.at(Span(0, 0), "m", severity=s) for s in severities) == text


def test_json_counts_columns_in_code_points() -> None:
    text = "\U0001f3b8\U0001f3b8 B5\nx"
    note, fix = RelatedInformation(_at(text, "x"), "there"), Fix("write `B8`", (Change(_at(text, "5"), "8"),))
    found = RULE.at(_at(text, "B5"), "m\x1b", None, (note,), 3, "2 &", fix=fix)
    (value,) = console.findings_json(Source("x", text), [found])
    assert re.fullmatch("[0-9a-f]{32}", value.pop("fingerprint"))
    assert value == {
        "code": "L301",
        "severity": "error",
        "line": 1,
        "column": 4,
        "end_line": 1,
        "end_column": 6,
        "message": "m\x1b",
        "help": None,
        "lick": None,
        "bar": 3,
        "beat": "2 &",
        "notes": [{"message": "there", "line": 2, "column": 1, "end_line": 2, "end_column": 2}],
        "fix": {
            "title": "write `B8`",
            "changes": [{"line": 1, "column": 5, "end_line": 1, "end_column": 6, "text": "8"}],
        },
    }
