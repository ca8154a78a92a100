"""What can be set for a lick: every field, its value and its default, in one table.

In: the value of a field, as written. Out: the value as the program uses it. `FIELDS` lists the fields, how their values
are read, and what holds when they are not written; `Settings` is all of them for one lick, made by `resolution.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple, Protocol

from lickwright.core.diagnostics import RelatedInformation, Rule, Severity, one_of
from lickwright.core.fast_dataclass import field, record
from lickwright.core.source import Span
from lickwright.music.box_area import Area
from lickwright.music.boxspec import BoxSpec, parse_box
from lickwright.music.chord import ChordAt, parse_chord_bars
from lickwright.music.custom_sound import find_sound
from lickwright.music.fretboard import MAX_CAPO, MAX_FRET, USUAL_FRETS
from lickwright.music.instruments import DEFAULT_INSTRUMENT, INSTRUMENTS, InstrumentRow
from lickwright.music.pitch import Key, parse_key
from lickwright.music.rhythm import Feel, Meter, Tempo, parse_feel, parse_length, parse_meter, parse_tempo, parse_value
from lickwright.music.scale import Scale
from lickwright.music.tuning import Tuning, parse_tuning


class Suppression(NamedTuple):
    """`meant L203 bar 2 "reason"`: a finding that is intended."""

    code: str
    bar: int | None  # None: the whole lick
    reason: str
    span: Span
    of_file: bool = False  # written in the file's head, for every lick


@record
class Settings:
    """Every field of one lick, resolved: its own, else the file's, else the project's, else the default."""

    tuning: Tuning = parse_tuning("standard")
    tempo: Tempo = parse_tempo("100")
    meter: Meter = parse_meter("4/4")
    feel: Feel = parse_feel("straight")
    key: Key | None = None
    scale: Scale | None = None  # the written one or the key's default; None without a key
    scale_by_key: bool = False  # the scale is written as `blues` or `pentatonic`: the key says which
    box: BoxSpec | None = None  # None and `any` alike: scale check only
    area: Area | None = None  # the box worked out on this neck; None: no box check
    pickup: Fraction | None = None  # of a whole note
    step: Fraction = Fraction(1, 8)
    chords: tuple[tuple[ChordAt, ...], ...] = ()  # by written bar, pick-up excluded; missing bars keep the last
    capo: int = 0
    frets: int = USUAL_FRETS
    reach: str = "medium"
    sound: str = DEFAULT_INSTRUMENT
    instrument: InstrumentRow = INSTRUMENTS[DEFAULT_INSTRUMENT]  # that `sound` names
    numbering: str = "relative"
    level: int | None = None
    tags: str = ""
    style: str = ""
    by: str = ""
    rights: str = ""
    source: str = ""
    origin: str = ""  # the field `from`, which is a keyword of Python
    notes: tuple[str, ...] = ()
    meant: tuple[Suppression, ...] = ()
    unread: frozenset[str] = frozenset()  # fields with a value that could not be read: nothing is judged by them
    written: Mapping[str, Span] = field(default_factory=dict)  # where each field stands that the lick or file writes
    set_by_project: Mapping[str, RelatedInformation] = field(default_factory=dict)  # the same in the project's file

    def finding_place(self, name: str, otherwise: Span) -> tuple[Span, tuple[RelatedInformation, ...]]:
        """Return where a finding about a field stands: its own line, or `otherwise` with a note on the project's."""
        note = self.set_by_project.get(name)
        return self.written.get(name, otherwise), (note,) if note else ()

    def set_here(self, name: str, called: str) -> tuple[RelatedInformation, ...]:
        """Return `the meter is set here`, where it was written or in the project's file; () for a default."""
        message = f"{called} is set here"
        if name in self.written:
            return (RelatedInformation(self.written[name], message),)
        note = self.set_by_project.get(name)
        return (note._replace(message=message),) if note else ()


class WrittenField(Protocol):
    """One field as written: what a node of the notation's tree offers."""

    @property
    def name(self) -> str: ...
    @property
    def raw(self) -> str: ...
    @property
    def raw_at(self) -> int: ...
    @property
    def name_span(self) -> Span: ...
    @property
    def sign(self) -> str: ...


class FieldRow(NamedTuple):
    """One field of the notation."""

    name: str
    parse: Callable[[str], Any]  # raises ValueError in a player's words
    summary: str  # for the reference
    default: str  # what holds when it is not written, in words
    repeats: bool = False
    head_only: bool = False


def _whole(low: int, high: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,3}", text) or not low <= int(text) <= high:
            raise ValueError(f"`{text[:24]}` is not a whole number from {low} to {high}")
        return int(text)

    return parse


def _title(text: str) -> str:
    """Return a title without its quotes. Raises ValueError for quotes round nothing."""
    bare = text[1:-1].strip() if len(text) > 1 and text[0] == text[-1] == '"' else text
    if not bare:
        raise ValueError("no title stands between the quotes")
    return bare


_MEANT = re.compile(r'(L[0-9]{3})(?:\s+bar\s+([0-9]{1,5}))?\s+"((?:[^"\\]|\\.)+)"')


def _meant(text: str) -> tuple[str, int | None, str]:
    match = _MEANT.fullmatch(text)
    curly = re.search("[“”„«»]", text)
    if match is None and curly:
        raise ValueError(f'`{curly[0]}` is a curly quote, not `"`')
    if match is None:
        raise ValueError(
            'a finding that is intended is named by its code and its reason: `meant L203 bar 2 "chromatic by design"`'
        )
    return match[1], int(match[2]) if match[2] else None, match[3]


# The order is the reference's.
FIELDS: tuple[FieldRow, ...] = (
    FieldRow("notation", _whole(1, 99), "the version of the notation, on the file's first line", "1", head_only=True),
    FieldRow(
        "key", parse_key, "tonic and mode: `A minor`, `F# major`, `D dorian`", "none: box and scale are not checked"
    ),
    FieldRow(
        "scale",
        str,
        "a scale's name, or its degrees: `1 b3 4 b5 5 b7`",
        "with a numbered box the key's pentatonic, else the key's own seven notes",
    ),
    FieldRow(
        "box",
        parse_box,
        "`1` to `5`, several, `E shape`, `open`, `frets 5-8` or `any`; `at 12` for one octave of it",
        "any",
    ),
    FieldRow("tempo", parse_tempo, "beats a minute: `96`, `1/4. = 66`", "100"),
    FieldRow("meter", parse_meter, "`4/4`, `12/8`, grouped `7/8 2+2+3`", "4/4"),
    FieldRow("pickup", parse_length, "the length of a short first bar: `1/4`", "none"),
    FieldRow("step", parse_value, "the note value of one event: `1/8`", "1/8"),
    FieldRow("feel", parse_feel, "`straight`, `shuffle`, `swing`, `swing 5:3`, `swing 1/16`", "straight"),
    FieldRow("chords", parse_chord_bars, "chord symbols bar by bar: `A7 | D7 / / A7`", "none"),
    FieldRow("tuning", parse_tuning, "`standard`, `drop D`, …, or pitches low to high", "standard"),
    FieldRow("capo", _whole(0, MAX_CAPO), "its fret; frets and key are named as fingered", "0"),
    FieldRow("frets", _whole(1, MAX_FRET), "how many the neck has", str(USUAL_FRETS)),
    FieldRow("reach", one_of(("small", "medium", "large")), "the hand, for stretches", "medium"),
    FieldRow(
        "sound",
        one_of(INSTRUMENTS),
        "what it is played on; `[sounds.mine]` in `lickwright.toml` defines one of your own",
        DEFAULT_INSTRUMENT,
    ),
    FieldRow("numbering", one_of(("relative", "tonic")), "how major boxes count", "relative"),
    FieldRow("level", _whole(1, 5), "how hard, 1 to 5", "none"),
    FieldRow("tags", str, "free words for finding it", "none"),
    FieldRow("style", str, "free text", "none"),
    FieldRow("by", str, "who wrote it", "none"),
    FieldRow("rights", str, "whose it is", "none"),
    FieldRow("source", str, "where it is from", "none"),
    FieldRow("from", _title, "the title of the lick that it was moved from; `move` writes it", "none"),
    FieldRow("note", str, "words printed with the tab", "none", repeats=True),
    FieldRow(
        "meant",
        _meant,
        'a finding that is intended, with the reason: `meant L203 bar 2 "by design"`',
        "none",
        repeats=True,
    ),
)
BY_NAME = {row.name: row for row in FIELDS}


def rows_with_sounds(sounds: Mapping[str, InstrumentRow]) -> Mapping[str, FieldRow]:
    """Return the fields by name where a project has these sounds besides those of the table."""
    if not sounds:
        return BY_NAME
    sound = BY_NAME["sound"]._replace(parse=lambda text: find_sound(text, sounds).name)
    return {**BY_NAME, "sound": sound}


# The order in which `tidy` writes them: whose it is, the instrument, the scale, the time, what is played over it, words. `x-` is any own field.
FIELD_ORDER = (
    *("notation", "by", "rights", "source", "from", "style", "level", "sound", "tuning", "capo", "frets", "reach"),
    *(
        "key",
        "scale",
        "box",
        "numbering",
        "meter",
        "tempo",
        "pickup",
        "feel",
        "step",
        "chords",
        "tags",
        "x-",
        "note",
        "meant",
    ),
)

_GOOD = 'key A minor\n\nlick "Gate"\n| e8 e5 B8 e5 G7 - - - |\n'
UNKNOWN = Rule(
    "L120", "unknown field", Severity.ERROR, "a field that the notation does not have",
    "A field is one of the notation's own names, with small letters; x- before a name of your own keeps it and ignores it.",
    _GOOD.replace("key", "kee"), _GOOD,
)  # fmt: skip
VALUE = Rule(
    "L121", "field's value", Severity.ERROR, "a field whose value cannot be read",
    "Each field has its own kind of value: a key is a tonic and a mode, a tempo a number, a box a number from 1 to 5.",
    _GOOD.replace("A minor", "A miner"), _GOOD,
)  # fmt: skip
TWICE = Rule(
    "L122", "field given twice", Severity.ERROR, "the same field twice in one place",
    "A field stands once in the file's head and once in a lick, which then overrides the head. Only note and meant may repeat.",
    _GOOD.replace("key A minor", "key A minor\nkey C major"), _GOOD,
)  # fmt: skip
NOTATION = Rule(
    "L123", "version of the notation", Severity.ERROR, "a later version of the notation, or a version line that is not the first",
    "notation 1 may stand on the first line of a file and says which version of the notation it is written in.",
    _GOOD.replace("key A minor", "key A minor\nnotation 1"), "notation 1\n" + _GOOD,
)  # fmt: skip
MISSING = Rule(
    "L705", "required field", Severity.WARNING, "a field that lickwright.toml requires is not written",
    "A lickwright.toml in the lick's folder or above it says which fields every lick must have: `required = [\"by\"]`, for example. Write the "
    "field in the lick or at the top of its file. With `L705 = \"error\"` under [findings] a lick without it is not made.",
    "# lickwright.toml says: required = [\"by\"]\n" + _GOOD, "by Wren Castellowe\n" + _GOOD,
)  # fmt: skip
RULES: tuple[Rule, ...] = (UNKNOWN, VALUE, TWICE, NOTATION, MISSING)
