"""One part of a score, walked through: every note, symbol and sign at its exact place.

In: the measures of a part. Out: `PartMusic`: for each measure what stands in it, with instants in whole notes from its start. Nothing is judged: which staff
counts, what is tied and how a note is played are worked out by the modules that read this.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.musicxml.numbers import attribute_number, number_or, whole_number, wrong_score
from lickwright.importers.xml_tree import XmlElement
from lickwright.music.pitch import LETTER_PITCH_CLASSES
from lickwright.music.rhythm import Meter, parse_meter

_MOST_DIVISIONS = 10**9
_MOST_WHOLE_NOTES = 20_000  # that a part lasts, since each bar of it is written
MAX_SCORE_NOTES = 20_000  # of one part; a lick holds 10,000 events


class ScoreNote(NamedTuple):
    """One `note` with a pitch or a place."""

    at: Fraction  # whole notes from the start of its measure
    length: Fraction  # whole notes; 0 for a grace note
    staff: int
    voice: str
    pitch: int | None  # as heard (MIDI); None for a note without one
    string: int | None
    fret: int | None
    grace: bool
    order: int  # its place among the notes of the part
    element: XmlElement


@mutable_record
class ScoreMeasure:
    """One `measure`."""

    number: str
    line: int
    implicit: bool = False
    length: Fraction = Fraction(0)  # whole notes, up to where it was written
    meter: Meter | None = None  # where one begins to hold
    notes: list[ScoreNote] = field(default_factory=list)
    fermatas: list[Fraction] = field(default_factory=list)
    said: list[tuple[Fraction, XmlElement]] = field(default_factory=list)  # `direction`, `harmony` and `sound` elements
    lines: list[XmlElement] = field(default_factory=list)  # `barline` elements
    repeats_before: str = ""  # "start" or "stop" of measures that repeat the one before, where it stands here
    new_system: bool = False


@mutable_record
class StaffLook:
    """What the attributes say of one staff."""

    tab: bool = False
    alternate: bool = False
    strings: int = 0  # lines of a tab staff; 0 where they are not written
    tuning: dict[int, int] = field(default_factory=dict)  # line from 1, the lowest → MIDI pitch of the open string
    capo: int = 0


@mutable_record
class PartMusic:
    """A part."""

    measures: list[ScoreMeasure] = field(default_factory=list)
    staves: dict[int, StaffLook] = field(default_factory=dict)
    key: XmlElement | None = None  # the first
    clamped: int = 0  # times that a measure goes back to before its start
    unpitched: int = 0  # notes of percussion, left out


def read_part(measures: Iterable[XmlElement]) -> PartMusic:
    """Return the music of a part. Raises `Unreadable` for lengths that cannot be, and for too many notes."""
    walker = _Walker()
    for element in measures:
        walker.measure(element)
    return walker.part


class _Walker:
    """Goes through the measures of a part."""

    def __init__(self) -> None:
        self.part = PartMusic()
        self._divisions = 1
        self._transposed = 0  # semitones from what is written to what is heard
        self._order = 0
        self._length = Fraction(0)  # whole notes of the measures so far
        self._at = self._chord_at = Fraction(0)
        self._measure = ScoreMeasure("", 0)

    def measure(self, element: XmlElement) -> None:
        """Add one measure. Raises `Unreadable` where the part lasts too long."""
        number = element.get("number", str(len(self.part.measures) + 1))
        self._measure = ScoreMeasure(number, element.line, element.get("implicit") == "yes")
        self._at = self._chord_at = Fraction(0)
        for child in element:
            read = _READERS.get(child.tag)
            if read is not None:
                read(self, child)
            self._measure.length = max(self._measure.length, self._at)
        self._length += self._measure.length
        if self._length > _MOST_WHOLE_NOTES:
            raise wrong_score(element, f"the part lasts more than {_MOST_WHOLE_NOTES:,} whole notes")
        self.part.measures.append(self._measure)

    # --- time ----------------------------------------------------------------------------------------------------

    def _duration(self, element: XmlElement) -> Fraction:
        duration = element.first("duration")
        if duration is None:
            return Fraction(0)
        if "." in duration.words():
            value = max(Fraction(0), number_or(duration, Fraction(0)))
        else:
            value = Fraction(whole_number(duration, "", 0, 0, 10**12))
        return value / (4 * self._divisions)

    def backup(self, element: XmlElement) -> None:
        """Go back."""
        self._at -= self._duration(element)
        if self._at < 0:
            self._at = Fraction(0)
            self.part.clamped += 1

    def forward(self, element: XmlElement) -> None:
        """Go on."""
        self._at += self._duration(element)

    # --- notes ---------------------------------------------------------------------------------------------------

    def note(self, element: XmlElement) -> None:
        """Add a note, or pass over a rest."""
        tags = {child.tag for child in element}
        chord, grace = "chord" in tags, "grace" in tags
        length = Fraction(0) if grace else self._duration(element)
        start = self._chord_at if chord else self._at
        if not chord and "cue" not in tags:
            self._chord_at = start
            self._at = start + length
        if "cue" in tags:
            return
        if element.first("notations/fermata") is not None and start not in self._measure.fermatas:
            self._measure.fermatas.append(start)
        if "rest" not in tags:
            self._pitched(element, start, length, grace)

    def _pitched(self, element: XmlElement, start: Fraction, length: Fraction, grace: bool) -> None:
        string = whole_number(element, "notations/technical/string", 0, 0, 99) or None
        fret = whole_number(element, "notations/technical/fret", -1, -1, 99)
        pitch = self._pitch(element)
        if pitch is None and string is None:
            self.part.unpitched += 1
            return
        self._order += 1
        if self._order > MAX_SCORE_NOTES:
            raise wrong_score(element, f"the part has more than {MAX_SCORE_NOTES:,} notes")
        staff = whole_number(element, "staff", 1, 1, 99)
        self._measure.notes.append(
            ScoreNote(
                start,
                length,
                staff,
                element.words("voice"),
                pitch,
                string,
                fret if fret >= 0 else None,
                grace,
                self._order,
                element,
            )  # fmt: skip
        )

    def _pitch(self, element: XmlElement) -> int | None:
        pitch = element.first("pitch")
        if pitch is None:
            return None
        step = LETTER_PITCH_CLASSES.get(pitch.words("step"))
        if step is None:
            raise wrong_score(pitch, "a pitch without its letter")
        octave = whole_number(pitch, "octave", 4, -1, 10)
        semitones = round(number_or(pitch.first("alter"), Fraction(0)))
        return 12 * (octave + 1) + step + semitones + self._transposed

    # --- attributes ----------------------------------------------------------------------------------------------

    def attributes(self, element: XmlElement) -> None:
        """Take over divisions, meter, key, staves, transposition."""
        for child in element:
            if child.tag == "divisions":
                self._divisions = whole_number(child, "", 1, 1, _MOST_DIVISIONS)
            elif child.tag == "time":
                self._measure.meter = _meter(child) or self._measure.meter
            elif child.tag == "key" and self.part.key is None:
                self.part.key = child
            elif child.tag == "transpose":
                octaves = whole_number(child, "octave-change", 0, -9, 9)
                self._transposed = whole_number(child, "chromatic", 0, -99, 99) + 12 * octaves
            elif child.tag == "clef":
                self._staff(child).tab = child.words("sign").upper() == "TAB"
            elif child.tag == "staff-details":
                self._staff_details(child)
            elif child.tag == "measure-style":
                for repeat in child.all("measure-repeat"):
                    self._measure.repeats_before = repeat.get("type")

    def _staff(self, element: XmlElement) -> StaffLook:
        return self.part.staves.setdefault(int(attribute_number(element, "number", Fraction(1))), StaffLook())

    def _staff_details(self, element: XmlElement) -> None:
        staff = self._staff(element)
        staff.alternate = element.words("staff-type") == "alternate"
        staff.strings = whole_number(element, "staff-lines", staff.strings, 0, 99)
        staff.capo = whole_number(element, "capo", staff.capo, 0, 99)
        for one in element.all("staff-tuning"):
            step = LETTER_PITCH_CLASSES.get(one.words("tuning-step"))
            if step is not None:
                pitch = 12 * (whole_number(one, "tuning-octave", 4, -1, 10) + 1) + step
                staff.tuning[int(attribute_number(one, "line", Fraction(0)))] = pitch + whole_number(
                    one, "tuning-alter", 0, -9, 9
                )

    # --- the rest ------------------------------------------------------------------------------------------------

    def said(self, element: XmlElement) -> None:
        """Keep a direction, a chord symbol or a sound with its instant."""
        at = self._at + number_or(element.first("offset"), Fraction(0)) / (4 * self._divisions)
        self._measure.said.append((max(Fraction(0), at), element))

    def barline(self, element: XmlElement) -> None:
        """Keep a bar line."""
        self._measure.lines.append(element)

    def print(self, element: XmlElement) -> None:
        """Note where a line of print begins."""
        self._measure.new_system |= "yes" in (element.get("new-system"), element.get("new-page"))


_READERS: dict[str, Callable[[_Walker, XmlElement], None]] = {
    "note": _Walker.note, "backup": _Walker.backup, "forward": _Walker.forward, "attributes": _Walker.attributes, "barline": _Walker.barline,
    "direction": _Walker.said, "harmony": _Walker.said, "sound": _Walker.said, "print": _Walker.print,
}  # fmt: skip


def _meter(element: XmlElement) -> Meter | None:
    """Return a meter, of several together their sum; None for one that the notation does not have."""
    beats = [one.words().replace(" ", "") for one in element.all("beats")]
    units = [one.words() for one in element.all("beat-type")]
    if not beats or len(set(units)) != 1:
        return None
    groups = "+".join(beats).split("+")
    if not all(group.isdecimal() and len(group) < 4 for group in groups):
        return None
    text = f"{sum(map(int, groups))}/{units[0]}"
    try:
        return parse_meter(f"{text} {'+'.join(groups)}" if len(groups) > 1 else text)
    except ValueError:
        return None
