"""Options that a user said on the command line, for commands that refuse some of them together: none is taken and ignored.

In: names of a command's parameters. Out: the first that was said, as it is written.
"""

from __future__ import annotations

from collections.abc import Iterable

import click


def given(*names: str) -> str | None:
    """Return the first of these parameters of the running command that was said, `--width`; None for none of them."""
    context = click.get_current_context()
    return next((_written(context, name) for name in names if _said(context, name)), None)


def given_but(names: Iterable[str]) -> str | None:
    """Return the first parameter that was said and is none of these; None if there is none."""
    every = [parameter.name or "" for parameter in click.get_current_context().command.params]
    return given(*(name for name in every if name not in names))


def _said(context: click.Context, name: str) -> bool:
    return context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE


def _written(context: click.Context, name: str) -> str:
    return next(parameter.opts[0] for parameter in context.command.params if parameter.name == name)
