"""What the paths on a command line mean, each file compiled.

In: what `scan.py` found. Out: compilations, one a file, in a fixed order. A file or folder that cannot be read
becomes a compilation whose finding says so, and the rest goes on.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence

from lickwright.cli import screen
from lickwright.cli.housing import housed
from lickwright.cli.verdict import Verdict
from lickwright.files import UNREADABLE
from lickwright.library.house import Houses
from lickwright.pipeline import Compilation, compile_bytes, compile_file
from lickwright.scan import SUFFIX, Found, find
from lickwright.source import MAX_BYTES, Source, Span
from lickwright.style import Style

__all__ = ["SUFFIX", "Found", "Verdict", "compiled", "find"]


def compiled(
    found: Sequence[Found], verdict: Verdict, houses: Houses | None = None
) -> Iterator[tuple[Found, Compilation]]:
    """Each compiled in turn by its house's style. A bug of ours costs only the file it happened with.

    Without `houses`, a lickwright.toml with mistakes in it ends the run before anything is compiled.
    """
    houses = houses or housed(one.path for one in found)
    for done, one in enumerate(found):
        screen.progress.show(done, len(found))
        try:
            compilation = _compile(one, houses.of(one.path))
        except Exception as e:
            screen.err(screen.apology(e, one.path))
            verdict.add(screen.Exit.INTERNAL)
            continue
        verdict.judge(compilation.diagnostics)
        yield one, compilation
        del compilation  # before the next is made: a file of a mebibyte takes a hundred


def _compile(one: Found, house: Style | None) -> Compilation:
    if one.trouble is not None:
        return Compilation(Source(one.path, ""), (), (one.trouble,))
    if one.path != "-":
        return compile_file(one.path, house)
    try:
        return compile_bytes(sys.stdin.buffer.read(MAX_BYTES + 1), house=house)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        trouble = UNREADABLE.at(Span(0, 0), "standard input cannot be read", "name a file, or send one with <")
        return Compilation(Source("-", ""), (), (trouble,))
