"""The commands as click has them: options, help, and what is said of wrong usage.

In: arguments. Out: an exit code.
"""

from __future__ import annotations

import click

from lickwright.cli import terminal
from lickwright.cli.commands import COMMANDS, examples_text
from lickwright.cli.exit_code import Exit
from lickwright.cli.usage_hints import missing_value, unknown_option
from lickwright.core.version import NOTATION, __version__

_HELP = f"""Write a guitar lick once, get its text tab, MIDI and timing sheet.

\b
{examples_text()}

Any PATH may be a folder, or - for standard input.

\b
Exits with 0 when all is well (warnings allowed), 1 for errors in the music,
2 for wrong usage, 3 for a file that cannot be read or written.
"""


class _Commands(click.Group):
    """Loads a command's module when the command is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        from importlib import import_module

        command: click.Command = import_module(f"lickwright.cli.{name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without loading any."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            raise click.UsageError(_unknown_command(args[0]), ctx)
        name, command, words = super().resolve_command(ctx, args)
        if command is not None and (missing := missing_value(command, words)):
            raise click.UsageError(missing, click.Context(command, ctx, name))
        return name, command, words


def _unknown_command(word: str) -> str:
    from lickwright.core.nearest_name import nearest_name
    from lickwright.report.console import safe_text

    near = nearest_name(word, tuple(COMMANDS))
    if near is None and (word.lower().endswith(".lick") or "/" in word):
        near = f"check {word}"
    wish = f"; did you mean lickwright {safe_text(near)}?" if near else ""
    return f"there is no command {safe_text(word)}{wish}"


@click.group(
    cls=_Commands, help=_HELP, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(__version__, message=f"lickwright {__version__} (notation {NOTATION})")
def group() -> None:
    """Commands are looked up by `_Commands`."""


def run_command(arguments: list[str]) -> int:
    """Run the command that the arguments name; return its exit code. Raises `ScreenLost` and `KeyboardInterrupt`."""
    try:
        with group.make_context("lickwright", arguments) as context:
            return int(group.invoke(context) or 0)
    except click.exceptions.Exit as e:  # after --help and --version
        return e.exit_code
    except click.Abort:
        raise KeyboardInterrupt from None
    except click.exceptions.NoArgsIsHelpError as e:
        e.show()
        return Exit.USAGE
    except click.ClickException as e:
        terminal.err(_usage(e))
        return Exit.USAGE
    except OSError as e:  # commands turn a file's errors into findings: what is left is the screen's
        raise terminal.ScreenLost(e) from None


def _range(wanted: click.IntRange) -> str:
    low = 0 if wanted.min is None else wanted.min
    return f"from {low:g} to {wanted.max:g}" if wanted.max is not None else f"from {low:g} up"


def _usage(error: click.ClickException) -> str:
    """`error: --to: there is no format mid; did you mean midi?`, and where to read on."""
    from lickwright.report.console import safe_text

    message = error.format_message()
    if isinstance(error, click.BadParameter) and error.param is not None:
        wanted = error.param.type
        said = error.message
        if isinstance(wanted, click.IntRange):
            said = f"a whole number {_range(wanted)} is needed"
        message = f"{error.param.opts[0] if error.param.opts else error.param.name}: {said}"
        if isinstance(error, click.MissingParameter):
            name = error.param.make_metavar(error.ctx) if error.ctx else str(error.param.name)
            message = f"a {name.strip('.')} is missing"
    context = error.ctx if isinstance(error, click.UsageError) else None
    if isinstance(error, click.NoSuchOption):
        message = unknown_option(context.command if context else None, error.option_name, error.possibilities or ())
    command = context.command_path if context else "lickwright"
    message = safe_text(message[:1].lower() + message[1:].rstrip("."))
    return f"error: {message}\n    {command} --help says more\n"
