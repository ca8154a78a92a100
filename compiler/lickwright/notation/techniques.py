"""The table of techniques: one row each, with the features that every later stage reads.

Nothing here knows about files, bars or time. Later stages look at a row's features and never at its name, so that a new technique is one row
here and one sample. Rake, grace, roll, trill and scrape are kinds of event (`EVENT_WORDS`), not rows.
"""

from __future__ import annotations

from enum import StrEnum

from lickwright.core.fast_dataclass import record


class TechniqueKind(StrEnum):
    """Where a technique's sign stands."""

    JOIN = "join"  # before a fret, after a note of the same string: `h7`
    ENTRY = "entry"  # before a string letter: `/G7`
    HEAD = "head"  # in place of or after the fret: `Gx`, `G<12>`, `G7*`
    SHAPE = "shape"  # after a note or hold, bends its pitch inside the step: `^10`
    MARK = "mark"  # after a note, how it sounds: `!`
    WORD = "word"  # a word in parentheses round events: `(pm: …)`


class Curve(StrEnum):
    """What the pitch does."""

    NONE = "none"
    BEND = "bend"  # up to a target, early in the step
    RELEASE = "release"  # back down
    PREBEND = "pre-bend"  # at its target before the stroke
    VIBRATO = "vibrato"  # wobbles upwards by `amount`
    GLIDE = "glide"  # slides from the note it is joined to
    SLIDE_IN = "slide in"  # from nowhere: from `amount` semitones off
    SLIDE_OFF = "slide off"  # to nowhere: by `amount` semitones
    DIVE = "dive"  # with the bar, down by `amount` over the note
    DIP = "dip"  # down by `amount` and back at once
    SCOOP = "scoop"  # from `amount` below, at once


UPWARD_BENDS = (Curve.BEND, Curve.PREBEND)
BEND_CURVES = (*UPWARD_BENDS, Curve.RELEASE)  # what leaves the string at a pitch of its own


class Damping(StrEnum):
    """What stops the string."""

    NONE = "none"
    PALM = "palm"  # muted at the bridge
    DEAD = "dead"  # damped by the fretting hand: no clear pitch
    SHORT = "short"  # cut off after about half the length
    RING = "ring"  # goes on under what follows


class Stroke(StrEnum):
    """How the string is set going."""

    PICK = "pick"  # struck anew
    HAMMER = "hammer"  # a fretting finger comes down
    PULL = "pull"  # a fretting finger pulls off
    TAP = "tap"  # a finger of the picking hand comes down
    NONE = "none"  # nothing: the string goes on sounding
    SNAP = "snap"  # plucked hard, hits the frets
    SLAP = "slap"  # struck with the thumb
    POP = "pop"  # pulled up and let go
    REPEAT = "repeat"  # struck again and again for the whole length
    SWELL = "swell"  # struck with the volume off, then faded in
    SCRAPE = "scrape"  # the pick's edge along a wound string


@record
class Technique:
    """One row of the table."""

    name: str  # in words, as the timing sheet and legend say it
    kind: TechniqueKind
    sign: str  # as typed; for a word, the word
    stroke: Stroke | None = None  # how the string is set going; None: says nothing about it
    direction: int = 0  # +1: the second note must be higher, -1: lower, 0: either
    curve: Curve = Curve.NONE
    amount: float = 0.0  # semitones; what `curve` says it means
    loudness: float = 1.0  # factor on the loudness of the note
    damping: Damping = Damping.NONE
    tab: str = ""  # the mark on a text tab's string line, with `{}` for a fret where it has one
    above: str = ""  # what the row above a text tab says, where it says anything
    sentence: str = ""  # the legend's explanation


J, E, H, S, M, W = (
    TechniqueKind.JOIN,
    TechniqueKind.ENTRY,
    TechniqueKind.HEAD,
    TechniqueKind.SHAPE,
    TechniqueKind.MARK,
    TechniqueKind.WORD,
)

# name, kind, sign, …: the order is that of the reference page and of the legend.
# fmt: off
TECHNIQUES: tuple[Technique, ...] = (
    Technique("picked", H, "", Stroke.PICK, tab="{}"),
    Technique("hammer-on", J, "h", Stroke.HAMMER, +1, loudness=0.7, tab="h{}", sentence="hammer-on: bring a finger down, don't pick again"),
    Technique("pull-off", J, "p", Stroke.PULL, -1, loudness=0.65, tab="p{}", sentence="pull-off: pull a finger off the string, don't pick again"),
    Technique("slide up", J, "/", Stroke.NONE, +1, Curve.GLIDE, loudness=0.75, tab="/{}", sentence="slide up to this fret, don't pick again"),
    Technique("slide down", J, "\\", Stroke.NONE, -1, Curve.GLIDE, loudness=0.7, tab="\\{}", sentence="slide down to this fret, don't pick again"),
    Technique("slide up and pick", J, "//", Stroke.PICK, +1, Curve.GLIDE, tab="//{}", sentence="slide up to this fret and pick it"),
    Technique("slide down and pick", J, "\\\\", Stroke.PICK, -1, Curve.GLIDE, tab="\\\\{}", sentence="slide down to this fret and pick it"),
    Technique("tapped", J, "t", Stroke.TAP, loudness=0.8, tab="t{}", sentence="tap with a finger of the picking hand"),
    Technique("slide in from below", E, "/", Stroke.PICK, 0, Curve.SLIDE_IN, -2.0, tab="/{}", sentence="slide in from a lower fret"),
    Technique("slide in from above", E, "\\", Stroke.PICK, 0, Curve.SLIDE_IN, 2.0, tab="\\{}", sentence="slide in from a higher fret"),
    Technique("hammered from nowhere", E, "h", Stroke.HAMMER, loudness=0.6, tab="h{}", sentence="hammer-on from nowhere: bring a finger down, don't pick"),
    Technique("tapped", E, "t", Stroke.TAP, loudness=0.8, tab="t{}", sentence="tap with a finger of the picking hand"),
    Technique("dead note", H, "x", None, loudness=0.8, damping=Damping.DEAD, tab="x", sentence="dead note: mute the string and pick it, no pitch"),
    Technique("natural harmonic", H, "<>", None, loudness=0.9, tab="<{}>", sentence="natural harmonic: touch the string over this fret"),
    Technique("artificial harmonic", H, "n<>", None, loudness=0.9, tab="{}<{}>", sentence="artificial harmonic: fret the first, touch or tap over the second"),
    Technique("pinch harmonic", H, "*", None, loudness=1.05, tab="{}*", sentence="pinch harmonic: the thumb catches the string as you pick"),
    Technique("bend", S, "^", curve=Curve.BEND, tab="b{}", sentence="bend up to the pitch of this fret, by the amount above"),
    Technique("quarter-step bend", S, "^", curve=Curve.BEND, amount=0.5, tab="b", above="1/4", sentence="bend up by the amount above, to a pitch between two frets"),
    Technique("pre-bend", S, "^^", curve=Curve.PREBEND, tab="pb{}", sentence="pre-bend: bend first, then pick"),
    Technique("release", S, "r", curve=Curve.RELEASE, tab="r{}", sentence="release the bend to the pitch of this fret"),
    Technique("vibrato", S, "~", curve=Curve.VIBRATO, amount=0.35, tab="~", sentence="vibrato"),
    Technique("wide vibrato", S, "~~", curve=Curve.VIBRATO, amount=0.7, tab="~~", sentence="wide vibrato"),
    Technique("slide off upwards", S, "/", curve=Curve.SLIDE_OFF, amount=3.0, tab="/", sentence="slide off up the neck"),
    Technique("slide off downwards", S, "\\", curve=Curve.SLIDE_OFF, amount=-4.0, tab="\\", sentence="slide off down the neck"),
    Technique("accent", M, "!", loudness=1.3, above=">", sentence="accent: louder"),
    Technique("ghost note", M, "?", loudness=0.45, tab="({})", above="g", sentence="ghost note: barely sounded"),
    Technique("short", M, ",", damping=Damping.SHORT, above=".", sentence="short: cut off at once"),
    Technique("let ring", M, "=", damping=Damping.RING, above="ring", sentence="let it ring until its string is played again"),
    Technique("palm mute", W, "pm", loudness=0.85, damping=Damping.PALM, above="PM", sentence="palm mute: the picking hand rests on the strings at the bridge"),
    Technique("let ring", W, "ring", damping=Damping.RING, above="let ring", sentence="each string rings until it is played again"),
    Technique("up-stroke", W, "up", above="U", sentence="up-stroke"),
    Technique("down-stroke", W, "down", above="D", sentence="down-stroke"),
    Technique("snapped", W, "snap", Stroke.SNAP, loudness=1.3, above="snap", sentence="pull the string so hard that it slaps back on the frets"),
    Technique("slap", W, "slap", Stroke.SLAP, loudness=1.15, above="S", sentence="slap: hit the string with the thumb"),
    Technique("pop", W, "pop", Stroke.POP, loudness=1.2, above="P", sentence="pop: pull the string up with a finger and let it snap back"),
    Technique("tremolo picking", W, "tremolo", Stroke.REPEAT, loudness=0.9, above="trem.", sentence="tremolo picking: pick the note again and again, fast"),
    Technique("dive", W, "dive", curve=Curve.DIVE, amount=-12.0, above="dive", sentence="with the bar, down and away"),
    Technique("dip", W, "dip", curve=Curve.DIP, amount=-1.0, above="dip", sentence="with the bar, down and back"),
    Technique("scoop", W, "scoop", curve=Curve.SCOOP, amount=-1.0, above="scoop", sentence="with the bar, up from below"),
    Technique("swell", W, "swell", Stroke.SWELL, above="swell", sentence="fade the note in with the volume"),
    Technique("held bend", S, "", curve=Curve.PREBEND, sentence="the bend under it is held: it sounds that much higher"),
)
# fmt: on

# Words whose events are of a kind of their own.
EVENT_WORDS: tuple[str, ...] = ("grace", "rake", "trill", "roll", "scrape")


def _rows(kind: TechniqueKind) -> dict[str, Technique]:
    return {t.sign: t for t in TECHNIQUES if t.kind is kind and t.name not in ("quarter-step bend", "held bend")}


JOINS, ENTRIES, HEADS, SHAPES, MARKS, WORDS = (_rows(k) for k in TechniqueKind)
PICKED = HEADS[""]
QUARTER_BEND = next(t for t in TECHNIQUES if t.name == "quarter-step bend")
HELD_BEND = next(t for t in TECHNIQUES if t.name == "held bend")  # never written: what a tap over a bent string has
