"""Which lines of a text are strings of a tab.

In: cleaned lines. Out: `StringLine`s: a label, if there is one, and where the string begins. A line is judged by itself here (`likely`, or
only `possible`);
`systems.py` judges it beside its neighbors.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from lickwright.importers.text_tab.text_lines import LONG_DASHES, TextLine

DASHES = f"-{LONG_DASHES}"
BODY = r"[-—–_=.0-9|:xXhHpPbBrRsStTvVoOlI~^/\\()<>\[\]{}*+ '\"%!,>½¼¾]"
_LABEL = re.compile(
    r"(?P<indent>\s*)(?P<which>(?:[Hh]igh|[Hh]i|[Tt]hin|[Ll]ow|[Tt]hick)[ .-]+)?"
    r"(?:[(\[]?(?P<name>[A-Ha-h](?:[#b]|(?:es|is)(?![a-z]))?|\d{1,2})(?P<octave>\d)?[)\]]?)"
    r"(?: ?\((?P<size>high|hi|thin|low|thick)\))?(?P<blank>\s{0,4}|\s{5,8}(?=[|:]))(?P<sep>[|:\]!)I]+|>(?=[-—–])|(?=[-—–]))"
)
_OTHER_LABEL = re.compile(r"(?P<indent>\s*)(?P<name>[A-Za-z][A-Za-z#]{0,2}\d?)\s{0,4}(?P<sep>[|:]+)(?=.*-.*-)")
_THIN = frozenset({"high", "hi", "thin"})
_BARE = re.compile(r"(?P<indent>\s*)(?=[-—–|0-9<(/\\~xX_.:*\[])")
_STROKES = re.compile("[-|—–_]")
_DASHES = re.compile("[-—–]{3}")
_NUMBER = re.compile(r"\s*\(?(?P<label>\d)[).]?\s{0,2}(?=[-—–|:])")
_WORD = re.compile(r"[A-Za-z]{3,}")
_WORDS_ON_STRINGS = frozenset(
    "full hold tap bend release slide trill vib let ring harm xxx XXXX hhh bfull".lower().split()
)
_COUNT_ROW = re.compile(r"\W*1(?:[\W_]|e\b|e\s*&|&|and|trip)[-\s.&+e\da|,and*()tripl]*$", re.IGNORECASE)
_ENDING = re.compile(r"\s*\(?[1-4](?:st|nd|rd|\.)[\s.,_-]")
_BRACKET = r"\|-{0,40}(?:\d(?::\d)?|[xX]\d{1,2}|\d{1,2}[xX])-{0,40}\|"
_ABOVE = re.compile(
    rf"\s{{2,}}{_BRACKET}(?:\s+{_BRACKET})*\s*$"
)  # brackets over tuplets, or over bars that are repeated
_TRAILING = re.compile(r"\|\s+[^-|—–]*$")
_FRAGMENT = re.compile(rf"{BODY}+$")
_RULER = re.compile(r"\s*[-—–_=]{3,}\s*$")


class StringLine(NamedTuple):
    """One line that looks like a string."""

    line: TextLine
    label: str  # as written; "" for none
    body: int  # the character at which the string begins: its first bar line, or its first dash
    likely: bool  # by itself; False: only beside others
    until: int = 0  # the number of its last line, where a mailer broke it; else 0

    @property
    def last(self) -> int:
        """The number of the last line that it takes."""
        return max(self.until, self.line.number)

    @property
    def ruler(self) -> bool:
        """True for a line of dashes alone, which may be a ruler between two paragraphs."""
        return not self.label and _RULER.match(self.line.text) is not None


def string_line(line: TextLine) -> StringLine | None:
    """Return what a line is as a string; None for one that cannot be a string."""
    text = line.text
    if len(text) < 3 or not _STROKES.search(text) or _ENDING.match(text):
        return None
    if _ABOVE.match(text):  # a string with one note, or a bracket over others: its neighbors tell
        return StringLine(line, "", len(text) - len(text.lstrip()), False)
    if (labeled := _labeled(text)) is not None:
        return _judged(line, *labeled)
    if other := _OTHER_LABEL.match(text):
        return _judged(line, other["name"], other.start("sep"))
    bare = _BARE.match(text)
    if bare is None or (_COUNT_ROW.match(text) and re.search(r"[&+ea]|and", text)):
        return None
    return _judged(line, "", bare.end())


def _labeled(text: str) -> tuple[str, int] | None:
    """Return the name of a string and where the string begins; None without a name. `5---7` is a fret, and `a --` begins a remark."""
    labeled = _LABEL.match(text)
    if labeled is None or (labeled["octave"] and labeled["name"].isdigit()):
        return None
    if labeled["sep"] == ">" and labeled["name"].isdigit():  # the end of `<12>` on a line that a mailer broke
        return None
    name = _sized(labeled["name"], labeled["which"] or labeled["size"] or "")
    if labeled["sep"]:
        return name, labeled.start("sep")
    body = labeled.end("blank")
    if name.isdigit() or (labeled["blank"] and not _DASHES.match(text, body)):
        return None
    return name, body


def _sized(name: str, words: str) -> str:
    """Return the name of a string with a small letter for `high E`, a capital for `low e`."""
    if not words:
        return name
    return name.lower() if words.strip(" .-").lower() in _THIN else name[:1].upper() + name[1:]


def _judged(line: TextLine, label: str, body: int) -> StringLine | None:
    """Return a line as a string whose body begins at `body`; None where it is none. It is sure where a third of it is dashes."""
    text = line.text[body:]
    end = _TRAILING.search(text)
    if end:
        text = text[: end.start() + 1]
    solid = len(text) - text.count(" ")
    if not solid or _is_prose(text, label):
        return None
    dashes = sum(text.count(dash) for dash in (*DASHES, "_"))
    if dashes >= 3 and dashes * 3 >= solid:
        return StringLine(line, label, body, True)
    barred = text.startswith("|") and (label or text.rstrip().endswith("|"))
    if barred or (dashes and _FRAGMENT.match(text)):
        return StringLine(line, label, body, False)
    return None


def _is_prose(text: str, label: str) -> bool:
    """Return True for words that do not belong on a string, more of them than a line with a name may have."""
    words = [word for word in _WORD.findall(text) if word.lower() not in _WORDS_ON_STRINGS]
    return bool(words) and not (label and "-" in text and sum(map(len, words)) * 4 < len(text))


def fragment(line: TextLine) -> bool:
    """Return True if a line may be the end of a string that a mailer broke."""
    return bool(line.text.strip()) and _FRAGMENT.match(line.text) is not None


def numbered_lines(rows: list[StringLine]) -> list[StringLine]:
    """Return lines without names whose first digits count the strings, 1 to 6 or 6 to 1, with these as their names."""
    found = [_NUMBER.match(row.line.text) for row in rows]
    if len(rows) < 4 or any(row.label for row in rows) or not all(found):
        return rows
    numbers = [int(match["label"]) for match in found if match]
    if numbers not in (list(range(1, len(rows) + 1)), list(range(len(rows), 0, -1))):
        return rows
    return [
        row._replace(label=match["label"], body=match.end()) for row, match in zip(rows, found, strict=True) if match
    ]
