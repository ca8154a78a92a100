"""What a library knows of a lick: its facts, its phrase, and that the index gives both back."""

from __future__ import annotations

from contextlib import closing
from fractions import Fraction
from typing import get_args, get_type_hints

import pytest

from lickwright.analysis.difficulty import difficulty_profile
from lickwright.analysis.fingerprint import WHOLE, phrase_fingerprint, unpack_moments
from lickwright.compiler import compile_file, compile_text
from lickwright.core.source import Source
from lickwright.index.search import create_memory_index
from lickwright.music.pitch import parse_key
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.performance.tempo_map import TempoMap
from lickwright.store.features import LickFacts
from lickwright.store.index_schema import COLUMNS, add_licks, load_index_rows, remove_licks
from lickwright.timeline.model import Timeline
from lickwright.transform.moves import MoveRequest, Unmovable, book_with_licks, move_lick
from shelved import SAMPLE_LICKS, SAMPLES, facts_of, indexed, sample_facts

HEAD = 'key A minor\nbox 1\n\nlick "Porch light"\n'


def timeline(music: str, head: str = HEAD) -> Timeline:
    lick = compile_text(f"{head}{music}\n").licks[0]
    assert lick.ok and lick.timeline is not None, [d.message for d in lick.diagnostics]
    return lick.timeline


def code(music: str, head: str = HEAD) -> int:
    return phrase_fingerprint(timeline(music, head)).code


# --- facts -----------------------------------------------------------------------------------------------------------


def test_the_facts_of_a_lick() -> None:
    text = (
        "by Mara Quill\nrights mine\ntempo 1/4. = 66\nmeter 12/8\nfeel straight\n\n# first\n"
        'lick "One"\nkey G minor\nscale blues\nbox 1 2\ncapo 2\ntags answer, bend\nstyle blues\nsound lead\nlevel 3\nnote hold it\n'
        "note and let go\n"
        "| B6^8 - -r p3 - - G5~ - - . . . | e6&B6 - - (pm: G5 G3 D5) D3x - - E0 - - |\n".replace("D3x", "Dx")
    )
    (one,) = facts_of(text)
    assert one.ok, one.findings
    assert (one.title, one.slug, one.line) == ("One", "one", 8)
    assert (one.key, one.tonic, one.mode, one.scale, one.box) == ("G minor", 7, "minor", "minor blues", "1 2")
    assert one.boxes & 0b11111 == 0b11
    assert (one.tempo, one.meter, one.feel, one.tuning, one.capo, one.sound) == (
        66,
        "12/8",
        "straight",
        "standard",
        2,
        "lead",
    )
    assert (one.by, one.rights, one.tags, one.style, one.note) == (
        "Mara Quill", "mine", "answer, bend", "blues", "hold it\nand let go"
    )  # fmt: skip
    assert (one.declared, one.measured, one.level) == (3, None, 3)
    assert one.techniques == "bend, dead note, palm mute, pull-off, release, vibrato"
    assert (one.bars, one.beats) == (2, 8)
    assert one.seconds == pytest.approx(8 * 60 / 66, abs=0.001)
    assert (one.low, one.high) == (42, 72)  # open E and the e string's sixth fret, two frets up by the capo
    assert (one.lowest, one.highest) == (3, 6)
    assert (one.notes, one.phrase_notes) == (9, 10)  # the release is a note of the phrase and no stroke
    assert (one.degree, one.first) == (0, 69)  # the bend arrives at G, with the capo at A


def test_levels_are_worked_out_where_none_is_declared() -> None:
    (plain,) = facts_of('lick "One"\n| e5 - e5 - e5 - e5 - |\n')
    assert (plain.declared, plain.measured, plain.level) == (None, 1, 1)


def test_a_lick_that_cannot_be_read_is_known_by_its_place() -> None:
    good, bad = facts_of('key A minor\n\nlick "One"\n| e5 - e5 - e5 - e5 - |\n\nlick "Two"\n| e5 z9 - |\n')
    assert good.ok and not bad.ok
    assert (bad.title, bad.line) == ("Two", 6)
    assert {(f.severity, f.line) for f in bad.findings} == {("error", 7)}


def test_facts_of_all_samples_agree_with_their_timelines() -> None:
    licks = 0
    for path in SAMPLES:
        for lick, one in zip(compile_file(path).licks, sample_facts()[str(path)], strict=True):
            assert lick.timeline is not None
            line = lick.timeline
            assert one.seconds == pytest.approx(TempoMap(line, Fraction(1)).seconds(line.end), abs=0.0006), lick.title
            used = {s.begin.name for s in line.sounds if s.begin.sign} | {m.name for s in line.sounds for m in s.marks}
            assert used <= set(one.techniques.split(", "))
            assert one.bars == len(line.passes)
            assert one.declared == line.settings.level
            read = unpack_moments(one.moments)
            assert len(read.pitches) == one.phrase_notes == len(read.waits)
            assert one.notes == difficulty_profile(line).notes, lick.title
            starts = [s.start for s in line.sounds if s.kind == "note"]
            assert sum(read.waits) >= round((max(starts) - min(starts)) * WHOLE / line.grain)
            licks += 1
    assert licks == SAMPLE_LICKS


@pytest.mark.parametrize(
    ("music", "head", "names"),
    [
        ("| e5 e8 B5 B8 G5 G7 D5 D7 |", "", ""),
        ("| e5&B5 - e8&B8 - G7 - - - |", "", "double stop"),
        ("| e5&B5&G5 - - - G7 - - - |", "", "chord"),
        ("| ex&Bx - - - G7 - - - |", "", ""),
        ("| e8&B11^13 - - - G7 - - - |", "", "double stop, unison bend"),
        ("| e8&B11^12 - - - G7 - - - |", "", "double stop"),
        ("| 3[e5 e8 B5] B8 - - - G7 - |", "", "triplet"),
        ("| 5:4[e5 e8 B5 B8 e5] B8 - - - |", "", "quintuplet"),
        ("| e5 B5 - G5 - B5 - - |", "", "syncopation"),  # 1 & (2) & (3) & (4)
        ("| e5 B5 . G5 . B5 . . |", "", ""),  # off the beat, and over before the next one
        ("| e5 - B5 - - - G5 B5 | - - - - G5 - - - |", "", "syncopation"),  # over the bar line
        ("| e5 B5 - B8 G5 G7 D5 D7 D5 - - - - - - - |", "step 1/16\n", "syncopation"),  # 1 e (&) a
        ("| e5 B5 - - G5 - |", "meter 6/8\n", "syncopation"),  # 1 & (a) (2) & (a)
        ("| e5 - B5 G5 - B5 |", "meter 6/8\n", ""),
        ("| e5 - G7 - e5 - G7 - |", "", "string skip"),
        ("| e5 e8 | e5 - - - B5 - - - |", "pickup 1/4\n", "pick-up"),
    ],
)  # fmt: skip
def test_figures(music: str, head: str, names: str) -> None:
    (one,) = facts_of(f'{head}\nlick "One"\n{music}\n')
    assert one.ok, one.findings
    assert one.figures == names


# --- the phrase ------------------------------------------------------------------------------------------------------

BASE = "| e8 e5 B8^10 -r p5 G7~-- | D7 G5h7 e5 B5 G7 - . |"


@pytest.mark.parametrize(
    ("music", "why"),
    [
        ("| e8 e5 B10 B8 p5 G7 -- | D7 G5 G7 e5 B5 G7 - . |", "bends are the notes they arrive at"),
        ("| e8 e5 B8^^10 -r p5 G7 -- | D7 G5/7 e5 B5! G7 . . |", "techniques and lengths do not count"),
        ("1/16 | e8 e5 B8^10 -r p5 G7~-- D7 G5h7 e5 B5 G7 - . |".replace("1/16 |", "| 1/16"), "nor note values as such"),
        ("| e8 e5 (grace: B8) h10 B8 p5 G7^-- | D7 G5h7 e5 B5 G7 - . |", "grace notes and curls are ornaments"),
        ("| e8 e5 B10 G12 p9 G7 -- | D7 G5h7 A19 B5 D12 - . |".replace("A19", "G14"), "nor does the string"),
    ],
)  # fmt: skip
def test_the_same_phrase(music: str, why: str) -> None:
    head = HEAD.replace("box 1\n", "meter 4/4\n")
    lick = compile_text(f"{head}{music}\n").licks[0]
    assert lick.timeline is not None
    assert phrase_fingerprint(lick.timeline).code == code(BASE), why


@pytest.mark.parametrize(
    "music",
    [
        "| e8 e5 B8^10 -r p5 G5~-- | D7 G5h7 e5 B5 G7 - . |",
        "| e8 e5 B8^10 -r p5 G7~- D7 | - G5h7 e5 B5 G7 - . |",
        "| e8 e5 B8^10 - p5 G7~-- | D7 G5h7 e5 B5 G7 - . |",
        "| e8 e5 B8^10 -r p5 G7~-- | D7 G5h7 e5&B5 B5 G7 - . |",
        "| e8 e5 B8^10 -r p5 G7~-- | D7 G5h7 e5 Bx G7 - . |",
        "| e8 e5 B8^9 -r p5 G7~-- | D7 G5h7 e5 B5 G7 - . |",
    ],
)
def test_another_phrase(music: str) -> None:
    assert code(music) != code(BASE)


def test_the_tab_tells_apart_what_the_phrase_does_not() -> None:
    same = facts_of(f'{HEAD}{BASE}\n\nlick "Again"\ntempo 60\nlevel 2\n{BASE}\n')
    assert same[0].tab == same[1].tab and same[0].phrase == same[1].phrase
    other = facts_of(f"{HEAD}{BASE.replace('G5h7', 'G5 G7')}\n")[0]
    assert other.phrase == same[0].phrase and other.tab != same[0].tab


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_samples_moved_to_another_key_and_box_are_the_same_phrase(every: int) -> None:
    """Samples, by pitch and by shape, each time to other places."""
    moved = by_shape = 0
    for path in SAMPLES[::every]:
        source = Source(str(path), path.read_text("utf-8"))
        book, _ = parse_source(source)
        for lick, own in zip(book.licks, sample_facts()[str(path)], strict=True):
            n = moved
            wishes = [MoveRequest(box=str(n % 5 + 1))]
            if own.key:
                key = str(parse_key(own.key).transposed(n % 11 + 1))
                wishes += [MoveRequest(key=key), MoveRequest(key=key, by="shape")]
            for wish in wishes:
                try:
                    there = move_lick(lick, book, source, wish)
                except Unmovable:  # the neck ends, or an open string has no fret below it
                    assert wish.by == "shape"
                    continue
                by_shape += wish.by == "shape"
                (again,) = facts_of(canonical_text(book_with_licks(book, [there.lick])))
                assert again.ok and again.phrase == own.phrase, (own.title, wish)
                if wish.key:
                    assert again.degree == own.degree and again.key == wish.key
                    if wish.by == "shape" and own.lowest:
                        assert again.tab != own.tab
            moved += 1
    assert by_shape > 40 // every
    assert moved == SAMPLE_LICKS if every == 1 else moved > 0


# --- the index -------------------------------------------------------------------------------------------------------


def test_the_index_gives_the_facts_back() -> None:
    files = dict(sample_facts())
    files["bad.lick"] = facts_of('lick "Two"\n| e5 z9 - |\n')
    connection = indexed(files)
    for number, found in enumerate(files.values(), 1):
        assert load_index_rows(connection, number) == found


def test_facts_are_plain_values() -> None:
    """They travel between processes: nothing of the compiler goes along."""
    for found in sample_facts().values():
        for one in found:
            parts = [*one[:-1], *(part for finding in one.findings for part in finding)]
            assert {type(part) for part in parts} <= {str, int, float, bool, bytes, type(None)}


def test_what_is_removed_leaves_nothing() -> None:
    connection = create_memory_index()
    found = list(sample_facts().values())
    twice = found[0]  # its phrases are still another source's
    for number, ones in enumerate([*found, twice], 1):
        connection.execute("INSERT INTO sources VALUES (?, ?)", (number, f"{number}.lick"))
        add_licks(connection, number, ones)
    remove_licks(connection, [1, 3])
    assert load_index_rows(connection, 1) == [] and load_index_rows(connection, len(found) + 1) == twice
    for table in ("lick_text", "phrase_grams"):
        connection.execute(f"INSERT INTO {table} ({table}) VALUES ('integrity-check')")
    remove_licks(connection, range(1, len(found) + 2))
    for table in ("licks", "findings", "phrases"):
        assert connection.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    for word in ("bend", "the", "porch"):
        assert not connection.execute("SELECT rowid FROM lick_text WHERE lick_text MATCH ?", (word,)).fetchall()
    grams = connection.execute('SELECT count(*) FROM phrase_grams WHERE phrase_grams MATCH \'"0" * OR "f" *\'')
    assert grams.fetchone() == (0,)
    connection.close()


def test_the_columns_of_a_lick_are_the_fields_of_its_facts() -> None:
    """Each by its name and of its type."""
    types = {str: "TEXT", int: "INTEGER", float: "REAL", bool: "INTEGER"}
    hints = get_type_hints(LickFacts)
    fields = {name: types[(*get_args(hints[name]), hints[name])[0]] for name in LickFacts._fields[:-2]}
    assert LickFacts._fields[-2:] == ("moments", "findings")
    with closing(create_memory_index()) as connection:
        rows = connection.execute("PRAGMA table_info(licks)").fetchall()
    assert {name: kind for _, name, kind, *_ in rows[5:]} == fields
    assert tuple(fields) == COLUMNS
