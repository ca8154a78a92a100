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
    start, times, ending, double, more = False, 0, 0, False, False
    for line in measure.lines:
        repeat = line.first("repeat")
        if repeat is not None and repeat.get("direction") == "forward":
            start = True
        elif repeat is not None:
            said = repeat.get("times")
            times = max(2, min(_MOST_TIMES, int(said))) if said.isdecimal() and len(said) < 6 else 2
        for one in line.all("ending"):
            if one.get("type") == "start":
                numbers = [int(number) for number in _RANGE.findall(one.get("number")[:99])]
                ending = 1 if not numbers or 1 in numbers else 2
                more = bool(numbers) and min(numbers) > 2 and ending == 2
        double = double or (line.words("bar-style") == "light-light" and line.get("location", "right") == "right")
    return MeasureSigns(start, times, ending, double, more)


def repeated_measures(part: PartMusic) -> set[int]:
    """Return the indices of measures that are written as a sign for the one before."""
    found, on = set(), False
    for index, measure in enumerate(part.measures):
        if measure.repeats_before:
            on = measure.repeats_before == "start"
        if on and index:
            found.add(index)
    return found
