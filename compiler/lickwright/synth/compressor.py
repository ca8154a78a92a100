"""Compressor before the amplifier: what is loud is turned down, slowly enough that a stroke's beginning passes.

In: samples, piece by piece. Out: the same, with a gain that follows their level over frames. The constants are estimates.
"""

from __future__ import annotations

from math import exp

import numpy as np

from lickwright.synth.loop_filters import Samples

FRAME = 64  # samples whose level is taken together
ATTACK, RELEASE = 0.012, 0.16  # seconds in which the level follows to 1/e, upwards and downwards
THRESHOLD = 0.01  # mean level from which on it turns down


class Compressor:
    """A compressor that takes the share `amount` of all decibels above the threshold. Ask in order; pieces are whole frames but for the last."""

    def __init__(self, amount: float, rate: int) -> None:
        self._amount = amount
        self._up, self._down = (1 - exp(-FRAME / (seconds * rate)) for seconds in (ATTACK, RELEASE))
        self._power = 0.0  # at the end of the frame before
        self._gain = 1.0  # there

    def turned_down(self, samples: Samples) -> Samples:
        """Return the next samples with their gain."""
        frames = -(-len(samples) // FRAME)
        squares = np.zeros(frames * FRAME)
        np.square(samples, out=squares[: len(samples)])
        levels, power = [], self._power
        for now in squares.reshape(frames, FRAME).mean(axis=1).tolist():
            power += (now - power) * (self._up if now > power else self._down)
            levels.append(power)
        self._power = power
        gains = np.maximum(np.array(levels) / THRESHOLD**2, 1.0) ** (-self._amount / 2)
        edges = np.arange(frames + 1) * FRAME
        gain = np.interp(np.arange(len(samples)), edges, np.append(self._gain, gains))
        self._gain = float(gains[-1]) if frames else self._gain
        heard: Samples = samples * gain
        return heard
