"""Reuses recordings that are in an output folder already, found by a hash of everything that their sound depends on.

In: the manifest, or a recording that is to be made. Out: where a file with the same sound lies, and that recording under new tags. So a lick that is
moved or renamed, or whose words change, is not rendered again. A file is reused only if its bytes are those that were written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import NamedTuple

from lickwright.core.digest import blake2b
from lickwright.export import Export
from lickwright.store.guarded_database import stored_values
from lickwright.store.manifest import Manifest, OutputRow
from lickwright.store.output_keys import program_text_key, values_key
from lickwright.store.spool import PIECE, LargeData, Spool
from lickwright.store.storage import Storage

# Below the package: all that samples and their encoding come from. A test holds it to what `synth` imports.
SOUNDING = (
    "synth",
    "music",
    "notation",
    "performance/pitch_curves.py",
    "performance/note_events.py",
    "export/audio/encoding.py",
    "export/page/recording.py",
)


class StoredRecording(NamedTuple):
    """A recording on record, with its path and hash."""

    folder: str  # below the output folder
    name: str
    hash: bytes  # of its bytes


Sounds = Mapping[bytes, StoredRecording]  # by key


def sound_key(emission: Export) -> bytes:
    """Return the key of a recording's sound; empty for an output that is not a recording."""
    return values_key(_program(), emission.sound) if emission.sound else b""


@cache
def _program() -> str:
    return program_text_key(SOUNDING)


def load_sounds(manifest: Manifest) -> dict[bytes, StoredRecording]:
    """Return the sounds on record by their keys, one file of each. Raises `Unusable`."""
    if not manifest.has_sounds():
        return {}
    with stored_values():
        rows = manifest.db.execute(
            "SELECT sound, folder, name, hash FROM sounds JOIN outputs USING (hash) WHERE typeof(sound) = 'blob'"
        )
        return {sound: StoredRecording(folder, name, hash) for sound, folder, name, hash in rows}


def sounds_of_outputs(manifest: Manifest, rows: Iterable[OutputRow]) -> tuple[tuple[bytes, bytes], ...]:
    """Return the rows on record of the sounds of some outputs, as `enter_sounds` takes it."""
    if not manifest.has_sounds():
        return ()
    asked = "SELECT hash, sound FROM sounds WHERE hash = ? AND typeof(sound) = 'blob'"
    return tuple(found for row in rows for found in manifest.db.execute(asked, (row.hash,)))


def enter_sounds(manifest: Manifest, sounds: Iterable[tuple[bytes, bytes]]) -> None:
    """Enter which files, by hash, have which sounds, by key."""
    rows = list(sounds)
    if rows:
        manifest.with_sounds()
        manifest.db.executemany("INSERT OR REPLACE INTO sounds VALUES (?, ?)", rows)


def remove_unused_sounds(manifest: Manifest) -> None:
    """Remove the sounds of files that are on record no more."""
    if manifest.has_sounds():
        manifest.db.execute("DELETE FROM sounds WHERE hash NOT IN (SELECT hash FROM outputs)")


def reuse_recording(emission: Export, sounds: Sounds, storage: Storage, spool: Spool) -> LargeData | None:
    """Return the recording made of a stored file with the same sound; None where there is none, or it is not as we left it."""
    retag = emission.retag
    found = sounds.get(sound_key(emission)) if sounds else None
    if found is None or retag is None:
        return None
    try:
        with storage.open(found.folder, found.name) as file:
            hash = blake2b(digest_size=len(found.hash) or 1)
            while piece := file.read(PIECE):
                hash.update(piece)
            if hash.digest() != found.hash:
                return None
            return spool.take(lambda out, _: retag(file, out))
    except (OSError, ValueError):  # then it is rendered anew, which reports the error
        return None
