"""Write the parser's tables beside the grammar: `python -m lickwright.notation.write_parser_tables`, after each change of the grammar."""

from __future__ import annotations

import os

from lickwright.notation.parser_tables import NAME, dump
from lickwright.notation.syntax import built, grammar_folder, grammar_text

if __name__ == "__main__":
    with open(os.path.join(grammar_folder(), NAME), "w", encoding="utf-8") as out:
        out.write(dump(built(), grammar_text()) + "\n")
