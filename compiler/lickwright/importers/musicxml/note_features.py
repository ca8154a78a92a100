"""How a note of a score is played, in the rows of the technique table.

In: a `note` element. Out: `NoteFeatures`: what its notations say, without bends (`bends.py`) and without what depends on the note before
(`connections.py`). Words in `other-technical` are those that Lickwright itself writes where MusicXML has no element.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.xml_tree import XmlElement
from lickwright.notation.techniques import ENTRIES, HEADS, MARKS, SHAPES, WORDS, Technique

_DIVE = -3  # semitones from which a dip of the bar is a dive; an estimate
_TOUCH = re.compile(r"touch (?:over )?([0-9]{1,2}(?:\.[0-9]{1,2})?)")
_TRILL = re.compile(r"trill with fret ([0-9]{1,2})")
_TECHNICAL = {"up-bow": WORDS["up"], "down-bow": WORDS["down"], "snap-pizzicato": WORDS["snap"]}
_ARTICULATIONS = {
    "accent": MARKS["!"],
    "strong-accent": MARKS["!"],
    "staccato": MARKS[","],
    "staccatissimo": MARKS[","],
}
_WORDS = {"slap": WORDS["slap"], "pop": WORDS["pop"], "swell": WORDS["swell"]}
_OFFS = {"doit": SHAPES["/"], "falloff": SHAPES["\\"]}
_INS = {"scoop": ENTRIES["/"], "plop": ENTRIES["\\"]}
_FINGERS, _PLUCKS = ("1", "2", "3", "4", "T"), ("p", "i", "m", "a", "c")
_PASSED_OVER = frozenset(("string", "fret", "hammer-on", "pull-off", "open-string", "thumb-position"))


@mutable_record
class NoteFeatures:
    """What the notations of one `note` say."""

    marks: list[Technique] = field(default_factory=list)
    head: Technique | None = None
    touch: Fraction | None = None
    entry: Technique | None = None  # slid into, or hammered, from nowhere
    off: Technique | None = None  # slides off at its end
    tapped: bool = False
    vibrato: Technique | None = None
    trill: int | None = None  # semitones above the note
    trill_fret: int | None = None
    finger: str | None = None
    pluck: str | None = None
    lets_ring: bool = False
    rake: bool = False
    scrape: bool = False
    roll: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    lost: list[str] = field(default_factory=list)  # names of elements without a place in the notation


def note_features(element: XmlElement) -> NoteFeatures:
    """Return how a note is played."""
    found = NoteFeatures()
    for tie in element.all("tie"):
        found.tie_start |= tie.get("type") == "start"
        found.tie_stop |= tie.get("type") == "stop"
    for notations in element.all("notations"):
        for child in notations:
            if child.tag == "technical":
                _read_technical(found, child)
            elif child.tag == "articulations":
                _read_articulations(found, child)
            elif child.tag == "ornaments":
                _read_ornaments(found, child)
            elif child.tag == "tied":
                found.lets_ring |= child.get("type") == "let-ring"
            elif child.tag == "arpeggiate":
                found.roll = True
    _read_head(found, element)
    return found


def _read_technical(found: NoteFeatures, technical: XmlElement) -> None:
    for child in technical:
        read = _TECHNICAL_READERS.get(child.tag)
        if child.tag in _TECHNICAL:
            found.marks.append(_TECHNICAL[child.tag])
        elif read is not None:
            read(found, child)
        elif child.tag not in _PASSED_OVER:
            found.lost.append(child.tag)


def _read_tap(found: NoteFeatures, _: XmlElement) -> None:
    found.tapped = True


def _read_harmonic(found: NoteFeatures, element: XmlElement) -> None:
    found.head = found.head or HEADS["n<>" if element.first("artificial") is not None else "<>"]


def _read_finger(found: NoteFeatures, element: XmlElement) -> None:
    if element.tag == "fingering":
        found.finger = element.words() if element.words() in _FINGERS else found.finger
    else:
        found.pluck = element.words() if element.words() in _PLUCKS else found.pluck


def _read_bar(found: NoteFeatures, bend: XmlElement) -> None:
    if bend.first("with-bar") is not None:
        found.marks.append(_bar_word(bend))


def _bar_word(bend: XmlElement) -> Technique:
    """Return the word for a move of the bar."""
    said = bend.words("with-bar")
    if said in ("dive", "dip", "scoop"):
        return WORDS[said]
    text = bend.words("bend-alter")
    deep = text.startswith("-") and text[1:].split(".")[0].isdecimal() and -int(text[1:].split(".")[0][:6]) <= _DIVE
    return WORDS["dive" if deep else "dip"]


def _read_words(found: NoteFeatures, element: XmlElement) -> None:
    words = element.words()
    touch, trill = _TOUCH.fullmatch(words), _TRILL.fullmatch(words)
    if words in _WORDS:
        found.marks.append(_WORDS[words])
    elif touch:
        found.touch = Fraction(touch[1])
    elif trill:
        found.trill_fret = int(trill[1])
    elif words == "pinch":
        found.head = HEADS["*"]
    elif words == "hammer-on from nowhere":
        found.entry = ENTRIES["h"]
    elif words == "rake":
        found.rake = True
    elif words == "pick scrape":
        found.scrape = True
    elif words:
        found.lost.append(f"“{words[:40]}”")


_TECHNICAL_READERS: dict[str, Callable[[NoteFeatures, XmlElement], None]] = {
    "tap": _read_tap, "harmonic": _read_harmonic, "fingering": _read_finger, "pluck": _read_finger, "bend": _read_bar, "other-technical": _read_words,
}  # fmt: skip


def _read_articulations(found: NoteFeatures, articulations: XmlElement) -> None:
    for child in articulations:
        if child.tag in _ARTICULATIONS:
            found.marks.append(_ARTICULATIONS[child.tag])
        elif child.tag in _OFFS:
            found.off = _OFFS[child.tag]
        elif child.tag in _INS:
            found.entry = _INS[child.tag]
        elif child.tag not in ("tenuto", "detached-legato", "breath-mark", "caesura"):
            found.lost.append(child.tag)


def _read_ornaments(found: NoteFeatures, ornaments: XmlElement) -> None:
    wave = next((child for child in ornaments if child.tag == "wavy-line"), None)
    for child in ornaments:
        if child.tag == "trill-mark":
            found.trill = 1 if child.get("trill-step") == "half" else 2
        elif child.tag == "tremolo" and child.get("type", "single") == "single":
            found.marks.append(WORDS["tremolo"])
        elif child.tag not in ("wavy-line", "accidental-mark", "tremolo"):
            found.lost.append(child.tag)
    if wave is not None and wave.get("type") != "stop" and found.trill is None and "Trill" not in wave.get("smufl"):
        found.vibrato = SHAPES["~~" if "Wide" in wave.get("smufl") else "~"]


def _read_head(found: NoteFeatures, element: XmlElement) -> None:
    notehead = element.first("notehead")
    muted = element.words("play/mute")
    crossed = notehead is not None and notehead.words() == "x"
    if not (found.rake or found.scrape) and (muted == "on" or (crossed and found.head is None)):
        found.head = HEADS["x"]
    elif muted == "palm":
        found.marks.append(WORDS["pm"])
    if notehead is not None and notehead.get("parentheses") == "yes":
        found.marks.append(MARKS["?"])
