"""The objects of a PDF file: numbered, written in order, found by a table at the end (ISO 32000-1, 7.3 and 7.5).

In: dictionaries as text and streams as bytes. Out: the bytes of a file, the same for the same objects: no date and no random number is in it.
"""

from __future__ import annotations

import zlib


class PdfObjects:
    """The objects of one file. The first one that is made has number 1."""

    def __init__(self) -> None:
        self._bodies: list[bytes] = []

    def reserve(self) -> int:
        """A number for an object whose body is set later."""
        self._bodies.append(b"null")
        return len(self._bodies)

    def set(self, number: int, body: str) -> None:
        """Sets the body of a reserved object."""
        self._bodies[number - 1] = body.encode("latin-1")

    def add(self, body: str) -> int:
        """A new object; returns its number."""
        number = self.reserve()
        self.set(number, body)
        return number

    def add_stream(self, data: bytes, entries: str = "") -> int:
        """A new compressed stream; `entries` are more of its dictionary."""
        packed = zlib.compress(data, 6)
        head = f"<< /Length {len(packed)} /Filter /FlateDecode {entries}>>".encode("latin-1")
        self._bodies.append(head + b"\nstream\n" + packed + b"\nendstream")
        return len(self._bodies)

    def file(self, root: int, info: int) -> bytes:
        """The whole file; `root` and `info` are the numbers of its catalog and of its document information."""
        out = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
        starts = []
        for number, body in enumerate(self._bodies, 1):
            starts.append(len(out))
            out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
        table = len(out)
        out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1)
        for start in starts:
            out += b"%010d 00000 n \n" % start
        out += b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\n" % (len(starts) + 1, root, info)
        out += b"startxref\n%d\n%%%%EOF\n" % table
        return bytes(out)


def pdf_text(words: str) -> str:
    """Words as a string of a dictionary, in UTF-16."""
    return "<feff" + words.encode("utf-16-be", "replace").hex() + ">"


def pdf_number(value: float) -> str:
    """A number with two decimals at most."""
    return f"{value:.2f}".rstrip("0").rstrip(".") if abs(value) >= 0.005 else "0"
