"""Options and arguments that several commands share: each is declared once, under one name and with one meaning.

In: what differs from command to command, such as the help text. Out: decorators for click commands. An option that only one command has is
declared beside that command. Nothing slow is imported before a command that has the option is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

from lickwright.core.diagnostics import one_of

Command = TypeVar("Command", bound=Callable[..., Any])
Parsed = TypeVar("Parsed")
DEFAULT_FORMATS = "tab,midi,timing"


def parsed_by(parse: Callable[[str], Parsed]) -> Callable[[click.Context, click.Parameter, str | None], Parsed | None]:
    """Return a click callback that parses the text of an option. A `ValueError` of `parse` becomes wrong usage of that option."""

    def callback(context: click.Context, parameter: click.Parameter, value: str | None) -> Parsed | None:
        if value is None:
            return None
        try:
            return parse(value)
        except ValueError as e:
            raise click.BadParameter(str(e)) from None

    return callback


class OneOf(click.Choice):  # type: ignore[type-arg]  # generic from click 8.2 on, and 8.1 is supported
    """One of a few words, for the type of an option, in capitals or not; an unknown word is answered with the nearest of them."""

    def __init__(self, *words: str) -> None:
        super().__init__(words)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        try:
            return one_of([str(choice) for choice in self.choices])(str(value).lower())
        except ValueError as e:
            self.fail(str(e), param, ctx)


def add_options(options: Sequence[Callable[[Any], Any]]) -> Callable[[Command], Command]:
    """Return a decorator that adds these options to a command, in this order."""

    def decorate(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


# --- arguments -------------------------------------------------------------------------------------------------------


def paths_argument() -> Callable[[Command], Command]:
    """Return the argument PATH..., one or more, as the parameter `paths`."""
    return click.argument("paths", nargs=-1, required=True, metavar="PATH...")


def title_argument() -> Callable[[Command], Command]:
    """Return the optional argument TITLE, which picks one lick, as the parameter `title`."""
    return click.argument("title", required=False, metavar="[TITLE]")


# --- what is shown ---------------------------------------------------------------------------------------------------


def format_option(*formats: str, help: str) -> Callable[[Command], Command]:
    """Return `--format` of a command that prints findings or answers, as the parameter `form`; the default is `text`."""
    return click.option("--format", "form", type=OneOf("text", *formats), default="text", show_default=True, help=help)


def all_option(help: str) -> Callable[[Command], Command]:
    """Return `--all`, which shows what a screen leaves out, as the parameter `everything`."""
    return click.option("--all", "everything", is_flag=True, help=help)


def limit_option(help: str) -> Callable[[Command], Command]:
    """Return `--limit N`, at least 1; None if it is not given."""
    return click.option("--limit", type=click.IntRange(1), metavar="N", help=help)


def width_option(least: int | None = None, default: int | None = None) -> Callable[[Command], Command]:
    """Return `--width` in columns, at least `least`. Without a `default` it is None, and the screen decides."""
    from lickwright.export.option_parsing import WIDTHS

    columns = click.IntRange(WIDTHS[0] if least is None else least, WIDTHS[1])
    screen = "Columns; default: the screen's own, 80 when piped."
    help = screen if default is None else "Columns of a text tab."
    return click.option("--width", type=columns, default=default, show_default=default is not None, help=help)


def chord_tones_option(switch: bool = False) -> Callable[[Command], Command]:
    """Return `--chord-tones`. A `switch` can be turned off too, for a command whose defaults a `lickwright.toml` sets."""
    if switch:
        help = "In a text tab, say over each note what it is in its chord: 1, b3, 5."
        return click.option("--chord-tones/--no-chord-tones", help=help)
    return click.option("--chord-tones", is_flag=True, help="Say over each note what it is in its chord: 1, b3, 5.")


# --- what is made ----------------------------------------------------------------------------------------------------


def to_option() -> Callable[[Command], Command]:
    """Return `--to`, a list of output formats, as the parameter `rows`: rows of the table of exports."""
    from lickwright.export.option_parsing import parse_formats

    return click.option(
        "--to", "rows", default=DEFAULT_FORMATS, show_default=True, metavar="LIST",
        callback=parsed_by(lambda text: parse_formats(text.split(","))), help="Formats, separated by commas.",
    )  # fmt: skip


def out_option(metavar: str, help: str, default: str | None = None) -> Callable[[Command], Command]:
    """Return `--out`: where a command writes. A file where a folder (DIR) is wanted is wrong usage."""
    parse = parsed_by(_folder) if metavar == "DIR" else None
    return click.option(
        "--out", default=default, show_default=default is not None, metavar=metavar, callback=parse, help=help
    )


def _folder(path: str) -> str:
    import os

    if os.path.isfile(path):
        raise ValueError(f"{path} is a file, not a folder")
    return path


def overwrite_option(help: str) -> Callable[[Command], Command]:
    """Return `--overwrite`: the only way to replace a file that is not Lickwright's own."""
    return click.option("--overwrite", is_flag=True, help=help)


def tempo_option(help: str) -> Callable[[Command], Command]:
    """Return `--tempo`, as a `TempoRequest`; an empty one if it is not given."""
    from lickwright.export.option_parsing import TempoRequest, parse_tempo_request

    def callback(context: click.Context, parameter: click.Parameter, value: str | None) -> TempoRequest:
        return parsed_by(parse_tempo_request)(context, parameter, value) or TempoRequest()

    return click.option("--tempo", callback=callback, metavar="TEMPO", help=help)


# --- how a run ends --------------------------------------------------------------------------------------------------


def strict_option() -> Callable[[Command], Command]:
    """Return `--strict`: warnings count as errors do for the exit code."""
    return click.option("--strict", is_flag=True, help="Exit with 1 for warnings too.")
