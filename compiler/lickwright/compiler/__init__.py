"""Text → compilation → bytes: the stages in order. Start reading here.

    text ──notation──▶ Book of Licks ──timeline──▶ Timeline ──checks──▶ findings
                                                   ├──layout──▶ Grid ──▶ tab, sheet, page
                                                   └──performance──▶ Performance ──▶ MIDI, timing sheet, audio

In: a file, its bytes or its text, and what a project asks of every lick. Out: a `Compilation` (`compilation.py`), whose licks give
their outputs when asked. A mistake in a lick is a finding, never an exception. Nothing here writes a file.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Generator, Iterator, Sequence
from itertools import chain
from os import PathLike, fspath
from typing import TYPE_CHECKING

from lickwright.checks import check_timeline
from lickwright.checks.suppressions import apply_severities, apply_suppressions, unused_suppressions
from lickwright.compiler.compilation import Compilation, CompiledLick
from lickwright.compiler.finding_lists import limit_findings, sorted_findings
from lickwright.core.diagnostics import Diagnostic, has_errors
from lickwright.core.fast_dataclass import replace
from lickwright.core.file_bytes import Unopened, read_file
from lickwright.core.files import NOT_TEXT, UNREADABLE
from lickwright.core.slugs import distinct_names, slug
from lickwright.core.source import Source, Span, Unreadable, decode_source
from lickwright.export import LoweredLick
from lickwright.notation.rules import UNREADABLE as UNREADABLE_MUSIC
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Field
from lickwright.settings.fields import Suppression
from lickwright.settings.project_rules import ProjectRules
from lickwright.timeline.build import MAX_REPEATED_FINDINGS, build_timeline
from lickwright.timeline.model import Timeline, bar_name

if TYPE_CHECKING:
    from lickwright.notation.tree import Book, Lick

__all__ = ["Compilation", "CompiledLick", "compile_bytes", "compile_file", "compile_text", "unreadable_source"]


def compile_file(path: str | PathLike[str], project: ProjectRules | None = None) -> Compilation:
    """Compile the file at `path`.

    A file that cannot be read gives a compilation without licks whose one finding says why; nothing is raised.
    `project` is what a `lickwright.toml` asks, from `find_house`. It is never looked for here.
    """
    name = fspath(path)
    try:
        return compile_bytes(read_file(name), name, project)
    except Unreadable as e:
        return unreadable_source(name, e)


def compile_bytes(data: bytes, name: str = "-", project: ProjectRules | None = None) -> Compilation:
    """Compile the bytes of a file; `name` is what findings call it. Bytes that are no text give a finding, as in `compile_file`."""
    return _ended(compile_in_stages(data, name, project))


def compile_in_stages(
    data: bytes, name: str = "-", project: ProjectRules | None = None
) -> Generator[None, None, Compilation]:
    """Compile the bytes of a file as `compile_bytes` does, and yield between the stages, so that the same stage of other files can come first."""
    try:
        source = decode_source(name, data)
    except Unreadable as e:
        return unreadable_source(name, e)
    return (yield from _compile(source, project))


def compile_text(text: str, name: str = "-", project: ProjectRules | None = None) -> Compilation:
    """Compile a text; `name` is what findings call it."""
    return _ended(_compile(Source(name, text), project))


def unreadable_source(name: str, why: Unreadable) -> Compilation:
    """Return the compilation of a source that could not be read: no licks, and one error at its start."""
    rule = UNREADABLE if isinstance(why, Unopened) else NOT_TEXT
    return Compilation(Source(name, ""), (), (rule.at(Span(0, 0), str(why), why.hint),))


def _ended(stages: Generator[None, None, Compilation]) -> Compilation:
    """Run all stages, and return what the last one gives."""
    while True:
        try:
            next(stages)
        except StopIteration as e:
            compilation: Compilation = e.value
            return compilation


def _compile(source: Source, project: ProjectRules | None) -> Generator[None, None, Compilation]:
    book, written = parse_source(source)
    yield
    counted = [build_timeline(lick, book, source, project) for lick in book.licks]
    yield
    head, *shares = _findings_by_lick(book, written)
    names = distinct_names([slug(lick.title) for lick in book.licks])
    used: set[Span] = set()  # the `meant` lines that hid something
    compiled = (
        _compile_lick(lick, name, (head[:MAX_REPEATED_FINDINGS] if n else head) + share, book, *one, project, used)
        for n, (lick, name, share, one) in enumerate(zip(book.licks, names, shares, counted, strict=True))
    )
    licks = tuple(limit_findings(compiled))
    found = [d for lick in licks for d in lick.diagnostics] if licks else apply_severities(head, project)
    if all(lick.ok for lick in licks):  # otherwise a `meant` line may be about something that was not looked at
        found = found + apply_severities(unused_suppressions(_meant_of_file(licks), used, found), project)
    return Compilation(source, licks, sorted_findings(found), project, _sounds_in(book))


def _sounds_in(book: Book) -> frozenset[str]:
    """Return the values of the fields `sound` of a file and its licks."""
    written = chain(book.head, *(lick.fields for lick in book.licks))
    return frozenset(one.text for one in written if isinstance(one, Field) and one.name.lower() == "sound")


def _meant_of_file(licks: Sequence[CompiledLick]) -> Iterator[Suppression]:
    return (meant for lick in licks if lick.timeline for meant in lick.timeline.settings.meant if meant.of_file)


def _findings_by_lick(book: Book, written: Sequence[Diagnostic]) -> list[list[Diagnostic]]:
    """Return the findings of the file's head, then those of each lick, by where they stand."""
    starts = [lick.span.start for lick in book.licks]
    shares: list[list[Diagnostic]] = [[] for _ in range(len(starts) + 1)]
    for d in written:
        shares[bisect_right(starts, d.span.start)].append(d)
    return shares


def _compile_lick(
    lick: Lick,
    name: str,
    written: list[Diagnostic],
    book: Book,
    timeline: Timeline | None,
    counted: list[Diagnostic],
    project: ProjectRules | None,
    used: set[Span],
) -> CompiledLick:
    """Check and lower one lick. `written` is what reading it found, `counted` what counting it; the `meant` lines that hide something are added to `used`."""
    found = written + counted
    if timeline is not None:
        found += check_timeline(timeline)
        found += _check_declared_level(timeline, found)
    found, hiding = apply_suppressions(found, timeline)
    used |= hiding
    found = apply_severities(found, project)
    lowered: LoweredLick | None = None
    if timeline is not None and not timeline.unknown and not has_errors(found):
        lowered = LoweredLick(timeline)
        own_meant = (m for m in timeline.settings.meant if not m.of_file)
        found += apply_severities(unused_suppressions(own_meant, used, found), project)
    elif not has_errors(found):  # a safeguard: no lick is left out without a word
        found.append(_unexplained(lick, timeline))
    # What stands in the file's head counts for every lick, and is no lick's by name.
    named = (replace(d, lick=lick.title) if d.span.start >= book.licks[0].span.start else d for d in found)
    return CompiledLick(lick.title, name, timeline, sorted_findings(named), lowered, project)


def _check_declared_level(timeline: Timeline, found: list[Diagnostic]) -> list[Diagnostic]:
    if timeline.settings.level is None or has_errors(found):
        return []
    from lickwright.analysis.difficulty import check_level  # slow to load, and few licks declare a level

    return check_level(timeline)


def _unexplained(lick: Lick, timeline: Timeline | None) -> Diagnostic:
    """Return the error of a lick that cannot be written though no stage has said why: at its first bar that is not sure, else at its title."""
    unsure = next((bar for bar in timeline.bars if not bar.sure), None) if timeline is not None else None
    where, span = (bar_name(unsure.number), unsure.span) if unsure else ("this lick", lick.title_span)
    number = unsure.number if unsure else None
    return UNREADABLE_MUSIC.at(span, f"something in {where} cannot be read", "write the bar again", bar=number)
