"""Engraved music: everything is drawn once, nothing touches what it should not, systems fill the width, and the SVG says again what was drawn."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache
from itertools import combinations
from pathlib import Path
from random import Random
from typing import NamedTuple

import pytest

from good_licks import good_file
from lickwright.compiler import compile_file, compile_text
from lickwright.engraving import stops
from lickwright.engraving.display_list import Extent, Item, ItemGroup, Text, extent, groups
from lickwright.engraving.display_list import Path as Drawn
from lickwright.engraving.engrave import EngravedMusic, EngravingOptions, System, engrave
from lickwright.engraving.note_values import bar_rhythm
from lickwright.engraving.split_values import beat_grid, split_values
from lickwright.engraving.staff_positions import clef_of, signature_steps, staff_notes
from lickwright.engraving.staff_voices import StaffVoice, two_voices
from lickwright.engraving.stops import bars_of_stops
from lickwright.engraving.svg import music_svg
from lickwright.export.sheet.legend import legend_of
from lickwright.layout.grid import Grid
from lickwright.music.chord import parse_chord
from lickwright.music.rhythm import parse_meter
from made_licks import made_lick
from read_svg import read_systems
from shares import every_nth

SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))
WIDTH = 495.0
# Groups whose text or sign is a body of its own: no two of them may touch.
PATHS = {"rest", "vibrato", "navigation", "accent", "stroke", "tempo", "as-before"}
SLACK = 0.35  # points of overlap that nobody sees


def overlap(one: Extent, other: Extent) -> bool:
    """Whether two boxes have more in common than an edge of `SLACK` points."""
    across = one.left < other.right - SLACK and other.left < one.right - SLACK
    return across and one.top < other.bottom - SLACK and other.top < one.bottom - SLACK


def grid_of(text: str) -> Grid | None:
    (lick,) = compile_text(text).licks
    return lick.lowered.grid() if lick.lowered is not None else None


@cache
def sample_grids() -> tuple[tuple[str, Grid], ...]:
    licks = [lick for path in SAMPLES for lick in compile_file(path).licks]
    assert all(lick.lowered is not None for lick in licks)
    return tuple((lick.title, lick.lowered.grid()) for lick in licks if lick.lowered is not None)


DRAWN: dict[tuple[int, float, EngravingOptions], tuple[Grid, EngravedMusic]] = {}


def music_of(grid: Grid, width: float, options: EngravingOptions) -> EngravedMusic:
    """The engraved music of a grid that several tests look at: drawn once."""
    key = id(grid), width, options
    if key not in DRAWN:
        DRAWN[key] = grid, engrave(grid, width, options)  # the grid is kept, so that no other one gets its number
    return DRAWN[key][1]


BOXES: dict[int, tuple[System, list[tuple[ItemGroup, Extent]]]] = {}


def group_boxes(system: System) -> list[tuple[ItemGroup, Extent]]:
    """Every group of a system that several tests look at, with the box round it: worked out once."""
    if len(BOXES) > 500:  # those of the samples, several times
        BOXES.clear()
    if id(system) not in BOXES:
        BOXES[id(system)] = system, list(groups([system.group]))
    return BOXES[id(system)][1]


def engraved_samples(staff: bool) -> tuple[tuple[str, Grid, EngravedMusic], ...]:
    options = EngravingOptions(staff=staff)
    return tuple((name, grid, music_of(grid, WIDTH, options)) for name, grid in sample_grids())


def engraved_made(staff: bool) -> tuple[tuple[str, Grid, EngravedMusic], ...]:
    options = EngravingOptions(staff=staff)
    return tuple((name, grid, music_of(grid, WIDTH, options)) for name, grid in made_grids(24, 11))


@cache
def made_grids(count: int, seed: int) -> tuple[tuple[str, Grid], ...]:
    return tuple(_made_grids(count, seed))


def _made_grids(count: int, seed: int) -> Iterator[tuple[str, Grid]]:
    """Licks made up by chance: half in which notes last in every way, half with every common technique."""
    chance = Random(seed)
    made = 0
    while made < count:
        if made % 2:
            music, fields = made_lick(chance)
            texts = ['lick "Made"\n' + "\n".join(fields) + f"\nstep 1/8\n{music}\n"]
        else:
            texts = [good_file(chance)]
        for text in texts:
            for lick in compile_text(text).licks:
                if lick.lowered is not None and made < count:
                    made += 1
                    yield text, lick.lowered.grid()


# --- what is drawn ---------------------------------------------------------------------------------------------------


def bodies(items: Sequence[Item], role: str = "", x: float = 0.0, y: float = 0.0) -> Iterator[tuple[str, Extent, str]]:
    """Every text and sign with its role, the box round it, and what it says."""
    for item in items:
        if isinstance(item, ItemGroup):
            assert item.scale == 1
            if item.role in PATHS and not any(isinstance(one, Text) for one in item.items):
                box = extent(ItemGroup(item.items))
                yield (
                    item.role,
                    Extent(
                        box.left + x + item.x, box.top + y + item.y, box.right + x + item.x, box.bottom + y + item.y
                    ),
                    "",
                )
            else:
                yield from bodies(item.items, item.role or role, x + item.x, y + item.y)
        elif isinstance(item, Text):
            left = x + item.x - {"start": 0, "middle": 0.5, "end": 1}[item.anchor] * item.width
            top = y + item.y - 0.73 * item.size  # capitals and figures
            hangs = 0.22 if any(char in "gjpqy," for char in item.text) else 0.0
            yield role, Extent(left, top, left + item.width, y + item.y + hangs * item.size), item.text


def lines_of(
    items: Sequence[Item], roles: set[str], role: str = "", x: float = 0.0, y: float = 0.0
) -> Iterator[tuple[str, list[tuple[float, float]]]]:
    """Points along every stroke and curve of some roles."""
    for item in items:
        if isinstance(item, ItemGroup):
            yield from lines_of(item.items, roles, item.role or role, x + item.x, y + item.y)
        elif isinstance(item, Drawn) and role in roles:
            yield role, [(x + a, y + b) for a, b in points(item)]


def points(path: Drawn) -> Iterator[tuple[float, float]]:
    at = (0.0, 0.0)
    for sign, *numbers in path.commands:
        values = [float(n) for n in numbers]
        if sign in ("L", "M"):
            target = (values[0], values[1])
            for n in range(1, 13):
                if sign == "L":
                    yield at[0] + (target[0] - at[0]) * n / 12, at[1] + (target[1] - at[1]) * n / 12
            at = target
        elif sign == "C":
            a, b, c = (values[0], values[1]), (values[2], values[3]), (values[4], values[5])
            for n in range(13):
                t = n / 12
                yield (
                    tuple(  # type: ignore[misc]
                        at[k] * (1 - t) ** 3 + 3 * a[k] * t * (1 - t) ** 2 + 3 * b[k] * t * t * (1 - t) + c[k] * t**3
                        for k in (0, 1)
                    )
                )
            at = c


def collisions(music: EngravedMusic) -> list[str]:
    """What touches in each system."""
    found = []
    for number, system in enumerate(music.systems):
        every = list(bodies([system.group]))
        for (role, box, text), (other, beside, said) in combinations(every, 2):
            if overlap(box, beside):
                found.append(f"system {number}: {role} {text!r} and {other} {said!r}")
        heads = [(group.event, box) for group, box in group_boxes(system) if group.role == "staff-note"]
        for (event, box), (after, beside) in combinations(heads, 2):
            together = abs(box.left + box.right - beside.left - beside.right) < 14  # heads of one stem may touch
            if event is not None and after is not None and not together and overlap(box, beside):
                found.append(f"system {number}: notes of events {event.number} and {after.number}")
        for _, box in heads:
            for role, beside, said in every:
                if overlap(box, beside):
                    found.append(f"system {number}: a note and {role} {said!r}")
        for _, line in lines_of([system.group], {"bar-join"}):
            for role, box, text in every:
                if any(box.left < a < box.right and box.top < b < box.bottom for a, b in line):
                    found.append(f"system {number}: a bar line between the staves through {role} {text!r}")
        digits = [(box, text) for role, box, text in every if role in ("note", "held")]
        for role, line in lines_of(
            [system.group], {"bend", "release", "pre-bend", "bend-held", "slide", "bar-line", "slur", "tie"}
        ):
            deep = 1.0 if role in ("slur", "tie") else 0.5
            for box, text in digits:
                if any(
                    box.left + deep < a < box.right - deep and box.top + deep < b < box.bottom - deep for a, b in line
                ):
                    found.append(f"system {number}: {role} through {text!r}")
    return found


# Groups of lines, arcs and beams, which cross other things.
LINES = {
    "strings", "staff-line", "bar-line", "bar-join", "bracket", "slur", "tie", "slur-on", "staff-tie", "staff-beam", "beam", "bend", "release",
    "pre-bend", "bend-held", "slide", "slide-on", "roll", "chord-shape", "repeat-start", "repeat-end", "end", "bar-goes-on", "staff-bend",
}  # fmt: skip


class Glyph(NamedTuple):
    """A text, or one sign of music: a head, flag, dot, rest, accidental."""

    role: str
    box: Extent
    text: str
    group: int  # that it belongs to


def glyphs(items: Sequence[Item], role: str = "", x: float = 0.0, y: float = 0.0, group: int = 0) -> Iterator[Glyph]:
    """Every glyph of a system with the box round it."""
    for item in items:
        if isinstance(item, ItemGroup):
            inner = id(item) if item.role else group
            yield from glyphs(item.items, item.role or role, x + item.x, y + item.y, inner)
        elif isinstance(item, Text):
            ((_, box, _),) = bodies([item], role, x, y)
            yield Glyph(role, box, item.text, group)
        elif isinstance(item, Drawn) and item.filled and role not in LINES:
            box = extent(item)
            yield Glyph(role, Extent(box.left + x, box.top + y, box.right + x, box.bottom + y), "", group)


def may_touch(one: Glyph, other: Glyph) -> bool:
    """Whether two glyphs belong together: parts of one sign, heads of one stem, a flag and the head on its stem."""
    if one.group == other.group:
        return True
    if {one.role, other.role} == {"staff-note"}:
        return abs(one.box.left + one.box.right - other.box.left - other.box.right) < 14
    if {one.role, other.role} == {"staff-note", "staff-stem"}:
        head, flag = (one.box, other.box) if one.role == "staff-note" else (other.box, one.box)
        return min(abs(flag.left - head.left), abs(flag.left - head.right)) < 1.5
    return False


def check_glyphs(name: str, grid: Grid, width: float, options: EngravingOptions) -> None:
    for number, system in enumerate(engrave(grid, width, options).systems):
        every = sorted(glyphs([system.group]), key=lambda glyph: glyph.box.left)
        for n, one in enumerate(every):
            for other in every[n + 1 :]:
                if other.box.left >= one.box.right:
                    break
                assert not overlap(one.box, other.box) or may_touch(one, other), (name, number, one, other)


COUNTED = EngravingOptions(count=True)
EVERYTHING = EngravingOptions(count=True, staff=True, chord_shapes=True)


@every_nth(4)
def test_no_two_glyphs_overlap(every: int) -> None:
    for name, grid in (*sample_grids()[:: 3 * every], *made_grids(24, 11)[: 8 // every], *two_part_grids(4, 3)):
        check_glyphs(name, grid, WIDTH, EVERYTHING)
        check_glyphs(name, grid, 320.0, EngravingOptions(count=True))


@pytest.mark.slow
def test_no_two_glyphs_overlap_in_many_made_up_licks() -> None:
    for name, grid in (*made_grids(500, 12), *two_part_grids(200, 4)):
        for width in (WIDTH, 240.0):
            check_glyphs(name, grid, width, EVERYTHING)


def check(name: str, grid: Grid, music: EngravedMusic, options: EngravingOptions) -> None:
    assert not collisions(music), (name, collisions(music))
    for system in music.systems:
        box = extent(system.group)
        assert box.left >= -0.5 and box.top >= -0.5 and box.right <= music.width + 0.5, (name, box)
        assert box.bottom <= system.height + 0.5
    notes: Counter[int] = Counter()
    held: Counter[int] = Counter()
    for system in music.systems:
        for group in flat(system.group):
            if group.role in ("note", "held") and group.event is not None:
                (notes if group.role == "note" else held)[group.event.number] += 1
    cells = [cell for column in grid.columns for cell in column.cells]
    assert notes == Counter(cell.sound.index for cell in cells if cell.starts), name
    assert set(held) >= {cell.sound.index for cell in cells if not cell.starts}, name
    if options.staff:
        every = (group for system in music.systems for group in flat(system.group) if group.role == "staff-note")
        assert {group.event.number for group in every if group.event is not None} >= set(notes), name


def flat(group: ItemGroup) -> Iterator[ItemGroup]:
    yield group
    for item in group.items:
        if isinstance(item, ItemGroup):
            yield from flat(item)


@pytest.mark.parametrize(
    ("width", "options", "every"),
    [
        (WIDTH, EngravingOptions(staff=True), 2),
        (WIDTH, COUNTED, 6),
        pytest.param(WIDTH, EngravingOptions(staff=True), 1, marks=pytest.mark.slow),
        (250.0, EngravingOptions(), 6),
        pytest.param(WIDTH, COUNTED, 1, marks=pytest.mark.slow),
        pytest.param(250.0, EngravingOptions(), 1, marks=pytest.mark.slow),
    ],
)
def test_nothing_touches_and_every_event_is_drawn_once_in_the_samples(
    width: float, options: EngravingOptions, every: int
) -> None:
    for name, grid in sample_grids()[::every]:
        check(name, grid, music_of(grid, width, options), options)


@every_nth(4)
def test_nothing_touches_and_every_event_is_drawn_once_in_made_up_licks(every: int) -> None:
    options = EngravingOptions(count=True, staff=True)
    for name, grid in made_grids(24, 11)[::every]:
        check(name, grid, engrave(grid, WIDTH, options), options)


@pytest.mark.slow
def test_nothing_touches_in_many_made_up_licks() -> None:
    for name, grid in made_grids(500, 12):
        for width in (WIDTH, 240.0):
            check(name, grid, engrave(grid, width, COUNTED), COUNTED)
        check(name, grid, engrave(grid, WIDTH, EVERYTHING), EVERYTHING)


def test_systems_fill_the_width() -> None:
    for name, _, music in (*engraved_samples(False), *engraved_made(False)):
        for system in music.systems[:-1]:
            assert abs(extent(system.group).right - WIDTH) < 1.0, name


@every_nth(3)
def test_no_bar_is_left_alone_on_a_last_system_that_could_have_company(every: int) -> None:
    slow, quick = "e5 - e8 - B5 - B8 -", "e5 e8 B5 B8 G5 G7 D5 D7"
    for bars in ([slow] * 2 + [quick] * 2, [slow] * 3 + [quick], [quick] * 4, [quick] * 7, [slow, quick] * 4):
        count = len(bars)
        grid = grid_of(f'lick "x"\nstep 1/8\n| {" | ".join(bars)} ||\n')
        assert grid is not None
        for width in range(200, 800, 20 * every):
            shares = [system.last_bar - system.first_bar + 1 for system in engrave(grid, float(width)).systems]
            assert sum(shares) == count
            assert len(shares) == 1 or shares[-1] > 1 or max(shares) < 3, (width, shares)


def test_a_last_system_is_as_loose_as_those_before_it() -> None:
    """The bars are equal, so the room that each takes tells how far it is spread."""
    grid = grid_of(f'lick "x"\nstep 1/16\n| {" | ".join(["e5 e8 B5 B8 G5 G7 D5 D7 " * 2] * 3)} ||\n')
    assert grid is not None
    for width in (280.0, 380.0, 520.0):
        systems = engrave(grid, width).systems
        assert len(systems) > 1
        rooms = []
        for system in systems:
            xs = [cursor.x for cursor in system.cursors if cursor.bar == system.first_bar - 1]
            rooms.append(xs[-1] - xs[0])
        assert rooms[-1] == pytest.approx(rooms[-2], rel=0.06)


@pytest.mark.parametrize(
    ("music", "shown"),
    [
        ("| G14^16&B15 - -r - e5 - - - |", "15 14, (15) (14), 5"),
        ("| B8^10&e8 -r - - . - - - |", "8 8, (8) (8)"),
        ("| G14&B15 - G-^16&B- - e5 - - - |", "15 14, (15) (14), 5"),
        ("| B15^17&G14 -r - B15 - - - - |", "15 14, (15) (14), 15"),  # the picked note ends it
        ("| e5&B5 - Bh8 - Bp5 - D7 - |", "5 5, (5) 8, (5) 5, 7"),  # a hammer-on ends its own string alone
        ("| e5&B5 - B/8 - e. - - - |", "5 5, (5) 8"),  # so does a slide
        ("| e5&B5 - B8 - - - - - |", "5 5, 8"),  # a picked note ends all
    ],
)
def test_a_held_note_stays_beside_a_note_that_is_bent_or_released(music: str, shown: str) -> None:
    """The tab and the staff above show every note that sounds where one of them is written anew."""
    grid = grid_of(f'lick "x"\nstep 1/8\n{music}\n')
    assert grid is not None
    (bar,) = bars_of_stops(grid, False)
    said = [" ".join(mark.text for mark in stop.marks) for stop in bar.stops if stop.marks]
    assert said[: len(shown.split(", "))] == shown.split(", ")
    for stop, notes in zip(bar.stops, staff_notes(grid, [bar])[0], strict=True):
        assert len(notes) == len(stop.marks)


def test_the_stops_of_a_lick_are_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both widths of a page, the sheet, with or without the count, and the legend work on the same stops."""
    grid = grid_of('lick "x"\nstep 1/8\n| G14 B15 - - . e5 - - | G5 - - - - - - - ||\n')
    assert grid is not None
    bars: list[int] = []
    find = stops.bar_rhythm
    monkeypatch.setattr(stops, "bar_rhythm", lambda grid, index: (bars.append(index), find(grid, index))[1])
    plain = bars_of_stops(grid, False)
    counted = bars_of_stops(grid, True)
    (
        engrave(grid, WIDTH),
        engrave(grid, 200.0, EngravingOptions(count=True)),
        legend_of(grid, EngravingOptions(True, True)),
    )
    assert bars == [0, 1]
    assert {stop.said for bar in plain for stop in bar.stops} == {""}
    assert [stop.said for bar in counted for stop in bar.stops][:3] == ["1", "&", "2"]


def test_a_vibrato_ends_before_its_bar_line() -> None:
    found = 0
    for staff in (False, True):
        for name, grid, music in engraved_samples(staff):
            for system in music.systems:
                every = group_boxes(system)
                lines = sorted(box.left for group, box in every if group.role in ("bar-line", "repeat-end", "end"))
                notes = {group.event.number: box for group, box in every if group.role == "note" and group.event}
                for group, wave in every:
                    if group.role == "vibrato" and group.event is not None and group.event.number in notes:
                        sound = grid.timeline.sounds[group.event.number]
                        here = next(turn for turn in grid.timeline.passes if turn.bar == sound.bar)
                        if sound.end > here.start + grid.bars[sound.bar].bar.length:
                            continue  # it lasts into the next bar
                        found += 1
                        box = notes[group.event.number]
                        end = min((x for x in lines if x > box.right), default=WIDTH)
                        assert wave.right <= end, (name, group.event)
    assert found > 50


def test_a_slur_leaves_a_released_note_behind_the_arrow() -> None:
    grid = grid_of('lick "x"\nstep 1/8\n| B8^10 -r p5 G7p5 - - - ||\n')
    assert grid is not None
    every = list(groups([engrave(grid, WIDTH).systems[0].group]))
    (release,) = [box for group, box in every if group.role == "release"]
    slurs = sorted(box.left for group, box in every if group.role == "slur")
    assert len(slurs) == 2
    assert slurs[0] >= release.right - 0.5


def test_fingers_stand_beside_their_numbers_and_plucking_letters_below_the_strings() -> None:
    found = Counter[str]()
    text = "lick \"x\"\nstep 1/8\n| A0'p&D2'2'i&G2'3'm e12'4^14 G5'1/7 Bx B8'a - - ||\n"
    own = grid_of(text)
    assert own is not None
    drawn_own = engrave(own, WIDTH, EngravingOptions(staff=True))
    assert not collisions(drawn_own), collisions(drawn_own)
    for name, grid, music in (*engraved_samples(True), ("own", own, drawn_own)):
        for system in music.systems:
            every = [(group, box) for group, box in group_boxes(system) if group.event is not None]
            numbers = {group.event.number: box for group, box in every if group.role == "note" and group.event}
            for group, box in every:
                if group.role in ("finger", "pluck") and group.event is not None:
                    found[group.role] += 1
                    number, (text_item,) = numbers[group.event.number], group.items
                    sound = grid.timeline.sounds[group.event.number]
                    assert isinstance(text_item, Text)
                    assert text_item.text == (sound.finger if group.role == "finger" else sound.pluck)
                    if group.role == "finger":
                        assert 0 < box.left - number.right < 1.5 and number.top < box.bottom < number.bottom + 1.0
                    else:
                        assert box.top > system.bottom and number.left < (box.left + box.right) / 2 < number.right
        sounds = [cell.sound for column in grid.columns for cell in column.cells if cell.starts]
        drawn = Counter(
            group.event.number
            for system in music.systems
            for group in flat(system.group)
            if group.role in ("finger", "pluck") and group.event is not None
        )
        assert drawn == Counter(s.index for s in sounds for one in (s.finger, s.pluck) if one), name
    assert found["finger"] > 5 and found["pluck"] > 5


def test_what_stands_side_by_side_over_the_strings_is_apart() -> None:
    """A bar number beside an amount, or words beside a fermata, would read as one."""
    grid = grid_of(
        'lick "x"\nstep 1/8\nchords Am | D7 | Am7 | Dm\n| B8^10 - - - - - - B8^10 | B8^10~ - @f @"slow" G7^9 -r - D7 '
        '@tempo=80 B8^10 - | @mp @fermata @"last" B8^10! - - - - - - B8^10 | B8^10 - - - - - - - ||\n'
    )
    assert grid is not None
    for width in range(260, 560, 20):
        for system in engrave(grid, float(width)).systems:
            over = [
                (role, box, text)
                for role, box, text in bodies([system.group])
                if box.bottom < system.top and role not in ("strings", "vibrato")
            ]
            for (role, box, text), (other, beside, said) in combinations(over, 2):
                if box.top < beside.bottom and beside.top < box.bottom:
                    gap = max(box.left, beside.left) - min(box.right, beside.right)
                    assert gap >= 3.0, (width, role, text, other, said)


SHAPES = EngravingOptions(chord_shapes=True, staff=True)


def drawn_shapes(grid: Grid, options: EngravingOptions = SHAPES, width: float = WIDTH) -> list[tuple[str, str]]:
    """The symbol and the shape of each chord diagram, in order."""
    every = [group for system in music_of(grid, width, options).systems for group in flat(system.group)]
    return [(found["symbol"], found["shape"]) for found in (dict(g.data) for g in every if g.role == "chord-shape")]


def test_a_chord_is_shown_as_the_lick_plays_it_and_else_near_by() -> None:
    grid = grid_of(
        'lick "x"\nstep 1/8\nchords Em | Am7 | Em | C N.C. | A5\n| E0&A2&D2&G0&B0&e0 - - - e3 - - - | e5 e8 B5 B8 G5 G7 D5 D7 '
        "| e12 - - - - - - - | A3&D5&Gx - A3^5&D5&G5 - - - - - | e12 - - - - - - - ||\n"
    )
    assert grid is not None
    shapes = drawn_shapes(grid)
    assert [symbol for symbol, _ in shapes] == ["Em", "Am7", "C", "A5"], "the first time that each comes; none for N.C."
    found = dict(shapes)
    assert found["Em"] == "0 2 2 0 0 0", "its own"
    assert found["Am7"] == "5 7 5 5 5 5"
    assert not {"x 3 5 5 x x"} & {found["C"]}, "a bent string is not held"
    assert drawn_shapes(grid, EngravingOptions()) == []


@every_nth(4)
def test_chord_diagrams_touch_nothing_and_hold_the_notes_of_their_chords(every: int) -> None:
    found = 0
    for name, grid in sample_grids()[::every]:
        music = music_of(grid, 350.0, SHAPES)
        assert not collisions(music), (name, collisions(music))
        for system in music.systems:
            boxes = [box for group, box in group_boxes(system) if group.role == "chord-shape"]
            assert not any(overlap(one, other) for one, other in combinations(boxes, 2)), name
        tuning = grid.timeline.settings.tuning
        for symbol, shape in drawn_shapes(grid, width=350.0):
            found += 1
            chord = parse_chord(symbol)
            assert chord is not None
            frets = dict(zip(range(tuning.strings, 0, -1), shape.split(), strict=True))
            heard = {(tuning.open(string) + int(fret)) % 12 for string, fret in frets.items() if fret != "x"}
            assert heard <= chord.pitch_classes and len(heard) >= 2, (name, symbol, shape)
    assert found > 60 // every


@pytest.mark.parametrize(
    ("music", "shape"),
    [("e17 e20 B17 B20 G17 G19 D17 D19", "12 14 14 12 12 12"), ("E0 A0 - - D0 G0 - -", "0 2 2 0 0 0")],
)
def test_a_chord_far_up_the_neck_and_one_of_open_strings_have_diagrams(music: str, shape: str) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\nchords Em\n| {music} ||\n')
    assert grid is not None
    assert drawn_shapes(grid) == [("Em", shape)]


def test_chord_diagrams_are_mirrored_for_the_left_hand() -> None:
    grid = grid_of('lick "x"\nstep 1/8\nchords Em\n| E0&A2&D2&G0&B0&e0 - - - - - - - ||\n')
    assert grid is not None

    def dots(left_handed: bool) -> list[float]:
        options = EngravingOptions(chord_shapes=True, left_handed=left_handed)
        (box,) = [g for g in flat(engrave(grid, WIDTH, options).systems[0].group) if g.role == "chord-shape"]
        around = extent(ItemGroup(box.items))
        xs = [extent(item) for item in box.items if isinstance(item, Drawn) and item.filled]
        return [round(((one.left + one.right) / 2 - around.left) / (around.right - around.left), 2) for one in xs]

    assert max(dots(False)) < 0.5 < min(dots(True))


def test_spans_that_follow_one_another_stand_on_one_level() -> None:
    grid = grid_of('lick "x"\nstep 1/4\n| (tremolo: e10) (dip: e10) (tremolo: e8) (dip: e8) ||\n')
    assert grid is not None
    how = [box for role, box, _ in bodies([engrave(grid, WIDTH).systems[0].group]) if role == "how"]
    assert len(how) == 4 and len({round(box.bottom - 0.01, 1) for box in how}) <= 2
    assert max(box.bottom for box in how) - min(box.bottom for box in how) < 3, "letters that hang down count"


def test_a_head_beside_its_stem_has_room() -> None:
    """Two heads a step apart: one stands to the left of a stem that goes down."""
    grid = grid_of(f'lick "x"\nstep 1/16\n| {"B15 e12&B15 " * 8}||\n')
    assert grid is not None
    for width in range(240, 420, 20):
        assert not collisions(engrave(grid, float(width), EngravingOptions(staff=True)))


def test_rests_of_two_voices_are_clear_of_the_other_voice() -> None:
    grid = grid_of('lick "x"\nstep 1/8\n| e0 - E11= G7 1/16 E0 - E-&G13 E-&B7 1/8 (ring: D4 .) ||\n')
    assert grid is not None
    assert voices_of(grid, 0) is not None
    assert not collisions(engrave(grid, WIDTH, EngravingOptions(staff=True)))


@pytest.mark.parametrize("meter", ["12/8", "4/4", "16/16", "3/4"])
def test_every_meter_has_numbers_of_one_size_with_room_to_the_first_note(meter: str) -> None:
    """Numbers of two digits are as large as one, so that none is taken for frets."""
    grid = grid_of(f'lick "x"\nmeter {meter}\nstep 1/8\n| {"G12 " * int(8 * Fraction(meter))}||\n')
    assert grid is not None
    for options in (EngravingOptions(), EngravingOptions(staff=True)):
        music = engrave(grid, WIDTH, options)
        shown = [(box, text) for role, box, text in bodies([music.systems[0].group]) if role == "meter"]
        assert [text for _, text in shown] == meter.split("/") * (2 if options.staff else 1)
        first = min(box.left for role, box, _ in bodies([music.systems[0].group]) if role == "note")
        for box, text in shown:
            assert box.bottom - box.top > 11, text  # of a number on a string: 6.6
            assert box.right + 1.0 < first


# --- rhythm ----------------------------------------------------------------------------------------------------------


def test_a_beam_follows_the_groups_of_the_meter() -> None:
    """A beam goes over the start of a group only within a tuplet; the groups are worked out here from the meter alone."""
    beams = 0
    for name, grid in (*sample_grids(), *made_grids(24, 11)):
        meter, grain = grid.timeline.settings.meter, grid.timeline.grain
        units = meter.groups if set(meter.groups) != {1} or meter.unit < 8 or meter.beats <= 3 else None
        for index, drawn in enumerate(grid.bars):
            rhythm = bar_rhythm(grid, index)
            late = max(0, int(meter.length * grain) - drawn.bar.length) if drawn.bar.number == 0 else 0
            for first, last in rhythm.beams:
                beams += 1
                events = rhythm.events[first : last + 1]
                assert all(event.flags and not event.rest for event in events), name
                tuplet = any(t.start <= events[0].at and events[-1].at < t.end for t in rhythm.tuplets)
                if units is None or tuplet or (meter.unit >= 8 and meter.beats <= 3):
                    continue
                edges = {sum(units[:n]) * grain // meter.unit - late for n in range(1, len(units))}
                assert not [edge for edge in edges if events[0].at < edge <= events[-1].at], (name, drawn.bar.number)
    assert beams > 200


def test_values_add_up_to_the_bar() -> None:
    """What is written, tuplets reckoned back, is as long as the bar, without a gap."""
    for name, grid in (*sample_grids(), *made_grids(24, 11)):
        for index, drawn in enumerate(grid.bars):
            rhythm = bar_rhythm(grid, index)
            at = 0
            for event in rhythm.events:
                assert event.at == at, (name, drawn.bar.number)
                value = event.base * (2 - Fraction(1, 2**event.dots))
                for tuplet in rhythm.tuplets:
                    if tuplet.start <= event.at < tuplet.end:
                        value /= tuplet.factor
                if not event.whole_bar:
                    assert value * grid.timeline.grain == event.end - event.at, (name, drawn.bar.number, event)
                at = event.end
            assert at == (0 if drawn.bar.same else drawn.bar.length), (name, drawn.bar.number)


@pytest.mark.parametrize(
    ("music", "values"),
    [
        ("| e5 e5 e5 e5 e5 - - - |", "8 8 8 8 2"),
        ("| e5 - - - - e5 - e5 |", "2 8~ 4 8"),
        ("| 3[e5 e5 e5] e5 - . . e5 - |", "8 8 8 4 4r 4"),
        ("| e5 . . . . . e5 - |", "8 8r 4r 4r 4"),
        ("| . . . . . . . . |", "1r"),
    ],
)
def test_lengths_are_written_as_players_write_them(music: str, values: str) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\n{music}\n')
    assert grid is not None
    said = [
        f"{e.base.denominator}{'.' * e.dots}{'r' if e.rest else ''}{'~' if e.tied else ''}"
        for e in bar_rhythm(grid, 0).events
    ]
    assert " ".join(said) == values


@pytest.mark.parametrize(
    ("meter", "at", "length", "values", "rests"),
    [
        ("4/4", "0", "1", "1", "1r"),
        ("4/4", "0", "3/4", "2.", "2r 4r"),  # from beat 1 a dotted half; from beat 2 the middle is shown
        ("4/4", "1/4", "3/4", "4 2", "4r 2r"),
        ("4/4", "1/4", "1/2", "2", "4r 4r"),  # quarter, half, quarter
        ("4/4", "0", "3/8", "4.", "4r 8r"),
        ("4/4", "1/4", "3/8", "4 8", "4r 8r"),
        ("4/4", "1/2", "3/8", "4.", "4r 8r"),
        ("4/4", "1/8", "1/4", "4", "8r 8r"),  # eighth, quarter, eighth, in each half of the bar
        ("4/4", "3/8", "1/4", "8 8", "8r 8r"),
        ("4/4", "5/8", "1/4", "4", "8r 8r"),
        ("4/4", "1/8", "3/8", "8 4", "8r 4r"),
        ("4/4", "3/8", "3/8", "8 4", "8r 4r"),
        ("4/4", "3/8", "5/8", "8 2", "8r 2r"),
        ("4/4", "1/8", "7/8", "8 4 2", "8r 4r 2r"),
        ("4/4", "0", "5/8", "2 8", "2r 8r"),
        ("4/4", "0", "7/8", "2 4.", "2r 4r 8r"),
        ("4/4", "1/16", "1/8", "8", "16r 16r"),  # within a beat
        ("4/4", "1/16", "3/16", "8.", "16r 8r"),
        ("4/4", "3/16", "1/8", "16 16", "16r 16r"),  # over a beat
        ("4/4", "3/16", "5/16", "16 4", "16r 4r"),
        ("4/4", "1/16", "1/4", "8. 16", "16r 8r 16r"),
        ("3/4", "0", "3/4", "2.", "2r 4r"),
        ("3/4", "1/4", "1/2", "2", "4r 4r"),
        ("3/4", "1/4", "3/8", "4.", "4r 8r"),
        ("3/4", "3/8", "1/4", "4", "8r 8r"),
        ("3/4", "0", "5/8", "2 8", "2r 8r"),
        ("2/2", "0", "3/4", "2.", "2r 4r"),
        ("6/8", "0", "3/4", "2.", "2.r"),
        ("6/8", "0", "1/2", "4. 8", "4.r 8r"),
        ("6/8", "0", "5/8", "4. 4", "4.r 4r"),
        ("6/8", "1/4", "1/2", "8 4.", "8r 4.r"),
        ("6/8", "1/8", "1/4", "4", "8r 8r"),
        ("6/8", "1/8", "5/8", "4 4.", "8r 8r 4.r"),
        ("9/8", "3/8", "3/4", "2.", "4.r 4.r"),
        ("12/8", "0", "3/2", "1.", "1.r"),
        ("12/8", "3/8", "3/4", "4. 4.", "4.r 4.r"),
        ("12/8", "0", "3/4", "2.", "2.r"),
        ("12/8", "0", "1", "2. 4", "2.r 4r"),
        ("7/8 2+2+3", "0", "7/8", "2 4.", "2r 4.r"),
        ("7/8 2+2+3", "1/8", "1/4", "8 8", "8r 8r"),
        ("7/8 3+2+2", "0", "3/8", "4.", "4.r"),
        ("5/4 3+2", "0", "5/4", "2. 2", "2r 4r 4r 4r"),
    ],
)
def test_a_length_is_split_where_the_beat_has_to_be_seen(meter: str, at: str, length: str, values: str, rests: str) -> None:  # fmt: skip
    grid = beat_grid(parse_meter(meter))
    for expected, rest in ((values, False), (rests, True)):
        split = split_values(grid, Fraction(at), Fraction(length), rest)
        said = [f"{one.base.denominator}{'.' * one.dots}{'r' if rest else ''}" for one in split]
        assert " ".join(said) == expected
        assert sum(one.value for one in split) == Fraction(length)


def test_the_staff_writes_pitches_as_a_key_spells_them() -> None:
    """Heads, counted from the middle line, and accidentals: an octave above the sound, once in a bar, and again in the next."""
    grid = grid_of('lick "x"\nkey A major\nstep 1/4\n| e5 e6 e6 e4 | e6 B5 E0 Gx ||\n')
    assert grid is not None
    written = [note for row in staff_notes(grid, bars_of_stops(grid, False)) for notes in row for note in notes]
    said = [(note.step, note.accidental) for note in written]
    assert said == [(6, ""), (7, "flat"), (7, ""), (5, ""), (7, "flat"), (3, ""), (-11, ""), (-2, "")]
    assert written[7].is_x
    bass = grid_of('lick "x"\ntuning bass\nkey F major\nstep 1/4\n| E0 A0 D0 G0 ||\n')
    assert bass is not None
    assert clef_of(bass.timeline).sign == "f-clef"
    steps = [note.step for row in staff_notes(bass, bars_of_stops(bass, False)) for notes in row for note in notes]
    assert steps == [-6, -3, 0, 3]
    assert signature_steps(bass.timeline) == (("flat", -2),)


@pytest.mark.parametrize(
    ("music", "steps"),
    [
        ("| G5^7 -r e5 - - - . - |", "1>2 2>1 6"),  # C to D, tied as D, back to C
        ("| G5^6 - - - . - - - |", "1>1#"),
        ("| G5^quarter - - - . - - - |", "1>1n+"),  # a quarter step over C
        ("| B7^quarter -r - - . - - - |", "4#>4#+ 4>4# 4"),
        ("| (grace: G5^7) G7 - - - . - - - |", "1>2 2"),
        ("| B5^^7 -r e5 - - - . - |", "4# 4>3 6"),  # bent first: only F sharp is heard, then E
        ("| B5^7r - - - . - - - |", "3>4#>3"),
        ("| B8^10&e5 - - - . - - - |", "6 5>6"),  # a unison
    ],
)
def test_a_staff_shows_where_a_bend_goes(music: str, steps: str) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\n{music}\n')
    assert grid is not None
    signs = {"": "", "sharp": "#", "flat": "b", "natural-up": "n+", "sharp-up": "#+"}
    said = [
        ">".join(f"{one.step}{signs[one.accidental]}" for one in (note, *note.targets))
        for notes in staff_notes(grid, bars_of_stops(grid, False))[0]
        for note in notes
    ]
    assert " ".join(said) == steps
    music_drawn = engrave(grid, WIDTH, EngravingOptions(staff=True))
    bends = [group for group, _ in groups([music_drawn.systems[0].group]) if group.role == "staff-bend"]
    assert len(bends) == sum(">" in one for one in said)


def heads_and_beams(system: ItemGroup) -> tuple[list[Extent], list[tuple[Drawn, float]]]:
    """The heads of the staff of a system, and its beams, each with what is to be added to its y."""
    heads, beams = [], []

    def walk(group: ItemGroup, x: float, y: float) -> None:
        for item in group.items:
            if isinstance(item, ItemGroup):
                walk(item, x + item.x, y + item.y)
            elif isinstance(item, Drawn) and item.filled:
                box = extent(item)
                if group.role == "staff-note" and 6.0 < box.right - box.left < 10.0 and box.bottom - box.top < 8.0:
                    heads.append(Extent(box.left + x, box.top + y, box.right + x, box.bottom + y))
                elif group.role == "staff-beam":
                    beams.append((item, y))

    walk(system, system.x, system.y)
    return heads, beams


def test_beams_slope_a_little_and_pass_no_head() -> None:
    sloping = level = 0
    for name, grid in (*sample_grids(), *made_grids(24, 11)):
        for system in music_of(grid, WIDTH, EngravingOptions(staff=True)).systems:
            heads, beams = heads_and_beams(system.group)
            for beam, y in beams:
                (_, left, first), (_, right, last), *_ = ((c[0], float(c[1]), float(c[2])) for c in beam.commands[:-1])
                slope = (last - first) / (right - left)
                assert abs(slope) <= 0.15 and abs(last - first) <= 8.0, name
                sloping, level = sloping + (slope != 0), level + (slope == 0)
                for head in heads:
                    middle = (head.left + head.right) / 2
                    if left < middle < right:
                        at = first + slope * (middle - left) + y
                        assert not head.top - 2.0 < at < head.bottom + 2.0, name
    assert sloping > 50 and level > 20


@pytest.mark.parametrize(
    ("music", "slope"),
    [
        ("e5 e8 - - - - - -", -1),  # up the page
        ("e8 e5 - - - - - -", 1),
        ("e5 e5 - - - - - -", 0),
        ("G2 B1 - - - - - -", -1),  # stems up
    ],
)
def test_a_beam_follows_its_notes(music: str, slope: int) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\n| {music} ||\n')
    assert grid is not None
    _, beams = heads_and_beams(engrave(grid, WIDTH, EngravingOptions(staff=True)).systems[0].group)
    (_, _, first), (_, _, last), *_ = beams[0][0].commands[:-1]
    assert (float(last) > float(first)) - (float(last) < float(first)) == slope


def test_bar_lines_and_a_bracket_join_staff_and_tab() -> None:
    joined = 0
    both, tabs = ((*engraved_samples(staff), *engraved_made(staff)) for staff in (True, False))
    for (name, _, music), (_, _, tab) in zip(both, tabs, strict=True):
        for system in music.systems:
            every = group_boxes(system)
            (around,) = [box for group, box in every if group.role == "bracket"]
            lines = [box for group, box in every if group.role in ("staff-line", "strings")]
            assert around.top < min(box.top for box in lines) and around.bottom > max(box.bottom for box in lines), name
            ends = {round(box.right, 1) for group, box in every if group.role in ("bar-line", "repeat-end", "end")}
            joins = {round(box.right, 1) for group, box in every if group.role == "bar-join"}
            joined += len(joins & ends)
        plain = [group.role for group, _ in groups([tab.systems[0].group])]
        assert "bracket" not in plain and "bar-join" not in plain
    assert joined > 200


def voices_of(grid: Grid, index: int) -> tuple[StaffVoice, StaffVoice] | None:
    bars = bars_of_stops(grid, False)
    rows = staff_notes(grid, bars)[index]
    notes = {(stop.at, stop.lead): here for stop, here in zip(bars[index].stops, rows, strict=True)}
    return two_voices(grid, index, bars[index], lambda stop: notes[stop.at, stop.lead])


def two_part_grids(count: int, seed: int) -> Iterator[tuple[str, Grid]]:
    """Licks of two bars: a melody over a bass, each with notes and holds by chance."""
    chance = Random(seed)
    for _ in range(count):
        slots, bass = [], ""
        for n in range(16):
            lower = chance.choice(["A0", "E0", "A2", "D0", "hold", "hold", "hold", ""])
            upper = chance.choice(["e0", "e3", "B1", "B3", "G2", "e1", ""])
            if lower == "hold":
                lower = f"{bass}-" if bass and n % 8 else ""
            bass = lower[0] if lower else ""
            slots.append("&".join(part for part in (lower, upper) if part) or ".")
        text = f'lick "Two"\nstep 1/8\n| {" ".join(slots[:8])} | {" ".join(slots[8:])} ||\n'
        grid = grid_of(text)
        if grid is not None:
            yield text, grid


@pytest.mark.parametrize(
    ("music", "upper", "lower"),
    [
        ("A0&e5 A-&e7 A-&e8 - A0&e5 A-&e3 A-&B5 A-", "8 8 4 8 8 8 8r", "2 2"),
        (". e5 E0 E-&B3 - - A2 A-&B5", "8r 8 8r 8 4 8r 8", "4r 2 4"),
        ("A0'p&e5 A-&e7 E0'p&e8 E-&e7 A0 e5 E0&e7 E-", "8 8 8 8 8r 8 8 8r", "4 4 8 8r 4"),
        ("D0&B3 3[D-&B1 D-&B3 D-&B5] D-&B3 - - - -", "8 8 8 8 8 2", "1"),
        ("e5 e8 B5 B8 G5 G7 D5 D7", "", ""),  # one voice
        ("A0&e3 - - - A2&e5 - - -", "", ""),  # chords
        ("(ring: A0 E0 D2 G2 B1 e0 B1 G2)", "", ""),  # what rings on is not written as held
        ("e5&A0 e-&A2 e-&A3 - - - - -", "", ""),  # a melody under a held note: its stems would cross
    ],
)
def test_a_bass_held_under_a_melody_has_a_voice_of_its_own(music: str, upper: str, lower: str) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\n| {music} ||\n')
    assert grid is not None
    voices = voices_of(grid, 0)
    if not upper:
        assert voices is None
        return
    assert voices is not None
    for voice, said in zip(voices, (upper, lower), strict=True):
        assert " ".join(f"{e.base.denominator}{'.' * e.dots}{'r' * e.rest}" for e in voice.rhythm.events) == said
    system = engrave(grid, WIDTH, EngravingOptions(staff=True)).systems[0]
    stems = [box for group, box in group_boxes(system) if group.role in ("staff-stem", "staff-beam")]
    notes = {
        group.event.number: box for group, box in group_boxes(system) if group.role == "staff-note" and group.event
    }
    for voice in voices:
        for index, chord in voice.notes.items():
            head = notes[chord[0].mark.sound.index]
            own = [box for box in stems if box.left - 9 < (head.left + head.right) / 2 < box.right + 9]
            if voice.rhythm.events[index].base < 1:
                assert any(box.top < head.top if voice.up else box.bottom > head.bottom for box in own)


@pytest.mark.parametrize(
    ("music", "above", "below"),
    [
        ("A0&e5 A-&e7 A-&e8 - A0&e5 A-&e3 A-&B5 A-", 6, 2),
        ("D0&B3 3[D-&B1 D-&B3 D-&B5] D-&B3 - - - -", 6, 1),
        ("A0&e5 A-&B8^10 A-&e8 - A0&e5 A-&e3 A-&B5 A-", 0, 6),  # arrows need the room above
        ("e5 e8 B5 B8 G5 G7 D5 D7", 0, 8),
    ],
)
def test_two_voices_have_stems_on_both_sides_of_the_strings(music: str, above: int, below: int) -> None:
    grid = grid_of(f'lick "x"\nstep 1/8\n| {music} ||\n')
    assert grid is not None
    for options in (EngravingOptions(count=True), EngravingOptions(staff=True)):
        system = engrave(grid, WIDTH, options).systems[0]
        every = [(group, box) for group, box in group_boxes(system) if group.role == "stem"]
        over, under = sum(box.bottom < system.top for _, box in every), sum(box.top > system.bottom for _, box in every)
        if options.staff:  # it has the voices
            assert over == 0
        else:
            assert (over, under) == (above, below)
            beams = [box for group, box in group_boxes(system) if group.role == "beam"]
            assert any(box.bottom < system.top for box in beams) == bool(above)


@every_nth(4)
def test_two_voices_hold_every_note_of_their_bar_once_and_fill_it(every: int) -> None:
    found = 0
    for name, grid in two_part_grids(20 // every, 5):
        for options in (EngravingOptions(staff=True), EngravingOptions(count=True)):
            assert not collisions(engrave(grid, WIDTH, options)), name
            check_glyphs(name, grid, 300.0, options)
        for index, bar in enumerate(grid.bars):
            voices = voices_of(grid, index)
            if voices is None:
                continue
            found += 1
            struck = Counter(
                note.mark.sound.index
                for voice in voices
                for chord in voice.notes.values()
                for note in chord
                if not note.mark.held
            )
            cells = [cell for column in grid.columns[bar.first : bar.last] for cell in column.cells if not column.lead]
            assert struck == Counter(cell.sound.index for cell in cells if cell.starts), name
            for voice in voices:
                edges = [0, *(event.end for event in voice.rhythm.events)]
                assert [event.at for event in voice.rhythm.events] == edges[:-1] and edges[-1] == bar.bar.length, name
    assert found > 20 // every


# --- the picture -----------------------------------------------------------------------------------------------------


@every_nth(3)
def test_a_reader_of_the_picture_gets_string_fret_time_and_technique_back(every: int) -> None:
    for n, (name, grid) in enumerate((*sample_grids(), *made_grids(24, 11))[::every]):
        timeline = grid.timeline
        systems = read_systems(music_svg(grid, WIDTH, EVERYTHING if n % 2 else EngravingOptions()))
        assert all(len(system.lines) == timeline.settings.tuning.strings for system in systems)
        read = [number for system in systems for number in system.numbers if number.role == "note"]
        cells = [cell for column in grid.columns for cell in column.cells if cell.starts]
        assert len(read) == len(cells), name
        by_event = {number.event: number for number in read}
        for cell in cells:
            sound, number = cell.sound, by_event[cell.sound.index]
            assert number.on_line == number.string == sound.string
            assert number.fret == sound.fret
            assert (number.start, number.end) == (timeline.fraction(sound.start), timeline.fraction(sound.end))
            assert sound.dead or sound.fret is None or str(sound.fret) in number.text
            names = {mark.name for mark in sound.marks} | {shape.technique.name for shape in sound.shapes}
            assert names <= set(number.technique.split(", ")) | {""}, (name, number)


@every_nth(3)
def test_numbers_stand_in_the_order_of_time_and_at_their_instants(every: int) -> None:
    for name, grid in sample_grids()[::every]:
        for system in read_systems(music_svg(grid, 300)):
            xs = [instant.x for instant in system.instants]
            assert xs == sorted(xs), name
            assert all(any(abs(number.x - x) < 40 for x in xs) for number in system.numbers), name


def test_a_picture_is_the_same_each_time_and_loads_nothing() -> None:
    grid = grid_of("lick \"A <b> & 'c'\"\n| e5 e8 B8^10 -r p5 G7~-- ||\n")
    assert grid is not None
    svg = music_svg(grid, 400)
    assert svg == music_svg(grid, 400)
    for word in ("<script", "style=", "href", "url(", "<b>"):
        assert word not in svg


def test_a_narrow_picture_has_more_systems_and_a_bar_that_is_wider_than_it_goes_on() -> None:
    grid = grid_of('lick "x"\nstep 1/16\n| ' + " ".join(f"e{n + 5} B{n + 5}" for n in range(8)) + " ||\n")
    assert grid is not None
    wide, narrow = read_systems(music_svg(grid, 500)), read_systems(music_svg(grid, 130))
    assert len(wide) == 1 < len(narrow)
    order = [number.event for system in narrow for number in system.numbers]
    assert order == [number.event for number in wide[0].numbers] == list(range(16))


def test_words_that_are_wider_than_a_system_are_broken() -> None:
    grid = grid_of('lick "x"\n| @"' + "many words in a row " * 8 + '" e5 e8 B5 B8 G5 G7 D5 D7 ||\n')
    assert grid is not None
    for width in (130.0, 400.0):
        music = engrave(grid, width)
        assert music.width < width + 1
        assert not collisions(music)


@pytest.mark.slow
def test_ten_thousand_notes_are_engraved() -> None:
    bars = " | ".join(["e5 e8 B5 B8 G5 G7 D5 D7"] * 1250)
    grid = grid_of(f'lick "Long"\nstep 1/8\n| {bars} ||\n')
    assert grid is not None
    music = engrave(grid, WIDTH)
    assert sum(1 for system in music.systems for group in flat(system.group) if group.role == "note") == 10_000
