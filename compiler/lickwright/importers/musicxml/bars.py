"""Measures of a score → bars of a draft: signs, repeats, endings, lengths.

In: the measures of a part with what stands in them. Out: `DraftBar`s. The notation has two endings of a repeat; a third one is said.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.importers.musicxml.part_music import PartMusic, ScoreMeasure
from lickwright.music.rhythm import Meter, parse_meter

_MOST_TIMES = 10_000
_RANGE = re.compile(r"[0-9]+")


class MeasureSigns(NamedTuple):
    """What the bar lines of a measure say."""

    repeat_start: bool = False
    repeat_end: int = 0  # times in all
    ending: int = 0
    double: bool = False
    more_endings: bool = False  # an ending after the second


def bar_meters(part: PartMusic) -> list[Meter]:
    """Return the meter of each measure, 4/4 until one is written."""
    meter, found = parse_meter("4/4"), []
    for measure in part.measures:
        meter = measure.meter or meter
        found.append(meter)
    return found


def bar_lengths(part: PartMusic, meters: Sequence[Meter]) -> list[Fraction]:
    """Return the length of each measure in whole notes: what is written in it, or for an empty one what its meter asks for."""
    return [measure.length or meter.length for measure, meter in zip(part.measures, meters, strict=True)]


def signs_of(measure: ScoreMeasure) -> MeasureSigns:
    """Return what the bar lines of a measure say."""
    repeats = [repeat for line in measure.lines for repeat in line.all("repeat")]
    backward = [_times(repeat.get("times")) for repeat in repeats if repeat.get("direction") != "forward"]
    endings = [one for line in measure.lines for one in line.all("ending") if one.get("type") == "start"]
    numbers = [int(number) for one in endings for number in _RANGE.findall(one.get("number")[:99])]
    ending = 0 if not endings else 1 if not numbers or 1 in numbers else 2
    double = any(
        line.words("bar-style") == "light-light" and line.get("location", "right") == "right" for line in measure.lines
    )
    return MeasureSigns(
        len(backward) < len(repeats), max(backward, default=0), ending, double, ending == 2 and min(numbers) > 2
    )


def _times(said: str) -> int:
    return max(2, min(_MOST_TIMES, int(said))) if said.isdecimal() and len(said) < 6 else 2


def repeated_measures(part: PartMusic) -> set[int]:
    """Return the indices of measures that are written as a sign for the one before."""
    found, on = set(), False
    for index, measure in enumerate(part.measures):
        if measure.repeats_before:
            on = measure.repeats_before == "start"
        if on and index:
            found.add(index)
    return found
