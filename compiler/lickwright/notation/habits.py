"""Ways of writing that people bring along from other tab, from print and from other countries, and what they are here.

In: a run that cannot be read, or a phrase after `(`. Out: the fault with the notation's own way, or None. Nothing here is
applied by itself: what a habit means is likely, not sure.
"""

from __future__ import annotations

import re

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
_PHRASES = {
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
_ROADS = {
    "fine": "fine", "segno": "segno", "coda": "coda", "tocoda": "to-coda", "dc": "dc", "ds": "ds", "dacapo": "dc",
    "dalsegno": "ds", "dcalfine": "dc-al-fine", "dsalfine": "ds-al-fine", "dcalcoda": "dc-al-coda", "dsalcoda": "ds-al-coda",
    "dacapoalfine": "dc-al-fine", "dacapoalcoda": "dc-al-coda", "dalsegnoalfine": "ds-al-fine", "dalsegnoalcoda": "ds-al-coda",
}  # fmt: skip
_PRINTED = {"𝄋": "segno", "𝄌": "coda"}
_CHORD = re.compile(
    r"(?:[A-G][#b]?(?:m|min|maj|dim|aug|sus|add)[0-9]*(?:sus[24]?|add[0-9]+|b5|#5|\(maj7\))*"
    r"|[A-G][#b](?:5|6|7|9|11|13)?|[CF][0-9]{1,2})(?:/[A-G][#b]?)?"
)


def plain(text: str) -> str:
    """A phrase without what people write differently: capitals, dots, spaces, hyphens."""
    return re.sub(r"[^a-z0-9]", "", text.lower())


def bracketed(text: str, at: int) -> tuple[str, str | None, int] | None:
    """What the words after a `(` at `at` mean here: help, the notation's word where that is sure, and where they end."""
    found = None
    for length in range(1, 4):
        match = re.compile(rf"[ \t]*((?:[A-Za-z][A-Za-z.]*[ \t-]+){{{length - 1}}}[A-Za-z][A-Za-z.]*)[ \t]*(:?)").match(
            text, at + 1
        )
        if match is None:
            break
        name = plain(match[1])
        word = _PHRASES.get(name) or (name if name in WORDS or name in EVENT_WORDS else None)
        if word or name in _SIGNS:
            sure = word if name in _SURE and match[2] else None
            found = (f"write `({word}: …)`" if word else _SIGNS[name], sure, match.end())
    return found


def loudness(name: str) -> str | None:
    """`forte` → `f`."""
    return _LOUDNESS.get(plain(name))


def road(text: str) -> tuple[str, int] | None:
    """`D.C. al Fine`, as print has it at the start of `text` → the notation's sign for it, and how long the phrase is."""
    if text[:1] in _PRINTED:
        return _PRINTED[text[0]], 1
    run = re.match(r"[^ \t\n|]+", text)
    if run and (sign := _ROADS.get(plain(run[0]))) and not run[0].isspace():
        longer = re.match(r"[ \t]+al[ \t]+(?:fine|coda)(?![a-z0-9])\.?", text[run.end() :], re.IGNORECASE)
        whole = run[0] + (longer[0] if longer else "")
        return _ROADS.get(plain(whole), sign), len(whole)
    match = re.match(
        r"(?:to[ \t]+coda|(?:d\.?[ \t]?[cs]\.?|da[ \t]capo|dal[ \t]segno)(?:[ \t]+al[ \t]+(?:fine|coda))?|fine|segno|coda)(?![a-z0-9])\.?",
        text,
        re.IGNORECASE,
    )
    name = _ROADS.get(plain(match[0])) if match else None
    return (name, len(match[0])) if match and name else None


def bend(run: str) -> Fault | None:
    """How far a bend goes, said otherwise: `B8^step`, `B8^1/2`, `B8full`, `B8^+2`, `B8pb10`."""
    word = re.search(
        r"\^\^?((?:quarter|half|whole|full|semi|[a-z0-9])?[-_]?(?:steps?|tones?)|whole|semi|ganz|halb|ton|demi|curl)(?![a-z])",
        run,
    )
    if word:
        amount = _AMOUNTS.get(plain(word[1]).removesuffix("s")) or _AMOUNTS.get(plain(word[1]))
        hint = (
            f"write `^{amount}`"
            if amount
            else "a whole step is `^full`; else write the fret whose pitch it reaches: `^11`"
        )
        return _amount(word.start(1), word.end(1), word[1], hint)
    bare = re.search(r"(?<=\d)(b?)(full|half|quarter)", run)
    if bare:
        message = f"`{bare[0]}` without its `^`"
        return unreadable_rule(bare.start(), bare.end(), message, f"write `{run[: bare.start()][-6:]}^{bare[2]}`")
    pre = re.search(r"(\d)(pb)(\d{1,2})", run)
    if pre:
        return unreadable_rule(
            pre.start(2),
            pre.end(2),
            "`pb` is not a sign: a pre-bend is `^^`",
            f"write `{run[: pre.start(2)][-6:]}^^{pre[3]}`",
        )
    plus = re.search(r"\^\+(\d)", run)
    fret = re.search(r"(\d{1,2})\^\+", run)
    if plus and fret:
        reached = int(fret[1]) + int(plus[1])
        return _amount(
            plus.start() + 1,
            plus.end(),
            plus[0][1:],
            f"the number is the fret whose pitch it reaches: {plus[1]} frets above {fret[1]} is `^{reached}`",
        )
    steps = re.search(r"\^(\d+/\d+|\d*[½¼]|\d+ ?steps?|1\.5(?!\d))", run)
    return _amount(steps.start(1), steps.end(1), steps[1], _in_steps(run[: steps.start()], steps[1])) if steps else None


def _amount(start: int, end: int, amount: str, hint: str) -> Fault:
    return unreadable_rule(
        start, end, f"a bend goes to a fret's pitch or by quarter, half or full, not `{amount}`", hint
    )


def _in_steps(before: str, amount: str) -> str:
    """How the amount of a bend, in whole steps, is written after the note that stands before it."""
    steps = _STEPS.get(re.sub(r" ?steps?$", "", amount))
    names = {0.25: "quarter", 0.5: "half", 1.0: "full"}
    if steps in names:
        return f"write `^{names[steps]}`"
    fret = re.search(r"(\d{1,2})$", before)
    if steps is None or fret is None:
        return "three half steps above 8 is `^11`"
    reached = int(fret[1]) + steps * 2
    return f"{steps:g} whole steps above {fret[1]} is `^{reached:g}`"


def german(fret: str, start: int) -> Fault:
    """`H8`: the B string, as German and Nordic books call it, or a hammer-on: nobody can tell, so nothing is changed."""
    other = f"; a hammer-on is small, `h{fret}`" if fret != "x" else ""
    hint = f"`B{fret}`, if it is the string that German and Nordic books call H{other}"
    return Fault(rules.STRING, start, start + 1, "there is no string `H`", hint)


def habit_of_run(run: str) -> Fault | None:
    """A run that is one thing of another way of writing."""
    place = (0, len(run))
    word = plain(run)
    if word in _PHRASES and run.rstrip(":.").isalpha() | ("." in run) and word not in ("lr", "palm", "tr", "arp"):
        return Fault(
            rules.WORD, *place, f"`{run}` has no parentheses round its notes", f"write `({_PHRASES[word]}: …)`"
        )
    if word in WORDS or word in EVENT_WORDS:
        return Fault(rules.WORD, *place, f"`{run}` has no parentheses round its notes", f"write `({word}: …)`")
    if run in ("pp", "p", "mp", "mf", "f", "ff"):
        return Fault(rules.SAYING, *place, f"`{run}` without its `@`", f"write `@{run}`")
    if re.fullmatch(r"x\d{1,4}", run):
        return Fault(
            rules.REPEAT,
            *place,
            f"`{run}` does not follow a repeat sign",
            f"a repeat is `|: … :|{run}`; a dead note is `Gx`",
        )
    if run in ("full", "half", "quarter", "bend"):
        return unreadable_rule(*place, f"`{run}` stands apart from its note", "a bend touches its note: `B8^full`")
    if run in (">", "->", "-->", "<", "<-"):
        return unreadable_rule(*place, f"`{run}` is not a sign", "a slide is `/` up or `\\` down: `G7/9`")
    note = re.fullmatch(r"(do|re|mi|fa|sol|la|si)(\d{1,2})", run, re.IGNORECASE)
    if note:
        letter = {"mi": "e", "la": "A", "re": "D", "sol": "G", "si": "B"}.get(note[1].lower())
        thick = f" or `E{note[2]}`" if letter == "e" else ""
        hint = f"write `{letter}{note[2]}`{thick}" if letter else "the strings are E A D G B e"
        return Fault(rules.STRING, 0, len(note[1]), f"there is no string `{note[1]}`", hint)
    if run in ("_", "__", "___", "="):
        return unreadable_rule(
            *place,
            f"`{run}` holds nothing",
            "a hold is `-`" + ("; `=`, let ring, touches its note: `G7=`" if run == "=" else ""),
        )
    if run in ("z", "R", "*", ",", "r", "0"):
        more = {",": "; a short note is `G7,`", "r": "; a release is `-r`", "*": "; a pinch harmonic is `G7*`"}.get(
            run, ""
        )
        return Fault(rules.REST, *place, f"`{run}` is not a rest", f"a step of silence is `.`{more}")
    if re.fullmatch(r"[xX]{1,2}", run):
        return unreadable_rule(*place, f"`{run}` names no string", "a dead note is `Gx`")
    if re.fullmatch(r"~+", run) and len(run) > 2:
        return unreadable_rule(
            *place, "vibrato is `~`, wide vibrato `~~`", "it touches its note or a hold: `G7~`, `-~`"
        )
    if re.fullmatch(r"[wq]\.?", run) or re.fullmatch(r"1/\d+[tT]", run):
        hint = (
            "three steps in the time of two are `3[…]`"
            if run[0] == "1"
            else "a note value alone sets the step: `1/4 G7`"
        )
        return Fault(rules.VALUE, *place, f"`{run}` is not a note value", hint)
    if re.fullmatch(r"[A-G](?:#|b)\d", run):
        return Fault(
            rules.STRING, *place, f"`{run}` is a pitch, not a string and a fret", "say where it is played: `B8`"
        )
    if _CHORD.fullmatch(run):
        return Fault(
            rules.STRING,
            *place,
            f"`{run}` looks like a chord, not a string and a fret",
            f"chords stand above the music: `chords {run}`",
        )
    if run.startswith("<") and re.fullmatch(r"<\d{1,2}>", run):
        return unreadable_rule(
            *place, f"`{run}` has no string", f"a harmonic is a string and a place to touch: `G{run}`"
        )
    return None


def signs(run: str) -> Fault | None:
    """Signs in a run that mean something elsewhere."""
    ascii_tab = re.fullmatch(r"-*\d{1,2}(?:[-hp/\\b~]+\d{1,2})+-*", run)
    if ascii_tab:
        return unreadable_rule(
            0, len(run), f"`{run[:12]}` names frets without their strings", "each note names its string: `e8 e5 B8`"
        )
    held = re.fullmatch(r"([EADGBe])--+", run)
    if held:
        hint = f"a string goes on for one step at a time: `{held[1]}- -`; a scrape's holds follow it: `(scrape: {held[1]}){run[1:]}`"
        return unreadable_rule(2, len(run), f"`{run}` has no fret", hint)
    split = re.match(r"([EADGBeadgb])([-:_])(\d{1,2})(?!\d)", run)
    if split:
        letter = split[1] if split[1] == "e" else split[1].upper()
        hint = f"string {letter}, fret {split[3]} is `{letter}{split[3]}`"
        return unreadable_rule(1, 2, f"`{split[2]}` stands between a string and its fret", hint)
    first = re.match(r"([!?,>~=])((?:[EADGBe]|\d{1,2}:)\d{1,2})", run)
    if first:
        sign = "!" if first[1] == ">" else first[1]
        return unreadable_rule(
            0, 1, f"`{first[1]}` stands before its note", f"what is done to a note follows it: `{first[2]}{sign}`"
        )
    both = re.search(r"((?:[EADGBe]|\d{1,2}:)\d{1,2})([+_])((?:[EADGBe]|\d{1,2}:)\d{1,2})", run)
    if both:
        at = both.start(2)
        return unreadable_rule(at, at + 1, "notes together are joined by `&`", f"write `{both[1]}&{both[3]}`")
    again = re.search(r"([EADGBe])(\d{1,2})(?:([hpt/\\])\1|(--?>|>|sl|-)(?=\d))(\d{1,2})", run)
    if again:
        return _onwards(again)
    trill = re.search(r"([EADGBe])(\d{1,2})tr(\d{1,2})", run)
    if trill:
        at = trill.end(2)
        return unreadable_rule(
            at, at + 2, "`tr` is not a sign: a trill is a word", f"write `(trill: {trill[1]}{trill[2]}h{trill[3]})`"
        )
    if re.search(r"~~~", run):
        at = run.index("~~~")
        return unreadable_rule(
            at, at + 3, "vibrato is `~`, wide vibrato `~~`", "each touches its note once: `G7~`, `G7~~`"
        )
    harmonic = re.search(r"([EADGBe])(\d{1,2})(harm|nh|n\.h\.)", run, re.IGNORECASE)
    if harmonic and harmonic[1] in "EADGBe":
        at, hint = harmonic.start(3), f"write `{harmonic[1]}<{harmonic[2]}>`"
        return unreadable_rule(at, harmonic.end(3), f"`{harmonic[3]}` is not a sign: a natural harmonic has `<>`", hint)
    finger = re.search(r"(?<=\d)(T|P|I|M)(?!\d)|'(P|I|M|A|C)", run)
    if finger:
        letter = finger[1] or finger[2]
        right = f"'{letter if letter == 'T' else letter.lower()}"
        return unreadable_rule(
            finger.start(),
            finger.end(),
            f"a finger is written `{right}`",
            f"write `{run[: finger.start()][-6:]}{right}`",
        )
    if run.endswith((";", "}")) and run[:-1]:
        return unreadable_rule(
            len(run) - 1, len(run), f"`{run[-1]}` is not a sign", "notes are set apart by spaces alone"
        )
    return None


def _onwards(match: re.Match[str]) -> Fault:
    """`G5hG7`, `G7>9`, `G7-9`: on to another fret of the same string, or two frets of a line of tab."""
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
