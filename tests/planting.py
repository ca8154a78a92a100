"""Mistakes as players make them, planted in good files.

In: a good text and a `random.Random`. Out: the text with mistakes in it, each with its place and the codes that would be right for it.
What is found of them is `harvest.py`. The pieces of a text are told apart here, not by the notation's own reader, so that one does not
hide a mistake of the other.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random

_PIECE = re.compile(
    r"(?P<bar>:\|\|?(?:x\d+|:)?|\|\|?:?)|(?P<open>\(\w+:|\d+(?::\d+)?\[)|(?P<close>[\])])|(?P<space>\s+)"
    r'|(?P<say>@"[^"]*"|@[^\s|()\[\]]+)|(?P<run>(?:(?!:\|)[^\s|()\[\]])+)'
)
_RUN = re.compile(
    r"(?P<plain>[EADGBe]\d+)|(?P<note>[EADGBe&].*)|(?P<hold>-+)|(?P<rest>\.+)|(?P<ending>[12](?:st|nd))|(?P<same>%)|(?P<other>.*)"
)


@dataclass
class Piece:
    """A stretch of a text that a mistake can be made in."""

    text: str
    kind: str  # of _PIECE or _RUN, or "title", "name", "value", "line"
    lick: int  # 0 for the file's head
    bar: int  # a number of its own for every bar and every other line: one mistake each
    depth: int = 0  # brackets it stands in


@dataclass
class Planted:
    """One mistake."""

    kind: str
    codes: frozenset[str]  # any of them is right
    also: tuple[str, ...]  # beginnings of codes that may be said besides, being true as well
    needs: tuple[str, ...]
    piece: int  # where it was made
    bar: int
    lick: int
    breaks: str  # the field that it spoils, or ""


Page = list[Piece]
Made = dict[int, str] | None  # new texts of pieces; None: cannot be made here
Make = Callable[[Page, int, Random], Made]


@dataclass(frozen=True)
class Mistake:
    """One kind of mistake."""

    name: str
    codes: str  # set apart by spaces
    where: str  # a kind of piece
    make: Make
    also: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()  # fields without which nobody can tell
    alone: bool = False  # at most one of these in a lick: it changes how what follows is read


def pieces(text: str) -> Page:
    """A good text taken apart."""
    page: Page = []
    lick = bar = 0
    music = False
    for line in text.splitlines(keepends=True):
        title = re.match(r'lick "[^"]*"', line)
        if title:
            lick, music = lick + 1, False
            bar += 1
            page += [Piece(title[0], "title", lick, bar), Piece(line[title.end() :], "line", lick, bar)]
        elif not music and not line.startswith("|"):
            bar += 1
            page += _field(line, lick, bar)
        elif line.strip() and not line.startswith("#"):
            bar = _music(page, line, lick, bar if music else bar + 1)
            music = True
        else:
            page.append(Piece(line, "line", lick, bar))
    return page


def _field(line: str, lick: int, bar: int) -> Page:
    match = re.match(r"([a-z]+)([ \t]+)(.*?)([ \t]*\n)", line)
    if not match:
        return [Piece(line, "line", lick, bar)]
    return [
        Piece(part, kind, lick, bar)
        for part, kind in zip(match.groups(), ("name", "space", "value", "line"), strict=True)
    ]


def _music(page: Page, line: str, lick: int, bar: int) -> int:
    """Adds the pieces of one line of music; a bar line belongs to the bar that it ends."""
    depth = page[-1].depth + (page[-1].kind == "open") if page[-1].lick == lick else 0
    for match in _PIECE.finditer(line):
        kind = str(match.lastgroup)
        if kind == "run":
            kind = str(_RUN.fullmatch(match[0]).lastgroup)  # type: ignore[union-attr]
        depth -= kind == "close"
        page.append(Piece(match[0], kind, lick, bar, depth))
        depth += kind == "open"
        bar += kind == "bar"
    return bar


# --- making mistakes -------------------------------------------------------------------------------------------------


def becomes(new: str) -> Make:
    """The piece is replaced: `{}` stands for what it was, `{s}` and `{f}` for a plain note's string and fret."""

    def make(page: Page, at: int, chance: Random) -> Made:
        old = page[at].text
        return {at: new.replace("{}", "{0}").format(old, s=old[0], f=old[1:])}

    return make


def swapped(old: str, new: str) -> Make:
    """The first match of a pattern within the piece is replaced."""

    def make(page: Page, at: int, chance: Random) -> Made:
        text = re.sub(old, new, page[at].text, count=1)
        return {at: text} if text != page[at].text else None

    return make


def one_of(*makes: Make) -> Make:
    return lambda page, at, chance: chance.choice(makes)(page, at, chance)


def value(name: str, *wrong: str) -> Make:
    """The value of the field `name` becomes one of `wrong`."""

    def make(page: Page, at: int, chance: Random) -> Made:
        return {at: chance.choice(wrong)} if page[at - 2].text == name else None

    return make


def after(kind: str, make: Make) -> Make:
    """Only where a piece of `kind` and a space stand before, in the same bar and brackets."""

    def only(page: Page, at: int, chance: Random) -> Made:
        before = page[at - 2]
        same = before.bar == page[at].bar and before.depth == page[at].depth and page[at - 1].kind == "space"
        return make(page, at, chance) if same and before.kind == kind else None

    return only


def _unclosed(page: Page, at: int, chance: Random) -> Made:
    """The closer that belongs to the opener is left out."""
    here = (n for n in range(at + 1, len(page)) if page[n].kind == "close" and page[n].depth == page[at].depth)
    return {next(here): ""}


def _bracket(sign: str, make: Make) -> Make:
    return lambda page, at, chance: make(page, at, chance) if page[at].text.endswith(sign) else None


def _flat(make: Make) -> Make:
    """Only outside brackets, where what follows does not depend on it, and away from a first bar that may be a pick-up."""

    def only(page: Page, at: int, chance: Random) -> Made:
        rest = [p for p in page[at + 1 : at + 4] if p.kind != "space"]
        free = not page[at].depth and rest and rest[0].kind in ("plain", "rest", "bar")
        return (
            make(page, at, chance) if free and page[at - 1].kind == "space" and page[at - 2].kind != "close" else None
        )

    return only


def _outside(make: Make) -> Make:
    """Only outside brackets."""
    return lambda page, at, chance: None if page[at].depth else make(page, at, chance)


def _no_second(page: Page, at: int, chance: Random) -> Made:
    """The second ending's sign is left out; it is the first that then has none."""
    later = (n for n in range(at + 1, len(page)) if page[n].text == "2nd" and page[n].lick == page[at].lick)
    second = next(later, None)
    return None if page[at].text != "1st" or second is None else {second: ""}


def _first(make: Make) -> Make:
    """Only the first event of a lick."""

    def only(page: Page, at: int, chance: Random) -> Made:
        earlier = [p.kind for p in page[max(0, at - 3) : at]]
        starts = earlier[-2:] == ["bar", "space"] and page[at - 2].bar != page[at].bar and _opens(page, at - 2)
        return make(page, at, chance) if starts else None

    return only


def _opens(page: Page, at: int) -> bool:
    return page[at - 1].kind == "line" and page[at].lick == page[at - 1].lick


def _two_slides(page: Page, at: int, chance: Random) -> Made:
    following = page[at + 2 : at + 3]
    if (
        not following
        or following[0].kind != "plain"
        or following[0].bar != page[at].bar
        or page[at + 1].kind != "space"
    ):
        return None
    return {at + 1: "/"}


def _twice(page: Page, at: int, chance: Random) -> Made:
    """A field is said again on the line below."""
    line = "".join(piece.text for piece in page[at - 2 : at + 2])
    return {at + 1: page[at + 1].text + line} if page[at - 2].text not in ("note", "chords") else None


def _late_field(page: Page, at: int, chance: Random) -> Made:
    blank = at and page[at].lick and page[at].text == page[at - 1].text == "\n"
    return {at: "\ntempo 90\n\n"} if blank else None


M = Mistake
SCALE = ("L2",)
LENGTHS = ("meter", "step", "pickup")
# fmt: off
MISTAKES: tuple[Mistake, ...] = (
    # notes
    M("string in small letters", "L103", "plain", lambda p, at, c: {at: p[at].text.lower()} if p[at].text[0] in "ADGB" else None),
    M("letter of no string", "L103", "plain", one_of(becomes("F{f}"), becomes("C{f}"), becomes("c{f}"))),
    M("fret left out", "L141 L101", "plain", becomes("{s}"), also=("L451",)),
    M("string left out", "L101", "plain", becomes("{f}")),
    M("fret before string", "L101", "plain", becomes("{f}{s}")),
    M("fret of two hands", "L113", "plain", becomes("{s}1{f}9")),
    M("fret past the end of the neck", "L422", "plain", one_of(becomes("{s}25"), becomes("{s}30")), SCALE),
    M("string 0 or 14", "L113", "plain", one_of(becomes("0:{f}"), becomes("14:{f}"))),
    M("string 7 of six", "L140", "plain", becomes("7:{f}"), needs=("tuning",)),
    M("letter of no sign", "L101", "plain", one_of(becomes("{}z"), becomes("{}k"), becomes("{};"), becomes("{}+"))),
    M("bend as b", "L101", "plain", one_of(becomes("{}b"), becomes("{}b14"), becomes("{}bfull"))),
    M("bend in steps", "L101", "plain", one_of(becomes("{}^1/2"), becomes("{}^1½"), becomes("{}^whole"))),
    M("vibrato as v", "L101", "plain", becomes("{}v")),
    M("slide as s", "L101", "plain", becomes("{}s9")),
    M("capital technique", "L101 L103", "note", swapped(r"([hp])(?=\d)", lambda m: m[1].upper())),
    M("hammer to no fret", "L101", "plain", one_of(becomes("{}h"), becomes("{}p"))),
    M("no such finger", "L101", "plain", one_of(becomes("{}'5"), becomes("{}'0"), becomes("{}'x"))),
    M("two fingers", "L119", "plain", becomes("{}'1'3")),
    M("accent and ghost", "L119", "plain", one_of(becomes("{}!?"), becomes("{}!!"), becomes("{},="))),
    M("star before the note", "L101", "plain", becomes("*{}")),
    M("harmonic left open", "L101", "plain", one_of(becomes("{s}<12"), becomes("{s}12>"))),
    M("ampersand apart", "L101", "note", one_of(swapped("&", "& "), swapped("&", " &"), swapped("&", " & "))),
    M("same string twice at once", "L421", "note", swapped(r"^(.)(\d+)&.", r"\1\2&\1"), (*SCALE, "L4")),
    M("dot after a note", "L104", "plain", becomes("{}.")),
    M("rest before a note", "L104", "plain", becomes(".{}")),
    M("slide between two notes", "L105", "plain", _two_slides),
    M("slide alone", "L105", "plain", one_of(becomes("{} /"), becomes("\\ {}"))),
    # word processors
    M("long dash", "L102", "hold", one_of(swapped("-", "–"), swapped("-", "—"))),
    M("three dots in one", "L102", "rest", swapped(r"\.+", "…")),
    M("curly finger", "L102", "plain", becomes("{}’3")),
    M("curly title", "L102", "title", swapped('"(.*)"', r"“\1”")),
    M("times sign", "L102", "note", swapped("x", "×")),
    M("no-break space", "L102", "plain", becomes("{}\u00a0{}")),
    M("nothing to be seen", "L130", "plain", one_of(becomes("{s}\u200b{f}"), becomes("{}\u202e"))),
    # brackets and words
    M("tuplet left open", "L106", "open", _bracket("[", _unclosed), alone=True),
    M("word left open", "L106", "open", _bracket(":", _unclosed), alone=True),
    M("] too many", "L107", "plain", becomes("{}]"), alone=True),
    M(") too many", "L107", "plain", becomes("{})"), alone=True),
    M("space before [", "L108", "open", swapped(r"\[", " [")),
    M("[ without number", "L108", "open", swapped(r"\d\[", "[")),
    M("tuplet of one", "L108", "open", one_of(swapped(r"\d\[", "1["), swapped(r"\d\[", "99["))),
    M("unknown word", "L109", "open", one_of(swapped(r"\w+:", "palm:"), swapped(r"\w+:", "mute:"), swapped(r"\w+:", "PM:"))),
    M("word without colon", "L109", "open", swapped("(pm|up|down|snap):", r"\1")),
    M("( without word", "L109", "open", swapped(r"\(\w+:", "(")),
    M("rake of nothing", "L144", "plain", becomes("(rake: {})")),
    M("trill of one", "L144", "plain", becomes("(trill: {})")),
    M("roll of one", "L144", "plain", becomes("(roll: {})")),
    M("no note value", "L110", "plain", one_of(becomes("1/7 {}"), becomes("1/5 {}"), becomes("1/0 {}"))),
    M("unknown @", "L111", "plain", one_of(becomes("@loud {}"), becomes("@MF {}"), becomes("@slow {}"))),
    M("words left open", "L106 L111", "plain", becomes('@"let it ring {}')),
    # bars
    M("bar one short", "L301 L303", "plain", _flat(becomes("")), needs=LENGTHS),
    M("bar one long", "L302", "plain", _flat(becomes("{} {}")), needs=LENGTHS),
    M("empty bar", "L147", "bar", lambda p, at, c: {at: "| |"} if p[at].text == "|" and p[at + 1].text == " " else None),
    M("third ending", "L112", "ending", becomes("3rd")),
    M("ending in mid bar", "L112", "plain", _flat(becomes("{} 1st"))),
    M("first without second", "L146", "ending", _no_second),
    M("times apart", "L114", "bar", swapped(r"^:\|x3$", ":| x3")),
    M("once in all", "L114", "bar", swapped(r"^:\|x3$", ":|x1")),
    M("same bar with more", "L145", "same", becomes("% .")),
    # playing
    M("hold before anything", "L142", "plain", _first(_flat(becomes("-")))),
    M("hammer after a rest", "L451", "plain", after("rest", becomes("h{f}"))),
    M("shape after a rest", "L452", "rest", swapped(r"^\.\.$", ". -~")),
    M("which string", "L143", "plain", lambda p, at, c: {at: "h" + p[at].text[1:]} if "&" in p[at - 2].text and p[at - 2].bar == p[at].bar else None),
    M("hammer downward", "L401", "note", _outside(swapped(r"^(.)(\d+)h(\d+)$", r"\1\3h\2"))),
    M("pull-off upward", "L402", "note", swapped(r"^(.)(\d+)p(\d+)$", r"\1\3p\2")),
    M("slide the wrong way", "L403", "note", one_of(swapped(r"(?<=\d)/(?=\d)", r"\\"), swapped(r"(?<=\d)\\(?=\d)", "/"))),
    M("bend downward", "L413", "plain", lambda p, at, c: {at: f"{p[at].text}^{int(p[at].text[1:]) - 1}"}, SCALE),
    M("bend out of reach", "L412", "plain", lambda p, at, c: {at: f"{p[at].text}^{int(p[at].text[1:]) + 8}"}, SCALE),
    M("bend of an open string", "L411", "plain", becomes("{s}0^full"), (*SCALE, "L4")),
    # lines
    M("title without quotes", "L115", "title", swapped('"(.*)"', r"\1")),
    M("title left open", "L106", "title", swapped('"$', "")),
    M("title without its first quote", "L115", "title", swapped('"', "")),
    M("empty title", "L115", "title", swapped('".*"', '""')),
    M("more after the title", "L115", "title", becomes("{} by me")),
    M("Lick", "L115", "title", swapped("lick", "Lick")),
    M("field below the music", "L116", "line", _late_field),
    M("notes without bar line", "L117 L120", "name", lambda p, at, c: {at: "e8 B5 B8\n" + p[at].text} if p[at].lick else None),
    M("colon after a field", "L117", "name", becomes("{}:")),
    M("unknown field", "L120", "name", one_of(becomes("{}s"), becomes("{}-of-it"), becomes("my-{}"))),
    M("field twice", "L122", "value", _twice),
    M("late version", "L123", "value", lambda p, at, c: {at: p[at].text + "\nnotation 1"} if p[at - 2].text in ("by", "tempo", "level") else None),
    # values
    M("no such key", "L121", "value", value("key", "A miner", "H minor", "a minor", "minor")),
    M("no such scale", "L121", "value", value("scale", "minor pentatonik", "blooz", "1 2 z")),
    M("no such box", "L121", "value", value("box", "7", "one", "frets 8-5", "F shape")),
    M("no such meter", "L121", "value", value("meter", "4/5", "44", "four four")),
    M("no such tempo", "L121", "value", value("tempo", "fast", "9999", "5", "-80")),
    M("no such tuning", "L121", "value", value("tuning", "dropped Q", "standart", "E2 A2 D9")),
    M("no such step", "L121", "value", value("step", "8", "1/7", "eighth")),
    M("no such feel", "L121", "value", value("feel", "shufle", "swing 9", "groovy")),
    M("no such chord", "L121", "value", value("chords", "H7 | D7", "A7 | Dfoo", "a7")),
    M("no such level", "L121", "value", value("level", "9", "hard", "0")),
    M("no such sound", "L121", "value", value("sound", "loud", "Lead", "leed")),
    M("no such reach", "L121", "value", value("reach", "tiny", "big")),
)
# fmt: on


def plant(text: str, chance: Random, count: int, kinds: Sequence[Mistake] = MISTAKES) -> tuple[Page, list[Planted]]:
    """Up to `count` mistakes in a text, no two in one bar or line. Kinds are tried evenly, so that rare places are used when they come."""
    page, planted = pieces(text), list[Planted]()
    used: set[int] = set()
    alone: set[int] = set()
    for mistake in (chance.choice(kinds) for _ in range(count * 3)):
        sites = [n for n, piece in enumerate(page) if piece.kind == mistake.where and piece.bar not in used]
        chance.shuffle(sites)
        for at in sites[:40]:
            lick, made = page[at].lick, None
            if not (mistake.alone and lick in alone):
                made = mistake.make(page, at, chance)
            if made is None:
                continue
            bars = {page[n].bar for n in made} | {page[at].bar}
            if bars & used:
                continue
            spoilt = {"name": page[at].text, "value": page[at - 2].text}.get(mistake.where, "")
            for n, new in made.items():
                page[n].text = new
            used |= bars
            alone |= {lick} if mistake.alone else set()
            codes = frozenset(mistake.codes.split())
            planted.append(Planted(mistake.name, codes, mistake.also, mistake.needs, at, page[at].bar, lick, spoilt))
            break
        if len(planted) == count:
            break
    return page, planted
