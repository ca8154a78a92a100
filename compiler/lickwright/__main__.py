"""`python -m lickwright`: the command line."""

import signal
import sys

signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl-C while modules are loaded: an end without a traceback

from lickwright.cli import main  # noqa: E402

signal.signal(signal.SIGINT, signal.default_int_handler)  # from here on `main` deals with it


def run() -> int:
    """The installed command."""
    return main()


if __name__ == "__main__":
    sys.exit(run())
