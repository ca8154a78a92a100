"""`lickwright library OUT --ready`: whether an output folder is ready to be released.

In: an output folder. Out: what it lacks, for a person or as JSON, and an exit code.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from lickwright.cli import terminal
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.build.readiness import ReadinessProblem

_PLACES = 3  # of each kind that are shown, where no other number is said


def readiness(library: str, form: str, limit: int | None) -> int:
    """Print what an output folder lacks; return the exit code. Raises UsageError for a folder that is no output folder."""
    from lickwright.build.readiness import find_lacks
    from lickwright.cli.index_source import library_index, report_unusable
    from lickwright.index.reader import Unusable, has_index

    if not has_index(library):
        raise click.UsageError(
            f"--ready looks at an output folder of lickwright make, and {console.safe_text(library)} is none: make it first"
        )
    try:
        index, _ = library_index(library)
        with index, index.one_state(hold=False):  # every output is looked at
            found = find_lacks(index, library)
            licks, files = index.made
    except Unusable as e:
        return report_unusable(library, e)
    if form == "json":
        from json import dumps

        shown = [one._asdict() for one in found[:limit]]
        value = {
            "library": library,
            "ready": not found,
            "licks": licks,
            "files": files,
            "total": len(found),
            "lacks": shown,
        }
        terminal.out(dumps(value, indent=2) + "\n")
    else:
        terminal.out(
            _lacking(
                library,
                found,
                limit or _PLACES,
                f"{console.counted_noun(files, 'file')} of {console.counted_noun(licks, 'lick')}",
            )
        )
    return terminal.Exit.MUSIC_ERRORS if found else terminal.Exit.FINE


def _lacking(library: str, found: Sequence[ReadinessProblem], most: int, made: str) -> str:
    from lickwright.build.readiness import KINDS, count_by_kind

    if not found:
        return f"ready: {made} in {console.safe_text(library)}\n"
    text = f"not ready: {made} in {console.safe_text(library)}\n"
    for kind, number in count_by_kind(found).items():
        text += f"\n{KINDS[kind]}: {number:,}\n"
        for one in [one for one in found if one.kind == kind][:most]:
            title = f'"{one.title}"' if one.title else ""
            place = " ".join(filter(None, (one.path, title)))
            text += f"  {console.safe_text(f'{place}: {one.message}' if place else one.message)}\n"
        if number > most:
            text += f"  and {number - most:,} more: --limit {number} shows all\n"
    return text
