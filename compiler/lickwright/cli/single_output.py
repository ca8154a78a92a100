"""A single output that the command line names, or `-` for standard output.

In: its path and its bytes. Out: the exit code; on standard error why nothing was written. `core/destination.py` has the rule of what may be
replaced.
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
    """Show why a file will not be written, before long work for it begins; return the exit code, FINE if it may be."""
    try:
        return _told(path, None if path == STDOUT else find_obstacle(path, seal, overwrite, sources))
    except (OSError, ValueError):  # it is said when the file is to be written
        return terminal.Exit.FINE


def save_output(
    path: str, data: bytes | Iterable[bytes], seal: Seal | None, overwrite: bool, sources: Sequence[str]
) -> terminal.Exit:
    """Write the file, UTF-8, and return the exit code; why it could not be written is shown. An interrupt goes through."""
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
