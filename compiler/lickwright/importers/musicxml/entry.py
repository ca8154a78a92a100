"""The reader of MusicXML as the table of readers calls it.

In: the bytes of a score. Out: no text, and a draft of its lick.
"""

from __future__ import annotations

from lickwright.core.source import Source
from lickwright.importers.draft import LickDraft
from lickwright.importers.musicxml.reading import read_score
from lickwright.importers.options import ReadOptions, title_of


def read(data: bytes, name: str, options: ReadOptions) -> tuple[Source, list[LickDraft]]:
    """Return the licks of a score, whose text is empty. Raises `Unreadable`; see `read_score`."""
    return Source(name, ""), list(read_score(data, title_of(name), options))
