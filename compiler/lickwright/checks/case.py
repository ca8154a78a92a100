"""The two E strings (L209): `e` and `E` differ only by a capital letter.

In: a Timeline. Out: a question where one note leaps two octaves away from its neighbours and would lie among them on
the other string. (Both strings have the same notes at the same frets, so that the box alone never tells them apart.)
"""

from __future__ import annotations

from lickwright.checks.findings import at_sound
from lickwright.diagnostics import Diagnostic, Rule, Severity
from lickwright.notation.tree import Note
from lickwright.timeline import Sound, Timeline

CASE = Rule(
    "L209", "e or E", Severity.WARNING,
    "a note two octaves from its neighbours, near them on the other E string",
    "e is the thinnest string and E the thickest; they differ only by a capital letter, which phones and word "
    "processors "
    "change. Where one note leaps two octaves away and back, and would lie among its neighbours on the other E "
    "string, "
    "the checker asks.",
    'lick "Autocorrect"\nkey A minor\nbox 1\n| E8 e5 B8 B5 G7 - - - ||\n',
    'lick "Autocorrect"\nkey A minor\nbox 1\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip

_FAR, _CLOSE = 15, 9  # semitones: a leap that two neighbouring notes of one line do not make, and one that they do
_RARE = 2  # such notes in a lick; a third is a style


def check_case(timeline: Timeline, sounds: list[Sound]) -> list[Diagnostic]:
    """Asks only where the lick leaves the string beside the suspect alone: a bass line under a melody is no slip.

    `sounds` are those of every written note once.
    """
    tuning = timeline.settings.tuning
    thin, thick = tuning.letters.get("e"), tuning.letters.get("E")
    used = {s.string for s in sounds}
    if thin is None or thick is None:
        return []
    found = []
    for here, other, beside in ((thick, thin, thick - 1), (thin, thick, thin + 1)):
        if here in used and beside not in used:
            shift = tuning.open(other) - tuning.open(here)
            suspects = [s for n, s in enumerate(sounds) if s.string == here and _leaps(sounds, n, shift)]
            if len(suspects) <= _RARE:
                found += [_ask(timeline, s) for s in suspects if _letter_written(timeline, s)]
    return found


def _leaps(sounds: list[Sound], at: int, shift: int) -> bool:
    """Whether a note lies far from both neighbours, but near if shifted (at the ends, from the two next to it).

    An open string is never asked about: it is often a drone under a melody.
    """
    sound = sounds[at]
    around = [n for n in (at - 1, at + 1) if 0 <= n < len(sounds)]
    if len(around) == 1:
        around = [n for n in (at - 2, at - 1, at + 1, at + 2) if 0 <= n < len(sounds)]
    others = [sounds[n] for n in around]
    apart = all(other.start != sound.start and other.string != sound.string for other in others)
    if len(others) < 2 or sound.dead or not sound.fret or not apart:
        return False
    leaps = [other.pitch - sound.pitch for other in others]
    return all(abs(leap) >= _FAR and abs(leap - shift) <= _CLOSE for leap in leaps)


def _letter_written(timeline: Timeline, sound: Sound) -> bool:
    """Whether its string was written as a letter; a number is no slip of a capital."""
    event = timeline.slots[sound.slot].event
    return any(isinstance(part, Note) and part.string in ("e", "E") for part in getattr(event, "parts", ()))


def _ask(timeline: Timeline, sound: Sound) -> Diagnostic:
    letter = timeline.settings.tuning.written(sound.string)
    other, which, far = ("e", "thickest", "thinnest") if letter == "E" else ("E", "thinnest", "thickest")
    message = f"{letter}{sound.fret} is two octaves from the notes about it: is {other}{sound.fret} meant?"
    return at_sound(
        CASE,
        timeline,
        sound,
        message,
        f"`{letter}` is the {which} string, `{other}` the {far}; only the capital differs",
    )
