"""`lickwright check`: every finding about every file, for a person, for a program, or with its fix."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from lickwright.cli import option_types, terminal
from lickwright.cli.findings_view import FindingsView, findings_columns, next_commands
from lickwright.cli.option_pairs import refuse
from lickwright.cli.report_paths import report_path
from lickwright.core.diagnostics import Diagnostic
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import FoundSource, Verdict
    from lickwright.compiler import Compilation
    from lickwright.config.project_config import ProjectConfig

    Compiled = Iterator[tuple[FoundSource, Compilation]]


@click.command(short_help="Find what is wrong, and say what would be right.")
@option_types.paths_argument()
@option_types.format_option(
    "json", "sarif", "github", help="For a person, for programs (JSON, SARIF 2.1.0), or as annotations on GitHub."
)
@option_types.strict_option()
@option_types.all_option("Show every finding in full, however many files have some.")
@click.option("--profile", is_flag=True, help="Say how hard each lick is, and why.")
@click.option("--fix", is_flag=True, help="Print the fixes that are safe to make, as a diff.")
@click.option("--in-place", is_flag=True, help="With --fix: write them into the files that lie below PATH.")
def command(
    paths: tuple[str, ...], form: str, strict: bool, everything: bool, profile: bool, fix: bool, in_place: bool
) -> int:
    """Check licks: notation, rhythm, scale and box, hands.

    PATH is a .lick file, a folder of them, or - for standard input. Each finding carries a code: `lickwright why
    CODE` explains it.
    """
    from lickwright.cli.sources import Verdict

    refuse(in_place and not fix, "--in-place goes with --fix")
    refuse(fix and (form != "text" or profile), "--fix prints a diff: leave --format and --profile out")
    refuse(
        everything and (form != "text" or fix),
        "--all is for the screen: the other formats hold every finding anyway",
    )
    refuse(profile and form in ("sarif", "github"), f"--profile does not go with {form}: use --format text or json")
    if fix:
        return _fix(paths, in_place, strict)
    verdict = Verdict(strict)
    found = _checked(paths, verdict)
    if form == "text":
        _text(found, paths, profile, everything)
    else:
        {"json": _json, "sarif": _sarif, "github": _github}[form](found)
    return verdict.code


def _fix(paths: tuple[str, ...], in_place: bool, strict: bool) -> int:
    from contextlib import nullcontext

    from lickwright.cli.fix_view import fix_sources
    from lickwright.cli.sources import find_sources

    with terminal.endings() if in_place else nullcontext():
        return fix_sources(paths, find_sources(paths), in_place, strict)


def _checked(paths: tuple[str, ...], verdict: Verdict) -> Compiled:
    """Yield each source compiled; before them, once, each lickwright.toml that has mistakes in it or was named."""
    from lickwright.cli.sources import FoundSource, compiled, find_sources
    from lickwright.compiler.compilation import Compilation
    from lickwright.config.discovery import ProjectConfigs

    projects = ProjectConfigs()
    found = find_sources(paths)
    named = {one.path for one in found if _is_config_of(projects.of(one.path), one.path)}
    own = {os.path.abspath(path) for path in named}
    for project in projects.all():
        if not project.ok or os.path.abspath(project.path) in own:
            verdict.add(terminal.Exit.FINE if project.ok else terminal.Exit.FILE)
            yield FoundSource(project.path), Compilation(project.source, (), project.findings)
    yield from compiled([one for one in found if one.path not in named], verdict, projects)


def _is_config_of(project: ProjectConfig | None, path: str) -> bool:
    """True if the path is that of the lickwright.toml itself."""
    return project is not None and os.path.abspath(project.path) == os.path.abspath(path)


def _text(found: Compiled, paths: tuple[str, ...], profile: bool, everything: bool) -> None:
    view = FindingsView(terminal.colour(sys.stdout), findings_columns(sys.stdout), everything or profile)
    files_done = licks = 0
    for _, c in found:
        view.add(c.source, c.diagnostics)
        if everything or profile:
            terminal.out(view.drained() + (_profiles(c) if profile else ""))
        files_done += 1
        licks += len(c.licks)
        del c  # before the next is compiled
    terminal.out(view.text(next_commands(view, paths)))
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
