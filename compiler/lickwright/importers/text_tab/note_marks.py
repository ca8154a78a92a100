"""The marks that make notes: frets, dead notes, harmonics, frets in brackets.

In: tokens of one string. Out: notes in the state of the string (`scan_state.py`).
"""

from __future__ import annotations

import re
from fractions import Fraction

from lickwright.importers.text_tab.amounts import read_bend_size, split_number
from lickwright.importers.text_tab.rules import GUESSED_FRET
from lickwright.importers.text_tab.scan_state import ScanState
from lickwright.importers.text_tab.scanned import ScannedNote, ScannedShape

_SCANNED = str.maketrans("lIoO", "1100")  # what a scanner makes of 1 and 0


class NoteMarks(ScanState):
    """Reads the tokens that are notes."""

    def _number(self, token: re.Match[str]) -> None:
        digits = token[0].translate(_SCANNED)
        scanned = digits != token[0]
        parts = split_number(digits)
        at = token.start()
        if scanned:
            self._doubt(
                GUESSED_FRET, f"`{token[0]}` is read as fret {' and '.join(parts)}", "correct the fret", token, token[0]
            )
        elif len(parts) > 1:
            self._doubt(
                GUESSED_FRET,
                f"`{token[0]}` is read as frets {' and '.join(parts)}",
                "put a dash between two frets",
                token,
                token[0],
            )
        for part in parts:
            self._add(token, at, at + len(part), int(part), sure=len(parts) == 1 and not scanned)
            at += len(part)

    def _dead(self, token: re.Match[str]) -> None:
        meaning = self._legend.says("x")
        note = self._add(token, token.start(), token.end(), None)
        note.head = "x"
        if meaning == "ghost":
            note.marks.add("?")

    def _natural(self, token: re.Match[str]) -> None:
        note = self._add(token, token.start() + 1, token.end() - 1, None)
        note.head, note.touch = "<>", Fraction(token["n1"])
        meaning = self._legend.says("<>")
        if meaning in ("pinch", "ghost"):
            note.head, note.touch, note.fret = ("*" if meaning == "pinch" else ""), None, int(float(token["n1"]))
            note.marks |= {"?"} if meaning == "ghost" else set()

    def _artificial(self, token: re.Match[str]) -> None:
        note = self._add(token, token.start(), token.start() + len(token["a1"]), int(token["a1"]))
        note.head, note.touch = "n<>", Fraction(token["a2"])

    def _square(self, token: re.Match[str]) -> None:
        self._bracketed(token, int(token["s1"]), "[]", "natural")

    def _curly(self, token: re.Match[str]) -> None:
        self._bracketed(token, int(token["c1"]), "{}", "ghost")

    def _bracketed(self, token: re.Match[str], fret: int, mark: str, usual: str) -> None:
        meaning = self._legend.says(mark)
        if not meaning:
            words = {"natural": "a natural harmonic", "ghost": "a ghost note"}[usual]
            self._assumed(token, words)
        note = self._add(token, token.start() + 1, token.end() - 1, fret)
        note.sure = bool(meaning)
        self._give(note, meaning or usual)

    def _paren(self, token: re.Match[str]) -> None:
        """Read a fret in parentheses: a ghost note, a note that goes on, what a harmonic touches, or a bend's pitch picked again."""
        inner = token["p1"]
        before = self.last
        if inner.isdigit() and self._gap == 0 and before is not None and self._touch_fret(token, before, int(inner)):
            return
        x = token.start() + 1
        if inner in ("x", "X"):
            note = self._add(token, x, x + 1, None)
            note.head = "x"
        elif "<" in inner:
            fret, touch = inner.rstrip(">").split("<")
            note = self._add(token, x, x + max(1, len(fret)), int(fret) if fret else None)
            note.head, note.touch = ("n<>" if fret else "<>"), Fraction(touch)
        else:
            note = self._add(token, x, x + len(inner), int(inner))
        if token["p2"]:
            note.head = "*"
        note.parenthesized = True
        if token["p3"] and not self._ours:
            self._bent_before(token, note)
            return
        meaning = self._legend.says("()")
        if self._ours:
            both = not self._legend.says("()")
            note.held = meaning == "held" or both
            if meaning == "ghost":
                note.marks.add("?")
        elif meaning:
            self._give(note, meaning)
        else:
            self._guess_parenthesis(token, note, before)
        if note.held and before is not None:
            self.last, self._held = before, note

    def _bent_before(self, token: re.Match[str], note: ScannedNote) -> None:
        """Read `(7b9)`: a note that is bent before it is picked."""
        by, _ = read_bend_size(token["p3"][1:] or None, note.fret)
        note.shapes.append(ScannedShape("^^", note.x, by, unsaid=by is None, span=note.span))
        note.sure = False
        self._assumed(token, "a note that is bent before it is picked", "(nbn)")

    def _touch_fret(self, token: re.Match[str], before: ScannedNote, fret: int) -> bool:
        """Read `5(17)` as an artificial harmonic, `7b(9)` is read with its bend; return whether it was one."""
        if (
            before.fret is not None
            and not before.shapes
            and not before.head
            and fret - before.fret in (5, 7, 12, 19, 24)
        ):
            before.head, before.touch = "n<>", Fraction(fret)
            before.sure = self._legend.says("()") == "artificial"
            if not before.sure:
                self._assumed(token, "the fret that an artificial harmonic touches", "n(m)")
            return True
        return False

    def _guess_parenthesis(self, token: re.Match[str], note: ScannedNote, before: ScannedNote | None) -> None:
        bent = next((s.by for s in reversed(before.shapes) if s.by is not None), None) if before is not None else None
        if (
            before is not None
            and bent
            and before.fret is not None
            and note.fret == before.fret + bent
            and before.shapes[-1].kind != "r"
        ):
            note.fret = before.fret
            note.shapes.append(ScannedShape("^^", note.x, bent))
            self._assumed(token, "the bent note, picked again", "(n) bent")
        elif before is not None and before.fret == note.fret and not self._bar.notes[:-1] and not note.begin:
            note.held = True
            self._assumed(token, "a note that goes on from before", "(n) held")
        else:
            note.marks.add("?")
            self._assumed(token, "a ghost note", "(n)")
        note.sure = False
