"""Damping of a string by hands and picks between two notes.

In: the states before and after, and the times of the change. Out: knots for `automation`. A pick stops the string before it strikes it anew; a finger
that comes down changes the pitch over one period. A plain jump clicks, chirps or loses the note. The constants are estimates.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log10
from typing import NamedTuple


class Decay(NamedTuple):
    """Seconds in which a string loses 60 dB."""

    low: float  # at its fundamental
    high: float  # at 3 kHz

    @property
    def mean(self) -> float:
        """The decay time of the whole vibration in its first second or so, in which the lowest partials dominate."""
        return float(self.low**0.9 * max(self.high, 0.2 * self.low) ** 0.1)

    def shorter(self, other: Decay) -> Decay:
        """Return the shorter decay time of the two, at each frequency."""
        return Decay(min(self.low, other.low), min(self.high, other.high))


class Knot(NamedTuple):
    """The state of a string at one moment; between two knots all values run straight."""

    seconds: float
    hertz: float
    decay: Decay


PALM, DEAD = Decay(0.45, 0.07), Decay(0.06, 0.025)
STOPPED, CUT = Decay(0.12, 0.05), Decay(0.05, 0.025)  # a note that ends; a short one
STOPPING, CUTTING = 0.012, 0.005  # seconds until that is reached
TOUCH = 0.004  # seconds, and a period, before a stroke that the pick touches the string: all that runs on it is damped
TOUCH_LEAST, TOUCH_SHARE = 0.008, 0.4  # seconds at least; but at most this share of the note that sounds
TOUCH_SHORTEST = 0.001  # seconds: however short a note is, it is no click that ends it
SLAPPED = 0.05  # of what swings, left by a finger that comes down hard
_EASED = (  # shares of a period, and of the way that a length has gone by then: gently in and out
    (0.08, 0.016), (0.16, 0.062), (0.24, 0.14), (0.32, 0.25), (0.63, 0.75), (0.71, 0.86), (0.79, 0.938), (0.87, 0.984), (0.95, 1.0),
)  # fmt: skip
_RAMP = (
    (0.1, 0.02),
    (0.2, 0.1),
    (0.35, 0.27),
    (0.5, 0.5),
    (0.65, 0.73),
    (0.8, 0.9),
    (0.9, 0.98),
    (1.0, 1.0),
)  # the same


def touch_time(length: float, before: float, hertz: float) -> float:
    """Return how many seconds before a stroke the pick touches a string that has sounded for `length` seconds at `before` hertz and will at `hertz`."""
    return min(max(TOUCH_LEAST, TOUCH + 1 / min(before, hertz)), TOUCH_SHARE * length)


def finger_damping(start: float, before: Knot, after: Knot, anew: bool) -> Iterator[Knot]:
    """Yield the knots of a finger that comes down or pulls off at `start`, over one period of the new pitch, without a corner.

    With `anew` the vibration is damped from a period before, so that every part of it is damped once.
    """
    damped = before.decay
    if anew:
        yield Knot(start - 1 / before.hertz, before.hertz, damped)
        for share, lost in _RAMP:
            damped = _slapped(before.hertz, lost)
            yield Knot(start - (1 - share / 2) / before.hertz, before.hertz, damped)
    yield Knot(start, before.hertz, damped)
    for share, way in _EASED:
        now = before.hertz + way * (after.hertz - before.hertz)
        yield Knot(start + share / after.hertz, now, _slapped(after.hertz, 1.0) if anew else damped)
    yield Knot(start + 1 / after.hertz, after.hertz, after.decay)


def _slapped(hertz: float, lost: float) -> Decay:
    """Return the decay of a string that loses in a period the share `lost` of what a hard finger takes."""
    lasting = -3 / (hertz * log10(1 - lost * (1 - SLAPPED)))
    return Decay(lasting, lasting)
