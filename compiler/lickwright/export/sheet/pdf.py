"""Pages of display lists as a PDF file: tagged text in reading order, bookmarks, links, fonts embedded and subset.

In: `PrintedPage`s. Out: the bytes of a file, the same for the same pages. What has a role of `_TAGS` is told to a screen reader in the order of the display
list, a picture by its description; everything else is decoration.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from lickwright.engraving.display_list import ACCENT, FAINT, INK, PAPER, Item, ItemGroup, Link, Path, Text
from lickwright.engraving.typefaces import FACES, printable, typeface
from lickwright.export.sheet.pdf_fonts import embed_face
from lickwright.export.sheet.pdf_objects import PdfObjects, pdf_number, pdf_text

# Roles of groups, and the structure types of ISO 32000-1, 14.8.4, that they are.
_TAGS = {
    "title": "H1", "section": "H2", "paragraph": "P", "fact": "P", "system": "Figure", "diagram": "Figure",
    "entry": "P", "picture": "Figure",
}  # fmt: skip
COLORS = {INK: (0.0, 0.0, 0.0), ACCENT: (0.541, 0.2, 0.141), FAINT: (0.349, 0.349, 0.349), PAPER: (1.0, 1.0, 1.0)}
_BRIEF = 200  # characters
_RESOURCE = {name: f"F{n}" for n, name in enumerate(FACES)}


class PrintedPage(NamedTuple):
    """One page."""

    items: tuple[ItemGroup, ...]
    bookmarks: tuple[tuple[str, float], ...] = ()  # what starts here, and at which y


class DocumentFacts(NamedTuple):
    """What a file says about itself."""

    title: str
    author: str = ""


class _Tagged(NamedTuple):
    """A piece of a page that is told to a reader."""

    tag: str
    page: int
    content: int  # its number on the page
    alt: str


def write_pdf(pages: Sequence[PrintedPage], size: tuple[float, float], facts: DocumentFacts, black: bool) -> bytes:
    """The file of `pages`, each `size` points wide and high. Raises `MissingFace`."""
    objects = PdfObjects()
    catalog, tree = objects.reserve(), objects.reserve()
    writers = [_Content(size[1], black) for _ in pages]
    tagged: list[_Tagged] = []
    for number, (page, writer) in enumerate(zip(pages, writers, strict=True)):
        tagged += writer.page(page.items, number)
    fonts = _fonts(objects, writers)
    numbers = [objects.reserve() for _ in pages]
    for index in range(len(pages)):
        _add_page(objects, index, numbers, writers, tree, fonts, size)
    objects.set(tree, f"<< /Type /Pages /Count {len(pages)} /Kids [{_references(numbers)}] >>")
    structure = _structure(objects, tagged, numbers)
    outlines = _outlines(objects, pages, numbers, size[1])
    objects.set(
        catalog,
        f"<< /Type /Catalog /Pages {tree} 0 R /MarkInfo << /Marked true >> /StructTreeRoot {structure} 0 R /Lang (en) "
        f"/ViewerPreferences << /DisplayDocTitle true >>{outlines} >>",
    )
    said = f"/Title {pdf_text(_brief(facts.title))} /Producer (Lickwright)"
    said += f" /Author {pdf_text(_brief(facts.author))}" if facts.author else ""
    return objects.file(catalog, objects.add(f"<< {said} >>"))


def _references(numbers: Iterable[int]) -> str:
    return " ".join(f"{number} 0 R" for number in numbers)


def _fonts(objects: PdfObjects, writers: Sequence[_Content]) -> str:
    """The faces that pages use, as entries of their resources."""
    used = {name: "".join(sorted(set().union(*(writer.used[name] for writer in writers)))) for name in FACES}
    return " ".join(
        f"/{_RESOURCE[name]} {embed_face(objects, name, chars)} 0 R" for name, chars in used.items() if chars
    )


def _add_page(
    objects: PdfObjects,
    index: int,
    numbers: Sequence[int],
    writers: Sequence[_Content],
    tree: int,
    fonts: str,
    size: tuple[float, float],
) -> None:
    """Adds the page of an index: its content, its links, its place in the tree."""
    width, height = size
    writer = writers[index]
    targets = {name: (n, y) for n, other in enumerate(writers) for name, y in other.names.items()} if writer.links else {}  # fmt: skip
    content = objects.add_stream("\n".join(writer.words).encode("latin-1"))
    links = [_link(objects, link, height, numbers, targets) for link in writer.links if link.target in targets]
    objects.set(
        numbers[index],
        f"<< /Type /Page /Parent {tree} 0 R /MediaBox [0 0 {pdf_number(width)} {pdf_number(height)}] "
        f"/Resources << /Font << {fonts} >> >> /Contents {content} 0 R /StructParents {index} /Tabs /S "
        f"/Annots [{_references(links)}] >>",
    )


def _brief(words: str) -> str:
    """Words for a window's title or a bookmark."""
    return words if len(words) <= _BRIEF else words[: _BRIEF - 1] + "…"


def _link(objects: PdfObjects, link: Link, height: float, pages: Sequence[int], targets: dict[str, tuple[int, float]]) -> int:  # fmt: skip
    page, y = targets[link.target]
    rect = " ".join(map(pdf_number, (link.left, height - link.bottom, link.right, height - link.top)))
    return objects.add(
        f"<< /Type /Annot /Subtype /Link /Rect [{rect}] /Border [0 0 0] /F 4 "
        f"/Dest [{pages[page]} 0 R /XYZ 0 {pdf_number(height - y)} null] >>"
    )


def _structure(objects: PdfObjects, tagged: Sequence[_Tagged], pages: Sequence[int]) -> int:
    """The tree of what is told, in reading order."""
    root, document, parents = objects.reserve(), objects.reserve(), objects.reserve()
    by_page: dict[int, list[int]] = {}
    kids = []
    for one in tagged:
        alt = f" /Alt {pdf_text(one.alt)}" if one.alt else ""
        number = objects.add(
            f"<< /Type /StructElem /S /{one.tag} /P {document} 0 R /Pg {pages[one.page]} 0 R /K {one.content}{alt} >>"
        )
        kids.append(number)
        by_page.setdefault(one.page, []).append(number)
    objects.set(document, f"<< /Type /StructElem /S /Document /P {root} 0 R /K [{' '.join(f'{n} 0 R' for n in kids)}] >>")  # fmt: skip
    rows = " ".join(
        f"{page} [{' '.join(f'{n} 0 R' for n in by_page.get(page, ()))}]" for page in range(len(pages))
    )  # fmt: skip
    objects.set(parents, f"<< /Nums [{rows}] >>")
    objects.set(
        root,
        f"<< /Type /StructTreeRoot /K {document} 0 R /ParentTree {parents} 0 R /ParentTreeNextKey {len(pages)} >>",
    )
    return root


def _outlines(objects: PdfObjects, pages: Sequence[PrintedPage], numbers: Sequence[int], height: float) -> str:
    """The bookmarks, as an entry of the catalog; "" where there are none."""
    marks = [(words, n, y) for page, n in zip(pages, numbers, strict=True) for words, y in page.bookmarks]
    if not marks:
        return ""
    root = objects.reserve()
    every = [objects.reserve() for _ in marks]
    for index, (words, page, y) in enumerate(marks):
        beside = f" /Prev {every[index - 1]} 0 R" if index else ""
        beside += f" /Next {every[index + 1]} 0 R" if index + 1 < len(every) else ""
        place = f"[{page} 0 R /XYZ 0 {pdf_number(height - y)} null]"
        objects.set(every[index], f"<< /Title {pdf_text(_brief(words))} /Parent {root} 0 R /Dest {place}{beside} >>")
    objects.set(root, f"<< /Type /Outlines /First {every[0]} 0 R /Last {every[-1]} 0 R /Count {len(every)} >>")
    return f" /Outlines {root} 0 R /PageMode /UseOutlines"


class _Content:
    """The content of one page, as it is written."""

    def __init__(self, height: float, black: bool) -> None:
        self.words: list[str] = []
        self.used: dict[str, set[str]] = {name: set() for name in FACES}
        self.links: list[Link] = []
        self.names: dict[str, float] = {}  # of groups, and where they start
        self._height, self._black = height, black
        self._fill = self._stroke = ""
        self._count = 0

    def page(self, items: Iterable[Item], number: int) -> Iterator[_Tagged]:
        """Writes a page; gives what is told of it."""
        yield from self._items(items, number, 0.0, 0.0, 1.0, False)

    def _items(self, items: Iterable[Item], page: int, x: float, y: float, scale: float, inside: bool) -> Iterator[_Tagged]:  # fmt: skip
        loose: list[Item] = []
        for item in items:
            if not isinstance(item, ItemGroup):
                loose.append(item)
                continue
            self._artifact(loose, x, y, scale, inside)
            loose = []
            tag = None if inside else _TAGS.get(item.role)
            at = (x + item.x * scale, y + item.y * scale, scale * item.scale)
            if item.name:
                self.names[item.name] = at[1]
            if tag is not None:
                self.words.append(f"/{tag} << /MCID {self._count} >> BDC")
                yield _Tagged(tag, page, self._count, item.alt if tag == "Figure" else "")
                self._count += 1
            yield from self._items(item.items, page, *at, inside or tag is not None)
            if tag is not None:
                self.words.append("EMC")
        self._artifact(loose, x, y, scale, inside)

    def _artifact(self, items: Sequence[Item], x: float, y: float, scale: float, inside: bool) -> None:
        """What is drawn on its own; outside of all that is told, as decoration."""
        drawn = [item for item in items if not isinstance(item, Link)]
        if drawn and not inside:
            self.words.append("/Artifact BMC")
        for item in items:
            self._draw(item, x, y, scale)
        if drawn and not inside:
            self.words.append("EMC")

    def _draw(self, item: Item, x: float, y: float, scale: float) -> None:
        if isinstance(item, Text):
            self._text(item, x, y, scale)
        elif isinstance(item, Path):
            self._path(item, x, y, scale)
        elif isinstance(item, Link):
            self.links.append(
                Link(
                    x + item.left * scale,
                    y + item.top * scale,
                    x + item.right * scale,
                    y + item.bottom * scale,
                    item.target,
                )  # fmt: skip
            )

    def _text(self, item: Text, x: float, y: float, scale: float) -> None:
        text = printable(item.text, item.face)
        if not text:
            return
        left = item.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor] * item.width
        face = typeface(item.face)
        glyphs = "".join(f"{face.glyphs.get(char, 0):04x}" for char in text)
        self.used[item.face].update(text)
        self._color(item.ink, True)
        place = f"{pdf_number(x + left * scale)} {pdf_number(self._height - y - item.y * scale)}"
        size = pdf_number(item.size * scale)
        self.words.append(f"BT /{_RESOURCE[item.face]} {size} Tf {place} Td <{glyphs}> Tj ET")

    def _path(self, item: Path, x: float, y: float, scale: float) -> None:
        self._color(item.ink, item.filled)
        words = []
        for command in item.commands:
            if command[0] == "Z":
                words.append("h")
                continue
            numbers = [float(number) for number in command[1:]]
            moved = [
                pdf_number(self._height - y - number * scale if n % 2 else x + number * scale)
                for n, number in enumerate(numbers)
            ]
            words.append(f"{' '.join(moved)} {str(command[0]).lower()}")
        if item.filled:
            self.words.append(" ".join([*words, "f"]))
            return
        dash = f"[{' '.join(pdf_number(one * scale) for one in item.dash)}] 0 d "
        self.words.append(f"{dash}{pdf_number(item.width * scale)} w {' '.join(words)} S")

    def _color(self, ink: str, fill: bool) -> None:
        """Sets the color, where it is not the last one that was set."""
        color = " ".join(map(pdf_number, COLORS[INK if self._black and ink != PAPER else ink]))
        if fill and color != self._fill:
            self._fill = color
            self.words.append(f"{color} rg")
        elif not fill and color != self._stroke:
            self._stroke = color
            self.words.append(f"{color} RG")


__all__ = ["COLORS", "DocumentFacts", "PrintedPage", "write_pdf"]
