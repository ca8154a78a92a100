"""The terminal: writing to it whatever it is, and giving up politely.

In: text. Out: the text on standard output or standard error, in that stream's own encoding; what the encoding cannot
say is shown in plain letters. Nothing here knows about licks.
"""

from __future__ import annotations

import codecs
import errno
import io
import os
import sys
import time
from enum import IntEnum
from typing import TextIO


class Exit(IntEnum):
    """How a run ends. Of several reasons the highest counts."""

    FINE = 0  # warnings allowed
    MUSIC = 1  # errors in the music
    USAGE = 2  # wrong arguments
    FILE = 3  # a file that cannot be read or written
    INTERNAL = 70  # a bug of ours
    STOPPED = 130  # by Ctrl-C
    PIPE = 141  # whoever read our output went away


class ScreenLost(Exception):
    """Standard output cannot be written to; the OSError is its argument."""


# What the likeliest signs become where the screen's encoding has none for them; any other is shown by its number.
_PLAIN = {"♯": "#", "♭": "b", "…": "...", "–": "-", "—": "-", "−": "-", "×": "x", "→": "->"}
_PLAIN |= {"“": '"', "”": '"', "‘": "'", "’": "'", "½": "1/2", "¼": "1/4"}


def _fall_back(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    chars = error.object[error.start : error.end]
    return "".join(_PLAIN.get(char, f"\\u{{{ord(char):X}}}") for char in chars), error.end


class _Closed(io.TextIOBase):
    """Stands in for a standard output that was closed: writing to it is an error and not silence."""

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, "standard output is closed")


def prepare() -> None:
    """Makes both streams take any text: a screen that knows no sharp sign shows `#`, and none ends the program."""
    codecs.register_error("lickwright", _fall_back)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="lickwright")
    if sys.stdout is None:
        sys.stdout = _Closed()  # Python sets None where the shell closed it
    if sys.stderr is None:
        sys.stderr = io.StringIO()


def out(text: str) -> None:
    """Writes to standard output."""
    progress.clear()
    try:
        sys.stdout.write(text)
    except OSError as e:
        raise ScreenLost(e) from None


def err(text: str) -> None:
    """Writes to standard error; when even that fails there is nobody to tell."""
    progress.clear()
    try:
        sys.stderr.write(text)
        sys.stderr.flush()
    except OSError:
        pass


def flush() -> None:
    """Sees what was written to standard output through: a full disk shows only now."""
    progress.clear()
    try:
        sys.stdout.flush()
    except OSError as e:
        raise ScreenLost(e) from None


def lost(error: ScreenLost) -> int:
    """The exit code after standard output was lost; a reader that left (`| head`) is no fault and gets no message."""
    cause = error.args[0]
    try:  # Python flushes once more at its end: give that somewhere to go
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    except OSError:
        pass
    if isinstance(cause, BrokenPipeError):
        return Exit.PIPE
    err(f"error: standard output cannot be written: {getattr(cause, 'strerror', None) or cause}\n")
    return Exit.FILE


def colour(stream: TextIO) -> bool:
    """Whether `stream` wants colour: NO_COLOR and FORCE_COLOR decide, else whether it is a terminal that can."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR", "0") != "0":
        return True
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def columns(stream: TextIO, otherwise: int) -> int:
    """How many columns `stream` shows, at least 30; `otherwise` where it is no terminal or does not say."""
    if not stream.isatty():
        return otherwise
    said = os.environ.get("COLUMNS", "")
    if said.isascii() and said.isdigit() and int(said[:9]) > 0:
        return max(30, int(said[:9]))
    try:
        return max(30, os.get_terminal_size(stream.fileno()).columns or otherwise)
    except (OSError, ValueError):
        return otherwise


class Progress:
    """`12 of 340 files` on a terminal's standard error, for work of more than a second; nothing anywhere else."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._next = self._began + 1.0
        self._drawn = False

    def show(self, done: int, total: int) -> None:
        """Draws how far the work is, at most five times a second."""
        now = time.monotonic()
        if now < self._next or not sys.stderr.isatty():
            return
        self._next = now + 0.2
        self._drawn = False
        err(f"\r{done:,} of {total:,} files")
        self._drawn = True

    def clear(self) -> None:
        """Takes the line away before anything else is written."""
        if self._drawn:
            self._drawn = False
            sys.stderr.write("\r" + " " * 40 + "\r")


progress = Progress()


def apology(error: Exception, during: str = "") -> str:
    """What a user reads after a bug of ours: that it is ours, and what to send.

    One line of where, never a traceback.
    """
    import platform
    import traceback

    from lickwright.report import safe
    from lickwright.version import __version__

    frames = [f for f in traceback.extract_tb(error.__traceback__) if not f.filename.startswith("<")]
    at = " < ".join(f"{os.path.basename(f.filename)}:{f.lineno}" for f in reversed(frames[-6:]))
    about = f" while working on {safe(during)}" if during else ""
    return (
        f"sorry: lickwright made a mistake of its own{about}\n"
        f"please report the next two lines, with the lick if you may share it:\n"
        f"  lickwright {__version__}, Python {platform.python_version()}, {platform.system()}\n"
        f"  {type(error).__name__}: {safe(str(error))[:200]} at {at}\n"
    )
