"""Which options a user gave on the command line, for commands that refuse some of them together: no option is taken and ignored.

In: names of parameters of the running command, or conditions. Out: the first parameter that was given, as it is written; or a UsageError.
"""

from __future__ import annotations

from collections.abc import Iterable

import click


def refuse(contradiction: object, message: str) -> None:
    """Raise UsageError with this message if the contradiction is true."""
    if contradiction:
        raise click.UsageError(message)


def first_given(*names: str) -> str | None:
    """Return the first of these parameters that the command line gives, as in `--width`; None if it gives none of them."""
    context = click.get_current_context()
    return next((_written(context, name) for name in names if _is_given(context, name)), None)


def first_given_except(names: Iterable[str]) -> str | None:
    """Return the first parameter that the command line gives and that is none of these; None if there is none."""
    every = [parameter.name or "" for parameter in click.get_current_context().command.params]
    return first_given(*(name for name in every if name not in names))


def _is_given(context: click.Context, name: str) -> bool:
    return context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE


def _written(context: click.Context, name: str) -> str:
    return next(parameter.opts[0] for parameter in context.command.params if parameter.name == name)
