"""`lickwright why`: the list of rules, or one of them explained with a bad and a good example."""

from __future__ import annotations

import sys

import click

from lickwright.cli import terminal
from lickwright.core.diagnostics import Rule, nearest_name
from lickwright.report.console import safe_text


@click.command(short_help="Explain a finding by its code, or list them all.")
@click.argument("code", required=False, metavar="[CODE]")
def command(code: str | None) -> int:
    """Explain a finding: what it means, why it matters, a bad and a good example.

    CODE is what stands at the end of a finding, such as L301. Without it, all are listed.
    """
    from lickwright.compiler.rules import all_rules

    rules = all_rules()

    if code is None:
        terminal.out("".join(f"{rule.code}  {rule.severity.word:8} {rule.name}: {rule.summary}\n" for rule in rules))
        return terminal.Exit.FINE
    by_name = {rule.code.lower(): rule for rule in rules} | {rule.name.lower(): rule for rule in rules}
    rule = by_name.get(code.strip().lower())
    if rule is None:
        near = nearest_name(code, list(by_name))
        wish = (
            f"; did you mean {by_name[near].code} ({by_name[near].name})?"
            if near
            else "; lickwright why lists them all"
        )
        raise click.UsageError(f"there is no finding {safe_text(code)}{wish}")
    terminal.out(_explained(rule, min(terminal.columns(sys.stdout, 80), 100)))
    return terminal.Exit.FINE


def _explained(rule: Rule, columns: int) -> str:
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
