"""Options of `lickwright make` about a release: its archive, and how its files are named and laid out.

In: the values of the options, from the command line and the project config. Out: an `Archive` and an `Arrangement`, or None for each.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from lickwright.cli.option_pairs import first_given, refuse
from lickwright.cli.option_types import OneOf, add_options, parsed_by
from lickwright.config.name_pattern import LAYOUTS, PATTERN_FIELDS, Arrangement, Pattern, parse_pattern

if TYPE_CHECKING:
    from lickwright.cli.archive import Archive


def _parse_names(text: str) -> Pattern:
    try:
        return parse_pattern(text)
    except ValueError as e:  # the message is about lickwright.toml: here the option is meant
        raise ValueError(str(e).replace("`layout` under [make]", "--layout")) from None


release_options = add_options(
    (
        click.option(
            "--zip", "archive", metavar="FILE", help="Also put what was made into an archive, with a page of contents."
        ),
        click.option(
            "--names",
            callback=parsed_by(_parse_names),
            metavar="PATTERN",
            help="Names of the files in the archive, or without --zip in release_files/: '{number:02}-{title}'; fields: "
            + ", ".join(PATTERN_FIELDS)
            + ".",
        ),
        click.option(
            "--layout",
            type=OneOf(*LAYOUTS),
            default=LAYOUTS[0],
            show_default=True,
            help="Folders of the release: one per source, one per format with those in it, or none.",
        ),
    )
)


def requested_arrangement(params: Mapping[str, Any], chosen: Mapping[str, Any]) -> Arrangement | None:
    """Return how the release is named and laid out; None if it is like the output folder, or if only a share is made.

    `params` has the values of the command line, `chosen` those with the project config applied. Raises UsageError.
    """
    if params["shard"] and (option := first_given("names", "layout")):
        raise click.UsageError(f"{option} is about the whole release: leave --shard out, or say it when all is made")
    found = Arrangement(chosen["names"], chosen["layout"])
    return None if params["shard"] or found.usual else found


def requested_archive(params: Mapping[str, Any], chosen: Mapping[str, Any]) -> Archive | None:
    """Return the archive that `--zip` asks for; None without it. Values as above. Raises UsageError."""
    path = params["archive"]
    if path is None:
        return None
    refuse(path in ("", "-"), "--zip needs the name of a file")
    refuse(
        params["shard"] or params["watch"],
        "--zip goes neither with --shard nor with --watch: it holds the whole release",
    )
    from lickwright.cli.archive import Archive

    return Archive(path, chosen["names"], chosen["layout"], params["overwrite"], params["paths"])
