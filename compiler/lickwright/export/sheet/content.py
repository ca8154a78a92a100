"""What stands on the sheet of one lick, from the title to the rights, as blocks.

In: a `Grid` and what is asked for. Out: `SheetBlock`s for a column of some width, in reading order.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from lickwright.engraving.display_list import ACCENT, FAINT, Item, ItemGroup, Text, box, extent, line
from lickwright.engraving.engrave import EngravingOptions, engrave
from lickwright.engraving.neck import neck_picture
from lickwright.engraving.paragraph import wrap_text
from lickwright.export import Options, SheetRequest
from lickwright.export.sheet.blocks import LEADING, SheetBlock, paragraph, text_lines
from lickwright.export.sheet.legend import SIGN, LegendRow, legend_of
from lickwright.export.tab.heading import needs_caution, printed_facts, tempo_number, tempo_words
from lickwright.hand.measures import CAUTION, CAUTION_LADDER
from lickwright.layout.chord_tones import mark_chord_tones
from lickwright.layout.grid import Grid
from lickwright.timeline.model import Timeline

MARKS = "Marks"  # the heading of the legend
TITLE, BODY, SMALL = 21.0, 8.6, 7.6  # sizes of text
_TITLE_LINES = 3
_SECTION = 11.0
_FACT_NAME = 46.0  # room for the name of a fact
_BESIDE = 20.0  # between the facts and the diagram
_RUNG, _TICK = 40.0, 8.6  # of the practice ladder: room for one tempo, side of its box
_COPYRIGHT = re.compile(r"(?:copyright\b\s*)?(?:\(c\)|©)\s*|copyright\s+|(?=(?:19|20)[0-9]{2}\b)", re.IGNORECASE)
_NECK = "The numbers on the neck are the order in which the notes of the lick first come"
_NECK_MORE = {  # by whether the lick has a box, and a key
    (True, True): "; open rings are the rest of the box, squares the root.",
    (True, False): "; open rings are the rest of the box.",
    (False, True): "; squares are the root.",
    (False, False): ".",
}


def lick_blocks(grid: Grid, options: Options, width: float, name: str, alone: bool = True) -> list[SheetBlock]:
    """All blocks of a lick, `width` points wide; `name` is that by which links find it. Raises `MissingFace`.

    One that is not `alone` leaves out the legend and the caution, which stand once behind all of them.
    """
    timeline = grid.timeline
    if options.chord_tones:
        grid = mark_chord_tones(grid)
    found = [_title(timeline, width, name), _facts(timeline, options, width)]
    found += _music(grid, options, width)
    found += _ladder(timeline, options, width)
    found += _tips(timeline, width)
    if alone:
        found += legend_blocks(legend_of(grid, engraving_options(options.sheet)), width)
        found += caution_blocks([timeline], width)
    found += _ending(timeline, width)
    return found


def _title(timeline: Timeline, width: float, name: str) -> SheetBlock:
    title = wrap_text(timeline.title, "serif", TITLE, width, _TITLE_LINES)
    items = [ItemGroup(text_lines(title, "serif", TITLE), "title", name=name)]
    height = len(title) * TITLE * LEADING
    by = timeline.settings.by
    if by:
        words = wrap_text(f"by {by}", "serif-italic", BODY + 1, width, 2)
        items.append(ItemGroup(text_lines(words, "serif-italic", BODY + 1, 0.0, height - 2.0), "paragraph"))
        height += len(words) * (BODY + 1) * LEADING
    rule = ItemGroup((line(0.0, height + 4.0, width, height + 4.0, 0.8, ink=ACCENT),))
    return SheetBlock((*items, rule), height + 5.0, keep=True, bookmark=timeline.title)


def _facts(timeline: Timeline, options: Options, width: float) -> SheetBlock:
    """What a player has to know before the first note, beside the neck."""
    picture = neck_picture(timeline, options.sheet.left_handed)
    room = width
    items: list[ItemGroup] = []
    high = 0.0
    if picture is not None:
        around = extent(picture)
        room = width - (around.right - around.left) - _BESIDE
        high = around.bottom - around.top
    below = picture is not None and room < _FACT_NAME + 90.0
    if below:
        room = width
    tempo = tempo_words(timeline, options.tempo_percent, options.tempo_bpm, note_names=True)
    y = 0.0
    for name, value in printed_facts(timeline, tempo):
        lines = wrap_text(value, "sans", BODY, room - _FACT_NAME)
        texts = (Text(0.0, y + BODY, name, "sans", SMALL, "start", FAINT), *text_lines(lines, "sans", BODY, _FACT_NAME, y))  # fmt: skip
        items.append(ItemGroup(texts, "fact"))
        y += len(lines) * BODY * LEADING + 1.4
    if picture is not None:
        around = extent(picture)
        x, top = (0.0, y + 8.0) if below else (width - around.right, 0.0)
        items.append(picture._replace(x=x, y=top - around.top))
        about = _NECK + _NECK_MORE[timeline.settings.area is not None, timeline.settings.key is not None]
        words = wrap_text(about, "sans", 6.6, around.right - around.left)
        caption = text_lines(words, "sans", 6.6, x, top + high + 2.0, FAINT)
        items.append(ItemGroup(caption, "paragraph"))
        y = max(y, top + high + 2.0 + len(words) * 6.6 * LEADING)
    return SheetBlock(tuple(items), y, 9.0, keep=True)


def engraving_options(request: SheetRequest) -> EngravingOptions:
    """Return what a sheet asks of its music."""
    return EngravingOptions(request.count, request.staff, request.chord_shapes, request.left_handed)


def _music(grid: Grid, options: Options, width: float) -> Iterator[SheetBlock]:
    music = engrave(grid, width, engraving_options(options.sheet))
    for n, system in enumerate(music.systems):
        scale = min(1.0, width / max(system.right, 1.0))
        yield SheetBlock((system.group._replace(scale=scale),), system.height * scale, 16.0 if n == 0 else 13.0)


def _section(words: str) -> SheetBlock:
    item = ItemGroup((Text(0.0, _SECTION, words, "serif-italic", _SECTION, "start", ACCENT),), "section")
    return SheetBlock((item,), _SECTION * 1.2, 15.0, keep=True)


def _ladder(timeline: Timeline, options: Options, width: float) -> Iterator[SheetBlock]:
    """Tempos to practise at, each with a box to tick."""
    tempo = timeline.settings.tempo
    full, rungs = options.opening_tempo(timeline), options.ladder_rungs(timeline)
    yield _section("Practice")
    counted = tempo.counted_name(timeline.settings.meter)
    words = f"{counted.capitalize()}s a minute. Tick a tempo once it was clean three times in a row."
    yield from (block._replace(keep=True) for block in paragraph(words, width, SMALL, gap=2.0))
    a_row = max(1, int(width // _RUNG))
    for first in range(0, len(rungs), a_row):
        items: list[Item] = []
        for n, rung in enumerate(rungs[first : first + a_row]):
            x = n * _RUNG
            items.append(box(x + 0.5, 0.5, x + _TICK, _TICK, 0.7))
            items.append(
                Text(x + _TICK + 3.5, _TICK - 1.0, tempo_number(rung), "sans-bold" if rung == full else "sans", BODY)
            )
        yield SheetBlock((ItemGroup(tuple(items), "paragraph"),), _TICK + 1.0, 6.0)


def _tips(timeline: Timeline, width: float) -> Iterator[SheetBlock]:
    notes = timeline.settings.notes
    if notes:
        yield _section("Tips")
        for n, note in enumerate(notes):
            for block in paragraph(note, width, BODY, gap=3.0, bullet="–" if len(notes) > 1 else ""):
                yield block._replace(keep=False) if n else block


def legend_blocks(rows: Sequence[LegendRow], width: float) -> Iterator[SheetBlock]:
    """The marks in two columns, or in one where the sheet is narrow."""
    if not rows:
        return
    yield _section(MARKS)
    columns = 2 if width >= 360 and len(rows) > 1 else 1
    across = (width - 14.0 * (columns - 1)) / columns
    for first in range(0, len(rows), columns):
        items: list[ItemGroup] = []
        high = 0.0
        for n, row in enumerate(rows[first : first + columns]):
            group, height = _mark(row, across)
            items.append(group._replace(x=n * (across + 14.0)))
            high = max(high, height)
        yield SheetBlock(tuple(items), high, 3.4)


def _mark(row: LegendRow, across: float) -> tuple[ItemGroup, float]:
    sign = ItemGroup(row.items)
    room = max(SIGN, extent(sign).right + 6.0)
    lines = wrap_text(row.sentence, "sans", SMALL, across - room)
    texts = text_lines(lines, "sans", SMALL, room, 3.0)
    return ItemGroup((sign._replace(y=SMALL + 3.0), *texts), "entry"), len(lines) * SMALL * LEADING + 3.0


def caution_blocks(timelines: Iterable[Timeline], width: float) -> Iterator[SheetBlock]:
    """The words of caution for some licks, which all have a practice ladder."""
    caution = CAUTION if any(map(needs_caution, timelines)) else CAUTION_LADDER
    yield from paragraph(caution, width, SMALL, "serif-italic", 14.0)


def _rights(rights: str) -> str:
    """Return `© 2026 Mara Quill` for rights that begin with a copyright notice or a year, else `rights: free to copy`; "" for none."""
    notice = _COPYRIGHT.match(rights)
    if notice is None:
        return f"rights: {rights}" if rights else ""
    return f"© {rights[notice.end() :]}"


def _ending(timeline: Timeline, width: float) -> Iterator[SheetBlock]:
    """Whose the lick is."""
    settings = timeline.settings
    source = f"source: {settings.source}" if settings.source else ""
    for words in (_rights(settings.rights), source):
        if words:
            yield from paragraph(words, width, SMALL, gap=4.0, ink=FAINT)
