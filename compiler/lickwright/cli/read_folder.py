"""`lickwright read` over several files and folders: a lick for each source, and one report.

In: paths, and a folder. Out: what the build of the licks came to, and the exit code. What is read again is decided in `build/`: only what changed.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from shlex import quote

from lickwright.build.build_config import BuildConfig
from lickwright.build.engine import build_library
from lickwright.build.import_task import FORMAT, import_suffixes, import_to_lick
from lickwright.build.summary import BuildSummary
from lickwright.cli import terminal
from lickwright.cli.build_view import BuildView, source_counts
from lickwright.export import Options
from lickwright.report import console
from lickwright.store.output_keys import options_key
from lickwright.store.types import CompileOptions


def read_many(paths: Sequence[str], out: str, overwrite: bool, everything: bool, strict: bool, jobs: int) -> int:
    """Read all files that these paths mean into a folder of licks; return the exit code."""
    compile_options = CompileOptions((FORMAT,), Options(), None, options_key(Options(), "read"), True)
    config = BuildConfig(
        paths, out, lambda path: compile_options, jobs, overwrite, work=import_to_lick, suffixes=import_suffixes(), stdin=_standard_input,
    )  # fmt: skip
    view = _ReadView(terminal.out, everything, strict)
    with terminal.handle_interrupts() as ended:
        try:
            summary = build_library(config, view)
        except KeyboardInterrupt:  # before there was anything to tidy up
            terminal.err("stopped\n")
            return ended()
    terminal.err(view.findings(paths))
    terminal.out(_summary_text(summary, out))
    if summary.stopped:
        terminal.err("stopped: run the same command to go on from there\n")
        return ended()
    return view.code


class _ReadView(BuildView):
    """The view of a build that reads other formats: what is left out of a digest, this command shows."""

    def findings(self, paths: Sequence[str]) -> str:
        what = " ".join(quote(console.safe_text(path)) for path in paths[:3])
        return self._view.text([(f"lickwright read --all {what} …", "shows every finding in full")])


def _standard_input() -> bytes | None:
    from lickwright.importers import MOST_BYTES

    try:
        return sys.stdin.buffer.read(MOST_BYTES + 1)
    except (OSError, AttributeError, ValueError):
        return None


def _summary_text(summary: BuildSummary, out: str) -> str:
    """Return `12 licks in licks`, and what became of the sources."""
    place = console.safe_text(out)
    text = f"{console.counted_noun(summary.licks, 'lick')} in {place}\n  {source_counts(summary)}\n"
    if summary.gone:
        text += f"  {console.counted_noun(summary.gone, 'lick')} of sources that are gone are still there\n"
    unsure = _unsure_licks(out) if summary.licks else 0
    if unsure:
        text += f"  lickwright find {place} unsure  lists {console.counted_noun(unsure, 'lick')} to compare with the original\n"
    return text


def _unsure_licks(out: str) -> int:
    """Return how many licks in the folder have the tag of doubtful notes; 0 where its index cannot be asked, at an address for example."""
    from lickwright.importers.text_tab.reader import UNSURE
    from lickwright.index.reader import Unusable, has_index, open_index
    from lickwright.index.search import search_index

    if not has_index(out):
        return 0
    try:
        with open_index(out) as index, index.one_state():
            return search_index(index.connection, f"tags:{UNSURE}", 1).total
    except Unusable:
        return 0
