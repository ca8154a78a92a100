"""Sources under the paths by which programs that read reports look for them."""

from __future__ import annotations

import os

from lickwright.core.source import Source


def report_path(source: Source) -> Source:
    """The source under its path from this folder, with `/`: what programs that read reports look for."""
    if source.name == "-":
        return source
    try:
        name = os.path.relpath(source.name)
    except ValueError:  # on another drive, where a system has such
        name = source.name
    near = Source(name.replace(os.sep, "/"), "")
    near.text = source.text
    return near
