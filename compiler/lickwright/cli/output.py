"""Outputs of one source into a folder, for commands other than `make`: each whole or not at all, never over a file that is not Lickwright's.

In: a folder, the source that it belongs to, and outputs. Out: what was written, and findings for what was not. `store/output_writer.py` has the rule
of what may be replaced, `store/manifest.py` the record of what Lickwright wrote.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.report.console import safe_text
from lickwright.store.output_writer import Output, unwritable_trouble
from lickwright.store.types import PathDiagnostic
from lickwright.store.write_single import write_outputs

__all__ = ["Output", "OutputFolder"]


class OutputFolder:
    """One folder of outputs, `root/name`, that belongs to one source; `.` is `root` itself."""

    def __init__(self, root: str, name: str, source: str, overwrite: bool) -> None:
        self.path = os.path.normpath(os.path.join(root, name))
        self.done = 0  # outputs that stand in their place, those that already did included
        self._root = root
        self._name = name
        self._source = source
        self._overwrite = overwrite  # replace whatever file stands in the way

    def write(self, outputs: Sequence[Output]) -> list[PathDiagnostic]:
        """Write what is not there already; return a finding for each output that could not be written."""
        try:
            placed = write_outputs(self._root, self._name, self._source, outputs, self._overwrite, _say)
        except OSError as e:
            return [unwritable_trouble(self.path, e)]
        self.done = len(placed.made)
        return list(placed.troubles)


def _say(line: str) -> None:
    terminal.err(safe_text(line) + "\n")
