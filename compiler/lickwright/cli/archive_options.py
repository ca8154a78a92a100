"""Options of `lickwright make` about the release.

In: what follows the command on its line, and what the house says. Out: the `Archive` and the `Arrangement` that are wanted, or None.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from lickwright.cli.option_pairs import given
from lickwright.config.name_pattern import FIELDS, LAYOUTS, Arrangement, Pattern, parse_pattern
from lickwright.report.console import safe

if TYPE_CHECKING:
    from lickwright.cli.archive import Archive

_Command = TypeVar("_Command", bound=Callable[..., Any])


def _names(context: click.Context, parameter: click.Parameter, value: str | None) -> Pattern | None:
    """`{number:02}-{title}`."""
    try:
        return None if value is None else parse_pattern(value)
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
        help="How files are named in the archive, or else in release_files/: '{number:02}-{title}'; fields: "
        + ", ".join(FIELDS)
        + ".",
    ),
    click.option(
        "--layout",
        type=click.Choice(LAYOUTS),
        default=LAYOUTS[0],
        show_default=True,
        help="Folders there: one per source, one per format with those in it, or none.",
    ),
)


def arranged(params: Mapping[str, Any], chosen: Mapping[str, Any]) -> Arrangement | None:
    """How the release is named and laid out; None where it is as in the output folder, or only a share is made. Raises UsageError."""
    if params["shard"] and (option := given("names", "layout")):
        raise click.UsageError(f"{option} is about the whole release: leave --shard out, or say it when all is made")
    found = Arrangement(chosen["names"], chosen["layout"])
    return None if params["shard"] or found.usual else found


def requested_archive(params: Mapping[str, Any], chosen: Mapping[str, Any], out: str) -> Archive | None:
    """The archive that is asked for. `params`: what the command line says; `chosen`: with what the house says. Raises UsageError."""
    path = params["archive"]
    if path is None:
        return None
    if path in ("", "-"):
        raise click.UsageError("--zip needs the name of a file")
    if params["shard"] or params["watch"]:
        raise click.UsageError("--zip goes neither with --shard nor with --watch: it holds the whole release")
    from lickwright.cli.archive import Archive

    return Archive(path, chosen["names"], chosen["layout"], out, params["overwrite"], params["paths"])
