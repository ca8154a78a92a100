"""Bitmaps of a large index: every question is answered as without them, whatever was added, changed and removed."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from building import library
from lickwright.cli import main
from lickwright.index import search
from lickwright.index.bitmap_search import LickSet, all_licks
from lickwright.index.query_fields import QUERY_FIELDS
from lickwright.index.search import create_memory_index, matching_ids, search_index
from lickwright.store import enter_bitmaps, lick_bitmaps
from lickwright.store.features import LickFacts
from lickwright.store.guarded_database import Unusable
from lickwright.store.index_schema import add_licks, remove_licks
from lickwright.store.lick_bitmaps import BYTES, SIZE, read_alive, read_licks
from lickwright.store.manifest import NAME, Manifest
from shelved import indexed, sample_facts

QUESTIONS = (
    "", "bend", "not bend", "ben", '"bend"', "quill", '"quill"', "pull-off", 'not "double stop"', "bend not \"double stop\" level<=3",
    "figure:triplet", "level<=2", "not level<=2", "level:2-3", "level:1,5", "tempo>=100 tempo<120", "tempo:92", "bars>4", "notes:10-20",
    "seconds<5", "seconds<5 bend", "fret<=5", "fret:5-8", "box:2", "box:1,3", "box:1 2", "box:E shape", "box:open", 'box:"1 at 12"', "key:A",
    "key:A minor", "key:dorian", "not key:A minor,dorian", "scale:blues", "meter:12/8", "feel:swing", "tuning:drop D",
    "sound:lead,crunch", "capo>0", "by:quill", "not rights:none",
    "file:blues bend", "pull-off seconds<4",
    'seconds<9 not "double stop" box:1', "finding:none bend", "not finding:none", "sort:level bend", "sort:-tempo", "zzz", "title:zzz", "step level<=2 box:1",
    *(f"{field.name}:none" for field in QUERY_FIELDS if field.takes != "file"),
)  # fmt: skip


def with_bitmaps(files: dict[str, Iterable[LickFacts]]) -> sqlite3.Connection:
    """The same index in two blocks: its first licks are entered by one run, the others by the next."""
    connection = indexed({})
    for statement in lick_bitmaps.SCHEMA.split(";\n"):
        connection.execute(statement)
    half = len(files) // 2
    before = sum(len(list(found)) for found in list(files.values())[:half])
    nobody = bytes(BYTES)
    connection.execute("INSERT INTO bitmap_blocks VALUES (0, ?, ?)", (SIZE - before - 20, nobody))
    for number, (path, found) in enumerate(files.items()):
        connection.execute("INSERT INTO sources VALUES (?, ?)", (number, path))
        add_licks(connection, number, list(found))
        if number in (3, half):
            enter_bitmaps.enter_bitmaps(connection, True)
    enter_bitmaps.enter_bitmaps(connection, True)
    assert connection.execute("SELECT block FROM bitmap_blocks ORDER BY block").fetchall() == [(0,), (1,)]
    return connection


def assert_same(plain: sqlite3.Connection, rich: sqlite3.Connection) -> None:
    """Every question is answered alike; the ids differ."""
    assert all_licks(plain) is None and all_licks(rich) is not None
    for question in QUESTIONS:
        for limit in (None, 3):
            expected = search_index(plain, question, limit)
            for few in (search._FEW, 0):  # licks that are looked at one by one, or among all
                with pytest.MonkeyPatch.context() as patch:
                    patch.setattr(search, "_FEW", few)
                    found = search_index(rich, question, limit)
                assert (found.total, found.none) == (expected.total, expected.none), question
                assert [(hit.path, hit.facts) for hit in found.hits] == [(hit.path, hit.facts) for hit in expected.hits]


def test_every_question_is_answered_alike_with_and_without_bitmaps() -> None:
    plain, rich = indexed(dict(sample_facts())), with_bitmaps(dict(sample_facts()))
    assert_same(plain, rich)
    found = matching_ids(rich, "bend")
    assert found and len(found) == len(matching_ids(plain, "bend") or ())
    for connection in (plain, rich):  # some sources changed, which gives their licks new ids, and one is gone
        numbers = dict(connection.execute("SELECT path, id FROM sources ORDER BY path LIMIT 9").fetchall())
        remove_licks(connection, list(numbers.values()))
        for path, number in list(numbers.items())[1:]:
            add_licks(connection, number, [one._replace(style="elder bends") for one in sample_facts()[path]])
    assert all_licks(rich) is None  # until the build ends
    enter_bitmaps.enter_bitmaps(rich, True)
    assert_same(plain, rich)
    for connection in (plain, rich):
        remove_licks(connection, [number for (number,) in connection.execute("SELECT id FROM sources").fetchall()])
    assert rich.execute("SELECT count(*) FROM bitmaps").fetchone() == (0,)
    assert search_index(rich, "bend").total == search_index(rich, "").total == 0


def test_the_id_of_a_removed_lick_is_not_used_again() -> None:
    """What the bitmaps know of the removed one would be true of the new one."""
    rich = with_bitmaps(dict(sample_facts()))
    (last,) = rich.execute("SELECT max(id) FROM licks").fetchone()
    (source,) = rich.execute("SELECT source_id FROM licks WHERE id = ?", (last,)).fetchone()
    remove_licks(rich, [source])
    add_licks(rich, source, [LickFacts("Nothing", "nothing", 1, True)])
    assert rich.execute("SELECT max(id) FROM licks").fetchone()[0] > last
    enter_bitmaps.enter_bitmaps(rich, True)
    assert search_index(rich, "technique:none title:nothing").total == 1
    assert search_index(rich, "not technique:none title:nothing").total == 0


def test_licks_of_many_words_are_entered_some_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Their words take much memory: those of 4,000 licks with 10,000 words each would take gigabytes."""
    found, sizes = [], []
    places = enter_bitmaps._places

    def measured(rows: Sequence[tuple[Any, ...]], start: int, search: bool) -> Any:
        sizes.append(sum(len(text) for row in rows for text in row if isinstance(text, str)))
        return places(rows, start, search)

    monkeypatch.setattr(enter_bitmaps, "_places", measured)
    for most in (1 << 21, 2000):
        monkeypatch.setattr(enter_bitmaps, "_MOST_TEXT", most)
        sizes.clear()
        rich = with_bitmaps(dict(sample_facts()))
        found.append([list(rich.execute(f"SELECT * FROM {table}")) for table in ("bitmaps", "bitmap_blocks")])
    assert found[0] == found[1] and len(sizes) > 5 and max(sizes) < 4000


@given(st.lists(st.text(st.characters(exclude_categories=("Cs",)), max_size=30), min_size=1, max_size=6))
def test_words_are_those_of_the_full_text_search(titles: list[str]) -> None:
    """Of any text: the words that it finds, and no others."""
    connection = create_memory_index()
    try:
        connection.execute("INSERT INTO sources VALUES (1, 'a')")
        add_licks(connection, 1, [LickFacts(title, "a", 1, True) for title in titles])
        connection.execute("CREATE VIRTUAL TABLE words USING fts5vocab(lick_text, instance)")
        expected = {(word, lick) for word, lick in connection.execute("SELECT term, doc FROM words")}
    finally:
        connection.close()
    found = enter_bitmaps.words_of(list(dict.fromkeys(titles)))
    assert {(word, n) for n, title in enumerate(titles, 1) for word in found[title]} == expected


@given(
    st.lists(st.integers(0, SIZE - 1), min_size=1, unique=True)
    | st.integers(2, 9).map(lambda n: list(range(0, SIZE, n)))
)
def test_licks_are_read_as_they_were_entered(places: list[int]) -> None:
    written = enter_bitmaps.written_licks(places)
    assert read_licks(written) == sum(1 << place for place in places)
    assert isinstance(written, int) or len(written) == BYTES or len(written) <= min(BYTES // 2, 16 + len(places))
    assert (len(places) == 1) == isinstance(written, int)


@pytest.mark.parametrize("written", [-1, SIZE, 1.5, "x", None, bytes(BYTES + 1), b"\xfe" * 17, b"\xff" * 30 + b"\0"])
def test_what_are_no_licks_is_refused(written: object) -> None:
    with pytest.raises(Unusable):
        read_licks(written)


@pytest.mark.parametrize("written", [SIZE - 1, b"\xff" * 16 + b"\x0f", bytes(BYTES - 1)])
def test_the_licks_of_a_block_take_as_much_in_the_file_as_in_memory(written: object) -> None:
    """A short form for each of a million blocks would take a hundred times the file."""
    with pytest.raises(Unusable):
        read_alive(written)


def test_more_licks_than_the_database_has_room_for_are_refused() -> None:
    """Some ways of answering take as much memory for each lick as its bitmap does for some hundred."""
    rich = with_bitmaps(dict(sample_facts()))
    assert all_licks(rich) is not None
    rich.execute("UPDATE bitmap_blocks SET entered = ?", (SIZE,))
    rich.executemany("INSERT INTO bitmap_blocks VALUES (?, ?, ?)", [(n, SIZE, b"\xff" * BYTES) for n in range(2, 9)])
    with pytest.raises(Unusable):
        all_licks(rich)


@given(st.sets(st.integers(0, 3 * SIZE)), st.sets(st.integers(0, 3 * SIZE)))
def test_sets_of_licks_are_sets(one: set[int], other: set[int]) -> None:
    def blocks(licks: set[int]) -> LickSet:
        return LickSet(
            {
                block: sum(1 << lick % SIZE for lick in licks if lick // SIZE == block)
                for block in {n // SIZE for n in licks}
            }
        )

    for found, expected in (
        (blocks(one) & blocks(other), one & other), (blocks(one) | blocks(other), one | other), (blocks(one) - blocks(other), one - other)
    ):  # fmt: skip
        assert list(found) == sorted(expected) and len(found) == len(expected)
        assert all((lick in found) == (lick in expected) for lick in one | other)


@pytest.fixture
def built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(enter_bitmaps, "FEWEST", 12)
    monkeypatch.chdir(tmp_path)
    library(tmp_path / "lib", 12)
    assert main(["make", "lib", "--to", "tab", "--out", "out", "--jobs", "1"]) == 0
    return tmp_path / "out"


def _asked(question: str, capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["find", "out", question]) == 0
    return capsys.readouterr().out


def test_a_build_enters_what_changed(built: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with Manifest(str(built), write=False) as manifest:
        assert len(all_licks(manifest.db) or ()) == 12
    path = Path("lib/part00/n0003.lick")
    path.write_text('tempo 63\nlick "Changed entirely"\n| B8^10 - - - - - - - ||\n')
    Path("lib/part00/n0004.lick").unlink()
    assert "12 licks" in _asked("", capsys)
    assert main(["make", "lib", "--to", "tab", "--out", "out", "--prune", "--jobs", "1"]) == 0
    with Manifest(str(built), write=False) as manifest:
        assert len(all_licks(manifest.db) or ()) == 11
    assert "11 licks" in _asked("", capsys) and "1 lick\n" in _asked("bend", capsys)
    assert "1 lick\n" in _asked("tempo:63", capsys) and "10 licks" in _asked("title:number", capsys)


def test_a_small_index_and_one_of_an_older_build_are_read_through(
    built: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _asked("title:number tempo>65", capsys)
    db = sqlite3.connect(built / NAME)
    for table in ("bitmaps", "bitmap_blocks"):
        db.execute(f"DROP TABLE {table}")
    db.commit()
    db.close()
    assert _asked("title:number tempo>65", capsys) == before
    Path("lib/part00/n0003.lick").write_text('tempo 63\nlick "Changed entirely"\n| B8^10 - - - - - - - ||\n')
    assert main(["make", "lib", "--to", "tab", "--out", "out", "--jobs", "1"]) == 0
    with Manifest(str(built), write=False) as manifest:
        assert len(all_licks(manifest.db) or ()) == 12


@pytest.mark.parametrize("large", [False, True])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE bitmaps SET licks = 'x'", "UPDATE bitmaps SET licks = 1 << 40", "UPDATE bitmaps SET licks = zeroblob(513)",
        "UPDATE bitmap_blocks SET alive = 7", "UPDATE bitmap_blocks SET block = 1 << 60", "UPDATE bitmap_blocks SET alive = 'x'",
        "UPDATE bitmap_blocks SET alive = zeroblob(1 << 22)", "UPDATE bitmap_blocks SET alive = randomblob(512)",
        "UPDATE bitmap_blocks SET alive = zeroblob(9)",
        "UPDATE bitmap_blocks SET entered = 'x'", "UPDATE bitmap_blocks SET entered = 1 << 62", "DELETE FROM bitmap_blocks",
        "UPDATE bitmaps SET kind = 99 - kind",
    ],
)  # fmt: skip
def test_bitmaps_that_no_program_of_ours_has_entered_end_in_a_clear_error_or_an_answer(
    built: Path, statement: str, large: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if large:
        monkeypatch.setattr("lickwright.store.manifest.SMALL", 0)
    db = sqlite3.connect(built / NAME)
    db.execute(statement)
    db.commit()
    db.close()
    for question in ("", "title:number", "tempo>65 not bend"):
        code = main(["find", "out", question])
        said = capsys.readouterr()
        assert "Traceback" not in said.err + said.out and code in (0, 3)
        assert code == 0 or "the index cannot be used: it is damaged" in said.err
    Path("lib/part00/n0003.lick").write_text('tempo 63\nlick "Changed entirely"\n| B8^10 - - - - - - - ||\n')
    assert main(["make", "lib", "--to", "tab", "--out", "out", "--jobs", "1"]) in (0, 1)
    assert main(["find", "out", "title:changed"]) == 0
    assert "Traceback" not in capsys.readouterr().err
