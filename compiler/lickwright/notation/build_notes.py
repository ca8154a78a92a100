"""Runs → events: takes apart what the grammar has read whole.

In: the text of a run, already known to be good. Out: `Event` nodes. Reports only what no grammar can say: a mark that stands twice, a limit passed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple, Protocol

from lickwright.core.diagnostics import Fix, Rule
from lickwright.core.source import Span
from lickwright.music.fretboard import MAX_FRET
from lickwright.music.tuning import STRINGS_MAX
from lickwright.notation import rules
from lickwright.notation.techniques import (
    ENTRIES,
    HEADS,
    JOINS,
    MARKS,
    PICKED,
    QUARTER_BEND,
    SHAPES,
    Technique,
    TechniqueKind,
)
from lickwright.notation.tree import Bare, Event, Hold, MarkNode, Note, Part, Rest, Unknown

MAX_SHARED = 64  # characters of a run that is kept for others like it; 8,192 of them take some 10 MiB at most
AMOUNTS = {"full": Fraction(2), "half": Fraction(1), "quarter": Fraction(1, 2)}  # semitones

# One part of an event. The grammar says what is right; this only finds the pieces of what is.
_AMOUNT = r"\d+(?:\.\d+)?(?![\d:])|full|half|quarter"  # in `B8^1:5` the 1 is a string
_PART = re.compile(
    r"(?P<entry>[ht/\\](?=[EADGBe]|\d+:))?(?P<string>[EADGBe]|\d+:)?"
    r"(?:(?P<hold>-+)|(?P<rest>\.)"
    r"|(?P<join>[hpt](?=\d)|//?(?=\d)|\\\\?(?=\d))?(?P<fret>\d+)?(?P<dead>x)?(?:<(?P<touch>[\d.]+)>)?(?P<pinch>\*)?)"
    rf"(?P<marks>(?:\^\^?(?:{_AMOUNT})?|r(?:{_AMOUNT})?|~~?|[!?,=]|'.|[/\\](?!\d|[/\\]\d))*)(?P<and>&)?"
)
_MARK = re.compile(rf"(\^\^?|r|~~?|[!?,=/\\]|')({_AMOUNT}|(?<=')[1-4Tpimac])?")


class ReportFinding(Protocol):
    """A function that takes a finding."""

    def __call__(
        self, rule: Rule, span: Span, message: str, hint: str | None = None, fix: Fix | None = None, /
    ) -> None: ...


def _amount(text: str) -> Fraction:
    return AMOUNTS.get(text) or Fraction(text)


class TokenRun(NamedTuple):
    """A run taken apart, wherever it stands. Equal runs share it, since a library says `e5` ten thousand times."""

    events: tuple[tuple[int, int, int, tuple[Part, ...]], ...]  # start and end in the run, steps, parts (none: unknown)
    findings: tuple[tuple[Rule, Span, str, str | None], ...]  # spans count from the run's start


def read_runs(text: str, start: int, report: ReportFinding) -> list[Event | Unknown]:
    """Return the events of the runs in `text`, which begins at offset `start`. White space parts runs."""
    events: list[Event | Unknown] = []
    new, append = tuple.__new__, events.append  # Span(…) takes twice as long
    for word in text.replace("\t", " ").split(" "):
        size = len(word)
        if size:
            runs, findings = read_run(word) if size <= MAX_SHARED else _read_run(word)
            for first, end, count, parts in runs:
                span = new(Span, (start + first, start + end))
                append(Event(parts, count, span=span) if parts else Unknown(span=span))
            if findings:
                _report_at(findings, start, report)
        start += size + 1
    return events


def _report_at(findings: Iterable[tuple[Rule, Span, str, str | None]], start: int, report: ReportFinding) -> None:
    for rule, span, message, hint in findings:
        report(rule, Span(start + span.start, start + span.end), message, hint)


def _read_run(text: str) -> TokenRun:
    """Return one run taken apart."""
    if text[0] == ".":
        return TokenRun(((0, len(text), len(text), (Rest(span=Span(0, len(text))),)),), ())
    return _Reader(text).run()


read_run = lru_cache(maxsize=8192)(_read_run)  # equal runs share their parts


class _Reader:
    """Takes one run apart. Spans of parts and marks count from the start of their event."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.findings: list[tuple[Rule, Span, str, str | None]] = []
        self._first = 0  # where the event being read begins
        self._nowhere = False  # whether it lies past the limits, where nothing more can be said of it

    def report(self, rule: Rule, span: Span, message: str, hint: str | None = None) -> None:
        at = self._first
        self.findings.append((rule, Span(at + span.start, at + span.end), message, hint))

    def run(self) -> TokenRun:
        """Return the whole run."""
        events: list[tuple[int, int, int, tuple[Part, ...]]] = []
        parts: list[Part] = []
        at, end = 0, len(self.text)
        while at < end:
            match = _PART.match(self.text, at)
            assert match is not None and match.end() > at, self.text
            first = self._first
            part, count = self._part(match, -first, Span(at - first, match.end() - first - (match["and"] is not None)))
            parts.append(part)
            at = match.end()
            if not match["and"]:
                events.append((first, at, count, () if self._nowhere else tuple(parts)))
                parts, self._first, self._nowhere = [], at, False
        return TokenRun(tuple(events), tuple(self.findings))

    def _part(self, match: re.Match[str], start: int, span: Span) -> tuple[Part, int]:
        """Return a part and how many steps it takes; `start` is what turns an offset in the run into one from the event's start."""
        string = match["string"] or ""
        marks: tuple[MarkNode, ...] = ()
        finger = pluck = None
        if match["marks"]:
            marks, finger, pluck = self._marks(match["marks"], start + match.start("marks"))
        if match["hold"]:
            if finger or pluck or any(mark.technique.kind is TechniqueKind.MARK for mark in marks):
                marks = self._shapes_only(match["marks"], marks, start + match.start("marks"))
            return Hold(string, marks, span=span), len(match["hold"])
        self._check_string(string, span)
        if match["rest"]:
            return Rest(string, span=span), 1
        if not (match["fret"] or match["dead"] or match["touch"]):
            return Bare(string, span=span), 1
        fret, touch = self._fret(match, start), self._touch(match, start)
        return Note(string, _begin(match), _head(match), fret, touch, marks, finger, pluck, span=span), 1

    def _shapes_only(self, text: str, marks: tuple[MarkNode, ...], start: int) -> tuple[MarkNode, ...]:
        """Return the shapes among what touches a hold; fingers and marks belong to a note, which is reported."""
        sign = next(match for match in _MARK.finditer(text) if match[1] in MARKS or match[1] == "'")
        span = Span(start + sign.start(), start + sign.end())
        hint = f"write it on the note: `G7{sign[0]}`; a hold takes shapes: `-r`, `-~`, `-^10`"
        self.report(rules.UNREADABLE, span, f"`{sign[0]}` belongs to a note, not to a hold", hint)
        return tuple(mark for mark in marks if mark.technique.kind is TechniqueKind.SHAPE)

    def _check_string(self, string: str, span: Span) -> None:
        if string.endswith(":") and (len(string) > 3 or not 1 <= int(string[:-1]) <= STRINGS_MAX):
            at = Span(span.start, span.start + len(string))
            self._nowhere = True
            self.report(
                rules.LIMIT,
                at,
                f"there is no string {_cut(string[:-1])}",
                f"strings go from 1, the thinnest, to {STRINGS_MAX}",
            )

    def _fret(self, match: re.Match[str], start: int) -> int | None:
        """Return the fret of a note; None for a dead note without one and for a natural harmonic."""
        digits, at = match["fret"], start + match.start("fret")
        if not digits:
            return None
        if len(digits) <= 2 and int(digits) <= MAX_FRET:
            return int(digits)
        self._nowhere = True
        self.report(
            rules.LIMIT,
            Span(at, at + len(digits)),
            f"there is no fret {_cut(digits)}",
            f"frets go from 0, the open string, to {MAX_FRET}",
        )
        return MAX_FRET

    def _touch(self, match: re.Match[str], start: int) -> Fraction | None:
        """Return the fret that is touched for a harmonic; None where none is."""
        digits, at = match["touch"], start + match.start("touch")
        if not digits:
            return None
        if len(digits) <= 8 and float(digits) <= MAX_FRET:
            return _amount(digits)
        self.report(
            rules.LIMIT,
            Span(at, at + len(digits)),
            f"there is no fret {_cut(digits)} to touch",
            f"frets go from 0 to {MAX_FRET}",
        )
        return Fraction(12)

    def _marks(self, text: str, start: int) -> tuple[tuple[MarkNode, ...], str | None, str | None]:
        marks: list[MarkNode] = []
        finger = pluck = None
        for match in _MARK.finditer(text):
            sign, value = match.groups()
            span = Span(start + match.start(), start + match.end())
            if sign == "'":
                if value in "1234T":
                    finger = self._once(finger, value, span, "fretting finger")
                else:
                    pluck = self._once(pluck, value, span, "plucking finger")
                continue
            marks.append(self._mark(sign, value, span))
        if len(marks) > 1:
            self._exclusive(marks)
        return tuple(marks), finger, pluck

    def _mark(self, sign: str, value: str | None, span: Span) -> MarkNode:
        technique = MARKS.get(sign) or SHAPES[sign]
        if value is None:
            if sign == "^^":
                self._nowhere = True
                self.report(
                    rules.UNREADABLE,
                    span,
                    "a pre-bend to what pitch?",
                    "write the fret whose pitch it reaches, or how far: `^^10`, `^^full`",
                )
            return MarkNode(QUARTER_BEND if sign == "^" else technique, span=span)
        if value in AMOUNTS:
            return MarkNode(technique, None, AMOUNTS[value], span=span)
        if len(value) > 8 or float(value) > MAX_FRET:
            at = Span(span.start + len(sign), span.end)
            self._nowhere = True
            self.report(rules.LIMIT, at, f"there is no fret {_cut(value)}", f"frets go from 0 to {MAX_FRET}")
            return MarkNode(technique, span=span)
        return MarkNode(technique, _amount(value), span=span)

    def _once(self, before: str | None, now: str, span: Span, what: str) -> str:
        if before is not None:
            self.report(rules.TWICE, span, f"a second {what}: '{before} and '{now}", f"a note has one {what}")
        return now

    def _exclusive(self, marks: list[MarkNode]) -> None:
        seen: set[str] = set()
        for mark in marks:
            sign = mark.technique.sign
            if mark.technique.kind is not TechniqueKind.MARK:
                continue
            if sign in seen:
                self.report(rules.TWICE, mark.span, f"`{sign}` stands twice", "once is enough")
            elif sign in "!?" and seen & {"!", "?"}:
                self.report(rules.TWICE, mark.span, "accented and a ghost note at once", "leave `!` or `?`")
            elif sign in ",=" and seen & {",", "="}:
                self.report(rules.TWICE, mark.span, "short and ringing on at once", "leave `,` or `=`")
            seen.add(sign)


def _begin(match: re.Match[str]) -> Technique:
    """Return how a note starts: picked, or the row of its entry or join."""
    if match["entry"]:
        return ENTRIES[match["entry"]]
    return JOINS[match["join"]] if match["join"] else PICKED


def _head(match: re.Match[str]) -> Technique | None:
    """Return the row of a dead note or a harmonic; None for an ordinary fret."""
    if match["dead"]:
        return HEADS["x"]
    if match["pinch"]:
        return HEADS["*"]
    if match["touch"]:
        return HEADS["n<>" if match["fret"] else "<>"]
    return None


def _cut(digits: str) -> str:
    return digits if len(digits) <= 8 else f"{digits[:6]}… ({len(digits)} digits)"
