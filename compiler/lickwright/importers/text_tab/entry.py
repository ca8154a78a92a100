"""The reader of text tab as the table of readers calls it.

In: the bytes of a file. Out: its text, and drafts of its licks.
"""

from __future__ import annotations

from dataclasses import replace

from lickwright.core.source import Source
from lickwright.importers.draft import LickDraft
from lickwright.importers.options import ReadOptions
from lickwright.importers.text_tab.reader import NoTab, read_text_tab
from lickwright.importers.text_tab.text_lines import decode_text


def read(data: bytes, name: str, options: ReadOptions) -> tuple[Source, list[LickDraft]]:
    """Return the text of a file and the licks in it. Raises Unreadable for what is no text, and where there is no tab."""
    source = decode_text(data, name)
    try:
        return source, [_with_asked_fields(draft, options) for draft in read_text_tab(source)]
    except NoTab as e:
        e.source = source
        raise


def _with_asked_fields(draft: LickDraft, options: ReadOptions) -> LickDraft:
    """Return a draft with the key and box that are asked for, instead of those that its text names."""
    asked = {name: value for name, value in (("key", options.key), ("box", options.box)) if value}
    if not asked:
        return draft
    return replace(draft, fields=(*asked.items(), *(field for field in draft.fields if field[0] not in asked)))
