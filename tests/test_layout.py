"""The grid: which columns a bar gets, what stands in them, what is counted below and said above."""

from __future__ import annotations

from fractions import Fraction

import pytest

from lickwright.core.source import Source
from lickwright.layout.columns import held_cells, lay_out_bars
from lickwright.layout.grid import Column, Grid, GridRow
from lickwright.layout.tab_marks import EVENT_ABOVE, bend_amount, cell_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.techniques import EVENT_WORDS
from lickwright.timeline.build import build_timeline


def grid_of(music: str, *fields: str) -> Grid:
    source = Source("-", "\n".join(("step 1/8", *fields, 'lick "t"', music)))
    book, written = parse_source(source)
    timeline, counted = build_timeline(book.licks[0], book, source)
    assert timeline is not None
    assert not [d for d in (*written, *counted) if d.severity == "error"]
    return lay_out_bars(timeline)


def bar(grid: Grid, index: int) -> list[Column]:
    drawn = grid.bars[index]
    return list(grid.columns[drawn.first : drawn.last])


def said(grid: Grid, index: int = 0) -> str:
    return " ".join(f"({c.said})" if c.silent else c.said or "'" for c in bar(grid, index))


def marks(grid: Grid, index: int = 0) -> list[str]:
    """Column by column what is on its strings, `.` where nothing is."""
    return ["&".join(cell_text(cell) for cell in c.cells) or "." for c in bar(grid, index)]


def over(grid: Grid, row: GridRow) -> list[tuple[str, int, int]]:
    return [(above.text, above.first, above.last) for above in grid.above if above.row is row]


@pytest.mark.parametrize(
    ("music", "fields", "counted"),
    [
        ("| e5 e5 e5 e5 e5 e5 e5 e5 ||", (), "1 & 2 & 3 & 4 &"),
        ("| e5------- ||", (), "1 2 3 4"),
        ("| e5-- e5 . e5 .. ||", (), "1 2 & (3) & (4)"),
        ("| e5 .. e5---- ||", (), "1 (&) (2) & 3 4"),
        ("| 1/16 e5 e5 e5 e5 1/4 e5 e5 e5 ||", (), "1 e & a 2 3 4"),
        ("| 3[e5 e5 e5] 3[e5 - e5] e5--- ||", (), "1 trip let 2 let 3 4"),
        ("| 6[1/16 e5 - - - e5 e5] e5----- ||", (), "1 & trip let 2 3 4"),
        ("| 1/32 e5 1/16. e5 1/8 e5 e5----- ||", (), "1 . e . & 2 3 4"),
        ("| 1/16 5:4[e5 e5 e5 e5 e5] 1/4 e5 e5 e5 ||", (), "1* 2 3 4 5 2 3 4"),
        ("| e5 e5 e5 e5 e5 e5 ||", ("meter 6/8",), "1 & a 2 & a"),
        ("| e5 e5 e5 e5 e5 e5 e5 ||", ("meter 7/8 2+2+3",), "1 2 |1 2 |1 2 3"),
        ("| e5 e5 | e5------- ||", ("pickup 1/4",), "4 &"),
    ],
)
def test_counts(music: str, fields: tuple[str, ...], counted: str) -> None:
    assert said(grid_of(music, *fields)) == counted


def test_a_release_stands_in_the_column_of_its_hold() -> None:
    grid = grid_of("| B8^10 -r p5----- ||")
    assert marks(grid)[:4] == ["8b10", "r8", "p5", "."]
    assert [c.at for c in bar(grid, 0)[:3]] == [0, grid.timeline.grain // 8, grid.timeline.grain // 4]


def test_a_release_over_the_bar_line_stands_in_the_next_bar() -> None:
    grid = grid_of("| e5---- B8^10-- | -r----- - ||")
    assert marks(grid, 1)[:2] == [".", "r8"] or marks(grid, 1)[0] == "r8"
    assert "r8" not in marks(grid, 0)


def test_marks_are_made_from_the_table() -> None:
    grid = grid_of("| G5h7 G7/ \\D5 Dx G<12> D5<17> G7? ||")
    assert marks(grid) == ["5", "h7", "7/", "\\5", "x", "<12>", "5<17>", "(7)"]


@pytest.mark.parametrize(
    ("bend", "mark", "amount"),
    [
        ("^full", "8b10", "full"),
        ("^9", "8b9", "1/2"),
        ("^11", "8b11", "1 1/2"),
        ("^12", "8b12", "2"),
        ("^8.5", "8b", "1/4"),
        ("^", "8b", "1/4"),
        ("^9.5", "8b", "3/4"),
        ("^^10", "8pb10", "full"),
    ],
)
def test_bends_say_target_and_amount(bend: str, mark: str, amount: str) -> None:
    cell = bar(grid_of(f"| B8{bend}------- ||"), 0)[0].cells[0]
    assert (cell_text(cell), bend_amount(cell.shapes[0])) == (mark, amount)


def test_leads_have_columns_of_their_own() -> None:
    grid = grid_of("| (rake: D G B e8) (grace: G5h7) G9------ ||")
    assert [(c.lead, c.said) for c in bar(grid, 0)[:7]] == [
        (3, ""), (2, ""), (1, ""), (0, "1"), (2, ""), (1, ""), (0, "&"),
    ]  # fmt: skip
    assert marks(grid)[:7] == ["x", "x", "x", "8", "5", "h7", "9"]
    assert over(grid, GridRow.HOW) == [("rake", 0, 3), ("gr", 4, 5)]


def test_repeats_and_same_bars_are_drawn_once() -> None:
    grid = grid_of("|: B8^10 -r------ :|x3 % | e5------- ||")
    assert marks(grid, 0)[:2] == ["8b10", "r8"]
    assert [drawn.bar.same for drawn in grid.bars] == [False, True, False]
    assert marks(grid, 1) == ["."]
    assert [len(c.cells) for c in bar(grid, 0)[:2]] == [1, 1]


def test_endings_span_their_bars() -> None:
    grid = grid_of("|: e5------- | 1st e7------- | e8------- :| 2nd e5------- ||")
    assert over(grid, GridRow.ENDING) == [
        ("1.", grid.bars[1].first, grid.bars[2].last - 1),
        ("2.", grid.bars[3].first, grid.bars[3].last - 1),
    ]


def test_chords_stand_where_they_start_also_over_a_same_bar() -> None:
    grid = grid_of("| e5-- | e5------- | % ||", "chords A7 | D7 A7 | E7", "pickup 3/8")
    start = grid.bars[1].first
    assert over(grid, GridRow.CHORD)[:1] == [("A7", start, start)]
    drawn = grid.bars[2]
    assert over(grid, GridRow.CHORD)[1:] == [("D7", drawn.first, drawn.first), ("A7", drawn.first + 1, drawn.first + 1)]
    assert bar(grid, 2)[1].at == grid.timeline.grain // 2


def test_a_word_over_neighbours_is_one_span_and_lasts_as_long_as_its_note() -> None:
    grid = grid_of("| (pm: E0 E0) (pm: E0 E0) e5 (pm: E0) -- ||")
    assert over(grid, GridRow.HOW) == [("PM", 0, 3), ("PM", 5, 6)]


def test_a_trill_names_its_other_fret() -> None:
    grid = grid_of("| (trill: G5h7) --- e5--- ||")
    assert over(grid, GridRow.HOW) == [("tr(7)", 0, 1)]


def test_a_roll_is_said_of_the_stroke_alone() -> None:
    grid = grid_of("| (roll: E3&A2&D0)------- ||")
    assert [(above.text, above.lasts) for above in grid.above] == [("roll", False)]


def test_signs_fingers_and_directions_stand_over_their_notes() -> None:
    grid = grid_of("| @mf (up: e5!'1'i&B5'2) @\"let it hang\" @fermata - (down: e8,) @tempo=60 e5---- ||")
    assert over(grid, GridRow.ACCENT) == [(">", 0, 0), (".", 2, 2)]
    assert over(grid, GridRow.STROKE) == [("U", 0, 0), ("D", 2, 2)]
    assert over(grid, GridRow.FINGER) == [("1", 0, 0), ("2", 0, 0)]
    assert over(grid, GridRow.PLUCK) == [("i", 0, 0)]
    assert over(grid, GridRow.DYNAMIC) == [("mf", 0, 0)]
    assert over(grid, GridRow.WORDS) == [("let it hang", 1, 1)]
    assert over(grid, GridRow.TEMPO) == [("fermata", 1, 1), ("tempo 60", 3, 3)]


def test_a_string_stopped_alone_is_said_above() -> None:
    grid = grid_of("| E0=&e5 - e. - 1/16 . 1/8. E3&e5 e. -- ||")
    stops = [(text, grid.columns[first].said) for text, first, _ in over(grid, GridRow.HOW) if text.startswith("stop")]
    assert stops == [("stop e", "2"), ("stop e", "4")]


def test_every_bar_has_a_column() -> None:
    assert [len(bar(grid_of("| 1/1 e5 | 1/1 - | 1/1 . ||"), index)) for index in range(3)] == [4, 4, 4]


def test_tuplets_are_numbered() -> None:
    grid = grid_of("| 3[e5 e5 e5] 5:6[e5 e5 e5 e5 e5] ||")
    assert [text for text, _, _ in over(grid, GridRow.TUPLET)] == ["3", "5:6"]


def test_what_a_hold_carries_over_is_known_with_its_bend() -> None:
    grid = grid_of("| e5---- B8^10-- | ------- - ||")
    held = held_cells(grid, grid.bars[1].first)
    assert [(cell.string, cell.sound.fret, cell.shapes[0].amount) for cell in held] == [(2, 8, 2.0)]


def test_what_only_rings_on_is_not_held() -> None:
    grid = grid_of("| e5=------- | B8------- ||")
    assert held_cells(grid, grid.bars[1].first) == ()


def test_a_named_hold_holds_its_own_string() -> None:
    grid = grid_of("| A0&e5------- | A-&e7------ - ||")
    assert [cell.string for cell in bar(grid, 1)[0].cells if cell.held] == [5]
    assert held_cells(grid, grid.bars[1].first) == ()  # it is shown there already


def held(grid: Grid) -> list[tuple[int, str, int]]:
    """What is shown in parentheses: written bar, count, string."""
    return [(c.bar, c.said, cell.string) for c in grid.columns for cell in c.cells if cell.held]


@pytest.mark.parametrize(
    ("music", "shown"),
    [
        ("| A7 - e8&A- - e5&A- - G7 - ||", [(0, "2", 5), (0, "3", 5)]),  # held under others
        ("| A7 - e8 - e5 - G7 - ||", []),  # let go
        ("| A7---- --- | -- G5- D7--- ||", [(1, "1", 5)]),  # over a bar line
        ("| A7 - - - G5 - - - ||", []),  # a plain hold is dashes
        ("| G5&B5 - Gh7 - D5 - - - ||", []),  # what is hammered ends only its own string
        ("| (ring: A0 D2 G2 B1 e0 B1 G2 D2) | A0------- ||", []),  # said by a span
        ("| A0= e5 e8 e5 - - - - | e8------- ||", []),  # said of the note
        ("| (ring: A0 D2) A-&G5 - - - - - ||", [(0, "2", 5)]),  # held past the span
        ("| B8^10 - e8&B- - e5&B- - G7 - ||", []),  # a bend has a line of its own
        ("| B8^10 -r e8&B- - e5 - G7 - ||", [(0, "2", 2)]),  # released, and held
        ("| Gx------- | - G5------ ||", []),  # a dead note does not sound on
    ],
)
def test_what_goes_on_is_shown_where_it_would_be_read_as_ended(music: str, shown: list[tuple[int, str, int]]) -> None:
    assert held(grid_of(music)) == shown


@pytest.mark.parametrize(
    ("music", "line"),
    [
        ("| B8^10 - e8&B- - e5&B- - G7 - ||", [("1", "3")]),
        ("| B8^10 - e8 - e5 - G7 - ||", []),
        ("| B8^10 - - - - - - - | - -r - - G7--- ||", [("1", "1")]),  # over a bar line
        ("| B8 -^10 e8&B- - B-r - G7 - ||", [("&", "2")]),  # until it is released
        ("| B8^10 -r9 e8&B- - G7--- ||", [("&", "2")]),  # released partly, and held there
        ("| e5&B8^10 - - - G7--- ||", []),
    ],
)
def test_a_bend_held_under_notes_or_over_a_bar_line_has_a_line(music: str, line: list[tuple[str, str]]) -> None:
    grid = grid_of(music)
    assert [(grid.columns[a].said, grid.columns[b].said) for _, a, b in over(grid, GridRow.BEND)] == line


@pytest.mark.parametrize(
    ("music", "stops"),
    [
        ("| A0&e5 - A- - - - - - ||", ["stop e at 2"]),  # the other is held, nothing is struck
        ("| e5&B5 - hB7 - - - - - ||", ["stop e at 2"]),  # looks connected, and is not
        ("| e5&B5 - Bh7 - - - - - ||", []),
        ("| A0=&e5 - B5 - - - - - ||", []),
    ],
)
def test_a_string_that_ends_unseen_is_said_to(music: str, stops: list[str]) -> None:
    grid = grid_of(music)
    assert [f"{text} at {grid.columns[a].said}" for text, a, _ in over(grid, GridRow.HOW) if "stop" in text] == stops


def test_a_ring_of_some_strings_names_them() -> None:
    rows = over(grid_of("| A0=&e5 - B5= e5= - - - - ||"), GridRow.HOW)
    assert rows == [("ring A", 0, 0), ("ring", 1, 2)]


def test_a_bar_that_begins_silent_once_and_sounding_once_is_no_rest() -> None:
    said_once = grid_of("| D5 . . . . . . . | - - - - A5 - - - ||")
    assert bar(said_once, 1)[0].silent
    said_twice = grid_of("| D5 . . . . . . . | - - - - A5 - - - | % ||")
    assert not bar(said_twice, 1)[0].silent


def test_every_kind_of_event_has_words() -> None:
    assert set(EVENT_ABOVE) == set(EVENT_WORDS)


def test_no_lick_is_too_odd_for_whole_grains() -> None:
    grid = grid_of("| 7:4[1/16 e5 e5 e5 e5 e5 e5 e5] 3[e5 3[1/16 e5 e5 e5] e5] 1/4 e5 e5 ||")
    ats = [Fraction(c.at, grid.timeline.grain) for c in bar(grid, 0) if c.cells]
    assert ats[:7] == [Fraction(k, 28) for k in range(7)]
    assert ats == sorted(ats)
