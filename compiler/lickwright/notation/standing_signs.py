"""Runs that are one misplaced sign: a slide alone, a fret without a string, a number of times.

In: a run that cannot be read, and whether a `:|` stands just before it. Out: a `Fault`, or None.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.diagnostics import Rule
from lickwright.notation import rules
from lickwright.notation.fault import Fault


def standing_sign(run: str, after_repeat: bool) -> Fault | None:
    """Return what is wrong with a run that is one misplaced sign; None for any other."""
    cases = (_slide, *_AFTER_REPEAT, *_CASES) if after_repeat else (_slide, *_CASES)
    return next((fault for case in cases if (fault := case(run))), None)


def _slide(run: str) -> Fault | None:
    if run not in ("/", "\\", "//", "\\\\"):
        return None
    hint = f"`G7{run}` slides off, `{run[0]}G9` slides in, `G7{run}9` slides from one to the other"
    return _whole(rules.SLIDE, run, f"`{run}` stands alone: does it belong to the note before or after it?", hint)


def _times(run: str) -> Fault | None:
    """`:| 3`, `:| x3`: a number of times without its sign, or apart from its repeat."""
    times = re.fullmatch(r"(?:[x*×]?(\d{0,4})|(\d{1,4})[x×])x*", run)
    if times is None:
        return None
    if re.fullmatch(r"x\d+", run):
        return _whole(rules.REPEAT, run, f"`{run}` does not touch its repeat sign", f"write `:|{run}`")
    count = times[1] or times[2]
    several = count and int(count) > 1
    hint = f"`:|x{count}` plays it {count} times in all" if several else "`:|x2` is twice in all, `:|x3` three times"
    ending = "; an ending is `|1st` and `:|2nd`" if count in ("1", "2") else ""
    return _whole(rules.REPEAT, run, f"`{run}`: how many times is it played?", hint + ending)


def _times_and_ending(run: str) -> Fault | None:
    """`:|x32nd`: a number of times and an ending in one."""
    glued = re.fullmatch(r"(x\d+?)(\d(?:st|nd|rd|th))", run)
    if glued is None:
        return None
    hint = f"put a space between: `:|{glued[1]} {glued[2]}`"
    return _whole(rules.REPEAT, run, f"`{run}`: where does the number of times end?", hint)


def _and_apart(run: str) -> Fault | None:
    if not (run.startswith("&") or run.endswith("&")):
        return None
    at = 0 if run.startswith("&") else len(run) - 1
    return Fault(rules.UNREADABLE, at, at + 1, "`&` must touch both its notes", "write them together: `e5&B8`")


def _hold_and(run: str) -> Fault | None:
    """`-&e7`: a hold that does not name its string."""
    if not (run.startswith("-") and "&" in run):
        return None
    return Fault(rules.UNREADABLE, 0, 1, "which string goes on while the other is played?", "name it: `A-&e7`")


def _fret_alone(run: str) -> Fault | None:
    if not re.fullmatch(r"\d{1,2}", run):
        return None
    return _whole(rules.UNREADABLE, run, f"fret {run} has no string", f"a note is a string and a fret: `B{run}`")


def _finger_first(run: str) -> Fault | None:
    """`1B8`: a fretting finger before its note."""
    fingered = re.fullmatch(r"([1-4])([EADGBe]\d{1,2})", run)
    if fingered is None:
        return None
    hint = f"the fretting finger follows: `{fingered[2]}'{fingered[1]}`"
    return Fault(rules.UNREADABLE, 0, 1, f"`{fingered[1]}` stands before its note", hint)


def _fret_first(run: str) -> Fault | None:
    """`8B`: fret and string the wrong way round."""
    back = re.fullmatch(r"(\d{1,2})([EADGBe])(\D.*)?", run)
    if back is None:
        return None
    right = f"{back[2]}{back[1]}{back[3] or ''}"
    return _whole(rules.UNREADABLE, run, f"`{run}` is the wrong way round", f"string first: `{right}`")


def _tempo(run: str) -> Fault | None:
    """`@120`, `@bpm:120`: a tempo without its word or its `=`."""
    number = re.fullmatch(r"@(?:tempo|bpm)?[:]?(\d{2,3})", run, re.IGNORECASE)
    return number and _whole(rules.DIRECTION, run, f"`{run}` is not a tempo", f"write `@tempo={number[1]}`")


def _direction(run: str) -> Fault | None:
    if not run.startswith("@"):
        return None
    message = f"`{run[:20]}` is not something that can be said here"
    return _whole(rules.DIRECTION, run, message, 'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`')


def _whole(rule: Rule, run: str, message: str, hint: str) -> Fault:
    return Fault(rule, 0, len(run), message, hint)


# In this order: a case may rely on those before it.
_AFTER_REPEAT: tuple[Callable[[str], Fault | None], ...] = (_times, _times_and_ending)
_CASES: tuple[Callable[[str], Fault | None], ...] = (
    _and_apart, _hold_and, _fret_alone, _finger_first, _fret_first, _tempo, _direction,
)  # fmt: skip
