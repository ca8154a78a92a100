"""What is asked of a build and what comes of it, as plain values that travel between processes.

In: nothing. Out: `Order`, `Item` and `Result`, and the key by which what was made is known to be still right. Loads no compiler: a build that has
nothing to do wants none.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from functools import cache
from hashlib import blake2b
from typing import TYPE_CHECKING, NamedTuple

from lickwright.backends import BACKENDS, Album, Options
from lickwright.version import NOTATION, __version__

if TYPE_CHECKING:
    from lickwright.library.facts import Finding, LickFacts
    from lickwright.library.manifest import Made
    from lickwright.library.naming import Named
    from lickwright.library.outputs import Trouble
    from lickwright.style import Style


KEY = 16  # bytes of the key of an order


class Order(NamedTuple):
    """What is wanted of sources."""

    formats: tuple[str, ...]  # names of back ends, in the table's order
    options: Options
    house: Style | None  # the style of its `lickwright.toml`
    key: bytes  # `KEY` bytes; changes with the options, the house and the program: what was made under another key is made again
    facts: bool  # whether the index is to know the licks
    blocked: bool = False  # nothing is made: the house's file has errors

    @property
    def numbered(self) -> bool:
        """Whether licks have numbers in an album."""
        return bool(self.options.album.title)

    def key_after(self, before: int) -> bytes:
        """The key for a source that so many licks come before in its album: another one for other numbers."""
        return self.key + before.to_bytes(4, "big") if before else self.key

    def suffixes(self) -> frozenset[str]:
        """How the names of all outputs of a lick end."""
        rows = [row for row in BACKENDS if row.name in self.formats]
        return frozenset(suffix for row in rows for suffix, _ in row.files(self.options))


class Item(NamedTuple):
    """One source to work on."""

    id: int  # its place among the sources of this run, from 1
    path: str  # to read, and as the user knows it; `-` is standard input
    target: str  # the folder of its outputs, below the output folder
    order: int  # which of the run's orders holds for it
    known: tuple[Made, ...] = ()  # what is on record of that folder
    claimed: tuple[tuple[str, bytes], ...] = ()  # what a run that died may have written there
    named: tuple[Named, ...] = ()  # the names on record of its licks
    taken: str = ""  # whose its folder is, if somebody else's
    data: bytes | None = None  # what was read already; None: it is to be read
    before: int = 0  # licks that come before it in its album
    only: int | None = None  # the one lick (from 0) that is tried, without writing anything; see `careful.py`
    without: tuple[tuple[int, str], ...] = ()  # licks that are left out, and why


class Skipped(NamedTuple):
    """One lick that was not made."""

    title: str
    why: str
    slug: str = ""  # by which its outputs would be named; "" where that is not known
    older: int = 0  # outputs of an earlier version of it that still stand in the folder


class Result(NamedTuple):
    """What became of one source."""

    id: int
    done: bool = False  # whether there is nothing left to do, as long as neither source nor order change
    hash: bytes = b""  # of what was read; empty if it could not be
    made: int = 0  # licks written
    refused: tuple[Skipped, ...] = ()  # licks that were not
    slugs: tuple[str, ...] = ()  # of all licks of the source, by which their outputs are named
    findings: str = ""  # see `remembered.py`
    text: str = ""  # of the source, where there are findings to be shown
    outputs: tuple[Made, ...] = ()  # that stand in their places
    written: int = 0  # how many of them are new or changed
    size: int = 0  # bytes of these
    troubles: tuple[Trouble, ...] = ()  # outputs that could not be written
    facts: tuple[LickFacts, ...] = ()  # of its licks, for the index
    loose: tuple[Finding, ...] = ()  # findings of a source without licks, for the index
    bugs: tuple[tuple[str, str], ...] = ()  # mistakes of ours: during what, which
    alone: bool = False  # it brought a worker down
    sounds: tuple[tuple[bytes, bytes], ...] = ()  # of recordings among the outputs: hash of the file, key of the sound
    ok: bool = False  # whether nothing in the source is an error: then all its licks are known
    named: tuple[Named, ...] = ()  # what is to be on record of its licks' names


def album_key(album: Album) -> str:
    """A key of what a house says of its album, in hexadecimal; "" for nothing."""
    return key_of(album).hex() if album != Album() else ""


def key_of(*parts: object) -> bytes:
    """A key of `KEY` bytes that is another one for other parts, each of which `repr` tells apart."""
    return blake2b(repr(parts).encode("utf-8", "surrogatepass"), digest_size=KEY).digest()


def key(options: Options, house: str) -> bytes:
    """The key of an order: another one for other options, other house rules, another program or notation."""
    return key_of(__version__, NOTATION, program(), options, house)


@cache
def program() -> str:
    """The program's own text, hashed: a working copy changes without its version. What only draws on the screen is left out."""
    return text_of(("",))


def text_of(parts: Iterable[str]) -> str:
    """Parts of the program's own text, files or folders below the package, hashed."""
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
            elif name.endswith((".py", ".lark")):
                hash.update(name.encode())
                with open(path, "rb") as file:
                    hash.update(file.read())
    return hash.hexdigest()
