"""Values of several words that need no quotes: `key:A minor`, `technique:palm mute`, `tuning:drop D`.

In: the terms of a question as read. Out: the same terms, with bare words joined to the field before them if the two together are a known name. A shell
removes quotes, and a player should not have to know that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from lickwright.analysis.figure_names import FIGURES
from lickwright.index.query_fields import technique_names
from lickwright.index.query_parser import QueryTerm, Value

_WORDS = 3  # that may follow the first: `frets 5-8 at 12` has most


def join_multiword_values(terms: Sequence[QueryTerm]) -> tuple[QueryTerm, ...]:
    """Return the terms with values of several words joined; the longest known name is taken."""
    found: list[QueryTerm] = []
    at = 0
    while at < len(terms):
        more = next((n for n in range(_WORDS, 0, -1) if _is_name(terms[at : at + n + 1], n)), 0)
        found.append(_whole(terms[at : at + more + 1]) if more else terms[at])
        at += more + 1
    return tuple(found)


def _is_name(terms: Sequence[QueryTerm], more: int) -> bool:
    first, *rest = terms
    if len(rest) != more or first.compare != ":" or first.values[-1].quoted:
        return False
    if any(term.field or term.negated or term.values[0].quoted for term in rest):
        return False
    known = _KNOWN.get(first.field.removesuffix("s"))
    return known is not None and known(_text(terms))


def _text(terms: Sequence[QueryTerm]) -> str:
    return " ".join([terms[0].values[-1].text, *(term.values[0].text for term in terms[1:])])


def _whole(terms: Sequence[QueryTerm]) -> QueryTerm:
    first, last = terms[0], terms[-1]
    value = Value(_text(terms), True, first.values[-1].start, last.end)
    return first._replace(values=(*first.values[:-1], value), end=last.end)


def _reads(parse: Callable[[str], object], text: str) -> bool:
    try:
        parse(text)
    except ValueError:
        return False
    return True


# Music and settings are loaded where something stands after a field of theirs.


def _key(text: str) -> bool:
    from lickwright.music.pitch import parse_key

    return _reads(parse_key, text)


def _box(text: str) -> bool:
    from lickwright.music.boxspec import parse_box

    return _reads(parse_box, text)


def _scale(text: str) -> bool:
    from lickwright.music.scale import SCALE_NAMES

    return text.lower() in SCALE_NAMES


def _field(name: str) -> Callable[[str], bool]:
    def known(text: str) -> bool:
        from lickwright.settings.fields import BY_NAME

        return _reads(BY_NAME[name].parse, text)

    return known


_KNOWN: dict[str, Callable[[str], bool]] = {
    "key": _key,
    "box": _box,
    "scale": _scale,
    "technique": lambda text: text.lower() in technique_names(),
    "figure": lambda text: text.lower() in FIGURES,
    "tuning": _field("tuning"),
    "feel": _field("feel"),
    "meter": _field("meter"),
}
