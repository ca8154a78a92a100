"""A single file that the command line named for an output, or `-` for standard output.

In: the path and what goes there. Out: the exit code; on standard error why nothing was written. The rule of what may be
replaced is `destination.py`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence

from lickwright import report
from lickwright.cli import screen
from lickwright.cli.verdict import code_of
from lickwright.destination import Seal, obstacle, save
from lickwright.diagnostics import Diagnostic
from lickwright.source import Source

STDOUT = "-"


def refusal(path: str, seal: Seal | None, overwrite: bool, sources: Sequence[str]) -> screen.Exit:
    """Says beforehand why a file will not be written, so that no long work is done in vain; FINE where it may be."""
    try:
        return _told(path, None if path == STDOUT else obstacle(path, seal, overwrite, sources))
    except (OSError, ValueError):  # it is said when the file is to be written
        return screen.Exit.FINE


def saved(
    path: str, data: bytes | Iterable[bytes], seal: Seal | None, overwrite: bool, sources: Sequence[str]
) -> screen.Exit:
    """Writes the file, UTF-8, and gives the exit code. An interrupt goes through."""
    if path != STDOUT:
        return _told(path, save(path, data, seal, overwrite, sources))
    parts = (data,) if isinstance(data, bytes) else data
    for part in parts if seal is None else seal.sealed(parts):
        screen.out(part.decode("utf-8"))
    return screen.Exit.FINE


def _told(path: str, trouble: Diagnostic | None) -> screen.Exit:
    if trouble is None:
        return screen.Exit.FINE
    screen.err(report.findings(Source(path, ""), [trouble], screen.colour(sys.stderr)))
    return code_of([trouble])
