"""The sources that paths on a command line mean, each compiled.

In: what `core/source_discovery.py` found. Out: compilations, one per file, in a fixed order. A file or folder that cannot be read
becomes a compilation whose finding says so, and the others are compiled.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence

from lickwright.cli import terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.project_options import project_configs
from lickwright.compiler import Compilation, compile_bytes, compile_file
from lickwright.config.discovery import ProjectConfigs
from lickwright.core.file_bytes import read_file
from lickwright.core.files import UNREADABLE
from lickwright.core.source import MAX_BYTES, Source, Span, Unreadable
from lickwright.core.source_discovery import SUFFIX, FoundSource, find_sources
from lickwright.settings.project_rules import ProjectRules

__all__ = ["SUFFIX", "FoundSource", "Verdict", "compile_sources", "find_sources"]


def compile_sources(
    found: Sequence[FoundSource],
    verdict: Verdict,
    projects: ProjectConfigs | None = None,
    judge: bool = True,
    importing: bool = False,
) -> Iterator[tuple[FoundSource, Compilation]]:
    """Yield each source compiled by the rules of its project; a bug of ours costs only the file in which it shows.

    With `importing`, a file of another format, such as text tab, is read into the notation; else it is taken for a lick.
    `verdict` learns of bugs, and of all findings if `judge` is true. Without `projects`, mistakes in a lickwright.toml end the run before
    anything is compiled: raises `RunEnded`.
    """
    projects = projects or project_configs(one.path for one in found)
    for done, one in enumerate(found):
        terminal.progress.show(done, len(found))
        try:
            compilation = _compile(one, projects.of(one.path), importing)
        except Exception as e:
            terminal.err(terminal.apology(e, one.path))
            verdict.add(terminal.Exit.INTERNAL)
            continue
        if judge:
            verdict.add_findings(compilation.diagnostics)
        yield one, compilation
        del compilation  # before the next is made: that of a file of one MiB takes a hundred


def _compile(one: FoundSource, rules: ProjectRules | None, importing: bool) -> Compilation:
    if one.trouble is not None:
        return Compilation(Source(one.path, ""), (), (one.trouble,))
    if one.path != "-":
        return (_imported(one.path, rules) if importing else None) or compile_file(one.path, rules)
    try:
        return compile_bytes(sys.stdin.buffer.read(MAX_BYTES + 1), project=rules)
    except (OSError, AttributeError, ValueError):  # closed by the shell, or a folder
        trouble = UNREADABLE.at(Span(0, 0), "standard input cannot be read", "name a file, or send one with <")
        return Compilation(Source("-", ""), (), (trouble,))


def _imported(path: str, rules: ProjectRules | None) -> Compilation | None:
    """Return a file of another format read and compiled; None for a lick, and for a file that cannot be read."""
    if path.lower().endswith(SUFFIX):
        return None
    from lickwright.importers import is_importable

    try:
        data = read_file(path)
    except Unreadable:
        return None
    if not is_importable(data, path):
        return None
    from lickwright.compiler.imported import compile_imported

    return compile_imported(data, path, rules)
