"""`lickwright library`: what a library holds, what it lacks, and which licks in it are alike."""

from __future__ import annotations

import click

from lickwright.cli import option_types
from lickwright.cli.option_pairs import refuse

_HELP = """Show what LIBRARY has and lacks: an output folder of lickwright make, a folder of licks, or a file.

\b
  lickwright library out                  keys, boxes, levels, techniques; what is missing
  lickwright library out --duplicates     licks that are alike, in groups
  lickwright library out --ready          what is missing or out of date in an output folder

Licks are alike when they are the same tab; when they are the same phrase, note for note, in another key or box; and when
they nearly are: a note in eight may differ. What lickwright move made of a lick is not a duplicate of it.

An output folder is ready when every lick of the library was made in every format that was asked for, nothing changed since, no
file was changed by hand, no share is missing, no title is used twice, and every lick says its rights and who made it. Exits with
0 if so, 1 if not.
"""


@click.command(help=_HELP)
@click.argument("library", metavar="LIBRARY")
@click.option("--duplicates", is_flag=True, help="Licks that are alike, in groups.")
@click.option(
    "--families", is_flag=True, help="With --duplicates: also licks that `lickwright move` made of one another.",
)  # fmt: skip
@click.option(
    "--ready", is_flag=True, help="What is missing or out of date in an output folder; to check before a release."
)
@option_types.format_option("json", help="For a person, or everything for a program.")
@option_types.limit_option("At most N of each list; default: as many as fit on a screen.")
def command(library: str, duplicates: bool, families: bool, ready: bool, form: str, limit: int | None) -> int:
    """Its help is `_HELP`, since it shows examples."""
    from lickwright.cli.index_source import library_index, report_unusable
    from lickwright.index.reader import Unusable

    refuse(families and not duplicates, "--families goes with --duplicates")
    refuse(ready and duplicates, "--ready or --duplicates, not both")
    if ready:
        from lickwright.cli.readiness import readiness

        return readiness(library, form, limit)
    try:
        index, code = library_index(library)
        with index:
            if duplicates:
                from lickwright.cli.duplicates_view import show_duplicates

                show_duplicates(index, library, form, limit, families)
            else:
                from lickwright.cli.statistics_view import show_statistics

                show_statistics(index, library, form, limit)
    except Unusable as e:
        return report_unusable(library, e)
    return code
