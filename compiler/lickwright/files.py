"""Reading a lick file, putting a file in its place, and the rules about files (L6xx).

In: a path. Out: its bytes, or an `Unreadable` that says why not in a player's words. Only ordinary files are read,
and never more than the limit: a pipe that nobody writes to, a device without an end or a folder is refused before its
first byte. `replace` writes a file whole or not at all; which files may be replaced is decided in `library/outputs.py`.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable

from lickwright.diagnostics import Rule, Severity
from lickwright.source import MAX_BYTES, Unreadable

UNREADABLE = Rule(
    "L601",
    "file cannot be read",
    Severity.ERROR,
    "the file is not there, or may not be read",
    "Lickwright could not open the file. The name may be mistyped, the file may have moved, or it belongs to "
    "someone else. The other files are still done.",
    "",
    "",
)
NOT_TEXT = Rule(
    "L602",
    "file is no notation",
    Severity.ERROR,
    "the file is too large, or not UTF-8 text",
    "A lick file is plain text in UTF-8, at most 1 MiB. A file of a word processor, a picture or a recording is "
    "refused whole, because guessing at letters would change the music in silence.",
    "",
    "",
)
NO_LICKS = Rule(
    "L603",
    "folder without licks",
    Severity.ERROR,
    "no .lick file lies in the folder",
    "A folder was named, and neither it nor the folders in it hold a file whose name ends in .lick. Hidden "
    "files and linked folders are left out. It counts as an error, so that a mistyped folder is noticed.",
    "",
    "",
)
UNWRITABLE = Rule(
    "L604",
    "output cannot be written",
    Severity.ERROR,
    "the output file could not be written",
    "The disk is full, or the folder may not be written to. A file that was there before is unchanged: every "
    "output is written whole beside its place and then moved there.",
    "",
    "",
)
NOT_OURS = Rule(
    "L605",
    "output not overwritten",
    Severity.ERROR,
    "another file stands where the output would go",
    "Lickwright replaces only what it wrote itself and nobody has changed since; the output folder keeps a "
    "record of that in .lickwright.db. A file that you changed by hand, one that came from "
    "elsewhere, or outputs of another source of the same name stay as they are. Move the file away, name "
    "another folder with --out, or say --overwrite.",
    "",
    "",
)
GIVEN_UP = Rule(
    "L606",
    "source given up",
    Severity.ERROR,
    "the program broke down, took too long or ran out of memory over a source",
    "While a library is built each source is worked on in a process of its own, with limits of time and memory. A "
    "source that brings this process down twice, the second time alone, is given up and named; all others are still made. "
    "It is tried again in the next run. Please report it, with the file if you may share it.",
    "",
    "",
)

RULES: tuple[Rule, ...] = (UNREADABLE, NOT_TEXT, NO_LICKS, UNWRITABLE, NOT_OURS, GIVEN_UP)

TEMPORARY = ".lw-"  # how the names begin of files that are not yet in their place; they end in `.tmp`


class Unopened(Unreadable):
    """The file could not be opened at all (L601); a plain `Unreadable` is about what is in it (L602)."""


def read(path: str) -> bytes:
    """The bytes of an ordinary file, at most one more than the limit (so that `decode` can refuse it)."""
    try:
        # Not to wait for a pipe that nobody writes to; the look is at what was really opened.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as e:
        if not isinstance(e, ValueError) and os.path.exists(path):
            _ordinary(os.stat(path))  # says more than the system does about a socket
        near = f"{path}.lick"
        wish = f"did you mean {near}?" if os.path.isfile(near) else "check the name and the folder"
        raise Unopened(f"the file cannot be read: {reason(e)}", wish) from None
    try:
        status = os.fstat(handle)
        _ordinary(status)
        data = os.read(handle, status.st_size + 1)  # mostly all of it; asking for the limit would take a megabyte
        if len(data) == status.st_size > 0:
            return data
        parts = [data]
        while parts[-1] and sum(map(len, parts)) <= MAX_BYTES:
            parts.append(os.read(handle, MAX_BYTES + 1))
        return b"".join(parts)[: MAX_BYTES + 1]
    except OSError as e:
        raise Unopened(f"the file cannot be read: {reason(e)}", "check the name and the folder") from None
    finally:
        os.close(handle)


def _ordinary(status: os.stat_result) -> None:
    if stat.S_ISDIR(status.st_mode):
        raise Unopened("this is a folder, not a file", "name a file in it")
    if not stat.S_ISREG(status.st_mode):
        raise Unopened("this is no ordinary file but a pipe or device", "name a file, or - for standard input")
    if status.st_size > MAX_BYTES:
        raise Unreadable(f"the file is larger than 1 MiB ({status.st_size:,} bytes)", "split it into several files")


def reason(error: Exception) -> str:
    """Why the system refused, in its own few words: `no such file or directory`."""
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return words[:1].lower() + words[1:]


def replace(path: str, data: bytes | Iterable[bytes], mode: int | None = None) -> None:
    """Puts `data`, as a whole or in pieces, at `path` in one move:

    whoever looks sees the old file or the whole new one, also after a crash of the program. `mode` are the permissions
    of a user's own file that is replaced: then the data is on the disk before the move, since nothing could make it again.
    """
    temporary = os.path.join(os.path.dirname(path), f"{TEMPORARY}{os.urandom(8).hex()}.tmp")
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines((data,) if isinstance(data, bytes) else data)
            if mode is not None:
                file.flush()
                os.chmod(temporary, mode)
                os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        os.unlink(temporary)
        raise
