"""The command line: which commands there are, and how a run of any of them ends.

In: arguments. Out: an exit code; every way out is here, so that no traceback reaches a user. Importing click takes as long as a whole check,
so that commands whose arguments are plain run without it; everything else is `command_group.py`'s.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Sequence

from lickwright.cli import terminal
from lickwright.cli.exit_code import Exit

__all__ = ["main"]


# Commands that take arguments without options, and the modules whose `run_plain` does them: it returns an exit code, or None to let click decide.
_WITHOUT_CLICK = {"check": "check_sources", "find": "find_licks", "why": "rule_text"}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return how it ended. Raises nothing."""
    # A command keeps most of what it makes: collecting as often as usual took a tenth of the time.
    gc.set_threshold(50_000, 20)
    terminal.prepare_streams()
    try:
        code = _run(sys.argv[1:] if arguments is None else list(arguments))
        terminal.flush()
    except terminal.ScreenLost as lost:
        return terminal.report_lost_screen(lost)
    except KeyboardInterrupt as e:
        terminal.err("stopped\n")
        return e.code if isinstance(e, terminal.Interrupted) else Exit.STOPPED
    except Exception as e:  # a bug of ours, by definition
        terminal.err(terminal.apology(e))
        return Exit.INTERNAL
    return code


def _run(arguments: list[str]) -> int:
    try:
        code = _run_plain(arguments)
        if code is not None:
            return code
        from lickwright.cli.command_group import run_command

        return run_command(arguments)
    except terminal.RunEnded as e:
        return e.code
    except OSError as e:  # commands turn a file's errors into findings: what is left is the screen's
        raise terminal.ScreenLost(e) from None


def _run_plain(arguments: list[str]) -> int | None:
    """Run a command without click, if it is one that can be and has no options; else return None."""
    if (
        not arguments
        or arguments[0] not in _WITHOUT_CLICK
        or any(one.startswith("-") and one != "-" for one in arguments[1:])
    ):
        return None
    from importlib import import_module

    code: int | None = import_module(f"lickwright.cli.{_WITHOUT_CLICK[arguments[0]]}").run_plain(arguments[1:])
    return code
