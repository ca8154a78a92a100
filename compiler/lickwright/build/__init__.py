"""Many licks: built in parallel and only where something changed, kept in an index, found again.

Below `cli/`, above `compiler.py`. This is the only folder besides `cli/` that touches files, the clock and processes.
"""
