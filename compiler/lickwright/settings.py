"""What is set for a lick: every field's value, its default, and the order in which one overrides the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from lickwright.music.box import Area, BoxSpec
from lickwright.music.chord import ChordAt
from lickwright.music.pitch import Key
from lickwright.music.rhythm import Feel, Meter, Tempo
from lickwright.music.scale import Scale
from lickwright.music.tuning import Tuning
from lickwright.source import Span


@dataclass(frozen=True, slots=True)
class Meant:
    """`meant L203 bar 2 "reason"`: a finding that is intended."""

    code: str
    bar: int | None  # None: the whole lick
    reason: str
    span: Span
    of_file: bool = False  # written in the file's head, for every lick


@dataclass(frozen=True, slots=True)
class Settings:
    """Every field of one lick, resolved: its own, else the file's, else the default."""

    tuning: Tuning
    tempo: Tempo
    meter: Meter
    feel: Feel
    key: Key | None = None
    scale: Scale | None = None  # the written one or the key's default; None without a key
    box: BoxSpec | None = None  # None and `any` alike: scale check only
    area: Area | None = None  # the box worked out on this neck; None: no box check
    pickup: Fraction | None = None  # of a whole note
    step: Fraction = Fraction(1, 8)
    chords: tuple[tuple[ChordAt, ...], ...] = ()  # written bar by written bar, pick-up excluded; missing bars keep the last
    capo: int = 0
    frets: int = 22
    reach: str = "medium"
    sound: str = "clean"
    numbering: str = "relative"
    level: int | None = None
    tags: str = ""
    style: str = ""
    by: str = ""
    rights: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    meant: tuple[Meant, ...] = ()
    written: Mapping[str, Span] = field(default_factory=dict)  # where each field that was written stands (for "the meter is set here")
