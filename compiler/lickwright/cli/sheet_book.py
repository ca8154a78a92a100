"""The book that `lickwright make --book` writes after a build: the sheets of all licks in one document.

In: the build's request. Out: a file in the output folder, whole or not at all, and the exit code. What is on its pages is `export/sheet/book.py`; what may be
replaced is `core/destination.py`.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from lickwright.cli import single_output, terminal
from lickwright.cli.exit_code import Verdict
from lickwright.cli.sources import compile_sources, find_sources
from lickwright.config.discovery import ProjectConfigs
from lickwright.core.destination import Seal
from lickwright.core.files import UNREADABLE
from lickwright.core.slugs import slug
from lickwright.report.console import counted_noun, safe_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from lickwright.export.sheet.book import BookLick
    from lickwright.store.types import CompileOptions

SEAL = Seal(b"% a book by Lickwright, ", b"\n")  # a comment after the end of the PDF file


class SheetBook:
    """The document that `--book` names."""

    def __init__(self, title: str, share_pages: bool, out: str, overwrite: bool, sources: Sequence[str]) -> None:
        self.path = os.path.join(out, f"{slug(title)}.pdf")
        self._title, self._share_pages = title, share_pages
        self._overwrite, self._sources = overwrite, sources

    def report_obstacle(self) -> terminal.Exit:
        """Says why it will not be written, before anything is made; FINE if it may be."""
        return single_output.report_obstacle(self.path, SEAL, self._overwrite, self._sources)

    def write(self, projects: ProjectConfigs, options_of: Callable[[str], CompileOptions], say: Callable[[str], None]) -> terminal.Exit:  # fmt: skip
        """Compiles the sources and writes the book of the licks without errors; returns the exit code."""
        from lickwright.engraving.typefaces import MissingFace
        from lickwright.export.sheet.book import book_pdf

        verdict = Verdict()
        unread: list[str] = []
        licks = list(self._licks(projects, options_of, verdict, unread))
        if unread:
            more = f" and {len(unread) - 1:,} more" if len(unread) > 1 else ""
            terminal.err(f"no book was made: {safe_text(unread[0])}{more} cannot be read\n")
            return max(terminal.Exit.FILE_ERRORS, verdict.code)
        if not licks:
            say("no book: there is no lick without errors\n")
            return verdict.code
        try:
            data = book_pdf(licks, self._title, licks[0].options.sheet, self._share_pages)
        except MissingFace as e:
            terminal.err(f"no book was made: {e}; install lickwright again\n")
            return terminal.Exit.FILE_ERRORS
        code = single_output.save_output(self.path, data, SEAL, self._overwrite, self._sources)
        if code == terminal.Exit.FINE:
            say(f"{counted_noun(len(licks), 'lick')} in {safe_text(self.path)}\n")
        return max(code, verdict.code)

    def _licks(
        self,
        projects: ProjectConfigs,
        options_of: Callable[[str], CompileOptions],
        verdict: Verdict,
        unread: list[str],
    ) -> Iterator[BookLick]:
        """Yield the licks without errors; note files that the system does not let us read, which would be missing in the book."""
        from lickwright.export.sheet.book import BookLick
        from lickwright.timeline.excerpt import NoBars

        for found, compilation in compile_sources(find_sources(self._sources), verdict, projects, judge=False):
            if any(d.code == UNREADABLE.code for d in compilation.diagnostics):
                unread.append(found.path)
            for lick in compilation.licks:
                options = options_of(found.path).options
                part = lick.lowered
                if part is not None and options.bars is not None:
                    try:
                        part, _ = part.excerpt(options.bars)
                    except NoBars:  # the build has said so
                        continue
                if part is not None:
                    yield BookLick(part.grid(), options)
