"""Conversion of seconds to MIDI ticks by the tempo map of a performance.

In: the tempo map. Out: ticks, each rounded once from an exact position. Knows no events.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from math import ceil, floor

from lickwright.performance.tempo_map import TempoStep

TICKS_A_QUARTER = 960  # divides by 2, 3, 5 and their products that music uses; sevenths are rounded
SPACING = 0.009  # seconds between the bends of a moving pitch, at most
_HAIR = 1e-6  # of a tick: more than floating point errs, so that what falls on a tick stays on it
_PARTS = 1e9  # of a tick, by which places are told apart: more than floating point errs, less than a bend can show

# (tick, second, seconds a tick): a tempo, and where it begins to hold.
Pace = tuple[float, float, float]


def paces(tempos: Iterable[TempoStep]) -> list[Pace]:
    """Return the tempos of a performance in ticks."""
    return [(tempo.quarters * TICKS_A_QUARTER, tempo.seconds, tempo.pace / TICKS_A_QUARTER) for tempo in tempos]


class Ticks:
    """Conversion between seconds and ticks."""

    __slots__ = ("_changes", "_known", "_seconds", "_seconds_a_tick", "_ticks")

    def __init__(self, tempos: Sequence[Pace]) -> None:
        self._known: dict[float, int] = {}  # ticks by their instants: most notes begin where another ends
        self._changes = len(tempos) > 1
        self._ticks = [tick for tick, _, _ in tempos]
        self._seconds = [second for _, second, _ in tempos]
        self._seconds_a_tick = [pace for _, _, pace in tempos]

    def at(self, seconds: float) -> int:
        """Return the tick nearest to an instant."""
        tick = self._known.get(seconds)
        if tick is None:
            if self._changes:
                exact = self._exact(seconds)
            else:
                exact = self._ticks[0] + (seconds - self._seconds[0]) / self._seconds_a_tick[0]
            tick = self._known[seconds] = int(exact + 0.5 + _HAIR)
        return tick

    @staticmethod
    def of_quarters(quarters: float) -> int:
        """Return the tick nearest to a place in quarter notes from the start."""
        return int(quarters * TICKS_A_QUARTER + 0.5 + _HAIR)

    def _exact(self, seconds: float) -> float:
        i = max(0, bisect_right(self._seconds, seconds) - 1) if self._changes else 0
        return self._ticks[i] + (seconds - self._seconds[i]) / self._seconds_a_tick[i]

    def paces_from(self, tick: int, start: float, end: float) -> tuple[Pace, ...]:
        """Return the tempos that hold from `start` to `end` (seconds), counted from `tick` and from `start`.

        Places are rounded to a part of a tick, so that what is played twice at one tempo has the same.
        """
        exact = round((self._exact(start) - tick) * _PARTS) / _PARTS
        if not self._changes:
            return ((exact, 0.0, self._seconds_a_tick[0]),)
        first = max(0, bisect_right(self._seconds, start) - 1)
        later = range(first + 1, bisect_right(self._seconds, end))
        return (
            (exact, 0.0, self._seconds_a_tick[first]),
            *((self._ticks[i] - tick, self._seconds[i] - start, self._seconds_a_tick[i]) for i in later),
        )

    def during(self, at: list[int], seconds: list[float], start: float, end: float) -> None:
        """Append ticks to `at` and their instants to `seconds`, at most 9 ms apart, from after `start` to the first tick not before `end`.

        Where `end` is not after `start`, that is one tick.
        """
        tick = floor(self._exact(start) + _HAIR) + 1
        stop = ceil(self._exact(end) - _HAIR)
        i = max(0, bisect_right(self._seconds, start) - 1)
        while True:
            a_tick = self._seconds_a_tick[i]
            origin = self._seconds[i] - self._ticks[i] * a_tick
            until = min(stop, ceil(self._ticks[i + 1])) if i + 1 < len(self._ticks) else stop
            steps = range(tick, until, max(1, int(SPACING / a_tick)))
            at += steps
            seconds += [origin + step * a_tick for step in steps]
            if until == stop:
                break
            tick, i = max(tick, until), i + 1
        at.append(stop)
        seconds.append(max(end, origin + stop * a_tick))
