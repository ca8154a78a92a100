"""Finds lasting shifts in time, as opposed to single notes that are early or late.

In: how late each paired moment is. Out: for each moment the shift that holds there; the rest of its lateness is its own. Dynamic programming finds the
explanation of least cost: a note out of time costs one, a lasting shift costs several. Where a figure is rushed or dragged and the notes after it stay
early or late, the shift begins after the figure.
"""

from __future__ import annotations

from collections.abc import Sequence

# Costs; estimates: `tests/test_compare_mistakes.py` measures what they find.
_OUT_OF_TIME = 10  # one moment
_CHANGE = 25  # a shift from here on: cheaper than three moments out of time, dearer than two
_CHANGE_AT_ODD_BAR = 6  # the same where a bar does not add up, several notes are missing or extra
_STARTS_SHIFTED = 18  # the whole version is shifted: cheaper than two moments out of time


def lasting_shifts(late: Sequence[int], cheap: Sequence[bool]) -> list[int]:
    """Return for each moment the shift that holds; `cheap[k]` says that there is a reason for one just before k."""
    if not late:
        return []
    states = sorted(set(late) | {0}, key=lambda s: (abs(s), s))
    costs = [(_STARTS_SHIFTED if s else 0) + (_OUT_OF_TIME if s != late[0] else 0) for s in states]
    came: list[list[int]] = []
    for k in range(1, len(late)):
        least = min(range(len(states)), key=costs.__getitem__)
        change = costs[least] + (_CHANGE_AT_ODD_BAR if cheap[k] else _CHANGE)
        steps = [n if cost <= change else least for n, cost in enumerate(costs)]
        costs = [
            min(cost, change) + (_OUT_OF_TIME if s != late[k] else 0) for s, cost in zip(states, costs, strict=True)
        ]
        came.append(steps)
    path = _path(came, min(range(len(states)), key=costs.__getitem__))
    return _after_figures([states[n] for n in path], late)


def _path(came: Sequence[Sequence[int]], last: int) -> list[int]:
    """Return the states from the first to the last, where `came` has for each step and state the one before."""
    path = [last]
    for steps in reversed(came):
        path.append(steps[path[-1]])
    return path[::-1]


def is_between(value: int, one: int, other: int) -> bool:
    """Return whether a value lies strictly between two others, whichever of them is greater."""
    return one < value < other or other < value < one


def _after_figures(shift: list[int], late: Sequence[int]) -> list[int]:
    """Begin each shift after the moments on the way there, so that an early note is not taken for a late one.

    One that holds for a single moment is none: the moment is out of time.
    """
    for k in range(1, len(shift)):
        if shift[k] != shift[k - 1] and (is_between(late[k], shift[k - 1], shift[k]) or _lonely(shift, k)):
            shift[k] = shift[k - 1]
    return shift


def _lonely(shift: Sequence[int], k: int) -> bool:
    """Return whether moment `k` alone has its shift, and those round it have one or lead past it."""
    if k + 1 == len(shift) or shift[k + 1] == shift[k]:
        return False
    return shift[k + 1] == shift[k - 1] or is_between(shift[k], shift[k - 1], shift[k + 1])
