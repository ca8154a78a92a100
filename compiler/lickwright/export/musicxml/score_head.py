"""What stands before the music: title, people, rights, what the lick is in, the instrument; and the attributes of the first bar.

In: a Timeline. Out: elements appended to `score-partwise` and to the first `measure`.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree.ElementTree import Element

from lickwright.export.musicxml.elements import add, add_tuning, sounding_key
from lickwright.music.pitch import Key
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline

_PART, _INSTRUMENT = "P1", "P1-I1"
_TAB_LINE = 5  # of the TAB sign, by MusicXML; a staff of fewer lines has it on its top one
# Modes that MusicXML has no name for, as the one with the same signature.
_MODES = {"harmonic minor": "minor", "melodic minor": "minor"}


def add_head(score: Element, timeline: Timeline) -> None:
    """Append title, identification and the list of parts to a score."""
    settings = timeline.settings
    add(add(score, "work"), "work-title", timeline.title)
    identification = add(score, "identification")
    if settings.by:
        add(identification, "creator", settings.by, type="composer")
    if settings.rights:
        add(identification, "rights", settings.rights)
    add(add(identification, "encoding"), "software", "Lickwright")
    if settings.source:
        add(identification, "source", settings.source)
    fields = list(_fields(settings))
    if fields:
        miscellaneous = add(identification, "miscellaneous")
        for name, value in fields:
            add(miscellaneous, "miscellaneous-field", value, name=name)
    _add_part(score, settings)


def _fields(settings: Settings) -> Iterator[tuple[str, str]]:
    """Yield the fields that MusicXML has no place for, by their names in the notation."""
    if settings.key is not None:
        yield "key", str(settings.key)
    if settings.scale is not None:
        yield "scale", str(settings.scale)
    if settings.box is not None:
        yield "box", str(settings.box)
    if settings.level is not None:
        yield "level", str(settings.level)
    for name, value in (("tags", settings.tags), ("style", settings.style), ("from", settings.origin)):
        if value:
            yield name, value
    yield from (("note", note) for note in settings.notes)


def _add_part(score: Element, settings: Settings) -> None:
    part = add(add(score, "part-list"), "score-part", id=_PART)
    add(part, "part-name", "Bass" if settings.tuning.is_bass else "Guitar")
    add(add(part, "score-instrument", id=_INSTRUMENT), "instrument-name", settings.sound)
    midi = add(part, "midi-instrument", id=_INSTRUMENT)
    add(midi, "midi-channel", 1)
    add(midi, "midi-program", settings.instrument.program + 1)


def add_part(score: Element) -> Element:
    """Append the part that holds the bars, and return it."""
    return add(score, "part", id=_PART)


def add_attributes(measure: Element, timeline: Timeline, divisions: int) -> None:
    """Append what holds from the first bar on: divisions of a quarter note, key, meter, two staves, tuning, capo."""
    settings = timeline.settings
    attributes = add(measure, "attributes")
    add(attributes, "divisions", divisions)
    _add_key(attributes, sounding_key(settings))
    meter = settings.meter
    time = add(attributes, "time")
    grouped = str(meter).partition(" ")[2]
    add(time, "beats", grouped or meter.beats)
    add(time, "beat-type", meter.unit)
    add(attributes, "staves", 2)
    _add_clefs(attributes, settings)
    _add_tab_staff(attributes, settings)


def _add_key(attributes: Element, key: Key | None) -> None:
    element = add(attributes, "key")
    add(element, "fifths", 0 if key is None else key.signature)
    if key is not None:
        add(element, "mode", _MODES.get(key.mode, key.mode))


def _add_clefs(attributes: Element, settings: Settings) -> None:
    """Append a clef that sounds an octave lower than it looks, and the TAB sign."""
    notes = add(attributes, "clef", number=1)
    sign, line = ("F", 4) if settings.tuning.is_bass else ("G", 2)
    add(notes, "sign", sign)
    add(notes, "line", line)
    add(notes, "clef-octave-change", -1)
    tab = add(attributes, "clef", number=2)
    add(tab, "sign", "TAB")
    add(tab, "line", min(_TAB_LINE, settings.tuning.strings))


def _add_tab_staff(attributes: Element, settings: Settings) -> None:
    """Append the strings of the tab staff, which shows the same music as the first staff: `alternate`, so that no player sounds it twice."""
    tuning = settings.tuning
    details = add(attributes, "staff-details", number=2, show_frets="numbers")
    add(details, "staff-type", "alternate")
    add(details, "staff-lines", tuning.strings)
    for line, pitch in enumerate(reversed(tuning.sounding), 1):
        add_tuning(add(details, "staff-tuning", line=line), pitch)
    if settings.capo:
        add(details, "capo", settings.capo)
