"""Unchanged sources whose findings are on record, to be shown again.

In: rows of the manifest. Out: `Remembered`.
"""

from __future__ import annotations

from typing import NamedTuple

from lickwright.store.guarded_database import Unusable
from lickwright.store.manifest import Manifest
from lickwright.store.types import SkippedLick


class Remembered(NamedTuple):
    """An unchanged source with findings or refused licks on record."""

    id: int
    path: str  # as the user knows it
    option_set: int
    findings: str  # see `store/diagnostics_json.py`
    refused: tuple[SkippedLick, ...]  # licks that were not made


def skipped_on_record(manifest: Manifest, folder: str, refused: str) -> tuple[SkippedLick, ...]:
    """Return the licks that were not made of a source, from its row `refused`. Raises `Unusable`."""
    from json import loads

    try:
        return tuple(_skipped(manifest, folder, *one) for one in loads(refused)) if refused else ()
    except (TypeError, ValueError, RecursionError):
        raise Unusable("it is damaged") from None


def _skipped(manifest: Manifest, folder: str, title: object, why: object, slug: object, older: object) -> SkippedLick:
    """Return a lick that was not made, as it was entered; its older files are counted anew, since they may have been removed."""
    if older:
        (older,) = manifest.db.execute(
            "SELECT count(*) FROM outputs WHERE folder = ? AND lick = ? AND gone <> 0", (folder, str(slug))
        ).fetchone()
    return SkippedLick(str(title), str(why), str(slug), int(str(older)))
