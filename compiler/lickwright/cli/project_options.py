"""Finds the `lickwright.toml` of a command's sources, shows its mistakes, and gives its settings to options that the command line leaves out.

In: the paths of sources. Out: their project configs. A command stops before it writes anything if one of them has mistakes, since half-read settings
would give wrong outputs. Only `check` goes on, and shows the mistakes among its findings.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from lickwright.cli import terminal
from lickwright.cli.exit_code import Exit
from lickwright.cli.findings_view import show_findings
from lickwright.cli.terminal import RunEnded
from lickwright.config.discovery import ProjectConfig, ProjectConfigs
from lickwright.settings.project_rules import ProjectRules

if TYPE_CHECKING:
    import click

    from lickwright.music.practice import Ladder


def project_configs(paths: Iterable[str]) -> ProjectConfigs:
    """Return the project configs of these sources. Mistakes in one are shown and end the run: raises `RunEnded`."""
    projects = ProjectConfigs()
    for path in paths:
        projects.of(path)
    wrong = [project for project in projects.all() if not project.ok]
    if wrong:
        for project in wrong:
            show_findings(project.source, project.findings)
        terminal.err("nothing was done: fix it first\n")
        raise RunEnded(Exit.FILE_ERRORS)
    return projects


def preferred_ladder(given: Ladder | None, project: ProjectRules | None) -> Ladder:
    """Return the practice ladder of a lick: the command line's, else the project config's, else the default."""
    from lickwright.music.practice import Ladder

    own = project.make.get("ladder") if isinstance(project, ProjectConfig) else None
    return given or own or Ladder()


def preferred_values(context: click.Context, project: ProjectConfig | None) -> dict[str, Any]:
    """Return the values of a command's parameters: the command line's, else the project config's, else the defaults.

    A setting of the project config belongs to the option of its name: `width` to `--width`.
    """
    from click.core import ParameterSource

    values = dict(context.params)
    if project is None:
        return values
    for parameter in context.command.params:
        name = parameter.name or ""
        source = context.get_parameter_source(name)
        setting = next((opt.removeprefix("--") for opt in parameter.opts if opt.startswith("--")), "")
        if setting in project.make and source is ParameterSource.DEFAULT:
            values[name] = project.make[setting]
    return values
