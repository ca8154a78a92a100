"""Indexes for tests: of texts, and of all samples."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from lickwright.compiler import compile_text
from lickwright.index.search import create_memory_index
from lickwright.store.features import LickFacts, lick_facts
from lickwright.store.index_schema import add_licks

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))
SAMPLE_LICKS = sum(("\n" + path.read_text("utf-8")).count('\nlick "') for path in SAMPLES)


def facts_of(text: str, name: str = "a.lick") -> list[LickFacts]:
    """The facts of every lick in a text."""
    compilation = compile_text(text, name)
    return [lick_facts(lick, compilation.source) for lick in compilation.licks]


_OPEN: list[
    sqlite3.Connection
] = []  # until the tests end: Python 3.13 warns of one that is let go without being closed


def indexed(files: dict[str, Iterable[LickFacts]]) -> sqlite3.Connection:
    """An index of files, by path."""
    connection = create_memory_index()
    _OPEN.append(connection)
    for number, (path, found) in enumerate(files.items(), 1):
        connection.execute("INSERT INTO sources VALUES (?, ?)", (number, path))
        add_licks(connection, number, list(found))
    return connection


@cache
def sample_facts() -> dict[str, list[LickFacts]]:
    """The facts of all samples, by path."""
    return {str(path): facts_of(path.read_text("utf-8"), str(path)) for path in SAMPLES}


@cache
def sample_index() -> sqlite3.Connection:
    """An index of all samples; nobody may write to it."""
    return indexed(dict(sample_facts()))
