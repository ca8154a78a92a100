"""The reference page: its examples compile or fail as it says, its tables are the compiler's, its links lead somewhere.

Fences: `lick` is a whole file. `music` is put into a lick in A minor that counts in eighths; without a bar line it is
a piece of a bar, whose length is not judged. `error L104` after either: just that error is met. `says` after one of
those is the first error's message.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

import pytest

from lickwright.compiler import compile_text
from lickwright.core.diagnostics import Diagnostic, Severity
from lickwright.music.tuning import TUNING_NAMES
from lickwright.notation.techniques import EVENT_WORDS, TECHNIQUES
from lickwright.settings.fields import FIELDS
from lickwright.timeline.model import Timeline

PAGE = (Path(__file__).parents[1] / "grammar" / "reference.md").read_text(encoding="utf-8")
_FENCE = re.compile(r"^```(\w+)(?: error (L\d{3}))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_LENGTHS = ("L301", "L302", "L303")


class Example(NamedTuple):
    kind: str  # "lick" or "music"
    code: str | None  # of the error that is to be met
    text: str
    says: str | None  # the message that the page quotes
    line: int


def _examples() -> list[Example]:
    out: list[Example] = []
    for match in _FENCE.finditer(PAGE):
        if match[1] == "says":
            out[-1] = out[-1]._replace(says=match[3].strip())
        else:
            out.append(Example(match[1], match[2], match[3], None, PAGE.count("\n", 0, match.start()) + 2))
    return out


EXAMPLES = _examples()


def compiled(kind: str, text: str) -> tuple[list[Diagnostic], Timeline | None]:
    """What is found, and the last lick as counted."""
    whole = kind == "lick"
    piece = not whole and "|" not in text
    body = f"| {text}" if piece else text
    result = compile_text(text if whole else f'key A minor\nlick "Gate"\nstep 1/8\n{body}\n')
    found = [d for d in result.diagnostics if not (piece and d.code in _LENGTHS)]
    return found, result.licks[-1].timeline if result.licks else None


@pytest.mark.parametrize("example", EXAMPLES, ids=[f"line {e.line}" for e in EXAMPLES])
def test_an_example_does_what_the_page_says(example: Example) -> None:
    assert example.kind in ("lick", "music")
    found, _ = compiled(example.kind, example.text)
    errors = [d for d in found if d.severity is Severity.ERROR]
    assert {d.code for d in errors} == ({example.code} if example.code else set()), [d.message for d in errors]
    if example.code:
        assert example.says == errors[0].message


def test_good_examples_give_no_warning_either() -> None:
    """A page that teaches sets an example; what box and scale remark about pieces in A minor does not count."""
    for example in EXAMPLES:
        if example.code is None:
            found, _ = compiled(example.kind, example.text)
            bad = [d.message for d in found if d.severity is Severity.WARNING and not d.code.startswith("L2")]
            assert not bad, f"line {example.line}: {bad}"


def _table(head: str) -> list[list[str]]:
    """The rows of the table whose header line begins so."""
    lines = PAGE[PAGE.index(head) :].split("\n")[2:]
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip().replace("\\|", "|") for cell in re.split(r"(?<!\\)\|", line)[1:-1]])
    return rows


def test_the_table_of_fields_is_the_compilers() -> None:
    rows = _table("| name | what it says | when it is not written |")
    assert rows == [[f"`{row.name}`", row.summary, row.default] for row in FIELDS]


SIGNS = _table("| written | name | what you do |")


def test_the_table_of_signs_is_the_compilers() -> None:
    assert [row[1] for row in SIGNS] == [technique.name for technique in TECHNIQUES]


@pytest.mark.parametrize(("row", "technique"), list(zip(SIGNS, TECHNIQUES, strict=False)), ids=[r[0] for r in SIGNS])
def test_what_is_written_in_the_table_is_that_technique(row: list[str], technique: object) -> None:
    found, timeline = compiled("music", row[0].strip("`"))
    assert not [d.message for d in found if d.severity is Severity.ERROR]
    assert timeline is not None
    last = timeline.sounds[-1]
    used = [last.begin, last.head, *last.marks, *(shape.technique for shape in last.shapes)]
    assert technique in used


def test_the_table_of_words_is_the_compilers() -> None:
    rows = _table("| written | word | what it is |")
    assert sorted(row[1].strip("`") for row in rows) == sorted(EVENT_WORDS)
    for written, word, _ in rows:
        found, timeline = compiled("music", written.strip("`"))
        assert not [d.message for d in found if d.severity is Severity.ERROR]
        assert timeline is not None
        assert [w.word for w in timeline.words] == [word.strip("`")]


def test_every_tuning_is_named() -> None:
    assert [name for name in TUNING_NAMES if f"`{name}`" not in PAGE] == []


def test_links_lead_to_a_heading() -> None:
    headings = re.findall(r"^#+ (.*)$", _FENCE.sub("", PAGE), re.MULTILINE)
    anchors = {re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in headings}
    links = re.findall(r"\]\(#([^)]*)\)", PAGE)
    assert links
    assert [link for link in links if link not in anchors] == []


def test_it_is_told_in_a_players_words() -> None:
    words = set(re.findall(r"[a-z]+", PAGE.lower()))
    assert not words & {
        "token",
        "tokens",
        "parser",
        "parse",
        "syntax",
        "lexer",
        "regex",
        "identifier",
        "node",
        "terminal",
    }
