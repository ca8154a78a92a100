"""The grammar and what is built from it: the kept tables are due, every sign of the technique table can be typed, spans point at what was written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from lark import Lark

from lickwright.core.source import Source
from lickwright.notation import parser_tables, syntax
from lickwright.notation.build_music import MusicBuilder
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
    # Lark numbers its states in no fixed order, so the tables are compared by what they were made from
    kept = json.loads(Path(syntax.grammar_folder(), parser_tables.NAME).read_text("utf-8"))["made_from"]
    made = parser_tables.made_from(syntax.grammar_text())
    assert kept.split(",")[1] == made.split(",")[1], (
        "the grammar has changed: run `python -m lickwright.notation.write_parser_tables`"
    )


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"made_from": "lark 0.1"}'])
def test_tables_that_do_not_fit_are_passed_over(tmp_path, damage: str) -> None:
    (tmp_path / parser_tables.NAME).write_text(damage)
    assert parser_tables.load_parser(str(tmp_path), syntax.grammar_text(), syntax.Brackets()) is None
    assert parser_tables.load_parser(str(tmp_path / "nowhere"), syntax.grammar_text(), syntax.Brackets()) is None


def test_built_and_kept_parser_agree() -> None:
    texts = [path.read_text("utf-8") for path in Path(__file__).parents[1].glob("samples/**/*.lick")]
    assert len(texts) > 10
    built = syntax.built()
    for text in texts:
        assert built.parse(text) == syntax.parser().parse(text)


def test_the_grammar_has_no_conflicts() -> None:
    # strict mode needs interegular for terminals; the parser's own conflicts fail without it
    Lark(syntax.grammar_text(), parser="lalr", lexer="contextual", postlex=syntax.Brackets())


def test_everything_the_grammar_names_in_music_is_built() -> None:
    used = {symbol.name for rule in syntax.parser().rules for symbol in rule.expansion if symbol.is_term}
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
