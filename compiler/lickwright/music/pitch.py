"""Pitches, note names, degrees and keys.

In: names as a player writes them ("F#", "D2", "A minor"). Out: MIDI numbers (60 is middle C, C4) and names spelled as
the key spells them. Knows no strings and no frets.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.nearest_name import nearest_name

_LETTERS = "CDEFGAB"
LETTER_PITCH_CLASSES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}  # of the natural notes, C = 0
_FIFTHS = {"F": -1, "C": 0, "G": 1, "D": 2, "A": 3, "E": 4, "B": 5}  # sharps in the major key of the natural note
_NATURAL = (0, 2, 4, 5, 7, 9, 11)  # semitones of the major scale's degrees
_NOTE = re.compile(r"([A-G])(##|#|bb|b)?")
_PITCH = re.compile(r"([A-G])(##|#|bb|b)?(-?\d{1,2})")
_ALTERS = {None: 0, "": 0, "#": 1, "##": 2, "b": -1, "bb": -2}


def frequency(pitch: float) -> float:
    """Return the hertz of a MIDI pitch in equal temperament: 440 for 69."""
    return float(440.0 * 2.0 ** ((pitch - 69) / 12))


class Degree(NamedTuple):
    """A note's place in a scale, counted from the tonic: b3 is `Degree(3, -1)`."""

    number: int  # 1 to 7; chords go on to 13
    alter: int  # semitones against the major scale: -1 flat, 1 sharp

    @property
    def semitones(self) -> int:
        """Semitones above the tonic, 0 to 11."""
        return (_NATURAL[(self.number - 1) % 7] + self.alter) % 12

    def __str__(self) -> str:
        return _sign(self.alter) + str(self.number)


class NoteName(NamedTuple):
    """A note as it is spelled, without an octave."""

    letter: str  # "A" to "G"
    alter: int  # semitones: 1 sharp, -1 flat

    @property
    def pc(self) -> int:
        """Pitch class, C = 0 to B = 11."""
        return (LETTER_PITCH_CLASSES[self.letter] + self.alter) % 12

    @property
    def fifths(self) -> int:
        """Sharps (positive) or flats (negative) of this note's major key."""
        return _FIFTHS[self.letter] + 7 * self.alter

    def __str__(self) -> str:
        return self.letter + _sign(self.alter)


def _sign(alter: int) -> str:
    return "#" * alter + "b" * -alter


# The names that guitarists use where no key says otherwise, by pitch class.
PLAIN_NAMES = tuple(
    NoteName(name[0], _ALTERS[name[1:]]) for name in ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
)

MODES: dict[str, tuple[Degree, ...]] = {
    name: tuple(Degree(number, alter) for number, alter in zip(range(1, 8), alters, strict=True))
    for name, alters in (
        ("major", (0, 0, 0, 0, 0, 0, 0)),
        ("minor", (0, 0, -1, 0, 0, -1, -1)),
        ("dorian", (0, 0, -1, 0, 0, 0, -1)),
        ("phrygian", (0, -1, -1, 0, 0, -1, -1)),
        ("lydian", (0, 0, 0, 1, 0, 0, 0)),
        ("mixolydian", (0, 0, 0, 0, 0, 0, -1)),
        ("locrian", (0, -1, -1, 0, -1, -1, -1)),
        ("harmonic minor", (0, 0, -1, 0, 0, -1, 0)),
        ("melodic minor", (0, 0, -1, 0, 0, 0, 0)),
    )
}
MODE_ALIASES = {"ionian": "major", "aeolian": "minor", "natural minor": "minor"}
# Sharps of the key signature against the major key of the same tonic.
_MODE_FIFTHS = {
    "major": 0, "minor": -3, "dorian": -2, "phrygian": -4, "lydian": 1, "mixolydian": -1, "locrian": -5,
    "harmonic minor": -3, "melodic minor": -3,
}  # fmt: skip

# Names of the twelve degrees by semitone where neither scale nor mode says otherwise; 6 is b5 where the third is minor.
PLAIN_DEGREES = tuple(
    Degree(number, alter)
    for number, alter in (
        (1, 0), (2, -1), (2, 0), (3, -1), (3, 0), (4, 0), (4, 1), (5, 0), (6, -1), (6, 0), (7, -1), (7, 0),
    )
)  # fmt: skip
FLAT_FIVE = Degree(5, -1)


class Key(NamedTuple):
    """A tonic and a mode."""

    tonic: NoteName
    mode: str  # one of `MODES`

    @property
    def degrees(self) -> tuple[Degree, ...]:
        """The seven degrees of the mode."""
        return MODES[self.mode]

    @property
    def is_minor(self) -> bool:
        """True if the third is minor; dorian, phrygian and locrian count as minor."""
        return self.degrees[2].alter < 0

    @property
    def signature(self) -> int:
        """Sharps (positive) or flats (negative) of the key signature, -7 to 7."""
        fifths = self.tonic.fifths + _MODE_FIFTHS[self.mode]
        while abs(fifths) > 7:  # not a printed key signature: take the enharmonic key
            fifths -= 12 if fifths > 0 else -12
        return fifths

    def transposed(self, semitones: int) -> Key:
        """Return the same mode so many semitones up, with the fewest sharps or flats; F# and Eb where both are equal."""
        if semitones % 12 == 0:
            return self
        return _plainest(self.tonic.pc + semitones, self.mode)

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"


@lru_cache(maxsize=256)
def _plainest(pc: int, mode: str) -> Key:
    names = [NoteName(letter, alter) for letter in _LETTERS for alter in (-1, 0, 1)]
    fitting = [name for name in names if name.pc == pc % 12]
    shift = _MODE_FIFTHS[mode]
    return Key(min(fitting, key=lambda name: (abs(name.fifths + shift), name not in PLAIN_NAMES)), mode)


@lru_cache(maxsize=256)
def parse_note_name(text: str) -> NoteName:
    """Return the note of `F#`, `Bb`, `C##`: a capital letter, then sharps or flats.

    Raises ValueError, in a player's words, for any other text.
    """
    match = _NOTE.fullmatch(text)
    if match is None:
        raise ValueError(f'"{text}" is not a note name: {_mended_name(text, _NOTE) or "write A, F# or Bb"}')
    return NoteName(match[1], _ALTERS[match[2]])


@lru_cache(maxsize=256)
def parse_pitch(text: str) -> int:
    """Return the MIDI number of `D2`; C4 is middle C, 60. Raises ValueError, in a player's words, for any other text."""
    match = _PITCH.fullmatch(text)
    if match is None:
        raise ValueError(
            f'"{text}" is not a pitch: {_mended_name(text, _PITCH) or "such as D2 or F#3; C4 is middle C"}'
        )
    midi = 12 * (int(match[3]) + 1) + LETTER_PITCH_CLASSES[match[1]] + _ALTERS[match[2]]
    if not 0 <= midi <= 127:
        raise ValueError(f'"{text}" lies outside what can be played: pitches go from C-1 to G9')
    return midi


def _mended_name(text: str, shape: re.Pattern[str]) -> str | None:
    """Return the hint with the name meant, where only case, sign or language differ; else None."""
    signs = re.sub("^[Hh]", "B", text.replace("♯", "#").replace("♭", "b"))  # H is the B of German and Nordic books
    guess = signs[:1].upper() + signs[1:].lower()
    return f"write {guess}" if shape.fullmatch(guess) else None


@lru_cache(maxsize=256)
def parse_key(text: str) -> Key:
    """Return the key of a tonic and a mode: `A minor`, `F# major`, `D dorian`.

    Raises ValueError, in a player's words, for text that is not a key, and for one of more than seven sharps or flats.
    """
    text = " ".join(text.split())
    if (meant := _named_elsewhere(text)) is not None:
        raise ValueError(f'"{text}" is not a key here: write {meant}')
    tonic_text, _, mode_text = text.partition(" ")
    mode = MODE_ALIASES.get(mode_text.lower(), mode_text.lower())
    if not mode:
        raise ValueError(_bare_key(tonic_text))
    tonic = parse_note_name(tonic_text)
    if mode not in MODES:
        raise ValueError(_unknown_mode(tonic, mode))
    fifths = tonic.fifths + _MODE_FIFTHS[mode]
    if abs(fifths) > 7 and not (
        fifths == -8 and tonic in PLAIN_NAMES
    ):  # Eb locrian has 8 flats, and D# locrian is no usual name
        kind = "sharps" if fifths > 0 else "flats"
        raise ValueError(f"{tonic} {mode} would have {abs(fifths)} {kind}: write {_plainest(tonic.pc, mode)}")
    return Key(tonic, mode)


# Keys as other languages name them: offered, never accepted.
_ELSEWHERE = re.compile(
    r"(?P<name>[A-H](?:is|es|s|#|b)?|do|re|ré|mi|fa|sol|la|si)(?P<sign>#|b|[ -](?:dièse|bémol|sharp|flat|diesis|bemolle|sostenido|bemol))?"
    r"[ -]*(?P<mode>moll|dur|m|mineur|majeur|minore|maggiore|menor|mayor|minor|major)?",
    re.IGNORECASE,
)
_SYLLABLES = {"do": "C", "re": "D", "ré": "D", "mi": "E", "fa": "F", "sol": "G", "la": "A", "si": "B"}
_MODES_ELSEWHERE = {
    **dict.fromkeys(("moll", "m", "mineur", "minore", "menor", "minor"), "minor"),
    **dict.fromkeys(("dur", "majeur", "maggiore", "mayor", "major"), "major"),
}
_SHARP = ("#", "dièse", "sharp", "diesis", "sostenido")


def _named_elsewhere(text: str) -> str | None:
    """Return the key that a German, Romance or spelled-out name means (`h-Moll`, `la mineur`, `B flat major`); else None."""
    match = _ELSEWHERE.fullmatch(text)
    if match is None:
        return None
    name, mode_word = match["name"].lower(), (match["mode"] or "").lower()
    sign = (match["sign"] or "").strip(" -").lower()
    german = mode_word in ("moll", "dur")
    syllable = _SYLLABLES.get(name)
    letter, tail = (syllable, "") if syllable else (name[0].upper(), name[1:])
    foreign = german or syllable or letter == "H" or len(sign) > 1 or tail in ("is", "es", "s")
    if not foreign:
        return None
    tonic = _english_tonic(letter, tail, sign, german)
    mode = _MODES_ELSEWHERE.get(mode_word)
    return f"{tonic} {mode}" if mode else f"{tonic} minor or {tonic} major"


def _english_tonic(letter: str, tail: str, sign: str, german: bool) -> str:
    """Return a tonic in English: the H of German books is B, and their B alone is Bb. `tail` is `is`, `es`, `s` or a sign."""
    if letter == "B" and german and not (sign or tail):
        return "Bb"
    accidental = "#" if sign in _SHARP or tail in ("is", "#") else "b" if sign or tail else ""
    return ("B" if letter == "H" else letter) + accidental


def _bare_key(text: str) -> str:
    match = re.fullmatch(r"([A-Ga-g](?:##?|bb?)?)(m|min|maj|M)?", text)
    if match is None:
        return f'"{text}" is not a key: write tonic and mode, such as A minor'
    tonic = match[1][0].upper() + match[1][1:]
    if match[2] is None:
        return f'"{text}" does not say which mode: write {tonic} minor or {tonic} major'
    return f'"{text}" is a chord symbol: write {tonic} {"minor" if match[2] in ("m", "min") else "major"}'


def _unknown_mode(tonic: NoteName, mode: str) -> str:
    if "blues" in mode or "pentatonic" in mode:
        return f"{mode} is a scale: write key {tonic} {'major' if 'major' in mode else 'minor'} and scale {mode}"
    known = nearest_name(mode, (*MODES, *MODE_ALIASES))
    return f'"{mode}" is not a mode: ' + (f"{tonic} {known}?" if known else f"one of {', '.join(MODES)}")


def plain_degree(semitones: int, minor: bool) -> Degree:
    """Return the degree of a note so many semitones above the tonic that neither scale nor mode holds."""
    semitones %= 12
    return FLAT_FIVE if minor and semitones == 6 else PLAIN_DEGREES[semitones]


@lru_cache(maxsize=2048)
def pitch_name(midi: int, key: Key | None = None) -> str:
    """Return a name such as `Bb3`, spelled by the key; notes outside it are flat, except the raised 4 of a major key."""
    name = PLAIN_NAMES[midi % 12] if key is None else note_name(midi, key)
    return f"{name}{(midi - name.alter) // 12 - 1}"


@lru_cache(maxsize=1024)
def note_name(midi: int, key: Key) -> NoteName:
    """Return the note without its octave, spelled by the key; chromatic notes never get a double sharp or flat."""
    semitones = (midi - key.tonic.pc) % 12
    own = next((degree for degree in key.degrees if degree.semitones == semitones), None)
    name = _spell(midi, key.tonic, own or plain_degree(semitones, key.is_minor))
    if own is None and abs(name.alter) > 1:
        return PLAIN_NAMES[midi % 12]
    return name


def _spell(midi: int, tonic: NoteName, degree: Degree) -> NoteName:
    """Return the note on the letter that the degree's number requires, with the sign that makes the pitch right."""
    letter = _LETTERS[(_LETTERS.index(tonic.letter) + degree.number - 1) % 7]
    return NoteName(letter, (midi - LETTER_PITCH_CLASSES[letter] + 6) % 12 - 6)
