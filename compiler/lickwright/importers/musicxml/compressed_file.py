"""The score inside of a compressed MusicXML file (`.mxl`), read in memory and in bounds.

In: the bytes of a ZIP archive that anybody may have made. Out: the bytes of the score that its container names. Nothing is written, and no name in
the archive is used as a path.
"""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from typing import TYPE_CHECKING

from lickwright.core.unreadable import Unreadable
from lickwright.importers.xml_tree import MAX_XML_BYTES, parse_xml

if TYPE_CHECKING:
    from zipfile import ZipFile, ZipInfo

_MAX_MEMBERS = 100
_MAX_CONTAINER = 1 << 16  # bytes
_END, _END_SIZE = b"PK\x05\x06", 22  # the record at the end of an archive, with the number of its members
_MAX_COMMENT = 1 << 16
_HINT = "export it again, or as MusicXML that is not compressed"
_METHODS = (0, 8)  # stored and deflated, whose reading takes no memory of its own
_SCORES = (".musicxml", ".xml")


def is_compressed(data: bytes) -> bool:
    """Return whether bytes begin like a ZIP archive."""
    return data.startswith(b"PK")


def score_in_archive(data: bytes) -> bytes:
    """Return the bytes of the score. Raises `Unreadable` for an archive that is damaged, has no score or would unpack to too much."""
    from zipfile import BadZipFile, ZipFile

    _refuse_many(data)
    try:
        with ZipFile(BytesIO(data)) as archive:
            return _read(archive, _root(archive), MAX_XML_BYTES)
    except (
        BadZipFile,
        NotImplementedError,
        RuntimeError,
        EOFError,
        OSError,
        ValueError,
        struct.error,
        zlib.error,
    ) as e:
        raise Unreadable(f"the archive cannot be read: {str(e)[:80] or 'it is damaged'}", _HINT) from None


def _refuse_many(data: bytes) -> None:
    """Raise `Unreadable` where an archive says that it has too many members, before they are listed."""
    at = data.rfind(_END, max(0, len(data) - _MAX_COMMENT - _END_SIZE))
    if at < 0 or len(data) < at + _END_SIZE:
        raise Unreadable("the archive cannot be read: its end is missing", _HINT)
    members, size, offset = struct.unpack_from("<HII", data, at + 10)
    if members > _MAX_MEMBERS or size > members * 4096 or offset > len(data):
        raise Unreadable(f"the archive holds more than the {_MAX_MEMBERS} files of a score", _HINT)


def _root(archive: ZipFile) -> ZipInfo:
    """Return the member that is the score: the one that the container names, else the first that is called like one."""
    members = {member.filename: member for member in archive.infolist()}
    container = members.get("META-INF/container.xml")
    if container is not None:
        for root in parse_xml(_read(archive, container, _MAX_CONTAINER)).all("rootfiles/rootfile"):
            named = members.get(root.get("full-path"))
            if named is not None:
                return named
    for name, member in members.items():
        if name.lower().endswith(_SCORES) and not name.startswith("META-INF/"):
            return member
    raise Unreadable("the archive holds no score", _HINT)


def _read(archive: ZipFile, member: ZipInfo, most: int) -> bytes:
    if member.flag_bits & 1:
        raise Unreadable("the archive is encrypted", _HINT)
    if member.compress_type not in _METHODS:
        raise Unreadable("the archive is compressed in a way that no score is", _HINT)
    with archive.open(member) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise Unreadable(f"the score in the archive is larger than {most >> 20} MiB", _HINT)
    return data
