"""`lickwright why` without click: the list of rules, or one of them explained with a bad and a good example.

In: a code or a name. Out: text on the screen. Rules are read from their kept file, so that nothing of the compiler is loaded.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.core.diagnostics import Rule
from lickwright.core.kept_rules import kept_rules


def run_plain(arguments: Sequence[str]) -> int | None:
    """List the rules, or explain the one that is named; return the exit code, or None where there is none of that name."""
    if not arguments:
        rules = kept_rules()
        terminal.out("".join(f"{rule.code}  {rule.severity.word:8} {rule.name}: {rule.summary}\n" for rule in rules))
        return terminal.Exit.FINE
    rule = rules_by_name().get(arguments[0].strip().lower()) if len(arguments) == 1 else None
    if rule is None:
        return None
    terminal.out(explained(rule, min(terminal.columns(sys.stdout, 80), 100)))
    return terminal.Exit.FINE


def rules_by_name() -> dict[str, Rule]:
    """Return the rules by code and by name, both in small letters."""
    rules = kept_rules()
    return {rule.code.lower(): rule for rule in rules} | {rule.name.lower(): rule for rule in rules}


def explained(rule: Rule, columns: int) -> str:
    """Return a rule explained in so many columns, with a bad and a good example."""
    from textwrap import fill, indent

    parts = [
        f"{rule.code}  {rule.name} ({rule.severity.word})",
        fill(f"{rule.summary[:1].upper()}{rule.summary[1:]}.", columns),
        fill(rule.explanation, columns),
    ]
    for title, text in (("Instead of", rule.bad), ("write", rule.good)):
        if text:
            parts.append(f"{title}:\n\n" + indent(text.rstrip("\n"), "    "))
    return "\n\n".join(parts) + "\n"
