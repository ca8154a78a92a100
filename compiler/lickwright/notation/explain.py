"""Explain a run that cannot be read, in a player's words.

In: the text between two spaces or brackets, and a test of whether a text can be read. Out: a `Fault`: the rule, the wrong part, a message and a
hint. Each case is a habit that people bring along; the first that fits is reported.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.notation import rules
from lickwright.notation.explain_stop import explain_stop
from lickwright.notation.fault import Fault
from lickwright.notation.habits import bend_habit
from lickwright.notation.run_habits import run_habit
from lickwright.notation.sign_habits import sign_habit
from lickwright.notation.standing_signs import standing_sign

LONGEST = 120  # characters of a run that are searched for the mistake; a busy bar written in one has some 60

_LOOKALIKES = {
    **dict.fromkeys("–—−‐‑‒―", ("a long dash", "-")),
    **dict.fromkeys("‘’‚′`´", ("a curly quote", "'")),
    **dict.fromkeys("“”„″«»", ("a curly quote", '"')),
    "…": ("three dots in one sign", "..."),
    "♯": ("a sharp sign", "#"),
    "♭": ("a flat sign", "b"),
    "×": ("a times sign", "x"),
    "•": ("a bullet", "."),
    "∼": ("a mathematical tilde", "~"),
    "\u00a0": ("a no-break space", "a plain space"),
    "\u3000": ("a wide space", "a plain space"),
}
_UNSURE = "•"  # a word processor makes it of many things


def mend_run(run: str, good: Callable[[str], bool]) -> str | None:
    """Return the run with all its sure mistakes mended; None where something in it is not sure."""
    for _ in range(LONGEST if len(run) <= LONGEST else 0):
        fault = explain_run(run, good, after_repeat=False)
        if fault.right is None:
            return None
        run = run[: fault.start] + fault.right + run[fault.end :]
        if good(run):
            return run
    return None


def explain_run(run: str, good: Callable[[str], bool], after_repeat: bool) -> Fault:
    """Return the mistake in `run`; `good` tells whether a text can be read, `after_repeat` whether a `:|` stands just before it."""
    fault = _lookalike(run) or _too_long(run) or standing_sign(run, after_repeat)
    fault = fault or next((found for case in _CASES if (found := case(run))), None)
    if fault:
        return fault
    if run[0] in "r~^" and good(f"-{run}"):
        return _apart(run)
    cut = next((n for n in range(len(run) - 1, 0, -1) if good(run[:n])), 0)
    return explain_stop(run[:cut], run[cut:])


def _apart(run: str) -> Fault:
    """`r8`, `~`: a shape that does not touch its note."""
    hint = f"write it on its note, `B8{run}`, or on a hold, `-{run}`"
    if re.fullmatch(r"r\d+", run):
        fret = run[1:]
        hint = f"`-r` lets the bend back to the fretted note, `-{run}` to fret {fret}; a pull-off is `p{fret}`"
    return Fault(rules.UNREADABLE, 0, len(run), f"`{run}` stands apart from the note that it shapes", hint)


def _too_long(run: str) -> Fault | None:
    """So much without a space that the search for the mistake would cost more than it tells."""
    if len(run) <= LONGEST:
        return None
    return Fault(
        rules.UNREADABLE,
        0,
        len(run),
        f"`{run[:12]}…` goes on for {len(run):,} characters without a space, and something in it cannot be read",
        "put spaces between the notes: then the place of the mistake can be shown",
    )


def _lookalike(run: str) -> Fault | None:
    """A sign that a word processor or a keyboard puts in place of one of ours."""
    at = next((at for at, char in enumerate(run) if char in _LOOKALIKES), -1)
    if at < 0:
        return None
    char = run[at]
    what, right = _LOOKALIKES[char]
    named = len(right) > 3  # in words: "a plain space"
    shown = right if named else f"`{right}`"
    mend = None if char in _UNSURE else " " if named else right
    return Fault(rules.TYPOGRAPHY, at, at + 1, f"`{char}` is {what}, not {shown}", f"type {shown}", mend)


def _slide(run: str) -> Fault | None:
    """`G7/G9`: the slide could belong to either."""
    match = re.search(r"([EADGBe]|\d+:)(\d+)[^/\\]*([/\\]{1,2})([EADGBe]|\d+:)(\d+)", run)
    if not match:
        return None
    first, fret, sign, second, other = match.groups()
    through = f", `{first}{fret}{sign}{other}` slides from one to the other"
    if first != second:
        through = f", together they are `{first}{fret}&{second}{other}`"
    return Fault(rules.SLIDE, match.start(3), match.end(3), f"`{match[0]}`: does the slide belong to `{first}{fret}` or to `{second}{other}`?",
                 f"`{first}{fret}{sign} {second}{other}` slides off, `{first}{fret} {sign}{second}{other}` slides in{through}")  # fmt: skip


def _finger(run: str) -> Fault | None:
    """`e8'5`: a finger that nobody has."""
    match = re.search(r"'([^1-4TpimacPIMAC]|$)", run)
    if match is None:
        return None
    hint = "fretting fingers are '1 to '4 and 'T, plucking ones 'p 'i 'm 'a 'c"
    return Fault(rules.UNREADABLE, match.start(), match.end(), f"`{match[0]}` is not a finger", hint)


# In this order: a case may rely on those before it.
_CASES: tuple[Callable[[str], Fault | None], ...] = (run_habit, _slide, _finger, bend_habit, sign_habit)
