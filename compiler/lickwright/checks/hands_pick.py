"""Taps, palm mutes and double slides (L443–L445).

In: a Timeline and its tapped or palm-muted sounds. Out: findings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from lickwright.checks.findings import finding_at_sound, music_rule, note_as_typed, string_in_words
from lickwright.core.diagnostics import Diagnostic, RelatedInformation, Rule, Severity
from lickwright.hand.fingering import is_fretted
from lickwright.notation.techniques import Curve, Damping, Stroke
from lickwright.timeline.model import SoundingNote, Timeline

_rule = partial(music_rule, "Other hand", severity=Severity.WARNING)

TAP = _rule(
    "L443", "tap below the fretting hand",
    "a tap at or below the fret that is held, or with nothing held behind it",
    "A string sounds from the highest finger on it to the bridge. A tap below the held fret changes nothing; it has to be "
    "above. A tap usually pulls off to a note that is held already: without one it stands alone, which is worth knowing.",
    "B12 t10 - - e8 e5 e8 -", "B5 t12 p5 - e8 e5 e8 -",
)  # fmt: skip
MUTED_RING = _rule(
    "L444", "palm mute that should ring",
    "a palm-muted note that should ring, or a harmonic under the palm",
    "The palm at the bridge stops a string right away, so nothing under it rings on, and a harmonic does not sound. Take out one "
    "of the two.",
    "(pm: E3= A3) - - e8 e5 e8 -", "(pm: E3 A3) - - e8 e5 e8 -",
)  # fmt: skip
DIVERGING = _rule(
    "L445", "slide that changes its shape",
    "two strings slide together, by different distances",
    "Two strings slide together under one shape of the hand, so both go the same number of frets. By different distances the "
    "fingers would have to spread on the way: let one string slide, and pick the other.",
    "G5&B5 G/7&B/8 - - e8 e5 e8 -", "G5&B5 G/7&B/7 - - e8 e5 e8 -",
)  # fmt: skip

RULES: tuple[Rule, ...] = (TAP, MUTED_RING, DIVERGING)


def check_pick_hand(
    timeline: Timeline, tapped: Sequence[SoundingNote], damped: Sequence[SoundingNote]
) -> Iterator[Diagnostic]:
    """Yield the findings about taps, then those about palm mutes."""
    pulled = {s.source for s in timeline.sounds if s.source is not None and s.begin.stroke is Stroke.PULL}
    for sound in tapped:
        if sound.fret:
            yield from _tap(timeline, sound, sound.index in pulled)
    for sound in damped:
        rings = any(mark.damping is Damping.RING for mark in sound.marks)
        if rings or sound.touch is not None:
            what = "let ring" if rings else "a harmonic"
            message = f"{what} under a palm mute on {string_in_words(timeline, sound.string)}"
            yield finding_at_sound(MUTED_RING, timeline, sound, message, "leave it outside `(pm: …)`")


def _tap(timeline: Timeline, sound: SoundingNote, pulls_off: bool) -> Iterator[Diagnostic]:
    source = timeline.sounds[sound.source] if sound.source is not None else None
    if source is not None and is_fretted(source) and source.fret and sound.fret and sound.fret <= source.fret:
        if source.end < sound.start:
            return
        message = f"tap at fret {sound.fret} below fret {source.fret}, which is held on {string_in_words(timeline, sound.string)}"
        if sound.fret == source.fret:
            message = f"tap at fret {sound.fret}, which is already held on {string_in_words(timeline, sound.string)}"
        hint = f"tap above it, or pick the lower note: `{note_as_typed(timeline, sound.string, sound.fret)}`"
        yield finding_at_sound(TAP, timeline, sound, message, hint, (RelatedInformation(source.span, "held here"),))
    elif source is None and not pulls_off:
        message = f"tap at fret {sound.fret} with no note held behind it"
        hint = "a tap usually pulls off to a held note: `t12p5`"
        yield finding_at_sound(TAP, timeline, sound, message, hint, (), Severity.INFO)


def check_double_slides(timeline: Timeline, fretted: Sequence[SoundingNote]) -> Iterator[Diagnostic]:
    """Yield slides that begin and end together and go different ways."""
    before: tuple[SoundingNote, int] | None = None
    for sound in fretted:
        if sound.begin.curve is not Curve.GLIDE or sound.source is None:
            continue
        source = timeline.sounds[sound.source]
        if not source.fret or not sound.fret:
            continue
        far = sound.fret - source.fret
        if before is not None and before[0].start == sound.start and before[1] != far:
            message = f"one string slides {abs(before[1])} frets, the other {abs(far)}"
            if before[1] * far < 0:
                message = "two strings slide in opposite directions"
            there = (RelatedInformation(before[0].span, "together with this"),)
            hint = "let one string slide, and pick the other"
            yield finding_at_sound(DIVERGING, timeline, sound, message, hint, there)
        before = (sound, far)
