"""What pupils do in a lesson is found, said in the lines expected and no others, and costs what it should."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from pathlib import Path
from random import Random

import pytest

from compare_faults import Page, pages
from compare_mistakes import MISTAKES, Make, Mistake
from lickwright.compare import Comparison, compare
from lickwright.compare.score import WHOLE
from lickwright.compare.wording import difference_sentence
from lickwright.compiler import compile_text

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
A_LICK = 4  # places tried in a lick
ENOUGH = 0.95  # of the expected lines found, and no more false ones than the rest
FEWEST = {"late in the first bar": 2, "three notes dragged, the rest late": 2, "late from first to last": 3}

# Phrases of our own, for what few samples have a place for.
MORE = """key A minor
lick "Low gate"
| A5 A7 D5 D7 G5 G7 B5 - | e5 B8 B5 G7 G5 D7 D5 . | A7 A5 D7 D5 G7 G5 B8 - ||

lick "High gate"
| e8 e5 B8 B5 G7 G5 D7 . | D5 D7 G5 G7 B5 B8 e5 - | e8 B8 e5 B5 B8 G7 B5 . ||

lick "Ladder"
step 1/16
| e8 e5 B8 e5 B8 B5 G7 B5 G7 G5 D7 G5 D7 D5 A7 - | D5 A7 A5 D5 D7 G5 D7 G5 G7 B5 G7 B5 B8 e5 e8 . ||

lick "Pushed"
| G7^9 B5 B8^10 - e5 G7^9 - . | B8^full e5 e8^10 . G7^half G5 D7 - | e5&B8^full - - - G5&B5 - e5&B5 - ||

lick "Waltz in pairs"
meter 3/4
| B5&e5 - G7&B8 - G5&B5 - | e8&B8 - B8 e5 G7 B5 | D7&G7 - - e5 B8 - ||
"""


@lru_cache
def _pages() -> list[Page]:
    return [page for path in SAMPLES for page in pages(path.read_text("utf-8"))] + pages(MORE)


def _made(page: Page, make: Make, chance: Random) -> list[tuple[Mistake, Comparison]]:
    """Return the mistake made at up to `A_LICK` places of a lick, each in a copy of its own, compared."""
    order = list(range(len(page.events)))
    chance.shuffle(order)
    found: list[tuple[Mistake, Comparison]] = []
    seen: set[str] = set()
    for n in order:
        mistake = make(page, n, chance)
        if mistake is None:
            continue
        text = page.text([mistake.fault])
        (lick,) = compile_text(text).licks
        if lick.ok and lick.timeline is not None and text not in seen:
            found.append((mistake, compare(lick.timeline, page.timeline)))
        seen.add(text)
        if len(found) == A_LICK:
            break
    return found


def _judged(mistake: Mistake, c: Comparison) -> tuple[int, list[str]]:
    """Return how many of the expected lines are there, and the false lines."""
    wanted = Counter(mistake.lines)
    false = []
    for n, d in enumerate(c.differences):
        line = (str(d.kind), d.place.bar, d.place.beat, d.by)
        line = line if wanted[line] else (*line[:3], None)
        if wanted[line] and (n or mistake.about in ("", d.about)):
            wanted[line] -= 1
        else:
            false.append(f"{d.place.bar} {d.place.beat}: {difference_sentence(c.mine, c.theirs, d)}")
    return len(mistake.lines) - wanted.total(), [*false, *(said.words for said in c.said)]


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_is_said_once_and_costs_what_it_should(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    made = [one for n, page in enumerate(_pages()) for one in _made(page, MISTAKES[name], Random(n))]
    lines = found = dear = 0
    false: list[str] = []
    for mistake, c in made:
        there, wrong = _judged(mistake, c)
        lines, found, false = lines + len(mistake.lines), found + there, false + wrong
        lost = c.score.possible - c.score.points
        least = 2 * mistake.displaced + (WHOLE - 2) * mistake.wrong + mistake.other
        most = 2 * mistake.displaced + WHOLE * mistake.wrong + 2 * mistake.other
        dear += not least <= lost <= most
    with capsys.disabled():
        print(
            f"\n  compare, {name}: {found} of {lines} lines, {len(false)} false ones, in {len(made)} licks; {dear} scores off"
        )
        for words in false[:6]:
            print("     ", words)
    assert len(made) >= FEWEST.get(name, 10)
    assert found >= ENOUGH * lines
    assert len(false) <= (1 - ENOUGH) * lines
    assert dear <= (1 - ENOUGH) * len(made)
