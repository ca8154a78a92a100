"""The work on one source: reads it, compiles it, and writes its outputs.

In: a `WorkItem` and the `CompileOptions` that holds for it. Out: a `WorkResult`, a plain value that travels between processes and says everything that the
manifest, the screen and the report want to know. What is read is what is hashed and compiled, so a file that changes meanwhile gives the
one version or the other, never a mixture. Doing it twice does no harm.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright import compiler
from lickwright.build import crash_isolation
from lickwright.build.stage_runner import Steps
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.fast_dataclass import replace
from lickwright.core.file_bytes import Unopened
from lickwright.core.files import SKIPPED
from lickwright.core.source import Span, Unreadable, decode_source
from lickwright.export import EXPORTS
from lickwright.report.console import counted_noun, describe_crash
from lickwright.store import diagnostics_json
from lickwright.store.naming import LickName, assign_names, music_code
from lickwright.store.output_writer import Output, OutputWriter, WrittenOutputs, content_digest, unwritable_trouble
from lickwright.store.recorded_sounds import sound_key
from lickwright.store.sources import read_source
from lickwright.store.spool import Spool
from lickwright.store.types import CompileOptions, PathDiagnostic, SkippedLick, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.compiler.compilation import Compilation, CompiledLick

_ROWS = {row.name: row for row in EXPORTS}
_AGAIN = "it is tried again in the next run; everything else is made"


def compile_source(item: WorkItem, compile_options: CompileOptions, writer: OutputWriter) -> Steps:
    """Read and compile one source, write its outputs, and return the result; yield after each stage. Raises MemoryError, and whatever a bug raises."""
    try:
        if item.data is None and item.path == "-":
            raise Unopened("standard input cannot be read", "name a file, or send one with <")
        data = read_source(item.path) if item.data is None else item.data
    except Unreadable as e:
        compilation = compiler.unreadable_source(item.path, e)
        return WorkResult(item.id, findings=diagnostics_json.diagnostics_to_json(compilation.diagnostics))
    hash = content_digest(data)
    if item.only is not None or item.without:
        return (yield from _compile_partly(item, compile_options, writer, data))
    compiled = yield from compiler.compile_in_stages(data, item.path, compile_options.project)
    yield
    compilation, named = _named(item, compiled)
    return (yield from _put(item, compile_options, writer, hash, compilation, named))


def _named(item: WorkItem, compilation: Compilation) -> tuple[Compilation, tuple[LickName, ...]]:
    """Return the compilation with its licks named as they are on record, and the names to be on record then."""
    licks = compilation.licks
    named = assign_names([(lick.title, music_code(lick)) for lick in licks], item.named, compilation.ok)
    renamed = (lick._replace(slug=row.name) for lick, row in zip(licks, named, strict=False))
    needed = {row.lick for row in item.known}  # a name that no file has is free when its lick is gone
    return compilation._replace(licks=tuple(renamed)), tuple(row for row in named if not row.gone or row.name in needed)


class _Collected:
    """The outputs of the licks of one source, and their errors."""

    def __init__(self) -> None:
        self.outputs: list[Output] = []
        self.refused: list[SkippedLick] = []
        self.bugs: list[tuple[str, str]] = []
        self.troubles: list[PathDiagnostic] = []
        self.losses: dict[Diagnostic, None] = {}

    def add(
        self,
        lick: CompiledLick,
        number: int,
        item: WorkItem,
        compile_options: CompileOptions,
        writer: OutputWriter,
        spool: Spool,
    ) -> Iterator[None]:
        """Make the outputs of one lick; `number`: its number in its album. Yield after each format. Raises MemoryError."""
        if not lick.ok:
            errors = sum(d.severity == "error" for d in lick.diagnostics)
            self.refused.append(_skipped(lick, counted_noun(errors, "error"), item, writer))
            return
        try:
            made, lost = yield from _outputs_of(
                lick, _numbered(compile_options, number), self.losses, spool, writer, item.target
            )
            self.outputs += made
            self.troubles += lost
        except MemoryError:
            raise
        except Exception as e:  # a bug of ours costs only this lick
            self.bugs.append((f'{item.path}, "{lick.title}"', describe_crash(e)))
            self.refused.append(_skipped(lick, "a mistake of lickwright's own", item, writer))


def _put(
    item: WorkItem,
    compile_options: CompileOptions,
    writer: OutputWriter,
    hash: bytes,
    compilation: Compilation,
    named: tuple[LickName, ...],
) -> Steps:
    collected = _Collected()
    outputs = collected.outputs
    with Spool() as spool:
        for number, lick in enumerate(compilation.licks, item.before + 1):
            yield from collected.add(lick, number, item, compile_options, writer, spool)
        placed = writer.put(item, outputs) if outputs and item.only is None else WrittenOutputs((), 0, ())
    found = [d for d in compilation.diagnostics if d.severity != "info"] + list(collected.losses)
    troubles = (*collected.troubles, *placed.troubles)
    result = WorkResult(
        item.id,
        not collected.bugs and not troubles,
        hash,
        len(compilation.licks) - len(collected.refused),
        tuple(collected.refused),
        tuple(lick.slug for lick in compilation.licks),
        diagnostics_json.diagnostics_to_json(found),
        compilation.source.text if found else "",
        placed.made,
        placed.written,
        placed.size,
        troubles,
        bugs=tuple(collected.bugs),
        sounds=_sounds(outputs, placed),
        ok=compilation.ok,
        named=named,
        custom_sounds=compilation.custom_sounds,
    )
    if not compile_options.facts:
        return result
    yield
    return _with_features(result, compilation)


def _sounds(outputs: Sequence[Output], placed: WrittenOutputs) -> tuple[tuple[bytes, bytes], ...]:
    """Return hash and sound key of each recording that stands in its place."""
    sounds = {output.name: output.sound for output in outputs if output.sound}
    return tuple((made.hash, sounds[made.name]) for made in placed.made if made.name in sounds)


def _skipped(lick: CompiledLick, why: str, item: WorkItem, writer: OutputWriter) -> SkippedLick:
    """Return a lick that is not made, with how many files of an earlier version of it still stand in the folder."""
    older = sum(row.lick == lick.slug and writer.stands(item.target, row.name) for row in item.known)
    return SkippedLick(lick.title, why, lick.slug, older)


def _compile_partly(item: WorkItem, compile_options: CompileOptions, writer: OutputWriter, data: bytes) -> Steps:
    """Compile with some licks left out a source that crashed a worker."""
    source = decode_source(item.path, data)
    reasons = dict(item.without)

    def gone(number: int) -> bool:
        return number in reasons if item.only is None else number != item.only

    text, spans = crash_isolation.blank_licks(source.text, gone)
    whole, named = _named(item, compiler.compile_text(text, item.path, compile_options.project))
    found = [d for d in whole.diagnostics if not any(a <= d.span.start < b for a, b in spans)]
    for n, lick in enumerate(whole.licks):
        if n in reasons:
            found.append(SKIPPED.at(Span(0, 0), f'"{lick.title}" is given up: {reasons[n]}', _AGAIN))
    kept = tuple(lick for n, lick in enumerate(whole.licks) if not gone(n))
    result = yield from _put(
        item, compile_options, writer, content_digest(data), whole._replace(licks=kept, diagnostics=tuple(found)), named
    )
    refused = tuple(_skipped(lick, "given up", item, writer) for n, lick in enumerate(whole.licks) if n in reasons)
    return result._replace(done=False, ok=False, alone=True, refused=(*result.refused, *refused))


def crashed_result(item: WorkItem, why: str) -> WorkResult:
    """Return the result of a source that crashed its worker."""
    finding = SKIPPED.at(Span(0, 0), f"given up: {why}", _AGAIN)
    return WorkResult(item.id, findings=diagnostics_json.diagnostics_to_json([finding]), alone=True)


def _numbered(compile_options: CompileOptions, number: int) -> CompileOptions:
    """Return the options for one lick, with its number in its album."""
    return (
        compile_options._replace(options=replace(compile_options.options, track=number))
        if compile_options.numbered
        else compile_options
    )


def _outputs_of(
    lick: CompiledLick,
    compile_options: CompileOptions,
    losses: dict[Diagnostic, None],
    spool: Spool,
    writer: OutputWriter,
    target: str,
) -> Generator[None, None, tuple[list[Output], list[PathDiagnostic]]]:
    """Return the outputs of a lick, and findings for those that there is no room for; what a format cannot say goes into `losses`.

    Yield after each format.
    """
    outputs: list[Output] = []
    troubles: list[PathDiagnostic] = []
    for name in compile_options.formats:
        for suffix, options in _ROWS[name].files(compile_options.options):
            emission = lick.emit(name, options)
            losses.update(dict.fromkeys(emission.losses))
            suffix = emission.suffix or suffix  # noqa: PLW2901 (the lick's own tempo in it)
            try:
                content = writer.content(lick.slug + suffix, emission, spool)
            except OSError as e:
                path = writer.storage.shown(target, lick.slug + suffix)
                troubles.append(unwritable_trouble(path, e, writer.storage.noun))
                continue
            if content is not None:
                outputs.append(Output(lick.slug + suffix, content, lick.slug, name, sound_key(emission)))
        yield
    return outputs, troubles


def _with_features(result: WorkResult, compilation: Compilation) -> WorkResult:
    from lickwright.store.features import index_findings, lick_facts

    source = compilation.source
    if not compilation.licks:
        return result._replace(loose=index_findings(compilation.diagnostics, source))
    return result._replace(facts=tuple(lick_facts(lick, source) for lick in compilation.licks))
