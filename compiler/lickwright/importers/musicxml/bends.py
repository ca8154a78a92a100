"""The bends, releases, vibrato and slides off of a note of a score, as shapes with their times.

In: the `note` elements that are tied to one note, each with its instant. Out: `DraftShape`s in order of time. Files from before MusicXML 4.0 write how far
a release lets go as 0, for all of it; a bend without times begins with its note, and several of them share it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from lickwright.importers.draft import DraftShape
from lickwright.importers.musicxml.note_features import NoteFeatures
from lickwright.importers.musicxml.numbers import attribute_number, decimal_number
from lickwright.importers.xml_tree import XmlElement
from lickwright.notation.techniques import QUARTER_BEND, SHAPES, Curve, Technique
from lickwright.performance.pitch_curves import BEND_SHARE

_SHARE = Fraction(BEND_SHARE).limit_denominator(1000)  # of its step that a bend takes in our own scores
_FINEST = 960  # times of bends are taken to the nearest so many parts of a note value
_AMOUNT_PARTS = 4  # of a semitone
_STEP = Fraction(1, 8)  # in which a pre-bend and a vibrato share a step, where nothing says how
_MOST = 24  # semitones that a bend may be read as


class TiedPart(NamedTuple):
    """One of the note values that a note is tied of."""

    since: Fraction  # whole notes from the start of the note
    length: Fraction
    element: XmlElement
    features: NoteFeatures


class _Bend(NamedTuple):
    """A bend or release, and when it moves."""

    technique: Technique
    at: Fraction | None  # whole notes from the start of the note; None: not written
    length: Fraction | None  # of its step
    by: Fraction


def shapes_of(parts: Sequence[TiedPart], length: Fraction, connected: bool) -> tuple[DraftShape, ...]:
    """Return the shapes of a note of a length; of a connected one, that its string is bent already is none."""
    bends = list(_bends(parts))
    if connected and bends and bends[0].technique.curve is Curve.PREBEND:
        bends = bends[1:]
    if len(bends) > 1 and any(bend.at is None and bend.technique.curve is not Curve.PREBEND for bend in bends):
        share = length / len(bends)
        bends = [bend._replace(at=share * n, length=share) for n, bend in enumerate(bends)]
    shapes = [_shape(bend) for bend in bends]
    shapes += [_vibrato(part, shapes) for part in _shaken(parts, shapes)]
    for part in parts:
        if part.features.off is not None:
            shapes.append(DraftShape(part.features.off, part.since))
    return tuple(sorted(shapes, key=lambda shape: shape.at))


def _bends(parts: Sequence[TiedPart]) -> Iterator[_Bend]:
    level = Fraction(0)  # semitones above the fretted pitch
    for part in parts:
        for bend in part.element.all("notations/technical/bend"):
            if bend.first("with-bar") is not None:
                continue
            alter = decimal_number(bend.first("bend-alter"), Fraction(0))
            alter = max(Fraction(-_MOST), min(Fraction(_MOST), alter))
            release = bend.first("release")
            at, length = _times(part, bend, release)
            if bend.first("pre-bend") is not None:
                level = abs(alter)
                shared = min(part.length, _STEP) / 2 if part.features.vibrato is not None else None
                yield _Bend(SHAPES["^^"], part.since, shared, level)
            elif release is not None or alter < 0:
                level = max(Fraction(0), level + alter) if alter else Fraction(0)
                yield _Bend(SHAPES["r"], at, length, level)
            elif alter:
                level += alter
                yield _Bend(SHAPES["^"], at, length, level)


def _times(part: TiedPart, bend: XmlElement, release: XmlElement | None) -> tuple[Fraction | None, Fraction | None]:
    """Return when a bend begins, from the start of its note, and the length of its step; None where that is not written."""
    if "first-beat" not in bend.attributes:
        return (part.since if part.since else None), None
    first = attribute_number(bend, "first-beat", Fraction(0)) / 100
    last = attribute_number(bend, "last-beat", Fraction(0)) / 100
    if not 0 <= first < 1 or last < first:
        return None, None
    start = _to_grid(first, part.length)
    length = _to_grid((last - first) / _SHARE, part.length) if "last-beat" in bend.attributes and last < 1 else None
    return part.since + start, length or None


def _to_grid(share: Fraction, length: Fraction) -> Fraction:
    """Return a share of a length, given in decimals, as the simple fraction that was meant."""
    return share.limit_denominator(_FINEST) * length


def _shape(bend: _Bend) -> DraftShape:
    by = Fraction(round(bend.by * _AMOUNT_PARTS), _AMOUNT_PARTS)
    if bend.technique.curve is Curve.BEND and by == Fraction(1, 2):
        return DraftShape(QUARTER_BEND, bend.at or Fraction(0), bend.length)
    whole = bend.technique.curve is Curve.RELEASE and not by
    return DraftShape(bend.technique, bend.at or Fraction(0), bend.length, None if whole else by)


def _shaken(parts: Sequence[TiedPart], shapes: Sequence[DraftShape]) -> Iterator[TiedPart]:
    """Yield the parts with which a vibrato begins: it goes on over ties until something else shapes the note."""
    last: TiedPart | None = None
    for part in parts:
        if part.features.vibrato is None:
            last = None
            continue
        moved = last is not None and any(last.since < shape.at < part.since for shape in shapes)
        if last is None or moved or last.features.vibrato is not part.features.vibrato:
            yield part
        last = part


def _vibrato(part: TiedPart, shapes: Sequence[DraftShape]) -> DraftShape:
    """Return the vibrato that begins with a part: after the bends with which the part begins."""
    at = part.since
    for shape in sorted(shapes, key=lambda one: one.at):
        if shape.at == at and shape.length is not None:
            at += shape.length
    technique = part.features.vibrato or SHAPES["~"]
    return DraftShape(technique, at if at < part.since + part.length else part.since)
