"""Help for tests of the notation: a text's tree, and what it sounds, in a form that a table can hold.

A sound is written as string and fret, from and to in steps of an eighth, then what is not plain about it:
`G9 1-2 hammer-on from 0` is the second sound, joined to the first; `B8 0-2, bend 0-1 to 2, release 1-2 to 0`.
"""

from __future__ import annotations

from fractions import Fraction

from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.core.source import Source
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Item
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import SoundingNote, Timeline

HEAD = 'key A minor\nlick "Gate"\n'
EIGHTH = Fraction(1, 8)


def count(text: str) -> tuple[Book, list[Timeline], list[Diagnostic]]:
    """A whole file read and counted, not judged by the checks."""
    source = Source("gate.lick", text)
    book, found = parse_source(source)
    timelines = []
    for lick in book.licks:
        timeline, more = build_timeline(lick, book, source)
        found = found + more
        if timeline is not None:
            timelines.append(timeline)
    return book, timelines, found


def errors(text: str) -> list[tuple[str, str]]:
    """Code and text of what each error of a file points at."""
    source = Source("gate.lick", text)
    return [(d.code, source.text[d.span.start : d.span.end]) for d in count(text)[2] if d.severity is Severity.ERROR]


def timeline(music: str, fields: str = "") -> Timeline:
    """The one lick of this music, which must be without mistakes."""
    text = f"{fields}{HEAD}{music}\n"
    _, (one,), found = count(text)
    assert not found, [(d.code, d.message) for d in found]
    return one


def items(music: str) -> tuple[Item, ...]:
    """What stands between the first bar line and the end."""
    book, found = parse_source(Source("gate.lick", f"{HEAD}| {music}\n"))
    assert not found, [(d.code, d.message) for d in found]
    return book.licks[0].music[1:]


def sounds(music: str, fields: str = "") -> str:
    """All that sounds, one sound after another, `; ` between."""
    one = timeline(music, fields)
    return "; ".join(_sound(sound, one) for sound in one.sounds)


def _sound(sound: SoundingNote, one: Timeline) -> str:
    words = [_place(sound, one), f"{_steps(sound.start, one)}-{_steps(sound.end, one)}"]
    if sound.kind != "note":
        words.append(f"{sound.kind} {sound.lead}" if sound.lead else sound.kind)
    if sound.begin.name != "picked":
        words.append(sound.begin.name)
    if sound.source is not None:
        words.append(f"from {sound.source}")
    if sound.trill is not None:
        words.append(f"trill {sound.trill}")
    if sound.roll is not None:
        words.append(f"roll {sound.roll}")
    marks = "".join(f", {mark.name}" for mark in sound.marks)
    shapes = "".join(
        f", {shape.technique.name} {_steps(shape.start, one)}-{_steps(shape.end, one)} to {shape.amount:g}"
        for shape in sound.shapes
    )
    return " ".join(words) + marks + shapes


def _place(sound: SoundingNote, one: Timeline) -> str:
    string = one.settings.tuning.written(sound.string)
    fret = "" if sound.fret is None else str(sound.fret)
    if sound.touch is not None:
        return f"{string}{fret}<{float(sound.touch):g}>"
    sign = sound.head.sign if sound.head else ""
    return f"{string}{fret}{sign}"


def _steps(grains: int, one: Timeline) -> str:
    return str(one.fraction(grains) / EIGHTH)
