"""Reading MusicXML back by the standard's own rules, without any of the code that wrote it: what a program that plays the score would play.

In: the bytes of a score. Out: the notes of each staff in the order in which they are played, repeats, endings and jumps carried out, ties joined.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


class XmlNote(NamedTuple):
    """One `note` as it is written."""

    at: Fraction  # quarter notes from the start of its measure
    length: Fraction  # quarter notes; 0 for a grace note
    staff: int
    voice: int
    string: int | None
    fret: int | None
    pitch: int  # MIDI
    tie_start: bool
    tie_stop: bool
    element: ET.Element


@dataclass
class XmlMeasure:
    """One `measure`."""

    length: Fraction
    notes: list[XmlNote]
    forward: bool = False
    times: int = 0  # of the repeat that ends here
    ending: tuple[int, ...] = ()  # that starts here
    ending_stops: bool = False
    sounds: set[str] = field(default_factory=set)


class Heard(NamedTuple):
    """One note as it is played."""

    at: Fraction  # quarter notes from the start of the music as played
    length: Fraction
    string: int | None
    fret: int | None
    pitch: int
    elements: tuple[ET.Element, ...]  # the notes that are tied to it


class Score:
    """A score as it was read."""

    def __init__(self, data: bytes) -> None:
        self.root = ET.fromstring(data)
        self.divisions = 0
        self.measures = [self._measure(one) for one in self.root.iterfind("part/measure")]

    def _measure(self, element: ET.Element) -> XmlMeasure:
        measure = XmlMeasure(Fraction(0), [])
        at = chord_at = 0
        furthest = 0
        for child in element:
            if child.tag == "attributes" and child.find("divisions") is not None:
                self.divisions = int(child.findtext("divisions", ""))
            duration = int(child.findtext("duration", "0"))
            if child.tag == "backup":
                at -= duration
            elif child.tag == "forward":
                at += duration
            elif child.tag == "note":
                start = chord_at if child.find("chord") is not None else at
                if child.find("rest") is None:
                    measure.notes.append(self._note(child, start, duration))
                if child.find("chord") is None:
                    chord_at, at = at, at + duration
            elif child.tag == "barline":
                _read_line(measure, child)
            for sound in child.iter("sound"):
                measure.sounds |= set(sound.keys())
            assert at >= 0
            furthest = max(furthest, at)
        measure.length = Fraction(furthest, self.divisions)
        return measure

    def _note(self, element: ET.Element, at: int, duration: int) -> XmlNote:
        step, octave = element.findtext("pitch/step", ""), int(element.findtext("pitch/octave", ""))
        pitch = 12 * (octave + 1) + STEPS[step] + int(element.findtext("pitch/alter", "0"))
        string, fret = (element.findtext(f"notations/technical/{name}") for name in ("string", "fret"))
        ties = [one.get("type") for one in element.iterfind("tie")]
        assert ties == [one.get("type") for one in element.iterfind("notations/tied") if one.get("type") != "let-ring"]
        return XmlNote(
            Fraction(at, self.divisions), Fraction(duration, self.divisions), int(element.findtext("staff", "")), int(element.findtext("voice", "")),
            None if string is None else int(string), None if fret is None else int(fret), pitch, "start" in ties, "stop" in ties, element,
        )  # fmt: skip

    def order(self) -> list[int]:
        """The measures as they are played, by index."""
        found: list[int] = []
        start, time, jumped, index = 0, 1, False, 0
        while index < len(self.measures):
            assert len(found) < 100_000
            measure = self.measures[index]
            if measure.forward and not jumped and start != index:
                start, time = index, 1
            if measure.ending and (self._is_first(index) if jumped else time not in measure.ending):
                index = start = self._ending_end(index) + 1
                continue
            found.append(index)
            if measure.times and not jumped and time < measure.times:
                index, time = start, time + 1
                continue
            if jumped and "fine" in measure.sounds:
                break
            if jumped and "tocoda" in measure.sounds:
                index = self._find("coda")
                continue
            jumps = measure.sounds & {"dacapo", "dalsegno"}
            if jumps and not jumped and time >= self._times_after(index):
                index, jumped = (0 if "dacapo" in jumps else self._find("segno")), True
                continue
            if measure.times:
                start, time = index + 1, (time if self._next_is_ending(index) else 1)
            elif measure.ending_stops:
                time = 1
            index += 1
        return found

    def _is_first(self, index: int) -> bool:
        return bool(self.measures[self._ending_end(index)].times)

    def _next_is_ending(self, index: int) -> bool:
        return index + 1 < len(self.measures) and bool(self.measures[index + 1].ending)

    def _ending_end(self, index: int) -> int:
        return next(n for n in range(index, len(self.measures)) if self.measures[n].ending_stops)

    def _find(self, sound: str) -> int:
        return next(n for n, one in enumerate(self.measures) if sound in one.sounds)

    def _times_after(self, index: int) -> int:
        """How many times the repeat that a measure lies in is played; 1 outside of repeats."""
        for n, one in enumerate(self.measures[index:], index):
            if one.forward and n > index:
                return 1
            if one.times:
                return one.times
        return 1

    def heard(self, staff: int) -> tuple[list[Heard], list[Heard]]:
        """The notes of a staff as played, and its grace notes, each by start."""
        notes: list[Heard] = []
        graces: list[Heard] = []
        open_ties: dict[tuple[int | None, int], int] = {}  # by string and pitch: the index of the note that goes on
        begin = Fraction(0)
        for index in self.order():
            measure = self.measures[index]
            for one in sorted((n for n in measure.notes if n.staff == staff), key=lambda n: n.at):
                heard = Heard(begin + one.at, one.length, one.string, one.fret, one.pitch, (one.element,))
                if one.element.find("grace") is not None:
                    graces.append(heard)
                    continue
                before = open_ties.pop((one.string, one.pitch), None)
                if one.tie_stop and before is not None and notes[before].at + notes[before].length == heard.at:
                    notes[before] = notes[before]._replace(
                        length=notes[before].length + one.length, elements=(*notes[before].elements, one.element)
                    )
                else:
                    before = len(notes)
                    notes.append(heard)
                if one.tie_start:
                    open_ties[one.string, one.pitch] = before
            begin += measure.length
        return notes, graces


def _read_line(measure: XmlMeasure, line: ET.Element) -> None:
    ending, repeat = line.find("ending"), line.find("repeat")
    if ending is not None and ending.get("type") == "start":
        measure.ending = tuple(int(word) for word in ending.get("number", "").split(","))
    elif ending is not None:
        measure.ending_stops = True
    if repeat is not None and repeat.get("direction") == "forward":
        measure.forward = True
    elif repeat is not None:
        measure.times = int(repeat.get("times", "2"))
