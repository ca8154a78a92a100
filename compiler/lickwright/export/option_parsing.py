"""Parsing of what a user asks of the exports in words: formats, and a tempo for practice.

In: words from a command line or a lickwright.toml. Out: values, or a `ValueError` in a player's words that says what would be right.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.diagnostics import one_of
from lickwright.core.nearest_name import nearest_name
from lickwright.export import EXPORTS, SHEET_FORMATS, SOUND_FORMATS, ExportFormat
from lickwright.music.practice import MINUTES
from lickwright.music.rhythm import TEMPO_MAX, TEMPO_MIN
from lickwright.report.console import safe_text

# The least and the most that may be asked for, on a command line as in a lickwright.toml.
WIDTHS = (20, 10_000)  # columns of a text tab
JOBS = (1, 256)  # processes
COUNT_INS = (0, 8)  # bars
REPEATS = (1, 100)  # times through a lick
LONGEST = (1, 60 * MINUTES)  # seconds

_MEANT = {
    "pdf": "sheet",
    "html": "page",
    "mid": "midi",
    "csv": "timing",
    "json": "timing-json",
    "txt": "tab",
}  # by suffix
_NUMBER = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,4})?)(%?)\Z")


def parse_formats(words: Sequence[str], quote: str = "") -> tuple[ExportFormat, ...]:
    """Return the rows that the words `tab`, `midi` name, each once, in the order of `EXPORTS`.

    `quote` goes round a word in a message. Raises `ValueError` for a word that is no format, and where there is none.
    """
    known = {row.name: row for row in EXPORTS}
    wanted = [word.strip().lower() for word in words if word.strip()]
    for word in wanted:
        if word not in known:
            raise ValueError(f"there is no format {quote}{safe_text(word)}{quote}; {_hint(word, list(known))}")
    if not wanted:
        raise ValueError(f"no format named; there are {', '.join(known)}")
    return tuple(row for row in EXPORTS if row.name in wanted)


def format_meant(word: str) -> str | None:
    """Return the name of the format that a word means: its own name or the usual suffix of its files; None for any other word."""
    return word if any(row.name == word for row in EXPORTS) else _MEANT.get(word)


def _hint(word: str, known: list[str]) -> str:
    if word in SOUND_FORMATS:
        return f"write audio, and --format {word}"
    if word in SHEET_FORMATS and word not in _MEANT:
        return f"write sheet, and --sheet-format {word}"
    near = format_meant(word) or nearest_name(word, known)
    return f"did you mean {near}?" if near else f"there are {', '.join(known)}"


def parse_sheet_formats(text: str) -> tuple[str, ...]:
    """Return the formats of a sheet that `pdf`, `pdf,svg` name, each once, in the table's order. Raises `ValueError` in a player's words."""
    wanted = [word.strip().lower() for word in text.split(",") if word.strip()]
    if not wanted:
        raise ValueError(f"no format of a sheet named; there are {', '.join(SHEET_FORMATS)}")
    parse = one_of(SHEET_FORMATS)
    known = {parse(word) for word in wanted}
    return tuple(name for name in SHEET_FORMATS if name in known)


class TempoRequest(NamedTuple):
    """The tempo that a user asks for: at most one of the two is not None; none is the written tempo."""

    percent: Fraction | None = None  # of the written tempo: 60 is 60 %
    bpm: Fraction | None = None  # the opening tempo


def parse_tempo_request(value: str) -> TempoRequest:
    """Read `60%` of the written tempo, or `72` beats a minute. Raises `ValueError` for anything else and what is too slow or too fast."""
    match = _NUMBER.match(value.strip())
    if match is None:
        raise ValueError(f"{safe_text(value)} is not a tempo: write 72 for beats a minute, or 60% of the written tempo")
    number = Fraction(match[1])
    if not TEMPO_MIN <= number <= TEMPO_MAX:
        unit = "%" if match[2] else " beats a minute"
        raise ValueError(f"{safe_text(value)} is out of reach: a tempo goes from {TEMPO_MIN} to {TEMPO_MAX}{unit}")
    return TempoRequest(percent=number) if match[2] else TempoRequest(bpm=number)
