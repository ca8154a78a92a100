"""The lines of a text, cleaned of what mail, web pages and word processors do to them.

In: bytes. Out: a `Source`, the text as decoded, and `TextLine`s, whose characters each know their place in it. What is undone here can be undone
without a guess: encodings, quoted-printable mail, quote marks, entities and tags, tab characters, kinds of blanks, dashes and quotes.
Long dashes stay (`LONG_DASHES`), since how many dashes one stands for is only seen beside the other strings (`string_lines.py`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from typing import NamedTuple

from lickwright.core.source import MAX_BYTES, Source, Span, Unreadable

LONG_DASHES = "—–"
TAB_STOP = 8
MAX_LINE = 10_000  # characters; a longer line is no text that anybody typed
MAX_LINES = 50_000
_CONTROL_SHARE = 0.02  # of the characters: with more control characters than that it is no text
_MAGIC = (
    b"PK\x03\x04",
    b"%PDF",
    b"MThd",
    b"RIFF",
    b"OggS",
    b"\x89PNG",
    b"\xff\xd8\xff",
    b"GIF8",
    b"\x1f\x8b",
    b"\xd0\xcf\x11\xe0",
)

_UNCLEAN = re.compile(r"[\t&\x00-\x08\x0b-\x1f\x7f]|^ ?>|</?[a-zA-Z!]")
_QUOTED = re.compile(r" ?>(?: ?>)* ?")
_PIECE = re.compile(
    r"(?P<tab>\t)|(?P<entity>&(?:#\d{1,7}|#[xX][0-9a-fA-F]{1,6}|[a-zA-Z]{2,10});)"
    r"|(?P<tag></?(?:pre|span|div|p|br|b|i|tt|code|font|html|body|head|em|strong|u|title|h[1-6]|blockquote)\b[^<>]{0,200}>)"
    r"|(?P<nothing>[\x00-\x08\x0b-\x1f\x7f\u00ad\u200b-\u200f\u2028-\u202e\u2060\ufeff])|(?P<char>.)",
    re.IGNORECASE,
)
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("‐‑‒−─━┄┅╌╍﹣－¯", "-"),
        **dict.fromkeys("│┃¦｜∣║", "|"),
        **dict.fromkeys("’‘‛′`´", "'"),
        **dict.fromkeys("“”„", '"'),
        **dict.fromkeys("\u00a0\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2007\u2008\u2009\u200a\u202f\u205f\u3000", " "),
        **dict.fromkeys("∼〜～˜", "~"),
        **dict.fromkeys("⁄∕", "/"),
        **dict.fromkeys("×✕✗", "x"),
        **{chr(0xFF10 + digit): str(digit) for digit in range(10)},
        "―": "—", "＼": "\\", "♯": "#", "♭": "b", "‹": "<", "›": ">", "＜": "<", "＞": ">",
    }
)  # fmt: skip
_QUOTED_PRINTABLE = re.compile(r"=(?:\r?\n|3D|20|2D|7C|C2|E2)")


class TextLine(NamedTuple):
    """One line, cleaned."""

    number: int  # of the line in the source, from 0
    text: str
    start: int  # its offset in the source
    places: tuple[int, ...] | None = (
        None  # the offset in the source of each character, and of the end; None: from `start` on
    )

    def span(self, first: int, last: int) -> Span:
        """Return the place in the source of the characters from `first` to `last` (excluded)."""
        first = max(0, min(first, len(self.text)))
        last = max(first, min(last, len(self.text)))
        if self.places is None:
            return Span(self.start + first, self.start + last)
        return Span(
            self.places[first],
            max(self.places[first], self.places[last - 1] + 1 if last > first else self.places[first]),
        )

    def whole(self) -> Span:
        """Return the place of what stands on the line, blanks aside."""
        return self.span(len(self.text) - len(self.text.lstrip()), len(self.text.rstrip()))


def decode_text(data: bytes, name: str) -> Source:
    """Return the text of a file in whatever encoding it is in.

    Raises Unreadable for too many bytes, for lines that are too long and for what is no text.
    """
    if len(data) > MAX_BYTES:
        raise Unreadable(f"the file is larger than 1 MiB ({len(data):,} bytes)", "split it into several files")
    if data.startswith(_MAGIC) or data.startswith(b"{\\rtf"):
        raise Unreadable("this is no plain text", "save it as plain text, or copy the tab into a new text file")
    text = _decoded(data)
    controls = sum(map(text.count, map(chr, (*range(9), *range(14, 27), *range(28, 32)))))
    if controls > _CONTROL_SHARE * len(text):
        raise Unreadable("this is no plain text: it is full of control characters", "save it as plain text")
    if "=" in text and len(_QUOTED_PRINTABLE.findall(text[:100_000])) > 5:
        text = _unquoted(text)
    source = Source(name, text)
    lines = source.text.split("\n")
    if len(lines) > MAX_LINES:
        raise Unreadable(f"the text has {len(lines):,} lines", f"at most {MAX_LINES:,} are read: split the text")
    longest = max(map(len, lines))
    if longest > MAX_LINE:
        raise Unreadable(
            f"a line has {longest:,} characters", f"a line of tab has at most {MAX_LINE:,}: break it at its bar lines"
        )
    return source


def _decoded(data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", "replace")
    for skip, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):  # without a mark every other byte of Latin text is zero
        if (
            len(data) > 8
            and data[skip:200:2].count(0) > 0.9 * len(data[skip:200:2])
            and 0 not in data[1 - skip : 200 : 2]
        ):
            return data.decode(encoding, "replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace").replace("\ufffd", "?")


def _unquoted(text: str) -> str:
    """Return text that was sent as quoted-printable mail, decoded; unchanged where it only looked so."""
    from quopri import decodestring

    raw = decodestring(text.encode("utf-8"))
    try:
        found = raw.decode("utf-8")
    except UnicodeDecodeError:
        found = raw.decode("cp1252", "replace")
    return found if found.count("-") >= text.count("-") else text


def clean_lines(source: Source) -> list[TextLine]:
    """Return the lines of a text, cleaned."""
    found, start = [], 0
    for number, raw in enumerate(source.text.split("\n")):
        if raw.isascii() and not _UNCLEAN.search(raw):
            found.append(TextLine(number, raw, start))
        else:
            found.append(_cleaned(number, raw, start))
        start += len(raw) + 1
    return found


def _cleaned(number: int, raw: str, start: int) -> TextLine:
    quoted = _QUOTED.match(raw)
    begin = quoted.end() if quoted else 0
    chars: list[str] = []
    places: list[int] = []
    for piece, at in _pieces(raw, begin):
        if piece == "\t":
            piece = " " * (TAB_STOP - len(chars) % TAB_STOP)
        chars += piece
        places += [start + at] * len(piece)
    return TextLine(number, "".join(chars), start, (*places, start + len(raw)))


def _pieces(raw: str, begin: int) -> Iterator[tuple[str, int]]:
    """Yield what each character, entity or tag of a line stands for, and where it is."""
    for match in _PIECE.finditer(raw, begin):
        if match["entity"]:
            yield unescape(match[0]).translate(_PLAIN).replace("\n", " "), match.start()
        elif match["char"]:
            char = match[0]
            yield "..." if char == "…" else char if char in LONG_DASHES else char.translate(_PLAIN), match.start()
        elif match["tab"]:
            yield "\t", match.start()


def joined_line(first: TextLine, rest: TextLine) -> TextLine:
    """Return a line that was broken in two as one."""
    a, b = first.text.rstrip(), rest.text.strip()
    skip = len(rest.text) - len(rest.text.lstrip())
    places = (*_places(first)[: len(a)], *_places(rest)[skip : skip + len(b) + 1])
    return TextLine(first.number, a + b, first.start, places)


def part_of_line(line: TextLine, first: int, last: int | None) -> TextLine:
    """Return what stands on a line from column `first` up to `last`, or to its end."""
    begin = min(first, len(line.text))
    text = line.text[begin:last]
    return TextLine(line.number, text, line.start, _places(line)[begin : begin + len(text) + 1])


def _places(line: TextLine) -> tuple[int, ...]:
    return line.places if line.places is not None else tuple(range(line.start, line.start + len(line.text) + 1))


def expand_dashes(line: TextLine, em: int, en: int) -> TextLine:
    """Return a line whose long dashes stand for that many dashes each."""
    if not any(dash in line.text for dash in LONG_DASHES):
        return line
    counts = {"—": em, "–": en}
    chars: list[str] = []
    places: list[int] = []
    for char, place in zip(line.text, _places(line), strict=False):
        count = counts.get(char, 1)
        chars += ["-" if char in counts else char] * count
        places += [place] * count
    return TextLine(line.number, "".join(chars), line.start, (*places, _places(line)[-1]))
