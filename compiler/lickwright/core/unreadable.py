"""The error of bytes that are no lick file, and how many a file may have.

It stands by itself, in a module that is never compiled: errors of other modules derive from it, which they could not do from a compiled class.
"""

from __future__ import annotations

MAX_BYTES = 1 << 20  # 1 MiB a file, a limit of the notation


class Unreadable(Exception):
    """The bytes cannot be read as a lick file: `str()` is a message in a player's words, `hint` what to do."""

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.hint = hint
