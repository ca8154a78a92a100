"""How a run ends, as its findings come in.

In: findings. Out: an exit code; of all that happened the worst counts, and what is wrong with files weighs more than what is wrong with music.
"""

from __future__ import annotations

from collections.abc import Sequence

from lickwright.cli.terminal import Exit
from lickwright.core.diagnostics import Diagnostic, has_errors


def exit_code(found: Sequence[Diagnostic], strict: bool = False) -> Exit:
    """The exit code for these findings; `strict`: warnings fail too."""
    if not has_errors(list(found)):
        warned = strict and any(d.severity == "warning" for d in found)
        return Exit.MUSIC if warned else Exit.FINE
    return Exit.FILE if has_errors([d for d in found if d.code.startswith("L6")]) else Exit.MUSIC


class Verdict:
    """The exit code as it builds up."""

    def __init__(self, strict: bool = False) -> None:
        self.code = Exit.FINE
        self._strict = strict  # warnings fail too

    def add(self, code: Exit) -> None:
        """Takes note of one thing that went wrong."""
        self.code = max(self.code, code)

    def judge(self, found: Sequence[Diagnostic]) -> None:
        """Takes note of findings."""
        self.add(exit_code(found, self._strict))
