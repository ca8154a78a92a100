"""How a note's pitch moves: bends, releases, vibrato, slides and the vibrato bar, as ramps in seconds.

In: a counted sound, when it is heard, and a function from grains to seconds. Out: `PitchRamp` values, and
`pitch_offsets`, the one function that adds them up at an instant, for MIDI and audio alike. Knows no ticks and no
samples.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum
from math import cos, pi, sin
from operator import add
from typing import NamedTuple

from lickwright.notation.techniques import Curve
from lickwright.timeline.model import PitchGesture, SoundingNote

Seconds = Callable[[int], float]  # from grains

# The numbers below are estimates.
BEND_MAX, BEND_SHARE = 0.25, 0.6  # seconds, and share of its step, that a bend or release takes at most
GLIDE_A_FRET = 0.05  # seconds that a sliding finger needs a fret
VIBRATO_HZ, VIBRATO_IN, VIBRATO_OUT = 5.5, 0.12, 0.05  # wobbles a second; seconds to grow and to calm down
CROSSING = 0.4  # share of its time on a fret that a sliding finger needs to get over the wire to the next
DIP_HALF, SCOOP = 0.1, 0.15  # seconds down or up of a dip; seconds of a scoop


class CurveShape(StrEnum):
    """What a ramp does between its ends."""

    EASE = "ease"  # a raised cosine from nothing to `change`, which then stays
    ABOVE = "above"  # a wobble between the pitch and `change` above it
    AROUND = "around"  # a wobble as wide, half of it below: what a bent note does
    FRETS = "frets"  # as an ease, but fret by fret: a sliding finger


STAYING = frozenset((CurveShape.EASE, CurveShape.FRETS))  # these leave the pitch where they brought it


class PitchRamp(NamedTuple):
    """One motion of a note's pitch; several of one note add up."""

    start: float  # seconds
    end: float  # seconds; equal to `start` for what is so from then on (a pre-bend)
    change: float  # semitones: the gain of an ease or a slide, the width of a wobble
    shape: CurveShape = CurveShape.EASE


def pitch_offsets(moves: Sequence[PitchRamp], times: Sequence[float]) -> list[float]:
    """Return the semitones above the note's own pitch at each of `times` (seconds, ascending)."""
    values: list[float] = []  # of the moves so far; the first needs no adding up, and most notes have no other
    for start, end, change, shape in moves:
        first, last = bisect_right(times, start), bisect_left(times, end)
        part = _between(start, end, change / 2, shape, times[first:last]) if first < last else []
        after = float(change) if shape in STAYING else 0.0
        if not values:
            values = [*[0.0] * min(first, last), *part, *[after] * (len(times) - last)]
            continue
        if part:
            values[first:last] = map(add, values[first:last], part)
        if after:
            values[last:] = [v + after for v in values[last:]]
    return values or [0.0] * len(times)


def _between(start: float, end: float, half: float, shape: CurveShape, times: Sequence[float]) -> list[float]:
    """Return the offsets of a ramp between its ends, in semitones; `half` is half of its size."""
    if shape is CurveShape.EASE:
        turn = pi / (end - start)
        return [half - half * cos((t - start) * turn) for t in times]
    if shape is CurveShape.FRETS:
        return _stairs(start, end, 2 * half, times)
    return _vibrato(start, end, half, shape, times)


def _vibrato(start: float, end: float, half: float, shape: CurveShape, times: Sequence[float]) -> list[float]:
    """Return the offsets of a vibrato, which grows and dies down, so that the pitch never jumps.

    A fretting finger can only raise the pitch; on a bent note it lets go and pulls again, so that wobble starts downwards.
    """
    grow, calm, turn = min(VIBRATO_IN, (end - start) / 2), min(VIBRATO_OUT, (end - start) / 4), 2 * pi * VIBRATO_HZ
    grown, calming = bisect_right(times, start + grow), bisect_left(times, end - calm)
    rising, steady, falling = times[:grown], times[grown:calming], times[calming:]
    if shape is CurveShape.ABOVE:
        values = [(depth := half * (t - start) / grow) - depth * cos((t - start) * turn) for t in rising]
        values += [half - half * cos((t - start) * turn) for t in steady]
        return values + [(depth := half * (end - t) / calm) - depth * cos((t - start) * turn) for t in falling]
    values = [-(half * (t - start) / grow) * sin((t - start) * turn) for t in rising]
    values += [-half * sin((t - start) * turn) for t in steady]
    return values + [-(half * (end - t) / calm) * sin((t - start) * turn) for t in falling]


def _stairs(start: float, end: float, change: float, times: Sequence[float]) -> list[float]:
    """Return the offsets of a slide: the pitch stays on each fret on the way, and is on the last when the slide ends."""
    frets = max(1, round(abs(change)))
    step, pace = change / frets, frets / (end - start)
    values = []
    for t in times:
        done, on = divmod((t - start) * pace, 1.0)
        crossed = max(0.0, (on - 1 + CROSSING) / CROSSING)
        values.append(step * (done + (1 - cos(pi * crossed)) / 2))
    return values


def pitch_ramps(
    sound: SoundingNote, start: float, end: float, seconds: Seconds, target: SoundingNote | None
) -> tuple[PitchRamp, ...]:
    """Return all ramps of one sound heard from `start` to `end` (seconds); `target` is the note that it slides to."""
    moves: list[PitchRamp] = []
    if sound.begin.curve is Curve.SLIDE_IN:
        amount = sound.begin.amount
        moves += (
            PitchRamp(start, start, amount),
            PitchRamp(start, start + _glide_time(amount, start, end), -amount, CurveShape.FRETS),
        )
    for mark in sound.marks:
        if mark.curve is not Curve.NONE:
            moves += _bar_moves(mark.curve, mark.amount, start, end)
    moves += _shape_moves(sound, start, end, seconds)
    if target is not None:
        interval = target.pitch - sound.pitch
        change = interval - sum(move.change for move in moves if move.shape in STAYING)  # from where a bend left it
        moves.append(PitchRamp(end - _glide_time(interval, start, end), end, change, CurveShape.FRETS))
    return tuple(moves)


def _glide_time(semitones: float, start: float, end: float) -> float:
    """Return the seconds of a slide: 50 ms a fret, at most half of the note in which it happens."""
    return min(GLIDE_A_FRET * abs(semitones), (end - start) / 2)


def _bar_moves(curve: Curve, amount: float, start: float, end: float) -> list[PitchRamp]:
    """Return what the vibrato bar does to a note: a dive takes all of it, a dip and a scoop its beginning."""
    length = end - start
    if curve is Curve.DIVE:
        return [PitchRamp(start, end, amount)]
    if curve is Curve.DIP:
        half = min(DIP_HALF, length / 3)
        return [PitchRamp(start, start + half, amount), PitchRamp(start + half, start + 2 * half, -amount)]
    if curve is Curve.SCOOP:
        return [PitchRamp(start, start, amount), PitchRamp(start, start + min(SCOOP, length / 2), -amount)]
    return []


def _shape_moves(sound: SoundingNote, start: float, end: float, seconds: Seconds) -> list[PitchRamp]:
    """Return the ramps of the shapes in order, each in its part of its step."""
    return [move for _, move in gesture_ramps(sound, start, end, seconds)]


def gesture_ramps(
    sound: SoundingNote, start: float, end: float, seconds: Seconds
) -> Iterator[tuple[PitchGesture, PitchRamp]]:
    """Yield the shapes of a sound heard from `start` to `end` (seconds), each with its ramp.

    A bend starts from where the shape before left the pitch. A vibrato that has no time is left out.
    """
    level = 0.0  # semitones above the fretted pitch
    for n, shape in enumerate(sound.shapes):
        amount, curve = shape.amount, shape.technique.curve
        if sound.lead:  # a grace note has no step of its own: its shapes share its stolen time
            share = (end - start) / len(sound.shapes)
            begin, stop = start + n * share, start + (n + 1) * share
        else:
            begin, stop = max(start, seconds(shape.start)), min(end, seconds(shape.end))
        if curve is Curve.VIBRATO:
            if stop > begin:
                yield shape, PitchRamp(begin, stop, amount, CurveShape.AROUND if level else CurveShape.ABOVE)
            continue
        if curve is Curve.SLIDE_OFF:
            yield shape, PitchRamp(stop - _glide_time(amount, begin, stop), stop, amount, CurveShape.FRETS)
            continue
        arrives = begin if curve is Curve.PREBEND else begin + min(BEND_MAX, BEND_SHARE * (stop - begin))
        yield shape, PitchRamp(begin, arrives, amount - level)
        level = amount
