"""`lickwright tidy`: licks in one tidy form, printed, as a diff, or written into their files."""

from __future__ import annotations

from contextlib import nullcontext

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.option_pairs import refuse

_HELP = """Write licks in one tidy form, which sounds the same.

PATH is a .lick file, a folder of them, or - for standard input. The fields come in a
fixed order, bars stand under one another with the notes of one instant in a column,
and holds, rests and steps are spelled the shortest way. Comments, titles, blank lines
between paragraphs and your line breaks stay. A file with errors is left as it is.

Without options the tidy text of a file is printed; of a folder, or of several files,
the names of those that would change.

\b
  lickwright tidy porch.lick              see it
  lickwright tidy --diff songs            what would change
  lickwright tidy --in-place songs        write it into the files
  lickwright tidy --check songs           exits with 1 if a file is not tidy
"""


@click.command(help=_HELP)
@option_types.paths_argument()
@click.option("--check", is_flag=True, help="Write nothing; exit with 1 if a file is not tidy.")
@click.option("--diff", is_flag=True, help="Print what changes, as a diff.")
@click.option("--in-place", is_flag=True, help="Write it into the files that lie below PATH.")
def command(paths: tuple[str, ...], check: bool, diff: bool, in_place: bool) -> int:
    """Its help is `_HELP`, since it shows examples."""
    refuse(check and in_place, "--check writes nothing: leave --in-place out")
    from lickwright.cli.sources import find_sources
    from lickwright.cli.tidy_view import TidyOptions, tidy_sources

    with terminal.handle_interrupts() if in_place else nullcontext():
        return tidy_sources(paths, find_sources(paths), TidyOptions(check, diff, in_place))
