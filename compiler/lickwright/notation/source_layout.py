"""What a text's writer left between its parts: blank lines, line breaks, comments to the letter.

In: the text that a book was read from, "" for a book that was made otherwise. Out: answers about places in it.
"""

from __future__ import annotations

from lickwright.notation.tree import Comment


class SourceLayout:
    """The white space and comments of one text."""

    def __init__(self, text: str = "") -> None:
        self._text = text

    def breaks_between(self, end: int, start: int) -> bool:
        """Return True if a line ends between two places."""
        return end >= 0 and self._text.find("\n", end, start) >= 0

    def is_after_blank_line(self, place: int) -> bool:
        """Return True if the line before that of `place` is blank."""
        start = self._text.rfind("\n", 0, place)
        before = self._text.rfind("\n", 0, max(start, 0))
        return start > 0 and not self._text[before + 1 : start].strip()

    def whole_line(self, start: int, end: int) -> str:
        """Return the line that a stretch of the text stands in, "" where it stands in several or in none."""
        if end <= start or self._text.find("\n", start, end) >= 0:
            return ""
        last = self._text.find("\n", end)
        return self._text[self._text.rfind("\n", 0, start) + 1 : last if last >= 0 else None].rstrip()

    def comment(self, comment: Comment) -> str:
        """Return a comment as it was written."""
        written = self._text[comment.span.start : comment.span.end].rstrip()
        return written if written.startswith("#") else f"# {comment.text}".rstrip()

    def lines(self, start: int, length: int) -> list[str]:
        """Return the lines of a stretch of the text; none where there is no text."""
        return self._text[start : start + length].split("\n") if self._text else []
