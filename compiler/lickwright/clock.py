"""From counted time to seconds: tempo changes, pauses, swing, and silence before the first beat.

In: a Timeline, and a factor on its tempo. Out: `Clock`. A pause doubles the length of its event: its event goes at
half the tempo, which every file of notes can say. Knows no strings and no pitches.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from fractions import Fraction
from math import inf
from typing import NamedTuple

from lickwright.notation.tree import Bare, Event, Note
from lickwright.timeline import Bar, Timeline

PAUSE = 2  # a pause makes its event so many times as long


class TempoStep(NamedTuple):
    """From here on, this fast."""

    quarters: float  # quarter notes since the start, as played, silence before the music included
    seconds: float
    qpm: Fraction  # quarter notes a minute

    @property
    def pace(self) -> float:
        """Seconds a quarter."""
        return 60 * self.qpm.denominator / self.qpm.numerator


class Clock:
    """Seconds of any instant. Time runs evenly between breaks.

    Tempo changes, and start, middle and end of swung pairs.
    """

    __slots__ = ("_breaks", "_paces", "_quarters_before", "_rates", "_seconds", "_to_quarters", "lead_in", "tempos")

    def __init__(self, timeline: Timeline, factor: Fraction, lead_in: Fraction = Fraction(0)) -> None:
        self.lead_in = lead_in  # whole notes of silence before the music, at its first tempo
        self._to_quarters = 4 / timeline.grain
        self._quarters_before = 4 * float(lead_in)
        swing = _swing(timeline)
        speeds = _speeds(timeline, factor)
        placed = _placed([grain for grain, _ in speeds], swing)
        self.tempos = self._tempo_steps([(at, qpm) for at, (_, qpm) in zip(placed, speeds, strict=True)])
        self._paces = [step.pace for step in self.tempos]
        swing.update((grain, at) for at, (grain, _) in zip(placed, speeds, strict=True))
        self._breaks = sorted(swing)
        self._seconds = [self.straight(swing[grain]) for grain in self._breaks]
        self._rates = self._slopes()

    def straight(self, grains: float) -> float:
        """Seconds of an instant that swing does not move: a bar line's."""
        quarters = grains * self._to_quarters + self._quarters_before
        i = bisect_right(self.tempos, (quarters, inf), 1) - 1
        return self.tempos[i].seconds + (quarters - self.tempos[i].quarters) * self._paces[i]

    def seconds(self, grains: float) -> float:
        """When an instant is heard; at a bar line the new bar counts."""
        i = bisect_right(self._breaks, grains, 1) - 1
        return self._seconds[i] + (grains - self._breaks[i]) * self._rates[i]

    def _tempo_steps(self, speeds: list[tuple[float, Fraction]]) -> tuple[TempoStep, ...]:
        """The tempo map in quarters and seconds; the first step starts with the silence before the music."""
        steps = [TempoStep(0.0, 0.0, speeds[0][1])]
        for placed, qpm in speeds[1:]:
            quarters = placed * self._to_quarters + self._quarters_before
            before = steps[-1]
            steps.append(TempoStep(quarters, before.seconds + (quarters - before.quarters) * before.pace, qpm))
        return tuple(steps)

    def _slopes(self) -> list[float]:
        """Seconds a grain from each break on; after the last one its tempo holds."""
        breaks, seconds = self._breaks, self._seconds
        slopes = [(seconds[i + 1] - seconds[i]) / (breaks[i + 1] - breaks[i]) for i in range(len(breaks) - 1)]
        return [*slopes, self._paces[-1] * self._to_quarters]


def _speeds(timeline: Timeline, factor: Fraction) -> list[tuple[float, Fraction]]:
    """Grain and quarters a minute, wherever the tempo changes or a pause begins or ends. The first is at 0."""
    tempos = timeline.tempos
    if len(tempos) == 1 and not timeline.fermatas:
        return [(0, tempos[0].qpm * factor)]
    pauses: Counter[int] = Counter()  # how many begin (less how many end) at a grain
    for start, end in timeline.fermatas:
        pauses[start] += 1
        pauses[end] -= 1
    starts = {tempo.start: tempo.qpm for tempo in tempos}
    speeds: list[tuple[float, Fraction]] = []
    written, held = tempos[0].qpm, 0
    for grain in sorted({0, *starts, *pauses}):
        written, held = starts.get(grain, written), held + pauses[grain]
        qpm = written * factor / (PAUSE if held else 1)
        if not speeds or speeds[-1][1] != qpm:
            speeds.append((grain, qpm))
    return speeds


def _swing(timeline: Timeline) -> dict[float, float]:
    """Where the ends and middles of pairs of swung steps fall, in grains as played: the middle of a swung pair is late.

    What lies between (the end of a note before a rest, a release) moves in proportion, so that the order never
    changes. Beyond the last pair nothing moves.
    """
    long, short = timeline.settings.feel.ratio
    if long == short:
        return {}
    breaks: dict[float, float] = {}
    of_bar: dict[int, list[tuple[float, float]]] = {}
    in_tuplets = {slot for tuplet in timeline.tuplets for slot in range(tuplet.first, tuplet.last + 1)}
    for turn in timeline.passes:
        if turn.bar not in of_bar:
            of_bar[turn.bar] = _bar_swing(timeline, timeline.bars[turn.bar], long / (long + short), in_tuplets)
        breaks.update((turn.start + at, turn.start + placed) for at, placed in of_bar[turn.bar])
    breaks.setdefault(timeline.end, timeline.end)
    return breaks


def _bar_swing(timeline: Timeline, bar: Bar, late: float, in_tuplets: set[int]) -> list[tuple[float, float]]:
    """Grains of one written bar and where they fall; `late` is the share of a pair that its first note gets.

    A pick-up is counted from its end, as the end of a full bar. A pair that the bar line cuts off does not swing.
    """
    half = float(timeline.settings.feel.unit * timeline.grain)
    pair = 2 * half
    offset = float(timeline.settings.meter.length * timeline.grain) - bar.nominal if bar.number == 0 else 0.0
    straight = _straight_pairs(timeline, bar, offset, half, in_tuplets)
    breaks = [(0.0, 0.0)]
    k = int(offset // pair)
    while k * pair - offset < bar.length:
        start = k * pair - offset
        if start >= 0:
            breaks.append((start, start))
        if k not in straight and 0 <= start + half < bar.length and start + pair <= bar.length:
            breaks.append((start + half, start + late * pair))
        k += 1
    return breaks


def _straight_pairs(timeline: Timeline, bar: Bar, offset: float, half: float, in_tuplets: set[int]) -> set[int]:
    """Pairs with an onset inside that is not their middle, on any string; every step of a tuplet counts as an onset."""
    pairs = set()
    for i in range(bar.first, bar.last):
        slot = timeline.slots[i]
        k, rest = divmod(slot.at + offset, 2 * half)
        if slot.length == 0 or rest in (0, half):
            continue
        event = slot.event
        if i in in_tuplets or (
            isinstance(event, Event) and any(isinstance(part, (Note, Bare)) for part in event.parts)
        ):
            pairs.add(int(k))
    return pairs


def _placed(grains: list[float], swing: dict[float, float]) -> list[float]:
    """Instants where swing puts them."""
    if not swing:
        return grains
    known, placed = sorted(swing), []
    for grain in grains:
        i = bisect_right(known, grain) - 1
        if i < 0 or i + 1 == len(known):
            placed.append(grain)
            continue
        low, high = known[i], known[i + 1]
        placed.append(swing[low] + (grain - low) * (swing[high] - swing[low]) / (high - low))
    return placed


_WRITTEN: list[tuple[Timeline, Clock]] = []  # the last one asked for


def written(timeline: Timeline) -> Clock:
    """The clock at the written tempo, made once for those who ask one after another: hands, level and performance."""
    if not _WRITTEN or _WRITTEN[0][0] is not timeline:
        _WRITTEN[:] = [(timeline, Clock(timeline, Fraction(1)))]
    return _WRITTEN[0][1]
