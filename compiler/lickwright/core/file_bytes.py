"""Read a file as bytes.

In: a path. Out: its bytes, or an `Unreadable` that says why not in a player's words. Only ordinary files are read, up to a
size limit: pipes, devices and folders are refused before anything is read. Nothing is imported for it that takes long.
"""

from __future__ import annotations

import os
import stat

from lickwright.core.nearest_name import nearest_name
from lickwright.core.unreadable import MAX_BYTES, Unreadable

_MOST_NAMES = 2_000  # of a folder that are read for "did you mean"


class Unopened(Unreadable):
    """The file could not be opened at all (L601); a plain `Unreadable` is about its contents (L602)."""


def _near_lick(path: str) -> str | None:
    """Return the lick file beside a missing one that its name is most like, `mine.lick` for `mine.lic`; None if there is none."""
    from itertools import islice

    if "\0" in path or os.path.exists(path):
        return None
    if os.path.isfile(f"{path}.lick"):
        return f"{path}.lick"
    folder, name = os.path.split(path)
    try:
        with os.scandir(folder or ".") as entries:
            known = [one.name[:-5] for one in islice(entries, _MOST_NAMES) if one.name.endswith(".lick")]
    except OSError:
        return None
    near = nearest_name(os.path.splitext(name)[0], known)
    return os.path.join(folder, f"{near}.lick") if near else None


def read_file(path: str, is_ordinary: bool = False) -> bytes:
    """Return the bytes of an ordinary file, at most one more than the limit, so that `decode_source` can refuse it.

    `is_ordinary`: the caller has just seen that it is one.

    Raises Unopened for what cannot be opened or is no ordinary file, Unreadable for a file that is too large.
    """
    try:
        if not is_ordinary:
            _refuse_special(
                os.stat(path)
            )  # before it is opened: opening alone rewinds a tape, or starts a pipe's writer
        # Non-blocking, so that a pipe that replaced the file meanwhile does not hang; what was opened is checked again.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as e:
        near = _near_lick(path)
        hint = f"did you mean {near}?" if near else "check the name and the folder"
        raise Unopened(f"the file cannot be read: {error_reason(e)}", hint) from None
    try:
        status = os.fstat(handle)
        _refuse_special(status)
        data = os.read(handle, status.st_size + 1)  # not the limit, for which Python would allocate a megabyte
        if len(data) == status.st_size > 0:
            return data
        parts = [data]
        while parts[-1] and sum(map(len, parts)) <= MAX_BYTES:
            parts.append(os.read(handle, MAX_BYTES + 1))
        return b"".join(parts)[: MAX_BYTES + 1]
    except OSError as e:
        raise Unopened(f"the file cannot be read: {error_reason(e)}", "check the name and the folder") from None
    finally:
        try:
            os.close(handle)
        except OSError:  # it does not affect the bytes that were read
            pass


def _refuse_special(status: os.stat_result) -> None:
    """Raise Unopened for anything but an ordinary file, Unreadable for a file that is too large."""
    if stat.S_ISDIR(status.st_mode):
        raise Unopened("this is a folder, not a file", "name a file in it")
    if not stat.S_ISREG(status.st_mode):
        raise Unopened("this is no ordinary file but a pipe or device", "name a file, or - for standard input")
    if status.st_size > MAX_BYTES:
        raise Unreadable(f"the file is larger than 1 MiB ({status.st_size:,} bytes)", "split it into several files")


def error_reason(error: Exception) -> str:
    """Return why the system refused, in its own words: `no such file or directory`."""
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return words[:1].lower() + words[1:]
