"""The settings of a `lickwright.toml`: one row for each.

In: a value as TOML has it. Out: the value as the program takes it, or a ValueError in a player's words. The table in the reference is made from the
rows too (`settings_table`); the fields are the notation's own, from `settings.fields.FIELDS`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from lickwright.config.name_pattern import LAYOUTS, Pattern
from lickwright.config.name_pattern import parse_pattern as parse_pattern
from lickwright.core.diagnostics import Severity, one_of
from lickwright.core.nearest_name import nearest_name
from lickwright.export import PAPERS, PRINT_SIZES, SHEET_FORMATS, SOUND_FORMATS, option_parsing
from lickwright.music.practice import MINUTES, Ladder, parse_ladder
from lickwright.music.scale import parse_scale
from lickwright.report.console import safe_text
from lickwright.settings.fields import FIELDS, FieldRow
from lickwright.settings.project_rules import ProjectField

SEVERITIES: dict[str, Severity | None] = {**{s.word: s for s in Severity}, "off": None}
_LONE_HASH = re.compile(r"(?:^|\s)#(?:\s|$)")


class SettingRow(NamedTuple):
    """One setting of the file."""

    section: str  # "" for the top, before the first section
    name: str
    parse: Callable[[Any], Any]  # raises ValueError in a player's words, the wrong word in backticks
    summary: str  # what its value is
    default: str  # what holds without it, in words


def value_text(value: Any) -> str:
    """Return words, or a number as it would be written in a lick, on one line. Raises ValueError for anything else."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise ValueError(f"{toml_type(value)} is here, but it takes words in quotes")
    if isinstance(value, int) and abs(value) >= 10**9:
        raise ValueError("the number is too large")
    words = " ".join(str(value).split())
    if not words:
        raise ValueError("there is nothing between the quotes")
    if safe_text(words) != words:
        raise ValueError("it holds a character that cannot be seen")
    return words


def _quoted(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{toml_type(value)} is here, but it takes words in quotes")
    return value_text(value)


def toml_type(value: Any) -> str:
    """Return what a value is, for a message: `a list`."""
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    kinds = ((str, "a word"), (int | float, "a number"), (list, "a list"), (dict, "a section"))
    return next((name for types, name in kinds if isinstance(value, types)), "a date or time")


def _number(low: int, high: int) -> Callable[[Any], int]:
    def parse(value: Any) -> int:
        if isinstance(value, str) and re.fullmatch("[0-9]{1,6}", value):
            raise ValueError(f"a number is written without quotes: {value}")
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError(f"a whole number from {low:,} to {high:,} is needed")
        return value

    return parse


def _switch(value: Any) -> bool:
    if not isinstance(value, bool):
        raise ValueError(f"{toml_type(value)} is here, but it takes true or false, without quotes")
    return value


def _choice(known: tuple[str, ...]) -> Callable[[Any], str]:
    parse = one_of(known)
    return lambda value: parse(value_text(value).lower())


def _words(value: Any) -> list[str]:
    """Return a list of words, from a list or from one string with commas between them."""
    return [
        value_text(one)
        for one in (value.split(",") if isinstance(value, str) else value if isinstance(value, list) else [value])
    ]


def _formats(value: Any) -> Any:
    return option_parsing.parse_formats(_words(value), "`")


def _sheet_formats(value: Any) -> tuple[str, ...]:
    return option_parsing.parse_sheet_formats(",".join(_words(value)))


def _practice_tempo(value: Any) -> Any:
    return option_parsing.parse_tempo_request(value_text(value))


def _ladder(value: Any) -> Ladder:
    return parse_ladder(value_text(value))


def _quoted_words(words: Iterable[str]) -> str:
    """Words as a value of the file would have them, for a summary."""
    return ", ".join(f'`"{word}"`' for word in words)


def _folder(value: Any) -> str:
    """Return a folder below that of the file: a library that was sent to somebody must not write elsewhere on the machine."""
    name = _below(value, "folder")
    if name is None:
        raise ValueError(f"`{value[:60]}` lies outside this folder: only --out leads there")
    return name


def _file(value: Any) -> str:
    """Return a file below the folder of the lickwright.toml: a recording is given away, and must not hold another file of the machine."""
    name = _below(value, "file")
    if name is None:
        raise ValueError(f"`{value[:60]}` lies outside this folder: put a copy into it")
    return name


def _below(value: Any, what: str) -> str | None:
    """Return a relative name that stays below its folder; None for another. Raises ValueError."""
    if not isinstance(value, str):
        raise ValueError(f"{toml_type(value)} is here, but it takes the name of a {what} in quotes")
    name = value_text(value)
    parts = re.split(r"[/\\]", name)
    return None if name.startswith(("/", "\\", "~")) or ".." in parts or re.match("[A-Za-z]:", name) else name


def _pattern(value: Any) -> Pattern:
    if not isinstance(value, str):
        raise ValueError(f"{toml_type(value)} is here, but it takes a pattern in quotes")
    return parse_pattern(value_text(value))


def _required(value: Any) -> tuple[str, ...]:
    known = tuple(row.name for row in FIELDS if not row.head_only and row.name != "meant")
    names = _words(value)
    for name in names:
        if name not in known:
            near = nearest_name(name, known)
            raise ValueError(f"there is no field `{name[:30]}`" + (f": {near}?" if near else ""))
    return tuple(dict.fromkeys(names))


def _field(row: FieldRow) -> Callable[[Any], ProjectField]:
    def parse(value: Any) -> Any:
        words = value_text(value)
        if _LONE_HASH.search(words):
            raise ValueError("a lone `#` would begin a comment in a lick")
        if row.name == "scale":
            parse_scale(words, None)
        return row.parse(words), words

    return parse


def field_setting(row: FieldRow) -> SettingRow:
    """Return the setting of a field."""
    return SettingRow("fields", row.name, _field(row), row.summary, row.default)


SETTINGS: tuple[SettingRow, ...] = (
    SettingRow("", "required", _required, "fields that every lick must have: `[\"rights\", \"by\"]`", "none"),
    SettingRow("make", "to", _formats, "formats: `[\"tab\", \"midi\"]`", "tab, midi, timing"),
    SettingRow("make", "out", _folder, "the folder to write into, below the folder of this file", "`out` in the current folder"),
    SettingRow("make", "width", _number(*option_parsing.WIDTHS), "columns of a text tab", "80"),
    SettingRow("make", "jobs", _number(*option_parsing.JOBS), "how many processes work at once", "one per core"),
    SettingRow("make", "check-contents", _switch, "read every lick file, and look at every file made of it, to see whether one changed: `true`", "false"),
    SettingRow("make", "tempo", _practice_tempo, "for practice: `\"60%\"` of the written tempo, or `72`", "as written"),
    SettingRow("make", "chord-tones", _switch, "a text tab says over each note what it is in its chord: `true`", "false"),
    SettingRow("make", "single-channel", _switch, "MIDI with all strings on one channel, for old gear: `true`", "false"),
    SettingRow("make", "compressed", _switch, "MusicXML as an archive, `.mxl`: `true`", "false"),
    SettingRow("make", "sheet-format", _sheet_formats, "files of a sheet: " + _quoted_words(SHEET_FORMATS), "pdf"),
    SettingRow("make", "paper", _choice(PAPERS), "of a sheet: " + _quoted_words(PAPERS), PAPERS[0]),
    SettingRow("make", "print-size", _choice(PRINT_SIZES), "of a sheet: " + _quoted_words(PRINT_SIZES), "normal"),
    SettingRow("make", "left-handed", _switch, "the neck of a sheet or lesson page is that of a left-handed guitar: `true`", "false"),
    SettingRow("make", "black", _switch, "a sheet without color: `true`", "false"),
    SettingRow("make", "count", _switch, "a sheet or lesson page says the count below the strings: `true`", "false"),
    SettingRow("make", "staff", _switch, "a sheet or lesson page has a staff of notes above the strings: `true`", "false"),
    SettingRow("make", "chord-shapes", _switch, "a sheet or lesson page shows over each new chord how it is held: `true`", "false"),
    SettingRow("make", "book", _quoted, "the title of a document with the sheets of all licks, in the output folder", "none"),
    SettingRow("make", "share-pages", _switch, "licks of that document share pages; else each begins one: `true`", "false"),
    SettingRow("make", "silent-page", _switch, "lesson pages hold no recording and play plain tones: `true`", "false"),
    SettingRow("make", "format", _choice(SOUND_FORMATS), "the format of recordings: " + ", ".join(f"`\"{name}\"`" for name in SOUND_FORMATS), "wav"),
    SettingRow("make", "count-in", _number(*option_parsing.COUNT_INS), "bars of clicks before a recorded lick", "0"),
    SettingRow("make", "click", _switch, "clicks go on under a recorded lick: `true`", "false"),
    SettingRow("make", "repeat", _number(*option_parsing.REPEATS), "times through a recorded lick", "1; 2 on each rung of a ladder"),
    SettingRow("make", "answer", _switch, "after each time through a recorded lick, a silence of the same length for an answer: `true`", "false"),
    SettingRow("make", "backing", _switch, "hold chords under a recorded lick: `true`", "false"),
    SettingRow("make", "longest", _number(*option_parsing.LONGEST), "seconds that a recording may last", f"{60 * MINUTES}, half an hour"),
    SettingRow("make", "practice", _switch, "recordings are practice sets: `true`", "false"),
    SettingRow("make", "ladder", _ladder, "the practice ladder, for `listen` too: start, step, top, `\"60%,5,100%\"`", str(Ladder())),
    SettingRow("album", "title", _quoted, "the album's title, in the tags of every recording", "none, and no track numbers"),
    SettingRow("album", "genre", _quoted, "its genre: `\"Blues\"`", "none"),
    SettingRow("album", "year", _number(1000, 9999), "its year: `2026`", "none"),
    SettingRow("album", "cover", _file, "its picture, a PNG or JPEG file of 2 MiB at most in the folder of this file or below it", "none"),
    SettingRow("make", "layout", _choice(LAYOUTS), "folders of a release: " + ", ".join(f"`\"{name}\"`" for name in LAYOUTS), LAYOUTS[0]),
    SettingRow("names", "lick", _pattern, "how a lick's files are named in a release: `\"{chapter}-{number:02}-{title}\"`", "`{title}`"),
    *(
        field_setting(row)
        for row in FIELDS
        if not row.head_only and not row.repeats
    ),
)  # fmt: skip
BY_PLACE = {(row.section, row.name): row for row in SETTINGS}
SECTIONS = {
    "make": "what `lickwright make` does where the command line does not say",
    "album": "what recordings say of the album that they belong to",
    "names": "how files are named in a release: in `release_files`, and in the archive that `lickwright make --zip` writes",
    "fields": "fields for every lick that does not write them, nor its file",
    "sounds": "sounds of your own, each in a section of its own: `[sounds.mine]`",
    "findings": "how much a finding weighs: its code, and error, warning, note or off",
}


def settings_table() -> str:
    """Return the rows as the table in the reference, in Markdown."""
    lines = ["| section | name | what it says | without it |", "|---|---|---|---|"]
    for row in SETTINGS:
        section = f"`[{row.section}]`" if row.section else "the top"
        cells = (section, f"`{row.name}`", row.summary.replace("|", "\\|"), row.default.replace("|", "\\|"))
        lines.append("| " + " | ".join(cells) + " |")
    lines.append(
        f"| `[findings]` | a code, such as `L203` | {', '.join(f'`{word}`' for word in SEVERITIES)} | the finding's own |"
    )
    return "\n".join(lines) + "\n"
