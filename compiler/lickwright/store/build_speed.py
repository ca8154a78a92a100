"""Measures how fast builds into a folder are, so that a dry run can estimate how long the real one would take.

In: the account of a build. Out: a row of the manifest's table `about`, and an estimate.
"""

from __future__ import annotations

import sqlite3
from json import dumps, loads
from typing import NamedTuple

from lickwright.store.manifest import Manifest

_NAME = "speed"  # of the row
_ENOUGH = 10  # sources from which a build says more than how long programs take to start
_SOUND = 0.1  # seconds of work for a second of a recording, where none was made here: measured on two cores
_WRITING = 1.6  # times as long as a rehearsal, which writes nothing: measured with 1,500 sources


class Speed(NamedTuple):
    """The measured speeds; 0 before the first measurement."""

    source: float = 0.0  # seconds of work for a source, recordings left out
    sound: float = 0.0  # and for a second of a recording


class Estimate(NamedTuple):
    """How long a build would take, and whether that was measured."""

    seconds: float
    measured: bool  # by a build on this machine; else it is a guess


def load_build_speed(connection: sqlite3.Connection) -> Speed:
    """Return the speeds measured so far."""
    row = connection.execute("SELECT value FROM about WHERE name = ?", (_NAME,)).fetchone()
    try:
        source, sound = loads(row[0]) if row is not None else (0, 0)
        if 0 <= source < 1e6 and 0 <= sound < 1e6:
            return Speed(float(source), float(sound))
    except (ValueError, TypeError):
        pass
    return Speed()  # a guess is good enough


def note_build_speed(manifest: Manifest, sources: int, sound: float, seconds: float) -> None:
    """Enter what a build of so many sources with so many seconds of recordings took; the caller commits."""
    before = load_build_speed(manifest.db)
    if sound:
        now = before._replace(sound=max(0.0, seconds - before.source * sources) / sound)
    elif sources >= _ENOUGH or not before.source:
        now = before._replace(source=seconds / sources)
    else:
        return
    text = dumps([float(f"{one:.3g}") for one in now])
    manifest.begin()
    manifest.db.execute("INSERT OR REPLACE INTO about VALUES (?, ?)", (_NAME, text))


def estimate_build(connection: sqlite3.Connection, sources: int, sound: float, rehearsed: float) -> Estimate:
    """Return how long a build would take; `rehearsed`: the seconds that the same work took without recordings and without writing."""
    known = load_build_speed(connection)
    measured = bool(known.source or not sources) and bool(known.sound or not sound)
    source = known.source * sources or _WRITING * rehearsed
    return Estimate(source + sound * (known.sound or _SOUND), measured)
