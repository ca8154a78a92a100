"""The printed sheet: what a pupil takes home, as PDF, SVG or PNG.

In: a lick as drawn. Out: pages with its heading, neck, engraved tab, practice ladder, tips and legend. The same lick gives the same bytes on every run.
"""

from __future__ import annotations

from collections.abc import Iterator

from lickwright.core.diagnostics import Diagnostic, Rule, Severity
from lickwright.core.source import Span
from lickwright.engraving.svg import BLACK_INKS, PAPER_INKS, svg_document
from lickwright.engraving.typefaces import MissingFace, lacking
from lickwright.export import Export, LoweredLick, Options
from lickwright.export.sheet.blocks import PlacedBlock, paginate
from lickwright.export.sheet.content import lick_blocks
from lickwright.export.sheet.page_shape import BOTTOM, TOP, PageShape, page_shape, place_blocks, print_pages
from lickwright.export.sheet.pdf import DocumentFacts, write_pdf
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
    "no faces for sheets and pages",
    Severity.ERROR,
    "a file that sheets and lesson pages are set with cannot be read",
    "Sheets, and the music of lesson pages, are set with faces that come with Lickwright. One of them is gone or damaged, so no sheet and no page was "
    "made; everything else was.",
    "",
    "",
)
RULES: tuple[Rule, ...] = (LETTERS, FACES_MISSING)

_RESOLUTION = 2.5  # pixels to a point, of a PNG
_LITTLE = 0.3  # of a page
_SMALLER = (0.95, 0.9)  # how much smaller the print may be so that a sheet needs no second page for a few lines


def emit(lowered: LoweredLick, options: Options) -> Export:
    """The sheet in the first of the formats that are asked for. Raises `ImportError` for a PNG where the rasterizer is missing."""
    try:
        return _emit(lowered, options)
    except MissingFace as e:
        return Export(None, (missing_face(e, lowered.timeline.span),))


def missing_face(error: MissingFace, span: Span, what: str = "sheet") -> Diagnostic:
    """Return the finding for a sheet, or what else is engraved, that could not be made for want of a face."""
    return FACES_MISSING.at(Span(span.start, span.start), f"no {what} was made: {error}", "install lickwright again")


def _emit(lowered: LoweredLick, options: Options) -> Export:
    timeline, request = lowered.timeline, options.sheet
    kind = request.formats[0]
    if kind == "pdf":
        pages, shape = _pages(lowered, options)
        facts = DocumentFacts(timeline.title, timeline.settings.by)
        data = write_pdf(print_pages(pages, shape), shape.paper, facts, request.black)
    else:
        data = _picture(lowered, options)
        data = _png(data) if kind == "png" else data
    return Export(data, tuple(_losses(timeline)))


def _pages(lowered: LoweredLick, options: Options) -> tuple[list[list[PlacedBlock]], PageShape]:
    """Return the pages of a lick: one fewer, in a slightly smaller print, where there would be little on the last.

    Where that does not help, what follows the music begins the last page together.
    """
    usual, shape = _paginated(lowered, options, 1.0)
    if len(usual) < 2 or not _is_little(usual[-1], shape):
        return usual, shape
    for shrink in _SMALLER:
        pages, smaller = _paginated(lowered, options, shrink)
        if len(pages) < len(usual):
            return pages, smaller
    blocks = [placed.block for page in usual for placed in page]
    section = next((n for n, block in enumerate(blocks) if n and block.is_section), 0)
    if section:
        blocks[section] = blocks[section]._replace(new_page=True)
        parted = paginate(blocks, shape.room)
        if len(parted) == len(usual):
            return parted, shape
    return usual, shape


def _is_little(page: list[PlacedBlock], shape: PageShape) -> bool:
    return page[-1].y + page[-1].block.height <= _LITTLE * shape.room


def _paginated(lowered: LoweredLick, options: Options, shrink: float) -> tuple[list[list[PlacedBlock]], PageShape]:
    shape = page_shape(options.sheet, shrink)
    return paginate(lick_blocks(lowered.grid(), options, shape.column, "lick"), shape.room), shape


def _picture(lowered: LoweredLick, options: Options) -> bytes:
    """A lick as one SVG picture, as high as it needs."""
    request, shape = options.sheet, page_shape(options.sheet)
    blocks = lick_blocks(lowered.grid(), options, shape.column, "lick")
    (page,) = paginate(blocks, float("inf"))
    height = TOP + BOTTOM + (page[-1].y + page[-1].block.height) * shape.scale
    inks = BLACK_INKS if request.black else PAPER_INKS
    items = place_blocks(page, shape.scale)
    return svg_document(items, shape.paper[0], height, inks, lowered.timeline.title, "#fff").encode()


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
    words += "".join(direction.text for direction in timeline.directions)
    letters = lacking(words)
    if letters:
        shown = letters if len(letters) <= 12 else letters[:12] + "…"
        yield LETTERS.at(Span(timeline.span.start, timeline.span.start), f"the sheet has no letters for {shown}")
