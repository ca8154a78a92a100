"""The parser's tables: made by Lark from the grammar, kept beside it as JSON, read without Lark.

`grammar/lick.parser.json` holds the terminals' expressions in Lark's order, the rules, and for each state of the parser its actions and the
terminals that its lexer looks for. Working them out takes Lark 40 ms at every start. The file's first line holds a checksum of the grammar that
it was made from and of all that follows; a file of another grammar, or a damaged one, is passed over and Lark is asked.
`python -m lickwright.notation.write_parser_tables` writes it again after a change of the grammar.
"""

from __future__ import annotations

import json
import os
import re
from binascii import crc32
from collections.abc import Callable, Collection, Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from lark import Lark

NAME = "lick.parser.json"
END = "$END"
Match = Callable[[str, int], "re.Match[str] | None"]


class ParserRule(NamedTuple):
    """What a reduction does: `size` values become one list of children."""

    origin: str
    size: int
    is_inlined: bool  # its children go into the rule that holds it, and no node is made
    spliced: tuple[int, ...]  # which of its values are children of an inlined rule


class State(NamedTuple):
    """A state of the parser."""

    match: Match  # finds the token at an offset by the terminals that may stand here
    actions: dict[str, int]  # by symbol: the state that follows it, or -1 - n to reduce by rule n
    only: int  # the one reduction that it has, whatever follows; 0 where there is a choice
    appends: dict[
        str, Match
    ]  # terminals that only make the list on top of the stack longer, and what then finds the next token


class ParserTables(NamedTuple):
    """Everything that drives the parser."""

    terminals: dict[str, str]  # name to expression, in the order in which the lexer tries them
    ignored: Match  # what stands between tokens
    rules: list[ParserRule]
    states: list[State]
    end: int  # the state in which the text has been read whole


def load_tables(folder: str, grammar: str) -> ParserTables | None:
    """Return the tables kept in `folder`; None where there are none, none of this grammar, or damaged ones."""
    try:
        with open(os.path.join(folder, NAME), encoding="utf-8") as file:
            first, rest = file.readline(), file.read()
    except (OSError, ValueError):
        return None
    # One wrong digit would give wrong trees without a word, and a damaged expression any error.
    return read_tables(json.loads(first + rest)) if first == _first_line(grammar, rest) else None


def tables_text(kept: dict[str, Any], grammar: str) -> str:
    """Return what the file of these tables of `grammar` holds."""
    rest = json.dumps(kept, separators=(",", ":"))[1:] + "\n"
    return _first_line(grammar, rest) + rest


def _first_line(grammar: str, rest: str) -> str:
    """Return the first line of a file that goes on with `rest`: it tells one grammar from another, and damage."""
    return f'{{"checksum":"{len(grammar)}-{crc32((grammar + rest).encode()):08x}",\n'


def read_tables(kept: dict[str, Any]) -> ParserTables:
    """Return tables as `lark_tables` gives them, ready to use."""
    terminals: dict[str, str] = kept["terminals"]
    rules = [ParserRule(origin, size, inlined, tuple(spliced)) for origin, size, inlined, spliced in kept["rules"]]
    ignored = f"{kept['ignored']}*+"  # a set of characters
    choices = ("|".join(f"(?P<{name}>{terminals[name]})" for name in names) for names in kept["lexers"])
    matches = [re.compile(f"{ignored}(?:{choice})").match for choice in choices]
    states = [State(matches[lexer], actions, _only(actions), {}) for lexer, actions in kept["states"]]
    for state, terminal in _appending(states, rules):
        state.appends[terminal] = states[state.actions[terminal]].match
    return ParserTables(terminals, re.compile(ignored).match, rules, states, kept["end"])


def _only(actions: dict[str, int]) -> int:
    different = set(actions.values())
    return min(0, different.pop()) if len(different) == 1 else 0


def _appending(states: list[State], rules: list[ParserRule]) -> Iterator[tuple[State, str]]:
    """Yield the states with a list on top, and the terminals that make it longer, whatever follows them.

    Lark writes `x*` as `list: list x`. In a state that is entered by `list`, the shift of `x` is followed by a reduction by that rule, which
    leads back to the same state.
    """
    entered_by = {target: symbol for state in states for symbol, target in state.actions.items() if target >= 0}
    for number, state in enumerate(states):
        for terminal, target in state.actions.items():
            if target >= 0 and (reduction := states[target].only):
                rule = rules[-1 - reduction]
                if (rule.origin, rule.size, rule.spliced) == (entered_by.get(number), 2, (0,)):
                    yield state, terminal


def lark_tables(parser: Lark) -> dict[str, Any]:
    """Return the tables of a parser that Lark made, as plain values: always the same, whatever order Lark numbers states in.

    Raises `ValueError` where the grammar uses what this parser does not know: aliases, `?rule`, terminals left out of the tree, white space of
    more than one set of characters, or terminals that one expression cannot tell from another.
    """
    table = parser.parser.parser._parse_table
    order = _reached(table.states, table.start_states["start"])
    numbers = {state: n for n, state in enumerate(order)}
    rules = sorted(parser.rules, key=str)
    ignored = parser.parser.lexer_conf.ignore
    expressions = {terminal.name: terminal.pattern.to_regexp() for terminal in parser.terminals}
    names = [_terminals(parser.parser.lexer.lexer.lexers[state], ignored) for state in order]
    lexers = list(dict.fromkeys(names))

    def number(action: Any, target: Any) -> int:
        return numbers[target] if action.name == "Shift" else -1 - rules.index(target)

    actions = [{symbol: number(*action) for symbol, action in sorted(table.states[state].items())} for state in order]
    return {
        "terminals": {name: expression for name, expression in expressions.items() if name not in ignored},
        "ignored": _character_set([expressions[name] for name in ignored]),
        "lexers": [list(one) for one in lexers],
        "rules": [_rule(rule) for rule in rules],
        "states": [[lexers.index(one), action] for one, action in zip(names, actions, strict=True)],
        "end": numbers[table.end_states["start"]],
    }


def _terminals(lexer: Any, ignored: Collection[str]) -> tuple[str, ...]:
    """Return the terminals that a lexer looks for, in its order."""
    if len(lexer.scanner._mres) != 1 or lexer.callback:
        raise ValueError("two terminals of the grammar match the same text")
    return tuple(terminal.name for terminal in lexer.scanner.terminals if terminal.name not in ignored)


def _character_set(patterns: list[str]) -> str:
    """Return the set of characters that one pattern repeats: white space before a token is then matched at no cost."""
    found = re.fullmatch(r"(\[[^\[\]]+\])\+", patterns[0]) if len(patterns) == 1 else None
    if found is None:
        raise ValueError("the grammar ignores more than characters of one set")
    return found[1]


def _reached(states: dict[Any, dict[str, Any]], start: Any) -> list[Any]:
    """Return Lark's states in the order in which they are reached from the first."""
    order = [start]
    for state in order:
        for _, (action, target) in sorted(states[state].items(), key=lambda item: item[0]):
            if action.name == "Shift" and target not in order:
                order.append(target)
    return order


def _rule(rule: Any) -> list[Any]:
    options = rule.options
    left_out = any(symbol.is_term and symbol.filter_out for symbol in rule.expansion)
    if any((rule.alias, options.expand1, options.keep_all_tokens, *options.empty_indices, left_out)):
        raise ValueError(f"the parser does not know how to build {rule}")
    spliced = [n for n, symbol in enumerate(rule.expansion) if not symbol.is_term and symbol.name.startswith("_")]
    return [rule.origin.name, len(rule.expansion), rule.origin.name.startswith("_"), spliced]
