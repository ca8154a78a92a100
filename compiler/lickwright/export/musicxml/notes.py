"""The notes and rests of a bar as elements of a `measure`, on one staff.

In: the voices of a bar. Out: elements appended to its `measure`, from its start to its end, in MusicXML's order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import takewhile
from typing import NamedTuple
from xml.etree.ElementTree import Element

from lickwright.engraving.note_values import TupletInBar
from lickwright.export.musicxml.elements import MeasureCursor, add, add_pitch, value_type
from lickwright.export.musicxml.notations import NotePart, add_notations
from lickwright.export.musicxml.voices import Stolen, Voice, VoiceEvent
from lickwright.export.musicxml.written_bars import PaperKey, WrittenNote, paper_key
from lickwright.music.pitch import Key
from lickwright.notation.techniques import MARKS, Damping, Technique
from lickwright.timeline.model import SoundingNote, Timeline

_NUMBERS = 8  # strings of one staff that joined notes can be told apart on; MusicXML has 16 numbers for two staves


class Staff(NamedTuple):
    """One of the two staves, and what its notes are written with."""

    number: int  # 1: notes; 2: tab
    first_voice: int  # the number of its first voice
    unit: int  # grains of one division
    pitch_shift: tuple[int, ...]  # by string, semitones from the nominal pitch to the one heard
    key: Key | None  # as heard
    joins: Mapping[PaperKey, Sequence[Technique]]

    @property
    def tab(self) -> bool:
        """True for the tab staff."""
        return self.number == 2

    def pitch(self, timeline: Timeline, sound: SoundingNote) -> int:
        """Return the pitch of a note as heard (MIDI): the fretted one, of a harmonic the one that sounds, of a dead note the string's."""
        if sound.harmonic and not sound.dead:
            return round(sound.pitch) + self.pitch_shift[sound.string - 1]
        return timeline.settings.tuning.open(sound.string) + (sound.fret or 0) + self.pitch_shift[sound.string - 1]


def add_voices(
    cursor: MeasureCursor, timeline: Timeline, voices: Sequence[Voice], staff: Staff, fermatas: Sequence[int]
) -> None:
    """Append the voices of a bar, each from its start on. `fermatas` are instants, in grains from the start of the bar."""
    writer = _BarWriter(cursor, timeline, staff, fermatas)
    for number, voice in enumerate(voices):
        cursor.go_to(0)
        writer.voice(voice, staff.first_voice + number)


class _BarWriter:
    """Writes one bar on one staff."""

    def __init__(self, cursor: MeasureCursor, timeline: Timeline, staff: Staff, fermatas: Sequence[int]) -> None:
        self._cursor, self._measure = cursor, cursor.measure
        self._timeline, self._staff, self._fermatas = timeline, staff, fermatas

    def voice(self, voice: Voice, number: int) -> None:
        """Append one voice."""
        events = [item for item in voice if isinstance(item, VoiceEvent)]
        for index, item in enumerate(voice):
            if isinstance(item, Stolen):
                later = next((event.at for event in voice[index:] if isinstance(event, VoiceEvent)), None)
                if later is not None:
                    self._cursor.go_to(later)
                for chord, sound in enumerate(item.notes):
                    self._grace(sound, bool(chord), number)
                continue
            self._cursor.go_to(item.at)
            edges = _tuplet_edges(events, item)
            if not item.notes:
                self._rest(item, number, edges)
            for chord, note in enumerate(item.notes):
                self._note(item, note, bool(chord), number, () if chord else edges)
            self._cursor.at = item.end

    # --- rests ---------------------------------------------------------------------------------------------------

    def _rest(self, event: VoiceEvent, voice: int, edges: Sequence[tuple[str, TupletInBar]]) -> None:
        hidden = {"print_object": "no"} if event.covered else {}
        element = add(self._measure, "note", **hidden)
        add(
            element,
            "rest",
            **({"measure": "yes"} if event.value is None and not event.at and not event.tuplets else {}),
        )
        self._value(element, event, voice, ())
        self._staff_number(element)
        self._notations(element, event, edges)

    # --- notes ---------------------------------------------------------------------------------------------------

    def _note(
        self, event: VoiceEvent, note: WrittenNote, chord: bool, voice: int, edges: Sequence[tuple[str, TupletInBar]]
    ) -> None:
        sound = note.sound
        element = self._head(sound, chord, None)
        ties = [*(["stop"] if note.since else []), *(["start"] if note.goes_on else [])]
        self._value(element, event, voice, ties)
        self._notehead(element, sound)
        self._staff_number(element)
        if not (self._staff.tab or chord):
            for level, word in enumerate(event.beams, 1):
                add(element, "beam", word, number=level)
        notations = self._notations(element, event, edges)
        for end in ties:
            add(notations, "tied", type=end)
        if not note.goes_on:
            _add_ring(notations, sound)
        self._play(element, notations, NotePart(note, self._joins(sound), self._number(sound), self._staff.unit))

    def _grace(self, sound: SoundingNote, chord: bool, voice: int) -> None:
        rake = sound.kind == "rake"
        element = self._head(sound, chord, {} if rake else {"slash": "yes"})
        add(element, "voice", voice)
        add(element, "type", "16th" if rake else "eighth")
        self._notehead(element, sound)
        self._staff_number(element)
        note = WrittenNote(sound, self._cursor.at, self._cursor.at, 0, False)
        part = NotePart(note, self._joins(sound), self._number(sound), self._staff.unit, True)
        notations = add(element, "notations")
        _add_ring(notations, sound)
        self._play(element, notations, part)

    def _head(self, sound: SoundingNote, chord: bool, grace: dict[str, str] | None) -> Element:
        """Append a note up to its pitch; `grace` are the attributes of a note that takes no time."""
        element = add(self._measure, "note")
        if grace is not None:
            add(element, "grace", **grace)
        if chord:
            add(element, "chord")
        add_pitch(element, self._staff.pitch(self._timeline, sound), self._staff.key)
        return element

    def _value(self, element: Element, event: VoiceEvent, voice: int, ties: Sequence[str]) -> None:
        """Append duration, ties, voice and the written value."""
        add(element, "duration", (event.end - event.at) // self._staff.unit)
        for end in ties:
            add(element, "tie", type=end)
        add(element, "voice", voice)
        if event.value is None:
            return
        add(element, "type", value_type(event.value.base))
        for _ in range(event.value.dots):
            add(element, "dot")
        if event.tuplets:
            actual = normal = 1
            for tuplet in event.tuplets:
                actual, normal = actual * tuplet.actual, normal * tuplet.normal
            modification = add(element, "time-modification")
            add(modification, "actual-notes", actual)
            add(modification, "normal-notes", normal)

    @staticmethod
    def _notehead(element: Element, sound: SoundingNote) -> None:
        shape = "x" if sound.dead else "diamond" if sound.harmonic else "normal"
        ghost = {"parentheses": "yes"} if MARKS["?"] in sound.marks else {}
        if ghost or shape != "normal":
            add(element, "notehead", shape, **ghost)

    def _staff_number(self, element: Element) -> None:
        add(element, "staff", self._staff.number)

    def _notations(self, element: Element, event: VoiceEvent, edges: Sequence[tuple[str, TupletInBar]]) -> Element:
        """Append `notations` with what concerns a whole chord: tuplets and a fermata; nothing stays of it where it is empty."""
        notations = add(element, "notations")
        for end, tuplet in edges:
            bracket = {"bracket": "yes"} if end == "start" else {}
            add(notations, "tuplet", type=end, number=tuplet.depth + 1, **bracket)
        if event.at in self._fermatas:
            add(notations, "fermata")
        if not event.notes and not len(notations):
            element.remove(notations)
        return notations

    def _play(self, element: Element, notations: Element, part: NotePart) -> None:
        """Fill the notations of a note, and append how it is damped."""
        add_notations(notations, part, self._staff.tab)
        if not len(notations):
            element.remove(notations)
        muted = "on" if part.sound.dead else "palm" if _is_palm_muted(part.sound) else ""
        if muted:
            add(add(element, "play"), "mute", muted)

    def _joins(self, sound: SoundingNote) -> tuple[Technique, ...]:
        return tuple(self._staff.joins.get(paper_key(sound), ()))

    def _number(self, sound: SoundingNote) -> int:
        """Return what tells the joined notes of a string from those of others on both staves."""
        return (sound.string - 1) % _NUMBERS + 1 + (_NUMBERS if self._staff.tab else 0)


def _add_ring(notations: Element, sound: SoundingNote) -> None:
    """Append that a note rings on, where it does."""
    if any(mark.damping is Damping.RING for mark in sound.marks):
        add(notations, "tied", type="let-ring")


def _is_palm_muted(sound: SoundingNote) -> bool:
    return any(mark.damping is Damping.PALM for mark in sound.marks)


def _tuplet_edges(events: Sequence[VoiceEvent], event: VoiceEvent) -> list[tuple[str, TupletInBar]]:
    """Return the tuplets that begin and end with a event of a voice, outer ones first when they begin, last when they end."""
    index = next(n for n, one in enumerate(events) if one is event)
    before = events[index - 1].tuplets if index else ()
    after = events[index + 1].tuplets if index + 1 < len(events) else ()
    begins = [("start", tuplet) for tuplet in event.tuplets[_common(before, event.tuplets) :]]
    ends = [("stop", tuplet) for tuplet in reversed(event.tuplets[_common(event.tuplets, after) :])]
    return begins + ends


def _common(one: Sequence[TupletInBar], other: Sequence[TupletInBar]) -> int:
    return len(list(takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False))))
