"""Reads a PDF file back by its own tables: shares no code with its writer.

In: the bytes of a file. Out: its objects, the content of its pages, and the text on them in the order in which it is drawn. Fails where the file is not
in order.
"""

from __future__ import annotations

import re
import zlib


def objects(data: bytes) -> dict[int, bytes]:
    """The objects of a file, found by its table alone; fails where the table is wrong."""
    start = int(re.findall(rb"startxref\n(\d+)\n%%EOF\n", data)[-1])
    table = re.match(rb"xref\n0 (\d+)\n((?:\d{10} \d{5} [fn] \n)+)trailer\n", data[start:])
    assert table is not None
    rows = table[2].split(b" \n")[1:-1]
    assert len(rows) + 1 == int(table[1])
    found = {}
    for number, row in enumerate(rows, 1):
        at = int(row[:10])
        head = b"%d 0 obj\n" % number
        assert data[at : at + len(head)] == head
        found[number] = data[at + len(head) : data.index(b"\nendobj\n", at)]
    return found


def stream(body: bytes) -> bytes:
    head, _, rest = body.partition(b"\nstream\n")
    length = re.search(rb"/Length (\d+)", head)
    assert length is not None
    assert rest[int(length[1]) :] == b"\nendstream"
    return zlib.decompress(rest[: int(length[1])])


def pages(found: dict[int, bytes]) -> list[bytes]:
    """The content of each page."""
    (tree,) = (body for body in found.values() if b"/Type /Pages" in body)
    kids = re.findall(rb"(\d+) 0 R", re.search(rb"/Kids \[(.*?)\]", tree)[1])  # type: ignore[index]
    contents = [re.search(rb"/Contents (\d+) 0 R", found[int(kid)])[1] for kid in kids]  # type: ignore[index]
    return [stream(found[int(number)]) for number in contents]


def printed(data: bytes) -> str:
    """All text of a file, a line a text, in the order in which it is drawn."""
    return "\n".join(line for page in printed_pages(data) for line in page)


def printed_pages(data: bytes) -> list[list[str]]:
    """The texts of each page in the order in which they are drawn, by the file's own tables from glyphs to characters."""
    found = objects(data)
    page = next(body for body in found.values() if b"/Type /Page " in body)  # all have the same faces
    known: dict[str, dict[str, str]] = {}
    for name, number in re.findall(rb"/(F\d) (\d+) 0 R", page):
        table = stream(found[int(re.search(rb"/ToUnicode (\d+)", found[int(number)])[1])])  # type: ignore[index]
        rows = re.findall(rb"<([0-9a-f]{4})> <([0-9a-f]+)>\n", table)
        known[name.decode()] = {
            glyph.decode(): bytes.fromhex(code.decode()).decode("utf-16-be") for glyph, code in rows
        }
    every = []
    for content in pages(found):
        lines = []
        for name, glyphs in re.findall(rb"/(F\d) [\d.]+ Tf [-\d.]+ [-\d.]+ Td <([0-9a-f]+)> Tj", content):
            text = glyphs.decode()
            lines.append("".join(known[name.decode()][text[n : n + 4]] for n in range(0, len(text), 4)))
        every.append(lines)
    return every
