"""The `lickwright.toml` of what a command works on: found, complained about, and its options taken where the command line says nothing.

In: the paths of sources. Out: their houses. A command that is told to go by a file with mistakes in it does nothing at all: what is half
understood would be made wrong. Only `check` goes on, and shows them among its findings.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import Any

import click

from lickwright.cli import terminal
from lickwright.cli.terminal import Exit
from lickwright.config.discovery import ProjectConfig, ProjectConfigs
from lickwright.report import console


def project_configs(paths: Iterable[str]) -> ProjectConfigs:
    """The houses of all sources, known to be without mistakes. Else they are shown, and the run ends."""
    houses = ProjectConfigs()
    for path in paths:
        houses.of(path)
    wrong = [house for house in houses.all() if not house.ok]
    if wrong:
        columns = min(terminal.columns(sys.stderr, 100), 160)
        for house in wrong:
            terminal.err(console.format_findings(house.source, house.findings, terminal.colour(sys.stderr), columns))
        terminal.err("nothing was done: fix it first\n")
        raise click.exceptions.Exit(Exit.FILE)
    return houses


def preferred(context: click.Context, house: ProjectConfig | None) -> dict[str, Any]:
    """The values of a command's parameters: the command line's, else those that the house sets, else the defaults.

    A setting of the house belongs to the option of its name: `width` to `--width`.
    """
    values = dict(context.params)
    for parameter in context.command.params if house is not None else ():
        name = parameter.name or ""
        said = context.get_parameter_source(name)
        setting = next((opt.removeprefix("--") for opt in parameter.opts if opt.startswith("--")), "")
        if house is not None and setting in house.make and said is click.core.ParameterSource.DEFAULT:
            values[name] = house.make[setting]
    return values
