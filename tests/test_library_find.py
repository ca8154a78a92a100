"""Questions: each answer is held against the same question asked of the facts in plain Python; no text of anybody breaks one."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright.compiler.compilation import Compilation
from lickwright.index import reader, search
from lickwright.index.query_conditions import to_condition
from lickwright.index.query_fields import QUERY_FIELDS, technique_names
from lickwright.index.query_parser import QueryError, parse_query
from lickwright.index.search import search_index
from lickwright.notation.techniques import EVENT_WORDS, TECHNIQUES
from lickwright.settings.fields import FIELDS as NOTATION_FIELDS
from lickwright.store.features import LickFacts
from lickwright.store.index_schema import SEARCH_SCHEMA, has_full_text
from shelved import facts_of, indexed, sample_facts

WRONG = 'key A minor\nbox 1\n\nlick "Wrong"\n| e5 z9 - |\n\nlick "Odd"\nby Ágnes Őri-Nagy\ntags x_y, 50%\n| e5 A#4 e8 - - - - - |\n'
ODD = 'key C minor\nbox 3\n\nlick "Élan vital"\nby Ágnes Őri-Nagy\ntags x_y, 50%\ntuning drop D\ncapo 3\n| e10 e12 B10 - - - - - |\n'
MUSICAL = ("title", "techniques", "figures")  # where the name of a technique is looked for
_WORDS = re.compile(r"[^\W_]+")


@cache
def library() -> sqlite3.Connection:
    files = dict(sample_facts())
    files["odd/wrong.lick"] = facts_of(WRONG)
    files["odd/50%_of.lick"] = facts_of(ODD)
    return indexed(files)


def everything() -> list[tuple[str, LickFacts]]:
    files = [*sample_facts().items(), ("odd/wrong.lick", facts_of(WRONG)), ("odd/50%_of.lick", facts_of(ODD))]
    return [(path, one) for path, found in files for one in found]


def plain(text: str) -> str:
    """As full-text search folds letters."""
    from unicodedata import normalize

    return "".join(c for c in normalize("NFKD", text.casefold()) if c.isascii())


def said(one: LickFacts, words: str, *fields: str, begins: bool = True) -> bool:
    """Whether the words stand in a row in one of the fields; the last may go on."""
    wanted = _WORDS.findall(plain(words))
    for field in fields or ("title", "tags", "style", "by", "source", "note", "techniques", "figures"):
        own = _WORDS.findall(plain(str(getattr(one, field))))
        for at in range(len(own) - len(wanted) + 1):
            row = own[at : at + len(wanted)]
            if row[:-1] == wanted[:-1] and (row[-1] == wanted[-1] or (begins and row[-1].startswith(wanted[-1]))):
                return True
    return False


def uses(one: LickFacts, *names: str) -> bool:
    return bool(set(one.techniques.split(", ")) & set(names))


@pytest.mark.parametrize(
    ("question", "holds"),
    [
        ("", lambda path, one: True),
        ("bend", lambda path, one: said(one, "bend", *MUSICAL)),
        ("pull-off", lambda path, one: said(one, "pull off", *MUSICAL)),
        ("not bend", lambda path, one: not said(one, "bend", *MUSICAL)),
        ("tags:bend", lambda path, one: said(one, "bend", "tags")),
        ('"double stop"', lambda path, one: said(one, "double stop", *MUSICAL, begins=False)),
        ('"turn"', lambda path, one: said(one, "turn", begins=False)),
        ("technique:bend", lambda path, one: uses(one, "bend", "pre-bend", "quarter-step bend")),
        ("techniques:slide,tapped", lambda path, one: any("slide" in t or "tap" in t for t in one.techniques.split(", "))),
        ("technique:none", lambda path, one: one.ok and not one.techniques or not one.techniques),
        ("figure:triplet", lambda path, one: "triplet" in one.figures.split(", ")),
        ("figures:\"double stop\",\"unison bend\"", lambda path, one: {"double stop", "unison bend"} & set(one.figures.split(", "))),
        ("figure:none", lambda path, one: one.figures == ""),
        ("syncopation not \"string skip\"", lambda path, one: said(one, "syncopation", *MUSICAL)
            and not said(one, "string skip", *MUSICAL, begins=False)),
        ("level<=2", lambda path, one: one.level is not None and one.level <= 2),
        ("not level <= 2", lambda path, one: one.level is None or one.level > 2),
        ("level:2-3", lambda path, one: one.level in (2, 3)),
        ("level:1,5", lambda path, one: one.level in (1, 5)),
        ("level:none", lambda path, one: one.level is None),
        ("tempo>=100 tempo<120", lambda path, one: one.tempo is not None and 100 <= one.tempo < 120),
        ("tempo:92", lambda path, one: one.tempo == 92),
        ("bars>4", lambda path, one: one.bars > 4),
        ("notes:10-20", lambda path, one: 10 <= one.notes <= 20),
        ("seconds<5", lambda path, one: one.seconds < 5),
        ("fret<=5", lambda path, one: one.highest is not None and one.highest <= 5),
        ("fret:5-8", lambda path, one: one.lowest is not None and one.lowest >= 5 and (one.highest or 0) <= 8),
        ("frets>=12", lambda path, one: one.lowest is not None and one.lowest >= 12),
        ("box:2", lambda path, one: "2" in one.box.split(" at ")[0].split()),
        ("box:1,3", lambda path, one: {"1", "3"} & set(one.box.split(" at ")[0].split()) and "frets" not in one.box),
        ("box:open", lambda path, one: one.box == "open"),
        ('box:"1 at 12"', lambda path, one: one.box == "1 at 12"),
        ("box:none", lambda path, one: one.box == ""),
        ('box:"frets 7-10"', lambda path, one: one.box == "frets 7-10"),
        ('key:"A minor"', lambda path, one: one.key == "A minor"),
        ("key:A", lambda path, one: one.key.startswith("A ")),
        ("key:Eb", lambda path, one: one.tonic == 3),
        ("key:dorian,lydian", lambda path, one: one.mode in ("dorian", "lydian")),
        ("key:none", lambda path, one: one.key == ""),
        ("scale:blues", lambda path, one: "blues" in one.scale),
        ('scale:"major pentatonic"', lambda path, one: one.scale.startswith("major pentatonic")),
        ("meter:12/8", lambda path, one: one.meter == "12/8"),
        ("feel:swing", lambda path, one: one.feel.split(" ")[0] == "swing"),
        ('tuning:"drop D"', lambda path, one: one.tuning == "drop D"),
        ("sound:lead,crunch", lambda path, one: one.sound in ("lead", "crunch")),
        ("capo>0", lambda path, one: one.capo > 0),
        ("by:quill", lambda path, one: said(one, "quill", "by")),
        ("by:ágnes", lambda path, one: said(one, "agnes", "by")),
        ("by:ori-nagy", lambda path, one: said(one, "ori nagy", "by")),
        ("elan", lambda path, one: said(one, "elan")),
        ("rights:none", lambda path, one: one.rights == ""),
        ("not rights:none tags:x_y", lambda path, one: one.rights != "" and said(one, "x y", "tags")),
        ("style:rock by:none", lambda path, one: False),
        ("file:BLUES/", lambda path, one: "blues/" in path.lower()),
        ("file:50%_of", lambda path, one: "50%_of" in path),
        ("finding:error", lambda path, one: any(f.severity == "error" for f in one.findings)),
        ("finding:l439", lambda path, one: any(f.code == "L439" for f in one.findings)),
        ("not finding:none", lambda path, one: bool(one.findings)),
        ('bend box:1 not key:"A minor" level<=3', lambda path, one: said(one, "bend", *MUSICAL) and "1" in one.box.split()[:1]
            and one.key != "A minor" and one.level is not None and one.level <= 3),
    ],
)  # fmt: skip
def test_answers(question: str, holds: Callable[[str, LickFacts], bool], monkeypatch: pytest.MonkeyPatch) -> None:
    expected = sorted((path, one.line, one.title) for path, one in everything() if holds(path, one))
    found = search_index(library(), question)
    assert [(hit.path, hit.facts["line"], hit.facts["title"]) for hit in found.hits] == expected
    assert found.total == len(expected)
    for few_of_many in (search._FEW, 0):  # many are counted, and only the first of them are fetched
        monkeypatch.setattr(search, "_FEW", few_of_many)
        for limit in (1, 2, 7):
            few = search_index(library(), question, limit)
            assert few.hits == found.hits[:limit] and few.total == found.total


def test_a_box_is_found_by_number_and_by_shape() -> None:
    music = "| e5 - e5 - e8 - e5 - |"
    heads = (
        "key A minor\nbox 1",
        "key A minor\nscale pentatonic\nbox E shape",
        "key A dorian\nbox E shape",
        "key F# major\nbox 1",
    )
    heads += ("key F# major\nbox 1\nnumbering tonic", "key A minor\nbox 1 2", "key A minor\nbox 2")
    text = "".join(f'lick "{n}"\n{head}\n{music}\n\n' for n, head in enumerate(heads))
    boxes = indexed({"a.lick": facts_of(text)})
    for question, expected in (
        ("box:1", "01345"),
        ("box:E shape", "01245"),
        ("box:1 2", "5"),
        ("box:2 not box:1", "6"),
    ):
        assert "".join(hit.facts["title"] for hit in search_index(boxes, question).hits) == expected, question


def test_most_questions_above_tell_licks_apart() -> None:
    for question in ("bend", 'key:"A minor"', "box:2", "level<=2", "fret<=5", "feel:swing", "finding:error", "capo>0"):
        assert 0 < search_index(library(), question).total < len(everything()), question


def test_without_full_text_search_the_same_is_found() -> None:
    """But for words that LIKE finds inside others, and letters that it does not fold."""
    plain = indexed(dict(sample_facts()))
    for statement in SEARCH_SCHEMA.split(";"):
        if "VIRTUAL" in statement:
            plain.execute(f"DROP TABLE {statement.split('EXISTS ')[1].split(' ')[0]}")
    assert not has_full_text(plain)
    rich = indexed(dict(sample_facts()))
    for question in (
        "bend",
        'technique:slide key:"A minor"',
        "not bend level>3",
        "scale:blues",
        "by:quill",
        "pull-off",
        "rights:none",
    ):
        assert search_index(plain, question) == search_index(rich, question), question


def test_a_technique_is_asked_for_by_its_name() -> None:
    """Every name of the table finds the licks that use it, every sample technique among them."""
    for name in technique_names():
        wanted = [one.title for _, one in everything() if uses(one, name)]
        found = [hit.facts["title"] for hit in search_index(library(), f'technique:"{name}"').hits]
        assert set(wanted) <= set(found), name
        assert wanted, name  # some sample uses it
    assert set(technique_names()) == {t.name for t in TECHNIQUES if t.sign} | set(EVENT_WORDS)


@pytest.mark.parametrize(
    ("asked", "plain"), [("A7", "A7"), ("am7", "Am7"), ('"A minor 7"', "Am7"), ("G", "G"), ("A#", "Bb")]
)
def test_a_chord_is_found_in_any_spelling_and_whole(asked: str, plain: str) -> None:
    """Every lick whose chords line has it, and none that has only one that begins with it."""
    wanted = [one.title for _, one in everything() if plain in one.chords.split()]
    assert [hit.facts["title"] for hit in search_index(library(), f"chords:{asked}").hits] == wanted
    assert wanted or plain == "Bb"
    either = [one.title for _, one in everything() if {"A7", "D7"} & set(one.chords.split())]
    assert [hit.facts["title"] for hit in search_index(library(), "chord:A7,D7").hits] == either
    without = [one.title for _, one in everything() if not one.chords and one.key]
    assert set(without) <= {hit.facts["title"] for hit in search_index(library(), "chords:none").hits}


def test_what_is_no_chord_is_said() -> None:
    with pytest.raises(QueryError, match="not a chord"):
        search_index(library(), "chords:H7x")


def test_every_field_of_the_notation_can_be_asked_for_or_is_left_out_on_purpose() -> None:
    """A new field wants a decision."""
    asked = {field.name for field in QUERY_FIELDS}
    of_no_use = {"notation", "pickup", "step", "frets", "reach", "numbering", "meant"}
    assert {row.name for row in NOTATION_FIELDS} == (asked & {row.name for row in NOTATION_FIELDS}) | of_no_use
    assert not asked & of_no_use


# --- what cannot be read ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("question", "marked", "message", "hint"),
    [
        ("kye:A", "kye", "there is no field `kye`", "did you mean key?"),
        ("bpm>100", "bpm", "there is no field `bpm`", "did you mean tempo?"),
        ("time:4/4", "time", "there is no field `time`", "did you mean meter?"),
        ('box:2 key:"A miner"', '"A miner"', '"miner" is not a mode: A minor?', ""),
        ("key:a", "a", '"a" does not say which mode: write A minor or A major', ""),
        ("key:minro", "minro", None, "did you mean minor?"),
        ("box:6", "6", "boxes are numbered 1 to 5, there is no box 6", ""),
        ("technique:bned", "bned", "no technique has `bned` in its name", "did you mean bend?"),
        ("scale:bleus", "bleus", "no scale has `bleus` in its name", "did you mean blues?"),
        ("sound:leed", "leed", None, ""),
        ("level<=9", "9", "levels go from 1 to 5", "as in level<=3"),
        ("level<=x", "x", "`x` is not a number", "as in level:3, level<=3 or level:2-4"),
        ("tempo:120-80", "120-80", "120-80 runs backwards", "write 80-120"),
        ("level=3", "=", "`=` is not used here", "write level:"),
        ("level!=2", "!=", "`!=` is not used here", "write not level:"),
        ("key<=3", "key<=3", "`key` is not a number to compare", "write key:3"),
        ('say "hello', '"hello', "a quote is opened and never closed", 'close it: "A minor"'),
        ("bend and slide", "and", "`and` goes without saying: all terms must hold", "leave it out"),
        ("bend or slide", "or", "there is no `or` between terms", None),
        ("bend -slide", "-slide", "`-` does not turn a term round", "write not slide"),
        ("bend not", "not", "`not` stands before nothing", None),
        ("level:", "level:", "`level:` needs a value", None),
        ("box:1, 2", ",", "a value is missing after the comma", "no space after it: box:1,2"),
        ("box:,2", ",", "`,` stands where a value should", "as in box:1,2"),
        ("<= 3", "<=", "`<=` has no field before it", None),
        ("level<=2,3", "level<=2,3", "a comparison takes one number", None),
        ("finding:eror", "eror", "`eror` is not a kind of finding", "did you mean error?"),
        ("file:none", "none", "every lick has a file", None),
        ("file:\udcff", "\udcff", "here stands something that is no letter", None),
        ("***", "***", "`***` holds no word to look for", None),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_said(question: str, marked: str, message: str | None, hint: str | None) -> None:
    with pytest.raises(QueryError) as caught:
        search_index(library(), question)
    assert question[caught.value.start : caught.value.end] == marked
    assert message is None or str(caught.value) == message
    assert hint is None or caught.value.hint == hint
    assert "\n" not in str(caught.value) and not str(caught.value)[:1].isupper()


@pytest.mark.parametrize(
    ("question", "quoted"),
    [
        ("key:A minor", 'key:"A minor"'),
        ("bend key:A minor level:2", 'bend key:"A minor" level:2'),
        ("key:E,A minor", 'key:E,"A minor"'),
        ("technique:palm mute", 'technique:"palm mute"'),
        ("technique:slide up and pick", 'technique:"slide up and pick"'),
        ("scale:minor pentatonic box:1", 'scale:"minor pentatonic" box:1'),
        ("tuning:drop D", 'tuning:"drop D"'),
        ("box:frets 7-10", 'box:"frets 7-10"'),
        ("box:1 at 12", 'box:"1 at 12"'),
        ("not key:A minor", 'not key:"A minor"'),
        ("key:A bend", "bend key:A"),
        ("technique:slide bend", "bend technique:slide"),
        ("key:A not minor", "not minor key:A"),
        ('key:A "minor"', '"minor" key:A'),
    ],
)  # fmt: skip
def test_known_names_need_no_quotes(question: str, quoted: str) -> None:
    assert search_index(library(), question).hits == search_index(library(), quoted).hits


def test_curly_quotes_are_read_as_straight_ones() -> None:
    assert search_index(library(), "key:“A minor”") == search_index(library(), 'key:"A minor"')


_PIECES = st.sampled_from([
    "bend", "not", "key:", '"A minor"', "box:", "level<=", "3", ",", "-", '"', "'", ";--", "DROP TABLE licks;", "' OR 1=1 --",
    "%", "_", "*", "NEAR(", ")", "{title}", "title:", "AND", "OR", "^", "\\", "\0", "tags:none", "tempo:80-", "finding:", "“", "\n",
    "fret>", "lick_text", "file:", "by:", "technique:", "é", "夜", "\ud800", "😀",
])  # fmt: skip


@given(
    st.one_of(
        st.text(max_size=80), st.lists(_PIECES, max_size=12).map("".join), st.lists(_PIECES, max_size=8).map(" ".join)
    )
)
def test_any_text_gives_an_answer_or_a_clear_error(question: str) -> None:
    before = library().total_changes
    try:
        found = search_index(library(), question, 5)
    except QueryError as e:
        assert 0 <= e.start < e.end <= max(1, len(question))
        assert str(e) and "sql" not in str(e).lower()
    else:
        assert 0 <= len(found.hits) <= 5 and found.total <= len(everything())
    assert library().total_changes == before


@given(st.text(min_size=1, max_size=40))
def test_no_text_of_a_question_is_ever_sql(text: str) -> None:
    """The SQL of a value is the same whatever the value is."""
    quoted = '"' + text.replace('"', "") + '"'
    for field in ("title", "file"):
        try:
            (term,) = parse_query(f"{field}:{quoted}")
            made = to_condition(term, True)
        except QueryError:
            continue
        assert made.sql == to_condition(parse_query(f'{field}:"x"')[0], True).sql


def test_an_endless_question_is_refused() -> None:
    with pytest.raises(QueryError, match="longer than 2,000 characters"):
        search_index(library(), "bend " * 1000)
    with pytest.raises(QueryError, match="more than 50 terms"):
        search_index(library(), "a " * 60)


# --- nothing found ---------------------------------------------------------------------------------------------------


def test_it_is_told_which_part_finds_nothing() -> None:
    found = search_index(library(), "bend zzz level:2")
    assert found.total == 0 and [term.values[0].text for term in found.none] == ["zzz"]
    found = search_index(library(), "key:lydian level:5")
    assert found.total == 0 and not found.none


# --- the page ---------------------------------------------------------------------------------------------------------


def test_the_page_names_every_field() -> None:
    page = (Path(__file__).parents[1] / "grammar" / "questions.md").read_text("utf-8")
    rows = "".join(line for line in page.splitlines() if line.startswith("| `"))
    assert [field.name for field in QUERY_FIELDS if f"`{field.name}`" not in rows] == []


def test_a_library_that_cannot_be_read_leaves_no_index_open(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[sqlite3.Connection] = []

    def stopped() -> Iterator[tuple[str, Compilation]]:
        yield from ()
        raise KeyboardInterrupt

    real = reader.create_memory_index
    monkeypatch.setattr(reader, "create_memory_index", lambda: opened.append(real()) or opened[-1])
    with pytest.raises(KeyboardInterrupt):
        reader.index_in_memory(stopped())
    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        opened[0].execute("SELECT 1")
