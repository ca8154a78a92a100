"""A MusicXML file compressed: a ZIP archive with the score, as the MusicXML standard lays it out.

In: the bytes of a score. Out: the bytes of an `.mxl` file, the same for the same score.
"""

from __future__ import annotations

from io import BytesIO

_SCORE = "score.musicxml"
_TYPE = "application/vnd.recordare.musicxml"
_CONTAINER = f"""<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="{_SCORE}" media-type="{_TYPE}+xml"/>
  </rootfiles>
</container>
"""
_NO_DATE = (1980, 1, 1, 0, 0, 0)  # the earliest that a ZIP archive can hold


def compressed_score(score: bytes) -> bytes:
    """Return the archive. Its first member, stored as it is, says what the archive is."""
    import zipfile

    members = (
        ("mimetype", _TYPE.encode(), zipfile.ZIP_STORED),
        ("META-INF/container.xml", _CONTAINER.encode(), zipfile.ZIP_DEFLATED),
        (_SCORE, score, zipfile.ZIP_DEFLATED),
    )
    file = BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, data, method in members:
            member = zipfile.ZipInfo(name, _NO_DATE)
            member.compress_type = method
            member.create_system = 3  # whichever system writes it
            member.external_attr = 0o644 << 16
            archive.writestr(member, data)
    return file.getvalue()
