"""The versions of the program and of the notation.

They are constants, since reading them from the installed package costs 60 ms at every start.
"""

__version__ = "0.1.0"
NOTATION = 1  # the notation that this program reads; `notation 1` at the top of a file names it
