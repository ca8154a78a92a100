"""The terminal: text to standard output and standard error, progress, and interrupts.

In: text. Out: the text in the encoding of the stream; characters that the encoding lacks are shown in plain letters. Nothing here is about licks.
"""

from __future__ import annotations

import codecs
import errno
import io
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO

from lickwright.cli.exit_code import Exit as Exit


class RunEnded(Exception):
    """The run ends here, its reason shown already; `code` is its exit code. Commands with and without click raise it."""

    def __init__(self, code: Exit) -> None:
        super().__init__(code)
        self.code = code


class ScreenLost(Exception):
    """Standard output cannot be written to; the OSError is its argument."""


# What common characters become if the encoding lacks them; any other is shown by its number.
_PLAIN_LETTERS = {"♯": "#", "♭": "b", "…": "...", "–": "-", "—": "-", "−": "-", "×": "x", "→": "->"}
_PLAIN_LETTERS |= {"“": '"', "”": '"', "‘": "'", "’": "'", "½": "1/2", "¼": "1/4"}


def _fall_back(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    chars = error.object[error.start : error.end]
    return "".join(_PLAIN_LETTERS.get(char, f"\\u{{{ord(char):X}}}") for char in chars), error.end


class _Closed(io.TextIOBase):
    """A standard output that the shell closed: writing to it raises OSError instead of being silent."""

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, "standard output is closed")


def prepare_streams() -> None:
    """Make both streams take any text: a character that the encoding lacks, such as a sharp sign, becomes plain letters."""
    codecs.register_error("lickwright", _fall_back)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="lickwright")
    if sys.stdout is None:
        sys.stdout = _Closed()  # Python sets None where the shell closed it
    if sys.stderr is None:
        sys.stderr = io.StringIO()


def out(text: str) -> None:
    """Write to standard output. Raises `ScreenLost`."""
    progress.clear()
    try:
        sys.stdout.write(text)
    except OSError as e:
        raise ScreenLost(e) from None


def err(text: str) -> None:
    """Write to standard error; a failure is ignored, since there is nowhere left to report it."""
    progress.clear()
    _write_error(text)


def _write_error(text: str) -> bool:
    """Write to standard error at once. Return False where it cannot be written, now or later."""
    try:
        sys.stderr.write(text)
        sys.stderr.flush()
    except OSError:
        _lead_nowhere(sys.stderr)
        return False
    return True


def _lead_nowhere(stream: TextIO) -> None:
    """Let a stream write to nowhere from now on: Python flushes once more at its end, and would exit with 120 if that failed."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
    except OSError:  # also where the stream has no file
        pass


def flush() -> None:
    """Flush standard output, which is when a full disk shows. Raises `ScreenLost`."""
    progress.clear()
    try:
        sys.stdout.flush()
    except OSError as e:
        raise ScreenLost(e) from None


def report_lost_screen(error: ScreenLost) -> int:
    """Say that standard output was lost; return the exit code. A reader that left (`| head`) is no fault and gets no message."""
    cause = error.args[0]
    _lead_nowhere(sys.__stdout__ or sys.stdout)
    if isinstance(cause, BrokenPipeError):
        return Exit.PIPE
    err(f"error: standard output cannot be written: {getattr(cause, 'strerror', None) or cause}\n")
    return Exit.FILE_ERRORS


def wants_color(stream: TextIO) -> bool:
    """True if `stream` is to have color: NO_COLOR and FORCE_COLOR decide, else whether it is a terminal that can show it."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR", "0") != "0":
        return True
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def columns(stream: TextIO, otherwise: int, most: int = 10**9) -> int:
    """Return how many columns to write to `stream`, from 30 to `most`.

    The environment variable COLUMNS decides, else the terminal, else `otherwise`.
    """
    return min(_columns(stream, otherwise), most)


def _columns(stream: TextIO, otherwise: int) -> int:
    wanted = os.environ.get("COLUMNS", "")
    if wanted.isascii() and wanted.isdigit() and int(wanted[:9]) > 0:
        return max(30, int(wanted[:9]))
    if not stream.isatty():
        return otherwise
    try:
        return max(30, os.get_terminal_size(stream.fileno()).columns or otherwise)
    except (OSError, ValueError):
        return otherwise


class Progress:
    """A line about progress on the standard error of a terminal, for work of more than a second; nothing anywhere else."""

    def __init__(self) -> None:
        self._began = time.monotonic()
        self._next = self._began + 1.0
        self._drawn = 0  # columns

    def show(self, done: int, total: int) -> None:
        """Draw how many files are done, at most five times a second."""
        now = time.monotonic()
        if now < self._next or not sys.stderr.isatty():
            return
        self._next = now + 0.2
        self._draw(f"{done:,} of {total:,} files")

    def rate(self, done: int, total: int, licks: int) -> None:
        """Draw a bar, licks per second and the time left, for work that is done in many pieces."""
        now = time.monotonic()
        if done == 0:
            self._began = now
            self._next = now + 1.0
        if now < self._next or not sys.stderr.isatty():
            return
        self._next = now + 0.2
        seconds = now - self._began
        left = seconds * (total - done) / max(1, done)
        filled = 20 * done // max(1, total)
        bar = "#" * filled + "." * (20 - filled)
        text = f"[{bar}] {done:,} of {total:,} files, {speed_words(licks / seconds)}, {_clock(left)} left"
        self._draw(text[: columns(sys.stderr, 80) - 1])

    def _draw(self, text: str) -> None:
        self.clear()
        if _write_error("\r" + text):
            self._drawn = len(text)

    def clear(self) -> None:
        """Erase the line before anything else is written."""
        if self._drawn:
            blank = "\r" + " " * self._drawn + "\r"
            self._drawn = 0
            _write_error(blank)


def speed_words(licks: float) -> str:
    """Return licks per second in words, per minute if there are less than one a second."""
    return f"{licks:,.0f} licks a second" if licks >= 1 else f"{60 * licks:,.1f} licks a minute"


PATIENCE = 2.0  # seconds in which a second signal counts as the first (estimate)


class Interrupted(KeyboardInterrupt):
    """The program is to end: by Ctrl-C, by another program, or because its terminal went away."""

    def __init__(self, code: Exit) -> None:
        super().__init__()
        self.code = code


@contextmanager
def handle_interrupts() -> Iterator[Callable[[], Exit]]:
    """Turn every signal that asks the program to end into `Interrupted`; gives a function for the exit code of the last one."""
    codes = {"SIGINT": Exit.STOPPED, "SIGTERM": Exit.ENDED, "SIGHUP": Exit.HUNG_UP}
    seen = [Exit.STOPPED]
    last = -PATIENCE

    def end(number: int, frame: object) -> None:
        nonlocal last
        now = time.monotonic()
        if now - last < PATIENCE:
            return  # the same signal again, while the program tidies up
        last = now
        seen.append(next(code for name, code in codes.items() if getattr(signal, name, None) == number))
        raise Interrupted(seen[-1])

    from threading import current_thread, main_thread  # half a millisecond, of which questions have no need

    before = {}
    try:
        for name in codes:
            if hasattr(signal, name) and current_thread() is main_thread():
                before[name] = signal.signal(getattr(signal, name), end)
        yield lambda: seen[-1]
    except KeyboardInterrupt as e:
        if isinstance(e, Interrupted) or len(seen) == 1:
            raise
        raise Interrupted(seen[-1]) from None  # SQLite drops the exception, and a plain one is raised later
    finally:
        for name, handler in before.items():
            # The same signal may come again while Python itself ends; then it is ignored.
            signal.signal(getattr(signal, name), handler if len(seen) == 1 else signal.SIG_IGN)


def _clock(seconds: float) -> str:
    """`0:07`, `12:30`."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02}"


progress = Progress()


def apology(error: Exception | str, during: str = "") -> str:
    """Return what a user reads after a bug of ours: that it is ours, and what to send.

    It says where in one line, never in a traceback. `error` may be such a line already, from another process.
    """
    import platform

    from lickwright.core.version import __version__
    from lickwright.report.console import describe_crash, safe_text

    about = f" while working on {safe_text(during)}" if during else ""
    return (
        f"sorry: something went wrong inside lickwright{about}\n"
        f"please report the next two lines, with the lick if you may share it:\n"
        f"  lickwright {__version__}, Python {platform.python_version()}, {platform.system()}\n"
        f"  {error if isinstance(error, str) else describe_crash(error)}\n"
    )
