"""The terms of a question as conditions on the index.

In: terms (`query_parser.py`). Out: `Condition` values, in SQL with every value apart from it, so that no text of a user's is ever executed as SQL. A field
or value that does not exist raises `QueryError`, which names the nearest that does.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import NamedTuple

from lickwright.analysis.figure_names import FIGURES
from lickwright.core.nearest_name import nearest_name
from lickwright.index.bitmap_search import Lookup, Ways
from lickwright.index.query_fields import (
    FIELDS_BY_NAME,
    OLD_NAMES,
    QueryField,
    field_named,
    known_field,
    searched_columns,
    technique_names,
)
from lickwright.index.query_parser import QueryError, QueryTerm, Value, refuse_foreign_syntax
from lickwright.store.lick_bitmaps import BOX, EMPTY, KINDS

NONE = "none"  # as a value: the lick does not say
_RANGE = re.compile(r"(\d{1,6}(?:\.\d{1,3})?)(?:-(\d{1,6}(?:\.\d{1,3})?))?")
_SEVERITIES = {
    "error": "error",
    "warning": "warning",
    "note": "info",
    "info": "info",
}  # the word in a question, and its severity in the index
_WORDS = re.compile(r"[^\W_]+")


class Condition(NamedTuple):
    """One term in SQL, on the table `licks`."""

    sql: str
    values: tuple[str | int | float, ...]
    match: str = ""  # the term without its `not`, as a full-text query; "" if full-text search alone cannot answer it
    negated: bool = False
    narrow: bool = False  # True if the index `licks_narrow` holds all columns in it
    doubt: QueryError | None = None  # what is probably wrong with the term if it finds nothing
    ways: Ways = ()  # the term without its `not`, as bitmaps answer it


def to_condition(term: QueryTerm, search: bool) -> Condition:
    """Return a term in SQL; `search`: the index has a full-text search. Raises QueryError."""
    if not term.field:
        if not term.values[0].quoted:
            refuse_foreign_syntax(term.values[0])
        found = _text(searched_columns(term.values[0].text), term.values[0], search)
    else:
        field = _field(term)
        if term.compare != ":":
            found = _compared(field, term)
        else:
            found = _any([_one(field, value, search) for value in term.values])
    if not term.negated:
        return found
    return found._replace(sql=f"NOT coalesce(({found.sql}), 0)", negated=True, doubt=None)


def _field(term: QueryTerm) -> QueryField:
    """Return the field that a term asks about. Raises QueryError, with the field that was meant."""
    field = field_named(term.field)
    if field is not None:
        return field
    meant = known_field(term.field)
    near = meant.name if meant is not None else nearest_name(term.field, tuple(FIELDS_BY_NAME))
    hint = f"did you mean {near}?" if near else f"there are {', '.join(FIELDS_BY_NAME)}"
    raise QueryError(f"there is no field `{term.field[:30]}`", term.start, term.start + len(term.field), hint)


def _any(ways: Sequence[Condition]) -> Condition:
    if len(ways) == 1:
        return ways[0]
    return Condition(
        " OR ".join(f"({way.sql})" for way in ways),
        tuple(value for way in ways for value in way.values),
        narrow=all(way.narrow for way in ways),
        ways=tuple(one for way in ways for one in way.ways) if all(way.ways for way in ways) else (),
    )


def _one(field: QueryField, value: Value, search: bool) -> Condition:
    if value.text.lower() == NONE and not value.quoted:
        return _none(field, value)
    return _KINDS[field.takes](field, value, search)


def _none(field: QueryField, value: Value) -> Condition:
    if field.takes == "finding":
        return Condition("id NOT IN (SELECT lick_id FROM findings WHERE lick_id IS NOT NULL)", ())
    if field.takes == "file":
        raise QueryError("every lick has a file", value.start, value.end, "name a part of its path")
    column = field.columns[0]
    if field.takes == "number" and column not in ("level", "lowest"):
        return Condition(f'"{column}" = 0', (), ways=_alike((column,), 0))
    ways = _alike((EMPTY,), column)
    return Condition(f'"{column}" ' + ("IS NULL" if column in ("tonic", "level", "lowest") else "= ''"), (), ways=ways)


# --- words -----------------------------------------------------------------------------------------------------------


def _plain(field: QueryField, value: Value, search: bool) -> Condition:
    return _text(field.columns, value, search)


def _text(columns: Sequence[str], value: Value, search: bool) -> Condition:
    """Return the condition that words stand in a row in one of the columns. Without quotes the last may go on: `turn` finds turnaround."""
    words = _WORDS.findall(value.text)
    if not words:
        raise QueryError(
            f"`{value.text[:30]}` holds no word to look for", value.start, value.end, "name a word or a field"
        )
    if not search:
        like = "%" + "_".join(words) + "%"
        return Condition(" OR ".join(f'"{column}" LIKE ?' for column in columns), (like,) * len(columns))
    asked = f'{{{" ".join(columns)}}} : "{" ".join(words)}"' + ("" if value.quoted else " *")
    return Condition(
        "id IN (SELECT rowid FROM lick_text WHERE lick_text MATCH ?)", (asked,), asked,
        ways=_with_word(columns, words[0].lower(), value.quoted) if len(words) == 1 else (),
    )  # fmt: skip


def _with_word(columns: Sequence[str], word: str, whole: bool) -> Ways:
    """Return how bitmaps find a word, or the beginning of one, in one of the columns; () if they do not."""
    if not word.isascii():
        return ()
    if whole:
        return _alike(columns, word)
    return _by_test(columns, "value >= ? AND value < ?", word, word[:-1] + chr(ord(word[-1]) + 1))


def _alike(kinds: Sequence[str], value: str | int | float) -> Ways:
    return _by_test(kinds, "value = ?", value)


def _by_test(kinds: Sequence[str], test: str, *values: str | int | float) -> Ways:
    """Return how bitmaps find a value of any of these kinds that passes a test, in SQL; () if they do not know one of the kinds."""
    return ((Lookup(tuple(kinds), test, values),),) if set(kinds) <= set(KINDS) else ()


def _known(known: Sequence[str], what: str, value: Value) -> None:
    """Raise QueryError for a word that begins no word of the known names: it could never find anything."""
    own = sorted({word for name in known for word in _WORDS.findall(name.lower())})
    for word in _WORDS.findall(value.text.lower()):
        if not word[0].isdigit() and not any(one.startswith(word) for one in own):
            near = nearest_name(word, own)
            raise QueryError(
                f"no {what} has `{word[:30]}` in its name", value.start, value.end,
                f"did you mean {near}?" if near else f"there are {', '.join(sorted(set(known)))}"[:280],
            )  # fmt: skip


def _technique(field: QueryField, value: Value, search: bool) -> Condition:
    value = value._replace(text=OLD_NAMES.get(value.text.lower(), value.text))
    _known(technique_names(), "technique", value)
    return _text(field.columns, value, search)


def _figure(field: QueryField, value: Value, search: bool) -> Condition:
    _known(FIGURES, "figure", value)
    return _text(field.columns, value, search)


def _scale(field: QueryField, value: Value, search: bool) -> Condition:
    from lickwright.music.scale import SCALE_NAMES  # music is loaded for questions about it

    _known(SCALE_NAMES, "scale", value)
    return _text(field.columns, value, search)


# --- values of fields ------------------------------------------------------------------------------------------------


def _key(field: QueryField, value: Value, search: bool) -> Condition:
    """Return the condition for `"A minor"`, for a tonic in every mode, or for a mode on every tonic. Bb and A# are the same."""
    from lickwright.music.pitch import MODE_ALIASES, MODES, parse_key, parse_note_name

    text = " ".join(value.text.split())
    mode = MODE_ALIASES.get(text.lower(), text.lower())
    if mode in MODES:
        return Condition("mode = ?", (mode,), narrow=True, ways=_alike(("mode",), mode))
    try:
        if re.fullmatch(r"[A-G](#|b)?", text):
            tonic = parse_note_name(text).pc
            return Condition("tonic = ?", (tonic,), narrow=True, ways=_alike(("tonic",), tonic))
        key = parse_key(text)
    except ValueError as e:
        near = None if " " in text else nearest_name(mode, (*MODES, *MODE_ALIASES))
        raise QueryError(str(e), value.start, value.end, f"did you mean {near}?" if near else "") from None
    both = (*_alike(("tonic",), key.tonic.pc)[0], *_alike(("mode",), key.mode)[0])
    return Condition("tonic = ? AND mode = ?", (key.tonic.pc, key.mode), narrow=True, ways=(both,))


def _chords(field: QueryField, value: Value, search: bool) -> Condition:
    """Return the condition for a chord in any spelling: Amin7 is Am7, A# is Bb."""
    from lickwright.music.chord import parse_chord_name

    try:
        plain = parse_chord_name(value.text).plain
    except ValueError as e:
        raise QueryError(str(e), value.start, value.end) from None
    return Condition("instr(' ' || chords || ' ', ?) > 0", (f" {plain} ",))


def _box(field: QueryField, value: Value, search: bool) -> Condition:
    """Return the condition for all boxes named, whatever others the lick has too; a window of frets or `at 12` has to be written alike."""
    if value.text in ("1", "2", "3", "4", "5"):  # as most people ask, who need not wait for what reads all the others
        bits = 1 << int(value.text) - 1
    else:
        from lickwright.music.boxspec import SHAPES, parse_box
        from lickwright.store.features import NUMBERED

        try:
            spec = parse_box(value.text)
        except ValueError as e:
            raise QueryError(str(e), value.start, value.end) from None
        if spec.window is not None or spec.at is not None or spec.any:
            return Condition("box = ?", ("" if spec.any else str(spec),))
        bits = sum(1 << number - 1 for number in spec.numbers)
        bits |= 1 << NUMBERED + SHAPES.index(spec.shape) if spec.shape else 0
    return _in_boxes(bits)


def _in_boxes(bits: int) -> Condition:
    """Return the condition for licks whose `boxes` have all of these bits."""
    places = [place for place in range(bits.bit_length()) if bits >> place & 1]
    all_of_them = tuple(Lookup((BOX,), "value = ?", (place,)) for place in places)
    return Condition("boxes & ? = ?", (bits, bits), narrow=True, ways=(all_of_them,) if places else ())


def _one_of(field: QueryField, value: Value, search: bool) -> Condition:
    """Return the condition for a value as the notation reads it; of a feel the word is enough, and a sound can be a project's own."""
    from lickwright.music.custom_sound import NAME
    from lickwright.settings.fields import BY_NAME  # most questions are about other things

    doubt = None
    try:
        read = str(BY_NAME[field.name].parse(" ".join(value.text.split())))
    except ValueError as e:
        doubt = QueryError(str(e), value.start, value.end)
        if field.name != "sound" or not NAME.fullmatch(value.text):
            raise doubt from None
        read = value.text
    if field.name == "feel":
        values = (read, read + " %")
        ways = _by_test(("feel",), "(value = ? OR value LIKE ?)", *values)
        return Condition("feel = ? OR feel LIKE ?", values, ways=ways)
    return Condition(f'"{field.name}" = ?', (read,), doubt=doubt, ways=_alike((field.name,), read))


def _file(field: QueryField, value: Value, search: bool) -> Condition:
    text = re.sub(r"([%_\\])", r"\\\1", value.text)
    return Condition("source_id IN (SELECT id FROM sources WHERE path LIKE ? ESCAPE '\\')", (f"%{text}%",))


def _finding(field: QueryField, value: Value, search: bool) -> Condition:
    text = value.text.lower()
    if re.fullmatch(r"l[0-9]{3}", text):
        return Condition("id IN (SELECT lick_id FROM findings WHERE code = ?)", (text.upper(),))
    if text not in _SEVERITIES:
        near = nearest_name(text, list(_SEVERITIES))
        hint = f"did you mean {near}?" if near else "write a code such as L203, or error, warning, note"
        raise QueryError(f"`{value.text[:30]}` is not a kind of finding", value.start, value.end, hint)
    return Condition("id IN (SELECT lick_id FROM findings WHERE severity = ?)", (_SEVERITIES[text],))


# --- numbers ---------------------------------------------------------------------------------------------------------


def _number(field: QueryField, value: Value, search: bool) -> Condition:
    """Return the condition for a number, or for a range: `tempo:80-100`."""
    low, high = _read(field, value)
    above, below = field.columns
    if above == below:
        ways = _by_test((above,), "value BETWEEN ? AND ?", low, high)
    else:
        ways = ((Lookup((above,), "value >= ?", (low,)), Lookup((below,), "value <= ?", (high,))),)
    return Condition(f"{above} >= ? AND {below} <= ?", (low, high), narrow=True, ways=ways)


def _compared(field: QueryField, term: QueryTerm) -> Condition:
    if field.takes != "number":
        hint = f"write {field.name}:{term.values[0].text}"
        raise QueryError(f"`{field.name}` is not a number to compare", term.start, term.end, hint)
    if len(term.values) > 1:
        raise QueryError(
            "a comparison takes one number", term.start, term.end, f"write {field.name}:80-100 for a range"
        )
    low, high = _read(field, term.values[0])
    if low != high:
        raise QueryError(
            "a comparison takes one number", term.start, term.end, f"write {field.name}:{term.values[0].text}"
        )
    column = field.columns[term.compare[0] == "<"]
    # Half of all tempos are too many to look up, which takes longer than reading them all.
    ways = _by_test((column,), f"value {term.compare} ?", low) if column != "tempo" else ()
    return Condition(f"{column} {term.compare} ?", (low,), narrow=True, ways=ways)


def _read(field: QueryField, value: Value) -> tuple[float, float]:
    match = _RANGE.fullmatch(value.text.strip())
    if match is None:
        hint = f"as in {field.name}:3, {field.name}<=3 or {field.name}:2-4"
        raise QueryError(f"`{value.text[:30]}` is not a number", value.start, value.end, hint)
    low, high = float(match[1]), float(match[2] or match[1])
    if low > high:
        raise QueryError(f"{value.text} runs backwards", value.start, value.end, f"write {match[2]}-{match[1]}")
    if field.name == "level" and not (low >= 1 and high <= 5):
        raise QueryError("levels go from 1 to 5", value.start, value.end, "as in level<=3")
    return low, high


_KINDS: dict[str, Callable[[QueryField, Value, bool], Condition]] = {
    "text": _plain, "technique": _technique, "figure": _figure, "scale": _scale, "chords": _chords, "key": _key, "box": _box, "one of": _one_of,
    "file": _file, "finding": _finding, "number": _number,
}  # fmt: skip
