"""The paths of sources as reports for programs write them."""

from __future__ import annotations

import os

from lickwright.core.source import Source


def report_path(source: Source) -> Source:
    """Return the source under its path from the current folder, with `/` between folders."""
    if source.name == "-":
        return source
    try:
        name = os.path.relpath(source.name)
    except ValueError:  # on another drive
        name = source.name
    near = Source(name.replace(os.sep, "/"), "")
    near.text = source.text
    return near
