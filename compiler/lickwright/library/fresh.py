"""A folder that was not there, with all its files in one move.

In: a folder and its files. Out: the folder as a whole or not at all, and the state of each file in it. It is filled under a temporary name beside its
place, which costs half as much as moving file after file into it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence

from lickwright.files import NEW, temporary_beside, write_all


def write_folder(folder: str, files: Sequence[tuple[str, bytes | Iterable[bytes]]]) -> list[os.stat_result]:
    """Makes it; raises OSError, and then nothing of it is left."""
    above = os.path.dirname(folder)
    temporary = temporary_beside(folder)
    try:
        try:
            os.mkdir(temporary)
        except FileNotFoundError:
            os.makedirs(above, exist_ok=True)
            os.mkdir(temporary)
        states = [_write(f"{temporary}/{name}", data) for name, data in files]
        os.rename(temporary, folder)
    except BaseException:
        take_away(temporary)  # it is gone already where an interrupt came after the move
        raise
    return states


def _write(path: str, data: bytes | Iterable[bytes]) -> os.stat_result:
    handle = os.open(path, NEW, 0o666)
    try:
        write_all(handle, data)
        return os.fstat(handle)
    finally:
        os.close(handle)


def take_away(path: str) -> None:
    """Removes a temporary file, or a temporary folder with its files; what is gone already is fine."""
    try:
        if os.path.isdir(path) and not os.path.islink(path):
            for name in os.listdir(path):
                os.unlink(os.path.join(path, name))
            os.rmdir(path)
        else:
            os.unlink(path)
    except OSError:
        pass
