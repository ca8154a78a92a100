"""The reader of MIDI as the table of readers calls it.

In: the bytes of a MIDI file. Out: no text, and drafts of its licks.
"""

from __future__ import annotations

from lickwright.core.source import Source
from lickwright.importers.draft import LickDraft
from lickwright.importers.midi.reading import read_midi
from lickwright.importers.options import ReadOptions, title_of


def read(data: bytes, name: str, options: ReadOptions) -> tuple[Source, list[LickDraft]]:
    """Return the licks of a file, whose text is empty. Raises `Unreadable`; see `read_midi`."""
    return Source(name, ""), list(read_midi(data, title_of(name), options))
