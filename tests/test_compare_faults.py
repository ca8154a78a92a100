"""A comparison finds exactly what was put in, no more: every sample, every kind, one to five at a time."""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from pathlib import Path
from random import Random

import pytest

from compare_faults import KINDS, Expected, Make, Page, pages, plant
from lickwright.compare import Comparison, compare
from lickwright.compiler import compile_text

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
ENOUGH = 0.95  # of the cases of each kind, and of all mixed
FEWEST = 20  # cases of a kind, or the test would say nothing
ROUNDS = {"palm mute or stroke left out": 4, "bend size": 2}  # few licks have them


@lru_cache
def _pages() -> list[Page]:
    return [page for path in SAMPLES for page in pages(path.read_text("utf-8"))]


def _found(c: Comparison, expected: list[Expected]) -> bool:
    sure = Counter((kind, bar, beat) for kind, bar, beat, _ in expected)
    found = Counter((str(d.kind), d.place.bar, d.place.beat) for d in c.differences)
    amounts = {(kind, bar, beat): by for kind, bar, beat, by in expected if by is not None}
    right = all(amounts.get((str(d.kind), d.place.bar, d.place.beat), d.by) == d.by for d in c.differences)
    return found == sure and right and not c.said


def _case(page: Page, kinds: list[Make], count: int, chance: Random) -> bool | None:
    text, expected = plant(page, kinds, count, chance)
    if not expected:
        return None
    mine = compile_text(text).licks[0].timeline
    assert mine is not None
    return _found(compare(mine, page.timeline), expected)


def _measure(kinds: list[Make], seed: int, rounds: int = 1, most: int = 1_000) -> tuple[int, int]:
    """Cases where exactly the planted was found, and all cases, of which there are `most` at most, on pages far apart."""
    good = cases = 0
    of_each = sorted(enumerate(_pages() * rounds), key=lambda numbered: numbered[0] * 7 % 10)
    for n, page in of_each:
        chance = Random(seed * 10_000 + n)
        found = _case(page, kinds, chance.randint(1, 5), chance)
        if found is not None:
            good, cases = good + found, cases + 1
        if cases == most:
            break
    return good, cases


@pytest.mark.parametrize(("fewest", "most"), [(10, 10), pytest.param(FEWEST, 1_000, marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", KINDS)
def test_one_kind(name: str, fewest: int, most: int, capsys: pytest.CaptureFixture[str]) -> None:
    good, cases = _measure([KINDS[name]], list(KINDS).index(name), ROUNDS.get(name, 1), most)
    with capsys.disabled():
        print(f"\n  compare, {name}: exactly the planted in {good} of {cases} ({good / max(1, cases):.1%})")
    assert cases >= fewest
    assert good >= ENOUGH * cases


@pytest.mark.parametrize("most", [30, pytest.param(1_000, marks=pytest.mark.slow)])
def test_all_kinds_mixed(most: int, capsys: pytest.CaptureFixture[str]) -> None:
    good, cases = _measure(list(KINDS.values()), 99, most=most)
    with capsys.disabled():
        print(f"\n  compare, all kinds mixed: exactly the planted in {good} of {cases} ({good / max(1, cases):.1%})")
    assert good >= ENOUGH * cases
