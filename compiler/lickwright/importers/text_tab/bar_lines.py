"""Where the bar lines of a system stand, and what stands behind its strings.

In: the characters of each string. Out: the strings without remarks, and `Station`s: where each string has one bar line. Columns count from the first
character of the strings.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

_LINES = re.compile(r"\|+")
_AFTER = re.compile(r"(?<=\|)\s*([^-|\s][^|]*)$")
_WORDS = re.compile(r"(?<=[-|])\s+(\(?[A-Za-z][A-Za-z']{2,}.*)$")  # remarks behind a string without a bar line
_ON_STRINGS = re.compile(r"[\d\-~/\\hpbrx:*. ]+")

Remark = tuple[int, str]  # line from the top, words


def split_remarks(raw: Sequence[str]) -> tuple[list[str], list[Remark]]:
    """Return the strings of a system without what stands behind them, and that."""
    closed = sum(text.endswith("|") for text in raw) * 2 >= len(raw)
    ends = Counter(len(text) for text in raw if text.endswith("|"))
    end = ends.most_common(1)[0][0] if closed and ends else 0
    common = end if ends[end] * 2 >= len(raw) and end > 1 else 0
    texts: list[str] = []
    remarks: list[Remark] = []
    for n, text in enumerate(raw):
        string, said = _without_remarks(text, closed, common)
        texts.append(string)
        remarks += [(n, words) for words in said if words]
    return texts, remarks


def _without_remarks(text: str, closed: bool, end: int) -> tuple[str, list[str]]:
    """Return one string and the remarks behind it; `end` is where most strings end with a bar line, 0 where they do not."""
    said = []
    if end and len(text) > end and text[end - 1] == "|":
        said.append(text[end:].strip(" -"))
        text = text[:end]
    if words := _WORDS.search(text):
        said.append(words[1].strip())
        text = text[: words.start()]
    behind = _AFTER.search(text)
    if behind and (closed or not _ON_STRINGS.fullmatch(behind[1])):
        said.append(behind[1].strip())
        text = text[: behind.start()]
    return text, said


def plain_bar_lines(texts: Sequence[str]) -> list[str]:
    """Return strings whose bar lines are `|`, whatever stands for them; a bar that goes on in the next line ends with `\\0`."""
    return _continued(_upright([_signs(text) for text in texts]))


def _signs(text: str) -> str:
    """Return a string whose first character is its bar line, whatever stands for it."""
    lead = re.match(r"[:\]!)I]+(?=[-—–\s\d|])", text)
    if lead and "|" not in lead[0]:
        text = "|" + "-" * (len(lead[0]) - 1) + text[lead.end() :]
    return text


def _upright(texts: list[str]) -> list[str]:
    """Return strings with bar lines where all of them have an `I`, `l` or `!` in one column, as a scanner reads them."""
    if len(texts) < 4 or not any(char in text for text in texts for char in "Il!"):
        return texts
    columns = [x for x in range(min(map(len, texts))) if all(text[x] in "Il!|" for text in texts)]
    for x in columns:
        texts = [text[:x] + "|" + text[x + 1 :] for text in texts]
    return texts


def _continued(texts: list[str]) -> list[str]:
    """Return strings whose `>` at both ends, which say that a bar goes on in the next line, are bar lines marked by `\\0`."""
    if texts and all(text.endswith(">") for text in texts):
        texts = [text[:-1] + "\0" for text in texts]
    if texts and all(text.startswith(">") for text in texts):
        texts = ["|" + text[1:] for text in texts]
    return texts


Station = list[tuple[int, int]]  # by line: where the bar line begins and ends


def find_stations(texts: Sequence[str]) -> list[Station]:
    found = [[(m.start(), m.end()) for m in _LINES.finditer(text)] for text in texts]
    counts = Counter(map(len, found))
    if len(counts) == 1:
        return [list(station) for station in zip(*found, strict=True)]
    usual = max(counts, key=lambda count: (counts[count], count))
    if counts[usual] * 2 > len(texts) and usual:
        places = next(lines for lines in found if len(lines) == usual)
    else:
        places = _common_columns(found)
    return [[_nearest(lines, at) for lines in found] for at in places]


def _common_columns(found: Sequence[Sequence[tuple[int, int]]]) -> list[tuple[int, int]]:
    """Return the columns in which half of the strings or more have a bar line, each as where that begins and ends."""
    columns = Counter(start for lines in found for start, _ in lines)
    return [(column, column + 1) for column in sorted(columns) if columns[column] * 2 >= len(found)]


def _nearest(lines: Sequence[tuple[int, int]], at: tuple[int, int]) -> tuple[int, int]:
    """Return the bar line of a string nearest to where others have it; that place itself where it has none near."""
    best = min(lines, key=lambda line: abs(line[0] - at[0]), default=at)
    return best if abs(best[0] - at[0]) <= 2 else at
