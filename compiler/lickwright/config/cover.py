"""The cover of an album: a picture that a `lickwright.toml` names for its recordings.

In: the name of the picture, and the folder or address of the lickwright.toml. Out: a `Cover`, or a ValueError in a player's words. The picture
has to lie in that folder or below it by real path, since a library may have come from anybody: no file outside it is ever written into a
recording. Its kind is known by its first bytes, not by its name.
"""

from __future__ import annotations

import os
import struct

from lickwright.core.digest import blake2b
from lickwright.core.file_bytes import error_reason
from lickwright.export import Cover
from lickwright.store.addresses import NoAddress, is_remote, parse_address, remote_errors
from lickwright.store.ownership import file_kind, open_ordinary

LARGEST = 2 << 20  # bytes; it stands in every recording
_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8\xff"
_MARKERS_WITHOUT_LENGTH = (0x01, *range(0xD0, 0xD8))  # JPEG markers without a length
_NO_FRAME = (0xC4, 0xC8, 0xCC)  # among 0xC0 to 0xCF those that begin no picture


def read_cover(name: str, home: str) -> Cover:
    """Return the picture `name` in or below the folder `home`. Raises ValueError, which says why there is none."""
    data = _read_remote(name, home) if is_remote(home) else _read_local(name, home)
    if len(data) > LARGEST:
        raise ValueError(f"`{name[:60]}` is larger than {LARGEST >> 20} MiB")
    return parse_cover(data, name)


def _read_local(name: str, home: str) -> bytes:
    real, top = os.path.realpath(os.path.join(home, name)), os.path.realpath(home or ".")
    if not real.startswith(os.path.join(top, "")):
        raise ValueError(f"`{name[:60]}` is a link that leads out of this folder")
    try:
        what = file_kind(os.stat(real).st_mode)
        if what != "file":
            raise ValueError(f"`{name[:60]}` is a {what}, a picture is needed")
        with os.fdopen(open_ordinary(real), "rb") as file:
            return file.read(LARGEST + 1)
    except OSError as e:
        raise ValueError(f"`{name[:60]}` cannot be read: {error_reason(e)}"[:180]) from None


def _read_remote(name: str, home: str) -> bytes:
    if any(part in ("", ".", "..") for part in name.split("/")):
        raise ValueError(f"`{name[:60]}` leads out of this folder")
    try:
        at = parse_address(f"{home}/{name}")
        with remote_errors(ValueError):
            info = at.fs.info(at.path)
            if info.get("islink") or info["type"] != "file":
                raise ValueError(f"`{name[:60]}` is no file, a picture is needed")
            data: bytes = at.fs.cat_file(at.path, start=0, end=LARGEST + 1)
            return data
    except (NoAddress, OSError) as e:
        raise ValueError(f"`{name[:60]}` cannot be read: {error_reason(e)}"[:180]) from None


def parse_cover(data: bytes, name: str) -> Cover:
    """Return the picture in `data`. Raises ValueError unless it is a PNG or JPEG file whose size in pixels can be read."""
    digest = blake2b(data, digest_size=16).hexdigest()
    found = _png(data) or _jpeg(data)
    if found is None:
        raise ValueError(f"`{name[:60]}` is no PNG or JPEG picture")
    mime, width, height = found
    return Cover(mime, width, height, digest, data)


def _png(data: bytes) -> tuple[str, int, int] | None:
    """Return type, width and height in pixels. They stand in the first chunk (PNG, third edition, 5.2 and 11.2.1)."""
    if not data.startswith(_PNG) or data[12:16] != b"IHDR" or len(data) < 24:
        return None
    width, height = struct.unpack(">II", data[16:24])
    return ("image/png", width, height) if width and height else None


def _jpeg(data: bytes) -> tuple[str, int, int] | None:
    """Return type, width and height in pixels. They stand in the header of the frame (ITU-T T.81, B.2.2)."""
    if not data.startswith(_JPEG):
        return None
    at = 2
    while at + 9 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
        elif marker in _MARKERS_WITHOUT_LENGTH:
            at += 2
        elif 0xC0 <= marker <= 0xCF and marker not in _NO_FRAME:
            height, width = struct.unpack(">HH", data[at + 5 : at + 9])
            return ("image/jpeg", width, height) if width and height else None
        else:
            at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return None
