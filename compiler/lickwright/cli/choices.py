"""Values of options that click has no type for: formats and tempo. Errors say what would be right."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

import click

from lickwright.backends import BACKENDS, Backend
from lickwright.diagnostics import nearest
from lickwright.report import safe

DEFAULT_FORMATS = "tab,midi,timing"
_NUMBER = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,4})?)(%?)\Z")


def formats(context: click.Context, parameter: click.Parameter, value: str) -> tuple[Backend, ...]:
    """`tab,midi` as rows of the table of back ends, each once, in the table's order."""
    known = {row.name: row for row in BACKENDS}
    words = [word.strip().lower() for word in value.split(",") if word.strip()]
    for word in words:
        if word not in known:
            near = nearest(word, list(known))
            wish = f"did you mean {near}?" if near else f"there are {', '.join(known)}"
            raise click.BadParameter(f"there is no format {safe(word)}; {wish}")
    if not words:
        raise click.BadParameter(f"no format named; there are {', '.join(known)}")
    return tuple(row for row in BACKENDS if row.name in words)


class TempoWish(NamedTuple):
    """How fast, where the user says so: at most one of the two is not None."""

    percent: Fraction | None = None  # of the written tempo: 60 is 60 %
    bpm: Fraction | None = None  # the opening tempo


def tempo(context: click.Context, parameter: click.Parameter, value: str | None) -> TempoWish:
    """`60%` of the written tempo, or `72` beats a minute."""
    if value is None:
        return TempoWish()
    match = _NUMBER.match(value.strip())
    if match is None:
        raise click.BadParameter(f"{safe(value)} is no tempo: write 72 for beats a minute, or 60% of the written tempo")
    number = Fraction(match[1])
    if not 10 <= number <= 400:
        unit = "%" if match[2] else " beats a minute"
        raise click.BadParameter(f"{safe(value)} is out of reach: a tempo goes from 10 to 400{unit}")
    return TempoWish(percent=number) if match[2] else TempoWish(bpm=number)
