"""Keys by which an output on record is known to be still valid: they change with the options, the project rules and the program's own text.

In: options, project rules, parts of the program. Out: keys as bytes or hexadecimal text.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from functools import cache

from lickwright.core.digest import blake2b
from lickwright.core.version import NOTATION, __version__
from lickwright.export import Album, Options

KEY = 16  # bytes of a key


def album_key(album: Album) -> str:
    """Return a key of what a project config says of its album, in hexadecimal; "" for nothing."""
    return values_key(album).hex() if album != Album() else ""


def values_key(*parts: object) -> bytes:
    """Return a key of `KEY` bytes that differs for other parts, which `repr` must tell apart."""
    return blake2b(repr(parts).encode("utf-8", "surrogatepass"), digest_size=KEY).digest()


def options_key(options: Options, project_key: str) -> bytes:
    """Return the key of compile options: it differs for other options, other project rules, another program or notation."""
    return values_key(__version__, NOTATION, program_key(), options, project_key)


@cache
def program_key() -> str:
    """Return a hash of the program's own text: a working copy changes without its version. What only draws on the screen is left out."""
    return program_text_key(("",))


def program_text_key(parts: Iterable[str]) -> str:
    """Return a hash of parts of the program's own text: files or folders below the package."""
    top = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    hash = blake2b(digest_size=16)
    folders: list[str] = []
    for part in parts:
        path = os.path.join(top, part)
        if part.endswith(".py"):
            with open(path, "rb") as file:
                hash.update(file.read())
        else:
            folders.append(path)
    while folders:
        folder = folders.pop()
        with os.scandir(folder) as entries:
            here = sorted((entry.name, entry.is_dir()) for entry in entries)
        for name, inner in here:
            path = os.path.join(folder, name)
            if inner and name not in ("cli", "__pycache__"):
                folders.append(path)
            elif name.endswith((".py", ".lark", ".js", ".css")):
                hash.update(name.encode())
                with open(path, "rb") as file:
                    hash.update(file.read())
    return hash.hexdigest()
