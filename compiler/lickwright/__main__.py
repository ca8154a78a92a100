"""`python -m lickwright`: the command line."""

import sys

from lickwright.cli import main

if __name__ == "__main__":
    sys.exit(main())
