"""What a player counts aloud, against tables written by hand from how a teacher says it."""

from __future__ import annotations

from math import lcm

import pytest

from lickwright.compiler import compile_text
from lickwright.export import LoweredLick, Options, timing
from lickwright.export.timing import timing_rows
from lickwright.layout.columns import lay_out_bars
from lickwright.music.rhythm import parse_meter
from lickwright.music.syllables import count_bar
from lickwright.timeline.model import Timeline


def timeline(music: str, *fields: str) -> Timeline:
    written = "\n".join((*fields, 'lick "t"', music))
    found = compile_text(written + "\n").licks[0]
    assert found.timeline is not None, found.findings
    return found.timeline


def row(lick: Timeline) -> str:
    """The count row of a tab, bar by bar."""
    grid = lay_out_bars(lick)
    return " / ".join(
        " ".join(f"({column.said})" if column.silent else column.said for column in grid.columns[bar.first : bar.last])
        for bar in grid.bars
    )


# What is written, and what is said at its columns.
SAID = {
    # straight values
    "| 1/1 A5 ||": "1 2 3 4",
    "| 1/4 A5 A5 A5 A5 ||": "1 2 3 4",
    "| 1/2 A5 A5 ||": "1 2 3 4",
    "| A5 A5 A5 A5 A5 A5 A5 A5 ||": "1 & 2 & 3 & 4 &",
    "| 1/16 A5 A5 A5 A5 A5 A5 A5 A5 1/2 A5 ||": "1 e & a 2 e & a 3 4",
    # figures of one beat
    "| 1/8 A5 1/16 A5 A5 1/8 A5 A5 1/2 A5 ||": "1 & a 2 & 3 4",  # gallop
    "| 1/16 A5 A5 1/8 A5 A5 A5 1/2 A5 ||": "1 e & 2 & 3 4",  # reverse gallop
    "| 1/8. A5 1/16 A5 1/8. A5 1/16 A5 1/2 A5 ||": "1 a 2 a 3 4",
    "| 1/16 A5 1/8. A5 1/16 A5 1/8. A5 1/2 A5 ||": "1 e 2 e 3 4",
    "| 1/16 A5 1/8 A5 1/16 A5 1/4 A5 1/2 A5 ||": "1 e a 2 3 4",
    # triplets
    "| 3[A5 A5 A5] 3[A5 A5 A5] 1/2 A5 ||": "1 trip let 2 trip let 3 4",
    "| 3[A5 - A5] 3[A5 A5 -] 1/2 A5 ||": "1 let 2 trip 3 4",
    "| 3[. A5 A5] 3[A5 . A5] 1/2 A5 ||": "(1) trip let 2 (trip) let 3 4",
    "| 3[1/4 A5 A5 A5] 1/2 A5 ||": "1 let 2 trip 3 4",  # over two beats
    "| 3[1/2 A5 A5 A5] ||": "1 2 trip 3 let 4",  # over four
    # sixteenth triplets and what they are mixed with
    "| 1/16 3[A5 A5 A5] A5 A5 1/4 A5 1/2 A5 ||": "1 trip let & a 2 3 4",
    "| 1/16 A5 A5 3[A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 e & trip let 2 3 4",
    "| 1/16 3[A5 A5 A5] 1/8 A5 1/4 A5 1/2 A5 ||": "1 trip let & 2 3 4",
    "| 1/8 A5 3[1/16 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 & trip let 2 3 4",
    "| 6[1/16 A5 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 trip let & trip let 2 3 4",
    "| 6[1/16 A5 - - - - A5] 1/4 A5 1/2 A5 ||": "1 & trip let 2 3 4",  # no "let" alone: it would be a triplet's
    "| 6[1/16 A5 A5 - - - -] 1/4 A5 1/2 A5 ||": "1 trip let & 2 3 4",
    "| 6[1/16 A5 - A5 - A5 -] 1/4 A5 1/2 A5 ||": "1 trip let 2 3 4",  # six on paper, three to the ear
    "| 3[A5 1/16 A5 A5 1/8 A5] 1/4 A5 1/2 A5 ||": "1 trip let & trip let 2 3 4",
    "| 3[1/16 A5 A5 A5] 3[1/16 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 trip let & trip let 2 3 4",
    # by number
    "| 5[1/16 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1* 2 3 4 5 2 3 4",
    "| 1/4 A5 A5 5[1/16 A5 A5 A5 A5 A5] 7[1/16 A5 A5 A5 A5 A5 A5 A5] ||": "1 2 3* 2 3 4 5 4* 2 3 4 5 6 7",
    "| 5[1/16 A5 - - A5 -] 1/4 A5 1/2 A5 ||": "1* 2 3 4 5 2 3 4",
    "| 5:4[A5 A5 A5 A5 A5] 1/2 A5 ||": "1* 2 3 4 5 2* 2 3 4 5 3 4",  # over two beats
    "| 5:4[1/32 A5 A5 A5 A5 A5] 1/16 A5 A5 1/4 A5 1/2 A5 ||": "1* 2 3 4 5 & a 2 3 4",
    "| 1/16 A5 A5 5:4[1/32 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 e &* 2 3 4 5 2 3 4",
    "| 9:8[1/32 A5 A5 A5 A5 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1 . . trip . . let . . 2 3 4",
    "| 3[A5 3[1/16 A5 A5 A5] A5] 1/4 A5 1/2 A5 ||": "1 . . trip . . let . . 2 3 4",
    "| 11:8[1/32 A5 A5 A5 A5 A5 A5 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1* 2 3 4 5 6 7 8 9 10 11 2 3 4",
    # thirty-seconds
    "| 1/32 A5 A5 A5 A5 A5 A5 A5 A5 1/4 A5 1/2 A5 ||": "1 . e . & . a . 2 3 4",
    "| 1/32 A5 A5 A5 A5 1/8 A5 1/4 A5 1/2 A5 ||": "1 . e . & 2 3 4",
    "| 1/16 A5 A5 1/32 A5 A5 A5 A5 1/4 A5 1/2 A5 ||": "1 e & . a . 2 3 4",
    "| 1/8 A5 1/16. A5 1/32 A5 1/4 A5 1/2 A5 ||": "1 & . a . 2 3 4",
    "| 3[1/16 A5 A5 A5] 1/32 A5 A5 A5 A5 1/4 A5 1/2 A5 ||": "1 trip let & . a . 2 3 4",
    # offbeats, rests, ties
    "| . A5 . A5 . A5 . A5 ||": "(1) & (2) & (3) & (4) &",
    "| 1/8 A5 1/4 A5 A5 A5 1/8 A5 ||": "1 & 2 & 3 & 4 &",
    "| 1/16 . A5 . A5 1/4 A5 1/2 A5 ||": "(1) e (&) a 2 3 4",
    "| A5 A5 A5 A5---- | - A5 A5 A5 A5--- ||": "1 & 2 & 3 4 / 1 & 2 & 3 4",
    "| .... A5 A5 A5 A5 ||": "(1) (2) 3 & 4 &",
}

FIELDS = {
    ("meter 3/4", "| A5 A5 A5 A5 A5 A5 ||"): "1 & 2 & 3 &",
    ("meter 5/4", "| 1/4 A5 A5 A5 A5 1/8 A5 A5 ||"): "1 2 3 4 5 &",
    ("meter 2/2", "| 1/4 A5 A5 A5 A5 ||"): "1 & 2 &",
    ("meter 2/2", "| 1/8 A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 e & a 2 e & a",
    ("meter 6/8", "| A5 A5 A5 A5 A5 A5 ||"): "1 & a 2 & a",
    ("meter 6/8", "| 1/4 A5 1/8 A5 1/4. A5 ||"): "1 a 2",
    ("meter 6/8", "| 1/16 A5 A5 A5 A5 A5 A5 1/4. A5 ||"): "1 . & . a . 2",
    ("meter 6/8", "| 1/8. A5 A5 1/4. A5 ||"): "1* 2 2",  # two in the place of three
    ("meter 6/8", "| 4:3[A5 A5 A5 A5] 1/4. A5 ||"): "1* 2 3 4 2",
    ("meter 6/8", "| 3[1/16 A5 A5 A5] 1/8 A5 A5 1/4. A5 ||"): "1 trip let & a 2",
    ("meter 9/8", "| A5 A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 & a 2 & a 3 & a",
    ("meter 12/8", "| A5 A5 A5 A5 A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 & a 2 & a 3 & a 4 & a",
    ("meter 3/8", "| A5 A5 A5 ||"): "1 2 3",
    ("meter 7/8 2+2+3", "| A5 A5 A5 A5 A5 A5 A5 ||"): "1 2 |1 2 |1 2 3",
    ("meter 7/8 2+2+3", "| 1/16 A5 A5 1/8 A5 A5 A5 A5 A5 A5 ||"): "1 & 2 |1 2 |1 2 3",
    ("meter 7/8 3+2+2", "| A5 A5 A5 A5 A5 A5 A5 ||"): "1 2 3 |1 2 |1 2",
    ("meter 5/4 3+2", "| A5 A5 A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 & 2 & 3 & |1 & 2 &",
    ("meter 8/8 3+3+2", "| A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 2 3 |1 2 3 |1 2",
    ("feel shuffle", "| A5 A5 A5 A5 A5 A5 A5 A5 ||"): "1 & 2 & 3 & 4 &",  # said as written, played long and short
    ("feel swing 1/16", "| 1/16 A5 A5 A5 A5 1/4 A5 1/2 A5 ||"): "1 e & a 2 3 4",
    ("pickup 1/8", "| A5 | A5------- ||"): "& / 1 2 3 4",
    ("pickup 3/8", "| A5 A5 A5 | A5------- ||"): "& 4 & / 1 2 3 4",
    ("pickup 1/4", "| 3[A5 A5 A5] | A5------- ||"): "4 trip let / 1 2 3 4",
}


@pytest.mark.parametrize("music", SAID)
def test_the_count_row_is_what_a_teacher_says(music: str) -> None:
    assert row(timeline(music)) == SAID[music]


@pytest.mark.parametrize(("field", "music"), FIELDS)
def test_every_meter_is_counted_its_own_way(field: str, music: str) -> None:
    assert row(timeline(music, field)) == FIELDS[field, music]


NAMES = {
    "| 1/16 3[A5 A5 A5] A5 A5 1/4 A5 1/2 A5 ||": "1, 1 trip, 1 let, 1 &, 1 a, 2, 3",
    "| 6[1/16 A5 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1, 1 trip, 1 let, 1 &, 1 & trip, 1 & let, 2, 3",
    "| 5[1/16 A5 A5 A5 A5 A5] 1/4 A5 1/2 A5 ||": "1, 1* 2, 1* 3, 1* 4, 1* 5, 2, 3",
    "| 1/32 A5 A5 A5 A5 A5 A5 A5 A5 1/4 A5 1/2 A5 ||": "1, 1 ., 1 e, 1 e ., 1 &, 1 & ., 1 a, 1 a ., 2, 3",
    "| 1/64 A5 A5 A5 A5 1/16 A5 1/8 A5 1/4 A5 1/2 A5 ||": "1, 1 ., 1 .., 1 ..., 1 e, 1 &, 2, 3",
}


@pytest.mark.parametrize("music", NAMES)
def test_the_timing_sheet_says_the_same(music: str) -> None:
    made = LoweredLick(timeline(music))
    assert ", ".join(row.count for row in timing_rows(made.timeline, made.performance(Options()))) == NAMES[music]
    assert timing.emit(made, Options()).data.decode().splitlines()[1].split(",")[2] == "1"


def test_groups_are_told_apart_where_a_count_stands_alone() -> None:
    made = LoweredLick(timeline("| A5 A5 A5 A5 A5 A5 A5 ||", "meter 7/8 2+2+3"))
    assert [row.count for row in timing_rows(made.timeline, made.performance(Options()))] == [
        "1 (group 1)", "2 (group 1)", "1 (group 2)", "2 (group 2)", "1 (group 3)", "2 (group 3)", "3 (group 3)",
    ]  # fmt: skip


@pytest.mark.parametrize("meter", ["4/4", "6/8", "2/2", "7/8 2+2+3", "3/4"])
@pytest.mark.parametrize("parts", range(1, 17))
def test_equal_parts_have_names_of_their_own(meter: str, parts: int) -> None:
    """Every instant of a beat in up to 16 parts is in the row once, and no two have the same name."""
    parsed = parse_meter(meter)
    whole = lcm(4 * parsed.unit * parts)
    step = int(parsed.beat * whole) // parts
    said = count_bar([n * step for n in range(parts + 1)], whole, parsed)
    assert list(said) == sorted(said)
    assert set(said) >= {n * step for n in range(parts + 1)}
    assert len({one.name for one in said.values()}) == len(said)


def test_what_is_too_fine_to_say_still_has_a_name() -> None:
    said = count_bar([0, 1], 4 * 17, parse_meter("4/4"))
    assert [(one.word, one.name) for one in said.values()] == [("1", "1"), (".", "1 +1/17")]
