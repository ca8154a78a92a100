"""What a lesson page says, part by part: heading, player, music, neck, tips, practice ladder, table, marks, downloads, caution.

In: a lick as counted, drawn and sounded. Out: `Markup`. What the player needs to find has an `id`; `lesson.js` names the same ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from lickwright.core.fast_dataclass import replace
from lickwright.engraving.engrave import EngravingOptions
from lickwright.export.page import neck
from lickwright.export.page.index_page import FILE_NAME
from lickwright.export.page.markup import Markup, data_uri, el
from lickwright.export.page.music import draw_mark
from lickwright.export.sheet.legend import legend_of
from lickwright.export.tab.heading import needs_caution
from lickwright.export.timing import NOTE, TimingRow
from lickwright.hand.measures import CAUTION, CAUTION_LADDER
from lickwright.layout.grid import Grid
from lickwright.music.accidentals import accidental_signs
from lickwright.settings.fields import Settings
from lickwright.timeline.model import Timeline

SLOWEST, FASTEST = 40, 110  # per cent of the tempo that the player goes to
MOST_ROWS = 1_000  # of the table: more than a reader follows, and a page must stay one that a phone opens
_TABLE = ("bar", "count", "seconds", "string", "fret", "note", "how it is played", "bent to", "finger")


def section(name: str, title: str, *children: str | None, **attributes: str) -> Markup:
    """A part of the page under a heading of its own."""
    return el("section", el("h2", title, id=f"{name}-title"), children, aria_labelledby=f"{name}-title", **attributes)


def fact_list(facts: Sequence[tuple[str, str]]) -> Markup:
    """What a player has to know, each with its name."""
    listed = (el("div", el("dt", name), el("dd", value, dir="auto")) for name, value in facts)
    return el("dl", *listed, class_="facts")


def page_head(timeline: Timeline, facts: Sequence[tuple[str, str]]) -> Markup:
    """Title, author, and what a player has to know before the first note."""
    settings = timeline.settings
    return el(
        "header",
        el(
            "nav",
            el("a", "All licks", href=FILE_NAME, id="index-link"),
            id="back",
            class_="back screen",
            aria_label="Library",
            hidden=True,
        ),
        el("h1", timeline.title, dir="auto"),
        el("p", "by ", el("span", settings.by, dir="auto"), class_="by") if settings.by else None,
        fact_list(facts),
    )


def player() -> Markup:
    """What stays in sight while the lick is played: the button, what is going on, the speed, the count."""
    return el(
        "div",
        el("button", "Play", type="button", id="play", disabled=True),
        el("p", "Ready.", id="status", role="status", class_="status"),
        el(
            "div", el("label", "Speed", for_="speed"),
            el("input", type="range", id="speed", min=SLOWEST, max=FASTEST, step=1, value=100),
            el("output", "100 %", id="speed-said", for_="speed"), class_="field wide",
        ),
        el("p", id="count", class_="count", aria_hidden="true"),
        el("noscript", el("p", "Playing needs scripts. All that is printed here can be read without them.")),
        class_="lead screen", id="player", role="group", aria_label="Play along",
    )  # fmt: skip


def choices(bars: Sequence[str], said: str) -> Markup:
    """What can be chosen about playing. `bars` are the names of the bars as played; `said` tells what sounds."""
    first = [el("option", name, value=str(n)) for n, name in enumerate(bars)]
    last = [el("option", name, value=str(n), selected=n == len(bars) - 1) for n, name in enumerate(bars)]
    return section(
        "choices", "How it plays",
        el(
            "div",
            el(
                "div", el("label", "From bar", for_="from"), el("select", *first, id="from"),
                el("label", "to", for_="to"), el("select", *last, id="to"), class_="field",
            ),
            _switch("again", "Loop"), _switch("count-in", "Count-in", on=True), _switch("click", "Click"),
            _switch("answer", "Call and response"),
            class_="controls",
        ),
        el("p", "Call and response leaves you as long a silence after each time, to answer in. ", said, class_="hint", id="sound-said"),
        class_="choices screen",
    )  # fmt: skip


def _switch(id: str, words: str, on: bool = False) -> Markup:
    return el("label", el("input", type="checkbox", id=id, checked=on), el("span", words), class_="field switch")


def music(drawings: Sequence[Markup]) -> Markup:
    """The music, drawn for several widths, of which the style shows one."""
    help = "arrow keys go from bar to bar, Shift with them changes which bars are played, Space plays and pauses, Escape chooses the whole lick."
    return section(
        "music", "Music",
        el("div", *drawings, id="music", class_="music", tabindex="0", role="group", aria_labelledby="music-title", aria_describedby="music-help"),
        el("p", "Drag over bars to play only those. By keyboard: ", help, id="music-help", class_="hint screen by-mouse"),
        el("p", "Tap a bar to start there. Swipe sideways over bars to play only those.", class_="hint screen by-touch"),
    )  # fmt: skip


def neck_section(timeline: Timeline, left_handed: bool) -> Markup | None:
    """The neck, and what its shapes mean; None for a lick without notes on frets."""
    view = neck.neck_view(timeline)
    if view is None:
        return None
    words = [said for _, said in neck.legend(timeline, view)]
    return section(
        "neck", "On the neck",
        el("p", view.caption, class_="hint"),
        *_neck_numbers("fret numbers" if timeline.settings.key is None else "scale degrees"),
        neck.draw_neck(timeline, view, left_handed),
        el("p", "; ".join(words), class_="hint") if words else None,
        class_="on-neck",
    )  # fmt: skip


def _neck_numbers(usual: str) -> Iterator[Markup]:
    """The choice of what the numbers on the neck are; they stand before the neck, which the style changes by what is checked."""
    yield el("span", "The numbers are:", class_="numbers", id="numbers-said")
    for id, words in (("by-degree", usual), ("by-order", "playing order")):
        yield el("input", type="radio", name="numbers", id=id, class_="numbers", checked=id == "by-degree")
        yield el("label", words, for_=id, class_="numbers")


def tips(settings: Settings) -> Markup | None:
    """The writer's own words about the lick."""
    if not settings.notes:
        return None
    return section("tips", "Tips", *(el("p", note, dir="auto") for note in settings.notes), class_="tips")


def ladder(rungs: Sequence[Fraction], beat: str) -> Markup:
    """The practice ladder: a tempo to play at, and a box to tick, for each rung; `beat` is the note value that is counted: "quarter note"."""
    steps = []
    for rung in rungs:
        said = f"{float(rung):g}"
        steps.append(
            el(
                "li",
                el("button", said, type="button", class_="rung", data_bpm=said, aria_label=f"Play at {said} beats a minute"),
                el("label", el("input", type="checkbox", class_="tick", data_bpm=said), el("span", f"{said} is clean", class_="unseen"), class_="box"),
            )
        )  # fmt: skip
    return section(
        "ladder", "Practice ladder",
        el("p", f"{beat.capitalize()}s a minute. Tick a tempo when it is clean three times in a row, then climb.", class_="hint"),
        el("ol", *steps, class_="ladder"),
        class_="practice",
    )  # fmt: skip


def table(rows: Sequence[TimingRow]) -> Markup:
    """The notes as a table, for readers to whom the drawing says nothing; columns that are empty from top to bottom are left out."""
    notes = [row for row in rows if row.event == NOTE]
    cells = [list(_cells(row)) for row in notes[:MOST_ROWS]]
    kept = [n for n in range(len(_TABLE)) if any(row[n] for row in cells)]
    head = el("thead", el("tr", *(el("th", _TABLE[n], scope="col") for n in kept)))
    body = el("tbody", *(el("tr", *(el("td", row[n]) for n in kept)) for row in cells))
    whole = el("table", el("caption", "Every note in playing order"), head, body)
    more = len(notes) - MOST_ROWS
    return el(
        "details",
        el("summary", "The notes as a table"),
        el("div", whole, class_="scroll", tabindex="0", role="group", aria_label="Table of the notes"),
        el("p", f"{more:,} more notes are in the timing sheet.", class_="hint") if more > 0 else None,
        id="notes",
    )


def _cells(row: TimingRow) -> Iterator[str]:
    yield from map(str, (row.bar or "pick-up", row.count, f"{row.at_s:.2f}", row.string, row.fret))
    yield accidental_signs(row.note)
    yield row.how
    yield accidental_signs(str(row.bend_to))
    yield str(row.finger)


def marks(grid: Grid, drawn: EngravingOptions) -> Markup | None:
    """What the marks in the music mean; None where there are only plain frets."""
    rows = legend_of(grid, replace(drawn, count=False))  # the page counts aloud
    if not rows:
        return None
    listed = (el("div", el("dt", draw_mark(row.items)), el("dd", row.sentence)) for row in rows)
    return el("details", el("summary", "What the marks mean"), el("dl", *listed, class_="marks"), id="marks")


def heard() -> Markup:
    """A place for the report on a recording."""
    return section(
        "heard", "Your recording",
        el("p", "Choose the report that ", el("code", "lickwright listen … --report"), " wrote, or drop it on this page. ",
           "It stays on this device.", class_="hint screen"),
        el("label", "Report: ", el("input", type="file", accept=".json,application/json", id="heard-file"), class_="screen"),
        el("div", id="heard-report", role="status"),
        class_="heard",
    )  # fmt: skip


def downloads(slug: str, midi: bytes, tab: bytes) -> Markup:
    """MIDI file and text tab, inside the page."""
    files = (
        (f"{slug}.mid", "MIDI file", data_uri(midi, "audio/midi")),
        (f"{slug}.tab.txt", "Text tab", data_uri(tab, "text/plain")),
    )
    links = (el("li", el("a", words, href=address, download=name)) for name, words, address in files)
    return section("keep", "Downloads", el("ul", *links, class_="files"), class_="keep screen")


def page_end(timeline: Timeline) -> Markup:
    """Caution, rights, source and tags."""
    settings = timeline.settings
    rows = (("source", settings.source), ("tags", settings.tags))
    said = [el("div", el("dt", name), el("dd", words, dir="auto")) for name, words in rows if words]
    return el(
        "footer",
        el("p", CAUTION if needs_caution(timeline) else CAUTION_LADDER, class_="caution"),
        el("p", settings.rights, class_="rights", dir="auto") if settings.rights else None,
        el("dl", *said, class_="facts") if said else None,
    )
