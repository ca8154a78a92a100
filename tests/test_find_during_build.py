"""Questions to a library while a build enters its results: an answer is of the library before or after, never of both, and no build waits for it."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from building import library
from commanding import Run
from lickwright.build import readiness
from lickwright.cli import listing_view, main, terminal
from lickwright.index import reader
from lickwright.store import guarded_database, manifest
from lickwright.store.index_schema import remove_licks
from shares import every_nth

QUESTIONS: dict[str, tuple[str, ...]] = {
    "a table": ("find", "out"),
    "words": ("find", "out", "number"),
    "sorted": ("find", "out", "sort:-title"),
    "no lick any more": ("find", "out", 'title:"number 0"'),
    "paths": ("find", "out", "--paths"),
    "csv": ("find", "out", "--format", "csv"),
    "json": ("find", "out", "--format", "json"),
    "like": ("find", "out", "--like", "lib/part00/n0001.lick"),
    "like, in json": ("find", "out", "--like", "lib/part00/n0001.lick", "--format", "json"),
    "library": ("library", "out"),
    "library in json": ("library", "out", "--format", "json"),
    "duplicates": ("library", "out", "--duplicates"),
    "duplicates in json": ("library", "out", "--duplicates", "--format", "json"),
    "ready": ("library", "out", "--ready"),
}
BUSY = "a build is at work on it"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a library of four licks and what a build has made of it."""
    here = tmp_path_factory.mktemp("made")
    library(here / "lib", 4)
    for name in ("n0001", "n0003"):
        copy = here / "lib" / "part00" / f"{name}.lick"
        (here / "lib" / f"{name}-again.lick").write_text(copy.read_text().replace("Number", "Once more"))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(here)
        assert main(["make", "lib", "--to", "timing", "--out", "out", "--jobs", "1"]) == 0
    return here


@pytest.fixture
def here(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return tmp_path


def enter_changes(folder: Path) -> bool:
    """Enter what a build of changed sources enters: three sources lose their licks, and one of them goes. Return False where it would have to wait."""
    with closing(sqlite3.connect(folder / "out" / manifest.NAME, isolation_level=None, timeout=0)) as db:
        try:
            db.execute("BEGIN IMMEDIATE")
            remove_licks(db, [2, 3, 4])
            db.execute("DELETE FROM sources WHERE id = 3")
            db.execute("UPDATE sources SET hash = x'00' WHERE id = 1")
            db.execute("COMMIT")
        except sqlite3.OperationalError as e:
            assert "locked" in str(e)
            return False
    return True


class Meanwhile:
    """Enters the changes before a statement of the question, or before the first one after it for which it need not wait."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.statements = 0
        self.before = 0  # which statement; 0: never
        self.entered = False
        own = guarded_database._Cursor.execute

        def execute(cursor: guarded_database._Cursor, *arguments: object) -> guarded_database._Cursor:
            self.statements += 1
            if 0 < self.before <= self.statements and not self.entered:
                self.entered = enter_changes(folder)
            return own(cursor, *arguments)

        monkeypatch.setattr(guarded_database._Cursor, "execute", execute)


@every_nth(6)
@pytest.mark.parametrize("question", QUESTIONS.values(), ids=QUESTIONS)
def test_an_answer_is_of_one_state(
    question: tuple[str, ...], every: int, here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = (here / "out" / manifest.NAME).read_bytes()
    meanwhile = Meanwhile(here, monkeypatch)
    before = run(*question)
    number = meanwhile.statements
    assert enter_changes(here)
    after = run(*question)
    assert before != after
    for n in range(number, 0, -every):
        (here / "out" / manifest.NAME).write_bytes(kept)
        meanwhile.statements, meanwhile.before, meanwhile.entered = 0, n, False
        code, out, err = run(*question)
        refused = code == 3 and not out and BUSY in err
        assert refused or (code, out, err) in (before, after), n
        assert meanwhile.entered or enter_changes(here), "the lock outlives the answer"


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=QUESTIONS)
def test_a_long_listing_is_of_one_state_or_refused(
    question: tuple[str, ...], here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A listing is read in turns, and printed between them."""
    monkeypatch.setattr(listing_view, "_TURN", 0.0)
    whole = run(*question)
    entered = []
    out = terminal.out

    def write(text: str) -> None:
        if not entered:
            entered.append(enter_changes(here))
        out(text)

    monkeypatch.setattr(terminal, "out", write)
    code, said, err = run(*question)
    assert entered == [True], "no build waits until somebody has read what is printed"
    assert (code, said, err) == whole or (code == 3 and BUSY in err and whole[1].startswith(said))


def test_no_build_waits_while_outputs_are_looked_at(here: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    entered = []
    own = readiness.is_unchanged

    def look(*arguments: Any) -> bool | None:
        if not entered:
            entered.append(enter_changes(here))
        return own(*arguments)

    monkeypatch.setattr(readiness, "is_unchanged", look)
    code, out, err = run("library", "out", "--ready")
    assert entered == [True]
    assert code == 3 and not out and BUSY in err


def test_licks_left_out_are_those_of_the_state_that_is_asked(
    here: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A source whose licks are not in the index is compiled for the question. Before that a build makes it known, or takes it away."""
    with closing(sqlite3.connect(here / "out" / manifest.NAME)) as db:
        remove_licks(db, [3])
        db.execute("UPDATE sources SET indexed = 0 WHERE id = 3")
        db.commit()
    kept = (here / "out" / manifest.NAME).read_bytes()
    before = run("find", "out")
    assert enter_changes(here)
    after = run("find", "out")
    entered = []
    own = reader.LibraryIndex.left_out

    def left_out(index: reader.LibraryIndex) -> list[str]:
        found = own(index)
        if len(entered) < n:
            entered.append(len(entered) == n - 1 and enter_changes(here))
        return found

    monkeypatch.setattr(reader.LibraryIndex, "left_out", left_out)
    for n in (1, 2):
        (here / "out" / manifest.NAME).write_bytes(kept)
        entered.clear()
        assert run("find", "out") in (before, after)
        assert entered == [*[False] * (n - 1), True]
