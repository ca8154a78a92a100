"""Bends and the hand (L439–L442): how hard a bend is, and what it runs into. What a bend may be at all is judged in `bends.py`.

In: a Timeline and its bent sounds. Out: findings. Travel, force and room come from `hand/string_tension.py`, as do the limits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from lickwright.checks.bends import MOST
from lickwright.checks.findings import finding_at_slot, music_rule, note_as_typed, string_in_words
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.fingering import hand_for
from lickwright.hand.measures import CAUTION_BEND, string_spacing_mm
from lickwright.hand.string_tension import BentString, bend_limit, bend_room_mm, bend_string, string_kind
from lickwright.music.steps import bend_words, interval_words
from lickwright.notation.techniques import HELD_BEND, UPWARD_BENDS, Damping
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

_rule = partial(music_rule, "Pushed", severity=Severity.WARNING)

HARD = _rule(
    "L439", "bend too big for its place",
    "a bend that string and fret hardly give, or not at all",
    "The nearer to the nut, the harder a string is to bend: at fret 1 twice as hard as at fret 12, and a half step is the most. "
    "On the three plain strings a whole step is ordinary from fret 4 on, a whole step and a half is for advanced players, two for "
    "experts. A wound string gives a whole step at most, a nylon string little. In numbers: a whole step on the B string takes "
    "a push of 17 newtons at fret 1, 11 at fret 3 and 8 at fret 12, where it moves the string 15 mm. Bend from a higher fret of the "
    "next string instead, or fret the pitch.",
    "D7^10 - - - e8 e5 e8 -", "G9^11 - - - e8 e5 e8 -",
)  # fmt: skip
ALONE = _rule(
    "L440", "bend with one finger",
    "a whole step or more bent with the first finger, which has none behind it",
    "A bend is pushed by the ring finger with two fingers behind it, turned from the wrist. The first finger stands alone: it "
    "tires, and the pitch wavers.",
    "B8'1^10 - - - e8 e5 e8 -", "B8'3^10 - - - e8 e5 e8 -",
)  # fmt: skip
NEIGHBOUR = _rule(
    "L441", "bend into a sounding string",
    "a bend runs into the next string, which should still sound",
    "A half step moves a string about as far as the next one lies, a whole step to it and beyond. The thinnest string can only be "
    "pushed toward the others, the thickest only pulled, the second and the fifth nearly so, the middle ones go either way. "
    "What sounds on the side that the string has to go to is stopped.",
    "B5&e8^10 - - - e8 e5 e8 -", "e5&B8^10 - - - e8 e5 e8 -",
)  # fmt: skip
UNISON = _rule(
    "L442", "unison bend that does not meet",
    "two strings a half step or less apart at the top of a bend",
    "In a unison bend the bent string arrives at the pitch of the one that is held. By a whole step, the bent fret is three "
    "above the held one from B to e, two from G to B, three elsewhere; by a half step, one more. A half step off, the two fight.",
    "B5&G8^10 - - - e8 e5 e8 -", "B5&G7^9 - - - e8 e5 e8 -",
)  # fmt: skip

RULES: tuple[Rule, ...] = (HARD, ALONE, NEIGHBOUR, UNISON)


def check_bends(timeline: Timeline, bent: Sequence[SoundingNote], together: bool) -> Iterator[Diagnostic]:
    """Yield the findings about each bend upwards, once; `together` is whether any other string sounds at the same time."""
    for sound in bent:
        meets = [o for o in timeline.sounds if _meets(sound, o)] if together else []
        for shape in sound.shapes:
            if shape.technique.curve in UPWARD_BENDS and shape.technique is not HELD_BEND and 0 < shape.amount <= MOST:
                yield from _alone(timeline, sound, shape)
                if meets:
                    yield from _neighbours(timeline, sound, shape, meets)
                    yield from _unisons(timeline, sound, shape, meets)


def _alone(timeline: Timeline, sound: SoundingNote, shape: PitchGesture) -> Iterator[Diagnostic]:
    """Yield what is hard about a bend whatever else sounds."""
    settings = timeline.settings
    row = bend_limit(
        string_kind(settings.tuning, settings.instrument.strings, sound.string), sound.fret or 0, shape.amount
    )
    if row is not None:
        yield _hard(timeline, sound, shape, Severity(row.level), row.words)
    if sound.finger == "1" and shape.amount >= 2:
        message = f"{bend_words(shape.amount)} with finger 1 alone"
        hint = "use finger 3, with 1 and 2 behind it"
        yield finding_at_slot(ALONE, timeline, shape.slot, shape.span, message, hint)


def _meets(sound: SoundingNote, other: SoundingNote) -> bool:
    """Return whether another string sounds while this one is bent, and stays as it is."""
    return (
        other.string != sound.string
        and other.start < sound.end
        and other.end > sound.start
        and not other.dead
        and not any(shape.technique.curve in UPWARD_BENDS for shape in other.shapes)
    )


def _hard(timeline: Timeline, sound: SoundingNote, shape: PitchGesture, severity: Severity, words: str) -> Diagnostic:
    message = f"{bend_words(shape.amount)} on {note_as_typed(timeline, sound.string, sound.fret or 0)}: {words}"
    if _pushed(timeline, sound, shape.amount).may_break:
        message += ", and the string may break"
    hint = CAUTION_BEND if severity is not Severity.ERROR else "slide to the pitch, or bend it from a fret higher up"
    return finding_at_slot(HARD, timeline, shape.slot, shape.span, message, hint, (), severity)


def _pushed(timeline: Timeline, sound: SoundingNote, semitones: float) -> BentString:
    settings = timeline.settings
    return bend_string(
        settings.tuning, settings.instrument.strings, sound.string, sound.fret or 0, semitones, settings.capo
    )


def _neighbours(
    timeline: Timeline, sound: SoundingNote, shape: PitchGesture, meets: list[SoundingNote]
) -> Iterator[Diagnostic]:
    """Yield a finding where a bend runs into a sounding string both ways: towards the thick strings and towards the thin ones."""
    near = [o for o in meets if abs(o.string - sound.string) <= 2 and o.end > shape.start]
    if not near:
        return
    hand = hand_for(timeline)
    fret = (sound.fret or 0) + hand.capo
    travel = _pushed(timeline, sound, shape.amount).travel_mm
    reach = int(travel / string_spacing_mm(fret, hand.scale_mm))  # strings that it runs into
    pushed, pulled = bend_room_mm(timeline.settings.tuning.strings, sound.string, fret, hand.scale_mm)
    ways = [way for way, room in ((1, pushed), (-1, pulled)) if room >= travel]
    struck = [_in_the_way(near, sound.string, way, reach) for way in ways]
    if struck and all(struck):
        yield _runs_into(timeline, sound, shape, struck[0][0], ways)


def _in_the_way(near: Sequence[SoundingNote], string: int, way: int, reach: int) -> list[SoundingNote]:
    """Return the sounds on the strings next to one on one side; `way` is 1 towards the thick strings, -1 towards the thin ones."""
    return [other for other in near if 0 < (other.string - string) * way <= reach]


def _runs_into(
    timeline: Timeline, sound: SoundingNote, shape: PitchGesture, other: SoundingNote, ways: list[int]
) -> Diagnostic:
    must = f", which can only be {'pushed' if ways == [1] else 'pulled'}," if len(ways) == 1 else ""
    name = string_in_words(timeline, other.string)
    message = f"the bend on {string_in_words(timeline, sound.string)}{must} runs into {name}, which should still sound"
    ring = any(mark.damping is Damping.RING for mark in other.marks)
    there = RelatedInformation(other.span, "this stops where the bend begins" if ring else "this should still sound")
    hint = "end that note before the bend, or move it two strings away"
    return finding_at_slot(NEIGHBOUR, timeline, shape.slot, shape.span, message, hint, (there,))


def _unisons(
    timeline: Timeline, sound: SoundingNote, shape: PitchGesture, meets: list[SoundingNote]
) -> Iterator[Diagnostic]:
    """Yield each string that sounds a half step or less from where the bend arrives, for as long as it is up there."""
    for other in meets:
        off = sound.pitch + shape.amount - other.pitch
        if (
            not 0 < abs(off) <= 1
            or other.start > shape.end
            or other.end < shape.end
            or other.harmonic
            or sound.harmonic
        ):
            continue
        apart = interval_words(off)
        where = note_as_typed(timeline, other.string, other.fret or 0)
        message = f"bend arrives {apart} {'above' if off > 0 else 'below'} {where}, which sounds with it"
        amount = shape.amount - off
        target = (sound.fret or 0) + amount
        hint = f"to meet it: `{shape.technique.sign}{target:g}`" if 0 < amount <= MOST else "bend from another fret"
        yield finding_at_slot(
            UNISON, timeline, shape.slot, shape.span, message, hint, (RelatedInformation(other.span, "with this"),)
        )
