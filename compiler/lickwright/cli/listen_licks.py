"""The licks that the recordings of a folder may be of: those of a lick file, of a folder of them, or of a library that a build has made.

In: the LIBRARY of `lickwright listen FOLDER --licks LIBRARY`. Out: the licks without errors, each with a key that changes with everything by which a
recording of it is judged. Nothing is written.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import NamedTuple

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.findings_view import show_findings
from lickwright.cli.index_source import report_unusable
from lickwright.cli.project_options import preferred_ladder
from lickwright.cli.sources import compile_sources, find_sources
from lickwright.core.slugs import slug
from lickwright.core.source_discovery import FoundSource
from lickwright.export import LoweredLick
from lickwright.index.reader import Unusable, has_index, open_index
from lickwright.music.practice import Ladder
from lickwright.report import console
from lickwright.store.output_keys import program_key, values_key
from lickwright.store.source_paths import STDIN


class KnownLick(NamedTuple):
    """A lick that recordings may be of."""

    title: str
    slug: str
    key: str  # changes with its source, its settings and this program
    lowered: LoweredLick
    ladder: Ladder  # on which it is practiced


def known_licks(library: str, verdict: Verdict, ladder: Ladder | None = None) -> list[KnownLick]:
    """Return the licks without errors of a file, a folder or a build's output folder, to be practiced on this ladder or that of their project.

    What cannot be read is shown and counted in `verdict`.
    """
    try:
        sources = _sources(library)
    except Unusable as e:
        verdict.add(terminal.Exit(report_unusable(library, e)))
        return []
    found = []
    for _, c in compile_sources(sources, verdict, judge=False):
        unread = [d for d in c.diagnostics if d.code.startswith("L6")]
        verdict.add_findings(unread)
        show_findings(c.source, unread)
        for lick in c.licks:
            if lick.lowered is not None:
                own = preferred_ladder(ladder, lick.project)
                settings = lick.lowered.timeline.settings
                key = values_key(program_key(), c.source.text, lick.title, settings, str(own)).hex()
                found.append(KnownLick(lick.title, slug(lick.title), key, lick.lowered, own))
    return found


def _sources(library: str) -> list[FoundSource]:
    """Return the sources of a library; of an output folder those that its build has on record. Raises `Unusable` for a record that cannot be used."""
    if library == STDIN or not has_index(library):
        return find_sources([library])
    with open_index(library) as index:
        rows = index.connection.execute("SELECT path FROM sources ORDER BY path").fetchall()
        paths = [index.path(path) for (path,) in rows if path != STDIN]
    there = [path for path in paths if os.path.isfile(path)]
    if len(there) < len(paths):
        gone = console.counted_noun(len(paths) - len(there), "lick file")
        words = f"{gone} that {console.safe_text(library)} was made of cannot be found, such as "
        terminal.err(words + console.safe_text(next(path for path in paths if path not in there)) + "\n")
    return find_sources(there)


def named_lick(name: str, licks: Sequence[KnownLick]) -> KnownLick | None:
    """Return the lick with the longest name with which that of a recording begins: `porch-light-mara.wav`; None where none does."""
    stem = slug(os.path.splitext(os.path.basename(name))[0])
    fits = [lick for lick in licks if stem == lick.slug or stem.startswith(lick.slug + "-")]
    return max(fits, key=lambda lick: len(lick.slug), default=None)


def licks_key(licks: Sequence[KnownLick]) -> str:
    """Return a key that changes with any of the licks."""
    return values_key([lick.key for lick in licks]).hex()
