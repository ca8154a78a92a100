"""Text → compilation → bytes: the stages in order. Start reading here.

text ──syntax──▶ Book ──resolve──▶ Timeline ──checks──▶ findings
                                    ├──layout──▶ Grid ──▶ tab
                                    └──perform──▶ Performance ──▶ MIDI, timing sheet
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from os import PathLike, fspath
from typing import TYPE_CHECKING, Any

from lickwright.backends import BACKENDS, Emission, Options, Stages
from lickwright.checks import check
from lickwright.diagnostics import Diagnostic, Rule, Severity, has_errors
from lickwright.files import NOT_TEXT, UNREADABLE, Unopened, read
from lickwright.meant import idle, kept
from lickwright.names import distinct, slug
from lickwright.notation.syntax import parse
from lickwright.resolve import resolve
from lickwright.source import Source, Span, Unreadable, decode

if TYPE_CHECKING:
    from lickwright.timeline import Timeline

    RULES: tuple[Rule, ...]


class LickHasErrors(ValueError):
    """A lick with errors has no outputs: whatever was written would not be what its writer meant."""


@dataclass(frozen=True, slots=True)
class CompiledLick:
    """One lick, counted and checked; its outputs are made when asked for."""

    title: str
    slug: str  # the name of its files, distinct within its source
    timeline: Timeline | None  # None where it cannot be counted
    diagnostics: tuple[Diagnostic, ...]  # what is wrong in it or in the fields that its file sets for it
    stages: Stages | None  # None for a lick with errors

    @property
    def ok(self) -> bool:
        """Whether it can be written."""
        return self.stages is not None

    def emit(self, name: str, options: Options = Options()) -> Emission:  # noqa: B008 (a frozen value)
        """The bytes of one format, and what it could not say (less what the lick says is meant)."""
        from importlib import import_module

        if self.stages is None:
            raise LickHasErrors(f'"{self.title}" has errors, so it has no outputs')
        module = import_module(next(row.module for row in BACKENDS if row.name == name))
        emission: Emission = module.emit(self.stages, options)
        losses, _ = kept(emission.losses, self.stages.timeline)
        return Emission(emission.data, _titled(losses, self.title))

    def tab(self, width: int = 80) -> str:
        """Its text tab."""
        return self.emit("tab", Options(width=width)).data.decode("utf-8")

    def midi(self) -> bytes:
        """Its Standard MIDI File."""
        return self.emit("midi").data


@dataclass(frozen=True, slots=True)
class Compilation:
    """What became of one source."""

    source: Source
    licks: tuple[CompiledLick, ...]
    diagnostics: tuple[Diagnostic, ...]  # of the file and all its licks, by place, each finding once

    @property
    def ok(self) -> bool:
        """Whether nothing in it is an error."""
        return not has_errors(self.diagnostics)


def compile_file(path: str | PathLike[str]) -> Compilation:
    """Compiles the file at `path`. One that cannot be read gives a compilation without licks whose finding says why."""
    name = fspath(path)
    try:
        return compile_bytes(read(name), name)
    except Unreadable as e:
        return unreadable(name, e)


def compile_bytes(data: bytes, name: str = "-") -> Compilation:
    """Compiles the bytes of a file."""
    try:
        source = decode(name, data)
    except Unreadable as e:
        return unreadable(name, e)
    return _compile(source)


def compile_text(text: str, name: str = "-") -> Compilation:
    """Compiles a text."""
    return _compile(Source(name, text))


def unreadable(name: str, why: Unreadable) -> Compilation:
    """A source that could not be read."""
    rule = UNREADABLE if isinstance(why, Unopened) else NOT_TEXT
    return Compilation(Source(name, ""), (), (rule.at(Span(0, 0), str(why), why.help),))


def _compile(source: Source) -> Compilation:
    book, written = parse(source)
    starts = [lick.span.start for lick in book.licks]
    head = [d for d in written if not starts or d.span.start < starts[0]]
    names = distinct([slug(lick.title) for lick in book.licks])
    licks = []
    used: set[Span] = set()  # the `meant` lines of the file that hid something in any lick
    for lick, name, start, end in zip(book.licks, names, starts, [*starts[1:], len(source.text) + 1], strict=True):
        timeline, counted = resolve(lick, book, source)
        found = head + [d for d in written if start <= d.span.start < end] + counted
        if timeline is not None:
            found += check(timeline)
        found, hiding = kept(found, timeline)
        used |= hiding
        if timeline is not None and not has_errors(found):
            found += idle((m for m in timeline.settings.meant if not m.of_file), used, found)
        # What stands in the file's head belongs to every lick, and to none by name.
        own = (replace(d, lick=lick.title) if d.span.start >= starts[0] else d for d in found)
        stages = Stages(timeline) if timeline is not None and not has_errors(found) else None
        licks.append(CompiledLick(lick.title, name, timeline, _once(own), stages))
    everything = [d for lick in licks for d in lick.diagnostics] if licks else head
    if licks and all(lick.ok for lick in licks):
        meant = (m for lick in licks if lick.timeline for m in lick.timeline.settings.meant if m.of_file)
        everything = everything + idle(meant, used, everything)
    return Compilation(source, tuple(licks), _once(everything))


def _once(found: Iterable[Diagnostic]) -> tuple[Diagnostic, ...]:
    """By place,

    one finding of a kind at one written place: a repeat plays it twice, a file's field counts for every lick.
    """
    first: dict[tuple[str, Span], Diagnostic] = {}
    for d in sorted(found, key=lambda d: (d.span, _RANK.index(d.severity), d.code)):
        first.setdefault((d.code, d.span), d)
    return tuple(first.values())


_RANK = tuple(Severity)  # most severe first


def _titled(found: Iterable[Diagnostic], title: str) -> tuple[Diagnostic, ...]:
    return tuple(replace(d, lick=title) for d in found)


def __getattr__(name: str) -> Any:
    """`RULES`: those of every floor, by code. Gathered when asked for, since it loads every back end."""
    if name != "RULES":
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return tuple(sorted(_rules(), key=lambda rule: rule.code))


def _rules() -> Iterator[Rule]:
    from importlib import import_module

    from lickwright import checks, files, meant, resolve, settings
    from lickwright.notation import syntax

    for floor in (syntax, settings, resolve, checks, meant, files):
        yield from floor.RULES
    for row in BACKENDS:
        yield from import_module(row.module).RULES
