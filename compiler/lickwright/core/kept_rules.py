"""Every rule, read from `rules.json` beside this module: for who explains rules and needs none of the stages that have them.

In: nothing. Out: `Rule`s by code. The stages' own tuples are what counts; `python -m lickwright.compiler.write_rules` writes the file anew after
any change of them, and a test says when that is due.
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
