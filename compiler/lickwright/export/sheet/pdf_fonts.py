"""Faces embedded in a PDF file: of each the glyphs that are used, with what a reader needs to get the text back (ISO 32000-1, 9.6 to 9.10).

In: a face and the characters that a document prints in it. Out: objects of the file. Glyphs keep their numbers; the outlines of those that are not used
are left out.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable

from lickwright.core.digest import blake2b
from lickwright.engraving.typefaces import Typeface, typeface
from lickwright.export.sheet.pdf_objects import PdfObjects

_NAMES = {
    "sans": "NotoSans", "sans-bold": "NotoSans-Bold", "serif": "NotoSerif", "serif-italic": "NotoSerif-Italic",
}  # fmt: skip
_KEPT = ("cvt ", "fpgm", "glyf", "head", "hhea", "hmtx", "loca", "maxp", "prep")
_MORE, _WORDS, _SCALE, _TWO_SCALES, _MATRIX = 0x20, 0x01, 0x08, 0x40, 0x80  # flags of a composite glyph


def embed_face(objects: PdfObjects, name: str, used: Iterable[str]) -> int:
    """A face with the glyphs of `used`; returns the number of the font object. Raises `MissingFace`."""
    face = typeface(name)
    glyphs = {face.glyphs[char]: char for char in sorted(set(used), reverse=True) if char in face.glyphs}
    data = subset_file(face, glyphs)
    tag = "".join(chr(65 + byte % 26) for byte in blake2b(data, digest_size=6).digest())
    called = f"{tag}+{_NAMES[name]}"
    file = objects.add_stream(data, f"/Length1 {len(data)} ")
    start = face.tables["head"][0]
    left, low, right, high = (_thousandths(n, face) for n in struct.unpack_from(">4h", face.data, start + 36))
    ascent, descent = (_thousandths(n, face) for n in struct.unpack_from(">2h", face.data, face.tables["hhea"][0] + 4))
    italic = 64 if "italic" in name else 0
    descriptor = objects.add(
        f"<< /Type /FontDescriptor /FontName /{called} /Flags {4 + italic} /FontBBox [{left} {low} {right} {high}] "
        f"/ItalicAngle {-12 if italic else 0} /Ascent {ascent} /Descent {descent} /CapHeight 714 "
        f"/StemV {140 if 'bold' in name else 80} /FontFile2 {file} 0 R >>"
    )
    widths = " ".join(f"{glyph} [{_thousandths(face.advances[glyph], face)}]" for glyph in sorted(glyphs))
    inner = objects.add(
        f"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /{called} /CIDSystemInfo << /Registry (Adobe) /Ordering "
        f"(Identity) /Supplement 0 >> /FontDescriptor {descriptor} 0 R /DW 600 /W [{widths}] /CIDToGIDMap /Identity >>"
    )
    text = objects.add_stream(_to_unicode(glyphs))
    return objects.add(
        f"<< /Type /Font /Subtype /Type0 /BaseFont /{called} /Encoding /Identity-H "
        f"/DescendantFonts [{inner} 0 R] /ToUnicode {text} 0 R >>"
    )


def _thousandths(units: int, face: Typeface) -> int:
    return round(units * 1000 / face.units)


def _to_unicode(glyphs: dict[int, str]) -> bytes:
    """The table by which a reader gets characters back from glyphs."""
    rows = [f"<{glyph:04x}> <{char.encode('utf-16-be').hex()}>" for glyph, char in sorted(glyphs.items())]
    parts = [rows[n : n + 100] for n in range(0, len(rows), 100)]
    body = "\n".join(f"{len(part)} beginbfchar\n" + "\n".join(part) + "\nendbfchar" for part in parts)
    return (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n1 begincodespacerange\n<0000> <ffff>\nendcodespacerange\n"
        f"{body}\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
    ).encode("ascii")


def subset_file(face: Typeface, glyphs: Iterable[int]) -> bytes:
    """The font file with the outlines of `glyphs` alone, and of what they are put together from."""
    data = face.data
    outlines, places = face.tables["glyf"][0], _places(face)
    wanted, todo = {0}, sorted(glyphs)
    while todo:
        glyph = todo.pop()
        if glyph not in wanted:
            wanted.add(glyph)
            todo += _components(data, outlines + places[glyph], outlines + places[glyph + 1])
    body, starts = bytearray(), []
    for glyph in range(len(places) - 1):
        starts.append(len(body))
        if glyph in wanted:
            body += data[outlines + places[glyph] : outlines + places[glyph + 1]]
            body += b"\0" * (-len(body) % 4)
    starts.append(len(body))
    tables = {tag: data[start : start + length] for tag, (start, length) in face.tables.items() if tag in _KEPT}
    tables["glyf"] = bytes(body)
    tables["loca"] = struct.pack(f">{len(starts)}I", *starts)
    head = bytearray(tables["head"])
    struct.pack_into(">I", head, 8, 0)  # the sum of the file, which readers of PDF do not ask for
    struct.pack_into(">h", head, 50, 1)  # places in `loca` of four bytes
    tables["head"] = bytes(head)
    return _font_file(tables)


def _places(face: Typeface) -> tuple[int, ...]:
    """Where each glyph's outline starts, and at last where the outlines end."""
    count = len(face.advances) + 1
    start = face.tables["loca"][0]
    if struct.unpack_from(">h", face.data, face.tables["head"][0] + 50)[0]:
        return struct.unpack_from(f">{count}I", face.data, start)
    return tuple(2 * place for place in struct.unpack_from(f">{count}H", face.data, start))


def _components(data: bytes, start: int, end: int) -> list[int]:
    """The glyphs that a composite glyph is made of."""
    if end - start < 10 or struct.unpack_from(">h", data, start)[0] >= 0:
        return []
    found, at, flags = [], start + 10, _MORE
    while flags & _MORE:
        flags, glyph = struct.unpack_from(">2H", data, at)
        found.append(glyph)
        at += 4 + (4 if flags & _WORDS else 2)
        at += 2 if flags & _SCALE else 4 if flags & _TWO_SCALES else 8 if flags & _MATRIX else 0
    return found


def _font_file(tables: dict[str, bytes]) -> bytes:
    count = len(tables)
    power = 1 << (count.bit_length() - 1)
    out = bytearray(struct.pack(">I4H", 0x00010000, count, power * 16, power.bit_length() - 1, count * 16 - power * 16))
    at, bodies = 12 + 16 * count, bytearray()
    for tag, table in sorted(tables.items()):
        padded = table + b"\0" * (-len(table) % 4)
        total = sum(struct.unpack(f">{len(padded) // 4}I", padded)) & 0xFFFFFFFF
        out += struct.pack(">4s3I", tag.encode("ascii"), total, at + len(bodies), len(table))
        bodies += padded
    return bytes(out + bodies)
