"""Explain what stops the reading of a run after some good characters, in a player's words.

In: the good characters of a run, and the rest of it, which begins with what stops the reading. Out: a `Fault`. The first case of `_CASES` that
fits is reported.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.notation import habits, rules
from lickwright.notation.fault import Fault

_STRINGS = "EADGBe"
_LARGE = {"H": "h", "P": "p", "T": "t", "R": "r", "X": "x"}
_HABITS = {
    "v": ("vibrato is `~`", "~"),
    "s": ("a slide is `/` up or `\\` down", "/"),
    "+": ("notes together are joined by `&`", "& and the other note"),
    "*": ("`*` follows the fret of a pinch harmonic", "G7*"),
}


def explain_stop(before: str, rest: str) -> Fault:
    """Return what stops the reading at `rest`, which is not empty, after the good characters `before`."""
    return next((fault for case in _CASES if (fault := case(before, rest))), None) or _plain(before, rest)


def _here(before: str, message: str, hint: str, right: str | None = None) -> Fault:
    """Return a fault of the first character after `before`."""
    return Fault(rules.UNREADABLE, len(before), len(before) + 1, message, hint, right)


def _rest(before: str, rest: str) -> Fault | None:
    """`G5.`, `.G5`: a rest that does not stand apart, or a dot after a note."""
    run = before + rest
    if "." not in (rest[0], run[0]) or before.endswith("^"):
        return None
    if run[0] == ".":
        tail = run.lstrip(".")
        return Fault(
            rules.REST,
            0,
            len(run) - len(tail),
            f"the rest in `{run[:20]}` does not stand apart",
            f"put a space after it: `. {tail[:12]}`",
        )
    at = len(before)
    return Fault(rules.REST, at, at + 1, f"`{run[: at + 1][:20]}` looks like a dotted note, and a rest stands apart",
                 f"a rest after it: `{before[:12]} .`; a longer note: `{before[:12]}-`; a dotted step: `1/8.` before it")  # fmt: skip


def _harmonic(before: str, rest: str) -> Fault | None:
    """`E<12`, `E12>`: half of the signs round the fret that is touched."""
    note = re.search(r"([EADGBe])(\d{0,2})$", before) if rest[0] in "<>" else None
    if note is None:
        return None
    touched = re.match(r"<(\d{1,2})", rest)
    right = f"{note[0]}<{touched[1]}>" if touched else f"{note[1]}<{note[2] or 12}>"
    return _here(before, f"`{rest[0]}` without its other half", f"a harmonic there is `{right}`")


def _bent(before: str, rest: str) -> Fault | None:
    """`B8b10`: a bend as other tab writes it; where it would go down, the B string written small."""
    target = re.match(r"b(\d*)(r\d*)?", rest)
    fret = re.search(r"(\d{1,2})$", before)
    if target is None or fret is None:
        return None
    if target[1] and int(target[1]) <= int(fret[1]):
        message = "there is no string `b`: only the thinnest, e, has a small letter"
        hint = f"write `B{target[1]}`; a bend is `^`, and goes up"
        return Fault(rules.STRING, len(before), len(before) + 1, message, hint)
    if not target[1] and rest.startswith("bend"):
        return _here(before, "`b` is not a sign: a bend is `^`", f"a whole step up is `{before[-12:]}^full`")
    right = f"`{before[-12:]}^{target[1]}{'r' if target[2] else ''}`"
    return _here(before, "`b` is not a sign: a bend is `^`", f"write {right}")


def _no_string(before: str, rest: str) -> Fault | None:
    """`G5-7`: a fret after a hold."""
    if not (rest[0].isdigit() and before.endswith("-")):
        return None
    fret = re.match(r"\d+", rest)
    message = f"fret {fret[0] if fret else rest[0]} has no string"
    return _here(before, message, "a note is a string and a fret, and `-` holds it: `B8-`")


def _no_fret(before: str, rest: str) -> Fault | None:
    """`G`, `e5&B`: a string alone; in `GX` and `GH9` what follows is a sign in capitals."""
    large = rest[0] == "X" or (rest[0] in _LARGE and rest[1:2].isdigit())
    if large or not re.search(rf"(?:^|[&-])[{_STRINGS}]\Z", before):
        return None
    cut, string = len(before), before[-1]
    hint = f"a note is a string and a fret: `{string}7`"
    return Fault(rules.UNREADABLE, cut - 1, cut, f"string {string} has no fret here", hint)


def _to_nowhere(before: str, rest: str) -> Fault | None:
    """`G5h`: a sign of connection without the fret that it goes to."""
    char = rest[0]
    if char not in "hpt/\\" and (char.isdigit() or not before.endswith(("h", "p", "t"))):
        return None
    hint = f"write them together, `{char}9`, after a note of the same string"
    return _here(before, f"`{char}` needs the fret that it goes to", hint)


def _capital(before: str, rest: str) -> Fault | None:
    """`G5H7`: a sign in capitals. An H may be the German B, except after a string, where it can only be a hammer-on."""
    char, named = rest[0], before.endswith(tuple(_STRINGS))
    if char not in _LARGE or not (before or rest[1:2].isdigit()) or (char == "H" and not named):
        return None
    return _here(before, f"`{char}` is a small letter", f"write `{_LARGE[char]}{rest[1:4]}`", _LARGE[char])


def _slid(before: str, rest: str) -> Fault | None:
    """`G5s7`: a slide by its letter."""
    slide, came = re.match(r"s(\d{1,2})", rest), re.search(r"(\d{1,2})$", before)
    if slide is None or came is None:
        return None
    sign = "/" if int(slide[1]) > int(came[1]) else "\\"
    return _here(before, _HABITS["s"][0], f"write `{before[-12:]}{sign}{slide[1]}`")


def _pinched(before: str, rest: str) -> Fault | None:
    """`*G7`: the sign of a pinch harmonic before its note."""
    star = None if before else re.match(r"\*((?:[EADGBe]|\d{1,2}:)\d{1,2})", rest)
    return star and _here(before, _HABITS["*"][0], f"write `{star[1]}*`")


def _habit(before: str, rest: str) -> Fault | None:
    """`G5v`: a sign of other tab."""
    if rest[0] not in _HABITS or not before:
        return None
    what, right = _HABITS[rest[0]]
    return _here(before, what, f"write `{before}{right}`" if len(right) == 1 else f"write `{right}`")


def _wrong_string(before: str, rest: str) -> Fault | None:
    """`F5`, `e5&F5`: a letter that names no string."""
    cut = len(before)
    return _string(rest, cut) or (_string(rest[1:], cut + 1) if rest[0] == "&" else None)


def _string(rest: str, cut: int) -> Fault | None:
    """A letter that names no string."""
    match = re.match(r"([A-Za-z])(\d+|x)", rest)
    if not match:
        return None
    letter, fret = match.groups()
    if letter == "H":
        return habits.german_string(fret, cut)
    if letter.upper() in _STRINGS:
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


def _plain(before: str, rest: str) -> Fault:
    """Return the fault of what is none of the cases."""
    shown = rest if len(rest) <= 12 else rest[:12] + "…"
    if not before:
        return Fault(
            rules.UNREADABLE,
            0,
            len(rest),
            f"`{shown}` is neither a note nor a sign",
            "a note is a string and a fret, such as `B8`; `-` holds, `.` rests",
        )
    hint = "what belongs to one note touches; the next note follows after a space"
    return _here(before, f"`{rest[0]}` cannot follow `{before[-12:]}`", hint)


# In this order: a case may rely on those before it.
_CASES: tuple[Callable[[str, str], Fault | None], ...] = (
    _rest, _harmonic, _bent, _no_string, _no_fret, _to_nowhere, _capital, _slid, _pinched, _habit, _wrong_string,
)  # fmt: skip
