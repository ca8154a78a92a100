"""Chord symbols, tempo, loudness, words and jumps of a measure of a score, as a draft has them.

In: what stands over the notes of a `ScoreMeasure`. Out: `MeasureSymbols`. Chord symbols of a score are as heard; a draft names them as they are fingered.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.draft import DraftChord, DraftDirection
from lickwright.importers.musicxml.numbers import attribute_number
from lickwright.importers.musicxml.part_music import ScoreMeasure
from lickwright.importers.xml_tree import XmlElement
from lickwright.music.chord import NO_CHORD, parse_chord
from lickwright.music.musicxml_kinds import MUSICXML_KINDS
from lickwright.music.pitch import Key
from lickwright.music.rhythm import Meter, parse_feel, parse_tempo
from lickwright.notation.navigation import BY_SIGN, NAVIGATION, NavigationMark

_TYPES = {"whole": 1, "half": 2, "quarter": 4, "eighth": 8, "16th": 16, "32nd": 32, "64th": 64}
_LOUDNESS = {
    "ppp": "pp",
    "pppp": "pp",
    "fff": "ff",
    "ffff": "ff",
    "pp": "pp",
    "p": "p",
    "mp": "mp",
    "mf": "mf",
    "f": "f",
    "ff": "ff",
}
_SPANS = {
    "P.M.": "",
    "PM": "",
    "let ring": "ring",
    "let ring.": "ring",
}  # words whose dashes say how notes are played, which the notes say too
_PRINTED = {mark.printed.lower(): mark for mark in NAVIGATION}
_SOUNDS = {"segno": "segno", "coda": "coda", "tocoda": "to-coda", "fine": "fine", "dacapo": "dc", "dalsegno": "ds"}


@mutable_record
class MeasureSymbols:
    """What stands over the notes of one measure."""

    chords: list[DraftChord] = field(default_factory=list)
    directions: list[DraftDirection] = field(default_factory=list)
    marks: list[NavigationMark] = field(default_factory=list)
    opening: bool = False  # it is the first
    tempo: str = ""  # at the start of the first
    feel: str = ""
    rings: list[tuple[Fraction, str, str]] = field(
        default_factory=list
    )  # where "let ring" begins and ends: instant, "start" or "stop", number
    lost: list[str] = field(default_factory=list)


class SymbolReader:
    """Reads the symbols of the measures of a part, in order."""

    def __init__(self, shift: int, key: Key | None) -> None:
        self._shift = shift  # semitones from what is fingered to what is heard
        self._key = key  # as fingered
        self._ringing: Counter[str] = Counter()  # by the number of the dashes
        self._begun = False

    def read(self, measure: ScoreMeasure, meter: Meter) -> MeasureSymbols:
        """Return the symbols of one measure."""
        found = MeasureSymbols(opening=not self._begun)
        self._begun = True
        for at, element in measure.said:
            if element.tag == "harmony":
                self._harmony(found, at, element)
            elif element.tag == "sound":
                _read_sound(found, at, element, meter, bool(found.tempo))
            else:
                self._direction(found, at, element, meter)
        found.directions += [DraftDirection(at, "fermata") for at in measure.fermatas]
        found.directions = sorted(dict.fromkeys(found.directions), key=lambda one: one.at)
        found.chords.sort(key=lambda one: one.at)
        return found

    # --- chords --------------------------------------------------------------------------------------------------

    def _harmony(self, found: MeasureSymbols, at: Fraction, element: XmlElement) -> None:
        symbol = self._symbol(element)
        if symbol:
            found.chords.append(DraftChord(at, symbol))
        else:
            found.lost.append("a chord symbol")

    def _symbol(self, element: XmlElement) -> str:
        kind = element.first("kind")
        if kind is not None and kind.words() == "none":
            return NO_CHORD
        root = _named(element, "root")
        if not root or kind is None:
            return ""
        bass = _named(element, "bass")
        tails = [kind.get("text"), MUSICXML_KINDS.get(kind.words(), "?")]
        for tail in tails if "text" in kind.attributes else tails[1:]:
            chord = parse_chord(f"{root}{tail}" + (f"/{bass}" if bass else "")) if _is_chord(root, tail, bass) else None
            if chord is not None:
                return chord.transposed(-self._shift, self._key).symbol
        return ""

    # --- directions ----------------------------------------------------------------------------------------------

    def _direction(self, found: MeasureSymbols, at: Fraction, element: XmlElement, meter: Meter) -> None:
        sound = element.first("sound")
        metronome = next(element.all("direction-type/metronome"), None)
        tempo = _metronome(metronome, meter) if metronome is not None else ""
        if tempo:
            _add_tempo(found, at, tempo)
        marks = len(found.marks)
        if sound is not None:
            _read_sound(found, at, sound, meter, bool(tempo))
        for kind in element.all("direction-type"):
            for child in kind:
                self._read_type(found, at, child, element)
        if sound is not None and len(found.marks) == marks:
            found.marks += _jumps(sound)

    def _read_type(self, found: MeasureSymbols, at: Fraction, child: XmlElement, direction: XmlElement) -> None:
        if child.tag == "dynamics":
            found.directions += [
                DraftDirection(at, "dynamic", _LOUDNESS[one.tag]) for one in child if one.tag in _LOUDNESS
            ]
        elif child.tag in ("segno", "coda"):
            found.marks.append(BY_SIGN[child.tag])
        elif child.tag == "dashes":
            self._dashes(found, at, child, direction)
        elif child.tag in ("words", "rehearsal"):
            self._words(found, at, " ".join(child.text.split()), direction)

    def _dashes(self, found: MeasureSymbols, at: Fraction, dashes: XmlElement, direction: XmlElement) -> None:
        number = dashes.get("number", "1")
        words = [" ".join(one.text.split()) for one in direction.all("direction-type/words")]
        if dashes.get("type") == "start" and any(_SPANS.get(one) == "ring" for one in words):
            self._ringing[number] += 1
            found.rings.append((at, "start", number))
        elif dashes.get("type") == "stop" and self._ringing[number]:
            self._ringing[number] -= 1
            found.rings.append((at, "stop", number))

    def _words(self, found: MeasureSymbols, at: Fraction, words: str, direction: XmlElement) -> None:
        mark = _PRINTED.get(words.lower())
        if mark is not None:
            found.marks.append(mark)
        elif words and words not in _SPANS and not _is_feel(found, at, words, direction):
            found.directions.append(DraftDirection(at, "words", words))


def _named(element: XmlElement, tag: str) -> str:
    """Return the note of a `root` or `bass`: "F#"; "" where there is none."""
    step = element.words(f"{tag}/{tag}-step")
    if step not in ("A", "B", "C", "D", "E", "F", "G"):
        return ""
    alter = element.words(f"{tag}/{tag}-alter")
    return step + {"1": "#", "-1": "b", "2": "##", "-2": "bb"}.get(alter.removesuffix(".0"), "")


def _is_chord(root: str, tail: str, bass: str) -> bool:
    try:
        return parse_chord(f"{root}{tail}" + (f"/{bass}" if bass else "")) is not None
    except ValueError:
        return False


def _is_feel(found: MeasureSymbols, at: Fraction, words: str, direction: XmlElement) -> bool:
    """Return whether words are a feel, which has been taken over."""
    if direction.first("sound/swing") is not None:
        return True
    if at or found.feel or not found.opening:
        return False
    try:
        found.feel = str(parse_feel(words))
    except ValueError:
        return False
    return True


# --- tempo and sound -------------------------------------------------------------------------------------------------


def _metronome(element: XmlElement, meter: Meter) -> str:
    """Return the tempo of a metronome mark as a `tempo` field has it; "" for one that it cannot say."""
    units = [child for child in element if child.tag == "beat-unit"]
    numbers = "".join(sign for sign in element.words("per-minute") if sign in "0123456789.").strip(".")
    if len(units) != 1 or units[0].words() not in _TYPES or not numbers:
        return ""
    dots = sum(child.tag == "beat-unit-dot" for child in element)
    value = Fraction(2 ** (dots + 1) - 1, _TYPES[units[0].words()] * 2**dots)
    text = f"1/{_TYPES[units[0].words()]}{'.' * dots}"
    return _tempo(numbers if value == meter.beat else f"{text} = {numbers}")


def _tempo(text: str) -> str:
    try:
        parse_tempo(text)
    except ValueError:
        return ""
    return text


def _add_tempo(found: MeasureSymbols, at: Fraction, tempo: str) -> None:
    if at or found.tempo or not found.opening:
        found.directions.append(DraftDirection(at, "tempo", tempo))
    else:
        found.tempo = tempo


def _read_sound(found: MeasureSymbols, at: Fraction, sound: XmlElement, meter: Meter, told: bool) -> None:
    """Take over tempo and swing of a `sound` element; `told`: a metronome mark has said the tempo."""
    quarters = attribute_number(sound, "tempo", Fraction(0))
    if quarters > 0 and not told:
        beats = quarters / (4 * meter.beat)
        tempo = _tempo(f"{float(beats):.2f}".rstrip("0").rstrip("."))
        if tempo:
            _add_tempo(found, at, tempo)
    for swing in sound.all("swing"):
        first, second = swing.words("first"), swing.words("second")
        unit = " 1/16" if swing.words("swing-type") == "16th" else ""
        feel = "straight" if swing.first("straight") is not None else f"swing {first}:{second}{unit}"
        try:
            found.feel = str(parse_feel("shuffle" + unit if (first, second) == ("2", "1") else feel))
        except ValueError:
            found.lost.append("swing")


def _jumps(sound: XmlElement) -> Iterator[NavigationMark]:
    for name, sign in _SOUNDS.items():
        if sound.get(name):
            yield BY_SIGN[sign]
