"""Mistakes are found, each where it is, and nothing is found that is not there.

1 to 20 mistakes in every file of some hundred, of all kinds in `planting.py`; `pytest -s` shows the table. Below it, what planting has shown
to be wrong, each in its smallest form.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from good_licks import good_file
from harvest import Measured, measure, table, worries
from planting import MISTAKES, pieces, plant

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))
ROUNDS = 4  # through the samples
ELSEWHERE = {  # kinds whose place is not the piece that was changed, but the end of the bar, the line added, the other half
    "bar one short", "bar one long", "field twice", "first without second",
}  # fmt: skip


def planted(texts: Callable[[Random], str], seeds: range, name: str) -> Measured:
    """Everything planted in `texts`, measured."""
    measured = Measured()
    for seed in seeds:
        chance = Random(f"{name} {seed}")
        page, made = plant(texts(chance), chance, chance.randint(1, 20))
        measure(page, made, measured)
    print(f"\n{name}\n{table(measured)}")
    return measured


# --- the ground ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("files", [15, pytest.param(300, marks=pytest.mark.slow)])
def test_nothing_is_found_in_good_files(files: int) -> None:
    asked = 0
    for seed in range(files):
        text = good_file(Random(seed))
        found = worries(text)
        asked += sum(d.code == "L209" for d in found)
        assert [f"{d.code} {d.message}" for d in found if d.code != "L209"] == [], text
    assert asked <= files // 300, (
        "chance makes a leap to the other E string that looks like a slip, once in a thousand licks"
    )


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_are_taken_apart_without_loss(path: Path) -> None:
    text = path.read_text("utf-8")
    page = pieces(text)
    assert "".join(piece.text for piece in page) == text
    assert len({piece.bar for piece in page if piece.kind == "bar"}) >= 4


# --- planting --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("files", "of_a_kind"), [(60, 1), pytest.param(300, 5, marks=pytest.mark.slow)])
def test_mistakes_in_made_up_files(files: int, of_a_kind: int) -> None:
    measured = planted(good_file, range(files), "made-up files")
    assert measured.planted > 8 * files
    assert measured.found >= 0.98 * measured.planted
    assert len(measured.false) <= 0.01 * measured.findings, [(d.code, d.message, line) for d, line in measured.false]
    assert {mistake.name for mistake in MISTAKES} == set(measured.kinds)
    for name, tally in measured.kinds.items():
        assert tally.planted >= of_a_kind, name
        assert tally.found >= 0.8 * tally.planted, (name, tally.missed)
        assert name in ELSEWHERE or tally.exact >= 0.8 * tally.planted, name


def test_mistakes_in_the_samples() -> None:
    texts = [path.read_text("utf-8") for path in SAMPLES]
    measured = planted(lambda chance: chance.choice(texts), range(ROUNDS * len(texts)), "samples")
    assert measured.planted > 5 * ROUNDS * len(texts)
    assert measured.found >= 0.95 * measured.planted, [(n, t.missed) for n, t in measured.kinds.items() if t.missed]
    assert len(measured.false) <= 0.05 * measured.findings, [(d.code, d.message, line) for d, line in measured.false]


@pytest.mark.parametrize("files", [1, pytest.param(3, marks=pytest.mark.slow)])
@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.name)
def test_one_mistake_is_one_finding(mistake: object, files: int) -> None:
    """Alone in a file, it is found and nothing else is."""
    done = seed = 0
    while done < files and seed < 40:
        seed += 1
        chance = Random(seed)
        page, made = plant(good_file(chance), chance, 1, [mistake])  # type: ignore[list-item]
        if made:
            measured = Measured()
            measure(page, made, measured)
            text = "".join(piece.text for piece in page)
            assert measured.found == 1, (measured.kinds, text)
            assert [(d.code, d.message, line) for d, line in measured.false] == [], text
            done += 1
    assert done == files


# --- what planting has shown -----------------------------------------------------------------------------------------

KEY = "key A minor\nscale minor pentatonic\n"
ONE = KEY + 'lick "Gate"\n'
BAR = "e8 e5 B8 e5 G7 - - -"


def codes(text: str) -> list[str]:
    return [d.code for d in worries(text)]


@pytest.mark.parametrize(
    ("text", "right"),
    [
        # a value that cannot be read judges nothing
        (KEY + f'meter 4/5\nlick "Gate"\n| {BAR} - |', ["L121"]),
        (KEY + f'step 8\nlick "Gate"\n| {BAR} - |', ["L121"]),
        (KEY + f'meters 12/8\nlick "Gate"\n| {BAR} - - - - |', ["L120"]),
        (f'key A minor\nbox 1\nscale blooz\nlick "Gate"\n| {BAR} |\n| F8 |', ["L121", "L103"]),
        ('tuning dropped Q\nlick "Gate"\n| 7:0 - - - 7:3 - - - |', ["L121"]),
        # past a limit, nothing more is said of a note
        (ONE + "| e99 e5 B8 e5 G7 - - - |", ["L113"]),
        (ONE + "| 0:5 e5 B8 e5 G7 - - - |", ["L113"]),
        # an ending that cannot be read, and its other half
        (ONE + f"|: {BAR} |3rd {BAR} :|2nd {BAR} ||", ["L112"]),
        (ONE + f"|: {BAR} |1st {BAR} :| {BAR} ||", ["L146"]),
        # words left open take their bar, not the line
        (ONE + f'| e8 @"let it e5 | b8 {BAR[3:]} |', ["L106", "L103"]),
        (ONE + f"| e8 @“let it e5 | b8 {BAR[3:]} |", ["L106", "L103"]),
        (ONE + f'| @"first" {BAR} | @"second" {BAR} |', []),
        # a bend in steps
        (ONE + "| B8^1/2 e5 B8 e5 G7 - - - |", ["L101"]),
        (ONE + "| B8^10/13 B8 e5 G7 - - - |", []),
        # what belongs to a word left open is not known
        (ONE + f"| (grace: B5 B8 . {BAR[3:]} | {BAR} |", ["L106"]),
        # after a bar that could not be read, what stands for itself is judged
        (ONE + f"| b8 {BAR[3:]} | B8 . h10 - G7 - - - |", ["L103", "L451"]),
        (ONE + f"| b8 {BAR[3:]} | e5&B5 h8 - - G7 - - - |", ["L103", "L143"]),
        (ONE + f"| b8 {BAR[3:]} | B8 G - - G7 - - - |", ["L103", "L141"]),
        # an empty bar where a line begins
        (ONE + f"| {BAR} |\n| | {BAR} |", ["L147"]),
        (ONE + f"| {BAR} |\n| {BAR} | |\n| {BAR} ||", ["L147"]),
        (ONE + f"| {BAR} |\n\n# the second line\n| {BAR} ||", []),
    ],
)
def test_one_finding_each(text: str, right: list[str]) -> None:
    assert codes(text + "\n") == right


def test_an_empty_bar_is_shown_on_its_own_line() -> None:
    text = ONE + f"| {BAR} |\n| | {BAR} |\n"
    (found,) = worries(text)
    assert text.count("\n", 0, found.span.start) == text.count("\n", 0, text.index("| |"))


@pytest.mark.parametrize(
    ("run", "caret", "hint"),
    [
        ("A12s9", "s", "write `A12\\9`"),
        ("A5s9", "s", "write `A5/9`"),
        ("*A12", "*", "write `A12*`"),
        ("A12>", ">", "a harmonic there is `A<12>`"),
        ("A<12", "<", "a harmonic there is `A<12>`"),
        ("e5<17", "<", "a harmonic there is `e5<17>`"),
        ("B8^1½", "1½", "1.5 whole steps above 8 is `^11`"),
        ("B8^1/2", "1/2", "write `^half`"),
        ("B8^1/4", "1/4", "write `^quarter`"),
        ("8B", "8B", "string first: `B8`"),
        ("B8b10", "b", "write `B8^10`"),
        ("d7", "d", "write `D7`"),
    ],
)
def test_help_is_for_this_very_input(run: str, caret: str, hint: str) -> None:
    text = ONE + f"| e8 {run} B5 e5 G7 - - - |\n"
    (found,) = worries(text)
    assert text[found.span.start : found.span.end] == caret
    assert found.hint == hint
