"""How much louder or softer a note is for its place in the bar: a player leans on the beat and plays up-strokes softer.

In: a Timeline. Out: a factor on a note's loudness for each instant. The numbers are estimates, and small: a dynamic or an accent that is written is
always more. Knows no seconds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache

from lickwright.music.rhythm import Meter
from lickwright.timeline.model import Timeline

FIRST, STRONG = 1.06, 1.03  # on the first beat of a bar; on the first of another group, or in the middle of an even bar
HALF, FINER = 0.96, 0.94  # in the middle of a beat, the up-stroke of eighths; elsewhere within it
WEAKER, LATER = 0.02, 0.01  # less, after a beat that is not strong; in the second half of a beat


def bar_accents(timeline: Timeline) -> Callable[[int], float]:
    """Return the factor for an instant in grains as played."""
    starts = [turn.start for turn in timeline.passes]
    meter, grain = timeline.settings.meter, timeline.grain
    missing = [  # grains that a pick-up bar has not
        int(meter.length * grain) - bar.length if bar.number == 0 else 0
        for bar in (timeline.bars[turn.bar] for turn in timeline.passes)
    ]
    known = _known_accents(meter, grain)

    def factor(at: int) -> float:
        turn = bisect_right(starts, at) - 1
        place = at - starts[turn] + missing[turn]
        found = known.get(place)
        if found is None:
            found = known[place] = accent_of_place(Fraction(place, grain), meter)
        return found

    return factor


@lru_cache(maxsize=64)
def _known_accents(meter: Meter, grain: int) -> dict[int, float]:
    """Return a memory of the factors in bars of a meter, by grains from the beginning of a bar; it is filled as they are asked for."""
    return {}


def accent_of_place(place: Fraction, meter: Meter) -> float:
    """Return the factor at a place in a bar, in whole notes from its beginning."""
    beat, within = divmod(place, meter.beat)
    strong = {0}
    units = 0
    for group in meter.groups:
        if group > 1:
            strong.add(int(Fraction(units, meter.unit) / meter.beat))
        units += group
    count = len(meter.pulses)
    if len(strong) == 1 and count % 2 == 0:
        strong.add(count // 2)
    if within == 0:
        return FIRST if beat == 0 else STRONG if beat in strong else 1.0
    base = HALF if within * 2 == meter.beat else FINER
    return base - WEAKER * (beat not in strong) - LATER * (within * 2 > meter.beat)
