"""Measures of work that do not depend on the machine's speed or on what else it does: lines of Python executed and calls made, which are exact, and
ratios of processor times, which are for tests marked `slow` only: a busy machine falsifies them.
"""

from __future__ import annotations

import cProfile
import gc
import math
import sys
import time
from collections.abc import Callable
from types import FrameType
from typing import Any


def steps(work: Callable[[], object]) -> int:
    """The number of lines of Python that `work` executes, in all functions that it calls. The work inside of C functions is not in it."""
    count = 0

    def line(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal count
        count += event == "line"
        return line

    before = sys.gettrace()
    sys.settrace(line)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


def calls(work: Callable[[], object]) -> int:
    """The number of calls that `work` makes, of functions in Python and in C. It takes twice the time of `work` alone, `steps` ten times. The work
    inside of one call of a C function is not in it.
    """
    profile = cProfile.Profile()
    profile.runcall(work)
    return sum(entry.callcount for entry in profile.getstats())


def seconds(work: Callable[[], object], tries: int = 3) -> float:
    """Seconds of processor time that `work` takes, the least of some tries, without the garbage collector. Only ratios of two of them mean something."""
    best = math.inf
    for _ in range(tries):
        gc.disable()
        try:
            began = time.process_time()
            work()
            best = min(best, time.process_time() - began)
        finally:
            gc.enable()
    return best
