"""What is set for a lick: every field, its value, its default, and the order in which one overrides the other.

In: the fields of a file's head and of one lick, as written, and the style of the house. Out: `Settings` and the findings about them. One
table, `FIELDS`, says which fields there are, what their values are and what is meant when they are not written. The order: the lick's own,
else the file's, else the house's (`lickwright.toml`), else the default. (The command line's tempo is above all, in `performance.py`.)
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import field
from fractions import Fraction
from typing import Any, NamedTuple, Protocol

from lickwright.diagnostics import Diagnostic, Fix, Note, Rule, Severity, nearest, replacing
from lickwright.music.box import Area, BoxSpec, area, parse_box
from lickwright.music.chord import ChordAt, parse_chord_bars
from lickwright.music.pitch import Key, parse_key
from lickwright.music.rhythm import Feel, Meter, Tempo, parse_feel, parse_length, parse_meter, parse_tempo, parse_value
from lickwright.music.scale import Scale, default_scale, parse_scale
from lickwright.music.tuning import Tuning, parse_tuning
from lickwright.records import record
from lickwright.source import Span
from lickwright.style import Style
from lickwright.version import NOTATION as NOTATION_READ

MAX_FRETS = 36


class Meant(NamedTuple):
    """`meant L203 bar 2 "reason"`: a finding that is intended."""

    code: str
    bar: int | None  # None: the whole lick
    reason: str
    span: Span
    of_file: bool = False  # written in the file's head, for every lick


@record
class Settings:
    """Every field of one lick, resolved: its own, else the file's, else the house's, else the default."""

    tuning: Tuning = parse_tuning("standard")
    tempo: Tempo = parse_tempo("100")
    meter: Meter = parse_meter("4/4")
    feel: Feel = parse_feel("straight")
    key: Key | None = None
    scale: Scale | None = None  # the written one or the key's default; None without a key
    box: BoxSpec | None = None  # None and `any` alike: scale check only
    area: Area | None = None  # the box worked out on this neck; None: no box check
    pickup: Fraction | None = None  # of a whole note
    step: Fraction = Fraction(1, 8)
    chords: tuple[
        tuple[ChordAt, ...], ...
    ] = ()  # written bar by written bar, pick-up excluded; missing bars keep the last
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
    unread: frozenset[str] = frozenset()  # fields with a value that could not be read: nothing is judged by them
    written: Mapping[str, Span] = field(
        default_factory=dict
    )  # where each field that was written stands (for "the meter is set here")
    house: Mapping[str, Note] = field(default_factory=dict)  # the same for those that the house sets

    def place(self, name: str, otherwise: Span) -> tuple[Span, tuple[Note, ...]]:
        """Where a finding about a field belongs: its own line, or `otherwise` and a note that shows the house's."""
        note = self.house.get(name)
        return self.written.get(name, otherwise), (note,) if note else ()

    def set_here(self, name: str, called: str) -> tuple[Note, ...]:
        """`the meter is set here`, where it was written or in the house's file; nothing for a default."""
        if name in self.written:
            return (Note(self.written[name], f"{called} is set here"),)
        return (self.house[name]._replace(message=f"{called} is set here"),) if name in self.house else ()


class Entry(Protocol):
    """One field as written: a node of the tree."""

    @property
    def name(self) -> str: ...
    @property
    def raw(self) -> str: ...
    @property
    def raw_at(self) -> int: ...
    @property
    def name_span(self) -> Span: ...


class FieldRow(NamedTuple):
    """One row of the table."""

    name: str
    parse: Callable[[str], Any]  # raises ValueError in a player's words
    summary: str  # for the reference
    default: str  # what holds when it is not written, in words
    repeats: bool = False
    head_only: bool = False


def _whole(low: int, high: int) -> Callable[[str], int]:
    def parse(text: str) -> int:
        if not re.fullmatch(r"[0-9]{1,3}", text) or not low <= int(text) <= high:
            raise ValueError(f"`{text[:24]}` is no whole number from {low} to {high}")
        return int(text)

    return parse


def _one_of(*choices: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in choices:
            near = nearest(text, choices)
            raise ValueError(f"`{text[:24]}` is not one of {', '.join(choices)}" + (f": {near}?" if near else ""))
        return text

    return parse


_STRAIGHT = str.maketrans("“”„«»‘’–—−♯♭", '"""""\'\'---#b')
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
    FieldRow("chords", parse_chord_bars, "chord symbols bar by bar: `A7 | D7 A7`", "none"),
    FieldRow("tuning", parse_tuning, "`standard`, `drop D`, …, or pitches low to high", "standard"),
    FieldRow("capo", _whole(0, 24), "its fret; frets and key are named as fingered", "0"),
    FieldRow("frets", _whole(1, MAX_FRETS), "how many the neck has", "22"),
    FieldRow("reach", _one_of("small", "medium", "large"), "the hand, for stretches", "medium"),
    FieldRow("sound", _one_of("clean", "crunch", "lead", "acoustic", "nylon", "bass"), "what it is played on", "clean"),
    FieldRow("numbering", _one_of("relative", "tonic"), "how major boxes count", "relative"),
    FieldRow("level", _whole(1, 5), "how hard, 1 to 5", "none"),
    FieldRow("tags", str, "free words for finding it", "none"),
    FieldRow("style", str, "free text", "none"),
    FieldRow("by", str, "who wrote it", "none"),
    FieldRow("rights", str, "whose it is", "none"),
    FieldRow("source", str, "where it is from", "none"),
    FieldRow("note", str, "a remark that is printed", "none", repeats=True),
    FieldRow(
        "meant",
        _meant,
        'a finding that is intended, with the reason: `meant L203 bar 2 "by design"`',
        "none",
        repeats=True,
    ),
)
BY_NAME = {row.name: row for row in FIELDS}
# What players call some of them elsewhere; offered, never accepted.
OTHER_NAMES = {
    "time": "meter",
    "metre": "meter",
    "bpm": "tempo",
    "speed": "tempo",
    "position": "box",
    "author": "by",
    "grid": "step",
}

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
    "L122", "field said twice", Severity.ERROR, "the same field twice in one place",
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
    "A lickwright.toml in the lick's folder or above it says which fields every lick must have: `required = [\"by\"]` say. Write the "
    "field in the lick or at the top of its file. With `L705 = \"error\"` under [findings] a lick without it is not made.",
    "# lickwright.toml says: required = [\"by\"]\n" + _GOOD, "by Wren Castellowe\n" + _GOOD,
)  # fmt: skip
RULES: tuple[Rule, ...] = (UNKNOWN, VALUE, TWICE, NOTATION, MISSING)


class _Read(NamedTuple):
    """A field's value and its place."""

    value: Any
    span: Span  # of the value
    raw: str
    raw_at: int
    of_file: bool
    house: Note | None = None  # where it stands, if the house sets it; then `span` is not in the lick's text


class Head(NamedTuple):
    """The fields of a file's head and those of its house, read once for all its licks."""

    read: dict[str, _Read]
    many: dict[str, list[_Read]]
    unread: set[str]
    found: list[Diagnostic]
    required: tuple[tuple[str, Note], ...]  # fields that the house wants, and where it says so


def read_head(entries: Iterable[Entry], house: Style | None = None) -> Head:
    """The fields that apply to every lick of a file, and the findings about them."""
    read: dict[str, _Read] = {}
    unread: set[str] = set()
    required: tuple[tuple[str, Note], ...] = ()
    if house is not None:
        for name, given in house.fields.items():
            note = house.note(given.span, f"{name} is set here")
            read[name] = _Read(given.value, given.span, given.text, 0, True, note)
        unread |= house.unread
        required = tuple((name, house.note(at, "it is required here")) for name, at in house.required.items())
    head = Head(read, {"note": [], "meant": []}, unread, [], required)
    _read_fields(entries, True, head.read, head.many, head.unread, head.found)
    return head


def settle(head: Head, own: Iterable[Entry], title: Span) -> tuple[Settings, list[Diagnostic]]:
    """The settings of a lick from its file's fields and its own, which override them, and the findings about its own.

    A value that cannot be read counts as not written. `title` is where findings stand about what the lick does not write.
    """
    found: list[Diagnostic] = []
    unread = set(head.unread)
    read = dict(head.read)
    many = {name: list(ones) for name, ones in head.many.items()}
    _read_fields(own, False, read, many, unread, found)
    values = {name: one.value for name, one in read.items() if name not in ("notation", "scale", "box")}
    key = values.get("key")
    numbered = False
    if "box" in read:
        values["box"] = read["box"].value
        numbered = bool(read["box"].value.numbers)
    values["scale"] = _scale(read.get("scale"), key, numbered, title, found)
    if "scale" in read and key is not None and values["scale"] is None:
        unread.add("scale")
    missing = [(name, note) for name, note in head.required if name not in {*read, *unread} and not many.get(name)]
    found += _missing(missing, title) if missing else []
    if "box" in read and unread.isdisjoint(("key", "scale", "tuning")):
        values["area"] = _area(values, read["box"], title, found)
    settings = Settings(
        **values,
        notes=tuple(one.value for one in many["note"]),
        meant=tuple(_intended(one) for one in many["meant"]),
        unread=frozenset(unread),
        written={name: one.span for name, one in read.items() if one.house is None},
        house={name: one.house for name, one in read.items() if one.house is not None},
    )
    return settings, found


def _read_fields(
    entries: Iterable[Entry],
    of_file: bool,
    read: dict[str, _Read],
    many: dict[str, list[_Read]],
    unread: set[str],
    found: list[Diagnostic],
) -> None:
    seen: set[str] = set()
    for n, entry in enumerate(entries):
        row = BY_NAME.get(entry.name)
        if row is None:
            if not entry.name.startswith("x-"):
                near = OTHER_NAMES.get(entry.name.lower()) or nearest(entry.name, tuple(BY_NAME))
                unread |= {near} if near else set()
                help = f"did you mean `{near}`?" if near else "a field of your own begins with x-"
                fix = replacing(*entry.name_span, entry.name.lower()) if entry.name.lower() in BY_NAME else None
                found.append(UNKNOWN.at(entry.name_span, f"there is no field `{entry.name[:30]}`", help, fix=fix))
            continue
        if row.head_only and (n or not of_file):
            found.append(
                NOTATION.at(
                    entry.name_span, f"`{row.name}` is not the file's first line", "move it to the top, or leave it out"
                )
            )
        if entry.name in seen and not row.repeats:
            found.append(TWICE.at(entry.name_span, f"`{entry.name}` is said twice here", "leave one of them"))
        seen.add(entry.name)
        one = _value(row, entry, of_file, found)
        if one is not None and row.repeats:
            many[row.name].append(one)
        elif one is not None:
            read[row.name] = one
            unread.discard(row.name)
        else:
            unread.add(row.name)


def _value(row: FieldRow, entry: Entry, of_file: bool, found: list[Diagnostic]) -> _Read | None:
    raw = entry.raw.rstrip()
    text = " ".join(raw.split())
    span = Span(entry.raw_at, entry.raw_at + len(raw))
    try:
        if not text:
            raise ValueError(f"`{row.name}` has no value")
        value = row.parse(text)
        if row.name == "notation" and value > NOTATION_READ:
            found.append(
                NOTATION.at(
                    span,
                    f"the file is written in notation {value}, this program reads {NOTATION_READ}",
                    "a newer Lickwright reads it",
                )
            )
    except ValueError as e:
        found.append(_wrong(row, entry, str(e)))
        return None
    return _Read(value, span, entry.raw, entry.raw_at, of_file)


def _wrong(row: FieldRow, entry: Entry, message: str) -> Diagnostic:
    """A value that cannot be read; the caret stands under the word that the message names."""
    raw = entry.raw.rstrip()
    named = re.search(r'[`"]([^`"]+)[`"]', message)
    at = raw.find(named[1]) if named else -1
    if named and at >= 0:
        span = Span(entry.raw_at + at, entry.raw_at + at + len(named[1]))
    elif raw:
        span = Span(entry.raw_at, entry.raw_at + len(raw))
    else:
        span = entry.name_span
    return VALUE.at(span, message, f"`{row.name}` is {row.summary}", fix=_mended(row, entry.raw_at, raw))


def _mended(row: FieldRow, at: int, raw: str) -> Fix | None:
    """The value with its quotes straight or its capitals right, where one such spelling can be read."""
    sure = set()
    for text in (raw.translate(_STRAIGHT), raw.lower(), raw[:1].upper() + raw[1:]):
        try:
            row.parse(" ".join(text.split()))
        except ValueError:
            continue
        sure.add(text)
    return replacing(at, at + len(raw), sure.pop()) if len(sure) == 1 and "\n" not in raw else None


def _intended(read: _Read) -> Meant:
    code, bar, reason = read.value
    return Meant(code, bar, reason, read.span, read.of_file)


def _missing(wanted: list[tuple[str, Note]], title: Span) -> list[Diagnostic]:
    """One finding for all fields that a lick lacks."""
    names = [f"`{name}`" for name, _ in wanted]
    listed = f"{', '.join(names[:-1])} and {names[-1]} are" if len(names) > 1 else f"{names[0]} is"
    lines = ", ".join(f"`{name} …` ({BY_NAME[name].summary})" for name, _ in wanted)
    help = f"write in the lick or at the top of its file: {lines}"
    return [
        MISSING.at(title, f"{listed} missing, which every lick here must have", help, tuple(note for _, note in wanted))
    ]


def _about(name: str, read: _Read, title: Span, message: str) -> Diagnostic:
    """A value that makes no sense in this lick, wherever it was set."""
    help = f"`{name}` is {BY_NAME[name].summary}"
    return VALUE.at(title if read.house else read.span, message, help, (read.house,) if read.house else ())


def _scale(read: _Read | None, key: Key | None, numbered: bool, title: Span, found: list[Diagnostic]) -> Scale | None:
    if read is None:
        return default_scale(key, numbered) if key else None
    try:
        return parse_scale(read.value, key)
    except ValueError as e:
        found.append(_about("scale", read, title, str(e)))
        return None


def _area(values: Mapping[str, Any], box: _Read, title: Span, found: list[Diagnostic]) -> Area | None:
    """Where the box lies; None without a key, since the checks are off then and say so, and where it cannot lie anywhere."""
    key, spec = values.get("key"), box.value
    if key is None and spec is not None and spec.window is None:
        return None
    names = ("tuning", "frets", "capo", "numbering")
    tuning, frets, capo, numbering = (values.get(name, getattr(_DEFAULTS, name)) for name in names)
    try:
        return area(spec or BoxSpec(), key, values["scale"], tuning, max(1, frets - capo), numbering)
    except ValueError as e:
        found.append(_about("box", box, title, str(e)))
        return None


_DEFAULTS = Settings()
