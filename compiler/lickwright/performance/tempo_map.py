"""From counted time to seconds: tempo changes, fermatas, swing, and silence before the first beat.

In: a Timeline, and a factor on its tempo. Out: `TempoMap`. A fermata doubles the length of its event: the event goes at
half the tempo, which every file format for notes can express. Knows no strings and no pitches.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from fractions import Fraction
from math import inf
from typing import NamedTuple

from lickwright.core.keep_last import keep_last
from lickwright.timeline.model import Timeline
from lickwright.timeline.swing import swing_of

FERMATA = 2  # a fermata makes its event so many times as long; a convention, players vary it


class TempoStep(NamedTuple):
    """A tempo and the instant from which it holds."""

    quarters: float  # quarter notes since the start, as played, silence before the music included
    seconds: float
    qpm: Fraction  # quarter notes a minute

    @property
    def pace(self) -> float:
        """Seconds a quarter note."""
        return 60 * self.qpm.denominator / self.qpm.numerator


class TempoMap:
    """Turns grains as played into seconds.

    Time runs evenly between breaks, which are tempo changes and the start, middle and end of swung pairs.
    """

    __slots__ = (
        "_breaks", "_even_rate", "_paces", "_quarters_before", "_rates", "_seconds", "_to_quarters",
        "lead_in", "opening_qpm", "tempos",
    )  # fmt: skip

    def __init__(self, timeline: Timeline, factor: Fraction, lead_in: Fraction = Fraction(0)) -> None:
        self.opening_qpm = _scaled(
            timeline.tempos[0].qpm, factor
        )  # quarters a minute to begin with, without a fermata there
        self.lead_in = lead_in  # whole notes of silence before the music, at its first tempo
        self._to_quarters = 4 / timeline.grain
        self._quarters_before = 4 * float(lead_in)
        swing = swing_of(timeline)
        speeds = [(grain, swing.heard_at(grain) / swing.parts, qpm) for grain, qpm in _speeds(timeline, factor)]
        self.tempos = self._tempo_steps([(heard, qpm) for _, heard, qpm in speeds])
        self._paces = [step.pace for step in self.tempos]
        heard = {grain: at / swing.parts for grain, at in zip(swing.breaks, swing.placed, strict=True)}
        heard.update((grain, at) for grain, at, _ in speeds)
        self._breaks = sorted(heard)
        self._seconds = [self.straight_seconds(heard[grain]) for grain in self._breaks]
        self._rates = self._slopes()
        # Seconds a grain where there is no break after 0, else 0.
        self._even_rate = self._rates[0] if len(self._breaks) == 1 else 0.0

    def straight_seconds(self, grains: float) -> float:
        """Return the second of an instant that swing does not move, such as a bar line's."""
        quarters = grains * self._to_quarters + self._quarters_before
        i = bisect_right(self.tempos, (quarters, inf), 1) - 1
        return self.tempos[i].seconds + (quarters - self.tempos[i].quarters) * self._paces[i]

    def seconds(self, grains: float) -> float:
        """Return the second at which an instant is heard; at a bar line the new bar counts."""
        if self._even_rate:  # as most licks are; asked for a hundred times a lick
            return self._seconds[0] + grains * self._even_rate
        i = bisect_right(self._breaks, grains, 1) - 1
        return self._seconds[i] + (grains - self._breaks[i]) * self._rates[i]

    def _tempo_steps(self, speeds: list[tuple[float, Fraction]]) -> tuple[TempoStep, ...]:
        """Return the tempo changes in quarters and seconds; the first starts with the silence before the music."""
        steps = [TempoStep(0.0, 0.0, speeds[0][1])]
        for placed, qpm in speeds[1:]:
            quarters = placed * self._to_quarters + self._quarters_before
            before = steps[-1]
            steps.append(TempoStep(quarters, before.seconds + (quarters - before.quarters) * before.pace, qpm))
        return tuple(steps)

    def _slopes(self) -> list[float]:
        """Return the seconds a grain from each break on; after the last one its tempo holds."""
        breaks, seconds = self._breaks, self._seconds
        slopes = [(seconds[i + 1] - seconds[i]) / (breaks[i + 1] - breaks[i]) for i in range(len(breaks) - 1)]
        return [*slopes, self._paces[-1] * self._to_quarters]


def _scaled(qpm: Fraction, factor: Fraction) -> Fraction:
    """Return a tempo times a factor, which is 1 for most licks."""
    return qpm if factor.numerator == factor.denominator else qpm * factor


def _speeds(timeline: Timeline, factor: Fraction) -> list[tuple[int, Fraction]]:
    """Return grain and quarters a minute, wherever the tempo changes or a fermata begins or ends; the first is at 0."""
    tempos = timeline.tempos
    if len(tempos) == 1 and not timeline.fermatas:
        return [(0, _scaled(tempos[0].qpm, factor))]
    fermatas: Counter[int] = Counter()  # how many begin (less how many end) at a grain
    for start, end in timeline.fermatas:
        fermatas[start] += 1
        fermatas[end] -= 1
    starts = {tempo.start: tempo.qpm for tempo in tempos}
    speeds: list[tuple[int, Fraction]] = []
    written, held = tempos[0].qpm, 0
    for grain in sorted({0, *starts, *fermatas}):
        written, held = starts.get(grain, written), held + fermatas[grain]
        qpm = _scaled(written, factor) / (FERMATA if held else 1)
        if not speeds or speeds[-1][1] != qpm:
            speeds.append((grain, qpm))
    return speeds


@keep_last
def written_tempo_map(timeline: Timeline) -> TempoMap:
    """Return the tempo map at the written tempo; the last one made is kept, for checks, level and performance in turn."""
    return TempoMap(timeline, Fraction(1))
