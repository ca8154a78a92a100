"""Whatever bytes a file holds, the end is findings: no bug of ours, and no character that steers a screen."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from lickwright.compiler import compile_bytes
from lickwright.export import EXPORTS
from lickwright.report import console

SAMPLES = sorted((Path(__file__).parent.parent / "samples").rglob("*.lick"))
MUSIC = 'lick "a"\n| '

# Each once ended a run; kept for ever.
FOUND = {
    "a word in quotes that never end": 'lick\n|"(swell',
    "a title whose last quote is escaped": 'lick "\\"',
    "a colon after a bend": 'lick "a"\n| B8^1: e5 |\n',
}

SHAPES = {
    "openers": MUSIC + "3[" * 20_000,
    "words opened": MUSIC + "(pm: " * 10_000,
    "closers": MUSIC + "])" * 5_000,
    "crossed brackets": MUSIC + "[)" * 5_000,
    "no sign": "@\n" * 20_000,
    "one long word": "x" * 60_000,
    "licks past the limit": 'lick "a"\n' * 10_001,
    "one bar": MUSIC + "e5 " * 9_000,
    "repeats": MUSIC + "|: e5 " * 2_000 + ":|x99 " * 2_000,
    "repeats of repeats": MUSIC + "|: e5 :|x99 " * 3_000,
    "a long hold": MUSIC + "e5" + "-" * 60_000,
    "a long rest": MUSIC + "." * 60_000,
    "digits": MUSIC + "e" + "9" * 60_000,
    "tempo in digits": "tempo " + "9" * 6_000 + "\n" + MUSIC + "e5 |",
    "quotes": 'lick "' + '"' * 60_000,
    "escapes": 'lick "' + '\\"' * 30_000,
    "joins": MUSIC + "e5" + "h7p5" * 5_000,
    "shapes": MUSIC + "e5" + "^7r" * 5_000,
    "combining marks": MUSIC + "e" + "\u0301" * 30_000,
    "tabs": MUSIC + "\t" * 60_000,
    "carriage returns": "\r" * 60_000,
    "nulls": "\0" * 20_000,
    "joined for ever": MUSIC + "e5&" * 10_000,
    "meant for ever": 'lick "a"\n' + 'meant L303 "x"\n' * 5_000 + "| e5 |",
    "every byte": "".join(map(chr, range(256))) * 200,
    "every format character": MUSIC + "".join(map(chr, [*range(0x2000, 0x2070), 0xFEFF, 0xE0001])) * 100,
}


def _whole(text: str | bytes) -> str:
    """Everything that a user could see of a text; raises whatever would be a bug."""
    compilation = compile_bytes(text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass"), "a.lick")
    seen = console.format_findings(compilation.source, compilation.diagnostics)
    for lick in compilation.licks[:20]:
        if lick.ok:
            seen += "".join(
                str(len(lick.emit(row.name).data)) for row in EXPORTS if not row.is_audio
            )  # sound: test_audio
        else:
            assert lick.diagnostics, "refused without a word"
    return seen


@pytest.mark.parametrize("text", FOUND.values(), ids=FOUND)
def test_what_was_found_once(text: str) -> None:
    assert _whole(text)


@pytest.mark.parametrize("text", SHAPES.values(), ids=SHAPES)
def test_shapes_that_break_programs(text: str) -> None:
    seen = _whole(text)
    assert seen
    assert console.safe_text(seen.replace("\n", " ")) == seen.replace("\n", " ")


@pytest.mark.parametrize("seed", range(20))
def test_random_bytes(seed: int) -> None:
    assert _whole(random.Random(seed).randbytes(2_000))


@pytest.mark.parametrize(
    ("path", "times"),
    [
        *((path, 1) for path in SAMPLES[::2]),
        *(pytest.param(path, 12, marks=pytest.mark.slow) for path in SAMPLES),
    ],
    ids=lambda value: value.stem if isinstance(value, Path) else None,
)
def test_samples_with_slips_of_the_hand(path: Path, times: int) -> None:
    """Letters left out, doubled, put in or swapped: the licks that nobody touched must still come out."""
    text, chance = path.read_text("utf-8"), random.Random(path.stem)
    for _ in range(times):
        slipped = text
        for _ in range(chance.choice((1, 2, 5))):
            at, length = chance.randrange(len(slipped)), chance.choice((1, 1, 2, 8))
            put = chance.choice(
                ["", slipped[at : at + length] * 2, chance.choice("|-.:()[]&^r~/\\hpt<>\"'#%x059 \nEe")]
            )
            slipped = slipped[:at] + put + slipped[at + length :]
        _whole(slipped)


@pytest.mark.parametrize("step", [61, pytest.param(7, marks=pytest.mark.slow)])
def test_prefixes_of_a_sample(step: int) -> None:
    text = SAMPLES[0].read_text("utf-8")
    assert len(text) > 200
    for end in range(0, min(len(text), 900), step):
        _whole(text[:end])
