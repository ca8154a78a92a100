"""Keys by which an output on record is known to be still valid: they change with the options, the project rules and the program's own text.

In: options, project rules, parts of the program. Out: keys as bytes or hexadecimal text.

The key of a source is that of the options, then the number of licks before it in its album (4 bytes), then what it uses of the project's own sounds:
their names and a hash of the sounds. A part that says nothing is left out where nothing follows it.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Mapping
from functools import cache

from lickwright.core.digest import blake2b
from lickwright.core.version import NOTATION, __version__
from lickwright.export import Album, Options
from lickwright.music.instruments import InstrumentRow

KEY = 16  # bytes of a key
_TRACK = 4  # bytes of a number in an album
_MOST_SOUNDS = 8  # named in a key: a source that uses more depends on all
_EVERY = "*"
_MAKE_NO_OUTPUT = ("cli", "index", "listen", "__pycache__")  # folders of the program


def album_key(album: Album) -> str:
    """Return a key of what a project config says of its album, in hexadecimal; "" for nothing."""
    return values_key(album).hex() if album != Album() else ""


def values_key(*parts: object) -> bytes:
    """Return a key of `KEY` bytes that differs for other parts, which `repr` must tell apart."""
    return blake2b(repr(parts).encode("utf-8", "surrogatepass"), digest_size=KEY).digest()


def options_key(options: Options, project_key: str) -> bytes:
    """Return the key of compile options: it differs for other options, other project rules, another program or notation."""
    return values_key(__version__, NOTATION, program_key(), options, project_key)


def source_key(
    key: bytes, before: int, names: Collection[str] = (), sounds: Mapping[str, InstrumentRow] | None = None
) -> bytes:
    """Return the key of a source: of its options, the licks before it in its album, and the sounds of a project that it names.

    A name that the project does not have counts too: the finding about it depends on those that there are.
    """
    if not names:
        return key + before.to_bytes(_TRACK, "big") if before else key
    known = sounds or {}
    listed = sorted(names) if len(names) <= _MOST_SOUNDS else [_EVERY]
    used = [(name, known.get(name) or sorted(known.items() if name == _EVERY else known)) for name in listed]
    return key + before.to_bytes(_TRACK, "big") + ",".join(listed).encode() + values_key(used)


def licks_before(source_key: bytes) -> int:
    """Return how many licks come before those of a source in its album, by its key."""
    return int.from_bytes(source_key[KEY : KEY + _TRACK], "big")


def sounds_named(source_key: bytes) -> tuple[str, ...]:
    """Return which sounds of a project the licks of a source name, by its key. Raises UnicodeDecodeError for a key that no program of ours made."""
    return tuple(source_key[KEY + _TRACK : -KEY].decode().split(",")) if len(source_key) > KEY + _TRACK else ()


@cache
def program_key() -> str:
    """Return a hash of the program's own text: a working copy changes without its version. What makes no output is left out."""
    return program_text_key(("",))


def program_text_key(parts: Iterable[str]) -> str:
    """Return a hash of parts of the program's own text: files or folders below the package."""
    top = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    hash = blake2b(digest_size=16)
    folders: list[str] = []
    for part in parts:
        path = os.path.join(top, part)
        if part.endswith(".py"):
            _hash_file(hash, path)
        else:
            folders.append(path)
    while folders:
        folder = folders.pop()
        with os.scandir(folder) as entries:
            here = sorted((entry.name, entry.is_dir()) for entry in entries)
        for name, inner in here:
            path = os.path.join(folder, name)
            if inner and name not in _MAKE_NO_OUTPUT:
                folders.append(path)
            elif name.endswith((".py", ".lark", ".js", ".css")):
                hash.update(name.encode())
                _hash_file(hash, path)
    return hash.hexdigest()


def _hash_file(hash: blake2b, path: str) -> None:
    """Add the bytes of a file to a hash. Raises OSError."""
    handle = os.open(
        path, os.O_RDONLY | getattr(os, "O_BINARY", 0)
    )  # `open` would take half as long again for some hundred files
    try:
        while part := os.read(handle, 1 << 16):
            hash.update(part)
    finally:
        os.close(handle)
