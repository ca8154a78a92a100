"""The index that a command asks: the one beside a build's outputs, or one of sources that are compiled for it.

In: the LIBRARY of a command line. Out: an open `LibraryIndex`. What cannot be read is shown on standard error.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from lickwright.cli import terminal
from lickwright.report import console

if TYPE_CHECKING:
    from lickwright.cli.sources import Verdict
    from lickwright.compiler import Compilation
    from lickwright.index.reader import LibraryIndex, Unusable
    from lickwright.index.search import SearchHit

_SLOW = 2.0  # seconds of reading a library, after which the faster way is named (estimate)


def library_index(path: str, whole: bool = True) -> tuple[LibraryIndex, int]:
    """Return the index of the library at a path, and the exit code so far: files that cannot be read count, errors in the music do not.

    An index that a build keeps is opened without loading the compiler; without `whole` a large one is checked
    only where it is read. Raises `Unusable` if it cannot be used.
    """
    from lickwright.index.reader import has_index, open_index

    if path == "-" or not has_index(path):
        return _read(path)
    index = open_index(path, whole)
    index.complete(_compiled)
    return index, terminal.Exit.FINE


def report_unusable(path: str, why: Unusable) -> int:
    """Show that the index in the folder `path` cannot be used and what to do; return the exit code."""
    from lickwright.core.files import UNREADABLE
    from lickwright.core.source import Source, Span
    from lickwright.store.manifest import NAME

    source = Source(os.path.join(path, NAME), "")
    finding = UNREADABLE.at(Span(0, 0), f"the index cannot be used: {why}", why.hint)
    terminal.err(console.format_findings(source, [finding], terminal.wants_color(sys.stderr)))
    return terminal.Exit.FILE_ERRORS


def _read(path: str) -> tuple[LibraryIndex, int]:
    from lickwright.cli.sources import Verdict
    from lickwright.index.reader import index_in_memory

    verdict, began = Verdict(), time.monotonic()
    index = index_in_memory(_compiled([path], verdict))
    took = time.monotonic() - began
    if took > _SLOW and os.path.isdir(path):
        place = console.safe_text(path)
        terminal.err(
            f"reading all of {place} took {took:.0f} seconds; lickwright make {place} keeps an index in its output folder: "
            "ask that folder\n"
        )
    return index, verdict.code


def _compiled(paths: Sequence[str], verdict: Verdict | None = None) -> Iterator[tuple[str, Compilation]]:
    """Yield each file compiled. A file that cannot be read is shown; errors in the music are not."""
    from lickwright.cli.sources import Verdict, compile_sources, find_sources

    whole = Verdict()
    for one, compilation in compile_sources(find_sources(paths), whole):
        unread = [d for d in compilation.diagnostics if d.code.startswith("L6")]
        if verdict is not None:
            verdict.add_findings(unread)
            terminal.err(console.format_findings(compilation.source, unread, terminal.wants_color(sys.stderr)))
        yield one.path, compilation
    if whole.code == terminal.Exit.INTERNAL and verdict is not None:
        verdict.add(whole.code)


def lick_place(index: LibraryIndex, hit: SearchHit) -> str:
    """Return where a lick is written: file and line."""
    return f"{index.path(hit.path)}:{hit.facts['line']}"


def lick_state(index: LibraryIndex, hit: SearchHit) -> str:
    """Return what is wrong with a lick in the index: its source is gone or changed, or it has errors; "" for nothing."""
    return index.state(hit.path) or ("" if hit.facts["ok"] else "has errors")


def stale_line(index: LibraryIndex, library: str, counts: Mapping[str, int]) -> str:
    """Return the line about licks whose source is gone or changed; "" if there are none. `counts`: licks by what became of their source."""
    from lickwright.store.source_state import WORDS

    said = [
        f"{console.counted_noun(n, 'lick')} {WORDS[name]}" for name, n in sorted(counts.items()) if name in WORDS and n
    ]
    return f"{', '.join(said)}: lickwright make brings {console.safe_text(library)} up to date\n" if said else ""


def lick_as_json(index: LibraryIndex, hit: SearchHit) -> dict[str, object]:
    """Return a lick for JSON: all that is known of it, lists as lists, missing values as null."""
    known = {name: None if value == "" else value for name, value in hit.facts.items()}
    for name in ("boxes", "tonic", "mode", "phrase", "tab", "degree", "first"):  # what the index needs for itself
        del known[name]
    known["ok"] = bool(hit.facts["ok"])
    known["techniques"] = [word for word in hit.facts["techniques"].split(", ") if word]
    known["figures"] = [word for word in hit.facts["figures"].split(", ") if word]
    known["tags"] = [tag.strip() for tag in hit.facts["tags"].split(",") if tag.strip()]
    return {
        "path": index.path(hit.path), "stale": bool(index.state(hit.path)), "state": lick_state(index, hit) or None, **known, **index.phrase(hit),
        "findings": index.findings(hit), "outputs": index.outputs(hit),
    }  # fmt: skip
