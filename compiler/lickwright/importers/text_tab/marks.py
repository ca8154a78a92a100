"""The marks on one string, read from left to right.

In: the characters of a string between two bar lines. Out: a `ScannedBar`: notes with their marks, and shapes that stand apart from their
note. The tab's own key (`legend.py`) goes before every meaning here. What is not understood, or only assumed, is a doubt.
"""

from __future__ import annotations

import re

from lickwright.importers.text_tab.amounts import AMOUNT
from lickwright.importers.text_tab.scan_state import MADE, MEANT, Place
from lickwright.importers.text_tab.scanned import ScannedBar, ScannedNote
from lickwright.importers.text_tab.shape_marks import NEXT, ShapeMarks

NODES = frozenset({3, 4, 5, 7, 9, 12, 15, 16, 19, 24})  # frets over which a natural harmonic sounds
TOKEN = re.compile(
    rf"""(?P<artificial>(?P<a1>\d{{1,2}})<(?P<a2>\d{{1,2}}(?:\.\d+)?)>)
    |(?P<natural><(?P<n1>\d{{1,2}}(?:\.\d+)?)>)
    |(?P<paren>\((?P<p1>[xX]|\d{{1,2}}<[\d.]+>|<[\d.]+>|\d{{1,2}})(?P<p2>\*?)(?P<p3>(?:[bB]\d*)?)\))
    |(?P<square>\[(?P<s1>\d{{1,2}})\]) |(?P<curly>\{{(?P<c1>\d{{1,2}})\}})
    |(?P<trill>tr\.?(?:\(?(?P<t1>\d{{1,2}})\)?)?)
    |(?P<mute>[pP]\.?[mM]\.?(?![a-zA-Z]))
    |(?P<letters>[PANTH]\.?H\.?(?![a-z]))
    |(?P<prebend>[pP][bB](?P<pb>{AMOUNT})?)
    |(?P<letdown>[bB][dD](?:\((?P<d1>\d{{1,2}})\)|(?P<d2>\d{{1,2}}))?)
    |(?P<bend>[bB](?:[uU](?![a-z])|end(?=[\d(])|-?>(?=[\d(])|\^)?(?!end)(?P<b1>{AMOUNT})?)
    |(?P<word>(?:hold|full|vib|let|ring|slide|bend|[a-zA-Z]{{4,}}))
    |(?P<release>[rR](?:el)?(?:\((?P<r1>\d{{1,2}})\)|(?P<r2>\d{{1,2}}))?)
    |(?P<tremolo>/{{3,}})
    |(?P<dip>\\/)
    |(?P<slide>//|\\\\|sl\.?|ss|[/\\sS])
    |(?P<link>[hHpP])
    |(?P<tap>[tT])
    |(?P<vibrato>~+|[vV]+)
    |(?P<caret>\^)
    |(?P<dead>[xX])
    |(?P<number>\d[\dlIoO]*|[lIoO][\dlIoO]*)
    |(?P<star>\*) |(?P<plus>\+) |(?P<equals>=+) |(?P<dot>[.']) |(?P<accent>>)
    |(?P<bracket>[(){{}}\[\]])
    |(?P<other>.)""",
    re.VERBOSE,
)
_FAR = 99  # columns: nothing is near
_FILLER = re.compile(r"[-\s_]*(?:\.{3,}[-\s_]*)*")
_PARTS = {"accent": "accent_sign"}
_SHAPING = frozenset({"bend", "release", "vibrato"})


class StringScanner(ShapeMarks):
    """Reads one string of a system, bar by bar."""

    def scan(self, text: str, left: int, place: Place) -> ScannedBar:
        """Return what stands on the string in `text`, which begins at column `left`; `place` gives spans by column."""
        self._bar = ScannedBar()
        self._text, self._left, self._place = text, left, place
        self._ending = -99
        at = 0
        while at < len(text):
            filler = _FILLER.match(text, at)
            assert filler is not None
            self._gap = at + len(filler[0]) - self._ending if self._ending >= 0 else 99
            at = filler.end()
            if at == len(text):
                break
            token = TOKEN.match(text, at)
            assert token is not None
            kind = token.lastgroup or "other"
            if kind in _PARTS:
                kind = _PARTS[kind]
            held, self._held = self._held if self._gap == 0 else None, None
            if held is not None and kind in _SHAPING:
                self._on_held(kind, token, held)
                at = token.end()
            else:
                at = getattr(self, f"_{kind}")(token) or token.end()
            self._ending = at
        self._end_mute(closed=False)
        return self._bar

    def _on_held(self, kind: str, token: re.Match[str], held: ScannedNote) -> None:
        """Read a shape that touches a note in parentheses: it belongs to the note that goes on, and happens in this column."""
        note, before = self.last, len(self._bar.shapes)
        self._gap = 1
        getattr(self, f"_{kind}")(token)
        if note is not None:
            for _, shape in self._bar.shapes[before:]:
                shape.x = held.x

    def _mute(self, token: re.Match[str]) -> None:
        """Read `PM--0-0-|` on the string itself: palm mute up to a stroke that closes it, else to the bar line."""
        self._muting = token

    def _end_mute(self, closed: bool) -> None:
        """End a palm mute that began on the string; one that no note stands in is not understood."""
        token, self._muting = self._muting, None
        if token is None:
            return
        if not any("pm" in note.marks for note in self._bar.notes):
            self._unknown(token)
        elif not closed:
            self._assumed(token, "palm mute up to the bar line", "PM")

    def _link(self, token: re.Match[str]) -> None:
        sign = token[0].lower()
        meaning = self._legend.says(token[0]) or self._legend.says(sign)
        touches_right = NEXT.match(self._text, token.end())
        if meaning in MEANT and self.last is not None and self._gap == 0 and not touches_right:
            self.last.marks.add(MEANT[meaning])
            return
        if meaning == "pop" and token[0] == "P" and self._touches() and self.last is not None:
            self.last.marks.add("pop")
            return
        if meaning in MADE and touches_right and not touches_right[1]:
            self._ahead = meaning
            return
        apart = self._gap if self.last is not None else 99
        self._wait(
            {"hammer": "h", "hammer nowhere": "h", "pull": "p", "slide": "s"}.get(meaning, sign),
            token,
            self._touching(apart, touches_right),
        )

    def _touching(self, left: int, right: re.Match[str] | None) -> bool:
        """Return True if a connection belongs to the note before it: it touches it, or stands between two frets with little around it."""
        if self.last is None:
            return False
        return left == 0 or (not self._ours and left <= 3 and right is not None and len(right[1]) > 0)

    def _tap(self, token: re.Match[str]) -> None:
        if NEXT.match(self._text, token.end()) and self._text[token.end() : token.end() + 1] not in ("-", " "):
            self._wait("t", token, self._gap == 0 and self.last is not None)
        elif self._touches() and self.last is not None:
            self.last.begin, self.last.touching = "t", False
        else:
            self._unknown(token)

    def _slide(self, token: re.Match[str]) -> None:
        """Read a slide: to the fret after it, off the string, or what the key says of its letter."""
        sign = {"sl": "s", "sl.": "s", "S": "s"}.get(token[0], token[0])
        said = self._legend.says(token[0])
        if said in ("slap", "short", "dead") and self._touches():
            self._marked(token, said)
            return
        follows = NEXT.match(self._text, token.end())
        space = len(follows[1]) if follows else _FAR
        left = self._gap if self.last is not None else _FAR
        if space == 0 and (left or sign not in ("s", "ss") or self._legend.may(token[0], "slide")):
            self._wait(sign, token, left == 0 or (not self._ours and left == 1))
        elif self._leads_on(left, space):
            self._slide_on(sign, token, left)
        elif space and self._leads_off(sign, left):
            self._slide_off(sign, token)
        else:
            self._unknown(token)

    def _leads_on(self, left: int, space: int) -> bool:
        """Return whether a slide with dashes around its sign goes to the next fret; notes are `left` and `space` characters away."""
        return not self._ours and left <= 2 and 0 < space <= (1 if left == 0 else 2)

    def _leads_off(self, sign: str, left: int) -> bool:
        """Return whether a slide goes off the note that is `left` characters before its sign."""
        return left < _FAR and (left == 0 or self._ours or sign in ("/", "\\"))

    def _slide_on(self, sign: str, token: re.Match[str], left: int) -> None:
        """Read `5/-7` and `5-/-7`, a slide with dashes around it."""
        self._wait(sign, token, True)
        if left == 0 and sign not in ("s", "ss"):
            self._assumed(token, "a slide to the fret after it", "slide on")

    def _star(self, token: re.Match[str]) -> None:
        said = self._legend.says("*")
        note = self.last
        if said:
            self._marked(token, said)
        elif note is not None and self._touches():
            natural = note.fret in NODES
            self._give(note, "natural" if natural else "pinch")
            note.sure = False
            self._assumed(token, "a natural harmonic" if natural else "a pinch harmonic", "*n" if natural else "*p")
        else:
            self._unknown(token)

    def _plus(self, token: re.Match[str]) -> None:
        said = self._legend.says("+")
        if said:
            self._marked(token, said)
        elif self._text[token.end() : token.end() + 1].isdigit():
            self._assumed(token, "a tap")
            self._wait("t", token, False)
        else:
            self._unknown(token)

    def _equals(self, token: re.Match[str]) -> None:
        said = self._legend.says("=")
        if said and said != "held":
            self._marked(token, said)
        elif self._touches():
            self._assumed(token, "a note that is held")
        elif self.last is None:
            self._unknown(token)

    def _dot(self, token: re.Match[str]) -> None:
        said = self._legend.says(token[0])
        if said:
            self._marked(token, said)
        elif self._touches() and self.last is not None:
            self.last.marks.add(",")
            self.last.sure = False
            self._assumed(token, "a short note")
        else:
            self._unknown(token)

    def _accent_sign(self, token: re.Match[str]) -> None:
        said = self._legend.says(">")
        if said:
            self._marked(token, said)
            return
        self._assumed(token, "an accent")
        if self._touches() and self.last is not None:
            self.last.marks.add("!")
        else:
            self._ahead = "accent"

    def _bracket(self, token: re.Match[str]) -> None:
        """Pass over a parenthesis around several notes."""
        self._assumed(token, "a bracket around several notes", "()")

    def _word(self, token: re.Match[str]) -> None:
        if token[0] == "vib" and self.last is not None:
            self._shape("~", token, apart=False)
        elif token[0] not in ("hold", "let", "ring"):
            self._unknown(token)

    def _other(self, token: re.Match[str]) -> None:
        if token[0] == "%" and self._ours:
            return
        if token[0] == "|" and self._muting is not None:
            self._end_mute(closed=True)
            return
        said = self._legend.says(token[0])
        if said:
            self._marked(token, said)
        else:
            self._unknown(token)
