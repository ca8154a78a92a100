"""Writes a folder that is not there, with all its files in one move.

In: a folder and its files. Out: the folder as a whole or not at all, and the state of each file in it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence

from lickwright.core.atomic_files import discard_temporary, move_file, temporary_beside, write_new


def write_folder(folder: str, files: Sequence[tuple[str, bytes | Iterable[bytes]]]) -> list[os.stat_result]:
    """Make a folder that is not there, with all its files (name and data) in one move; return the state of each file.

    It is filled under a temporary name beside its place, which costs half as much as moving file after file into it. Raises OSError, and then
    nothing of it is left.
    """
    temporary = temporary_beside(folder)
    try:
        try:
            os.mkdir(temporary)
        except FileNotFoundError:
            os.makedirs(os.path.dirname(folder), exist_ok=True)
            os.mkdir(temporary)
        states = [write_new(f"{temporary}/{name}", data) for name, data in files]
        move_file(temporary, folder)
    except BaseException:
        discard_temporary(temporary)
        raise
    return states
