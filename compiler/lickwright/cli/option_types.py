"""Values of options that click has no type for: formats and tempo. Errors say what would be right."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from lickwright.export import ExportFormat, option_parsing
from lickwright.export.option_parsing import TempoWish

__all__ = ["DEFAULT_FORMATS", "TempoWish", "formats_option", "tempo_option", "width_option"]
_Command = TypeVar("_Command", bound=Callable[..., Any])
DEFAULT_FORMATS = "tab,midi,timing"


def width_option(least: int = option_parsing.WIDTHS[0]) -> Callable[[_Command], _Command]:
    """Return the option `--width` of a command that shows something, with at least so many columns."""
    help = "Columns; default: the screen's own, 80 when piped."
    return click.option("--width", type=click.IntRange(least, option_parsing.WIDTHS[1]), help=help)


def formats_option(context: click.Context, parameter: click.Parameter, value: str) -> tuple[ExportFormat, ...]:
    """`tab,midi` as rows of the table of back ends, each once, in the table's order."""
    try:
        return option_parsing.parse_formats(value.split(","))
    except ValueError as e:
        raise click.BadParameter(str(e)) from None


def tempo_option(context: click.Context, parameter: click.Parameter, value: str | None) -> TempoWish:
    """`60%` of the written tempo, or `72` beats a minute."""
    if value is None:
        return TempoWish()
    try:
        return option_parsing.parse_tempo(value)
    except ValueError as e:
        raise click.BadParameter(str(e)) from None
