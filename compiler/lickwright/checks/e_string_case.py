"""The two E strings (L209): `e` and `E` differ only by a capital letter.

In: a Timeline. Out: a question where one note leaps more than an octave away from both neighbours and would not on
the other string. (Both strings have the same notes at the same frets, so that the box alone never tells them apart.)
"""

from __future__ import annotations

from lickwright.checks.findings import finding_at_sound
from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.notation.tree import Note
from lickwright.timeline.model import SoundingNote, Timeline

CASE = Rule(
    "L209", "e or E", Severity.WARNING,
    "a note far from the notes around it, and near them on the other E string",
    "e is the thinnest string and E the thickest; they differ only by a capital letter, which phones and word "
    "processors "
    "change. Where one note leaps more than an octave (15 half steps) away and back, and would not on the other E "
    "string, the checker asks.",
    'lick "Autocorrect"\nkey A minor\nbox 1\n| E8 e5 B8 B5 G7 - - - ||\n',
    'lick "Autocorrect"\nkey A minor\nbox 1\n| e8 e5 B8 B5 G7 - - - ||\n',
)  # fmt: skip

_FAR = 15  # semitones: a leap that single notes of a line do not make there and back
_RARE = 2  # such notes in a lick; a third is a style


def check_e_string_case(timeline: Timeline, sounds: list[SoundingNote]) -> list[Diagnostic]:
    """Return a question for each note that may be on the wrong E string; none where such leaps are the lick's way.

    `sounds` are those of every written note once. A bass line under a melody is no slip, nor a note that sounds on with its neighbours.
    """
    tuning = timeline.settings.tuning
    thin, thick = tuning.letters.get("e"), tuning.letters.get("E")
    pitches = [sound.pitch for sound in sounds if not sound.dead]
    if thin is None or thick is None or not pitches or max(pitches) - min(pitches) < _FAR:
        return []
    moments = _moments(sounds)
    used = {s.string for s in sounds}
    found = []
    for here, other, beside in ((thick, thin, thick - 1), (thin, thick, thin + 1)):
        suspects = _suspects(moments, here, tuning.open(other) - tuning.open(here), beside in used)
        if len(suspects) <= _RARE:
            found += [_ask(timeline, s) for s in suspects if _letter_written(timeline, s)]
    return found


def _suspects(moments: list[list[SoundingNote]], string: int, shift: int, goes_there: bool) -> list[SoundingNote]:
    """Return the single notes on a string that would be near their neighbours if shifted."""
    alone = (n for n, moment in enumerate(moments) if len(moment) == 1 and moment[0].string == string)
    return [moments[n][0] for n in alone if _leaps(moments, n, shift, goes_there)]


def _moments(sounds: list[SoundingNote]) -> list[list[SoundingNote]]:
    """Return the notes with a pitch, those that begin together in one list."""
    found: dict[tuple[int, int], list[SoundingNote]] = {}
    for sound in sounds:
        if not sound.dead:
            found.setdefault((sound.start, -sound.lead), []).append(sound)
    return list(found.values())


def _leaps(moments: list[list[SoundingNote]], at: int, shift: int, goes_there: bool) -> bool:
    """Return whether a single note lies far from both neighbours, but would not if shifted.

    An open string is never asked about: it is often a drone under a melody.
    """
    sound, last = moments[at][0], at
    if not sound.fret or sound.source is not None:
        return False
    while last + 1 < len(moments) and moments[last + 1][0].source == moments[last][0].index:
        last += 1  # what is joined to it lies on its string
    around = _neighbours(len(moments), at, last, goes_there)
    pairs = [(other, moments[at if n < at else last][0]) for n in around for other in moments[n]]
    return bool(pairs) and all(_is_apart(*pair) and _is_far(*pair, shift) for pair in pairs)


def _neighbours(count: int, at: int, last: int, goes_there: bool) -> list[int]:
    """Return the moments that a note is judged by: the one on each side of it.

    The first and the last have one neighbour: they are judged by the two next to them, and only where the lick does not
    go to that side of the neck anyway.
    """
    around = [n for n in (at - 1, last + 1) if 0 <= n < count]
    if len(around) == 1 and not goes_there:
        around = [n for n in (at - 2, at - 1, last + 1, last + 2) if 0 <= n < count]
    return around if len(around) > 1 else []


def _is_apart(other: SoundingNote, own: SoundingNote) -> bool:
    """Return whether two notes lie on different strings, and one is over when the other begins."""
    return other.string != own.string and (other.end <= own.start or own.end <= other.start)


def _is_far(other: SoundingNote, own: SoundingNote, shift: int) -> bool:
    """Return whether two notes are far apart in pitch, but would not be with one of them shifted by so many semitones."""
    leap = other.pitch - own.pitch
    return abs(leap) >= _FAR > abs(leap - shift)


def _letter_written(timeline: Timeline, sound: SoundingNote) -> bool:
    """Return whether a note's string was written as a letter; a number is no slip of a capital."""
    event = timeline.slots[sound.slot].event
    return any(isinstance(part, Note) and part.string in ("e", "E") for part in getattr(event, "parts", ()))


def _ask(timeline: Timeline, sound: SoundingNote) -> Diagnostic:
    letter = timeline.settings.tuning.written(sound.string)
    other, which, far = ("e", "thickest", "thinnest") if letter == "E" else ("E", "thinnest", "thickest")
    message = f"{letter}{sound.fret} is far from the notes around it: did you mean {other}{sound.fret}?"
    return finding_at_sound(
        CASE,
        timeline,
        sound,
        message,
        f"`{letter}` is the {which} string, `{other}` the {far}",
    )
