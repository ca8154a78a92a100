"""What a score says of itself: title, people, tuning, capo, key, sound.

In: the root of a score and a part of it. Out: a title, and fields of the notation.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.importers.musicxml.numbers import whole_number
from lickwright.importers.musicxml.part_music import PartMusic, StaffLook
from lickwright.importers.xml_tree import XmlElement
from lickwright.music.instruments import INSTRUMENTS
from lickwright.music.pitch import MODES, Key, NoteName
from lickwright.music.tuning import TUNING_NAMES, Tuning, parse_tuning

_OUR_FIELDS = ("key", "scale", "box", "level", "tags", "style", "from", "note")
_MODES = {"major": "major", "minor": "minor", "ionian": "major", "aeolian": "minor"}
_FIFTHS = ("F", "C", "G", "D", "A", "E", "B")
_BASS_PROGRAMS = range(32, 40)  # of General MIDI, from 0
_BASS_STRINGS = 4
_GUITARS, _BASSES = (
    {7: "7 string", 8: "8 string"},
    {5: "5 string bass", 6: "6 string bass"},
)  # by strings of a tab staff
_NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def score_title(root: XmlElement) -> str:
    """Return the title; "" where there is none."""
    return root.words("work/work-title") or root.words("movement-title") or root.words("credit/credit-words")


def score_fields(root: XmlElement) -> Iterator[tuple[str, str]]:
    """Yield the fields about people and rights, and those that Lickwright keeps in a score."""
    for creator in root.all("identification/creator"):
        if creator.get("type", "composer") == "composer" and creator.words():
            yield "by", creator.words()
            break
    for name in ("rights", "source"):
        words = root.words(f"identification/{name}")
        if words:
            yield name, words
    for field in root.all("identification/miscellaneous/miscellaneous-field"):
        if field.get("name") in _OUR_FIELDS and field.words():
            yield field.get("name"), field.words()


def part_tuning(part: PartMusic, name: str, program: int, asked: str, staff: int) -> tuple[Tuning, int]:
    """Return the tuning and the capo of a part; the tab staff's own, else what is asked for, else what its instrument has."""
    looks = [look for number, look in part.staves.items() if look.tuning and staff in (0, number)]
    look = looks[0] if looks else StaffLook()
    own = _tuning_of(look) if look.tuning else None
    if own is not None:
        return own, look.capo
    capo = max((one.capo for one in part.staves.values()), default=0)
    if asked:
        return parse_tuning(asked), capo
    strings = max((one.strings for one in part.staves.values() if one.tab), default=0)
    bass = "bass" in name.lower() or program in _BASS_PROGRAMS or strings == _BASS_STRINGS
    return parse_tuning((_BASSES if bass else _GUITARS).get(strings, "bass" if bass else "standard")), capo


def _tuning_of(look: StaffLook) -> Tuning | None:
    """Return the tuning that a staff writes, by its name where it has one; None for one that the notation cannot have."""
    lines = sorted(look.tuning)
    pitches = tuple(look.tuning[line] for line in reversed(lines))  # the thinnest string first
    for name in TUNING_NAMES:
        if parse_tuning(name).sounding == pitches and name != "12 string":
            return parse_tuning(name)
    try:
        return parse_tuning(" ".join(f"{_NAMES[pitch % 12]}{pitch // 12 - 1}" for pitch in reversed(pitches)))
    except ValueError:
        return None


def fingered_key(part: PartMusic, shift: int) -> Key | None:
    """Return the key as it is fingered, `shift` semitones below what is heard; None where the score does not say its mode."""
    if part.key is None:
        return None
    mode = _MODES.get(part.key.words("mode"), part.key.words("mode"))
    if mode not in MODES:
        return None
    fifths = whole_number(part.key, "fifths", 0, -12, 12)
    for tonic in _notes_by_fifths():
        key = Key(tonic, mode)
        if key.signature == fifths and abs(tonic.fifths) <= 12:
            return key.transposed(-shift)
    return None


def _notes_by_fifths() -> Iterator[NoteName]:
    """Yield notes without signs first, then those with the fewest signs in their keys."""
    for alter in (0, -1, 1):
        yield from (NoteName(letter, alter) for letter in _FIFTHS)


def part_sound(root: XmlElement, part_id: str) -> tuple[str, str, int]:
    """Return the name of a part, the sound of the notation that it is played on ("" for none of them), and its MIDI program from 0, -1 for none."""
    for part in root.all("part-list/score-part"):
        if part.get("id") == part_id:
            program = whole_number(part, "midi-instrument/midi-program", 0, 0, 128) - 1
            named = part.words("score-instrument/instrument-name")
            if named in INSTRUMENTS:
                return part.words("part-name"), named, program
            rows = [row.name for row in INSTRUMENTS.values() if row.program == program]
            return part.words("part-name"), rows[0] if rows else "", program
    return "", "", -1
