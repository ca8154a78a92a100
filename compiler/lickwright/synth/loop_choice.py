"""Which loop plays the strings of a recording: that of `waveguide.py`, or the one that numba compiles.

In: how long the recording is. Out: the compiled loop, or None. Loading numba takes as long as playing some minutes without it, and some 150 MB: so it is
loaded only in a process that has much to play. One recording is played by one loop from end to end.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lickwright.synth.waveguide import CompiledLoop

WORTH = 300.0  # seconds of recordings in one process from which on numba is loaded: that takes a second and more, and saves some 4 ms of each

_seconds = 0.0  # of recordings in this process


def choose_compiled_loop(seconds: float) -> CompiledLoop | None:
    """Return the compiled loop for a recording of so many seconds; None where it is not installed or not worth while."""
    global _seconds
    _seconds += seconds
    if _seconds < WORTH or find_spec("numba") is None:
        return None
    from lickwright.synth.compiled_loop import swing

    return swing
