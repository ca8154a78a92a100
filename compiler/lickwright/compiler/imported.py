"""A file of another format compiled: read into the notation, and its findings put where they belong in the file.

In: the bytes of a text tab, MIDI or MusicXML file. Out: a `Compilation` whose source is that file: with the findings of the reading, and those
about the music at the bars
that they are about. Nothing is written.
"""

from __future__ import annotations

from lickwright.compiler import compile_text
from lickwright.compiler.compilation import Compilation
from lickwright.core.diagnostics import Diagnostic
from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Span
from lickwright.importers import Imported, import_source
from lickwright.settings.project_rules import ProjectRules


def compile_imported(data: bytes, name: str, project: ProjectRules | None = None) -> Compilation:
    """Compile the bytes of a file of another format; `name` is what findings call it. What cannot be read is a finding; nothing is raised."""
    imported = import_source(data, name)
    if not imported.ok:
        return Compilation(imported.source, (), imported.findings, project)
    compilation = compile_text(imported.text, name, project)
    titles = [lick.title for lick in compilation.licks]

    def placed(finding: Diagnostic) -> Diagnostic:
        lick = titles.index(finding.lick) if finding.lick in titles else 0
        return replace(finding, span=_span(imported, lick, finding.bar), notes=(), fix=None)

    licks = tuple(lick._replace(diagnostics=tuple(map(placed, lick.diagnostics))) for lick in compilation.licks)
    found = (*imported.findings, *map(placed, compilation.diagnostics))
    by_place = tuple(sorted(found, key=lambda d: (d.span.start, d.code)))
    return Compilation(imported.source, licks, by_place, project, compilation.sounds)


def _span(imported: Imported, lick: int, bar: int | None) -> Span:
    """Return where a bar of a lick stands in the file; the file's start where that is not known."""
    bars = imported.bars[lick] if lick < len(imported.bars) else ()
    index = (bar or 1) - 1
    return bars[index] if 0 <= index < len(bars) else Span(0, 0)
