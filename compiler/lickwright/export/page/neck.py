"""The neck of a lesson page: the lick's box with the lick's own notes in it, each of which the player can light.

In: a counted lick. Out: an SVG element. It has no colours of its own, for the page's style gives them, in light and in dark. The tonic is a square, the blue
note a diamond, other notes are rings, as in the pictures of `lickwright box`; what the lick plays is filled.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from lickwright.export.page.markup import Markup, el
from lickwright.music.accidentals import accidental_signs
from lickwright.music.box_area import played_area
from lickwright.music.fretboard import Place
from lickwright.music.scale import degree_name
from lickwright.music.scale_boxes import BLUE, is_minor
from lickwright.notation.techniques import Stroke
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline

_STEP, _GAP, _DOT = 56, 34, 13  # from wire to wire, from string to string, radius of a note
_LEFT, _TOP, _BOTTOM = 40, 22, 30  # names of the strings, room for a bend, numbers of the frets
_OPEN = 34  # left of the nut, for open strings
_MARGIN = 14  # to the edge of the picture
_FEWEST = 4  # frets drawn, so that every neck has the same scale


class NeckView(NamedTuple):
    """What is drawn."""

    low: int  # the first fret; 0 for the open strings
    high: int
    own: tuple[Place, ...]  # what the lick plays, in the order in which it is first played
    box: frozenset[Place]
    caption: str


def neck_view(timeline: Timeline) -> NeckView | None:
    """What is drawn for a lick; None for one without a fretted or open note."""
    own = tuple(dict.fromkeys((s.string, s.fret) for s in timeline.sounds if s.fret is not None))
    if not own:
        return None
    settings = timeline.settings
    held = [(s.string, s.fret) for s in timeline.sounds if s.fret and s.begin.stroke is not Stroke.TAP]
    area = settings.area and played_area(settings.area, held)
    box: frozenset[Place] = area.places if area is not None else frozenset()
    frets = [fret for _, fret in (*own, *box)]
    low, high = min(frets), max(frets)
    low = 0 if low <= 1 else low
    high = max(high, low + _FEWEST - (low > 0))
    return NeckView(low, high, own, box, area.name if area is not None else "the notes of the lick")


class _Geometry:
    """Where strings and frets are drawn, in SVG units; mirrored, the head of the guitar is to the right."""

    def __init__(self, view: NeckView, strings: int, mirrored: bool) -> None:
        self.first = max(1, view.low)
        self.frets = range(self.first, view.high + 1)
        self.has_open = view.low == 0
        self.left = _LEFT + _OPEN * self.has_open
        self.right = self.left + _STEP * len(self.frets)
        self.width = self.right + _MARGIN
        self.bottom = _TOP + _GAP * (strings - 1)
        self.height = self.bottom + _DOT + _BOTTOM
        self.mirrored = mirrored

    def across(self, x: float) -> float:
        """Return the place of what is `x` from the head of the guitar."""
        return self.width - x if self.mirrored else x

    def wire(self, number: int) -> float:
        """Return the place of a wire, counted from where the drawing begins."""
        return self.across(self.left + number * _STEP)

    def finger(self, fret: int) -> float:
        """Return where a finger stands for a fret: in the middle between two wires; of an open string beside the nut."""
        return self.across(self.left - _OPEN / 2 if fret == 0 else self.left + (fret - self.first + 0.5) * _STEP)


def draw_neck(timeline: Timeline, view: NeckView, left_handed: bool = False) -> Markup:
    """The picture. Places are groups `data-place="STRING-FRET"`, and each string has a `finger` that the player moves."""
    settings = timeline.settings
    strings = settings.tuning.strings
    g = _Geometry(view, strings, left_handed)
    places = sorted({*view.own, *view.box})
    order = {place: number for number, place in enumerate(view.own, 1)}
    dots = (_dot(settings, place, g.finger(place[1]), order.get(place)) for place in places)
    return el(
        "svg",
        el("title", f"Neck: {view.caption}", id="neck-drawing"),
        _lines(settings, g),
        el("g", *dots, class_="places"),
        el("g", *(_finger(string) for string in range(1, strings + 1)), class_="fingers", aria_hidden="true"),
        class_="neck", id="neck", role="img", aria_labelledby="neck-drawing", width=g.width, height=g.height,
        viewbox=f"0 0 {g.width:g} {g.height:g}", data_first=g.finger(g.first), data_open=g.finger(0), data_low=g.first,
        data_step=-_STEP if left_handed else _STEP, data_gap=_GAP,
    )  # fmt: skip


def _y(string: int) -> int:
    return _TOP + _GAP * (string - 1)


def _lines(settings: Settings, g: _Geometry) -> Markup:
    """Strings with their names, wires, and numbers of the frets."""
    parts = []
    for string in range(1, settings.tuning.strings + 1):
        y, width = _y(string), 0.8 + 0.22 * (string - 1)
        parts.append(_line(g.across(g.left), y, g.across(g.right), y, "string", stroke_width=width))
        parts.append(_text(g.across(_MARGIN), y + 5, settings.tuning.label(string), "name"))
    for number in range(len(g.frets) + 1):
        x = g.wire(number)
        parts.append(_line(x, _TOP, x, g.bottom, "nut" if g.has_open and number == 0 else "wire"))
    parts += [_text(g.finger(fret), g.bottom + _DOT + 20, str(fret), "number") for fret in g.frets]
    return el("g", *parts, class_="wood", aria_hidden="true")


def _line(x1: float, y1: float, x2: float, y2: float, kind: str, stroke_width: float | None = None) -> Markup:
    return el("line", x1=x1, y1=y1, x2=x2, y2=y2, class_=kind, stroke_width=stroke_width)


def _text(x: float, y: float, words: str, kind: str) -> Markup:
    return el("text", words, x=x, y=y, class_=kind, text_anchor="middle")


def _dot(settings: Settings, place: Place, x: float, order: int | None) -> Markup:
    """One note of the neck: its shape says what it is, its filling that the lick plays it.

    `order` counts the notes as the lick first comes to them; None for one that it does not play. The style shows it or the degree.
    """
    string, fret = place
    y = _y(string)
    shape, label = _shape(settings, place)
    if shape == "tonic":
        drawn = el("rect", x=x - _DOT + 1, y=y - _DOT + 1, width=2 * _DOT - 2, height=2 * _DOT - 2)
    elif shape == "blue":
        r = _DOT + 3
        drawn = el("polygon", points=f"{x:g},{y - r:g} {x + r:g},{y:g} {x:g},{y + r:g} {x - r:g},{y:g}")
    else:
        drawn = el("circle", cx=x, cy=y, r=_DOT)
    kind = f"place {shape}" if order is None else f"place {shape} own"
    number = _text(x, y + 4.5, str(order), "order") if order is not None else None
    return el("g", drawn, _text(x, y + 4.5, label, "degree"), number, class_=kind, data_place=f"{string}-{fret}")


def _shape(settings: Settings, place: Place) -> tuple[str, str]:
    """What a place is in the key, and its degree; of a lick without a key its fret."""
    key, scale = settings.key, settings.scale
    if key is None:
        return "plain", str(place[1])
    above = (settings.tuning.open(place[0]) + place[1] - key.tonic.pc) % 12
    label = accidental_signs(degree_name(above, scale, key))
    if above == 0:
        return "tonic", label
    family = "minor" if scale is not None and is_minor(scale) else "major"
    blue = scale is not None and scale.is_pentatonic_family and above == BLUE[family].semitones
    return ("blue" if blue else "plain"), label


def _finger(string: int) -> Markup:
    return el("circle", class_="finger", data_string=string, cx=0, cy=_y(string), r=_DOT + 4, visibility="hidden")


def legend(timeline: Timeline, view: NeckView) -> Iterator[tuple[str, str]]:
    """Which shapes there are, each with its words."""
    shapes = {_shape(timeline.settings, place)[0] for place in (*view.own, *view.box)}
    words = {"tonic": "square: the root", "blue": "diamond: the blue note"}
    yield from ((shape, said) for shape, said in words.items() if shape in shapes)
    if set(view.box) - set(view.own):
        yield "own", "filled: played in this lick"
