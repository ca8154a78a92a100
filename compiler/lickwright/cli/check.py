"""`lickwright check`: every finding about every file, for a person or as JSON."""

from __future__ import annotations

import sys

import click

from lickwright import report
from lickwright.cli import screen
from lickwright.diagnostics import Diagnostic


@click.command(short_help="Find what is wrong, and say what would be right.")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "json"]),
    default="text",
    show_default=True,
    help="For a person, or for a program.",
)
@click.option("--strict", is_flag=True, help="Let warnings fail too.")
def command(paths: tuple[str, ...], form: str, strict: bool) -> int:
    """Check licks: notation, rhythm, scale and box, hands.

    PATH is a .lick file, a folder of them, or - for standard input. Each finding carries a code: `lickwright why
    CODE` explains it.
    """
    from lickwright.cli.sources import Verdict, compiled, find

    verdict = Verdict(strict)
    found = compiled(find(paths), verdict)
    if form == "json":
        from json import dumps

        files = [
            {
                "path": c.source.name,
                "licks": [lick.title for lick in c.licks],
                "diagnostics": [report.as_value(c.source, d) for d in c.diagnostics],
            }
            for _, c in found
        ]
        screen.out(dumps({"files": files}, indent=2) + "\n")
        return verdict.code
    colour, columns = screen.colour(sys.stdout), min(screen.columns(sys.stdout, 100), 160)
    everything: list[Diagnostic] = []
    files_done = licks = 0
    for _, c in found:
        screen.out(report.findings(c.source, c.diagnostics, colour, columns))
        everything += c.diagnostics
        files_done += 1
        licks += len(c.licks)
    counted = f"{report.count(files_done, 'file')}, {report.count(licks, 'lick')}"
    screen.out(f"{counted}: {report.tally(everything)}\n")
    return verdict.code
