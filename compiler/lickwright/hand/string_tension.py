"""The mechanics of a bend: how far the string goes sideways, how hard it pulls, whether there is room, how hard it is.

In: a string of a tuning, a fret, an amount in semitones. Out: millimetres, newtons, a level of difficulty. The model is
quasi-static: a string fixed at nut (or capo) and bridge, pulled aside at the fret, its steel core stretched (the physics
are those of Grimes 2014, PLoS ONE 9(7) e102088). A real guitar needs a little more, because of the string beyond nut and
bridge.
"""

from __future__ import annotations

from functools import lru_cache
from math import pi, sqrt
from typing import NamedTuple

from lickwright.hand.measures import BASS_MM, EDGE_MM, GUITAR_MM, string_spacing_mm
from lickwright.music.instruments import StringSet
from lickwright.music.pitch import frequency
from lickwright.music.tuning import Tuning

_STEEL = 200e9  # Pa, Young's modulus of music wire
_STEEL_DENSITY = 7850.0  # kg/m³
_BREAKS = 2250e6  # Pa, in a plain string: handbooks have music wire break at 2300 to 2900
_INCH_MM = 25.4


class StringGauge(NamedTuple):
    """The mass and stiffness of one string."""

    mass: float  # kg a meter
    stiffness: float  # N: force that would stretch it to twice its length
    area: float | None  # m², of a plain string; None for a wound one, whose core is assumed


class BentString(NamedTuple):
    """What a bend takes."""

    travel_mm: float  # sideways, at the fret
    force_n: float  # of the finger
    may_break: bool  # the tension comes near to what breaks music wire


def _plain(inches: float) -> StringGauge:
    area = pi * (inches * _INCH_MM / 2000) ** 2
    return StringGauge(_STEEL_DENSITY * area, _STEEL * area, area)


def _wound(tension: float, hertz: float, core_inches: float, scale_mm: float = GUITAR_MM) -> StringGauge:
    """Return a wound string from its tension (N) at a pitch, which makers publish, and its core."""
    core = pi * (core_inches * _INCH_MM / 2000) ** 2
    return StringGauge(tension / (2 * scale_mm / 1000 * hertz) ** 2, _STEEL * core, None)


def _nylon(tension: float, hertz: float, stiffness: float) -> StringGauge:
    return StringGauge(tension / (2 * GUITAR_MM / 1000 * hertz) ** 2, stiffness, None)


# From string 1. Wound rows have assumed cores; those of the electric set were fitted to the travel and force of a
# 10-46 set, as `tests/test_hand.py` lists them.
_ELECTRIC = (
    _plain(0.010), _plain(0.013), _plain(0.017), _wound(81.0, 146.83, 0.013), _wound(88.0, 110.0, 0.015),
    _wound(77.0, 82.41, 0.016), _wound(75.0, 61.74, 0.018), _wound(75.0, 46.25, 0.020),
)  # fmt: skip
_ACOUSTIC = (
    _plain(0.012), _plain(0.016), _wound(134.0, 196.0, 0.013), _wound(135.0, 146.83, 0.015), _wound(133.0, 110.0, 0.018),
    _wound(115.0, 82.41, 0.020),
)  # fmt: skip
_NYLON = (
    _nylon(69.0, 329.63, 2000.0), _nylon(53.0, 246.94, 2500.0), _nylon(55.0, 196.0, 3600.0), _nylon(70.0, 146.83, 2500.0),
    _nylon(68.0, 110.0, 2800.0), _nylon(64.0, 82.41, 3200.0),
)  # fmt: skip
_BASS = (
    _wound(150.0, 130.81, 0.016, BASS_MM), _wound(190.0, 98.0, 0.020, BASS_MM), _wound(220.0, 73.42, 0.024, BASS_MM),
    _wound(210.0, 55.0, 0.030, BASS_MM), _wound(180.0, 41.2, 0.038, BASS_MM), _wound(150.0, 30.87, 0.045, BASS_MM),
)  # fmt: skip
_SETS: dict[StringSet, tuple[StringGauge, ...]] = {"electric": _ELECTRIC, "acoustic": _ACOUSTIC, "nylon": _NYLON}


def string_gauge(tuning: Tuning, strings: StringSet, string: int) -> StringGauge:
    """Return a string, from 1, of a set; a bass has its own."""
    rows: tuple[StringGauge, ...]
    if tuning.is_bass:
        rows, n = _BASS, string - (1 if tuning.strings == 6 else 0)  # the first row is a high C
    else:
        rows, n = _SETS[strings], string - 1
    return rows[min(n, len(rows) - 1)]


def string_kind(tuning: Tuning, strings: StringSet, string: int) -> str:
    """Return how a string bends: `plain`, `wound third`, `wound` or `nylon`."""
    if strings == "nylon":
        return "nylon"
    if tuning.is_bass or string > 3:
        return "wound"
    return "wound third" if strings == "acoustic" and string == 3 else "plain"


def is_wound(tuning: Tuning, strings: StringSet, string: int) -> bool:
    """Return True if a string is wound: the basses of every set, and the third of an acoustic guitar."""
    return string > 3 or string_kind(tuning, strings, string).startswith("wound")


def bend_string(
    tuning: Tuning, strings: StringSet, string: int, fret: int, semitones: float, capo: int = 0
) -> BentString:
    """Return what it takes to bend one string of a lick by some semitones; its fret is counted from the capo."""
    scale = BASS_MM if tuning.is_bass else GUITAR_MM
    hertz = frequency(tuning.sounding[string - 1])
    return _push(string_gauge(tuning, strings, string), hertz, scale, fret, semitones, capo)


@lru_cache(maxsize=1024)
def _push(wire: StringGauge, hertz: float, scale_mm: float, fret: int, semitones: float, capo: int) -> BentString:
    """Return travel and force at which the sounding part has the pitch: more tension on a longer string; by bisection."""
    tension = wire.mass * (2 * scale_mm / 1000 * hertz) ** 2
    whole = scale_mm * 2.0 ** (-capo / 12)
    sounding = whole * 2.0 ** (-fret / 12)
    behind = whole - sounding
    wanted = 2.0 ** (semitones / 6)  # of the squared frequency
    low, high = 0.0, whole / 2
    for _ in range(40):
        aside = (low + high) / 2
        strain = (sqrt(behind**2 + aside**2) + sqrt(sounding**2 + aside**2)) / whole - 1
        pull = tension + wire.stiffness * strain
        reached = pull / tension * (1 + strain) / (1 + (aside / sounding) ** 2)
        low, high = (aside, high) if reached < wanted else (low, aside)
    force = pull * aside * (1 / sqrt(behind**2 + aside**2) + 1 / sqrt(sounding**2 + aside**2))
    return BentString(aside, force, wire.area is not None and pull / wire.area > _BREAKS)


def bend_room_mm(strings: int, string: int, fret: int, scale_mm: float = GUITAR_MM) -> tuple[float, float]:
    """Return how far in mm a string may go towards the thick side (pushed), and towards the thin side (pulled)."""
    spacing = string_spacing_mm(fret, scale_mm)
    return (strings - string) * spacing + EDGE_MM, (string - 1) * spacing + EDGE_MM


class BendLimit(NamedTuple):
    """The amount above which a bend is as hard as `level` says."""

    kinds: tuple[str, ...]  # of string, as `string_kind` names them
    first: int  # frets that it holds for
    last: int
    above: float  # semitones: a bend of more than this
    level: str  # "error": impossible; "warning": hard; "info": for the advanced
    words: str


_ANY = 99
# Estimates. The most severe first: the first that fits is reported. Bends of more than two whole steps are judged by
# another rule (`checks/bends.py`).
BEND_LIMITS: tuple[BendLimit, ...] = (
    BendLimit(
        ("plain", "wound third", "wound", "nylon"), 1, 1, 1.0, "error", "no string gives that much at the first fret"
    ),
    BendLimit(("wound", "wound third", "nylon"), 1, _ANY, 2.0, "error", "this string won't go that far"),
    BendLimit(("plain",), 2, 3, 3.0, "error", "no string gives that much this near the nut"),
    BendLimit(("plain", "wound third", "wound", "nylon"), 1, 1, 0.5, "warning", "very stiff at the first fret"),
    BendLimit(("wound", "wound third", "nylon"), 2, _ANY, 1.0, "warning", "very hard on this string"),
    BendLimit(("plain",), 2, 3, 1.0, "warning", "very stiff this near the nut"),
    BendLimit(("plain",), 4, 4, 2.0, "warning", "stiff this near the nut"),
    BendLimit(("plain",), 5, _ANY, 3.0, "warning", "for experts"),
    BendLimit(("plain",), 5, _ANY, 2.0, "info", "for advanced players"),
    BendLimit(("nylon",), 2, _ANY, 0.5, "info", "a nylon string has to be pushed a long way for it"),
)


def bend_limit(kind: str, fret: int, semitones: float) -> BendLimit | None:
    """Return the limit that a bend passes; None where it is ordinary."""
    for row in BEND_LIMITS:
        if semitones > row.above and row.first <= fret <= row.last and kind in row.kinds:
            return row
    return None
