"""Every rule, read from `rules.json` beside this module, for commands that explain rules without loading the stages.

In: nothing. Out: `Rule`s by code. The file is a copy of the stages' own tuples: `python -m lickwright.compiler.write_rules`
writes it after any change of them, and a test fails when that is due.
"""

from __future__ import annotations

import json
import os

from lickwright.core.diagnostics import Rule, Severity

PATH = os.path.join(os.path.dirname(os.path.abspath(__file__)), "rules.json")


def kept_rules() -> tuple[Rule, ...]:
    """Return the rules, by code. Raises `OSError` where the installation lacks the file."""
    with open(PATH, encoding="utf-8") as file:
        return tuple(Rule(code, name, Severity(severity), *texts) for code, name, severity, *texts in json.load(file))


def rules_text(rules: tuple[Rule, ...]) -> str:
    """Return what the file holds: a rule a line, so that two changes of different rules go together."""
    return "[\n" + ",\n".join(json.dumps(rule, ensure_ascii=False) for rule in rules) + "\n]\n"
