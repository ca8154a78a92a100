"""`lickwright check` without its options: every finding about every file, for a person or for a program.

In: paths, and what form the findings take. Out: an exit code; the findings are printed.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright.cli import terminal
from lickwright.cli.findings_view import FindingsView, findings_columns, next_commands
from lickwright.cli.report_paths import report_path
from lickwright.core.diagnostics import Diagnostic
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import FoundSource, Verdict
    from lickwright.compiler import Compilation
    from lickwright.config.project_config import ProjectConfig

    Compiled = Iterator[tuple[FoundSource, Compilation]]


def run_plain(arguments: Sequence[str]) -> int | None:
    """Check the sources that these paths name; return the exit code, or None where there is no path."""
    return check_sources(tuple(arguments)) if arguments else None


def check_sources(
    paths: tuple[str, ...],
    form: str = "text",
    strict: bool = False,
    everything: bool = False,
    profile: bool = False,
) -> int:
    """Print every finding about the sources that these paths name; return the exit code.

    `form` is "text", "json", "sarif" or "github". `strict` counts warnings as errors, `everything` shows each finding in full, `profile` adds
    how hard each lick is.
    """
    from lickwright.cli.sources import Verdict

    verdict = Verdict(strict)
    found = _checked(paths, verdict)
    if form == "text":
        _text(found, paths, profile, everything)
    else:
        {"json": _json, "sarif": _sarif, "github": _github}[form](found)
    return verdict.code


def _checked(paths: tuple[str, ...], verdict: Verdict) -> Compiled:
    """Yield each source compiled; before them, once, each lickwright.toml that has mistakes in it or was named."""
    from lickwright.cli.sources import FoundSource, compile_sources, find_sources
    from lickwright.compiler.compilation import Compilation
    from lickwright.config.discovery import ProjectConfigs

    projects = ProjectConfigs()
    found = find_sources(paths)
    named = {one.path for one in found if _is_config_of(projects.of(one.path), one.path)}
    own = {os.path.abspath(path) for path in named}
    for project in projects.all():
        if not project.ok or os.path.abspath(project.path) in own:
            verdict.add(terminal.Exit.FINE if project.ok else terminal.Exit.FILE_ERRORS)
            yield FoundSource(project.path), Compilation(project.source, (), project.findings)
    yield from compile_sources([one for one in found if one.path not in named], verdict, projects, importing=True)


def _is_config_of(project: ProjectConfig | None, path: str) -> bool:
    """True if the path is that of the lickwright.toml itself."""
    return project is not None and os.path.abspath(project.path) == os.path.abspath(path)


def _text(found: Compiled, paths: tuple[str, ...], profile: bool, everything: bool) -> None:
    view = FindingsView(terminal.wants_color(sys.stdout), findings_columns(sys.stdout), everything or profile)
    files_done = licks = 0
    for _, c in found:
        view.add(c.source, c.diagnostics)
        if everything or profile:
            terminal.out(view.drained() + (_profiles(c) if profile else ""))
        files_done += 1
        licks += len(c.licks)
        del c  # before the next is compiled
    terminal.out(view.text(next_commands(view, paths) if view.severities else []))
    counted = f"{console.counted_noun(files_done, 'file')}, {console.counted_noun(licks, 'lick')}"
    terminal.out(f"{counted}: {console.tally_severities(view.severities)}\n")


def _profiles(c: Compilation) -> str:
    from lickwright.analysis.difficulty import difficulty_profile

    return "".join(
        console.safe_lines(difficulty_profile(lick.timeline).text()) for lick in c.licks if lick.timeline and lick.ok
    )


def _json(found: Compiled) -> None:
    from json import dumps

    from lickwright.analysis.difficulty import difficulty_profile

    files = [
        {
            "path": c.source.name,
            "licks": [lick.title for lick in c.licks],
            "diagnostics": console.findings_json(c.source, c.diagnostics),
            "profiles": [difficulty_profile(lick.timeline).as_value() for lick in c.licks if lick.timeline and lick.ok],
        }
        for _, c in found
    ]
    terminal.out(dumps({"files": files}, indent=2) + "\n")


def _sarif(found: Compiled) -> None:
    from json import dumps

    from lickwright.compiler.rules import all_rules
    from lickwright.report.sarif import sarif_document

    files = [(report_path(c.source), [_noted(d) for d in c.diagnostics]) for _, c in found]
    terminal.out(dumps(sarif_document(files, all_rules()), indent=2) + "\n")


def _github(found: Compiled) -> None:
    from lickwright.report.annotations import annotation_commands

    for _, c in found:
        terminal.out(annotation_commands([(report_path(c.source), c.diagnostics)]))


def _noted(d: Diagnostic) -> Diagnostic:
    """Return the finding with the path of the lickwright.toml, if its notes point into one, as reports write it."""
    if not any(note.source for note in d.notes):
        return d
    from lickwright.core.fast_dataclass import replace

    return replace(d, notes=tuple(n._replace(source=report_path(n.source)) if n.source else n for n in d.notes))
