"""Small parts of MusicXML that several modules write: elements, pitches, note values."""

from __future__ import annotations

from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from lickwright.core.xml_text import allowed_xml
from lickwright.music.pitch import PLAIN_NAMES, Key, NoteName, note_name
from lickwright.settings.fields import Settings

_TYPES = {
    Fraction(2): "breve", Fraction(1): "whole", Fraction(1, 2): "half", Fraction(1, 4): "quarter", Fraction(1, 8): "eighth",
    Fraction(1, 16): "16th", Fraction(1, 32): "32nd", Fraction(1, 64): "64th", Fraction(1, 128): "128th",
}  # fmt: skip


def add(parent: Element, tag: str, text: object = None, /, **attributes: object) -> Element:
    """Append an element and return it. An underscore in the name of an attribute stands for a hyphen."""
    words = {name.replace("_", "-"): allowed_xml(str(value)) for name, value in attributes.items()}
    element = SubElement(parent, tag, words)
    if text is not None:
        element.text = allowed_xml(str(text))
    return element


def value_type(base: Fraction) -> str:
    """Return the name of a note value without its dots: "eighth", "16th"."""
    return _TYPES[base]


def number_text(value: Fraction | float) -> str:
    """Return a number in decimals, six at most: `96`, `66.5`."""
    return f"{float(value):.6f}".rstrip("0").rstrip(".")


def sounding_key(settings: Settings) -> Key | None:
    """Return the key as it is heard, capo and tuning included."""
    return None if settings.key is None else settings.key.transposed(settings.capo + settings.tuning.shift)


def add_pitch(parent: Element, pitch: int, key: Key | None) -> None:
    """Append a `pitch`: a MIDI number as a step, an octave (4 from middle C up) and semitones between, spelled by the key."""
    name = PLAIN_NAMES[pitch % 12] if key is None else note_name(pitch, key)
    element = add(parent, "pitch")
    _add_name(element, "", name)
    add(element, "octave", (pitch - name.alter) // 12 - 1)


def add_tuning(parent: Element, pitch: int) -> None:
    """Append what the open string of a `staff-tuning` sounds."""
    name = PLAIN_NAMES[pitch % 12]
    _add_name(parent, "tuning-", name)
    add(parent, "tuning-octave", (pitch - name.alter) // 12 - 1)


def add_root(parent: Element, tag: str, name: NoteName) -> None:
    """Append the `root` or `bass` of a chord symbol."""
    _add_name(add(parent, tag), f"{tag}-", name)


def _add_name(parent: Element, prefix: str, name: NoteName) -> None:
    add(parent, f"{prefix}step", name.letter)
    if name.alter:
        add(parent, f"{prefix}alter", name.alter)


class MeasureCursor:
    """Where in its bar a `measure` has been written to."""

    def __init__(self, measure: Element, unit: int) -> None:
        self.measure = measure
        self.unit = unit  # grains of one division
        self.at = 0  # grains from the start of the bar

    def go_to(self, at: int) -> None:
        """Move to an instant of the bar, by a `forward` or a `backup`."""
        if at != self.at:
            step = add(self.measure, "forward" if at > self.at else "backup")
            add(step, "duration", abs(at - self.at) // self.unit)
        self.at = at
