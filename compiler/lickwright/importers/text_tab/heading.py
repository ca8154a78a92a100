"""Title and fields of a lick, from the prose around its systems.

In: the lines that are no tab. Out: a `Heading`. Our own headings are read exactly (`key`, `tempo`, `meter` and so on, a name and a value a
line); in others' prose the
tempo, the meter and the key are looked for.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.text_tab.text_lines import TextLine
from lickwright.music.rhythm import TEMPO_MAX, TEMPO_MIN, Meter, parse_length, parse_meter, parse_tempo

_OURS = re.compile(r"(key|box|scale|tuning|capo|tempo|meter|level|style|rights|source|tags|note) +(\S.*)")
_METER_OURS = re.compile(
    r"(\d+/\d+(?: [\d+]+)?)(?:, with a pick-up of (\d+/\d+)(?:; bars? ([\d, ]+) shorter by as much)?)?"
)
_BOX_OURS = re.compile(r"(\d(?:(?:, | and )\d)*|[A-G] shape|open position|frets \d+-\d+)(?=[ ,;(]|$)")
_TEMPO_OURS = re.compile(
    r"(1/\d+\.{0,2} = [\d.]+)(?: \(written: ([\d.]+)\))?(?:, (shuffle|swing): pairs of (1/\d+) are played long and short, (\d+:\d+))?"
)
_TEMPO = re.compile(
    r"(?:\b(?:tempo|bpm)\b\W{0,3}(?:\w+\W{1,3})?(\d{2,3})\b|\b(\d{2,3})\s?bpm\b|(?:\bq|quarter(?: note)?|1/4|♩)\s?=\s?(\d{2,3})\b)",
    re.IGNORECASE,
)
_METER = re.compile(r"(?<![\d/])(2|3|4|5|6|7|9|12)/(4|8)(?![\d/])")
_METER_WORD = re.compile(r"\b(?:time|meter|metre|signature|in)\b|^\W*\d+/[48]\W*$|tempo|bpm", re.IGNORECASE)
_KEY = re.compile(
    r"\bkey\s*(?:of|:|=|is)?\s*([A-Ga-g](?:#|b|\s?sharp|\s?flat)?)\s*(m\b|min(?:or)?\b|maj(?:or)?\b|major\b)?",
    re.IGNORECASE,
)
_FEEL = re.compile(
    r"\b(shuffle|swing|swung)(?: feel| eighths| 8ths| rhythm)\b|(?:feel|rhythm):? *(shuffle|swing)", re.IGNORECASE
)
_BY = re.compile(r"(?:tabbed |written |transcribed )?by:? +(\S.{1,60})$", re.IGNORECASE)
_NOT_A_TITLE = re.compile(
    r"^(?:key|tun(?:ing|ed)|capo|tempo|bpm|legend|note|intro|verse|chorus|bridge|solo|outro|riff|from|to|date|subject|hi|hey|hello|here|x-|<|>|\(|\[|=|-|\*|#|\d+/\d+|standard)|[?:,]$",
    re.IGNORECASE,
)
_SUBJECT = re.compile(r"^subject: *(?:(?:re|fwd?): *)*(\S.*)$", re.IGNORECASE)
_LONGEST_TITLE, _LONGEST_FIELD = 60, 80  # characters


@mutable_record
class Heading:
    """What stands around the tab."""

    title: str = ""
    fields: list[tuple[str, str]] = field(default_factory=list)
    meter: Meter | None = None
    pickup: Fraction = Fraction(0)
    short: frozenset[int] = frozenset()  # the bars, from 1, that are shorter by the pick-up
    lines: set[int] = field(default_factory=set)  # numbers of the lines that were understood
    wrong: list[TextLine] = field(default_factory=list)  # lines of our own heading whose value is none


def is_ours(lines: Sequence[TextLine]) -> bool:
    """Return True for a tab that Lickwright printed: by its heading."""
    names = {found[1] for line in lines if (found := _OURS.fullmatch(line.text.rstrip()))}
    return {"tuning", "tempo", "meter"} <= names


def own_heading(lines: Sequence[TextLine]) -> Heading:
    """Return the heading of our own tab. A line whose value is none is only kept, as `wrong`."""
    heading = Heading()
    before_list = True
    k = 0
    while k < len(lines):
        text, line = lines[k].text.rstrip(), lines[k]
        found = _OURS.fullmatch(text)
        k += 1
        if not found:
            if text and before_list:
                heading.lines.add(line.number)
                if not heading.title:
                    heading.title = text
                elif text.startswith("by ") and not any(name == "by" for name, _ in heading.fields):
                    heading.fields.append(("by", text[3:]))
                else:
                    heading.title += " " + text
            continue
        before_list = False
        value = found[2]
        first = k - 1
        while (
            k < len(lines)
            and lines[k].text.startswith("   ")
            and lines[k].text.strip()
            and lines[k].number == lines[k - 1].number + 1
        ):
            value += " " + lines[k].text.strip()
            k += 1
        try:
            _own_field(heading, found[1], value)
            heading.lines |= {one.number for one in lines[first:k]}
        except ValueError:  # changed by hand
            heading.wrong += lines[first:k]
    heading.fields = [_usual_beat(heading.meter, *one) for one in heading.fields]
    return heading


def _usual_beat(meter: Meter | None, name: str, value: str) -> tuple[str, str]:
    """Return a field; a tempo that counts the meter's own beat without naming it."""
    if name == "tempo" and meter is not None and parse_tempo(value).unit == meter.beat:
        return name, value.split(" = ")[1]
    return name, value


def _own_field(heading: Heading, name: str, value: str) -> None:
    """Read one line of our own heading, whole or not at all. Raises ValueError for a meter, pick-up or tempo that is none."""
    if name == "meter":
        meter = _METER_OURS.fullmatch(value)
        if meter is None:
            raise ValueError(value)
        pickup = parse_length(meter[2]) if meter[2] else Fraction(0)
        short = frozenset(map(int, meter[3].split(", "))) if meter[3] else frozenset()
        heading.meter, heading.pickup, heading.short = parse_meter(meter[1]), pickup, short
    elif name == "tempo" and (tempo := _TEMPO_OURS.match(value)):
        value_name, asked = tempo[1].split(" = ")
        said = f"{value_name} = {tempo[2] or asked}"
        parse_tempo(said)  # raises for what is none
        heading.fields.append(("tempo", said))
        if tempo[3]:
            heading.fields.append(("feel", f"{tempo[3]}{'' if tempo[3] == 'shuffle' else ' ' + tempo[5]} {tempo[4]}"))
    elif name == "level":
        heading.fields.append(("level", value.split()[0]))
    elif name == "box" and (box := _BOX_OURS.match(value)):
        heading.fields.append(("box", box[1].replace(" and ", " ").replace(",", "").replace("open position", "open")))
    elif name == "scale":
        heading.fields.append(("scale", "minor" if value == "natural minor" else value))
    elif name in ("key", "style", "rights", "source", "tags", "note"):
        heading.fields.append((name, value))


def foreign_heading(lines: Sequence[TextLine], first: int, name: str) -> Heading:
    """Return what the prose of another's tab says; `first` is the line of the first system, `name` the file's."""
    heading = Heading()
    for line in lines:
        text = line.text
        _foreign_fields(heading, text, line.number)
    heading.title = _title([line for line in lines if line.number < first], name)
    heading.lines |= {line.number for line in lines if line.number < first and heading.title in line.text}
    return heading


def _foreign_fields(heading: Heading, text: str, number: int) -> None:
    known = {name for name, _ in heading.fields}
    tempo, meter = _TEMPO.search(text), _METER.search(text)
    found = [("tempo", _said_tempo(tempo)), ("key", _said_key(text)), ("feel", _said_feel(text))]
    new = [(name, value) for name, value in found if value and name not in known]
    heading.fields += new
    if meter and heading.meter is None and (_METER_WORD.search(text) or tempo):
        heading.meter = parse_meter(meter[0])
        heading.lines.add(number)
    if new:
        heading.lines.add(number)


def _said_tempo(tempo: re.Match[str] | None) -> str:
    """Return the beats a minute that are said, if a tempo can be that; else ""."""
    value = next(filter(None, tempo.groups())) if tempo else ""
    return value if value and TEMPO_MIN <= int(value) <= TEMPO_MAX else ""


def _said_key(text: str) -> str:
    """Return the key that a short line names: "A minor"; else ""."""
    key = _KEY.search(text) if len(text) < _LONGEST_FIELD else None
    if key is None or (key[1][0].islower() and not key[2]):  # `key: b = bend` explains a mark
        return ""
    sign = {"#": "#", "b": "b", "s": "#", "f": "b"}.get(key[1][1:].strip()[:1].lower(), "")
    mode = (key[2] or "major").lower()
    minor = key[2] == "m" or mode.startswith("min")
    return f"{key[1][0].upper()}{sign} {'minor' if minor else 'major'}"


def _said_feel(text: str) -> str:
    feel = _FEEL.search(text) if len(text) < _LONGEST_FIELD and "straight" not in text.lower() else None
    return "" if feel is None else "shuffle" if "shuffle" in feel[0].lower() else "swing"


def _title(lines: Sequence[TextLine], name: str) -> str:
    subject = next((found[1] for line in lines if (found := _SUBJECT.match(line.text.strip()))), None)
    if subject:
        return subject[:_LONGEST_TITLE].strip()
    for line in lines:
        text = line.text.strip().strip("=-*~_#").strip()
        if (
            text
            and len(text) <= _LONGEST_TITLE
            and not _NOT_A_TITLE.search(text)
            and re.search(r"[A-Za-z]{3}", text)
            and not text.endswith((".", "!"))
        ):
            return re.sub(r"\s+by\s+.*$", "", text) or text
        if len(text) > _LONGEST_TITLE:
            break
    stem = re.sub(r"\.[A-Za-z]{1,4}$", "", re.split(r"[\\/]", name)[-1])
    words = " ".join(re.split(r"[\s_-]+", stem)).strip()
    return words[:1].upper() + words[1:] if words and words != "-" else "Untitled"
