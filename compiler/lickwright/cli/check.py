"""`lickwright check`: every finding about every file, for a person, for a program, or with its fix."""

from __future__ import annotations

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.check_sources import check_sources
from lickwright.cli.option_pairs import refuse


@click.command()
@option_types.paths_argument()
@option_types.format_option(
    "json", "sarif", "github", help="For a person, for programs (JSON, SARIF 2.1.0), or as annotations on GitHub."
)
@option_types.strict_option()
@option_types.all_option("Show every finding in full, however many files have some.")
@click.option("--profile", is_flag=True, help="Say how hard each lick is, and why.")
@click.option("--fix", is_flag=True, help="Print the fixes that are safe to make, as a diff.")
@click.option("--in-place", is_flag=True, help="With --fix: write them into the files that lie below PATH.")
def command(
    paths: tuple[str, ...], form: str, strict: bool, everything: bool, profile: bool, fix: bool, in_place: bool
) -> int:
    """Check licks: notation, rhythm, scale and box, hands.

    PATH is a .lick file, a folder of them, or - for standard input. Each finding has a code, which `lickwright why
    CODE` explains.
    """
    refuse(in_place and not fix, "--in-place goes with --fix")
    refuse(fix and (form != "text" or profile), "--fix prints a diff: leave --format and --profile out")
    refuse(
        everything and (form != "text" or fix),
        "--all is for the screen: the other formats hold every finding anyway",
    )
    refuse(profile and form in ("sarif", "github"), f"--profile does not go with {form}: use --format text or json")
    if fix:
        return _fix(paths, in_place, strict)
    return check_sources(paths, form, strict, everything, profile)


def _fix(paths: tuple[str, ...], in_place: bool, strict: bool) -> int:
    from contextlib import nullcontext

    from lickwright.cli.fix_view import fix_sources
    from lickwright.cli.sources import find_sources

    with terminal.handle_interrupts() if in_place else nullcontext():
        return fix_sources(paths, find_sources(paths), in_place, strict)
