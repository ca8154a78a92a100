"""A manifest that is damaged, or made to break or stop whoever reads it."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from folders import COMMANDS, columns, home, rewrite, run, seen

from lickwright.cli import main
from lickwright.store import database_schema, guarded_database, manifest, unusable_manifest
from lickwright.store.guarded_database import Unusable

ASKING = ("find", "like", "json", "library", "duplicates")
WRITING = ("move", "make", "merge into", "merge from", "prune")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return home(tmp_path / "home")


def _asked(here: Path, what: object, capsys: pytest.CaptureFixture[str], *commands: str) -> int:
    """Every command on this very manifest; how many of them said that it is damaged."""
    data, said = (here / "out" / manifest.NAME).read_bytes(), 0
    for command in commands:
        (here / "out" / manifest.NAME).write_bytes(data)
        code = run(command)
        out, err = capsys.readouterr()
        assert "Traceback" not in out + err and ".py:" not in out + err
        assert code in (0, 1, 3), (what, command, code, err)
        if command in ASKING:
            assert code in (0, 3), (what, command, err)
            assert (code == 3) == ("the index cannot be used" in err), (what, command, err)
            assert code == 0 or "the next lickwright make starts a new one" in err
        said += "the index cannot be used" in err or "is set aside" in err
    return said


def _flipped(
    here: Path, capsys: pytest.CaptureFixture[str], each: int, commands: tuple[str, ...], found: float = 1 / 3
) -> None:
    """Damage every page and cut the file at many lengths; at least a part `found` of the damages is told."""
    chance = random.Random(5)
    path = here / "out" / manifest.NAME
    sound, said = path.read_bytes(), 0
    for page in range(len(sound) // 4096):
        for n in range(each):
            data = bytearray(sound)
            at = page * 4096 + (0 if n == 0 else chance.randrange(4096))
            for byte in range(at, min(at + chance.choice((1, 8, 200)), len(data))):
                data[byte] ^= chance.randrange(1, 256)
            path.write_bytes(data)
            said += _asked(here, ("page", page, at), capsys, *commands) > 0
    for length in range(0, len(sound), max(1, len(sound) // (12 * each))):
        path.write_bytes(sound[:length])
        _asked(here, ("cut", length), capsys, *commands)
    assert said > len(sound) // 4096 * found


def test_every_page_damaged_and_every_length(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _flipped(here, capsys, 1, ("find", "move"))


def test_a_large_record_is_judged_where_find_reads_it(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a look at all pages every way out is one of ours too, and nothing outside is touched."""
    monkeypatch.setattr(manifest, "SMALL", 0)
    before = seen(here, "out")
    _flipped(here, capsys, 1, ("find", "like"), 1 / 6)
    assert seen(here, "out") == before


@pytest.mark.slow
def test_a_large_record_damaged_in_many_places(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(manifest, "SMALL", 0)
    _flipped(here, capsys, 12, ("find",), 1 / 6)


def test_a_large_record_is_checked_as_a_whole_for_all_that_does_more_than_show_a_few_licks(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(manifest, "SMALL", 0)
    path, sound = here / "out" / manifest.NAME, (here / "out" / manifest.NAME).read_bytes()
    foreign = ("UPDATE sources SET target = '../docs' WHERE path LIKE '%n0002%'", ())
    rewrite(here / "out", foreign)
    assert run("find") == run("like") == 0  # they show no folder
    capsys.readouterr()
    assert _asked(here, "foreign", capsys, "json", "library", "duplicates", "make") == 4
    path.write_bytes(sound)
    rewrite(here / "out", foreign, ("UPDATE sources SET indexed = 0 WHERE path LIKE '%n0001%'", ()))
    assert _asked(here, "foreign", capsys, "find") == 1  # which copies all to add a source


@pytest.mark.parametrize("table", ["sources", "licks"])
def test_what_find_shows_of_a_large_record_is_judged(
    here: Path, table: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(manifest, "SMALL", 0)
    column = {"sources": "path", "licks": "title"}[table]
    rewrite(here / "out", (f"UPDATE {table} SET {column} = x'00ff' WHERE id = 1", ()))
    assert _asked(here, table, capsys, "find") == 1


@pytest.mark.slow
def test_every_page_damaged_in_many_places(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _flipped(here, capsys, 12, ASKING + WRITING)


# ---- tables that are not ours

ENDLESS = "WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x"
SCHEMAS = {
    "a view without end": ["DROP TABLE licks", f"CREATE VIEW licks AS {ENDLESS} AS id, 1 AS source_id FROM c"],
    "sources without end": [
        "DROP TABLE sources",
        f"CREATE VIEW sources AS {ENDLESS} AS id, 'x' || x AS path, 'y' AS target, NULL AS hash, NULL AS key, '' AS formats, "
        "0 AS made, '' AS refused, '' AS findings, 0 AS indexed, 0 AS alone FROM c",
    ],
    "about without end": ["DROP TABLE about", f"CREATE VIEW about AS {ENDLESS} AS value, 'x' AS name FROM c"],
    "a trigger": ["CREATE TRIGGER t AFTER INSERT ON outputs BEGIN DELETE FROM sources; END"],
    "a virtual table": ["DROP TABLE claims", "CREATE VIRTUAL TABLE claims USING fts5(folder, name, hash)"],
    "another column": ["ALTER TABLE outputs ADD COLUMN more"],
    "a missing column": ["ALTER TABLE sources DROP COLUMN alone"],
    "a column that is worked out": ["ALTER TABLE licks ADD COLUMN more AS (hex(zeroblob(100000000)))"],
    "another index": ["CREATE INDEX more ON licks (hex(title))"],
    "another table": ["CREATE TABLE more (x)"],
}


# A trigger with the name of a table, before it: of one name only the last was looked at once.
HIDDEN = (
    "INSERT INTO sqlite_master (rowid, type, name, tbl_name, rootpage, sql) SELECT 2, 'trigger', 'outputs', 'sources', 0, "
    "'CREATE TRIGGER outputs AFTER INSERT ON sources BEGIN UPDATE outputs SET gone = 1, folder = ''../docs''; END'"
)
SCHEMAS["a trigger that hides behind a table"] = [
    "CREATE TABLE t AS SELECT rowid AS n, * FROM sqlite_master",
    "DELETE FROM sqlite_master WHERE rowid > 1",
    HIDDEN,
    "INSERT INTO sqlite_master (rowid, type, name, tbl_name, rootpage, sql) "
    "SELECT n + 2, type, name, tbl_name, rootpage, sql FROM t WHERE n > 1",
]


@pytest.mark.parametrize("which", SCHEMAS)
def test_tables_that_are_not_ours(here: Path, which: str, capsys: pytest.CaptureFixture[str]) -> None:
    rewrite(here / "out", *((statement, ()) for statement in SCHEMAS[which]))
    commands = ("find", "library", "move", "merge from", "prune")
    assert _asked(here, which, capsys, *commands) == len(commands) - 1  # a shard is told apart
    assert (here / "out" / unusable_manifest.ASIDE).exists()


def test_tables_of_another_version_that_differ_in_comments_are_ours(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rewrite(here / "out", ("UPDATE sqlite_master SET sql = replace(sql, '-- of the source', '-- where it was')", ()))
    for command in ("find", "library", "make"):
        assert run(command) == 0
        assert "tables are not ours" not in capsys.readouterr().err
    assert not (here / "out" / unusable_manifest.ASIDE).exists()


@pytest.mark.parametrize(
    "made",
    [
        'CREATE TABLE t (a TEXT, "--\n"b" TEXT)', "CREATE TABLE t (a TEXT DEFAULT '--\n', b TEXT)", "CREATE TABLE t (a TEXT, -- b TEXT)\n c, b TEXT)",
        'CREATE TABLE t (a TEXT, "--\nb" TEXT)', "CREATE TABLE t (a TEXT, -- b TEXT)", "CREATE TABLE t (a /* -- */ TEXT, b TEXT)",
    ],
)  # fmt: skip
def test_a_comment_hides_nothing_of_a_table(made: str) -> None:
    ours = 'CREATE TABLE t (a TEXT, -- why\n "b" TEXT)'
    assert database_schema._bare(ours) == database_schema._bare('CREATE TABLE t (a TEXT, "b" TEXT)')
    assert database_schema._bare(made) != database_schema._bare(ours)


def test_a_journal_of_sqlites_does_not_make_the_file_enormous(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = here / "out" / manifest.NAME
    size = path.stat().st_size
    head = guarded_database._HEAD.pack(guarded_database._MAGIC, 0, 1, 0x3FFFFFF0, 512, 4096)
    for command in ("find", "move", "prune"):
        (here / "out/.lickwright.db-journal").write_bytes(head.ljust(512, b"\0") + bytes(600))
        run(command)
        assert ".lickwright.db-journal belongs to a larger file" in capsys.readouterr().err
        assert path.stat().st_size < 2 * size


@pytest.mark.parametrize("large", [False, True])
def test_a_table_whose_pages_go_in_a_circle(
    here: Path, large: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if large:
        monkeypatch.setattr(manifest, "SMALL", 0)
        monkeypatch.setattr(guarded_database, "_MOST", 1_000_000)  # instructions; a walk without end is cut off here
    path = here / "out" / manifest.NAME
    db = sqlite3.connect(path)
    roots = [root for (root,) in db.execute("SELECT rootpage FROM sqlite_master WHERE rootpage > 1")]
    db.close()
    sound = path.read_bytes()
    for root in roots[:4]:
        data = bytearray(sound)
        at = (root - 1) * 4096
        kind = 5 if data[at] == 13 else 2  # an inner page all of whose children are the page itself
        data[at : at + 12] = bytes((kind, 0, 0, 0, 0, 16, 0, 0)) + root.to_bytes(4, "big")
        path.write_bytes(data)
        assert _asked(here, root, capsys, "find", "prune") >= (1 if large else 2)


def _met_again(path: Path, table: str) -> None:
    """Put six pages before the only page of a table, each of which leads to the next four hundred times."""
    db = sqlite3.connect(path)
    (root,) = db.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    db.close()
    data = bytearray(path.read_bytes())
    last = len(data) // 4096 + 1
    data += data[(root - 1) * 4096 : root * 4096]
    for at in (*range(last + 1, last + 6), root):
        page = bytearray(4096)
        page[:12] = bytes((5, 0, 0, 1, 144, 8, 48, 0)) + last.to_bytes(4, "big")  # an inner page of 400 cells
        for n in range(400):
            cell = 2096 + 5 * n
            page[cell : cell + 5] = last.to_bytes(4, "big") + bytes((1 + n % 100,))
            page[12 + 2 * n : 14 + 2 * n] = cell.to_bytes(2, "big")
        data[(at - 1) * 4096 : at * 4096] = page
        last = at
    data[28:32] = (len(data) // 4096).to_bytes(4, "big")
    path.write_bytes(data)


def test_a_manifest_that_another_program_holds(
    here: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert max(guarded_database._WAIT) < 10
    monkeypatch.setattr(guarded_database, "_WAIT", (0.1, 0.1))
    other = sqlite3.connect(here / "out" / manifest.NAME, isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    for command in ("find", "library", "make", "move", "merge from"):
        assert run(command) == 3
        said = capsys.readouterr().err
        assert ("a build is at work on it" if command in ASKING else "another program is at work on") in said
    other.close()
    assert run("make") == 0


# ---- values that are not ours

VALUES: tuple[object, ...] = (
    None,
    "",
    "x",
    b"\xff\xfe",
    7,
    -1,
    1 << 62,
    1e308,
    "\x1b[2J\0",
    "[[1]]",
    "[" * 100_000,
    "9" * 5000,
)


def _valued(
    here: Path, capsys: pytest.CaptureFixture[str], values: tuple[object, ...], commands: tuple[str, ...], step: int
) -> None:
    path = here / "out" / manifest.NAME
    sound = path.read_bytes()
    for n, (table, column) in enumerate(columns(here / "out")):
        for m, value in enumerate(values):
            if (n + m) % step:
                continue
            path.write_bytes(sound)
            try:
                rewrite(here / "out", (f'UPDATE {table} SET "{column}" = ?', (value,)))
            except sqlite3.IntegrityError:
                continue
            _asked(here, (table, column, value), capsys, *commands)


def test_values_that_no_lickwright_has_entered(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _valued(here, capsys, VALUES, ("library",), 71)


@pytest.mark.parametrize("table", ["sources", "outputs", "names", "claims"])
def test_a_text_that_is_no_text(here: Path, capsys: pytest.CaptureFixture[str], table: str) -> None:
    """Python cannot be given such a text: SQLite then says what it says after Ctrl-C too."""
    path = here / "out" / manifest.NAME
    rewrite(here / "out", ("INSERT INTO claims VALUES ('n0001', 'number-1.mid', x'00')", ()))
    sound, said = path.read_bytes(), 0
    for one, column in columns(here / "out"):
        if one == table:
            path.write_bytes(sound)
            try:
                rewrite(here / "out", (f"UPDATE {table} SET \"{column}\" = CAST(x'6eff' AS TEXT)", ()))
            except sqlite3.IntegrityError:
                continue
            said += _asked(here, (table, column), capsys, "find", "make")
    assert said


@pytest.mark.slow
def test_all_values_in_all_columns(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _valued(here, capsys, VALUES, ASKING + WRITING, 1)


@pytest.mark.slow
def test_a_blob_without_measure_takes_no_memory(here: Path) -> None:
    # In a process of its own: the memory of SQLite is limited in the one that has built.
    write = (
        "import sqlite3; db = sqlite3.connect('out/.lickwright.db', isolation_level=None); "
        "db.execute('UPDATE sources SET findings = CAST(zeroblob(200000000) AS TEXT) WHERE id = 1'); db.close()"
    )
    subprocess.run([sys.executable, "-c", write], cwd=here, check=True)
    limited = "import resource; resource.setrlimit(resource.RLIMIT_AS, (400 << 20,) * 2); from lickwright.cli import main; raise SystemExit(main({}))"
    for command in ("find", "prune"):
        ran = subprocess.run(
            [sys.executable, "-c", limited.format(COMMANDS[command])], capture_output=True, text=True, timeout=60
        )
        assert ran.returncode in (0, 3), ran.stderr
        assert "Traceback" not in ran.stderr
        assert "sorry" not in ran.stderr


def _measured(command: str) -> tuple[int, str, int]:
    """A command as a process: its exit code, what it said, the memory that it took, in MiB."""
    program = (
        "import resource, sys; from lickwright.cli import main; code = main({}); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss >> 10, file=sys.stderr); raise SystemExit(code)"
    )
    # A process begins with the memory of the one that started it: hence one that is small between them.
    between = "import subprocess, sys; raise SystemExit(subprocess.run([sys.executable, '-c', sys.argv[1]]).returncode)"
    words = [sys.executable, "-c", between, program.format(COMMANDS[command])]
    ran = subprocess.run(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, timeout=300)
    said, _, number = ran.stderr.rstrip().rpartition("\n")
    return ran.returncode, said, int(number)


def _many_tables(db: sqlite3.Connection) -> None:
    columns = ", ".join(f"c{n}" for n in range(300))
    statement = "INSERT INTO sqlite_master VALUES ('table', ?, ?, 2, ?)"
    db.executemany(statement, ((f"t{n}", f"t{n}", f"CREATE TABLE t{n}({columns})") for n in range(20_000)))


def _kept_pages(db: sqlite3.Connection) -> None:
    db.execute("PRAGMA default_cache_size = 2000000000")
    db.execute("PRAGMA cache_size = 100")  # of this connection
    db.executemany("INSERT INTO claims VALUES (?, 'n', zeroblob(3000))", ((f"f{n}",) for n in range(100_000)))


def _many_outputs(db: sqlite3.Connection) -> None:
    db.executemany(
        "INSERT INTO outputs VALUES (?, 'n.mid', 'n', 'midi', 1, x'00', 1, 1, 1, 1)",
        ((f"gone-{n}",) for n in range(300_000)),
    )


def _many_of_one(db: sqlite3.Connection) -> None:
    db.executemany(
        "INSERT INTO outputs VALUES ('n0001', ?, 'n', 'midi', 0, x'00', 1, 1, 1, 1)",
        ((f"n{n}.mid",) for n in range(500_000)),
    )


def _long_path_of_many(db: sqlite3.Connection) -> None:
    db.execute("UPDATE sources SET path = ? WHERE id = 1", ("x" * 1_200_000,))
    names = ", ".join(
        f'"{row[1]}"' for row in db.execute("PRAGMA table_info(licks)") if row[1] not in ("id", "source_id")
    )
    for _ in range(9):
        db.execute(f"INSERT INTO licks (source_id, {names}) SELECT 1, {names} FROM licks")


@pytest.mark.slow
@pytest.mark.parametrize("fill", [_many_tables, _kept_pages, _many_outputs, _many_of_one, _long_path_of_many])
def test_a_large_manifest_takes_little_memory(here: Path, fill: Callable[[sqlite3.Connection], None]) -> None:
    db = sqlite3.connect(here / "out" / manifest.NAME, isolation_level=None)
    db.execute("PRAGMA writable_schema = ON")
    db.execute("BEGIN")
    fill(db)
    db.execute("COMMIT")
    db.close()
    for command in ("find", "merge from", "prune"):
        code, said, memory = _measured(command)
        assert code in (0, 3), said
        assert "Traceback" not in said and "sorry" not in said
        assert memory < 256, (command, memory)


@pytest.mark.slow
def test_a_large_record_whose_pages_are_met_again_and_again_takes_little_memory(here: Path) -> None:
    rewrite(
        here / "out",
        ("UPDATE sources SET indexed = 0", ()),
        ("INSERT INTO claims VALUES ('n0001', 'n', zeroblob(2000000))", ()),
    )
    _met_again(here / "out" / manifest.NAME, "sources")
    assert (here / "out" / manifest.NAME).stat().st_size > manifest.SMALL
    code, said, memory = _measured("find")
    assert code == 3, said
    assert "the index cannot be used: it is damaged" in said
    assert memory < 256


def test_a_phrase_longer_than_any_lick_is_not_compared(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rewrite(here / "out", ("UPDATE phrases SET moments = zeroblob(8000000)", ()))
    assert (here / "out" / manifest.NAME).stat().st_size > manifest.SMALL  # so that `like` judges what it reads
    assert _asked(here, "phrases", capsys, "like") in (0, 1)
    assert _asked(here, "phrases", capsys, "json", "duplicates", "move") == 3


def test_an_answer_is_written_lick_by_lick_as_it_would_be_at_once(
    here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for question in ("tempo>1", "tempo>900"):
        capsys.readouterr()
        assert main(["find", "out", question, "--format", "json"]) == 0
        said = capsys.readouterr().out
        assert said == json.dumps(json.loads(said), indent=2) + "\n"


@pytest.mark.slow
def test_an_answer_of_very_many_licks_takes_little_memory(here: Path) -> None:
    db = sqlite3.connect(here / "out" / manifest.NAME)
    names = ", ".join(f'"{row[1]}"' for row in db.execute("PRAGMA table_info(licks)") if row[1] != "id")
    for _ in range(15):
        db.execute(f"INSERT INTO licks ({names}) SELECT {names} FROM licks")
    db.commit()
    db.close()
    code, said, memory = _measured("json")
    assert code == 0, said
    assert memory < 256


# ---- what does not end


@pytest.fixture
def db() -> Iterator[guarded_database.GuardedConnection]:
    with closing(guarded_database.open_guarded(None, "")) as connection:
        yield connection


def test_a_statement_without_end_is_ended(db: guarded_database.GuardedConnection) -> None:
    for ask in (lambda rows: rows.fetchall(), list, lambda rows: rows.fetchone()):
        db._most = 3
        with pytest.raises(Unusable, match="does not end"):
            ask(db.execute(f"{ENDLESS} FROM c WHERE x < 0"))
    assert db.execute("SELECT 1").fetchall() == [(1,)]


def test_a_wish_to_end_is_heard_while_a_statement_is_at_work(db: guarded_database.GuardedConnection) -> None:
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    db._most = 1 << 40
    at_work = threading.Event()
    db.create_function("begun", 0, at_work.set)

    def end() -> None:
        if at_work.wait(60):
            os.kill(os.getpid(), signal.SIGINT)

    other = threading.Thread(target=end)
    other.start()
    try:
        with pytest.raises(KeyboardInterrupt):
            db.execute(f"{ENDLESS} FROM c WHERE x < 0 AND x > 1 OR x = 1 AND begun()").fetchall()
    finally:
        other.join()
        signal.signal(signal.SIGINT, before)


def test_a_wish_to_end_is_heard_in_a_function_that_sqlite_calls(db: guarded_database.GuardedConnection) -> None:
    def interrupted(value: object) -> bool:
        raise KeyboardInterrupt

    db.create_function("interrupted", 1, interrupted)
    with pytest.raises(KeyboardInterrupt):
        db.execute("SELECT interrupted(1)").fetchone()
