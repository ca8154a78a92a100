"""Write the parser's tables beside the grammar: `python -m lickwright.notation.write_parser_tables`, after each change of the grammar."""

from __future__ import annotations

import os

from lickwright.notation.parser_tables import NAME, lark_tables, tables_text
from lickwright.notation.syntax import grammar_folder, grammar_text, lark_parser

if __name__ == "__main__":
    with open(os.path.join(grammar_folder(), NAME), "w", encoding="utf-8") as out:
        out.write(tables_text(lark_tables(lark_parser()), grammar_text()))
