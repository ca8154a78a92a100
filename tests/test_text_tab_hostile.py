"""Text that means harm, or is damaged beyond reading: a clear error or a lick, in bounded work and memory."""

from __future__ import annotations

import tracemalloc
from random import Random

import pytest

from effort import steps
from lickwright.core.source import MAX_BYTES
from lickwright.importers import import_source
from text_tab_corpus import tab_cases

LABELS = ("e", "B", "G", "D", "A", "E")
MOST_STEPS = 2_500_000  # lines of Python for the small ones here; two seconds are some ten times as much


def strings(body: str, times: int = 1) -> bytes:
    return ("".join(f"{label}|{body}|\n" for label in LABELS) + "\n").encode() * times


REFUSED = {
    "20 MB of dashes": b"-" * 20_000_000,
    "a line of 5 MB": b"e|" + b"-5-" * 1_700_000,
    "100,000 systems": strings("-5-", 100_000),
    "systems up to the limit": strings("-5-", 30_000)[:MAX_BYTES],
    "a long line": strings("5-" * 4000),
    "a bar full of frets": strings("5" * 1990),
    "zeros": b"\0" * 100_000,
    "lines without end": b"\n" * 200_000,
    "a picture": b"\x89PNG\r\n" + bytes(range(256)) * 100,
    "a book": b"{\\rtf1 hello}",
    "an archive": b"PK\x03\x04" + bytes(1000),
    "tags": b"<pre" * 10_000,
    "quotes": b"> " * 4000 + b"e|---5---|\n",
    "letters": b"x = hammer on, play twice, tuned to DADGBE\n" * 2000,
    "counts": b" 1 & 2 & 3 & 4 &\n" * 3000,
}  # fmt: skip
READ = {
    "shapes": strings("5" + "-b7-r5" * 20),
    "digits": strings("5" * 50),
    "bars": strings("5|" * 40),
    "brackets": strings("5" + "(((((" * 40),
    "rows above": (b"full 1/2 1 1/2 " * 10 + b"\n") * 40 + strings("5b-" * 20),
    "signs": strings("5" + "?&#-" * 40),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_tab_is_refused(name: str) -> None:
    found = import_source(REFUSED[name], "hostile.txt")
    assert not found.ok
    assert [d.code for d in found.findings] in (["L602"], ["L810"])
    assert found.findings[0].message
    assert found.findings[0].hint


@pytest.mark.parametrize("name", READ)
def test_work_is_bounded(name: str) -> None:
    count = steps(lambda: import_source(READ[name], "hostile.txt"))
    assert count < MOST_STEPS


def test_memory_is_bounded() -> None:
    tracemalloc.start()
    try:
        import_source(strings("-5-", 60), "hostile.txt")
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 8 << 20


def damaged(seed: int) -> bytes:
    """Return a tab of the corpus with a few bytes changed, lost, doubled or added."""
    chance = Random(seed)
    cases = [case for name in ("clean", "ragged", "damaged") for case in tab_cases(name)]
    data = bytearray(chance.choice(cases).data)
    for _ in range(chance.randrange(1, 20)):
        at = chance.randrange(len(data) + 1)
        kind = chance.randrange(4)
        if kind == 0:
            data[at : at + 1] = bytes([chance.randrange(256)])
        elif kind == 1:
            del data[at : at + chance.randrange(1, 9)]
        elif kind == 2:
            data[at:at] = bytes(chance.choice(b"-|5()<>hpb~/\\r*^v:x=1 \n") for _ in range(chance.randrange(1, 8)))
        else:
            data[at:at] = data[at // 2 : at // 2 + chance.randrange(100)]
    return bytes(data)


def assert_a_clear_end(data: bytes) -> None:
    found = import_source(data, "damaged.txt")
    assert found.ok or [d.code for d in found.findings] in (["L602"], ["L810"])
    for finding in found.findings:
        assert finding.message
        assert "\n" not in finding.message


def test_damaged_tabs_end_clearly() -> None:
    for seed in range(30):
        assert_a_clear_end(damaged(seed))
    chance = Random(7)
    for _ in range(8):
        assert_a_clear_end(chance.randbytes(300))
        assert_a_clear_end(bytes(chance.choice(b"-|0123456789hpbr/\\~xeBGDAE \n()<>") for _ in range(1500)))


@pytest.mark.slow
def test_many_damaged_tabs_end_clearly() -> None:
    for seed in range(1000, 6000):
        assert_a_clear_end(damaged(seed))
