"""Text → compilation → bytes: the stages in order. Start reading here.

text ──syntax──▶ Book ──resolve──▶ Timeline ──checks──▶ findings
                                    ├──layout──▶ Grid ──▶ tab
                                    └──perform──▶ Performance ──▶ MIDI, timing sheet
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from os import PathLike, fspath
from typing import TYPE_CHECKING

from lickwright.checks import check_timeline
from lickwright.checks.suppressions import apply_severities, apply_suppressions, unused_suppressions
from lickwright.compilation import Compilation, CompiledLick
from lickwright.core.diagnostics import Diagnostic, Rule, Severity, has_errors
from lickwright.core.fast_dataclass import replace
from lickwright.core.files import NOT_TEXT, UNREADABLE, Unopened, read_file
from lickwright.core.slugs import distinct_names, slug
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.export import EXPORTS, LoweredLick
from lickwright.notation.rules import LIMIT
from lickwright.notation.rules import UNREADABLE as UNREADABLE_MUSIC
from lickwright.notation.syntax import parse_source
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.build import MAX_REPEATED_FINDINGS, build_timeline
from lickwright.timeline.model import Timeline, bar_name

if TYPE_CHECKING:
    from lickwright.notation.tree import Book, Lick


__all__ = [
    "Compilation",
    "CompiledLick",
    "all_rules",
    "compile_bytes",
    "compile_file",
    "compile_text",
    "unreadable_source",
]


def compile_file(path: str | PathLike[str], house: ProjectRules | None = None) -> Compilation:
    """Compiles the file at `path`. One that cannot be read gives a compilation without licks whose finding says why.

    `house` is the style of a `lickwright.toml`, from `find_house`. It is never looked for here: a program gets what it asks for.
    """
    name = fspath(path)
    try:
        return compile_bytes(read_file(name), name, house)
    except Unreadable as e:
        return unreadable_source(name, e)


def compile_bytes(data: bytes, name: str = "-", house: ProjectRules | None = None) -> Compilation:
    """Compiles the bytes of a file."""
    try:
        source = decode_source(name, data)
    except Unreadable as e:
        return unreadable_source(name, e)
    return _compile(source, house)


def compile_text(text: str, name: str = "-", house: ProjectRules | None = None) -> Compilation:
    """Compiles a text."""
    return _compile(Source(name, text), house)


def unreadable_source(name: str, why: Unreadable) -> Compilation:
    """A source that could not be read."""
    rule = UNREADABLE if isinstance(why, Unopened) else NOT_TEXT
    return Compilation(Source(name, ""), (), (rule.at(Span(0, 0), str(why), why.hint),))


def _compile(source: Source, house: ProjectRules | None) -> Compilation:
    book, written = parse_source(source)
    starts = [lick.span.start for lick in book.licks]
    shares: list[list[Diagnostic]] = [[] for _ in range(len(starts) + 1)]  # those of the file's head, then each lick's
    for d in written:
        shares[bisect_right(starts, d.span.start)].append(d)
    names = distinct_names([slug(lick.title) for lick in book.licks])
    used: set[Span] = set()  # the `meant` lines that hid something
    licks: tuple[CompiledLick, ...] = tuple(
        _bounded(
            _compile_lick(
                lick, name, (shares[0][:MAX_REPEATED_FINDINGS] if n else shares[0]) + share, book, source, house, used
            )
            for n, (lick, name, share) in enumerate(zip(book.licks, names, shares[1:], strict=True))
        )
    )
    found = [d for lick in licks for d in lick.diagnostics] if licks else apply_severities(shares[0], house)
    if all(lick.ok for lick in licks):  # else something was not looked at that the line may be about
        meant = (m for lick in licks if lick.timeline for m in lick.timeline.settings.meant if m.of_file)
        found = found + apply_severities(unused_suppressions(meant, used, found), house)
    return Compilation(source, licks, _once(found), house)


MANY = 10_000  # findings of one file; of each lick after them the first `FEW` are kept, errors before others


def _bounded(licks: Iterable[CompiledLick]) -> Iterator[CompiledLick]:
    """The licks, whose findings take no more memory than a screen could ever show: a file of 1 MiB can hold 260,000."""
    total, said = 0, False
    for lick in licks:
        found = lick.diagnostics
        total += len(found)
        if total > MANY and len(found) > MAX_REPEATED_FINDINGS:
            worst = sorted(found, key=lambda d: _RANK.index(d.severity))[:MAX_REPEATED_FINDINGS]
            if not said:
                worst.append(
                    LIMIT.at(
                        found[0].span,
                        f"more than {MANY:,} findings in this file: of each lick from here on {MAX_REPEATED_FINDINGS} are kept",
                        "fix these first",
                        severity=Severity.WARNING,
                    )
                )
            said = True
            lick = lick._replace(diagnostics=_once(worst))
        yield lick


def _compile_lick(
    lick: Lick,
    name: str,
    written: list[Diagnostic],
    book: Book,
    source: Source,
    house: ProjectRules | None,
    used: set[Span],
) -> CompiledLick:
    timeline, counted = build_timeline(lick, book, source, house)
    found = written + counted
    if timeline is not None:
        found += check_timeline(timeline)
        if timeline.settings.level is not None and not has_errors(found):
            from lickwright.analysis.difficulty import check_level  # only wanted where a level is declared

            found += check_level(timeline)
    found, hiding = apply_suppressions(found, timeline)
    used |= hiding
    found = apply_severities(found, house)
    ok = timeline is not None and not timeline.unknown and not has_errors(found)
    if not ok and not has_errors(found):  # a safeguard: no lick is left out without a word
        found.append(_unread(lick, timeline))
    if timeline is not None and ok:
        found += apply_severities(
            unused_suppressions((m for m in timeline.settings.meant if not m.of_file), used, found), house
        )
    # What stands in the file's head counts for every lick, and is no lick's by name.
    own = (replace(d, lick=lick.title) if d.span.start >= book.licks[0].span.start else d for d in found)
    stages = LoweredLick(timeline) if timeline is not None and ok else None
    return CompiledLick(lick.title, name, timeline, _once(own), stages, house)


def _unread(lick: Lick, timeline: Timeline | None) -> Diagnostic:
    """The error of a lick that cannot be written though no stage has said why: at its first bar that is not sure, else at its title."""
    unsure = next((bar for bar in timeline.bars if not bar.sure), None) if timeline is not None else None
    where, span = (bar_name(unsure.number), unsure.span) if unsure else ("this lick", lick.title_span)
    number = unsure.number if unsure else None
    return UNREADABLE_MUSIC.at(span, f"something in {where} cannot be read", "write the bar again", bar=number)


def _once(found: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """By place,

    one finding of a kind at one written place: a repeat plays it twice, a file's field counts for every lick.
    """
    first: dict[tuple[str, Span], Diagnostic] = {}
    for d in sorted(found, key=lambda d: (d.span, _RANK.index(d.severity), d.code)):
        first.setdefault((d.code, d.span), d)
    return tuple(first.values())


_RANK = tuple(Severity)  # most severe first


def all_rules() -> tuple[Rule, ...]:
    """Return the rules of every stage and back end, by code. Loads every back end."""
    return tuple(sorted(_rules(), key=lambda rule: rule.code))


def find_rule(code: str) -> Rule | None:
    """The rule of a code; back ends are loaded only for a code that is none of the other floors'."""
    return next((rule for rule in _rules() if rule.code == code), None)


def _rules() -> Iterator[Rule]:
    from importlib import import_module

    from lickwright import checks
    from lickwright.analysis import difficulty
    from lickwright.checks import suppressions
    from lickwright.core import files
    from lickwright.notation import syntax
    from lickwright.settings import fields, project_rules
    from lickwright.timeline import build, excerpt

    for floor in (syntax, fields, build, checks, difficulty, suppressions, files, project_rules, excerpt):
        yield from floor.RULES
    for row in EXPORTS:
        yield from import_module(row.module).RULES
