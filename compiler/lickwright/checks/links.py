"""Connected notes (L401–L409): hammer-ons, pull-offs and slides that no hand can make.

In: a sound that is joined to another, or slides in or off. Out: findings. What the technique asks for is read from its
row (stroke, direction, curve). That something must be sounding at all is said by `build_timeline`.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from lickwright.checks.findings import finding_at_slot, finding_at_sound, music_rule, note_as_typed, string_in_words
from lickwright.core.diagnostics import Change, Diagnostic, Fix, RelatedInformation, Rule, Severity
from lickwright.core.source import Span
from lickwright.notation.techniques import Curve, Stroke
from lickwright.notation.tree import Event
from lickwright.notation.tree import Note as Played
from lickwright.timeline.model import SoundingNote, Timeline

_rule = partial(music_rule, "Linked")

HAMMER = _rule(
    "L401", "hammer-on that does not go up",
    "a hammer-on to the same or a lower fret",
    "A hammer-on brings another finger down on the string, so the second note must be higher on the "
    "same string. "
    "Going down, it is a pull-off (p5); the same note again is picked.",
    "G7 h5 - - e8 e5 e8 -", "G5 h7 - - e8 e5 e8 -",
)  # fmt: skip
PULL = _rule(
    "L402", "pull-off that does not go down",
    "a pull-off to the same or a higher fret",
    "A pull-off lifts a finger and lets the note below it sound, so the second note must be lower on the same "
    "string. "
    "Going up, it is a hammer-on (h7).",
    "G5 p7 - - e8 e5 e8 -", "G7 p5 - - e8 e5 e8 -",
)  # fmt: skip
SLIDE = _rule(
    "L403", "slide in the wrong direction",
    "a slide up that ends lower, a slide down that ends higher, or one that goes nowhere",
    r"/ slides up the neck and \ slides down; the fret after it must lie that way from the note before it.",
    "G7 /5 - - e8 e5 e8 -", "G7 \\5 - - e8 e5 e8 -",
)  # fmt: skip
OPEN_SLIDE = _rule(
    "L404", "slide with an open string",
    "a slide from or to an open string",
    "A slide needs a finger on the string all the way. From an open string, a player picks it and slides the "
    "next note in "
    "(G0 /G5); to an open string, the finger pulls off (p0).",
    "G0 /7 - - e8 e5 e8 -", "G0 /G7 - - e8 e5 e8 -", Severity.WARNING,
)  # fmt: skip
NOTHING_HELD = _rule(
    "L405", "nothing held to connect from",
    "a pull-off or slide from a dead note or a natural harmonic, or from a note that has ended",
    "A pull-off and a slide need a note that a finger holds down. On a dead note the string is muted, on "
    "a natural harmonic "
    "it is only touched, and a note that has stopped carries nothing on. A hammer-on can start from nothing (hG7).",
    "Gx p5 - - e8 e5 e8 -", "G7 p5 - - e8 e5 e8 -",
)  # fmt: skip

RULES: tuple[Rule, ...] = (HAMMER, PULL, SLIDE, OPEN_SLIDE, NOTHING_HELD)


def check_join(timeline: Timeline, sound: SoundingNote, before: SoundingNote) -> Iterator[Diagnostic]:
    """Yield what is wrong with a note joined to `before`. Nothing is judged in a bar that holds something unreadable."""
    if not timeline.bars[timeline.slots[sound.slot].bar].sure:
        return
    technique = sound.begin
    there = (RelatedInformation(before.span, "from here"),)
    carries = technique.stroke in (Stroke.PULL, Stroke.NONE) or technique.curve is Curve.GLIDE
    loose = _loose(before, sound)
    if loose:
        if carries:
            yield finding_at_sound(
                NOTHING_HELD, timeline, sound, f"no {_noun(sound)} from {loose}", _afresh(timeline, sound), there
            )
        return
    if sound.fret is None or before.fret is None or before.fret > timeline.settings.frets:
        return
    if technique.direction and (sound.fret - before.fret) * technique.direction <= 0:
        yield _wrong_way(timeline, sound, before.fret, sound.fret, there)
    elif technique.curve is Curve.GLIDE and 0 in (sound.fret, before.fret):
        yield _open_slide(timeline, sound, before.fret, there)


def _noun(sound: SoundingNote) -> str:
    """Return the technique as a noun: "slide", "pull-off"."""
    return "slide" if sound.begin.curve is Curve.GLIDE else sound.begin.name


def _loose(before: SoundingNote, sound: SoundingNote) -> str:
    """Return what is before the join, where no finger holds it; else ""."""
    if before.dead:
        return "a dead note"
    if before.fret is None:
        return "a natural harmonic"
    return "a note that has ended" if before.end < sound.start else ""


def _afresh(timeline: Timeline, sound: SoundingNote) -> str:
    return f"pick it: `{note_as_typed(timeline, sound.string, sound.fret or 0)}`"


def _wrong_way(
    timeline: Timeline, sound: SoundingNote, old: int, new: int, there: tuple[RelatedInformation, ...]
) -> Diagnostic:
    """Return the finding about a connection against its direction, or to the fret that sounds already."""
    technique, slides = sound.begin, sound.begin.curve is Curve.GLIDE
    rule = SLIDE if slides else HAMMER if technique.stroke is Stroke.HAMMER else PULL
    where = f"from fret {old} to {new} on {string_in_words(timeline, sound.string)}"
    if old == new:
        message = (
            f"{_noun(sound)} to fret {new} on {string_in_words(timeline, sound.string)}, which is sounding already"
        )
        return finding_at_sound(
            rule, timeline, sound, message, f"hold it with `-`, or {_afresh(timeline, sound)}", there
        )
    way = "up" if new > old else "down"
    should = "up" if technique.direction > 0 else "down"
    opposite = {"up": ("h", "/", "//"), "down": ("p", "\\", "\\\\")}[way]
    sign = opposite[len(technique.sign)] if slides else opposite[0]
    message = f"{_noun(sound)} {where} goes {way}"
    if slides:
        message = f"slide {should} {where} goes {way}"
    kind = "hammer-on" if way == "up" else "pull-off"
    hint = f"a slide {way} is `{sign}{new}`" if slides else f"going {way}, it is a {kind}: `{sign}{new}`"
    return finding_at_sound(rule, timeline, sound, message, hint, there, fix=_turned(timeline, sound, sign))


def _turned(timeline: Timeline, sound: SoundingNote, sign: str) -> Fix | None:
    """Return the fix that writes the sign of the other way; None at the start of a bar, where the note may be played after several."""
    source = timeline.sounds[sound.source or 0]
    event = timeline.slots[sound.slot].event
    if (source.bar, source.pass_no) != (sound.bar, sound.pass_no) or not isinstance(event, Event):
        return None
    for part in event.parts:
        if isinstance(part, Played) and event.span.start + part.span.start == sound.span.start:
            at = sound.span.start + len(part.string)
            change = Change(Span(at, at + len(sound.begin.sign)), sign)
            return Fix(f"write `{sign}{sound.fret}`", (change,))
    return None


def _open_slide(timeline: Timeline, sound: SoundingNote, old: int, there: tuple[RelatedInformation, ...]) -> Diagnostic:
    string = string_in_words(timeline, sound.string)
    if old == 0:
        message = f"slide from the open {string}: no finger is there to slide"
        hint = f"pick it and slide in: `{sound.begin.sign[0]}{note_as_typed(timeline, sound.string, sound.fret or 0)}`"
        return finding_at_sound(OPEN_SLIDE, timeline, sound, message, hint, there)
    message = f"slide to the open {string}: no finger stops it there"
    return finding_at_sound(OPEN_SLIDE, timeline, sound, message, "pull off with `p0`", there)


def check_open_slides(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    """Yield slides from or to nowhere, of an open string."""
    string = string_in_words(timeline, sound.string)
    if sound.begin.curve is Curve.SLIDE_IN:
        message = f"slide into the open {string}: no finger stops it there"
        yield finding_at_sound(
            OPEN_SLIDE, timeline, sound, message, f"pick it: `{note_as_typed(timeline, sound.string, 0)}`"
        )
    for shape in sound.shapes:
        if shape.technique.curve is Curve.SLIDE_OFF:
            message = f"slide off the open {string}: no finger is there to slide"
            yield finding_at_slot(
                OPEN_SLIDE, timeline, shape.slot, shape.span, message, f"leave the `{shape.technique.sign}` out"
            )
