"""Functions of one lick that several stages ask for in turn: the value for the last argument is kept.

In: a function of one argument. Out: the same function, with a memory of one call. Arguments are told apart by identity, since comparing two
licks costs more than most of what is kept. Nothing here knows of licks.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TypeVar

A = TypeVar("A")
R = TypeVar("R")


def keep_last(work: Callable[[A], R]) -> Callable[[A], R]:
    """Return `work` with a memory of its last call, which holds on to one argument and its value.

    Only for functions whose argument is never changed after the first call, and whose callers never change the value. Raises what `work` raises.
    """
    kept: tuple[A, R] | None = (
        None  # both together, so that no thread sees the argument of one call and the value of another
    )

    @wraps(work)
    def ask(argument: A) -> R:
        nonlocal kept
        last = kept
        if last is not None and last[0] is argument:
            return last[1]
        value = work(argument)
        kept = argument, value
        return value

    return ask
