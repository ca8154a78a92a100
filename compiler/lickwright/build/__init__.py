"""Builds of many licks: in parallel, and only what changed is compiled again.

Below `cli/`, above `compiler/` and `store/`. Draws nothing on the terminal: a `BuildObserver` gets what is to be shown.
"""
