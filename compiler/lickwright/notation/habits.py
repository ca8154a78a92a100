"""Words and amounts that people bring along from other tab, from print and from other countries, and what they are here.

In: a run that cannot be read, or a phrase after `(` or `@`. Out: the notation's own way, or None. Nothing here is applied by itself: what a
habit means is likely, not sure. Whole runs are `run_habits.py`'s, signs within them `sign_habits.py`'s.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from lickwright.notation import rules
from lickwright.notation.fault import Fault, unreadable_rule
from lickwright.notation.techniques import EVENT_WORDS, WORDS

FULL = ("step", "whole", "tone", "1step", "wholestep", "wholetone", "fullstep", "fulltone", "ganz", "ton")
HALF = ("halfstep", "halftone", "semitone", "semi", "halb", "demi")
QUARTER = ("quarterstep", "quartertone", "quartersteps", "curl")
_AMOUNTS = {**dict.fromkeys(FULL, "full"), **dict.fromkeys(HALF, "half"), **dict.fromkeys(QUARTER, "quarter")}
_STEPS = {
    "1/2": 0.5,
    "½": 0.5,
    "1/4": 0.25,
    "¼": 0.25,
    "3/4": 0.75,
    "1": 1.0,
    "1½": 1.5,
    "3/2": 1.5,
    "1.5": 1.5,
    "2": 2.0,
}

# What is written after `(`, without spaces, dots and capitals → the word of the notation, or how it is written here.
PHRASES = {
    "letring": "ring", "lr": "ring", "palmmute": "pm", "palmmuted": "pm", "palm": "pm", "pm": "pm", "tr": "trill",
    "trem": "tremolo", "tremolopicking": "tremolo", "upstroke": "up", "downstroke": "down", "gracenote": "grace",
    "gracenotes": "grace", "acciaccatura": "grace", "arpeggio": "roll", "arp": "roll", "strum": "roll",
    "pickscrape": "scrape", "pickslide": "scrape", "volumeswell": "swell",
}  # fmt: skip
_SURE = ("letring", "palmmute", "pm")  # said by everybody, and of one thing only
_SIGNS = {
    **dict.fromkeys(("vibrato", "vib"), "vibrato is `~` on the note: `G7~`"),
    **dict.fromkeys(("bend", "bu"), "a bend is `^` on the note: `B8^full`"),
    **dict.fromkeys(("release", "bd"), "a release is `-r` after the bend: `B8^10 -r`"),
    **dict.fromkeys(("tap", "tapping"), "a tap is `t`: `G5t12`, from nowhere `tG12`"),
    **dict.fromkeys(("slide", "sl", "gliss", "glissando"), "a slide is `/` up or `\\` down: `G7/9`"),
    **dict.fromkeys(("hammer", "hammeron", "ho"), "a hammer-on is `h`: `G5h7`"),
    **dict.fromkeys(("pulloff", "po"), "a pull-off is `p`: `G7p5`"),
    **dict.fromkeys(("ghost", "ghostnote"), "a ghost note is `G7?`"),
    **dict.fromkeys(("harm", "harmonic", "nh"), "a natural harmonic is `G<12>`"),
    **dict.fromkeys(("ph", "pinch", "pinchharmonic"), "a pinch harmonic is `G7*`"),
    **dict.fromkeys(("mute", "muted", "dead"), "a dead note is `Gx`; for a palm mute write `(pm: …)`"),
    **dict.fromkeys(("accent", "staccato"), "an accent is `G7!`, a short note `G7,`"),
    **dict.fromkeys(("bar", "whammy", "vibratobar"), "the bar's words are `(dip: …)`, `(dive: …)` and `(scoop: …)`"),
}  # fmt: skip
_LOUDNESS = {
    "forte": "f", "loud": "f", "piano": "p", "soft": "p", "quiet": "p", "mezzoforte": "mf", "mezzopiano": "mp",
    "fortissimo": "ff", "pianissimo": "pp",
}  # fmt: skip
_NAVIGATION = {
    "fine": "fine", "segno": "segno", "coda": "coda", "tocoda": "to-coda", "dc": "dc", "ds": "ds", "dacapo": "dc",
    "dalsegno": "ds", "dcalfine": "dc-al-fine", "dsalfine": "ds-al-fine", "dcalcoda": "dc-al-coda", "dsalcoda": "ds-al-coda",
    "dacapoalfine": "dc-al-fine", "dacapoalcoda": "dc-al-coda", "dalsegnoalfine": "ds-al-fine", "dalsegnoalcoda": "ds-al-coda",
}  # fmt: skip
_PRINTED = {"𝄋": "segno", "𝄌": "coda"}


def plain_phrase(text: str) -> str:
    """Return a phrase without what people write differently: capitals, dots, spaces, hyphens."""
    return re.sub(r"[^a-z0-9]", "", text.lower())


def bracketed_phrase(text: str, at: int) -> tuple[str, str | None, int] | None:
    """Return what the words after a `(` at `at` mean here: a hint, the notation's word where that is sure, and where they end."""
    found = None
    for length in range(1, 4):
        match = re.compile(rf"[ \t]*((?:[A-Za-z][A-Za-z.]*[ \t-]+){{{length - 1}}}[A-Za-z][A-Za-z.]*)[ \t]*(:?)").match(
            text, at + 1
        )
        if match is None:
            break
        name = plain_phrase(match[1])
        word = PHRASES.get(name) or (name if name in WORDS or name in EVENT_WORDS else None)
        if word or name in _SIGNS:
            sure = word if name in _SURE and match[2] else None
            found = (f"write `({word}: …)`" if word else _SIGNS[name], sure, match.end())
    return found


def loudness_sign(name: str) -> str | None:
    """Return the sign of a loudness in words, `f` for `forte`; None for what is none."""
    return _LOUDNESS.get(plain_phrase(name))


def navigation_phrase(text: str) -> tuple[str, int] | None:
    """Return the notation's sign for `D.C. al Fine` and its like at the start of `text`, and how long the phrase is; None where there is none."""
    if text[:1] in _PRINTED:
        return _PRINTED[text[0]], 1
    run = re.match(r"[^ \t\n|]+", text)
    if run and (sign := _NAVIGATION.get(plain_phrase(run[0]))) and not run[0].isspace():
        longer = re.match(r"[ \t]+al[ \t]+(?:fine|coda)(?![a-z0-9])\.?", text[run.end() :], re.IGNORECASE)
        whole = run[0] + (longer[0] if longer else "")
        return _NAVIGATION.get(plain_phrase(whole), sign), len(whole)
    match = re.match(
        r"(?:to[ \t]+coda|(?:d\.?[ \t]?[cs]\.?|da[ \t]capo|dal[ \t]segno)(?:[ \t]+al[ \t]+(?:fine|coda))?|fine|segno|coda)(?![a-z0-9])\.?",
        text,
        re.IGNORECASE,
    )
    name = _NAVIGATION.get(plain_phrase(match[0])) if match else None
    return (name, len(match[0])) if match and name else None


def bend_habit(run: str) -> Fault | None:
    """Return the fault of a bend whose amount is said otherwise: `B8^step`, `B8^1/2`, `B8full`, `B8^+2`, `B8pb10`; None where there is none."""
    return next((fault for case in _BENDS if (fault := case(run))), None)


def _bend_by_word(run: str) -> Fault | None:
    word = re.search(
        r"\^\^?((?:quarter|half|whole|full|semi|[a-z0-9])?[-_]?(?:steps?|tones?)|whole|semi|ganz|halb|ton|demi|curl)(?![a-z])",
        run,
    )
    if word is None:
        return None
    name = plain_phrase(word[1])
    amount = _AMOUNTS.get(name.removesuffix("s")) or _AMOUNTS.get(name)
    other = "a whole step is `^full`; else write the fret whose pitch it reaches: `^11`"
    return _amount(word.start(1), word.end(1), word[1], f"write `^{amount}`" if amount else other)


def _bend_without_sign(run: str) -> Fault | None:
    bare = re.search(r"(?<=\d)(b?)(full|half|quarter)", run)
    if bare is None:
        return None
    message = f"`{bare[0]}` without its `^`"
    return unreadable_rule(bare.start(), bare.end(), message, f"write `{run[: bare.start()][-6:]}^{bare[2]}`")


def _prebend_by_letters(run: str) -> Fault | None:
    pre = re.search(r"(\d)(pb)(\d{1,2})", run)
    if pre is None:
        return None
    hint = f"write `{run[: pre.start(2)][-6:]}^^{pre[3]}`"
    return unreadable_rule(pre.start(2), pre.end(2), "`pb` is not a sign: a pre-bend is `^^`", hint)


def _bend_by_frets(run: str) -> Fault | None:
    plus = re.search(r"\^\+(\d)", run)
    fret = re.search(r"(\d{1,2})\^\+", run)
    if plus is None or fret is None:
        return None
    reached = int(fret[1]) + int(plus[1])
    hint = f"the number is the fret whose pitch it reaches: {plus[1]} frets above {fret[1]} is `^{reached}`"
    return _amount(plus.start() + 1, plus.end(), plus[0][1:], hint)


def _bend_by_steps(run: str) -> Fault | None:
    steps = re.search(r"\^(\d+/\d+|\d*[½¼]|\d+ ?steps?|1\.5(?!\d))", run)
    if steps is None:
        return None
    return _amount(steps.start(1), steps.end(1), steps[1], _in_steps(run[: steps.start()], steps[1]))


# In this order: a case may rely on those before it.
_BENDS: tuple[Callable[[str], Fault | None], ...] = (
    _bend_by_word, _bend_without_sign, _prebend_by_letters, _bend_by_frets, _bend_by_steps,
)  # fmt: skip


def _amount(start: int, end: int, amount: str, hint: str) -> Fault:
    return unreadable_rule(
        start, end, f"a bend goes to a fret's pitch or by quarter, half or full, not `{amount}`", hint
    )


def _in_steps(before: str, amount: str) -> str:
    """Return how the amount of a bend, in whole steps, is written after the note that stands before it."""
    steps = _STEPS.get(re.sub(r" ?steps?$", "", amount))
    names = {0.25: "quarter", 0.5: "half", 1.0: "full"}
    if steps in names:
        return f"write `^{names[steps]}`"
    fret = re.search(r"(\d{1,2})$", before)
    if steps is None or fret is None:
        return "three half steps above 8 is `^11`"
    reached = int(fret[1]) + steps * 2
    return f"{steps:g} whole steps above {fret[1]} is `^{reached:g}`"


def german_string(fret: str, start: int) -> Fault:
    """Return the fault of `H8`: the B string, as German and Nordic books call it, or a hammer-on. Nothing is changed, since it may be either."""
    other = f"; a hammer-on is small, `h{fret}`" if fret != "x" else ""
    hint = f"`B{fret}`, if it is the string that German and Nordic books call H{other}"
    return Fault(rules.STRING, start, start + 1, "there is no string `H`", hint)
