"""How well a recording is heard: takes with known mistakes, the goal beside each figure.

    python tests/bench/listening.py [TAKES] [--said]

TAKES are made of each set (default 200): the tuning set, on which the limits of the ear were chosen, and the held-out one, with other licks, guitars and
seeds. `--said` lists every miss and every false word. Fetches recorded strings when it first runs.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "listening"))

from corpus import SETS, cases  # noqa: E402
from guitar_strings import Unavailable  # noqa: E402
from scoring import rows, tally_cases  # noqa: E402


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    count, names = (numbers or [200])[0], [name for name in SETS if name in sys.argv] or list(SETS)
    try:
        tallies = [tally_cases(cases(name, count, (numbers + [0, 0])[1])) for name in names]
    except Unavailable as e:
        sys.exit(str(e))
    print(f"{'figure':52} {'goal':12} " + " ".join(f"{name:28}" for name in names))
    for lines in zip(*map(rows, tallies), strict=True):
        print(f"{lines[0][0]:52} {lines[0][2]:12} " + " ".join(f"{line[1]:28}" for line in lines))
    if "--said" in sys.argv:
        for tally in tallies:
            print(*tally.said, sep="\n")


if __name__ == "__main__":
    main()
