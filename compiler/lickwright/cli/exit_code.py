"""The exit codes of the program, and the one that findings lead to.

In: findings. Out: an exit code. Of several reasons the worst counts, and errors in files weigh more than errors in music. Which code a run ends with
besides its findings is decided in three places: `cli/__init__.main` (a bug, an interrupt), `command_group.run_command` (wrong usage) and
`terminal.report_lost_screen` (standard output is gone).
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import IntEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lickwright.core.diagnostics import Diagnostic


class Exit(IntEnum):
    """How a run ends. Of several reasons the highest counts."""

    FINE = 0  # warnings allowed, unless `--strict` is given
    MUSIC_ERRORS = 1  # or what was asked for is not so: `compare`, `library --ready`, `tidy --check`
    USAGE = 2  # wrong arguments
    FILE_ERRORS = 3  # a file that cannot be read or written
    INTERNAL = 70  # a bug of this program (EX_SOFTWARE of sysexits.h)
    HUNG_UP = 129  # 128 + SIGHUP: its terminal was closed
    STOPPED = 130  # 128 + SIGINT: Ctrl-C
    PIPE = 141  # 128 + SIGPIPE: the reader of standard output ended (`| head`)
    ENDED = 143  # 128 + SIGTERM: another program ended it


def exit_code(found: Sequence[Diagnostic], strict: bool = False) -> Exit:
    """Return the exit code for these findings; `strict`: warnings fail too."""
    from lickwright.core.diagnostics import has_errors

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
        """Raise the exit code to `code`, if that is higher."""
        self.code = max(self.code, code)

    def add_findings(self, found: Sequence[Diagnostic]) -> None:
        """Raise the exit code to the one that these findings lead to, if that is higher."""
        self.add(exit_code(found, self._strict))
