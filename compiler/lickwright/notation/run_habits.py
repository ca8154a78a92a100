"""Runs that are one thing of another way of writing: a chord, a pitch, a rest, a word without its parentheses.

In: a run that cannot be read. Out: a `Fault` with the notation's own way, or None.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.core.diagnostics import Rule
from lickwright.notation import rules
from lickwright.notation.fault import Fault
from lickwright.notation.habits import PHRASES, plain_phrase
from lickwright.notation.techniques import EVENT_WORDS, WORDS

_CHORD = re.compile(
    r"(?:[A-G][#b]?(?:m|min|maj|dim|aug|sus|add)[0-9]*(?:sus[24]?|add[0-9]+|b5|#5|\(maj7\))*"
    r"|[A-G][#b](?:5|6|7|9|11|13)?|[CF][0-9]{1,2})(?:/[A-G][#b]?)?"
)
_SHORT_PHRASES = ("lr", "palm", "tr", "arp")  # too short to be sure of without a parenthesis before them
_SYLLABLES = {"mi": "e", "la": "A", "re": "D", "sol": "G", "si": "B"}
_RESTS = {
    ",": "; a short note is `G7,`",
    "r": "; a release is `-r`",
    "*": "; a pinch harmonic is `G7*`",
    "z": "",
    "R": "",
    "0": "",
}


def run_habit(run: str) -> Fault | None:
    """Return what is wrong with a run that is one thing of another way of writing; None for any other."""
    return next((fault for case in _CASES if (fault := case(run))), None)


def _phrase(run: str) -> Fault | None:
    """`letring`, `P.M.`, `pm`: a word without its parentheses."""
    name = plain_phrase(run)
    in_letters = run.rstrip(":.").isalpha() or "." in run
    word = PHRASES.get(name) if in_letters and name not in _SHORT_PHRASES else None
    word = word or (name if name in WORDS or name in EVENT_WORDS else None)
    if word is None:
        return None
    return _whole(rules.WORD, run, f"`{run}` has no parentheses round its notes", f"write `({word}: …)`")


def _dynamic(run: str) -> Fault | None:
    if run not in ("pp", "p", "mp", "mf", "f", "ff"):
        return None
    return _whole(rules.DIRECTION, run, f"`{run}` without its `@`", f"write `@{run}`")


def _times(run: str) -> Fault | None:
    if not re.fullmatch(r"x\d{1,4}", run):
        return None
    hint = f"a repeat is `|: … :|{run}`; a dead note is `Gx`"
    return _whole(rules.REPEAT, run, f"`{run}` does not follow a repeat sign", hint)


def _amount(run: str) -> Fault | None:
    if run not in ("full", "half", "quarter", "bend"):
        return None
    return _unread(run, f"`{run}` stands apart from its note", "a bend touches its note: `B8^full`")


def _arrow(run: str) -> Fault | None:
    if run not in (">", "->", "-->", "<", "<-"):
        return None
    return _unread(run, f"`{run}` is not a sign", "a slide is `/` up or `\\` down: `G7/9`")


def _syllable(run: str) -> Fault | None:
    """`mi7`: a string by its syllable."""
    note = re.fullmatch(r"(do|re|mi|fa|sol|la|si)(\d{1,2})", run, re.IGNORECASE)
    if note is None:
        return None
    letter = _SYLLABLES.get(note[1].lower())
    thick = f" or `E{note[2]}`" if letter == "e" else ""
    hint = f"write `{letter}{note[2]}`{thick}" if letter else "the strings are E A D G B e"
    return Fault(rules.STRING, 0, len(note[1]), f"there is no string `{note[1]}`", hint)


def _hold(run: str) -> Fault | None:
    if run not in ("_", "__", "___", "="):
        return None
    ring = "; `=`, let ring, touches its note: `G7=`" if run == "=" else ""
    return _unread(run, f"`{run}` holds nothing", f"a hold is `-`{ring}")


def _rest(run: str) -> Fault | None:
    if run not in _RESTS:
        return None
    return _whole(rules.REST, run, f"`{run}` is not a rest", f"a step of silence is `.`{_RESTS[run]}")


def _dead(run: str) -> Fault | None:
    if not re.fullmatch(r"[xX]{1,2}", run):
        return None
    return _unread(run, f"`{run}` names no string", "a dead note is `Gx`")


def _vibrato(run: str) -> Fault | None:
    if not re.fullmatch(r"~{3,}", run):
        return None
    return _unread(run, "vibrato is `~`, wide vibrato `~~`", "it touches its note or a hold: `G7~`, `-~`")


def _note_value(run: str) -> Fault | None:
    """`q.`, `1/8T`: a note value by its letter, a triplet by its T."""
    if not re.fullmatch(r"[wq]\.?|1/\d+[tT]", run):
        return None
    value, triplet = "a note value alone sets the step: `1/4 G7`", "three steps in the time of two are `3[…]`"
    return _whole(rules.VALUE, run, f"`{run}` is not a note value", triplet if run[0] == "1" else value)


def _pitch(run: str) -> Fault | None:
    if not re.fullmatch(r"[A-G](?:#|b)\d", run):
        return None
    return _whole(rules.STRING, run, f"`{run}` is a pitch, not a string and a fret", "say where it is played: `B8`")


def _chord(run: str) -> Fault | None:
    if not _CHORD.fullmatch(run):
        return None
    message = f"`{run}` looks like a chord, not a string and a fret"
    return _whole(rules.STRING, run, message, f"chords stand above the music: `chords {run}`")


def _harmonic(run: str) -> Fault | None:
    if not re.fullmatch(r"<\d{1,2}>", run):
        return None
    return _unread(run, f"`{run}` has no string", f"a harmonic is a string and a place to touch: `G{run}`")


def _whole(rule: Rule, run: str, message: str, hint: str) -> Fault:
    return Fault(rule, 0, len(run), message, hint)


def _unread(run: str, message: str, hint: str) -> Fault:
    return _whole(rules.UNREADABLE, run, message, hint)


# In this order: a case may rely on those before it.
_CASES: tuple[Callable[[str], Fault | None], ...] = (
    _phrase, _dynamic, _times, _amount, _arrow, _syllable, _hold, _rest, _dead, _vibrato, _note_value, _pitch, _chord, _harmonic,
)  # fmt: skip
