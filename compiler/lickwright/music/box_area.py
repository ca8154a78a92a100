"""Boxes: the part of the neck in which a lick stays.

In: what the lick's `box` line says (`BoxSpec`), key, scale, tuning, number of frets. Out: `Area`, the places meant.
Whether a note lies in it is judged by the checks; how boxes are computed is in `scale_boxes.py`.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from lickwright.music.boxspec import OPEN, BoxSpec
from lickwright.music.fretboard import Place, all_places
from lickwright.music.pitch import Key
from lickwright.music.scale import Scale, default_scale
from lickwright.music.scale_boxes import (
    NUMBERINGS,
    Box,
    blue_places_of,
    box_name,
    boxes_of_scale,
    is_minor,
    number_of,
    shape_of,
    window_of_key,
)
from lickwright.music.tuning import Tuning
from lickwright.report.console import join_words


class Area(NamedTuple):
    """All placements of the boxes that a `box` line means."""

    name: str  # "box 1 (E shape), frets 5-8 or 17-20"
    boxes: tuple[Box, ...]  # by fret
    places: frozenset[Place]  # of all boxes
    blue: frozenset[Place]  # of all boxes
    numbering: str = ""  # how the number counts where schools differ, a line to print; else ""


@lru_cache(maxsize=1024)
def box_area(
    spec: BoxSpec, key: Key | None, scale: Scale | None, tuning: Tuning, frets: int, numbering: str = "relative"
) -> Area | None:
    """Return the places that `spec` means; None for `any`. Without a scale, key and form of `spec` imply one.

    Raises ValueError, in a player's words and with what to write instead, where they mean no place.
    """
    if spec.any:
        return None
    if key is not None and scale is None:
        scale = default_scale(key, bool(spec.numbers))
    if spec.window is not None:
        return _window_area(spec.window, key, scale, tuning, frets)
    if key is None or scale is None:
        raise ValueError(f"{_spec_name(spec)} needs a key: add one, such as A minor, or write frets 5-8")
    _refuse(spec, scale, tuning)
    if spec.numbers and spec.shape:
        _refuse_contradiction(spec, key, scale, numbering)
    found = boxes_of_scale(key, scale, tuning, frets, numbering)
    wanted = choose_boxes(found, spec, f"on a neck of {frets} frets in {key.tonic} {scale}")
    return _union(wanted, _numbering_note(spec, key, scale, numbering))


def choose_boxes(found: Iterable[Box], spec: BoxSpec, where: str) -> list[Box]:
    """Return those of the boxes that a number or a shape means, in every octave unless `at` names one.

    Raises ValueError where one is not there; `where` ends the message.
    """
    wanted = [box for box in found if _matches(box, spec)]
    if not wanted or len({box.label for box in wanted}) < len(spec.numbers):
        raise ValueError(f"{_spec_name(spec)} does not fit {where}")
    return wanted if spec.at is None else _nearest_placements(wanted, spec.at)


def _spec_name(spec: BoxSpec) -> str:
    """Return a box as a player asks for it: "box 1", "boxes 1 and 2", "the E shape"."""
    if not spec.numbers:
        return f"the {spec.shape} shape"
    return f"box{'es' if len(spec.numbers) > 1 else ''} {join_words(map(str, spec.numbers))}"


def _window_area(window: tuple[int, int], key: Key | None, scale: Scale | None, tuning: Tuning, frets: int) -> Area:
    """Return the area of a window of frets. Raises ValueError where it lies past the end of the neck."""
    low, high = window
    label = "open position" if window == OPEN else f"frets {low}-{high}"
    if low > frets:
        raise ValueError(f"{label} are past the end of the neck, which has {frets} frets")
    top = min(high, frets)
    places, blue = all_places(low, top, tuning.strings), frozenset[Place]()
    if key is not None and scale is not None:
        found = window_of_key(low, top, key, scale, tuning)
        places, blue = found.places, blue_places_of(key, scale, found, tuning, frets)
    return _union([Box(label, "", low, high, places, blue)], "")


def _refuse(spec: BoxSpec, scale: Scale, tuning: Tuning) -> None:
    """Raise ValueError where numbers or shapes mean nothing, with what to write instead."""
    if not tuning.standard_intervals:
        name = _spec_name(spec)
        raise ValueError(
            f"{name} needs the intervals of standard tuning, not those of {tuning}: write a range, such as frets 5-8"
        )
    if spec.numbers and not scale.is_pentatonic_family:
        instead = "a shape, such as E shape" if scale.notes == 7 else "a range, such as frets 5-8"
        raise ValueError(f"box numbers are for pentatonic and blues scales, not {scale}: write {instead}")
    if not scale.is_pentatonic_family and scale.notes != 7:
        raise ValueError(
            f"shapes are for pentatonic, blues and seven-note scales, not {scale}: write a range, such as frets 5-8"
        )


def _matches(box: Box, spec: BoxSpec) -> bool:
    if spec.numbers:
        return box.label in {f"box {number}" for number in spec.numbers}
    return box.shape == f"{spec.shape} shape"


def _refuse_contradiction(spec: BoxSpec, key: Key, scale: Scale, numbering: str) -> None:
    """Raise ValueError for a number and a shape that are not one box, with the numbering that would make them one."""
    minor = is_minor(scale)
    shapes = {
        way: {shape_of(index, minor) for index in range(5) if number_of(index, minor, way) in spec.numbers}
        for way in NUMBERINGS
    }
    asked = {f"{spec.shape} shape"}
    if shapes[numbering] == asked:
        return
    other = next((way for way in NUMBERINGS if shapes[way] == asked), None)
    fix = f"write numbering {other}, or leave the shape out" if other else "leave one of them out"
    verb = "is" if len(spec.numbers) == 1 else "are"
    meant = join_words(sorted(shapes[numbering]))
    raise ValueError(f"{_spec_name(spec)} of {key.tonic} {scale} {verb} the {meant}, not the {spec.shape} shape: {fix}")


def _nearest_placements(boxes: list[Box], at: int) -> list[Box]:
    """Return of each box the placement starting nearest `at`; further boxes nearest the first, to keep them together."""
    chosen: list[Box] = []
    for label in sorted({box.label for box in boxes}):
        target = chosen[0].low if chosen else at
        octaves = [box for box in boxes if box.label == label]
        chosen.append(min(octaves, key=lambda box: (abs(box.low - target), box.low)))
    return chosen


def _union(boxes: list[Box], numbering: str) -> Area:
    boxes = sorted(boxes, key=lambda box: (box.low, box.label))
    labels = sorted({box.label for box in boxes})
    frets = f"frets {join_words((f'{low}-{high}' for low, high in _joined(boxes)), 'or')}"
    several = f"boxes {join_words(label.removeprefix('box ') for label in labels)}, {frets}"
    name = several if len(labels) > 1 else box_name(labels[0], boxes[0].shape, frets)
    places = frozenset[Place]().union(*(box.places for box in boxes))
    blue = frozenset[Place]().union(*(box.blue for box in boxes))
    return Area(name, tuple(boxes), places, blue, numbering)


def _joined(boxes: list[Box]) -> list[tuple[int, int]]:
    """Return the windows of boxes, which are in order by fret; those that touch are one."""
    joined: list[tuple[int, int]] = []
    for box in boxes:
        if joined and box.low <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(joined[-1][1], box.high))
        else:
            joined.append((box.low, box.high))
    return joined


def played_area(area: Area, places: Iterable[Place]) -> Area:
    """Return an area without the octaves of its boxes that a lick does not use; `places` are those that it frets.

    Of each box the placement that holds most of them is kept, and another only where it holds one that those kept do
    not. A box that holds none is kept where it lies nearest to the others.
    """
    used = set(places) & (area.places | area.blue)
    labels = sorted({box.label for box in area.boxes})
    groups = [[box for box in area.boxes if box.label == label] for label in labels]
    groups.sort(key=lambda boxes: not any(_places_in(box, used) for box in boxes))  # those that hold none come last
    kept: list[Box] = []
    for boxes in groups:
        kept += _used_placements(boxes, used, kept[0].low if kept else 0)
    return area if not used or len(kept) == len(area.boxes) else _union(kept, area.numbering)


def _used_placements(boxes: list[Box], used: set[Place], near: int) -> list[Box]:
    """Return the placements of one box that are needed to hold what it can of `used`, those nearest to a fret first."""
    first, *others = sorted(boxes, key=lambda box: (-len(_places_in(box, used)), abs(box.low - near)))
    found, held = [first], _places_in(first, used)
    for box in others:
        if not _places_in(box, used) <= held:
            held |= _places_in(box, used)
            found.append(box)
    return found


def _places_in(box: Box, places: set[Place]) -> set[Place]:
    return places & (box.places | box.blue)


def _numbering_note(spec: BoxSpec, key: Key, scale: Scale, numbering: str) -> str:
    if not spec.numbers or is_minor(scale):
        return ""
    if numbering == "tonic":
        return f"boxes of {key.tonic} major counted from the one that starts on the tonic"
    return f"boxes of {key.tonic} major counted as those of {key.transposed(-3).tonic} minor, its relative minor"
