"""The printed sheet: what a pupil takes home, as PDF, SVG or PNG.

In: a lick as drawn. Out: pages with its heading, neck, engraved tab, practice ladder, tips and legend. The same lick gives the same bytes on every run.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.source import Span
from lickwright.engraving.display_list import FAINT, ItemGroup, Text
from lickwright.engraving.svg import BLACK_INKS, PAPER_INKS, svg_document
from lickwright.engraving.typefaces import MissingFace, lacking
from lickwright.export import Export, LoweredLick, Options, SheetRequest
from lickwright.export.sheet.blocks import PlacedBlock, SheetBlock, paginate
from lickwright.export.sheet.content import lick_blocks
from lickwright.export.sheet.pdf import DocumentFacts, PrintedPage, write_pdf
from lickwright.timeline.model import Timeline

LETTERS = Rule(
    "L512",
    "letters that the sheet lacks",
    Severity.INFO,
    "a sheet's faces have no such letters",
    "The faces of a printed sheet have the letters of most languages of Europe, Greek and Cyrillic included. Others are printed as question marks; the "
    "text tab has them.",
    "",
    "",
)
FACES_MISSING = Rule(
    "L513",
    "no faces for the sheet",
    Severity.ERROR,
    "a file that sheets are set with cannot be read",
    "Sheets are set with faces that come with Lickwright. One of them is gone or damaged, so no sheet was made; everything else was.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (LETTERS, FACES_MISSING)

PAPER = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # points
SCALE = {"small": 0.9, "normal": 1.12, "large": 1.5}
MARGIN, TOP, BOTTOM = 50.0, 46.0, 50.0
_RESOLUTION = 2.5  # pixels to a point, of a PNG


def emit(lowered: LoweredLick, options: Options) -> Export:
    """The sheet in the first of the formats that are asked for. Raises `ImportError` for a PNG where the rasterizer is missing."""
    try:
        return _emit(lowered, options)
    except MissingFace as e:
        return Export(None, (missing_face(e, lowered.timeline.span),))


def missing_face(error: MissingFace, span: Span) -> Diagnostic:
    """The finding for a sheet that could not be made for want of a face."""
    return FACES_MISSING.at(Span(span.start, span.start), f"no sheet was made: {error}", "install lickwright again")


def _emit(lowered: LoweredLick, options: Options) -> Export:
    timeline, request = lowered.timeline, options.sheet
    blocks = lick_blocks(lowered.grid(), options, column_width(request), "lick")
    kind = request.formats[0]
    if kind == "pdf":
        data = sheet_pdf(blocks, request, DocumentFacts(timeline.title, timeline.settings.by))
    else:
        data = _picture(blocks, request, timeline.title)
        data = _png(data) if kind == "png" else data
    return Export(data, tuple(_losses(timeline)))


def column_width(request: SheetRequest) -> float:
    """The width of the text, in points before the print size scales it."""
    return (PAPER[request.paper][0] - 2 * MARGIN) / SCALE[request.size]


def sheet_pdf(blocks: Sequence[SheetBlock], request: SheetRequest, facts: DocumentFacts) -> bytes:
    """Blocks as pages of a PDF file. Raises `MissingFace`."""
    size = PAPER[request.paper]
    pages = paginate(blocks, (size[1] - TOP - BOTTOM) / SCALE[request.size])
    return write_pdf(print_pages(pages, request), size, facts, request.black)


def print_pages(pages: Sequence[Sequence[PlacedBlock]], request: SheetRequest) -> list[PrintedPage]:  # fmt: skip
    """Pages of blocks with their margins, page numbers and bookmarks."""
    scale = SCALE[request.size]
    printed = []
    for n, page in enumerate(pages, 1):
        marks = tuple((p.block.bookmark, TOP + p.y * scale) for p in page if p.block.bookmark)
        footer = _footer(n, len(pages), PAPER[request.paper])
        printed.append(PrintedPage((*_placed(page, scale), footer), marks))
    return printed


def _placed(page: Sequence[PlacedBlock], scale: float) -> Iterator[ItemGroup]:
    for placed in page:
        for group in placed.block.items:
            inner = placed.scale
            yield group._replace(
                x=MARGIN + group.x * inner * scale, y=TOP + (placed.y + group.y * inner) * scale, scale=group.scale * inner * scale
            )  # fmt: skip


def _footer(page: int, pages: int, size: tuple[float, float]) -> ItemGroup:
    if pages == 1:
        return ItemGroup(())
    return ItemGroup((Text(size[0] - MARGIN, size[1] - 26.0, f"{page} of {pages}", "sans", 7.5, "end", FAINT),))


def _picture(blocks: Sequence[SheetBlock], request: SheetRequest, title: str) -> bytes:
    """Blocks as one SVG picture, as high as they need."""
    scale = SCALE[request.size]
    (page,) = paginate([block._replace(new_page=False) for block in blocks], float("inf")) or [[]]
    height = TOP + BOTTOM + (page[-1].y + page[-1].block.height if page else 0.0) * scale
    inks = BLACK_INKS if request.black else PAPER_INKS
    text = svg_document(_placed(page, scale), PAPER[request.paper][0], height, inks, title, "#fff")
    return text.encode()


def _png(svg: bytes) -> bytes:
    import resvg_py

    from lickwright.engraving.typefaces import FACES, face_file

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=svg.decode(), font_files=[face_file(name) for name in FACES], zoom=_RESOLUTION, skip_system_fonts=True
        )
    )  # fmt: skip


def _losses(timeline: Timeline) -> Iterator[Diagnostic]:
    settings = timeline.settings
    words = "".join((timeline.title, settings.by, settings.rights, settings.source, settings.style, *settings.notes))
    words += "".join(saying.text for saying in timeline.sayings)
    letters = lacking(words)
    if letters:
        shown = letters if len(letters) <= 12 else letters[:12] + "…"
        yield LETTERS.at(Span(timeline.span.start, timeline.span.start), f"the sheet has no letters for {shown}")
