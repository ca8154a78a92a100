"""What is fuzzed: one function a kind of input. Each takes any bytes and raises only where the program does what is documented nowhere.

`TARGETS` is the table: an importer that is added gets a row. A function gives one word for what became of the input (`made`, `refused`), which is
counted; `seeds` are inputs to start from besides those in `corpus/`.
"""

from __future__ import annotations

import atexit
import contextlib
import io
import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from functools import cache, partial
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
SAMPLES = HERE.parent.parent / "samples"

LICKS = {
    "gate.lick": 'key A minor\nlick "Gate"\n| e8 e5 B8^10 B5 G7 B5 /8 e5 ||\n',
    "porch.lick": 'key C major\ntempo 90\nlick "Porch"\n| G5 h7 B5 B8 e5 B8 p5 G5 ||\n',
}


class Target(NamedTuple):
    """One kind of input."""

    name: str
    call: Callable[[bytes], str]
    seeds: Callable[[], Iterator[bytes]]
    words: Callable[[], list[str]]  # that a mutation may put in
    longest: int = 4096  # bytes


# --- other formats, read into licks


def imported(data: bytes, name: str) -> str:
    """Reads a file of another format and compiles what is written."""
    from lickwright.compiler import compile_text
    from lickwright.importers import import_source
    from lickwright.report import console

    found = import_source(data, name)
    screen = console.format_findings(found.source, found.findings)
    assert all(console.safe_text(line) == line for line in screen.split("\n")), "a character that steers the terminal"
    if not found.ok:
        assert found.findings, "nothing was written, and nothing said"
        return "refused"
    assert compile_text(found.text).licks, "what was written holds no lick"
    return "read"


def _exported(name: str) -> Iterator[bytes]:
    from lickwright.compiler import compile_file

    for path in sorted(SAMPLES.glob("**/*.lick"))[:5]:
        for lick in compile_file(path).licks[:1]:
            data = lick.emit(name).data
            yield from (data, data[: len(data) // 2])
    yield b"Dear Wren, the rest comes tomorrow."


def _tabs() -> Iterator[bytes]:
    yield from _exported("tab")


def _scores() -> Iterator[bytes]:
    yield from _exported("musicxml")


def _songs() -> Iterator[bytes]:
    yield from _exported("midi")


def _marks() -> list[str]:
    return [
        "e|",
        "B|",
        "--5--",
        "7b9r7",
        "h",
        "p",
        "/",
        "(7)",
        "<12>",
        "x",
        "|:",
        ":|",
        "x3",
        "PM---|",
        "1 & 2 &",
        "drop D",
    ]


def _elements() -> list[str]:
    return [
        "<chord/>",
        "<grace/>",
        "<duration>0</duration>",
        "<fret>-1</fret>",
        '<tie type="start"/>',
        "<backup><duration>99</duration></backup>",
    ]


# --- the text of a lick, through everything that reads it


def source(data: bytes) -> str:
    """Checks, mends, tidies, and makes every output but sound."""
    from lickwright.compiler import compile_bytes
    from lickwright.compiler.rules import all_rules
    from lickwright.core.source import Source
    from lickwright.export import EXPORTS
    from lickwright.notation.canonical import canonical_text
    from lickwright.notation.syntax import parse_source
    from lickwright.report import annotations, console, sarif
    from lickwright.store.features import lick_facts
    from lickwright.transform.autofix import autofix
    from lickwright.transform.tidy import tidy

    compilation = compile_bytes(data, "fuzzed.lick")
    text = compilation.source
    screen = console.format_findings(text, compilation.diagnostics)
    assert all(console.safe_text(line) == line for line in screen.split("\n")), "a character that steers the terminal"
    json.dumps(console.findings_json(text, compilation.diagnostics))
    json.dumps(sarif.sarif_document([(text, compilation.diagnostics)], all_rules()))
    annotations.annotation_commands([(text, compilation.diagnostics)])
    autofix(compilation)
    for lick in compilation.licks:
        lick_facts(lick, text)
        for row in EXPORTS if lick.ok else ():
            if not row.is_audio:
                assert lick.emit(row.name).data
    book, unread = parse_source(text)
    if not unread and compilation.ok:
        written = canonical_text(book)
        again, found = parse_source(Source("again", written))
        assert not found, "the canonical text cannot be read"
        assert canonical_text(again) == written, "the canonical text is not its own canonical text"
    assert not tidy(compilation).refused, "the tidy text is not the same music"
    return "made" if compilation.ok and compilation.licks else "refused"


def _sources() -> Iterator[bytes]:
    for folder in (SAMPLES, HERE.parent / "bad"):
        for path in sorted(folder.rglob("*.lick")):
            if path.stat().st_size < 4000:
                yield path.read_bytes()


def _notation() -> list[str]:
    from lickwright.notation.techniques import TECHNIQUES
    from lickwright.settings.fields import FIELDS

    fields = [row.name for row in FIELDS]
    signs = [sign for row in TECHNIQUES for sign in (getattr(row, "sign", None),) if sign]
    return [
        *fields,
        *signs,
        'lick "',
        "|:",
        ":|",
        "||",
        "3[",
        "(trill: ",
        "@mf",
        '@"',
        "1/16 ",
        "same ",
        "step ",
        "meant ",
    ]


# --- lickwright.toml


def house(data: bytes) -> str:
    """Reads a house's file, and compiles a lick in its style."""
    from lickwright import compile_text
    from lickwright.config.reading import read_project_config
    from lickwright.report import console

    found = read_project_config("lickwright.toml", "lickwright.toml", lambda path: data)
    screen = console.format_findings(found.source, found.findings)
    assert all(console.safe_text(line) == line for line in screen.split("\n")), "a character that steers the terminal"
    assert found.ok or found.findings
    for text in LICKS.values():
        compile_text(text, "gate.lick", found)
    return "made" if found.ok else "refused"


def _houses() -> Iterator[bytes]:
    for path in sorted((HERE.parent / "house").rglob("*.toml")):
        yield path.read_bytes()
    text = (HERE.parent.parent / "grammar" / "house.md").read_text("utf-8")
    yield text.partition("```toml\n")[2].partition("```")[0].encode()


def _settings() -> list[str]:
    from lickwright.config.setting_rows import SETTINGS

    return [
        *{row.section: 0 for row in SETTINGS},
        *(row.name for row in SETTINGS),
        " = ",
        '"""',
        "[[",
        "]]",
        "'''",
        "true",
        "1979-05-27",
    ]


# --- a question of `find`


def question(data: bytes) -> str:
    """Asks a small library."""
    from lickwright.index.query_parser import QueryError
    from lickwright.index.search import search_index

    text = os.fsdecode(data)
    try:
        found = search_index(_asked(), text, 5)
    except QueryError as unclear:
        assert 0 <= unclear.start <= unclear.end <= len(text), "the culprit lies outside the question"
        return "refused"
    assert found.total >= len(found.hits)
    return "made" if found.total else "nothing"


@cache
def _asked() -> sqlite3.Connection:
    from lickwright import compile_text
    from lickwright.index.reader import index_in_memory

    return index_in_memory([(name, compile_text(text, name)) for name, text in LICKS.items()]).connection


def _questions() -> Iterator[bytes]:
    for text in (
        "gate",
        "gate or box:9",
        'bend box:1 key:"A minor" level<=3 not slide',
        "tempo:60-90,120 tags:x",
        '"a b" finding:L203',
    ):
        yield text.encode()


def _fields() -> list[str]:
    from lickwright.index.query_fields import QUERY_FIELDS

    return [*(field.name + ":" for field in QUERY_FIELDS), "not ", "<=", ">=", ",", '"', "minor", "shape", "\u266d"]


# --- the record of an output folder


def record(data: bytes) -> str:
    """Puts a `.lickwright.db` into an output folder, then asks it, makes what changed and prunes.

    The first byte says how: `P` bytes of a good one are overwritten, `S` statements are executed in a good one, anything else stands
    there as it is. Nothing outside the folder may change.
    """
    from lickwright.store.manifest import NAME

    folder = Path(_scratch())
    lib, out, others = folder / "lib", folder / "out", folder / "others"
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(folder / "good", out)
    place = out / NAME
    if data[:1] == b"P":
        place.write_bytes(patched(place.read_bytes(), data[1:]))
    elif data[:1] == b"S":
        changed(place, data[1:].decode("utf-8", "replace"))
    else:
        place.write_bytes(data)
    before = _outside(lib, others)
    codes = [
        _command(*words, str(out)) for words in (["find", "--limit", "5"], ["library"], ["library", "--duplicates"])
    ]
    (out / "gate" / "gate.mid").unlink(missing_ok=True)
    codes += [_command("make", str(lib), "--prune", "--jobs", "1", "--out", str(out))]
    assert set(codes) <= {0, 1, 2, 3}, f"exit codes {codes}"
    assert _outside(lib, others) == before, "something outside the output folder was changed"
    assert {path.name for path in folder.iterdir()} == {"lib", "out", "others", "good"}, "something was made beside it"
    return "made" if codes == [0, 0, 0, 0] else "refused"


def patched(good: bytes, patches: bytes) -> bytes:
    """`good` with bytes of it overwritten: three bytes where, one what."""
    new = bytearray(good)
    for at in range(0, len(patches) - 3, 4):
        new[int.from_bytes(patches[at : at + 3], "big") % len(new)] = patches[at + 3]
    return bytes(new)


def changed(place: Path, statements: str) -> None:
    """Executes statements in the database at `place`, as somebody hostile might have."""
    steps = iter(range(50))
    db = sqlite3.connect(place, isolation_level=None)
    try:
        db.execute("PRAGMA writable_schema = ON")
        db.execute("PRAGMA journal_mode = MEMORY")
        db.set_authorizer(
            lambda action, *_: sqlite3.SQLITE_DENY if action == sqlite3.SQLITE_ATTACH else sqlite3.SQLITE_OK
        )
        db.set_progress_handler(lambda: next(steps, None) is None, 10_000)
        for statement in statements.split(";"):
            with contextlib.suppress(sqlite3.Error, sqlite3.Warning, ValueError, UnicodeError):
                db.execute(statement)
    finally:
        db.close()


def _command(*words: str) -> int:
    from lickwright.cli import main

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(words)
    assert code != 70 and "sorry:" not in err.getvalue(), err.getvalue()
    return code


@cache
def _scratch() -> str:
    """A folder with a library, what was made of it, and what is somebody else's; it goes with the process."""
    kept = tempfile.TemporaryDirectory(prefix="lickwright-fuzz-")
    atexit.register(kept.cleanup)
    folder = Path(os.path.realpath(kept.name))
    for name, text in LICKS.items():
        (folder / "lib").mkdir(exist_ok=True)
        (folder / "lib" / name).write_text(text)
    (folder / "others").mkdir()
    (folder / "others" / "notes.txt").write_text("somebody else's\n")
    assert _command("make", str(folder / "lib"), "--jobs", "1", "--out", str(folder / "out")) == 0
    (folder / "out").rename(folder / "good")
    return str(folder)


def _outside(*folders: Path) -> dict[str, bytes]:
    return {str(path): path.read_bytes() for folder in folders for path in folder.rglob("*") if path.is_file()}


def _records() -> Iterator[bytes]:
    yield b""
    yield b"P" + bytes(4)
    for table in ("sources", "outputs", "claims", "about", "licks", "findings", "phrases"):
        yield f"SDROP TABLE {table}".encode()
        yield f"SDELETE FROM {table}".encode()
        yield f"SALTER TABLE {table} RENAME TO t; CREATE VIEW {table} AS SELECT * FROM t".encode()
    for column in ("folder", "name"):
        for path in ("../others", "/nowhere", "..", "a/../../others", "notes.txt", "\\u0000", ".lickwright.db"):
            yield f"SUPDATE outputs SET {column} = '{path}', gone = 1".encode()
    yield b"SUPDATE outputs SET folder = '../others', name = 'notes.txt', gone = 1 WHERE name LIKE '%.mid'"
    yield b"SUPDATE sources SET target = '../others'"
    yield b"SUPDATE sources SET path = '../../../others/notes.txt', findings = '[[', refused = '{}'"
    yield b"SINSERT INTO claims SELECT '../others', name, hash FROM outputs"
    yield b"SUPDATE licks SET title = CAST(x'ff00fe' AS TEXT), tempo = 1e999, line = 'x'"
    yield b"SPRAGMA user_version = 99"
    yield b"SUPDATE about SET value = NULL"
    yield (
        b"SALTER TABLE licks RENAME TO t; CREATE VIEW licks AS WITH RECURSIVE r(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM r) "
        b"SELECT t.* FROM t, r"
    )


def _statements() -> list[str]:
    words = (
        "SELECT ",
        "UPDATE ",
        "DELETE FROM ",
        "INSERT INTO ",
        "CREATE TRIGGER ",
        "CREATE VIEW ",
        "DROP TABLE ",
        " SET ",
        " WHERE ",
    )
    names = (
        "sources",
        "outputs",
        "claims",
        "about",
        "licks",
        "phrases",
        "findings",
        "sqlite_master",
        "folder",
        "name",
        "path",
        "target",
    )
    return [
        *words,
        *names,
        "hash",
        "gone",
        "'../others'",
        "randomblob(99)",
        "zeroblob(1)",
        "CAST(x'ff' AS TEXT)",
        "PRAGMA ",
        ";",
    ]


TARGETS = {
    target.name: target
    for target in (
        Target("source", source, _sources, _notation),
        Target("tab", partial(imported, name="fuzzed.txt"), _tabs, _marks, 8192),
        Target("score", partial(imported, name="fuzzed.musicxml"), _scores, _elements, 40_000),
        Target("midi", partial(imported, name="fuzzed.mid"), _songs, list, 8192),
        Target("toml", house, _houses, _settings),
        Target("query", question, _questions, _fields, 600),
        Target("record", record, _records, _statements, 2048),
    )
}
