"""Text as XML has it.

In: any text. Out: the same, safe inside an element or a quoted attribute.
"""

from __future__ import annotations

import re

_FORBIDDEN = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # by XML 1.0, section 2.2


def allowed_xml(words: str) -> str:
    """Return the text with a question mark for each character that XML forbids; special signs are not escaped."""
    return _FORBIDDEN.sub("?", words)


def escape_xml(words: str) -> str:
    """The text with its special signs escaped; characters that XML forbids become question marks."""
    return allowed_xml(words).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
