"""Options of `lickwright make` about the archive.

In: what follows the command on its line, and what the house says. Out: the `Archive` that is wanted, or None.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lickwright.cli.given import given
from lickwright.library.pattern import FIELDS, LAYOUTS, Pattern, parse
from lickwright.report import safe

if TYPE_CHECKING:
    from lickwright.cli.archiving import Archive

_Command = TypeVar("_Command", bound=Callable[..., Any])


def _names(context: click.Context, parameter: click.Parameter, value: str | None) -> Pattern | None:
    """`{number:02}-{title}`."""
    try:
        return None if value is None else parse(value)
    except ValueError as e:
        raise click.BadParameter(safe(str(e).replace("`layout` under [make]", "--layout"))) from None


def options(command: _Command) -> _Command:
    """Adds them to a command."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


_OPTIONS = (
    click.option(
        "--zip", "archive", metavar="FILE", help="Also put what was made into an archive, with a page of contents."
    ),
    click.option(
        "--names",
        callback=_names,
        metavar="PATTERN",
        help="How files are named in the archive: '{number:02}-{title}'; fields: " + ", ".join(FIELDS) + ".",
    ),
    click.option(
        "--layout",
        type=click.Choice(LAYOUTS),
        default=LAYOUTS[0],
        show_default=True,
        help="Folders in the archive: one per source, one per format with those in it, or none.",
    ),
)


def asked(params: Mapping[str, Any], chosen: Mapping[str, Any], out: str) -> Archive | None:
    """The archive that is asked for. `params`: what the command line says; `chosen`: with what the house says. Raises UsageError."""
    path = params["archive"]
    if path is None:
        if option := given("names", "layout"):
            raise click.UsageError(f"{option} says how an archive is filled: name it with --zip FILE")
        return None
    if path in ("", "-"):
        raise click.UsageError("--zip needs the name of a file")
    if params["shard"] or params["watch"]:
        raise click.UsageError("--zip goes neither with --shard nor with --watch: it holds the whole release")
    from lickwright.cli.archiving import Archive

    return Archive(path, chosen["names"], chosen["layout"], out, params["overwrite"], params["paths"])
