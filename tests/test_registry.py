"""Every rule and every format keeps its promises: one code, words for it, and examples that do what they say."""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path

import pytest

from lickwright import compile_text
from lickwright.compiler.rules import all_rules
from lickwright.config.reading import parse_project_config
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.kept_rules import PATH, kept_rules, rules_text
from lickwright.core.source import Source, Span
from lickwright.export import EXPORTS, Options
from lickwright.settings.project_rules import ProjectRules

RULES = all_rules()

PACKAGE = Path(__file__).parent.parent / "compiler" / "lickwright"


STRICT = ProjectRules(
    Source("lickwright.toml", 'required = ["by"]'), required={"by": Span(12, 16)}
)  # a house that wants a name


def test_the_kept_file_of_rules_is_due_for_nothing() -> None:
    assert kept_rules() == RULES, "a rule has changed: run `python -m lickwright.compiler.write_rules`"
    assert Path(PATH).read_text("utf-8") == rules_text(RULES)


def _id(rule: Rule) -> str:
    return rule.code


def _found(text: str) -> list[Diagnostic]:
    """Findings of a text, the losses of every format included."""
    if not re.search("^lick ", text, re.MULTILINE):  # a lickwright.toml
        return list(parse_project_config(Source("lickwright.toml", text)).findings)
    compilation = compile_text(text, project=STRICT)
    found = list(compilation.diagnostics)
    for lick in compilation.licks:
        if lick.ok:
            found += [d for row in EXPORTS for d in lick.emit(row.name).losses]
    return found


def test_there_are_rules_of_every_kind() -> None:
    assert {rule.code[:2] for rule in RULES} >= {"L1", "L2", "L3", "L4", "L6"}


def test_codes_and_names_are_unique_and_sorted() -> None:
    codes = [rule.code for rule in RULES]
    assert codes == sorted(set(codes))
    assert len({rule.name for rule in RULES}) == len(RULES)


@pytest.mark.parametrize("rule", RULES, ids=_id)
def test_a_rule_is_documented(rule: Rule) -> None:
    assert re.fullmatch(r"L[1-8][0-9]{2}", rule.code)
    for words in (rule.name, rule.summary):
        assert words
        assert "\n" not in words
        assert not words.endswith(".")
    assert len(rule.explanation) > 40
    assert rule.explanation.endswith((".", "!", "?", "`", ")"))
    assert bool(rule.bad) == bool(rule.good)
    assert rule.bad or rule.code.startswith(("L5", "L6", "L8")), "say it by example"


@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.bad], ids=_id)
def test_the_bad_example_triggers_the_rule(rule: Rule) -> None:
    found = [d for d in _found(rule.bad) if d.code == rule.code]
    assert found, f"found only {[(d.code, d.message) for d in _found(rule.bad)]}"
    for d in found:
        assert d.message
        assert "\n" not in d.message
        assert not re.search(r"[^0-9]\.$", d.message)  # a dotted value may end it


@pytest.mark.parametrize("rule", [rule for rule in RULES if rule.good], ids=_id)
def test_the_good_example_has_no_error_and_not_this_finding(rule: Rule) -> None:
    wrong = [d for d in _found(rule.good) if d.code == rule.code or d.severity is Severity.ERROR]
    assert not wrong, [(d.code, d.message) for d in wrong]


def test_every_code_that_the_program_names_is_a_rule() -> None:
    """Also the other way: a rule that no module names outside its own tuple would be dead, which the examples catch."""
    named = {code for path in PACKAGE.rglob("*.py") for code in re.findall(r'"(L[1-9][0-9]{2})"', path.read_text())}
    assert named
    assert named <= {rule.code for rule in RULES}


def test_formats_are_distinct_and_each_has_its_module() -> None:
    assert EXPORTS
    assert len({row.name for row in EXPORTS}) == len({row.suffix for row in EXPORTS}) == len(EXPORTS)
    for row in EXPORTS:
        module = import_module(row.module)
        assert callable(module.emit)
        assert all(rule.code.startswith("L5") for rule in module.RULES)


@pytest.mark.parametrize("row", EXPORTS, ids=lambda row: row.name)
def test_every_format_gives_the_same_bytes_twice(row: object) -> None:
    name = row.name  # type: ignore[attr-defined]
    text = 'lick "Porch light"\nkey A minor\nbox 1\n| e8 e5 B8^10 -r p5 G7~-- ||\n'
    first, second = (compile_text(text).licks[0].emit(name, Options()).data for _ in range(2))
    assert first
    assert first == second


def test_the_readme_lists_every_format_as_the_table_has_it() -> None:
    readme = (PACKAGE.parent.parent / "README.md").read_text("utf-8")
    rows = [f"| `{row.name}` | `{row.suffix}` | {row.summary} |\n" for row in EXPORTS]
    assert "".join(rows) in readme
