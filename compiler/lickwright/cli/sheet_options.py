"""Options of `lickwright make` about printed sheets.

In: the values of the options, from the command line and the project config. Out: a `SheetRequest`. Whether the package that a PNG needs is installed is
checked here too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import click

from lickwright.cli.option_pairs import refuse
from lickwright.cli.option_types import OneOf, add_options, parsed_by
from lickwright.core.extras import install_command
from lickwright.export import PAPERS, PRINT_SIZES, SheetRequest, option_parsing

_DEFAULT = SheetRequest()


def _parse_title(text: str) -> str:
    words = " ".join(text.split())
    if not words:
        raise ValueError("a book needs a title")
    return words


_PAPER = click.option("--paper", type=OneOf(*PAPERS), default=_DEFAULT.paper, show_default=True, help="Of a sheet.")
_LEFT_HANDED = click.option(
    "--left-handed/--no-left-handed", help="The neck of a sheet or lesson page is that of a left-handed guitar."
)
_COUNT = click.option("--count/--no-count", help="A sheet or lesson page says the count below the strings.")
_STAFF = click.option("--staff/--no-staff", help="A sheet or lesson page has a staff of notes above the strings.")
_CHORD_SHAPES = click.option(
    "--chord-shapes/--no-chord-shapes", help="A sheet or lesson page shows over each new chord how it is held."
)

music_options = add_options((_PAPER, _LEFT_HANDED, _COUNT, _STAFF, _CHORD_SHAPES))
sheet_options = add_options(
    (
        click.option(
            "--sheet-format",
            default=",".join(_DEFAULT.formats),
            show_default=True,
            callback=parsed_by(option_parsing.parse_sheet_formats),
            metavar="LIST",
            help="Of a sheet: pdf, svg, png, separated by commas.",
        ),
        _PAPER,
        click.option(
            "--print-size", type=OneOf(*PRINT_SIZES), default=_DEFAULT.size, show_default=True, help="Of a sheet."
        ),
        _LEFT_HANDED,
        click.option("--black/--no-black", help="A sheet without color."),
        _COUNT,
        _STAFF,
        _CHORD_SHAPES,
        click.option(
            "--book",
            callback=parsed_by(_parse_title),
            metavar="TITLE",
            help="Also put the sheets of all licks into one document, with a table of contents: OUT/title.pdf.",
        ),
        click.option("--share-pages/--no-share-pages", help="Licks of a book share pages; else each begins a page."),
    )
)


def requested_sheet(value: Callable[[str], Any]) -> SheetRequest:
    """Return the sheet that the options ask for. `value` returns the value of an option."""
    switches = {name: bool(value(name)) for name in ("left_handed", "black", "count", "staff", "chord_shapes")}
    return SheetRequest(value("sheet_format"), value("paper"), value("print_size"), **switches)


def refuse_contradictory_sheet_options(values: Mapping[str, Any]) -> None:
    """Raise UsageError for options of a book that cannot hold together with others."""
    for name, option in (("watch", "--watch"), ("shard", "--shard")):
        refuse(values["book"] and values[name], f"--book is about all licks at once: leave {option} out")
    refuse(values["book"] and "-" in values["paths"], "--book goes with files and folders, not with standard input")


def require_pictures(request: SheetRequest) -> None:
    """Raise UsageError if a PNG is asked for and the package that it needs is not installed."""
    from importlib.util import find_spec

    if "png" in request.formats and find_spec("resvg_py") is None:
        raise click.UsageError(f"a PNG needs resvg-py: {install_command('sheet')}")
