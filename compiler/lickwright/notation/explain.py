"""What is wrong with a run that cannot be read, in a player's words.

In: the text between two spaces or brackets, and a test for "this much is good". Out: the rule, the wrong part, a message and a hint. Each case is
one habit that people bring along: the first that fits speaks.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.notation import habits, rules
from lickwright.notation.explain_stop import stop
from lickwright.notation.fault import Fault

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


def mended(run: str, good: Callable[[str], bool]) -> str | None:
    """The run with all its sure mistakes mended; None where something in it is not sure."""
    for _ in range(LONGEST if len(run) <= LONGEST else 0):
        fault = explain(run, good, after_repeat=False)
        if fault.right is None:
            return None
        run = run[: fault.start] + fault.right + run[fault.end :]
        if good(run):
            return run
    return None


def explain(run: str, good: Callable[[str], bool], after_repeat: bool) -> Fault:
    """The mistake in `run`; `good` tells whether a text can be read, `after_repeat` whether a `:|` stands just before it."""
    fault = _lookalike(run) or (_too_long(run) if len(run) > LONGEST else None)
    fault = fault or _standing_signs(run, after_repeat) or habits.habit_of_run(run) or _slide(run) or _finger(run)
    fault = fault or habits.bend(run) or habits.signs(run)
    if fault:
        return fault
    if run[0] in "r~^" and good(f"-{run}"):
        hint = f"write it on its note, `B8{run}`, or on a hold, `-{run}`"
        if re.fullmatch(r"r\d+", run):
            hint = (
                f"`-r` lets the bend back to the fretted note, `-{run}` to fret {run[1:]}; a pull-off is `p{run[1:]}`"
            )
        return Fault(rules.UNREADABLE, 0, len(run), f"`{run}` stands apart from the note that it shapes", hint)
    cut = next((n for n in range(len(run) - 1, 0, -1) if good(run[:n])), 0)
    return stop(run[:cut], run[cut:])


def _too_long(run: str) -> Fault:
    """So much without a space that the search for the mistake would cost more than it tells."""
    return Fault(
        rules.UNREADABLE,
        0,
        len(run),
        f"`{run[:12]}…` goes on for {len(run):,} characters without a space, and something in it cannot be read",
        "put spaces between the notes: then the place of the mistake can be shown",
    )


def _lookalike(run: str) -> Fault | None:
    for at, char in enumerate(run):
        if char in _LOOKALIKES:
            what, right = _LOOKALIKES[char]
            return Fault(
                rules.TYPOGRAPHY,
                at,
                at + 1,
                f"`{char}` is {what}, not {f'`{right}`' if len(right) < 4 else right}",
                f"type `{right}`" if len(right) < 4 else f"type {right}",
                None if char in _UNSURE else right if len(right) < 4 else " ",
            )
    return None


def _standing_signs(run: str, after_repeat: bool) -> Fault | None:
    """Runs that are one misplaced sign."""
    whole = (0, len(run))
    if run in ("/", "\\", "//", "\\\\"):
        return Fault(rules.SLIDE, *whole, f"`{run}` stands alone: does it belong to the note before or after it?",
                     f"`G7{run}` slides off, `{run[0]}G9` slides in, `G7{run}9` slides from one to the other")  # fmt: skip
    times = re.fullmatch(r"(?:[x*×]?(\d{0,4})|(\d{1,4})[x×])x*", run) if after_repeat else None
    if times and not re.fullmatch(r"x\d+", run):
        count = times[1] or times[2]
        hint = (
            f"`:|x{count}` plays it {count} times in all"
            if count and int(count) > 1
            else "`:|x2` is twice in all, `:|x3` three times"
        )
        ending = "; an ending is `|1st` and `:|2nd`" if count in ("1", "2") else ""
        return Fault(rules.REPEAT, *whole, f"`{run}`: how many times is it played?", hint + ending)
    if times:
        return Fault(rules.REPEAT, *whole, f"`{run}` does not touch its repeat sign", f"write `:|{run}`")
    glued = re.fullmatch(r"(x\d+?)(\d(?:st|nd|rd|th))", run) if after_repeat else None
    if glued:
        return Fault(
            rules.REPEAT,
            *whole,
            f"`{run}`: where does the number of times end?",
            f"put a space between: `:|{glued[1]} {glued[2]}`",
        )
    if run.startswith("&") or run.endswith("&"):
        at = 0 if run.startswith("&") else len(run) - 1
        return Fault(rules.UNREADABLE, at, at + 1, "`&` must touch both its notes", "write them together: `e5&B8`")
    if run.startswith("-") and "&" in run:
        return Fault(rules.UNREADABLE, 0, 1, "which string goes on while the other is played?", "name it: `A-&e7`")
    if re.fullmatch(r"\d{1,2}", run):
        return Fault(rules.UNREADABLE, *whole, f"fret {run} has no string", f"a note is a string and a fret: `B{run}`")
    fingered = re.fullmatch(r"([1-4])([EADGBe]\d{1,2})", run)
    if fingered:
        hint = f"the fretting finger follows: `{fingered[2]}'{fingered[1]}`"
        return Fault(rules.UNREADABLE, 0, 1, f"`{fingered[1]}` stands before its note", hint)
    back = re.fullmatch(r"(\d{1,2})([EADGBe])(\D.*)?", run)
    if back:
        return Fault(
            rules.UNREADABLE,
            *whole,
            f"`{run}` is the wrong way round",
            f"string first: `{back[2]}{back[1]}{back[3] or ''}`",
        )
    number = re.fullmatch(r"@(?:tempo|bpm)?[:]?(\d{2,3})", run, re.IGNORECASE)
    if number:
        return Fault(rules.SAYING, *whole, f"`{run}` is not a tempo", f"write `@tempo={number[1]}`")
    if run.startswith("@"):
        return Fault(
            rules.SAYING,
            *whole,
            f"`{run[:20]}` is not something that can be said here",
            'say `@mf`, `@"words"`, `@tempo=60` or `@fermata`',
        )
    return None


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
