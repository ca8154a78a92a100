"""Write the kept file of rules: `python -m lickwright.compiler.write_rules`, after each change of a rule."""

from __future__ import annotations

from lickwright.compiler.rules import all_rules
from lickwright.core.kept_rules import PATH, rules_text

if __name__ == "__main__":
    with open(PATH, "w", encoding="utf-8") as out:
        out.write(rules_text(all_rules()))
