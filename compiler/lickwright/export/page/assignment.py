"""The assignment: what one pupil is to practice, until when, from which tempo to which, with a box to tick for each.

In: the pupil, words of the teacher, and of each lick its title, its facts, its rungs and the name of its lesson page. Out: HTML, for the screen and for paper.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from fractions import Fraction
from hashlib import sha256
from typing import NamedTuple
from urllib.parse import quote

from lickwright.export.page.markup import Markup, asset, document, el, program
from lickwright.export.page.sections import fact_list
from lickwright.hand.measures import CAUTION_LADDER


class AssignedLick(NamedTuple):
    """One lick of an assignment."""

    title: str
    page: str  # the name of its lesson page, in the folder of the assignment
    facts: tuple[tuple[str, str], ...]  # name and value: key, box, tempo
    beat: str  # the note value that its tempos count: "quarter note"
    rungs: tuple[Fraction, ...]  # beats a minute, the first to begin with and the last to reach
    notes: tuple[str, ...]  # the writer's tips
    sheet: str = ""  # the name of its printed sheet, in the same folder; "" without one


_IDENTITY = re.compile(rb'<main data-assignment="([0-9a-f]{32})">')


def assignment_identity(pupil: str, due: str, words: str, licks: Sequence[AssignedLick]) -> str:
    """Return a hash of what is assigned: to whom, until when, with what words, which licks at which tempos. Two pages with the same one are
    one assignment, made twice."""
    asked = [pupil, due, words, *([lick.title, lick.beat, *map(str, lick.rungs)] for lick in licks)]
    return sha256(json.dumps(asked).encode("utf-8")).hexdigest()[:32]


def identity_on_page(page: bytes) -> str | None:
    """Return the identity of the assignment that a page holds; None for a page that says none."""
    match = _IDENTITY.search(page)
    return match[1].decode("ascii") if match else None


def assignment_page(pupil: str, due: str, words: str, licks: Sequence[AssignedLick]) -> str:
    """Return the page. `due` is the day in words and `words` are the teacher's; both may be ""."""
    body = el(
        "main",
        el(
            "header",
            el("p", "To practice", class_="hint"),
            el("h1", pupil, dir="auto"),
            el("p", "Until ", el("strong", due)) if due else None,
            el("p", words, dir="auto") if words else None,
        ),
        *(_lick(number, lick) for number, lick in enumerate(licks, 1)),
        _results(licks),
        el("footer", el("p", "Tick a tempo when it is clean three times in a row. ", CAUTION_LADDER, class_="caution")),
        data_assignment=assignment_identity(pupil, due, words, licks),
    )
    return document(
        f"To practice: {pupil}",
        [body],
        [asset("page.css"), asset("assignment.css")],
        program("ticks.js", "reports.js", "results.js"),
    )


def _lick(number: int, lick: AssignedLick) -> Markup:
    """A lick: its title, which leads to its lesson page, its facts, its tips, its ladder."""
    first, last = _said(lick.rungs[0]), _said(lick.rungs[-1])
    way = f"From {lick.beat} = {first} to {last}" if len(lick.rungs) > 1 else f"At {lick.beat} = {last}"
    return el(
        "section",
        el("h2", el("a", lick.title, href=quote(lick.page), dir="auto"), id=f"lick-{number}"),
        fact_list(lick.facts),
        [el("p", note, dir="auto") for note in lick.notes],
        el("p", el("a", "printed sheet", href=quote(lick.sheet))) if lick.sheet else None,
        el("p", way, class_="way"),
        el("ol", *(_rung(rung) for rung in lick.rungs), class_="rungs"),
        aria_labelledby=f"lick-{number}",
    )  # fmt: skip


def _results(licks: Sequence[AssignedLick]) -> Markup:
    """The table of results, which the pupil fills in and keeps in a file."""
    heads = (el("th", words, scope="col") for words in ("day", "lick", "tempo", "score of 100", "look at bars"))
    titles = (el("option", lick.title, dir="auto") for lick in licks)
    return el(
        "section",
        el("h2", "Results", id="results"),
        el("p", "Add the tempo that you reached, or reports of your recordings, on one or on a folder of them, and save the table as a file of your own. ",
           "Open that file here again next time; it stays on this device. ",
           "A take is clean that was played through with a score of 95 or more.", class_="hint screen"),
        el("ul", id="results-progress", class_="progress"),
        el("table", el("thead", el("tr", *heads, el("td", class_="screen"))), el("tbody", id="results-rows")),
        el("form",
           el("label", "Day ", el("input", type="date", name="day", required=True)),
           el("label", "Lick ", el("select", *titles, name="lick")),
           el("label", "Tempo ", el("input", type="number", name="bpm", min="20", max="400", required=True)),
           el("button", "Add", type="submit"), id="results-add", class_="screen"),
        el("p", el("label", "Open results or reports: ",
                   el("input", type="file", id="results-file", multiple=True, accept=".json,application/json")), class_="screen"),
        el("p", el("button", "Save results", type="button", id="results-save"), class_="screen"),
        el("p", id="results-message", role="status", class_="screen"),
        aria_labelledby="results", class_="results",
    )  # fmt: skip


def _rung(rung: Fraction) -> Markup:
    said = _said(rung)
    box = el("input", type="checkbox", class_="tick", data_bpm=said)
    return el("li", el("label", box, el("span", said), el("span", " beats a minute is clean", class_="unseen")))


def _said(rung: Fraction) -> str:
    return f"{float(rung):g}"
