"""The state of one string while its marks are read, and what every kind of mark does to it.

In: tokens, from `marks.py`. Out: notes and shapes in a `ScannedBar`, and doubts. What each mark means is in `note_marks.py`, `shape_marks.py` and `marks.py`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from lickwright.core.diagnostics import Rule
from lickwright.core.source import Span
from lickwright.importers.text_tab.legend import Legend
from lickwright.importers.text_tab.rules import ASSUMED_MARK, BEND_UNSAID, NOT_JOINED, TURNED, UNKNOWN_MARK
from lickwright.importers.text_tab.scanned import ScannedBar, ScannedNote, ScannedShape

MOST_SHAPES = 16  # of one note
MEANT: dict[str, str] = {  # what a legend's meaning is called as a mark of the notation
    "palm": "pm", "ring": "=", "accent": "!", "short": ",", "ghost": "?", "tremolo": "tremolo", "up": "up", "down": "down", "slap": "slap",
    "pop": "pop", "grace": "grace",
}  # fmt: skip
MADE = frozenset(
    {"natural", "pinch", "artificial", "dead", "held"}
)  # meanings that a sign gives to the note that it stands at

Report = Callable[
    [Rule, str, str, Span, str], None
]  # rule, message, hint, place, what is not reported twice on one line
Place = Callable[[int, int], Span]


def _nowhere(first: int, last: int) -> Span:
    return Span(0, 0)


class ScanState:
    """What is known of one string up to the token that is read; it is carried from bar to bar and from system to system."""

    def __init__(self, string: int, legend: Legend, ours: bool, report: Report) -> None:
        self.string = string
        self.last: ScannedNote | None = None
        self._legend, self._ours, self._report = legend, ours, report
        self._pending, self._pending_touches, self._pending_span = "", False, Span(0, 0)
        self._bar = ScannedBar()
        self._text, self._left = "", 0
        self._place: Place = _nowhere
        self._gap = 99  # characters of filler since the last token
        self._ending = -1  # index after the last token
        self._ahead = ""  # the meaning of a sign that stands before its note
        self._muting: re.Match[str] | None = None  # the `PM` on the string that the next notes belong to
        self._held: ScannedNote | None = None  # the note in parentheses that the next token may touch

    def _span(self, token: re.Match[str]) -> Span:
        return self._place(self._left + token.start(), self._left + token.end())

    def _touches(self) -> bool:
        return self._gap == 0 and self.last is not None

    def _doubt(self, rule: Rule, message: str, hint: str, token: re.Match[str], key: str) -> None:
        self._report(rule, message, hint, self._span(token), key)

    def _assumed(self, token: re.Match[str], what: str, key: str = "") -> None:
        mark = token[0]
        self._doubt(
            ASSUMED_MARK,
            f"`{mark}` is taken for {what}",
            "say in the tab's key what the mark means, and read it again",
            token,
            key or mark,
        )

    def _unknown(self, token: re.Match[str]) -> None:
        self._doubt(
            UNKNOWN_MARK,
            f"`{token[0]}` on string {self.string} is not understood",
            "write what is meant into the lick",
            token,
            token[0],
        )
        if self._touches() and self.last is not None:
            self.last.sure = False

    def _add(self, token: re.Match[str], start: int, end: int, fret: int | None, sure: bool = True) -> ScannedNote:
        """Add a note whose fret stands from `start` to `end` of the text, with the connection that waits for it."""
        span = self._place(self._left + min(start, token.start()), self._left + max(end, start + 1))
        note = ScannedNote(self.string, self._left + start, self._left + end, fret, span, sure=sure)
        if self._pending and fret is None and self._pending != "t":
            self._pending = ""
            note.sure = False
            self._doubt(
                NOT_JOINED,
                f"`{token[0]}` has no fret to be connected to",
                "write the note without the sign",
                token,
                "to x",
            )
        if self._pending:
            self._connect(note, token)
        if self._ahead:
            self._give(note, self._ahead)
            self._ahead = ""
        if self._muting is not None:
            note.marks.add("pm")
        self._bar.notes.append(note)
        self.last = note
        return note

    def _connect(self, note: ScannedNote, token: re.Match[str]) -> None:
        sign, touches = self._pending, self._pending_touches
        self._pending = ""
        before = self.last
        if sign in ("s", "ss"):
            up = before is None or before.fret is None or note.fret is None or note.fret >= before.fret
            sign = ("/" if up else "\\") * (2 if sign == "ss" else 1)
        if touches and before is not None and before.fret is not None and note.fret is not None and sign != "t":
            sign = self._turned(sign, before.fret, note, token)
        note.begin, note.touching = sign, touches

    def _turned(self, sign: str, before: int, note: ScannedNote, token: re.Match[str]) -> str:
        """Return a connection in the direction of the frets."""
        other = {"h": "p", "p": "h", "/": "\\", "\\": "/", "//": "\\\\", "\\\\": "//"}.get(sign, sign)
        wrong = note.fret is not None and (note.fret < before if sign in ("h", "/", "//") else note.fret > before)
        if not wrong:
            return sign
        note.sure = False
        self._report(
            TURNED, f"`{sign}` from fret {before} to fret {note.fret} is read as `{other}`", "turn the sign, or correct the fret",
            self._pending_span, f"{sign}{before}{note.fret}",
        )  # fmt: skip
        return other

    def _shape(
        self,
        kind: str,
        token: re.Match[str],
        by: Fraction | None = None,
        unsaid: bool = False,
        apart: bool | None = None,
    ) -> None:
        """Add a shape to the last note: within it, or at a column of its own."""
        note = self.last
        if note is None:
            self._doubt(
                NOT_JOINED,
                f"`{token[0]}` stands where nothing sounds on string {self.string}",
                "write the note that it belongs to",
                token,
                token[0],
            )
            return
        if len(note.shapes) >= MOST_SHAPES or not shape_can_follow(kind, note):
            self._unknown(token)
            return
        digit = re.search(r"\d", token[0])
        x = self._left + token.start() + (digit.start() if digit and kind in ("^", "^^", "r") else 0)
        own = self._gap > 0 if apart is None else apart
        shape = ScannedShape(kind, x, by, own, unsaid, self._span(token))
        if own:
            self._bar.shapes.append((note, shape))
        note.shapes.append(shape)

    def _give(self, note: ScannedNote, meaning: str) -> None:
        """Give a note the meaning that a legend has for its mark."""
        if meaning in ("natural", "pinch", "artificial"):
            if note.fret is not None and not note.head:
                self._make_harmonic(note, meaning, note.fret)
        elif meaning == "dead":
            note.head, note.fret = "x", None
        elif meaning == "held":
            note.held = True
        elif meaning == "tap":
            note.begin = "t"
        elif meaning in ("vibrato", "wide vibrato"):
            note.shapes.append(ScannedShape("~" if meaning == "vibrato" else "~~", note.x))
        elif meaning in MEANT:
            note.marks.add(MEANT[meaning])

    def _make_harmonic(self, note: ScannedNote, kind: str, fret: int) -> None:
        if note.begin and kind != "artificial":  # such a harmonic is picked
            note.begin, note.sure = "", False
        if kind == "natural":
            note.head, note.touch, note.fret = "<>", Fraction(fret), None
        elif kind == "pinch":
            note.head = "*"
        else:
            note.head, note.touch = "n<>", Fraction(fret + 12)

    def _wait(self, sign: str, token: re.Match[str], touches: bool) -> None:
        self._pending, self._pending_touches, self._pending_span = sign, touches, self._span(token)


def shape_can_follow(kind: str, note: ScannedNote) -> bool:
    """Return True if a shape can be the next one of a note: nothing follows a slide off, and no bend is of a note without pitch or begins anew."""
    if note.shapes and note.shapes[-1].kind in ("/", "\\"):
        return False
    if kind in ("^", "^^", "r") and note.head:
        return note.head == "*" or (note.head == "n<>" and kind != "^^")
    return kind != "^^" or not note.shapes


_UNSAID_HINT = "write the fret whose pitch is reached: `7b9`"


def report_unsaid(note: ScannedNote, shape: ScannedShape, report: Report) -> None:
    """Take a whole step for a bend whose size nothing says, and report it."""
    shape.by, shape.unsaid = Fraction(2), False
    report(
        BEND_UNSAID,
        f"the bend on string {note.string} does not say how far: a whole step is taken",
        _UNSAID_HINT,
        shape.span,
        "b",
    )
