"""The marks that shape a note: bends, releases, vibrato, trills, slides off, and signs to which the tab's own key gives such a meaning.

In: tokens of one string. Out: shapes and marks on the notes in the state of the string (`scan_state.py`).
"""

from __future__ import annotations

import re
from fractions import Fraction

from lickwright.importers.text_tab.amounts import read_bend_size, steps_in_words
from lickwright.importers.text_tab.note_marks import NoteMarks
from lickwright.importers.text_tab.rules import ASSUMED_MARK, NOT_JOINED
from lickwright.importers.text_tab.scanned import ScannedNote, ScannedShape

NEXT = re.compile(r"([-\s]{0,3})(?:\(?\d|[xX]|<\d)")  # what a connection goes on to, and the filler before it
_WAVE = re.compile(r"~+")
_LINKS = frozenset({"hammer", "pull", "slide"})  # meanings that connect two notes
_APART = re.compile(r"-(\d{1,2})(?!\d)")
_FRET = re.compile(r"\(?(\d{1,2})\)?")


class ShapeMarks(NoteMarks):
    """Reads the tokens that shape notes."""

    def _bend(self, token: re.Match[str]) -> int | None:
        """Read a bend; `7-b-9` has dashes around its sign, and the `b` of `7b9br7` says that the bend goes back."""
        bent = self.last is not None and bool(self.last.shapes) and self.last.shapes[-1].kind in ("^", "^^")
        if bent and token["b1"] is None and self._text[token.end() : token.end() + 1] in ("r", "R"):
            return None
        apart = None if token["b1"] else self._apart(token)
        if (
            apart is not None
            and self.last is not None
            and self.last.fret is not None
            and int(apart[1]) > self.last.fret
        ):
            self._shape("^", token, Fraction(int(apart[1]) - self.last.fret), apart=False)
            return apart.end()
        said = self._legend.size(token[0]) if token["b1"] is None else None
        self._bend_to("^", token["b1"], token, said)
        return None

    def _apart(self, token: re.Match[str]) -> re.Match[str] | None:
        """Return the fret one dash behind a sign that stands one dash behind its note."""
        return _APART.match(self._text, token.end()) if self._gap == 1 and not self._ours else None

    def _prebend(self, token: re.Match[str]) -> None:
        self._bend_to("^^", token["pb"], token)

    def _bend_to(self, kind: str, amount: str | None, token: re.Match[str], said: Fraction | None = None) -> None:
        """Bend the last note by an amount that stands behind the sign, else by what the key says of it."""
        note = self.last
        if note is None or (self._gap > 2 and kind == "^^"):
            self._bend_alone(kind, amount or "", token)
            return
        by, sure = read_bend_size(amount, note.fret)
        if by is None and not self._ours:
            by = said
        if not sure:
            note.sure = False
            self._doubt(
                ASSUMED_MARK,
                f"`{token[0]}` is taken for a bend by {steps_in_words(by)}",
                "write the fret whose pitch is reached: `7b9`",
                token,
                token[0],
            )
        if kind == "^" and self._is_prebent(note):
            kind = "^^"
            note.marks.discard("?")
        self._shape(kind, token, by, unsaid=by is None)

    def _bend_alone(self, kind: str, amount: str, token: re.Match[str]) -> None:
        """Read a bend without a note: `pb9` is taken for fret 9 reached by a whole step before it is picked."""
        if kind != "^^" or not amount.isdigit() or int(amount) < 2:
            self._unknown(token)
            return
        made = self._add(token, token.end() - len(amount), token.end(), int(amount) - 2, sure=False)
        made.shapes.append(ScannedShape("^^", made.x, Fraction(2)))
        self._assumed(token, f"a bend from fret {int(amount) - 2} before it is picked")

    def _is_prebent(self, note: ScannedNote) -> bool:
        """Return whether a bend behind a note came before its stroke: `(7)b9`."""
        return note.parenthesized and not note.held and not self._ours and self._gap == 0

    def _release(self, token: re.Match[str]) -> int | None:
        apart = None if token["r1"] or token["r2"] else self._apart(token)
        self._release_to(token["r1"] or token["r2"] or (apart[1] if apart else None), token)
        return apart.end() if apart else None

    def _letdown(self, token: re.Match[str]) -> None:
        self._release_to(token["d1"] or token["d2"], token)

    def _release_to(self, target: str | None, token: re.Match[str]) -> None:
        note = self.last
        if note is None:
            self._unknown(token)
        elif any(shape.kind in ("^", "^^") for shape in note.shapes):
            left_over = int(target) - note.fret if target and note.fret is not None else 0
            self._shape("r", token, Fraction(left_over) if left_over > 0 else None)
        else:
            self._release_unbent(note, target, token)

    def _release_unbent(self, note: ScannedNote, target: str | None, token: re.Match[str]) -> None:
        """Read the release of a note that was not bent: `9r7` lets the pitch of 9, bent from 7, down."""
        note.sure = False
        if not target or note.fret is None or int(target) >= note.fret or self._gap > 1:
            self._doubt(NOT_JOINED, f"`{token[0]}` releases no bend", "write the bend before it", token, "r")
            return
        by = Fraction(note.fret - int(target))
        note.fret = int(target)
        note.shapes.insert(0, ScannedShape("^^", note.x, by))
        self._assumed(token, f"a bend from fret {target} that is released", "9r7")
        self._shape("r", token)

    def _vibrato(self, token: re.Match[str]) -> None:
        sign = token[0][0]
        said = self._legend.says(token[0]) or self._legend.says(sign)
        if said and said not in ("vibrato", "wide vibrato"):
            self._marked(token, said)
            return
        if self.last is None:
            self._unknown(token)
            return
        if sign in "vV" and not said:
            self._assumed(token, "vibrato")
        kind = "~~" if said == "wide vibrato" else "~"
        if self._ours:
            self._shape(kind, token)
        elif not any(shape.kind in ("~", "~~") for shape in self.last.shapes):
            self._shape(kind, token, apart=False)

    def _caret(self, token: re.Match[str]) -> int | None:
        said = self._legend.says("^")
        if said in _LINKS or (said == "" and self._legend.meanings.get("^", frozenset()) >= {"hammer", "pull"}):
            self._said_link(said, token)
        elif said and said not in ("bend", "release", "prebend"):
            self._marked(token, said)
        elif self.last is None or not self._touches():
            self._unknown(token)
        else:
            return self._caret_bend(self.last, said, token)
        return None

    def _caret_bend(self, note: ScannedNote, said: str, token: re.Match[str]) -> int | None:
        """Bend a note up to the fret behind the sign, else by what the key says of it."""
        target = _FRET.match(self._text, token.end())
        if not said:
            self._assumed(token, "a bend")
            note.sure = False
        if target is not None and note.fret is not None and int(target[1]) > note.fret:
            self._shape("^", token, Fraction(int(target[1]) - note.fret))
            return target.end()
        size = None if self._ours else self._legend.size("^")
        self._shape("^", token, size, unsaid=size is None)
        return None

    def _trill(self, token: re.Match[str]) -> int | None:
        """Read `5tr7`; a wavy line behind it is the trill's."""
        note = self.last
        fret = int(token["t1"]) if token["t1"] else None
        if note is None or not self._touches() or fret is None:
            self._unknown(token)
            return None
        note.trill = fret
        line = None if self._ours or self._legend.says("~") else _WAVE.match(self._text, token.end())
        return line.end() if line else None

    def _letters(self, token: re.Match[str]) -> None:
        kind = {"P": "pinch", "N": "natural"}.get(token[0][0], "artificial")
        if self._touches() and self.last is not None:
            self._give(self.last, kind)
        else:
            self._unknown(token)

    def _tremolo(self, token: re.Match[str]) -> None:
        if self._touches():
            self._marked(token, "tremolo")
        else:
            self._unknown(token)

    def _dip(self, token: re.Match[str]) -> None:
        if self.last is None:
            self._unknown(token)
            return
        self.last.marks.add("dip")
        self._assumed(token, "a dip with the bar")

    def _marked(self, token: re.Match[str], meaning: str) -> None:
        """Give the note beside a sign the meaning that the key has for it."""
        follows = NEXT.match(self._text, token.end())
        touched = follows is not None and not follows[1]
        if meaning.startswith("slide ") and meaning.endswith(("up", "down")):
            self._said_slide(meaning, token, touched)
        elif meaning in _LINKS:
            self._said_link(meaning, token)
        elif meaning in ("bend", "prebend"):
            self._bend_to("^" if meaning == "bend" else "^^", None, token, self._legend.size(token[0]))
        elif meaning == "tap" and follows is not None and self._gap > 0:
            self._wait("t", token, False)
        else:
            self._mark_neighbor(meaning, token, touched)

    def _mark_neighbor(self, meaning: str, token: re.Match[str], touched: bool) -> None:
        """Give a mark to the note before its sign, else to the one behind, which the sign touches or not (`touched`)."""
        if self._touches() and self.last is not None:
            self._give(self.last, meaning)
        elif touched or meaning == "accent":
            self._ahead = meaning
        else:
            self._unknown(token)

    def _said_link(self, said: str, token: re.Match[str]) -> None:
        """Read a sign that the key calls a hammer-on, a pull-off or a slide; the frets say in which direction it goes."""
        note, target = self.last, _FRET.match(self._text, token.end())
        up = note is None or note.fret is None or target is None or int(target[1]) >= note.fret
        self._wait({"slide": "s"}.get(said, "h" if up else "p"), token, self._gap == 0)

    def _said_slide(self, meaning: str, token: re.Match[str], on: bool) -> None:
        """Read a sign that the key calls a slide up or down: to the fret that touches it (`on`), else off the note."""
        sign = "/" if meaning.endswith("up") else "\\"
        if on and not meaning.startswith("slide off"):
            self._wait(sign, token, self._gap == 0 and self.last is not None and not meaning.startswith("slide in"))
        else:
            self._slide_off(sign, token)

    def _slide_off(self, sign: str, token: re.Match[str]) -> None:
        if sign in ("s", "ss"):
            self._assumed(token, "a slide off down the neck")
            sign = "\\"
        self._shape(sign[0], token)
