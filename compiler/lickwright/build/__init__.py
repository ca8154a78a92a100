"""Builds of many licks: in parallel, and only where something changed.

Below `cli/`, above `compiler.py`. This is the only folder besides `cli/` that touches files, the clock and processes.
"""
