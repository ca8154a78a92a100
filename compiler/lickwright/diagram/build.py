"""Diagrams of boxes: from key, scale and box to the dots on a neck.

In: what the user asks for, parsed. Out: `FretboardDiagram` values, one for each box. `text.py` and `svg.py` draw them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lickwright.diagram.chord_shapes import triad_grip
from lickwright.diagram.model import DiagramOptions, Dot, FretboardDiagram
from lickwright.music.box_area import Area, box_area
from lickwright.music.boxspec import BoxSpec
from lickwright.music.fretboard import Place, window_on_strings
from lickwright.music.pitch import Key, note_name
from lickwright.music.scale import Scale, degree_name
from lickwright.music.scale_boxes import BLUE, Box, boxes_of_scale, is_minor
from lickwright.music.tuning import Tuning

_FEWEST_FRETS = 4  # of a diagram, so that all have the same scale
_PIECE = 12  # frets of one diagram of the whole neck
_HAND = 5  # frets that one hand holds with a stretch


def box_diagrams(
    key: Key,
    scale: Scale,
    tuning: Tuning,
    spec: BoxSpec | None,
    options: DiagramOptions,
) -> tuple[FretboardDiagram, ...]:
    """Return the diagrams of `spec`: one for a box; without a spec all five; the whole neck for `any`, in pieces.

    A scale or tuning that has no boxes is shown on the whole neck as well. Raises ValueError, in a player's words, where
    there is no such box.
    """
    free, numbering = options.free_frets, options.numbering
    drawing = Drawing(key, scale, tuning, options)
    if spec is None:
        found = boxes_of_scale(key, scale, tuning, free, numbering)
        boxes = boxes_up_the_neck(found)
        if boxes:
            said = ", ".join(words for words in (_lower(boxes, found), _counted(scale, boxes, numbering)) if words)
            return tuple(drawing.boxes([box], box.name, said) for box in boxes)
        spec = BoxSpec()
    if spec.any:
        return drawing.whole()
    where = _one_place(spec, key, scale, tuning, free, numbering)
    return (drawing.boxes(where.boxes, where.name, where.numbering),)


def boxes_up_the_neck(boxes: Iterable[Box]) -> list[Box]:
    """Return one placement of each box, up the neck: numbered boxes from box 1 on, shapes from the lowest.

    A box that would start beyond the neck is shown where it lies lower.
    """
    labels: dict[str, list[Box]] = {}
    for box in boxes:
        labels.setdefault(box.label, []).append(box)
    if not all(label.startswith("box") for label in labels):
        return sorted((min(placed, key=lambda box: box.low) for placed in labels.values()), key=lambda box: box.low)
    found: list[Box] = []
    for _, placed in sorted(labels.items()):
        above = [box for box in placed if not found or box.low > found[-1].low]
        found.append(min(above or placed, key=lambda box: box.low))
    return found


def _lower(shown: Sequence[Box], every: Iterable[Box]) -> str:
    """Return where shown boxes also lie lower on the neck: "also box 4 at frets 0-3, box 5 at 2-5"; "" where none does."""
    twins = sorted(other for box in shown for other in every if other.label == box.label and other.low < box.low)
    words = ", ".join(f"{other.label} at {other.low}-{other.high}" for other in twins)
    return f"also {words.replace(' at ', ' at frets ', 1)}" if words else ""


def _counted(scale: Scale, boxes: Sequence[Box], numbering: str) -> str:
    """Return how the numbers of major boxes count, since schools differ; "" for all others."""
    if is_minor(scale) or not boxes[0].label.startswith("box"):
        return ""
    return "counted from the tonic" if numbering == "tonic" else "counted as those of the relative minor"


def _one_place(spec: BoxSpec, key: Key, scale: Scale, tuning: Tuning, frets: int, numbering: str) -> Area:
    """Return the boxes of `spec` at one place: `at`, or the lowest one of the first with the others beside it.

    Raises ValueError, in a player's words, where there is no such box.
    """
    where = box_area(spec, key, scale, tuning, frets, numbering)
    assert where is not None, "any is drawn as the whole neck"
    if spec.window is None and spec.at is None:
        label = min(box.label for box in where.boxes)
        lowest = min(box.low for box in where.boxes if box.label == label)
        beside = box_area(spec._replace(at=lowest), key, scale, tuning, frets, numbering)
        assert beside is not None
        return beside
    return where


class Drawing:
    """Makes diagrams that share key, scale, tuning, capo and labels."""

    def __init__(
        self,
        key: Key,
        scale: Scale,
        tuning: Tuning,
        options: DiagramOptions,
        title: str = "",
    ) -> None:
        self._title = title or f"{key.tonic} {scale}"
        self._key = key
        self._scale = scale
        self._tuning = tuning
        self._shown = options.shown
        self._frets = options.free_frets
        self._capo = options.capo
        self._left_handed = options.left_handed
        self._third = 3 if is_minor(scale) else 4

    def boxes(
        self, boxes: Sequence[Box], caption: str, numbering: str, held_by: dict[Place, int] | None = None
    ) -> FretboardDiagram:
        """Return one diagram of a box, or of several side by side; `held_by` are the fingers of a chord held at once.

        Raises ValueError where fingers are to be shown and a box is wider than one hand.
        """
        places = frozenset[Place]().union(*(box.places for box in boxes))
        whole_chord = held_by is not None
        held = frozenset[Place]() if whole_chord else frozenset[Place]().union(*(self._grip(box) for box in boxes[:1]))
        fingers: dict[Place, int] = held_by or {}
        if self._shown == "fingers" and not whole_chord:
            for box in reversed(boxes):
                fingers |= _fingers(box)
        low = min([box.low for box in boxes] + [fret for _, fret in places])
        high = max([box.high for box in boxes] + [fret for _, fret in places])
        return self._diagram(caption, places, min(low, self._frets), high, held, fingers, numbering)

    def whole(self) -> tuple[FretboardDiagram, ...]:
        """Return the whole neck, an octave a diagram. Raises ValueError where fingers are to be shown."""
        if self._shown == "fingers":
            raise ValueError("fingers go with a box, not with the whole neck: name one, such as 1 or frets 5-8")
        pieces: list[tuple[int, int]] = []
        for low in range(0, self._frets + 1, _PIECE):
            high = min(low + _PIECE - 1, self._frets)
            if 0 < low == high:  # a last fret alone joins the piece before it
                pieces[-1] = (pieces[-1][0], high)
            else:
                pieces.append((low, high))
        return tuple(
            self._diagram(f"frets {low}-{high}", self._scale_places(low, high), low, high, frozenset(), {}, "")
            for low, high in pieces
        )

    def _scale_places(self, low: int, high: int) -> frozenset[Place]:
        return window_on_strings(low, high, self._key.tonic.pc, self._scale.semitones, self._tuning.nominal).places

    def _grip(self, box: Box) -> frozenset[Place]:
        return triad_grip(box.places, self._key.tonic.pc, self._third, self._tuning.nominal)

    def _diagram(
        self,
        caption: str,
        places: frozenset[Place],
        low: int,
        high: int,
        held: frozenset[Place],
        fingers: dict[Place, int],
        numbering: str,
    ) -> FretboardDiagram:
        high = max(high, min(low + _FEWEST_FRETS - (low > 0), self._frets))
        chord = f"{self._key.tonic}{'m' if self._third == 3 else ''}" if held else ""
        dots = tuple(self._dot(place, place in held, fingers) for place in sorted(places))
        remark = ", ".join(word for word in (numbering, *self._as_fingered()) if word)
        return FretboardDiagram(
            self._title, caption, self._tuning.labels, low, high, dots, chord, remark, self._left_handed
        )  # fmt: skip

    def _as_fingered(self) -> list[str]:
        words = [] if self._tuning.name == "standard" else [self._tuning.name]
        if self._capo:
            words.append(f"capo {self._capo}, frets counted from it")
        if self._capo + self._tuning.shift:
            words.append("named as fingered")
        if self._left_handed:
            words.append("left-handed")
        return words

    def _dot(self, place: Place, chord: bool, fingers: dict[Place, int]) -> Dot:
        string, fret = place
        pitch = self._tuning.open(string) + fret
        above = (pitch - self._key.tonic.pc) % 12
        labels = {
            "degrees": lambda: degree_name(above, self._scale, self._key),
            "notes": lambda: str(note_name(pitch, self._key)),
            "fingers": lambda: str(fingers[place]),
        }
        return Dot(place, labels[self._shown](), above == 0, self._is_blue(above), chord)

    def _is_blue(self, above: int) -> bool:
        if not self._scale.is_pentatonic_family:
            return False
        return above == BLUE["minor" if is_minor(self._scale) else "major"].semitones


def _fingers(box: Box) -> dict[Place, int]:
    """Return a finger for each place: one a fret from where the hand lies, 0 for open strings.

    The hand lies where most of the box is under four fingers, lower where two positions are equal; the outer fingers
    reach for what lies beyond. Raises ValueError where the box is wider than `_HAND` frets.
    """
    if box.high - box.low >= _HAND:
        raise ValueError(
            f"fingers are shown for what one hand can hold, {_HAND} frets: {box.name} is {box.high - box.low + 1}"
        )
    places = box.places
    fretted = [fret for _, fret in places if fret > 0]
    hand = min(
        range(max(1, box.low), max(1, box.high - 2) + 1),
        key=lambda low: (sum(not low <= fret < low + 4 for fret in fretted), low),
    )
    return {(s, f): 0 if f == 0 else min(4, max(1, f - hand + 1)) for s, f in places}
