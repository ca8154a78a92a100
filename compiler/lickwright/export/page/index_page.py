"""The index page of a folder of lesson pages: every lick with a link, to be searched by word, key, box, level, technique, chord and tag.

In: what is known of each lick. Out: HTML that works from disk. Without scripts it is a plain list; the script only hides what was not asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import NamedTuple
from urllib.parse import quote

from lickwright.export.page.markup import Markup, asset, document, el, program
from lickwright.music.accidentals import accidental_signs

FILE_NAME = "index.html"  # in the folder above all pages that it lists
MOST = 20_000  # licks in one index: some 10 MB of page


class IndexEntry(NamedTuple):
    """One lick with a lesson page. Texts are "" where nothing is said."""

    path: str  # of its page, from the index
    title: str
    key: str
    scale: str
    box: str
    level: int | None
    tempo: float | None
    techniques: str  # with ", " between them
    chords: str  # with spaces between them
    tags: str  # with commas between them
    style: str
    by: str


class _Facet(NamedTuple):
    """Something to choose licks by."""

    name: str
    label: str
    every: str  # the choice that leaves all
    values: Callable[[IndexEntry], Iterable[str]]
    shown: Callable[[str], str] = str  # a value as the page prints it


_FACETS = (
    _Facet("key", "Key", "any key", lambda one: [one.key], accidental_signs),
    _Facet("box", "Box", "any box", lambda one: _boxes(one.box)),
    _Facet("level", "Level", "any level", lambda one: [] if one.level is None else [str(one.level)]),
    _Facet("technique", "Technique", "any technique", lambda one: one.techniques.split(", ")),
    _Facet("chord", "Chord", "any chord", lambda one: one.chords.split(" "), accidental_signs),
    _Facet("tag", "Tag", "any tag", lambda one: (tag.strip() for tag in one.tags.split(","))),
)


def index_page(title: str, entries: Sequence[IndexEntry]) -> str:
    """Return the page. What is more than `MOST` licks is left out, and the page says so."""
    shown = entries[:MOST]
    body = el(
        "main",
        el("header", el("h1", title, dir="auto")),
        _search(shown),
        el("p", _licks(len(shown)), id="found", role="status", class_="hint"),
        el("ul", *(_row(one) for one in shown), id="licks", class_="licks"),
        el("p", f"{len(entries) - MOST:,} more licks are not listed.", class_="hint") if len(entries) > MOST else None,
    )
    return document(title, [body], [asset("page.css"), asset("site.css")], program("site.js"))


def _licks(number: int) -> str:
    return "1 lick" if number == 1 else f"{number:,} licks"


def _search(entries: Sequence[IndexEntry]) -> Markup:
    """The form: words, and a choice for each facet that tells licks apart."""
    fields = [
        el(
            "div", el("label", "Search", for_="words"),
            el("input", type="search", id="words", autocomplete="off", aria_describedby="words-help"), class_="field wide",
        )
    ]  # fmt: skip
    for facet in _FACETS:
        values = sorted(
            {value for one in entries for value in facet.values(one) if value}, key=lambda v: (v.casefold(), v)
        )
        if len(values) > 1:
            options = (el("option", facet.shown(value), value=value) for value in values)
            chosen = el(
                "select",
                el("option", facet.every, value=""),
                *options,
                id=f"by-{facet.name}",
                class_="facet",
                data_facet=facet.name,
            )
            fields.append(el("div", el("label", facet.label, for_=f"by-{facet.name}"), chosen, class_="field"))
    help = el(
        "p",
        "Words of the title, the tags, the author, the key, the box and so on; all of them have to be there.",
        id="words-help",
        class_="hint",
    )
    return el(
        "form",
        *fields,
        el("button", "Show all", type="reset"),
        help,
        id="search",
        class_="search screen",
        role="search",
        aria_label="Licks",
    )


def _row(one: IndexEntry) -> Markup:
    facts = ", ".join(_facts(one))
    about = " · ".join(words for words in (one.techniques, accidental_signs(one.chords), one.tags) if words)
    facets = {f"data_{facet.name}": "|".join(value for value in facet.values(one) if value) for facet in _FACETS}
    return el(
        "li",
        el("a", one.title or "untitled", href=_address(one.path), dir="auto"),
        el("span", facts, class_="facts") if facts else None,
        el("span", about, class_="about", dir="auto") if about else None,
        **facets,
    )  # fmt: skip


def _address(path: str) -> str:
    """Return the address of a page; its end tells the page how many folders above it the index lies, for a link back."""
    return f"{quote(path)}#up-{path.count('/')}"


def _facts(one: IndexEntry) -> Iterator[str]:
    musical = (one.key, one.scale if one.scale not in one.key else "")
    yield from (accidental_signs(words) for words in musical if words)
    if one.box:
        boxes = _boxes(one.box)
        yield (
            one.box if not one.box[0].isdigit() else f"boxes {', '.join(boxes)}" if len(boxes) > 1 else f"box {one.box}"
        )
    if one.level is not None:
        yield f"level {one.level}"
    if one.tempo:
        yield f"{one.tempo:g} bpm"
    yield from (words for words in (one.style, f"by {one.by}" if one.by else "") if words)


def _boxes(box: str) -> list[str]:
    """`1 2` is two boxes, `1 at 12` and `E shape` one."""
    words = box.partition(" at ")[0].split(" ")
    return words if all(word.isdigit() for word in words) else [box]
