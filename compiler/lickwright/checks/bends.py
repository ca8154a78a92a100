"""Bends, releases and vibrato (L411–L417): what a finger cannot do to a string.

In: a sound with shapes. Out: findings, each at its mark. Whether the pitch reached is in the scale is said by `box.py`;
how hard a bend is on the hand is not judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from lickwright.checks.findings import bend_as_typed, finding_at_slot, music_rule, note_as_typed, string_in_words
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.music.steps import bend_words, interval_words
from lickwright.notation.techniques import HELD_BEND, UPWARD_BENDS, Curve
from lickwright.timeline.model import PitchGesture, SoundingNote, Timeline

_rule = partial(music_rule, "Bent")

MOST = 4.0  # semitones: two whole steps, past which strings break and fingers slip (estimate)

OPEN_BEND = _rule(
    "L411", "bend on an open string",
    "an open string is bent",
    "A bend pushes the string across the fretboard, so a finger must hold it down. Open strings are bent with "
    "the bar "
    "(dip, scoop) only.",
    "B0^2 - - - e8 e5 e8 -", "B8^10 - - - e8 e5 e8 -",
)  # fmt: skip
TOO_FAR = _rule(
    "L412", "bend above two whole steps",
    "a bend of more than two whole steps",
    "Two whole steps (four frets) are the most that a string gives; past that it breaks or the finger slips. Often the "
    "target fret is a slip, "
    "or a slide was meant.",
    "B8^13 - - - e8 e5 e8 -", "B8^10 - - - e8 e5 e8 -",
)  # fmt: skip
NOT_UP = _rule(
    "L413", "bend that does not go up",
    "a bend or pre-bend to the pitch that sounds already, or below it",
    "The number after ^ is the fret whose pitch the bend reaches, so it must be above the fret that is held, "
    "and above where "
    "the bend already is. Down again is a release: r, or r9 to stop on the way.",
    "B8^7 - - - e8 e5 e8 -", "B8^10 - - - e8 e5 e8 -",
)  # fmt: skip
PREBEND = _rule(
    "L414", "pre-bend after the stroke",
    "a pre-bend on a note that sounds already",
    "A pre-bend is silent: bend first, then pick. It stands on a picked note, first of its marks. "
    "On a hold or "
    "after a hammer-on the string sounds already, and the rise is heard: that is a bend (^10).",
    "B8 -^^10 - - e8 e5 e8 -", "B8 -^10 - - e8 e5 e8 -",
)  # fmt: skip
RELEASE = _rule(
    "L415", "release of nothing",
    "a release without a bend before it, or to a pitch that it cannot reach",
    "A release takes a bent string back: to the fretted pitch (r), or partly (r9). It cannot go above "
    "the bend, nor below "
    "the fret that is held. A bend ends when its string is struck again.",
    "B8 -r - - e8 e5 e8 -", "B8^10 -r - - e8 e5 e8 -",
)  # fmt: skip
DEAD = _rule(
    "L416", "shape on a dead note",
    "a bend, release, vibrato or slide on a dead note",
    "A dead note is picked on a muted string and has no pitch to bend or shake.",
    "Gx~ - - - e8 e5 e8 -", "G7~ - - - e8 e5 e8 -",
)  # fmt: skip
OPEN_VIBRATO = _rule(
    "L417", "vibrato on an open string",
    "vibrato where no finger is on the string",
    "Finger vibrato shakes the string from the fret that holds it. An open string or a natural harmonic can be "
    "shaken only with the "
    "bar or by bending the neck: (dip: …) is the bar.",
    "B0~ - - - e8 e5 e8 -", "B1~ - - - e8 e5 e8 -", Severity.WARNING,
)  # fmt: skip

RULES: tuple[Rule, ...] = (OPEN_BEND, TOO_FAR, NOT_UP, PREBEND, RELEASE, DEAD, OPEN_VIBRATO)


def check_shapes(timeline: Timeline, sound: SoundingNote) -> Iterator[Diagnostic]:
    """Yield the findings about the shapes of one sound, in order; one a shape, since what is wrong first says enough."""
    if sound.dead:
        first = sound.shapes[0]
        message = f"{first.technique.name} on a dead note, which has no pitch"
        hint = f"take out `x` or `{first.technique.sign}`"
        yield finding_at_slot(DEAD, timeline, first.slot, first.span, message, hint)
        return
    bent = 0.0  # semitones above the fretted pitch
    sure = timeline.bars[timeline.slots[sound.slot].bar].sure
    for n, shape in enumerate(sound.shapes):
        curve = shape.technique.curve
        if shape.technique is HELD_BEND:  # judged where it was bent
            finding, bent = None, shape.amount
        elif curve in UPWARD_BENDS:
            finding = _bend(timeline, sound, shape, bent, first=n == 0)
            bent = max(bent, shape.amount)
        elif curve is Curve.RELEASE:
            finding = _release(timeline, sound, shape, bent) if sure else None
            bent = min(max(shape.amount, 0.0), bent)
        else:
            finding = _vibrato(timeline, sound, shape) if curve is Curve.VIBRATO else None
        if finding is not None:
            yield finding


def _meant(timeline: Timeline, sign: str, fret: int, written: float) -> str:
    """Return what a number below the fret may have meant: `^1` and `^1.5` are whole steps to many."""
    above = {0.5: 1, 1: 2, 1.5: 3}.get(written)
    if above is None or written >= fret:
        return f"the number is the fret whose pitch it reaches: `{bend_as_typed(timeline, sign, fret, 2)}` is a whole step up"
    name = {1: "half", 2: "full"}.get(above)
    ways = dict.fromkeys(
        way for way in (bend_as_typed(timeline, sign, fret, above), f"{sign}{name}" if name else "") if way
    )
    meant = " or ".join(f"`{way}`" for way in ways)
    return f"the number is a fret: {interval_words(above)} above {fret} is " + (meant or "past the end of the neck")


def _fret(sound: SoundingNote, semitones: float) -> str:
    """Return the fret that has a pitch so far above the fretted one: `10`, `8.5`."""
    fret = (sound.fret or 0) + semitones
    return str(int(fret)) if fret % 1 == 0 else str(fret)


def _bend(timeline: Timeline, sound: SoundingNote, shape: PitchGesture, bent: float, first: bool) -> Diagnostic | None:
    """Return what is wrong with a bend; `bent` is the bend before it, in semitones, and `first` whether it is the sound's first shape."""
    there = (RelatedInformation(sound.span, "the note is here"),) if shape.slot != sound.slot else ()
    if not sound.fret:
        rule, message, hint = OPEN_BEND, *_unheld(timeline, sound, shape)
    elif shape.amount <= 0:
        rule, message, hint = NOT_UP, *_not_up(timeline, sound, sound.fret, shape)
    elif shape.amount > MOST:
        rule, message, hint = TOO_FAR, *_too_far(timeline, sound, sound.fret, shape)
    elif shape.technique.curve is Curve.PREBEND and not (first and shape.slot == sound.slot and sound.source is None):
        rule, message = PREBEND, "pre-bend on a note that sounds already"
        hint = f"`^{_fret(sound, shape.amount)}` bends it while it sounds; for a pre-bend, pick it again"
    elif shape.amount <= bent:
        rule, message, hint = NOT_UP, *_bent_already(sound, shape, bent)
    else:
        return None
    return finding_at_slot(rule, timeline, shape.slot, shape.span, message, hint, there)


def _unheld(timeline: Timeline, sound: SoundingNote, shape: PitchGesture) -> tuple[str, str]:
    name = shape.technique.name
    if sound.fret is None:
        return f"{name} of a natural harmonic: no finger holds the string", "take out one of the two"
    message = f"{name} on the open {string_in_words(timeline, sound.string)}: no finger holds it"
    return message, "fret the note, or use the bar: `(scoop: …)`, `(dip: …)`"


def _not_up(timeline: Timeline, sound: SoundingNote, fret: int, shape: PitchGesture) -> tuple[str, str]:
    technique = shape.technique
    message = f"{technique.name} on fret {fret} to the pitch of fret {_fret(sound, shape.amount)} does not go up"
    return message, _meant(timeline, technique.sign, fret, fret + shape.amount)


def _too_far(timeline: Timeline, sound: SoundingNote, fret: int, shape: PitchGesture) -> tuple[str, str]:
    message = f"{bend_words(shape.amount, shape.technique.name)} on {note_as_typed(timeline, sound.string, fret)}"
    most = bend_as_typed(timeline, shape.technique.sign, fret, int(MOST))
    hint = f"two whole steps{f', `{most}`,' if most else ''} are the most"
    if shape.amount % 1 == 0 and fret + shape.amount <= timeline.settings.frets - timeline.settings.capo:
        hint += f"; or did you mean the slide `/{_fret(sound, shape.amount)}`?"
    return message, hint


def _bent_already(sound: SoundingNote, shape: PitchGesture, bent: float) -> tuple[str, str]:
    target, before = _fret(sound, shape.amount), _fret(sound, bent)
    if shape.amount == bent:
        return f"the string is bent to the pitch of fret {before} already", "hold it with `-`"
    message = f"bend to the pitch of fret {target}, below that of fret {before} where it is already"
    return message, f"going back down is a release: `r{target}`"


def _release(timeline: Timeline, sound: SoundingNote, shape: PitchGesture, bent: float) -> Diagnostic | None:
    there = (RelatedInformation(sound.span, "the note is here"),) if shape.slot != sound.slot else ()
    message = None
    hint = f"`r` releases it to fret {sound.fret}"
    if bent <= 0:
        message, hint = (
            "release, but nothing is bent",
            _held_elsewhere(timeline, sound) or "bend first (`^10`), or hold with `-`",
        )
    elif shape.amount < 0:
        message = f"release to the pitch of fret {_fret(sound, shape.amount)}, below fret {sound.fret} that is held"
    elif shape.amount >= bent:
        target, top = _fret(sound, shape.amount), _fret(sound, bent)
        message = f"release to the pitch of fret {target}, but it is bent only to that of fret {top}"
    return finding_at_slot(RELEASE, timeline, shape.slot, shape.span, message, hint, there) if message else None


def _held_elsewhere(timeline: Timeline, sound: SoundingNote) -> str | None:
    """Return how to hold the bend of another string that this note has ended; None where it ended none."""
    ended = (o for o in timeline.sounds[: sound.index] if o.end == sound.start > o.start and o.string != sound.string)
    bent = next((o for o in ended if any(shape.technique.curve in UPWARD_BENDS for shape in o.shapes)), None)
    if bent is None:
        return None
    name = timeline.settings.tuning.written(bent.string)
    note = f"{sound.begin.sign}{note_as_typed(timeline, sound.string, sound.fret or 0)}"
    return f"hold the bend while another string sounds: `{name}-&{note}`, then `{name}-r`"


def _vibrato(timeline: Timeline, sound: SoundingNote, shape: PitchGesture) -> Diagnostic | None:
    if sound.fret:
        return None
    what = f"the open {string_in_words(timeline, sound.string)}" if sound.fret == 0 else "a natural harmonic"
    message = f"vibrato on {what}: no finger is there to shake it"
    return finding_at_slot(
        OPEN_VIBRATO, timeline, shape.slot, shape.span, message, "fret the note, or use the bar: `(dip: …)`"
    )
