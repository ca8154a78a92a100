"""The parser's tables, made once and kept beside the grammar, since working them out anew at every start costs 30 ms.

`grammar/lick.parser.json` names the grammar and the Lark that it was made from; with any other it is passed over and the parser is built from
the grammar. `python -m lickwright.notation.write_parser_tables` writes it again after a change of the grammar; a test says when that is due.
"""

from __future__ import annotations

import json
import os
from hashlib import blake2b
from typing import Any

import lark
from lark import Lark
from lark.grammar import Rule
from lark.lexer import TerminalDef

NAME = "lick.parser.json"


def made_from(grammar: str) -> str:
    """What the tables depend on, in one line."""
    return f"lark {lark.__version__}, grammar {blake2b(grammar.encode(), digest_size=16).hexdigest()}"


def load_parser(folder: str, grammar: str, postlex: Any) -> Lark | None:
    """The parser from its kept tables; None where there are none that fit."""
    try:
        # JSON has only text for keys; states and references are numbers
        with open(os.path.join(folder, NAME), encoding="utf-8") as file:
            kept = json.load(file, object_hook=_number_keys)
    except (OSError, ValueError):
        return None
    if not isinstance(kept, dict) or kept.get("made_from") != made_from(grammar):
        return None
    parser: Lark = Lark.__new__(Lark)
    parser._load({"data": kept["data"], "memo": kept["memo"]}, postlex=postlex)
    return parser


def _number_keys(d: dict[str, Any]) -> dict[Any, Any]:
    numbers = next(iter(d), "").isdigit()  # all keys of a table are numbers, or none is
    return dict(zip(map(int, d), d.values(), strict=True)) if numbers else d


def dump(parser: Lark, grammar: str) -> str:
    """The tables as JSON."""
    data, memo = parser.memo_serialize([TerminalDef, Rule])
    data["options"].pop("postlex", None)
    return json.dumps(
        {"made_from": made_from(grammar), "data": data, "memo": memo}, separators=(",", ":"), sort_keys=True
    )
