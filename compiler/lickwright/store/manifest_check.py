"""Tells whether a database is a manifest of ours, and makes one.

In: a connection. Out: a database with the tables of `manifest_schema.py`, in their present form; or `Unusable`, which says what is wrong.
"""

from __future__ import annotations

import sqlite3

from lickwright.store.database_schema import check_database
from lickwright.store.guarded_database import FOREIGN_VALUES, Unusable, check_pages
from lickwright.store.manifest_schema import (
    FOREIGN,
    FOREIGN_PHRASES,
    FOREIGN_RELEASED,
    FORM,
    MARK,
    NAMES_OF_INDEX,
    SCHEMA,
    SECOND,
    optional_tables,
    own_tables,
)
from lickwright.store.ownership import plain_folder_bytes, plain_name_bytes

NO_MANIFEST = "it is damaged, or no manifest"


def has_table(db: sqlite3.Connection, name: str) -> bool:
    """Return True if the database has a table, or an index, of this name."""
    return db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (name,)).fetchone() is not None


def create_tables(db: sqlite3.Connection) -> None:
    """Create the tables of an empty manifest, and commit."""
    db.execute("BEGIN IMMEDIATE")
    for statement in (SCHEMA + SECOND).split(";\n"):
        db.execute(statement)
    db.execute(f"PRAGMA application_id = {MARK}")
    db.execute(f"PRAGMA user_version = {FORM}")
    db.execute("COMMIT")


def check_manifest(db: sqlite3.Connection, write: bool, whole: bool) -> None:
    """Check that a manifest is one of ours, down to its rows where `whole` is true; bring one of form 1 to form 2.

    Raises `Unusable`, and what SQLite raises.
    """
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    (form,) = db.execute("PRAGMA user_version").fetchone()
    if mark != MARK:
        raise Unusable(NO_MANIFEST)
    if form > FORM:
        raise Unusable("it was made by a newer lickwright")
    if form < 1:
        raise Unusable("it was made by an older lickwright")
    check_database(db, own_tables(form), optional_tables)
    whole = whole or (write and form == 1)  # before anything is entered
    if whole:
        check_pages(db)
    db.create_function("plain_folder", 1, plain_folder_bytes, deterministic=True)
    db.create_function("plain_name", 1, plain_name_bytes, deterministic=True)
    if form == 1:
        _add_names(db, write)
    if whole:
        check_rows(db)


def check_rows(db: sqlite3.Connection) -> None:
    """Raise `Unusable` for rows that no program of ours has entered."""
    questions = [*FOREIGN]
    if has_table(db, "phrases"):
        questions.append(FOREIGN_PHRASES)
    if has_table(db, "released"):
        questions += FOREIGN_RELEASED
    for question in questions:
        if db.execute(f"{question} LIMIT 1").fetchone() is not None:
            raise Unusable(FOREIGN_VALUES)


def _add_names(db: sqlite3.Connection, write: bool) -> None:
    """Give a manifest of form 1 the table of form 2; for one that is only read it is gone with the connection."""
    db.execute("BEGIN IMMEDIATE" if write else "BEGIN")
    db.execute(SECOND if write else SECOND.replace("TABLE", "TEMP TABLE", 1))
    if write:
        from lickwright.core.slugs import slug

        db.create_function(
            "base", 1, lambda title: slug(str(title or b"", "utf-8", "replace"), readable=False), deterministic=True
        )
        if has_table(db, "licks"):
            db.execute(NAMES_OF_INDEX)
        db.execute(f"PRAGMA user_version = {FORM}")
    db.execute("COMMIT")
