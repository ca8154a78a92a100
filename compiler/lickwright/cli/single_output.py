"""A single file that the command line named for an output, or `-` for standard output.

In: the path and what goes there. Out: the exit code; on standard error why nothing was written. The rule of what may be
replaced is `core/destination.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.cli import terminal
from lickwright.cli.exit_code import exit_code
from lickwright.cli.findings_view import show_findings
from lickwright.core.destination import Seal, find_obstacle, save_file
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source

STDOUT = "-"


def report_obstacle(path: str, seal: Seal | None, overwrite: bool, sources: Sequence[str]) -> terminal.Exit:
    """Says beforehand why a file will not be written, so that no long work is done in vain; FINE where it may be."""
    try:
        return _told(path, None if path == STDOUT else find_obstacle(path, seal, overwrite, sources))
    except (OSError, ValueError):  # it is said when the file is to be written
        return terminal.Exit.FINE


def save_output(
    path: str, data: bytes | Iterable[bytes], seal: Seal | None, overwrite: bool, sources: Sequence[str]
) -> terminal.Exit:
    """Writes the file, UTF-8, and gives the exit code. An interrupt goes through."""
    if path != STDOUT:
        return _told(path, save_file(path, data, seal, overwrite, sources))
    parts = (data,) if isinstance(data, bytes) else data
    for part in parts if seal is None else seal.add_to(parts):
        terminal.out(part.decode("utf-8"))
    return terminal.Exit.FINE


def _told(path: str, trouble: Diagnostic | None) -> terminal.Exit:
    if trouble is None:
        return terminal.Exit.FINE
    show_findings(Source(path, ""), [trouble])
    return exit_code([trouble])
