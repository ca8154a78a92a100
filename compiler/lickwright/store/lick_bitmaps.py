"""The tables of bitmaps, which say of each word and number that licks of a large index have which licks have it.

In: a connection with the tables of `index_schema.py`. Out: SQL, and bitmaps as numbers. `enter_bitmaps.py` fills the tables when a build ends;
`index/bitmap_search.py` answers questions from them without looking at each lick. Licks are in blocks of `SIZE` by their ids. A lick
that is removed only goes from `alive`; the rest that is on record of it goes with its block.
"""

from __future__ import annotations

import sqlite3

from lickwright.store.guarded_database import FOREIGN_VALUES, Unusable

SIZE = 4096  # licks of a block
BYTES = SIZE // 8  # of a bitmap
SKIP = 255
_MOST = 1 << 40  # blocks
_LEAST = (
    64  # bytes that a lick takes in the database at least; its forty columns and its places in five indexes take more
)

SCHEMA = """
CREATE TABLE bitmap_blocks (
    block INTEGER PRIMARY KEY,     -- of the licks whose ids begin at `block` times 4,096
    entered INTEGER NOT NULL,      -- how many ids of the block the bitmaps know
    alive BLOB NOT NULL            -- a bitmap of the licks that are still there
);
CREATE TABLE bitmaps (
    block INTEGER NOT NULL,
    kind INTEGER NOT NULL,         -- a place in `KINDS`
    value NOT NULL,
    licks NOT NULL,                -- a bitmap, shorter steps to each next lick, or the only lick: see `read_licks`
    PRIMARY KEY (block, kind, value)
) WITHOUT ROWID
"""
WORDS = ("title", "tags", "style", "by", "source", "note", "techniques", "figures", "scale")
NUMBERS = ("level", "tempo", "bars", "notes", "lowest", "highest", "capo", "tonic")
NAMES = ("mode", "meter", "feel", "tuning", "sound")
OTHERS = ("rights", "origin", "chords", "box")  # columns of which bitmaps only know whether they say anything
BOX, EMPTY = "box", "empty"  # a bit of `boxes`; the name of a column that says nothing
KINDS = (*WORDS, *NUMBERS, *NAMES, BOX, EMPTY)  # their places are on record: new ones come last


def has_bitmaps(connection: sqlite3.Connection) -> bool:
    """Return True if there are tables for bitmaps."""
    return connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'bitmap_blocks'").fetchone() is not None


def next_unentered(connection: sqlite3.Connection) -> int:
    """Return the first id that the bitmaps do not know; they know none after it. Raises `Unusable`."""
    row = connection.execute("SELECT block, entered FROM bitmap_blocks ORDER BY block DESC LIMIT 1").fetchone()
    if row is None:
        return 0
    block, entered = row
    if not (isinstance(entered, int) and 0 < entered <= SIZE and 0 <= block < _MOST):
        raise Unusable(FOREIGN_VALUES)
    return int(block) * SIZE + entered


def living_licks(connection: sqlite3.Connection) -> dict[int, int]:
    """Return the licks that are there, as numbers whose bits they are, by their block.

    Raises `Unusable` where they are more than the database has room for: a bitmap could name thousands of licks for each of its bytes.
    """
    rows = connection.execute("SELECT block, alive FROM bitmap_blocks")
    blocks = {block: read_alive(alive) for block, alive in rows}
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    (page,) = connection.execute("PRAGMA page_size").fetchone()
    if sum(bits.bit_count() for bits in blocks.values()) * _LEAST > pages * page:
        raise Unusable(FOREIGN_VALUES)
    return blocks


def read_alive(written: object) -> int:
    """Return the licks of a block that are still there, as `read_licks` does. Raises `Unusable` for any shorter form.

    Every block has one, so that what all blocks take in memory is no more than what they take in the file.
    """
    if not isinstance(written, bytes) or len(written) != BYTES:
        raise Unusable(FOREIGN_VALUES)
    return int.from_bytes(written, "little")


def read_licks(written: object) -> int:
    """Return licks of a block as a number whose bits they are. Raises `Unusable` for what no program of ours has entered.

    One lick is its place in the block. Of more there is a bitmap, or a shorter list of steps: each byte is how many places to leave out before
    the next lick, where `SKIP` leaves out as many and has no lick after it.
    """
    if isinstance(written, int) and 0 <= written < SIZE:
        return 1 << written
    if not isinstance(written, bytes) or len(written) > BYTES:
        raise Unusable(FOREIGN_VALUES)
    if len(written) == BYTES:
        return int.from_bytes(written, "little")
    bits = bytearray(BYTES)
    place = -1
    for step in written:
        place += step
        if step < SKIP:
            place += 1
            if place >= SIZE:
                raise Unusable(FOREIGN_VALUES)
            bits[place >> 3] |= 1 << (place & 7)
    return int.from_bytes(bits, "little")
