"""`lickwright why`: the list of rules, or one of them explained with a bad and a good example."""

from __future__ import annotations

import click

from lickwright.cli.rule_text import rules_by_name, run_plain
from lickwright.core.nearest_name import nearest_name
from lickwright.report.console import safe_text


@click.command()
@click.argument("code", required=False, metavar="[CODE]")
def command(code: str | None) -> int:
    """Explain a finding: what it means, why it matters, a bad and a good example.

    CODE is at the end of a finding, such as L301. Without it, all of them are listed.
    """
    done = run_plain([] if code is None else [code])
    if done is not None:
        return done
    by_name = rules_by_name()
    near = nearest_name(code or "", list(by_name))
    wish = f"; did you mean {by_name[near].code} ({by_name[near].name})?" if near else "; lickwright why lists them all"
    raise click.UsageError(f"there is no finding {safe_text(code or '')}{wish}")
