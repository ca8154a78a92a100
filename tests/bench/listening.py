"""How well a recording is heard: takes with known mistakes, the goal beside each figure.

    python tests/bench/listening.py [SET ...] [TAKES [FIRST]] [--said]

TAKES are made of each set (default 100), all sets unless some are named. On `tuning` the limits of the ear were chosen; `held-out` has other licks,
guitars and seeds. The takes of `fonts` and `fonts-again` are played by a synthesizer, in computed rooms; those of `lessons` and `lessons-held-out` have
licks, guitars, players, slips and devices of their own; `gestures` and `gestures-held-out` are of bends, vibrato and double stops. Of a set that ends in
`held-out` only the figures are to be looked at. `--said` lists every miss and every false word. Fetches recorded strings when it first runs; a set whose
recordings or programs are not there is left out, with the reason.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "listening"))

from guitar_strings import Unavailable  # noqa: E402
from scoring import Tally, rows, tally_cases  # noqa: E402
from sets import NAMES, cases  # noqa: E402


def main() -> None:
    numbers = [*(int(word) for word in sys.argv[1:] if word.isdigit()), 100, 0]
    count, first = numbers[:2] if len(numbers) > 3 else (numbers[0], 0)
    tallies: dict[str, Tally] = {}
    for name in [name for name in NAMES if name in sys.argv] or NAMES:
        try:
            tallies[name] = tally_cases(cases(name, count, first))
        except Unavailable as e:
            print(f"{name} is left out: {e}")
    print(f"{'figure':52} {'goal':12} " + " ".join(f"{name:28}" for name in tallies))
    for lines in zip(*map(rows, tallies.values()), strict=True):
        print(f"{lines[0][0]:52} {lines[0][2]:12} " + " ".join(f"{line[1]:28}" for line in lines))
    if "--said" in sys.argv:
        for tally in tallies.values():
            print(*tally.said, sep="\n")


if __name__ == "__main__":
    main()
