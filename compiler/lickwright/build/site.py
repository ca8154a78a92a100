"""Updates the index page of the lesson pages in an output folder, after every build that makes pages.

In: the manifest after a build. Out: `index.html` in the output folder, while there are two pages or more. It ends with a seal, a hash of all before it, so
that it is known again without a record: one that somebody changed, and any other file of that name, is neither replaced nor removed.
"""

from __future__ import annotations

from lickwright.build.summary import BuildSummary
from lickwright.core.destination import Seal
from lickwright.core.files import NOT_OURS
from lickwright.core.source import Span
from lickwright.export.page.index_page import FILE_NAME, IndexEntry, index_page
from lickwright.report.console import counted_noun
from lickwright.store.guarded_database import stored_values
from lickwright.store.manifest import Manifest
from lickwright.store.output_writer import in_the_way_trouble, not_removed_trouble, unwritable_trouble
from lickwright.store.storage import Storage
from lickwright.store.types import PathDiagnostic

SEAL = Seal(b"<!-- lickwright site ", b" -->\n")
_FEWEST = 2  # pages, for an index to be of use
_LARGEST = 1 << 26  # bytes of a file that may be an index of ours
_TITLE = "Licks"

_PAGES = """
SELECT o.folder, o.name, l.title, l.key, l.scale, l.box, coalesce(l.declared, l.measured), l.tempo, l.techniques, l.chords, l.tags, l.style, l."by"
FROM outputs o JOIN sources s ON s.target = o.folder JOIN licks l ON l.source_id = s.id AND l.slug = o.lick
WHERE o.format = 'page' AND o.gone = 0 ORDER BY l.title COLLATE NOCASE, o.folder, l.line, l.id
"""


def update_site(
    manifest: Manifest, storage: Storage, title: str, overwrite: bool, prune: bool, summary: BuildSummary
) -> None:
    """Write the index if it is missing or out of date, and report to `summary`. With `prune` one that lists fewer than two pages is removed.

    It is left as it was while something could not be read or made, since it would lack what is only missing for now.
    """
    if summary.incomplete:
        return
    manifest.with_index()
    with stored_values():
        entries = [_entry(*row) for row in manifest.db.execute(_PAGES)]
        page = index_page(title or _TITLE, entries)
    path = storage.shown("", FILE_NAME)
    try:
        there = _there(storage)
        if len(entries) < _FEWEST and (there is None or prune):
            _remove(storage, there, summary)
            manifest.note_site(False)
        else:
            manifest.note_site(True)
            if _write(storage, there, page, overwrite, summary):
                summary.release.append(f"{path} lists {counted_noun(len(entries), 'lesson page')}")
    except _NotAFile as e:
        why = f"a {e} is in the way of the index of the lesson pages"
        summary.left_out([PathDiagnostic(path, NOT_OURS.at(Span(0, 0), why, "move it away"))])
    except OSError as e:
        summary.left_out(
            [not_removed_trouble(path, e) if len(entries) < _FEWEST else unwritable_trouble(path, e, storage.noun)]
        )


def _remove(storage: Storage, there: bytes | None, summary: BuildSummary) -> None:
    """Remove the index that stands there, if it is ours."""
    if there is not None and SEAL.matches_bytes(there):
        storage.remove("", FILE_NAME)
        summary.removed = [*summary.removed, storage.shown("", FILE_NAME)]


def _write(storage: Storage, there: bytes | None, page: str, overwrite: bool, summary: BuildSummary) -> bool:
    """Write the index, and return True, unless it stands there already or somebody else's file does."""
    data = b"".join(SEAL.add_to([page.encode("utf-8")]))
    if there == data:
        return False
    if there is not None and not (overwrite or SEAL.matches_bytes(there)):
        summary.left_out([in_the_way_trouble(storage.shown("", FILE_NAME))])
        return False
    storage.write("", FILE_NAME, data)
    return True


class _NotAFile(Exception):
    """Something else than a file stands where the index belongs; the message is its kind."""


def _entry(folder: str, name: str, *said: object) -> IndexEntry:
    return IndexEntry._make((f"{folder}/{name}", *said))


def _there(storage: Storage) -> bytes | None:
    """Return what stands in the index's place; None for nothing. Raises `_NotAFile`, OSError."""
    state = storage.state("", FILE_NAME)
    if state is None:
        return None
    if state.kind != "file":
        raise _NotAFile(state.kind)
    with storage.open("", FILE_NAME) as file:
        return file.read(_LARGEST)
