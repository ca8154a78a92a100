"""What is wrong with a run that cannot be read, in a player's words.

In: the text between two spaces or brackets, and a test for "this much is good". Out: the rule, the wrong part, a message and a help. Each case is
one habit that people bring along: the first that fits speaks.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple

from lickwright.diagnostics import Rule
from lickwright.notation import rules

STRINGS = "EADGBe"
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
_FOREIGN = {"H": "h", "P": "p", "T": "t", "R": "r", "X": "x"}
_HABITS = {
    "v": ("vibrato is `~`", "~"),
    "s": ("a slide is `/` up or `\\` down", "/"),
    "+": ("notes together are joined by `&`", "&"),
    "*": ("`*` follows the fret of a pinch harmonic", "G7*"),
}


class Fault(NamedTuple):
    """One mistake inside a run."""

    rule: Rule
    start: int  # offsets into the run
    end: int
    message: str
    help: str | None
    right: str | None = None  # what should stand from `start` to `end`; None where that is not sure


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
    fault = fault or _standing_signs(run, after_repeat) or _slide(run) or _shape(run)
    if fault:
        return fault
    if run[0] in "r~^" and good(f"-{run}"):
        help = f"write it on its note, `B8{run}`, or on a hold, `-{run}`"
        if re.fullmatch(r"r\d+", run):
            help = (
                f"`-r` lets the bend back to the fretted note, `-{run}` to fret {run[1:]}; a pull-off is `p{run[1:]}`"
            )
        return Fault(rules.UNREADABLE, 0, len(run), f"`{run}` stands apart from the note that it shapes", help)
    cut = next((n for n in range(len(run) - 1, 0, -1) if good(run[:n])), 0)
    return _after(run, cut)


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
                right if len(right) < 4 else " ",
            )
    return None


def _standing_signs(run: str, after_repeat: bool) -> Fault | None:
    """Runs that are one misplaced sign."""
    whole = (0, len(run))
    if run in ("/", "\\", "//", "\\\\"):
        return Fault(rules.SLIDE, *whole, f"`{run}` stands alone: does it belong to the note before or after it?",
                     f"`G7{run}` slides off, `{run[0]}G9` slides in, `G7{run}9` slides from one to the other")  # fmt: skip
    if after_repeat and re.fullmatch(r"x\d*", run):
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
    back = re.fullmatch(r"(\d{1,2})([EADGBe])(.*)", run)
    if back:
        return Fault(
            rules.UNREADABLE, *whole, f"`{run}` is the wrong way round", f"string first: `{back[2]}{back[1]}{back[3]}`"
        )
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
    through = f", `{first}{fret}{sign}{other}` slides from one to the other" if first == second else ""
    return Fault(rules.SLIDE, match.start(3), match.end(3), f"`{match[0]}`: does the slide belong to `{first}{fret}` or to `{second}{other}`?",
                 f"`{first}{fret}{sign} {second}{other}` slides off, `{first}{fret} {sign}{second}{other}` slides in{through}")  # fmt: skip


def _shape(run: str) -> Fault | None:
    """Bends and fingers with something wrong inside."""
    match = re.search(r"'([^1-4Tpimac]|$)", run)
    if match:
        return Fault(
            rules.UNREADABLE,
            match.start(),
            match.end(),
            f"`{match[0]}` is no finger",
            "fretting fingers are '1 to '4 and 'T, plucking ones 'p 'i 'm 'a 'c",
        )
    match = re.search(r"\^(\d+/\d+|\d*½|\d+ ?steps?|1\.5(?!\d))", run)
    if match:
        return Fault(
            rules.UNREADABLE,
            match.start(1),
            match.end(1),
            f"a bend goes to a fret's pitch or by quarter, half or full, not `{match[1]}`",
            _bend_help(run[: match.start()], match[1]),
        )
    return None


def _bend_help(before: str, amount: str) -> str:
    """How the amount of a bend, in steps, would be written after the note that stands before it."""
    steps = {"1/2": 0.5, "½": 0.5, "1/4": 0.25, "1": 1.0, "1½": 1.5, "3/2": 1.5, "1.5": 1.5, "2": 2.0}
    step = steps.get(re.sub(r" ?steps?$", "", amount))
    names = {0.25: "quarter", 0.5: "half", 1.0: "full"}
    if step in names:
        return f"write `^{names[step]}`"
    fret = re.search(r"(\d{1,2})$", before)
    if step is None or fret is None:
        return "three half steps above 8 is `^11`"
    return f"{step:g} steps above {fret[1]} is `^{int(fret[1]) + int(step * 2)}`"


def _after(run: str, cut: int) -> Fault:
    """What stops the reading after `cut` good characters."""
    before, rest = run[:cut], run[cut:]
    char = rest[0]
    if "." in (char, run[0]) and not before.endswith("^"):
        return _rest(run, before, rest)
    if char in "<>" and re.search(r"[EADGBe]\d{0,2}$", before):
        return _harmonic(before, rest, cut)
    if before and before[-1].isdigit() and char == "b":
        target = re.match(r"b(\d*)", rest)
        return Fault(
            rules.UNREADABLE,
            cut,
            cut + 1,
            "`b` is no sign: a bend is `^`",
            f"write `{before}^{target[1] if target else ''}`",
        )
    large = char == "X" or (char in _FOREIGN and rest[1:2].isdigit())  # `GX`, `GH9`
    if before and before[-1] in STRINGS and (len(before) == 1 or before[-2] in "&-") and not large:
        return Fault(
            rules.UNREADABLE,
            cut - 1,
            cut,
            f"string {before[-1]} has no fret here",
            f"a note is a string and a fret: `{before[-1]}7`",
        )
    if char in "hpt/\\" or (before.endswith(tuple("hpt")) and not rest[0].isdigit()):
        return Fault(
            rules.UNREADABLE,
            cut,
            cut + 1,
            f"`{char}` needs the fret that it goes to",
            f"write them together, `{char}9`, after a note of the same string",
        )
    if char in _FOREIGN and (before or rest[1:2].isdigit()) and not _is_note(rest):
        return Fault(
            rules.UNREADABLE,
            cut,
            cut + 1,
            f"`{char}` is written small",
            f"write `{_FOREIGN[char]}{rest[1:4]}`",
            _FOREIGN[char],
        )
    slide = re.match(r"s(\d{1,2})", rest)
    came = re.search(r"(\d{1,2})$", before)
    if slide and came:
        sign = "/" if int(slide[1]) > int(came[1]) else "\\"
        return Fault(rules.UNREADABLE, cut, cut + 1, _HABITS["s"][0], f"write `{before[-12:]}{sign}{slide[1]}`")
    star = re.match(r"\*((?:[EADGBe]|\d{1,2}:)\d{1,2})", rest)
    if star and not before:
        return Fault(rules.UNREADABLE, cut, cut + 1, _HABITS["*"][0], f"write `{star[1]}*`")
    if char in _HABITS and before:
        what, right = _HABITS[char]
        return Fault(
            rules.UNREADABLE, cut, cut + 1, what, f"write `{before}{right}`" if len(right) == 1 else f"write `{right}`"
        )
    fault = _string(rest, cut) or (_string(rest[1:], cut + 1) if char == "&" else None)
    return fault or _plain(before, rest, cut)


def _harmonic(before: str, rest: str, cut: int) -> Fault:
    """`E<12`, `E12>`: half of the signs round the fret that is touched."""
    touched = re.match(r"<(\d{1,2})", rest)
    note = re.search(r"([EADGBe])(\d*)$", before)
    assert note is not None
    right = f"{note[0]}<{touched[1]}>" if touched else f"{note[1]}<{note[2] or 12}>"
    return Fault(
        rules.UNREADABLE, cut, cut + 1, f"`{rest[0]}` without its other half", f"a harmonic there is `{right}`"
    )


def _is_note(rest: str) -> bool:
    return rest[0] in STRINGS


def _rest(run: str, before: str, rest: str) -> Fault:
    at = 0 if run[0] == "." else len(before)
    if run[0] == ".":
        tail = run.lstrip(".")
        return Fault(
            rules.REST,
            0,
            len(run) - len(tail),
            f"the rest in `{run[:20]}` does not stand apart",
            f"put a space after it: `. {tail[:12]}`",
        )
    return Fault(rules.REST, at, at + 1, f"`{run[: at + 1][:20]}` looks like a dotted note, and a rest stands apart",
                 f"a rest after it: `{before[:12]} .`; a longer note: `{before[:12]}-`; a dotted step: `1/8.` before it")  # fmt: skip


def _string(rest: str, cut: int) -> Fault | None:
    """A letter that names no string."""
    match = re.match(r"([A-Za-z])(\d+|x)", rest)
    if not match:
        return None
    letter, fret = match.groups()
    if letter.upper() in STRINGS:
        return Fault(
            rules.STRING,
            cut,
            cut + 1,
            f"there is no string `{letter}`: only the thinnest, e, has a small letter",
            f"write `{letter.upper()}{fret}`",
            letter.upper(),
        )
    return Fault(
        rules.STRING,
        cut,
        cut + 1,
        f"there is no string `{letter}`",
        "the strings are E A D G B e, or a number and a colon: `2:8`",
    )


def _plain(before: str, rest: str, cut: int) -> Fault:
    shown = rest if len(rest) <= 12 else rest[:12] + "…"
    if not before:
        return Fault(
            rules.UNREADABLE,
            cut,
            cut + len(rest),
            f"`{shown}` is neither a note nor a sign",
            "a note is a string and a fret, such as `B8`; `-` holds, `.` rests",
        )
    return Fault(
        rules.UNREADABLE,
        cut,
        cut + 1,
        f"`{rest[0]}` cannot follow `{before[-12:]}`",
        "what belongs to one note touches; the next note follows after a space",
    )
