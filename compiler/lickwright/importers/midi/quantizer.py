"""Instants as they were played → instants of a grid.

In: onsets in seconds and whole notes, bar by bar. Out: for each onset its place on the grid, exact; the feel; and by how much onsets were moved. In each beat
the division is taken that fits best, with a preference for simple ones; where pairs of notes are played long and short throughout, they are even eighths or
sixteenths with a feel. A file that a program wrote lies on its grid already, and is taken at its word.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from statistics import median
from typing import NamedTuple

from lickwright.importers.midi.timeline_grid import GridBar
from lickwright.music.rhythm import Feel, parse_feel

# How much less likely a division of a beat is than none; in units of squared errors over `_TOLERANCE`. Chosen on made-up performances.
_DIVISIONS = {
    1: 0.0,
    2: 0.3,
    4: 0.7,
    3: 0.9,
    6: 1.8,
    8: 1.8,
    5: 3.5,
    12: 3.5,
    7: 4.5,
    16: 3.5,
    9: 5.0,
    10: 5.0,
    24: 6.0,
}
_TOLERANCE = 0.018  # seconds that a player is off the grid by; an estimate
_EXACT = 0.002  # seconds that rounding to ticks may be off by
_WRITTEN_GRIDS = (48, 40, 64)  # parts of a whole note at which a program writes notes
_MOSTLY = 0.8  # share of exact onsets from which a file is taken to be written, not played
_TOGETHER = 4.0  # cost of two onsets that would fall together

_SHAPE_GRID = ((8, 0.04), (16, 0.04), (12, 0.015), (24, 0.015), (32, 0.015))  # parts of a whole note, seconds
_SWUNG = (0.54, 0.76)  # where in a pair the second note of swing begins, as a share
_FEELS = {
    "shuffle": Fraction(2, 3),
    "swing": Fraction(3, 5),
    "swing 5:3": Fraction(5, 8),
    "swing 7:5": Fraction(7, 12),
    "swing 3:1": Fraction(3, 4),
}
_FEW_PAIRS = 4
_NEAR = 0.025  # of a pair


class QuantizedOnsets(NamedTuple):
    """Where onsets lie on the grid."""

    places: list[Fraction]  # whole notes from the start of the file, one for each onset
    feel: Feel
    errors: list[float]  # seconds that each was moved by
    written: bool  # they lay on a grid already


def quantize(
    onsets: Sequence[Fraction], pace: Sequence[float], bars: Sequence[GridBar], tick: Fraction
) -> QuantizedOnsets:
    """Return the places of onsets (whole notes from the start of the file, in order).

    `pace` is the seconds of a whole note at each, `tick` the whole notes of a tick, to which onsets are rounded.
    """
    starts = [bar.start for bar in bars]
    exact = sum(_is_exact(onset, tick) for onset in onsets)
    written = exact >= _MOSTLY * len(onsets)
    feel = _feel(onsets, bars)
    straight = [unswung(onset, bars, starts, feel, onsets) for onset in onsets]
    tolerance = _EXACT if written else _TOLERANCE
    places: list[Fraction] = []
    n = 0
    while n < len(onsets):
        beat_start, beat = _beat(straight[n], bars, starts)
        last = n
        while last < len(onsets) and straight[last] < beat_start + beat:
            last += 1
        last = max(last, n + 1)
        speed = pace[n]
        phases = [float((one - beat_start) / beat) for one in straight[n:last]]
        division = _division(phases, float(beat) * speed, tolerance)
        places += [beat_start + beat * Fraction(round(phase * division), division) for phase in phases]
        n = last
    errors = [abs(float(one - place)) * speed for one, place, speed in zip(straight, places, pace, strict=True)]
    return QuantizedOnsets(places, feel, errors, written)


def nearest_place(at: Fraction, pace: float, written: bool) -> Fraction:
    """Return the instant of a grid nearest to one, in whole notes: the simplest that is near enough, else a sixteenth."""
    tolerance = (_EXACT if written else _TOLERANCE) / pace
    for division in (4, 8, 16, 12, 24, 32, 20, 48, 28, 64, 36, 96):
        place = Fraction(round(at * division), division)
        if abs(float(place - at)) <= tolerance:
            return place
    return Fraction(round(at * 16), 16)


def shape_place(at: Fraction, pace: float) -> Fraction:
    """Return the instant of a grid nearest to where a pitch begins to move, which is heard less sharply than an onset."""
    for division, tolerance in _SHAPE_GRID:
        place = Fraction(round(at * division), division)
        if abs(float(place - at)) * pace <= tolerance:
            return place
    return Fraction(round(at * 16), 16)


def _is_exact(onset: Fraction, tick: Fraction) -> bool:
    """Return whether an onset lies on a grid but for rounding to ticks."""
    return any(abs(onset - Fraction(round(onset * parts), parts)) <= tick for parts in _WRITTEN_GRIDS)


def _beat(at: Fraction, bars: Sequence[GridBar], starts: Sequence[Fraction]) -> tuple[Fraction, Fraction]:
    """Return where the beat around an instant starts, and its length."""
    bar = bars[max(0, bisect_left(starts, at + Fraction(1, 10_000)) - 1)]
    beat = bar.meter.beat
    return bar.start + (at - bar.start) // beat * beat, beat


def _division(phases: Sequence[float], seconds: float, tolerance: float) -> int:
    """Return into how many parts a beat is best divided; phases are shares of the beat, which lasts so many seconds."""
    best, cheapest = 1, float("inf")
    for division, cost in _DIVISIONS.items():
        places = [round(phase * division) for phase in phases]
        cost += sum((abs(p - n / division) * seconds / tolerance) ** 2 for p, n in zip(phases, places, strict=True))
        together = sum(
            one == other and (q - p) * seconds > 1.5 * tolerance
            for one, other, p, q in zip(places, places[1:], phases, phases[1:], strict=False)
        )
        cost += _TOGETHER * together
        if cost < cheapest:
            best, cheapest = division, cost
    return best


# --- swing -----------------------------------------------------------------------------------------------------------


def _feel(onsets: Sequence[Fraction], bars: Sequence[GridBar]) -> Feel:
    """Return the feel: straight unless most pairs of eighths, or of sixteenths, are played long and short alike."""
    for unit in (Fraction(1, 8), Fraction(1, 16)):
        seconds, others = _second_notes(onsets, bars, unit * 2)
        swung = [phase for phase in seconds if _SWUNG[0] < phase < _SWUNG[1]]
        even = len(seconds) - len(swung)
        if len(swung) < _FEW_PAIRS or even > 0.15 * len(swung) or others > 0.6 * len(swung):
            continue
        middle = median(swung)
        name, ratio = min(_FEELS.items(), key=lambda one: abs(float(one[1]) - middle))
        spread = median(abs(phase - middle) for phase in swung)
        if abs(float(ratio) - middle) < _NEAR and spread < _NEAR:
            return parse_feel(name + ("" if unit == Fraction(1, 8) else " 1/16"))
    return parse_feel("straight")


def _second_notes(onsets: Sequence[Fraction], bars: Sequence[GridBar], pair: Fraction) -> tuple[list[float], int]:
    """Return where in their pairs lone second notes begin, as shares, and the number of pairs with a first part of a triplet."""
    inside: dict[Fraction, list[float]] = {}
    starts = [bar.start for bar in bars]
    for onset in onsets:
        bar = bars[max(0, bisect_left(starts, onset + Fraction(1, 10_000)) - 1)]
        start = bar.start + (onset - bar.start) // pair * pair
        phase = float((onset - start) / pair)
        if 0.08 < phase < 0.92:
            inside.setdefault(start, []).append(phase)
    lone = [
        phases[0] for phases in inside.values() if len({round(phase, 2) for phase in phases}) == 1 and phases[0] > 0.45
    ]
    thirds = sum(any(abs(phase - 1 / 3) < 0.04 for phase in phases) for phases in inside.values())
    return lone, thirds


def unswung(
    at: Fraction, bars: Sequence[GridBar], starts: Sequence[Fraction], feel: Feel, onsets: Sequence[Fraction]
) -> Fraction:
    """Return an instant as it is written: in a pair that swings, its middle is moved back to the middle."""
    if feel.ratio[0] == feel.ratio[1]:
        return at
    bar = bars[max(0, bisect_left(starts, at + Fraction(1, 10_000)) - 1)]
    pair = feel.unit * 2
    start = bar.start + (at - bar.start) // pair * pair
    share = Fraction(feel.ratio[0], sum(feel.ratio))
    if start + pair > bar.end or not _swings(start, pair, share, onsets):
        return at
    phase = (at - start) / pair
    if phase <= share:
        return start + pair * phase / share / 2
    return start + pair * (1 + (phase - share) / (1 - share)) / 2


def _swings(start: Fraction, pair: Fraction, share: Fraction, onsets: Sequence[Fraction]) -> bool:
    """Return whether no onset lies within a pair but near its swung middle: other pairs are played straight."""
    edge = pair * Fraction(8, 100)
    first, last = bisect_left(onsets, start + edge), bisect_left(onsets, start + pair - edge)
    return all(abs(float((onset - start) / pair - share)) < 0.07 for onset in onsets[first:last])
