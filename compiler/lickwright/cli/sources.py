"""What the paths on a command line mean, each file compiled.

In: what `core/source_discovery.py` found. Out: compilations, one a file, in a fixed order. A file or folder that cannot be read
becomes a compilation whose finding says so, and the rest goes on.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.project_options import project_configs
from lickwright.compiler import Compilation, compile_bytes, compile_file
from lickwright.config.discovery import ProjectConfigs
from lickwright.core.files import UNREADABLE
from lickwright.core.source import MAX_BYTES, Source, Span
from lickwright.core.source_discovery import SUFFIX, FoundSource, find_sources
from lickwright.settings.project_rules import ProjectRules

__all__ = ["SUFFIX", "FoundSource", "Verdict", "compiled", "find_sources"]


def compiled(
    found: Sequence[FoundSource], verdict: Verdict, houses: ProjectConfigs | None = None
) -> Iterator[tuple[FoundSource, Compilation]]:
    """Each compiled in turn by its house's style. A bug of ours costs only the file it happened with.

    Without `houses`, a lickwright.toml with mistakes in it ends the run before anything is compiled.
    """
    houses = houses or project_configs(one.path for one in found)
    for done, one in enumerate(found):
        terminal.progress.show(done, len(found))
        try:
            compilation = _compile(one, houses.of(one.path))
        except Exception as e:
            terminal.err(terminal.apology(e, one.path))
            verdict.add(terminal.Exit.INTERNAL)
            continue
        verdict.judge(compilation.diagnostics)
        yield one, compilation
        del compilation  # before the next is made: a file of a mebibyte takes a hundred


def _compile(one: FoundSource, house: ProjectRules | None) -> Compilation:
    if one.trouble is not None:
        return Compilation(Source(one.path, ""), (), (one.trouble,))
    if one.path != "-":
        return compile_file(one.path, house)
    try:
        return compile_bytes(sys.stdin.buffer.read(MAX_BYTES + 1), project=house)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        trouble = UNREADABLE.at(Span(0, 0), "standard input cannot be read", "name a file, or send one with <")
        return Compilation(Source("-", ""), (), (trouble,))
