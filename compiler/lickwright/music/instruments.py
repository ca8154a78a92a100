"""The table of instruments on which a lick can be played, one row each.

A row has the instrument's name as the field `sound` writes it, its MIDI program, its strings and the numbers of the
guitar that audio plays. The field's choices, MIDI, audio and the checks of bends read the table; nothing else lists
instruments.

Lengths and times are those of real instruments where a physical quantity has a usual value (scale length, picking point,
place of the pick-up). Decay times, filters and levels are estimates, set by measuring and comparing; they are the place
to change how a guitar sounds.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

StringSet = Literal["electric", "acoustic", "nylon"]
Table = tuple[tuple[float, float], ...]  # rows (x, y), ascending by x


class Filter(NamedTuple):
    """One second-order filter of a chain (R. Bristow-Johnson, "Cookbook formulae for audio EQ biquad filters")."""

    kind: str  # "high-pass", "low-pass", "bell"
    hertz: float
    q: float = 0.7071
    decibels: float = 0.0  # a bell's gain


class Plane(NamedTuple):
    """The second plane in which a string swings, relative to the first: the note beats, and dies away in two stages."""

    strength: float
    cents: float  # that it is sharp
    lasting: float  # factor on the first plane's decay times
    stiffer: Table  # (open string's MIDI pitch, factor on its stiffness): more on low strings, whose partials would beat too slowly else


class Squeak(NamedTuple):
    """What a finger does that moves along a wound string: the noise of the windings, in which the string's own resonance stands out."""

    level: float  # root mean square at a meter a second, against the stroke of the note
    hertz: float  # the lowest resonance of the string along its length, half its speed of sound over its length: an estimate


class Guitar(NamedTuple):
    """How one kind of guitar sounds. Tables are read by `interpolate`."""

    scale: float  # meters from nut to bridge
    low: Table  # (open string's MIDI pitch, seconds): time to decay by 60 dB at the fundamental of the open string
    high: Table  # the same at 3 kHz, at any fret
    stiffness: Table  # (open string's MIDI pitch, B): partial n of the open string lies at n f0 √(1 + B n²)
    second: Plane
    sympathy: float  # decibels by which what comes to the open strings is softer than what the bridge gets
    trim: Table  # (open string's MIDI pitch, decibels): so that all strings are equally loud
    wound_below: float  # strings tuned below this MIDI pitch are wound
    pick: float  # meters from the bridge
    palm: float  # the same, when palm-muted
    edge: float  # seconds that the pick needs to leave the string, at medium loudness
    noise: float  # of the pick on the string, against the stroke
    squeak: Squeak | None  # of fingers along wound strings; None: none
    soft: float  # seconds over which that noise is smooth: 0 for a pick, more for a finger's flesh
    pickup: float | None  # meters from the bridge; None: the bridge itself is heard
    compression: float  # share of the decibels above its threshold that a compressor takes; 0: none
    pre: tuple[Filter, ...]  # pick-up and pre-amp
    drive: float  # gain before the valve; 0: none
    bias: float  # what makes the valve's even harmonics
    post: tuple[Filter, ...]  # cabinet or tone
    body: tuple[
        tuple[float, float, float], ...
    ]  # (hertz, Q, strength): the lowest resonances of the wood or of the speaker's box; () for none
    room: float  # level of the room against the direct sound, decibels
    level: float  # decibels at the very end: so that all guitars come out alike


_STEEL_LOW = ((28.0, 7.0), (40.0, 5.8), (64.0, 7.0))
_STEEL_HIGH = ((28.0, 1.1), (40.0, 1.5), (55.0, 2.0), (64.0, 2.8))
_STEEL_STIFF = ((40.0, 3.5e-5), (50.0, 3.2e-5), (54.0, 3.2e-5), (55.0, 5.6e-5), (59.0, 5.0e-5), (64.0, 4.2e-5))
_WOOD_STIFF = ((40.0, 3.5e-5), (50.0, 3.2e-5), (58.0, 3.2e-5), (59.0, 5.2e-5), (64.0, 4.4e-5))
_NYLON_STIFF = ((28.0, 3.0e-5), (50.0, 3.0e-5), (51.0, 4.5e-5), (55.0, 4.5e-5), (59.0, 3.8e-5), (64.0, 3.2e-5))
_BASS_STIFF = ((28.0, 3.8e-5), (43.0, 3.2e-5))
_STIFFER = ((40.0, 1.6), (50.0, 1.25), (59.0, 1.06), (64.0, 1.01))
_SOLID, _WOODEN, _NYLON = (
    Plane(0.5, 0.35, 3.8, _STIFFER),
    Plane(0.5, 0.36, 3.8, _STIFFER),
    Plane(0.4, 0.35, 2.8, _STIFFER),
)
_STEEL_TRIM = ((40.0, 0.4), (55.0, 0.4), (59.0, 0.1), (64.0, -1.5))
_WOOD_TRIM = ((40.0, -1.7), (45.0, -1.9), (50.0, 0.1), (55.0, 0.0), (59.0, 2.3), (64.0, 1.2))
_NYLON_TRIM = ((40.0, 0.0), (45.0, -0.6), (50.0, 0.2), (59.0, 0.6), (64.0, -0.4))
# Compressor and valve even out more than half of these two.
_CRUNCH_TRIM = ((40.0, 18.0), (45.0, 12.5), (50.0, 7.5), (55.0, -2.0), (59.0, -12.5), (64.0, -20.0))
_LEAD_TRIM = ((40.0, 13.0), (45.0, 9.5), (50.0, 6.0), (55.0, -1.5), (59.0, -9.0), (64.0, -15.0))
_BASS_TRIM = ((28.0, -0.4), (38.0, 0.0), (43.0, 0.7))
_ELECTRIC_SQUEAK = Squeak(0.008, 1900.0)
_DRIVEN_SQUEAK = Squeak(0.0005, 1900.0)  # a driven amplifier lifts what is soft
_PICKUP = (Filter("high-pass", 40.0), Filter("low-pass", 4200.0, 1.6))
_BRIGHT_PICKUP = (Filter("high-pass", 40.0), Filter("low-pass", 5600.0, 1.4))
_SPEAKER = (Filter("high-pass", 65.0), Filter("bell", 95.0, 1.0, 3.5), Filter("bell", 500.0, 0.7, -5.0))
_CRUNCH_CABINET = (*_SPEAKER, Filter("bell", 3500.0, 0.7, 20.0), Filter("low-pass", 7000.0), Filter("low-pass", 7000.0))
_LEAD_CABINET = (*_SPEAKER, Filter("bell", 3200.0, 0.7, 15.0), Filter("low-pass", 6500.0), Filter("low-pass", 6500.0))
_BOX = ((95.0, 3.0, 0.4),)
_OPEN_CABINET = (
    Filter("high-pass", 70.0),
    Filter("bell", 200.0, 0.8, 1.5),
    Filter("bell", 450.0, 0.8, -2.5),
    Filter("bell", 3000.0, 0.8, 3.0),
    Filter("low-pass", 6500.0),
)


class InstrumentRow(NamedTuple):
    """One value of the field `sound`."""

    name: str
    program: int  # of General MIDI, from 0
    strings: StringSet  # where the tuning is a guitar's; a bass has its own
    guitar: Guitar


_ROWS: tuple[InstrumentRow, ...] = (
    InstrumentRow(
        "clean", program=27, strings="electric",
        guitar=Guitar(
            scale=0.648, low=_STEEL_LOW, high=_STEEL_HIGH, stiffness=_STEEL_STIFF, second=_SOLID, sympathy=-58.0, trim=_STEEL_TRIM, wound_below=54.5,
            pick=0.09, palm=0.06, edge=0.0006, noise=0.20, squeak=_ELECTRIC_SQUEAK, soft=0.0, pickup=0.075,
            compression=0.18, pre=_PICKUP, drive=0.0, bias=0.0, post=_OPEN_CABINET, body=(), room=-13.5, level=0.0,
        ),
    ),
    InstrumentRow(
        "crunch", program=29, strings="electric",
        guitar=Guitar(
            scale=0.648, low=_STEEL_LOW, high=_STEEL_HIGH, stiffness=_STEEL_STIFF, second=_SOLID, sympathy=-58.0, trim=_CRUNCH_TRIM, wound_below=54.5,
            pick=0.09, palm=0.06, edge=0.0005, noise=0.16, squeak=_DRIVEN_SQUEAK, soft=0.0, pickup=0.045,
            compression=0.65, pre=(*_BRIGHT_PICKUP, Filter("high-pass", 60.0), Filter("bell", 2600.0, 0.6, 8.0)),
            drive=75.0, bias=0.08, post=_CRUNCH_CABINET, body=_BOX, room=-13.5, level=-23.0,
        ),
    ),
    InstrumentRow(
        "lead", program=30, strings="electric",
        guitar=Guitar(
            scale=0.648, low=_STEEL_LOW, high=_STEEL_HIGH, stiffness=_STEEL_STIFF, second=_SOLID, sympathy=-58.0, trim=_LEAD_TRIM, wound_below=54.5,
            pick=0.09, palm=0.06, edge=0.0005, noise=0.12, squeak=_DRIVEN_SQUEAK, soft=0.0, pickup=0.045,
            compression=0.6, pre=(*_BRIGHT_PICKUP, Filter("high-pass", 75.0), Filter("bell", 1800.0, 0.6, 9.0)),
            drive=34.0, bias=0.06, post=_LEAD_CABINET, body=_BOX, room=-14.0, level=-18.5,
        ),
    ),
    InstrumentRow(
        "acoustic", program=25, strings="acoustic",
        guitar=Guitar(
            scale=0.645, low=((28.0, 5.5), (40.0, 5.0), (64.0, 6.0)),
            high=((28.0, 1.1), (40.0, 1.3), (64.0, 1.7)), stiffness=_WOOD_STIFF, second=_WOODEN, sympathy=-58.0, trim=_WOOD_TRIM, wound_below=58.5,
            pick=0.14, palm=0.07, edge=0.00025, noise=0.30, squeak=Squeak(0.015, 1700.0), soft=0.0, pickup=None,
            compression=0.0, pre=(Filter("high-pass", 55.0),), drive=0.0, bias=0.0,
            post=(Filter("bell", 650.0, 0.45, -7.0), Filter("bell", 3500.0, 0.7, 2.0), Filter("low-pass", 10000.0)),
            body=((101.0, 15.0, 1.7), (189.0, 14.0, 1.2), (232.0, 16.0, 0.4), (378.0, 12.0, 0.2)), room=-11.6, level=2.0,
        ),
    ),
    InstrumentRow(
        "nylon", program=24, strings="nylon",
        guitar=Guitar(
            scale=0.65, low=((28.0, 4.0), (40.0, 3.6), (64.0, 3.6)),
            high=((28.0, 0.56), (40.0, 0.75), (64.0, 0.88)), stiffness=_NYLON_STIFF, second=_NYLON, sympathy=-58.0, trim=_NYLON_TRIM, wound_below=50.5,
            pick=0.13, palm=0.07, edge=0.0002, noise=0.16, squeak=Squeak(0.016, 900.0), soft=0.0002, pickup=None,
            compression=0.0, pre=(Filter("high-pass", 55.0),), drive=0.0, bias=0.0,
            post=(Filter("bell", 4500.0, 0.6, 4.0), Filter("low-pass", 9500.0)),
            body=((97.0, 12.0, 1.2), (181.0, 12.0, 0.9), (225.0, 14.0, 0.3), (350.0, 12.0, 0.3)), room=-13.0, level=1.0,
        ),
    ),
    InstrumentRow(
        "bass", program=33, strings="electric",
        guitar=Guitar(
            scale=0.864, low=((23.0, 14.0), (28.0, 13.0), (43.0, 10.0), (48.0, 9.0), (64.0, 7.0)),
            high=((23.0, 0.5), (28.0, 0.6), (43.0, 0.8), (64.0, 0.8)), stiffness=_BASS_STIFF, second=_SOLID, sympathy=-66.0, trim=_BASS_TRIM, wound_below=64.0,
            pick=0.16, palm=0.09, edge=0.0010, noise=0.08, squeak=Squeak(0.012, 1100.0), soft=0.0004, pickup=0.10,
            compression=0.0, pre=(Filter("high-pass", 30.0), Filter("low-pass", 3200.0, 1.1)), drive=0.0, bias=0.0,
            post=(Filter("bell", 90.0, 0.8, 2.0), Filter("bell", 350.0, 0.8, -2.0), Filter("low-pass", 5000.0)),
            body=(), room=-20.0, level=-4.5,
        ),
    ),
)  # fmt: skip
INSTRUMENTS: dict[str, InstrumentRow] = {row.name: row for row in _ROWS}
DEFAULT_INSTRUMENT = _ROWS[0].name


def interpolate(table: Table, at: float) -> float:
    """Return a table's value at `at`: linear between two rows, constant beyond the ends."""
    for (x0, y0), (x1, y1) in zip(table, table[1:], strict=False):
        if at < x1:
            return y0 + (y1 - y0) * max(0.0, (at - x0) / (x1 - x0))
    return table[-1][1]
