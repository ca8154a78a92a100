"""Fault injection: each sample is damaged at one place at a time, and the checker must say so at that place.

The damage is made in the text, as a slip of the hand would, and the place is known from the counted lick. A fault counts as
found when the bar where it was made has a finding that it did not have before. Run with `-s` to see the table by kind.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from lickwright import compile_text
from lickwright.checks.scale_membership import IN_BLUE, IN_BOX, OUTSIDE, NoteMembership, membership_for
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.source import Source
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Event, Note
from lickwright.timeline.model import SoundingNote, Timeline

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
EACH = 2  # faults of a kind in a lick every day, where it has so many places
WANTED = 0.95  # share found of what leaves the box or scale, breaks a bar or cannot be played

_NOTE = re.compile(r"([ht/\\](?=[EADGBe]|\d+:))?([EADGBe]|\d+:)?(//?|\\\\?|[hpt])?(\d+)(.*)")


@dataclass(frozen=True)
class Site:
    """A plain note of one lick, where a fault can be made."""

    sound: SoundingNote
    start: int  # of its part in the text
    end: int
    parts: tuple[str, str, str, str, str]  # entry, string, join, fret, marks
    alone: bool  # nothing else sounds from the same step


@dataclass(frozen=True)
class Case:
    """One lick alone, with what belongs to it."""

    name: str
    text: str
    timeline: Timeline
    board: NoteMembership | None
    findings: Counter[tuple[str, int | None]]
    sites: tuple[Site, ...]


@dataclass(frozen=True)
class Fault:
    """One damage: the lick's text with it, and the bars of which one must have a new finding."""

    text: str
    bars: frozenset[int]


Make = Callable[[Case, Site], "str | None"]  # what stands in the note's place; None: cannot be made here


def _alone(path: Path) -> Iterator[tuple[str, str]]:
    """Each lick of a file in a text of its own."""
    source = Source(str(path), path.read_text("utf-8"))
    book, found = parse_source(source)
    assert not found
    starts = [lick.span.start for lick in book.licks] + [len(source.text)]
    for lick, end in zip(book.licks, starts[1:], strict=True):
        yield lick.title, source.text[: starts[0]] + source.text[lick.span.start : end]


def _counted(found: tuple[Diagnostic, ...]) -> Counter[tuple[str, int | None]]:
    return Counter((d.code, d.bar) for d in found)


def _sites(text: str, timeline: Timeline) -> Iterator[Site]:
    seen: set[int] = set()
    for sound in timeline.sounds:
        slot = timeline.slots[sound.slot]
        plain = sound.kind == "note" and sound.head is None and sound.trill is None and sound.fret is not None
        if not plain or sound.span.start in seen or not slot.length or not isinstance(slot.event, Event):
            continue
        seen.add(sound.span.start)
        match = _NOTE.fullmatch(text[sound.span.start : sound.span.end])
        assert match, text[sound.span.start : sound.span.end]
        notes = sum(isinstance(part, Note) for part in slot.event.parts)
        yield Site(sound, *sound.span, tuple(group or "" for group in match.groups()), notes == 1)  # type: ignore[arg-type]


def _cases() -> list[Case]:
    cases = []
    for path in SAMPLES:
        for title, text in _alone(path):
            compilation = compile_text(text)
            timeline = compilation.licks[0].timeline
            assert timeline is not None
            sites = tuple(_sites(text, timeline))
            counted = _counted(compilation.diagnostics)
            cases.append(Case(title, text, timeline, membership_for(timeline.settings), counted, sites))
    return cases


# --- the kinds of damage ---------------------------------------------------------------------------------------------


def _placed(site: Site, string: str | None = None, fret: int | None = None) -> str:
    entry, own, join, number, marks = site.parts
    return f"{entry}{own if string is None else string}{join}{number if fret is None else fret}{marks}"


def _fret(step: int, outside: bool) -> Make:
    """The fret one off: outside the scale, or still in it."""

    def make(case: Case, site: Site) -> str | None:
        fret = (site.sound.fret or 0) + step
        if case.board is None or not 0 <= fret <= 22 or site.parts[4].startswith("^"):
            return None
        away = case.board.at(site.sound.string, fret) == OUTSIDE
        return _placed(site, fret=fret) if away is outside else None

    return make


def _string(step: int, outside: bool) -> Make:
    """The same fret on the next string: outside the box (or the scale, where no box is declared), or still in it."""

    def make(case: Case, site: Site) -> str | None:
        tuning = case.timeline.settings.tuning
        string = site.sound.string + step
        if case.board is None or not site.alone or not site.parts[1] or not 1 <= string <= tuning.strings:
            return None
        inside = case.board.at(string, site.sound.fret or 0) in (IN_BOX, IN_BLUE)
        if case.board.area is None:
            inside = case.board.at(string, site.sound.fret or 0) != OUTSIDE
        return _placed(site, string=tuning.written(string)) if inside is not outside else None

    return make


def _longer(case: Case, site: Site) -> str | None:
    """One step more."""
    return _placed(site) + "-" if site.alone and case.text[site.end : site.end + 1] in (" ", "-") else None


def _shorter(case: Case, site: Site) -> str | None:
    """A note left out, with its step."""
    apart = case.text[site.start - 1] == " " and case.text[site.end : site.end + 1] == " "
    return "" if site.alone and apart else None


def _turned(join: str, way: int) -> Make:
    """A hammer-on or pull-off to a fret on the wrong side of the note before."""

    def make(case: Case, site: Site) -> str | None:
        if site.parts[2] != join or site.sound.source is None:
            return None
        before = case.timeline.sounds[site.sound.source].fret
        fret = (before or 0) + way
        return _placed(site, fret=fret) if before is not None and 0 <= fret <= 22 else None

    return make


def _overbent(case: Case, site: Site) -> str | None:
    """A bend to five frets up, which is two and a half steps."""
    marks = re.sub(r"\^(\d+|full|half)(?!\.)", f"^{(site.sound.fret or 0) + 5}", site.parts[4], count=1)
    return _placed(site)[: -len(site.parts[4]) or None] + marks if marks != site.parts[4] else None


def _open_bent(case: Case, site: Site) -> str | None:
    bent = re.match(r"\^(\d+|full|half)(?!\.)", site.parts[4])
    return f"{site.parts[1]}0^2" if bent and site.parts[1] else None


def _doubled(case: Case, site: Site) -> str | None:
    """Two notes at once on one string."""
    if not site.alone or not site.parts[1] or site.parts[2] or site.parts[4]:
        return None
    return f"{_placed(site)}&{site.parts[1]}{(site.sound.fret or 0) + 2}"


def _beyond(case: Case, site: Site) -> str | None:
    return _placed(site, fret=case.timeline.settings.frets + 1) if site.sound.source is None else None


# name, makers, whether it must be found
KINDS: tuple[tuple[str, tuple[Make, ...], bool], ...] = (
    ("fret one off, outside the scale", (_fret(1, True), _fret(-1, True)), True),
    ("string moved, outside the box", (_string(1, True), _string(-1, True)), True),
    ("duration longer", (_longer,), True),
    ("note left out", (_shorter,), True),
    ("pull-off turned upward", (_turned("p", 2), _turned("p", 1)), True),
    ("hammer-on turned downward", (_turned("h", -1), _turned("h", -2)), True),
    ("bend too big", (_overbent,), True),
    ("open string bent", (_open_bent,), True),
    ("two notes on one string", (_doubled,), True),
    ("fret past the end of the neck", (_beyond,), True),
    ("fret one off, still in the scale", (_fret(1, False), _fret(-1, False)), False),
    ("string moved, still in the box", (_string(1, False), _string(-1, False)), False),
)


def _faults(case: Case, makes: tuple[Make, ...], chance: Random, count: int) -> Iterator[tuple[Fault, Site]]:
    sites = list(case.sites)
    chance.shuffle(sites)
    made = 0
    for site in sites:
        new = next((new for make in makes if (new := make(case, site)) is not None), None)
        if new is None:
            continue
        timeline = case.timeline
        bar = timeline.bars[timeline.slots[site.sound.slot].bar].number
        yield Fault(case.text[: site.start] + new + case.text[site.end :], frozenset({bar})), site
        made += 1
        if made == count:
            return


def _is_found(case: Case, fault: Fault) -> bool:
    after = _counted(compile_text(fault.text).diagnostics)
    return any(bar in fault.bars for (_, bar) in after - case.findings)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    found = _cases()
    assert len(found) > 50
    assert sum(len(case.sites) for case in found) > 800
    return found


@pytest.mark.parametrize(("name", "makes", "wanted"), KINDS, ids=[name.replace(" ", "-") for name, _, _ in KINDS])
def test_damage_is_found_where_it_was_done(cases: list[Case], name: str, makes: tuple[Make, ...], wanted: bool) -> None:
    _judge(cases, name, makes, wanted, EACH)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "makes", "wanted"), KINDS, ids=[name.replace(" ", "-") for name, _, _ in KINDS])
def test_damage_at_every_place_is_found(cases: list[Case], name: str, makes: tuple[Make, ...], wanted: bool) -> None:
    _judge(cases, name, makes, wanted, 10_000)


def _judge(cases: list[Case], name: str, makes: tuple[Make, ...], wanted: bool, each: int) -> None:
    chance = Random(name)
    made, missed = 0, []
    for case in cases:
        for fault, site in _faults(case, makes, chance, each):
            made += 1
            if not _is_found(case, fault):
                missed.append(f"{case.name}, bar {sorted(fault.bars)}: {case.text[site.start : site.end]}")
    print(f"\n{name}: {made - len(missed)} of {made} found, {1 - len(missed) / max(1, made):.1%}")
    assert made >= 15, "too few places to say anything"
    assert not wanted or len(missed) <= (1 - WANTED) * made, missed[:20]
