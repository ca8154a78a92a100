"""The exit code that findings lead to.

In: findings. Out: an exit code. Of several reasons the worst counts, and errors in files weigh more than errors in music.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.cli.terminal import Exit
from lickwright.core.diagnostics import Diagnostic, has_errors


def exit_code(found: Sequence[Diagnostic], strict: bool = False) -> Exit:
    """Return the exit code for these findings; `strict`: warnings fail too."""
    if not has_errors(list(found)):
        warned = strict and any(d.severity == "warning" for d in found)
        return Exit.MUSIC_ERRORS if warned else Exit.FINE
    return Exit.FILE_ERRORS if has_errors([d for d in found if d.code.startswith("L6")]) else Exit.MUSIC_ERRORS


class Verdict:
    """The exit code of a run, as it builds up."""

    def __init__(self, strict: bool = False) -> None:
        self.code = Exit.FINE
        self._strict = strict  # warnings fail too

    def add(self, code: Exit) -> None:
        """Take note of one reason for an exit code."""
        self.code = max(self.code, code)

    def add_findings(self, found: Sequence[Diagnostic]) -> None:
        """Take note of findings."""
        self.add(exit_code(found, self._strict))
