"""Which blues scale is meant (L210): `scale blues` in a major key is the major one, and players often mean the minor one.

In: a Timeline. Out: one question for the lick, where its notes fit the minor blues scale of its tonic better.
"""

from __future__ import annotations

from collections.abc import Iterable

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.music.scale import Scale, parse_scale
from lickwright.timeline.model import SoundingNote, Timeline

WHICH_BLUES = Rule(
    "L210", "which blues scale", Severity.WARNING,
    "the blues scale of a major key, with notes that fit the minor one better",
    "In a major key, scale blues is the major blues scale: the major pentatonic and its flat third. Over dominant "
    "chords many players mean the minor one. Write minor blues or major blues, and nothing is asked; until then the "
    "notes of the lick are not judged.",
    'lick "Cold harbor"\nkey A major\nscale blues\n| A5 A7 D5 D7 G5 G7 A5 - ||\n',
    'lick "Cold harbor"\nkey A major\nscale minor blues\n| A5 A7 D5 D7 G5 G7 A5 - ||\n',
)  # fmt: skip


def check_blues_scale(timeline: Timeline, sounds: Iterable[SoundingNote]) -> Diagnostic | None:
    """Return the question, or None. `sounds` are those of every written note once."""
    settings = timeline.settings
    if not settings.scale_by_key or settings.key is None or settings.scale != parse_scale("major blues", None):
        return None
    tonic, pitches = settings.key.tonic, [int(sound.pitch) for sound in sounds if not sound.dead]

    def outside(scale: Scale) -> int:
        return sum((pitch - tonic.pc) % 12 not in scale.semitones for pitch in pitches)

    major, minor = outside(settings.scale), outside(parse_scale("minor blues", None))
    if minor >= major:
        return None
    at, notes = settings.finding_place("scale", timeline.span)
    others = f"only {minor} don't" if minor else "they all"
    message = f"{major} of {len(pitches)} notes don't fit {tonic} major blues, {others} fit {tonic} minor blues: is that meant?"
    return WHICH_BLUES.at(at, message, "write `scale minor blues` or `scale major blues`", notes)
