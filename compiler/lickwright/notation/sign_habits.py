"""Signs within a run that mean something in another way of writing.

In: a run that cannot be read. Out: a `Fault` with the notation's own way, or None.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.notation.fault import Fault, unreadable_rule


def sign_habit(run: str) -> Fault | None:
    """Return what is wrong with the first sign of another way of writing; None where there is none."""
    return next((fault for case in _CASES if (fault := case(run))), None)


def _drawn_tab(run: str) -> Fault | None:
    """`-5-7h8-`: frets of a drawn line of tab."""
    if not re.fullmatch(r"-*\d{1,2}(?:[-hp/\\b~]+\d{1,2})+-*", run):
        return None
    message = f"`{run[:12]}` names frets without their strings"
    return unreadable_rule(0, len(run), message, "each note names its string: `e8 e5 B8`")


def _long_hold(run: str) -> Fault | None:
    """`E--`: a string that goes on for several steps at once."""
    held = re.fullmatch(r"([EADGBe])--+", run)
    if held is None:
        return None
    hint = f"a string goes on for one step at a time: `{held[1]}- -`; a scrape's holds follow it: `(scrape: {held[1]}){run[1:]}`"
    return unreadable_rule(2, len(run), f"`{run}` has no fret", hint)


def _split_note(run: str) -> Fault | None:
    """`e:5`: a sign between a string and its fret."""
    split = re.match(r"([EADGBeadgb])([-:_])(\d{1,2})(?!\d)", run)
    if split is None:
        return None
    letter = split[1] if split[1] == "e" else split[1].upper()
    hint = f"string {letter}, fret {split[3]} is `{letter}{split[3]}`"
    return unreadable_rule(1, 2, f"`{split[2]}` stands between a string and its fret", hint)


def _mark_first(run: str) -> Fault | None:
    """`!G7`: a mark before its note."""
    first = re.match(r"([!?,>~=])((?:[EADGBe]|\d{1,2}:)\d{1,2})", run)
    if first is None:
        return None
    sign = "!" if first[1] == ">" else first[1]
    hint = f"what is done to a note follows it: `{first[2]}{sign}`"
    return unreadable_rule(0, 1, f"`{first[1]}` stands before its note", hint)


def _joined(run: str) -> Fault | None:
    """`G5+B5`: notes together."""
    both = re.search(r"((?:[EADGBe]|\d{1,2}:)\d{1,2})([+_])((?:[EADGBe]|\d{1,2}:)\d{1,2})", run)
    if both is None:
        return None
    at = both.start(2)
    return unreadable_rule(at, at + 1, "notes together are joined by `&`", f"write `{both[1]}&{both[3]}`")


def _onwards(run: str) -> Fault | None:
    """`G5hG7`, `G7>9`, `G7-9`: on to another fret of the same string, or two frets of a line of tab."""
    match = re.search(r"([EADGBe])(\d{1,2})(?:([hpt/\\])\1|(--?>|>|sl|-)(?=\d))(\d{1,2})", run)
    if match is None:
        return None
    string, old, join, arrow, new = match.groups()
    at = match.end(2)
    if join:
        return unreadable_rule(
            at, at + 2, f"the string is named once: `{join}` goes on from it", f"write `{string}{old}{join}{new}`"
        )
    slide = f"`{string}{old}{'/' if int(new) > int(old) else chr(92)}{new}`"
    if arrow == "-":
        return unreadable_rule(
            at,
            at + 1,
            f"fret {new} has no string",
            f"one after the other is `{string}{old} {string}{new}`, a slide {slide}",
        )
    return unreadable_rule(
        at, at + len(arrow), f"`{arrow}` is not a sign: a slide is `/` up or `\\` down", f"write {slide}"
    )


def _trill(run: str) -> Fault | None:
    """`G5tr7`: a trill."""
    trill = re.search(r"([EADGBe])(\d{1,2})tr(\d{1,2})", run)
    if trill is None:
        return None
    at, hint = trill.end(2), f"write `(trill: {trill[1]}{trill[2]}h{trill[3]})`"
    return unreadable_rule(at, at + 2, "`tr` is not a sign: a trill is a word", hint)


def _vibrato(run: str) -> Fault | None:
    at = run.find("~~~")
    if at < 0:
        return None
    hint = "each touches its note once: `G7~`, `G7~~`"
    return unreadable_rule(at, at + 3, "vibrato is `~`, wide vibrato `~~`", hint)


def _harmonic(run: str) -> Fault | None:
    """`G12harm`; one whose string is a small letter is another fault."""
    found = re.search(r"([EADGBe])(\d{1,2})(harm|nh|n\.h\.)", run, re.IGNORECASE)
    if found is None or found[1] not in "EADGBe":
        return None
    message = f"`{found[3]}` is not a sign: a natural harmonic has `<>`"
    return unreadable_rule(found.start(3), found.end(3), message, f"write `{found[1]}<{found[2]}>`")


def _finger(run: str) -> Fault | None:
    """`G7T`, `e8'P`: a finger without its sign, or in capitals."""
    finger = re.search(r"(?<=\d)(T|P|I|M)(?!\d)|'(P|I|M|A|C)", run)
    if finger is None:
        return None
    letter = finger[1] or finger[2]
    right = f"'{letter if letter == 'T' else letter.lower()}"
    hint = f"write `{run[: finger.start()][-6:]}{right}`"
    return unreadable_rule(finger.start(), finger.end(), f"a finger is written `{right}`", hint)


def _separator(run: str) -> Fault | None:
    """`G7;`: a note set apart by a sign."""
    if len(run) < 2 or not run.endswith((";", "}")):
        return None
    hint = "notes are set apart by spaces alone"
    return unreadable_rule(len(run) - 1, len(run), f"`{run[-1]}` is not a sign", hint)


# In this order: a case may rely on those before it.
_CASES: tuple[Callable[[str], Fault | None], ...] = (
    _drawn_tab, _long_hold, _split_note, _mark_first, _joined, _onwards, _trill, _vibrato, _harmonic, _finger, _separator,
)  # fmt: skip
