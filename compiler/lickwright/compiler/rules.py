"""Every rule of every stage and export, for `lickwright why`, the tests and the projects that weigh findings.

In: nothing. Out: `Rule`s. Each stage keeps its own tuple `RULES`; they are joined here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.core.diagnostics import Rule
from lickwright.export import EXPORTS


def all_rules() -> tuple[Rule, ...]:
    """Return the rules of every stage and export, by code. Loads every export."""
    return tuple(sorted(_rules(), key=lambda rule: rule.code))


def find_rule(code: str) -> Rule | None:
    """Return the rule of a code, or None. Exports are loaded only for a code that no stage has."""
    return next((rule for rule in _rules() if rule.code == code), None)


def _rules() -> Iterator[Rule]:
    from importlib import import_module

    from lickwright import checks
    from lickwright.analysis import difficulty
    from lickwright.checks import suppressions
    from lickwright.core import files
    from lickwright.importers import rules as importers
    from lickwright.importers.text_tab import rules as text_tab
    from lickwright.notation import syntax
    from lickwright.settings import fields, project_rules
    from lickwright.timeline import excerpt
    from lickwright.timeline import rules as timeline

    for stage in (
        syntax,
        fields,
        timeline,
        checks,
        difficulty,
        suppressions,
        files,
        project_rules,
        excerpt,
        importers,
        text_tab,
    ):
        yield from stage.RULES
    for row in EXPORTS:
        yield from import_module(row.module).RULES
