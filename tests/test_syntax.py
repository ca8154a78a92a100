"""The grammar and what is built from it: the kept tables are due, every sign of the technique table can be typed, spans point at what was written."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from lark import Token as LarkToken
from lark import Tree as LarkTree

from lickwright.compiler.rules import all_rules
from lickwright.core.source import Source
from lickwright.notation import brackets, parser_tables, syntax
from lickwright.notation.brackets import Token
from lickwright.notation.build_music import MusicBuilder
from lickwright.notation.lark_parser import make_parser
from lickwright.notation.parse_tree import Tree, TreeParser
from lickwright.notation.techniques import EVENT_WORDS, HELD_BEND, TECHNIQUES, Technique, TechniqueKind
from lickwright.notation.tree import Event, Hold, Item, Lick, Note, Tuplet, Worded


def lick(music: str) -> Lick:
    book, found = syntax.parse_source(Source("-", f'lick "Test"\n{music}\n'))
    assert not found, [d.message for d in found]
    return book.licks[0]


def techniques(items: tuple[Item, ...]) -> set[int]:
    """The rows that stand in these items, by identity: two rows may share a name."""
    out: set[int] = set()
    for item in items:
        if isinstance(item, Worded):
            out |= {id(row) for row in TECHNIQUES if row.kind is TechniqueKind.WORD and row.sign == item.word}
            out |= techniques(item.items)
        elif isinstance(item, Tuplet):
            out |= techniques(item.items)
        elif isinstance(item, Event):
            for part in item.parts:
                if isinstance(part, Note):
                    out |= {id(part.begin), id(part.head)}
                if isinstance(part, (Note, Hold)):
                    out |= {id(mark.technique) for mark in part.marks}
    return out


def typed(row: Technique) -> str:
    """A bar in which the row's sign stands."""
    match row.kind:
        case TechniqueKind.JOIN:
            return f"| G7 {row.sign}9 |"
        case TechniqueKind.ENTRY:
            return f"| {row.sign}G7 |"
        case TechniqueKind.WORD:
            return f"| ({row.sign}: G7) |"
        case TechniqueKind.HEAD:
            return {"": "| G7 |", "x": "| Gx |", "<>": "| G<12> |", "n<>": "| G5<17> |", "*": "| G7* |"}[row.sign]
        case _:
            amount = "9" if row.name in ("bend", "pre-bend") else ""
            return f"| G7{row.sign}{amount} |"


WRITTEN = [row for row in TECHNIQUES if row is not HELD_BEND]  # which is what comes of a tap over a bent string


@pytest.mark.parametrize("row", WRITTEN, ids=lambda row: f"{row.kind}-{row.name}")
def test_every_technique_can_be_typed(row: Technique) -> None:
    assert id(row) in techniques(lick(typed(row)).music)


@pytest.mark.parametrize("word", EVENT_WORDS)
def test_every_event_word_is_known(word: str) -> None:
    assert lick(f"| ({word}: G7) |").music[1] == Worded(word, lick("| G7 |").music[1:2])


def test_the_kept_tables_are_those_of_the_grammar() -> None:
    kept = Path(syntax.grammar_folder(), parser_tables.NAME).read_text("utf-8")
    made = parser_tables.tables_text(parser_tables.lark_tables(syntax.lark_parser()), syntax.grammar_text())
    assert kept == made, "the grammar has changed: run `python -m lickwright.notation.write_parser_tables`"


def test_every_state_and_rule_of_the_tables_is_one_of_larks() -> None:
    lark = syntax.lark_parser()
    tables = syntax.kept_tables()
    assert tables is not None
    assert len(tables.states) == len(lark.parser.parser._parse_table.states)
    assert len(tables.rules) == len(lark.rules)
    assert tables.terminals == {one.name: one.pattern.to_regexp() for one in lark.terminals if one.name[0] != "_"}


@pytest.mark.parametrize("damage", ["", "{", "[]", "null", '{"checksum": "0-0"}', "FITS", "FITS}", "[" * 100_000])
def test_tables_that_do_not_fit_are_passed_over(tmp_path, damage: str) -> None:
    grammar = syntax.grammar_text()
    first, _, _ = Path(syntax.grammar_folder(), parser_tables.NAME).read_text("utf-8").partition("\n")
    (tmp_path / parser_tables.NAME).write_text(damage.replace("FITS", f"{first}\n"))
    assert parser_tables.load_tables(str(tmp_path), grammar) is None
    assert parser_tables.load_tables(str(tmp_path / "nowhere"), grammar) is None
    assert parser_tables.load_tables(syntax.grammar_folder(), grammar) is not None
    assert parser_tables.load_tables(syntax.grammar_folder(), grammar + "//") is None


def test_tables_with_a_wrong_sign_anywhere_are_passed_over(tmp_path) -> None:
    grammar, chance = syntax.grammar_text(), Random(5)
    kept = Path(syntax.grammar_folder(), parser_tables.NAME).read_text("utf-8")
    for _ in range(100):
        at = chance.randrange(len(kept))
        wrong = chance.choice("0123456789,ab")
        (tmp_path / parser_tables.NAME).write_text(kept[:at] + wrong + kept[at + 1 :], "utf-8")
        assert (parser_tables.load_tables(str(tmp_path), grammar) is None) == (wrong != kept[at])
    (tmp_path / parser_tables.NAME).write_text(kept[:-1], "utf-8")
    assert parser_tables.load_tables(str(tmp_path), grammar) is None


@pytest.mark.parametrize(
    "extra",
    ["?start: WORD\nWORD: /a/", 'start: "a" WORD\nWORD: /b/', "start: WORD -> other\nWORD: /a/"],
    ids=["expanded", "left out", "alias"],
)
def test_a_grammar_that_the_loop_cannot_drive_is_refused(extra: str) -> None:
    lark = make_parser(extra + "\n%ignore /[ ]+/")
    with pytest.raises(ValueError, match="does not know how to build"):
        parser_tables.lark_tables(lark)


# --- the tree is Lark's --------------------------------------------------------------------------------------------


def same_tree(text: str) -> None:
    """Fails where our tree of a text differs from Lark's: in shape, in what a token says, or in any of its places."""
    source = Source("-", text)
    tables = syntax.kept_tables()
    assert tables is not None
    pairs: list[tuple[Tree | Token, LarkTree[LarkToken] | LarkToken]] = [
        (TreeParser(source.text, tables).parse(), syntax.lark_parser().parse(source.text))
    ]
    while pairs:
        ours, larks = pairs.pop()
        if isinstance(ours, Tree):
            assert isinstance(larks, LarkTree) and ours.type == larks.data, text
            assert len(ours.children) == len(larks.children), text
            pairs.extend(zip(ours.children, larks.children, strict=True))
            continue
        assert isinstance(larks, LarkToken) and (ours.type, ours.text) == (larks.type, larks.value), text
        assert ours.start == larks.start_pos and source.position(ours.start) == (larks.line, larks.column), text
        if ours.text:  # Lark gives a closer that is not there the length of what it stands before
            assert ours.end == larks.end_pos and source.position(ours.end) == (larks.end_line, larks.end_column), text
        else:
            assert ours.end == ours.start, text


ROOT = Path(__file__).parents[1]
FILES = sorted([*ROOT.glob("samples/**/*.lick"), *ROOT.glob("tests/bad/*.lick")])
PIECES = (
    *("e5 ", "B8^10~ ", "-r ", "h7", "---", "..", "G<12>", "3:x!", "e5&B8 ", "E", "x", "7", "q!? ", "ö", "\u200b"),
    *("|", "||", ":|", "|:", ":|x3", "1st ", "2nd", "%", "3[", "[", "]", "5:4[", "(pm: ", "(", ")", "(rake:", "(Let ring"),
    *(" ", "\n", "\t", "\n  ", "# why\n", " #", "1/16 ", "1/3", '@"so', '@"it" ', "@mf ", "@tempo=60 ", "@", "{", "}"),
    *('lick "A"\n', "\nlick", '\nlick "B" | e5', "\nkey A minor\n", "key", "\ntempo: 90", "\nnote x\n  y\n", "\nbox 1 # 2\n"),
)  # fmt: skip


def made_up(chance: Random) -> str:
    """Signs of the notation in any order, or a file of ours with some put in, taken out or doubled."""
    if chance.random() < 0.6:
        return 'lick "A"\n| ' * (chance.random() < 0.7) + "".join(chance.choices(PIECES, k=chance.randint(0, 60)))
    text = chance.choice(FILES).read_text("utf-8")
    first = chance.randrange(len(text))
    text = text[first : first + chance.randint(20, 600)]
    for _ in range(chance.randint(1, 6)):
        at, length = chance.randrange(len(text) + 1), chance.randint(0, 4)
        text = text[:at] + chance.choice((*PIECES, text[at : at + 9], "")) + text[at + length :]
    return text


def test_the_tree_of_every_file_is_larks() -> None:
    texts = [path.read_text("utf-8") for path in FILES]
    assert len(texts) > 25
    for text in ("", " ", "\n", "|", *texts, "\n".join(texts), *(rule.bad for rule in all_rules())):
        same_tree(text)


def test_the_tree_of_what_nobody_would_write_is_larks() -> None:
    chance = Random(5)
    for _ in range(1000):
        same_tree(made_up(chance))


@pytest.mark.slow
def test_the_tree_of_many_made_up_texts_is_larks() -> None:
    chance = Random(7)
    for _ in range(5000):
        same_tree(made_up(chance))


@pytest.mark.parametrize(
    "deep", ["3[" * 40 + "e5" + "]" * 40, "(pm: " * 30 + "e5" + ") ]" * 30, "3[(pm: " * 9 + "| e5 ] ) ]"]
)
def test_the_tree_of_nested_brackets_is_larks(deep: str) -> None:
    same_tree(f'lick "A"\n| {deep} |\n')


def test_the_tree_of_a_lick_past_its_limit_is_larks(monkeypatch) -> None:
    monkeypatch.setattr(brackets, "MAX_TOKENS", 40)
    for count in (37, 38, 39, 40, 60):
        same_tree('lick "A"\n| ' + "e5 % " * (count // 2) + '| (pm: e5)\nlick "B"\n| e5 3[e5 |')


def test_lark_serves_where_the_tables_do_not_fit(monkeypatch) -> None:
    texts = [path.read_text("utf-8") for path in FILES[:6]]
    kept = [syntax.parse_text(text) for text in texts]
    damaged = syntax.kept_tables()._replace(
        states=[state._replace(actions={}, appends={}) for state in syntax.kept_tables().states]
    )
    for tables in (None, damaged):
        monkeypatch.setattr(syntax, "kept_tables", lambda tables=tables: tables)
        assert [syntax.parse_text(text) for text in texts] == kept


def test_everything_the_grammar_names_in_music_is_built() -> None:
    used = {symbol.name for rule in syntax.lark_parser().rules for symbol in rule.expansion if symbol.is_term}
    music = MusicBuilder("", lambda *_: None, syntax.run_pattern, lambda _: False)
    by_name = set(music._items) | {"RUNS", "BAR", "TUPLET", "WORD", "CLOSE_TUPLET", "CLOSE_WORD"}
    header = {"LICK", "FIELDS", "JUNK"}
    assert used == by_name | header


def test_spans_point_at_what_was_written() -> None:
    text = 'lick "Test"\n| e5&B8^10~  -r | 3[G7 h9\tp7] @mf (pm: 6:x!) ---\n'
    book, _ = syntax.parse_source(Source("-", text))
    shown: list[str] = []

    def walk(items: tuple[Item, ...]) -> None:
        for item in items:
            shown.append(text[item.span.start : item.span.end])
            if isinstance(item, (Tuplet, Worded)):
                walk(item.items)
            elif isinstance(item, Event):
                at = item.span.start
                for part in item.parts:
                    shown.append(text[at + part.span.start : at + part.span.end])
                    marks = part.marks if isinstance(part, (Note, Hold)) else ()
                    shown.extend(text[at + mark.span.start : at + mark.span.end] for mark in marks)

    walk(book.licks[0].music)
    assert shown == [
        "|", "e5&B8^10~", "e5", "B8^10~", "^10", "~", "-r", "-r", "r", "|", "3[G7 h9\tp7]", "G7", "G7", "h9", "h9", "p7", "p7",
        "@mf", "(pm: 6:x!)", "6:x!", "6:x!", "!", "---", "---",
    ]  # fmt: skip
