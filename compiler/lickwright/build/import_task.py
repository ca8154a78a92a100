"""The work on one file of another format: reads it into the notation, and writes a `.lick` file.

In: a `WorkItem` and its `CompileOptions`. Out: a `WorkResult` with the findings of the reading, and the licks' facts for the index. It takes
the place of `task.compile_source` in a build of files of other formats, which so has everything that a build of licks has: what changed,
processes, a journal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lickwright import compiler
from lickwright.core.diagnostics import Severity
from lickwright.core.slugs import slug
from lickwright.core.source_discovery import SUFFIX
from lickwright.core.unreadable import Unreadable
from lickwright.importers import READERS, Imported, import_source, unread_source
from lickwright.store import diagnostics_json
from lickwright.store.output_writer import Output, OutputWriter, content_digest
from lickwright.store.sources import read_source
from lickwright.store.types import CompileOptions, WorkItem, WorkResult

if TYPE_CHECKING:
    from lickwright.store.features import LickFacts

FORMAT = "lick"  # as outputs of this kind are recorded


def import_suffixes() -> tuple[str, ...]:
    """Return the suffixes of the files that can be read, in the order of the readers."""
    return tuple(dict.fromkeys(suffix for row in READERS for suffix in row.suffixes))


def import_to_lick(item: WorkItem, compile_options: CompileOptions, writer: OutputWriter) -> WorkResult:
    """Read one file and write its lick, and return the result. Raises MemoryError, and whatever a bug raises."""
    try:
        data = read_source(item.path) if item.data is None else item.data
    except Unreadable as e:
        return WorkResult(item.id, findings=diagnostics_json.diagnostics_to_json(unread_source(item.path, e).findings))
    imported = import_source(data, item.path)
    hash = content_digest(data)
    findings = [finding for finding in imported.findings if finding.severity is not Severity.INFO]
    result = WorkResult(
        item.id,
        done=True,
        hash=hash,
        findings=diagnostics_json.diagnostics_to_json(findings),
        text=imported.source.text if findings else "",
        ok=imported.ok,
    )
    if not imported.ok:
        return result
    name = slug(item.target.rpartition("/")[2])
    placed = writer.put(item, [Output(name + SUFFIX, imported.text.encode("utf-8"), name, FORMAT)])
    return result._replace(
        done=not placed.troubles,
        made=imported.licks,
        slugs=(name,),
        outputs=placed.made,
        written=placed.written,
        size=placed.size,
        troubles=placed.troubles,
        facts=_facts(imported, item),
    )


def _facts(imported: Imported, item: WorkItem) -> tuple[LickFacts, ...]:
    """Return what the index is to know of the licks, but for their level, which takes as long again to measure."""
    from lickwright.store.features import lick_facts

    compilation = compiler.compile_text(imported.text, item.path)
    return tuple(lick_facts(lick, compilation.source, measure=False) for lick in compilation.licks)
