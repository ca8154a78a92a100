"""The archive that `lickwright make --zip` writes after a build.

In: the path of the archive, and how its files are named and laid out. Out: the file, whole or not at all, and the exit code. What goes in is `build/release.py`
and `build/archive.py`; what may be replaced is `core/destination.py`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Sequence

from lickwright.build.archive import SEAL, archive_parts, check_files
from lickwright.build.release import ReleasedLick, released_licks
from lickwright.build.summary import BuildSummary
from lickwright.cli import single_output, terminal
from lickwright.config.name_pattern import Pattern
from lickwright.core.files import NOT_OURS, UNWRITABLE
from lickwright.core.source import Span
from lickwright.report import console
from lickwright.store.manifest import Manifest
from lickwright.store.storage import Storage
from lickwright.store.types import PathDiagnostic


class Archive:
    """The archive that `--zip` names."""

    def __init__(
        self, path: str, pattern: Pattern | None, layout: str, overwrite: bool, sources: Sequence[str]
    ) -> None:
        self.code = terminal.Exit.FINE
        self.path = path
        self._line = ""  # what was written, in one line
        self._pattern = pattern
        self._layout = layout
        self._overwrite = overwrite
        self._sources = sources

    def report_obstacle(self) -> terminal.Exit:
        """Show why the archive will not be written, before anything is made; return the exit code, FINE if it may be."""
        return single_output.report_obstacle(self.path, SEAL, self._overwrite, self._sources)

    def write(
        self, storage: Storage, manifest: Manifest, suffixes: Sequence[Collection[str]], summary: BuildSummary
    ) -> None:
        """Write the archive of a build, keep its exit code, and note in the summary what was left out."""
        licks, troubles = check_files(storage, released_licks(manifest, suffixes, self._pattern, self._layout))
        summary.left_out(troubles)
        if why := _missing(licks, troubles, summary):
            finding = UNWRITABLE.at(
                Span(0, 0), f"nothing was written: {why}", "fix what is said above, and run it again"
            )
            summary.left_out([PathDiagnostic(self.path, finding)])
            return
        name = os.path.splitext(os.path.basename(self.path))[0]
        archive = archive_parts(name, storage, licks)
        self.code = single_output.save_output(self.path, archive, SEAL, self._overwrite, self._sources)
        if self.code == terminal.Exit.FINE:
            files = sum(len(lick.files) for lick in licks)
            missed = (summary.refused, "skipped lick"), (len(troubles), "file")
            left = " and ".join(console.counted_noun(number, what) for number, what in missed if number)
            left = f"; {left} left out" if left else ""
            counted = f"{console.counted_noun(files, 'file')} of {console.counted_noun(len(licks), 'lick')}"
            self._line = f"{counted} in {console.safe_text(self.path)}{left}\n"

    def finish(self, print: Callable[[str], None], dry: bool) -> terminal.Exit:
        """Print what became of the archive; return its exit code."""
        print(f"would write {console.safe_text(self.path)}\n" if dry else self._line)
        return self.code


def _missing(licks: Sequence[ReleasedLick], troubles: Sequence[PathDiagnostic], summary: BuildSummary) -> str:
    """Return why there can be no archive: what should be in it and is not, for no lick's fault; "" if nothing is missing."""
    if not licks:
        return "no lick has a file"
    if summary.incomplete:
        return "something could not be read or made"
    return "a file is gone" if any(one.finding.code != NOT_OURS.code for one in troubles) else ""
