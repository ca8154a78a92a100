"""What a user asks of the back ends, in words: formats and a tempo for practice.

In: words from a command line or a lickwright.toml. Out: values, or a `ValueError` that says what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.diagnostics import nearest_name
from lickwright.export import EXPORTS, SOUND_FORMATS, ExportFormat
from lickwright.music.practice import MINUTES
from lickwright.music.rhythm import TEMPO_MAX, TEMPO_MIN
from lickwright.report.console import safe_text

# Least and most of what may be asked for, on a command line as in a lickwright.toml.
WIDTHS = (20, 10_000)  # columns of a text tab
JOBS = (1, 256)  # processes
COUNT_INS = (0, 8)  # bars
REPEATS = (1, 100)  # times through a lick
LONGEST = (1, 60 * MINUTES)  # seconds

_NUMBER = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,4})?)(%?)\Z")


def parse_formats(words: Sequence[str], quote: str = "") -> tuple[ExportFormat, ...]:
    """`tab`, `midi` as rows of the table of back ends, each once, in the table's order; `quote` goes round a word in a message."""
    known = {row.name: row for row in EXPORTS}
    wanted = [word.strip().lower() for word in words if word.strip()]
    for word in wanted:
        if word not in known:
            near = nearest_name(word, list(known))
            wish = (
                f"write audio, and --format {word}"
                if word in SOUND_FORMATS
                else f"did you mean {near}?"
                if near
                else f"there are {', '.join(known)}"
            )
            raise ValueError(f"there is no format {quote}{safe_text(word)}{quote}; {wish}")
    if not wanted:
        raise ValueError(f"no format named; there are {', '.join(known)}")
    return tuple(row for row in EXPORTS if row.name in wanted)


class TempoWish(NamedTuple):
    """How fast, where the user says so: at most one of the two is not None."""

    percent: Fraction | None = None  # of the written tempo: 60 is 60 %
    bpm: Fraction | None = None  # the opening tempo


def parse_tempo(value: str) -> TempoWish:
    """`60%` of the written tempo, or `72` beats a minute."""
    match = _NUMBER.match(value.strip())
    if match is None:
        raise ValueError(f"{safe_text(value)} is not a tempo: write 72 for beats a minute, or 60% of the written tempo")
    number = Fraction(match[1])
    if not TEMPO_MIN <= number <= TEMPO_MAX:
        unit = "%" if match[2] else " beats a minute"
        raise ValueError(f"{safe_text(value)} is out of reach: a tempo goes from {TEMPO_MIN} to {TEMPO_MAX}{unit}")
    return TempoWish(percent=number) if match[2] else TempoWish(bpm=number)
