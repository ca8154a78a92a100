"""Where a string's harmonics are touched, and how high they sound.

Touching an ideal string at k/m of its length leaves the partials that are multiples of m, so it sounds 12·log2(m)
semitones above the length that swings. A fret f lies at 1 − 2^(−f/12) of that length, which puts node k/m at fret
−12·log2(1 − k/m).
"""

from __future__ import annotations

from functools import lru_cache
from math import gcd, log2

MAX_PARTIAL = 8  # higher ones are hardly ever named by a fret
TOLERANCE = 0.36  # frets that a written node may be off: players write 3 for 3.16, 9 for 8.84, 4 for 3.86

NODES: tuple[tuple[float, int], ...] = tuple(
    sorted((-12 * log2(1 - k / m), m) for m in range(2, MAX_PARTIAL + 1) for k in range(1, m) if gcd(k, m) == 1)
)  # (fret above the stopped end, partial)


@lru_cache(maxsize=256)
def harmonic_interval(fret: float) -> float | None:
    """Return the semitones that a string sounds above itself when touched `fret` frets above its stopped end.

    Of the nodes within `TOLERANCE` the lowest partial counts, since it is the loudest. None away from any node.
    """
    near = [(partial, abs(node - fret)) for node, partial in NODES if abs(node - fret) <= TOLERANCE]
    return 12 * log2(min(near)[0]) if near else None
