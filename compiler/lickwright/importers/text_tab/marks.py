"""The marks on one string, read from left to right.

In: the characters of a string between two bar lines. Out: a `ScannedBar`: notes with their marks, and shapes that stand apart from their
note. The tab's own key
(`legend.py`) goes before every meaning here. What is not understood, or only assumed, is a doubt.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from lickwright.core.diagnostics import Rule
from lickwright.core.source import Span
from lickwright.importers.text_tab.legend import Legend
from lickwright.importers.text_tab.rules import (
    ASSUMED_MARK,
    BEND_UNSAID,
    GUESSED_FRET,
    NOT_JOINED,
    TURNED,
    UNKNOWN_MARK,
)
from lickwright.importers.text_tab.scanned import ScannedBar, ScannedNote, ScannedShape

HIGHEST = 24  # the highest fret that is taken for one number
MOST_SHAPES = 16  # of one note
NODES = frozenset({3, 4, 5, 7, 9, 12, 15, 16, 19, 24})  # frets over which a natural harmonic sounds
_AMOUNT = (
    r"\(\d{1,2}\)|\(?(?:full|fl(?![a-z])|[fF](?![a-zA-Z]))\)?|1[ -]?1/2|1½|[13]/[24]|\d{0,2}\.\d{1,2}|\d{1,2}|[½¼¾]"
)
TOKEN = re.compile(
    rf"""(?P<artificial>(?P<a1>\d{{1,2}})<(?P<a2>\d{{1,2}}(?:\.\d+)?)>)
    |(?P<natural><(?P<n1>\d{{1,2}}(?:\.\d+)?)>)
    |(?P<paren>\((?P<p1>[xX]|\d{{1,2}}<[\d.]+>|<[\d.]+>|\d{{1,2}})(?P<p2>\*?)(?P<p3>(?:[bB]\d*)?)\))
    |(?P<square>\[(?P<s1>\d{{1,2}})\]) |(?P<curly>\{{(?P<c1>\d{{1,2}})\}})
    |(?P<trill>tr\.?(?:\(?(?P<t1>\d{{1,2}})\)?)?)
    |(?P<letters>[PANTH]\.?H\.?(?![a-z]))
    |(?P<prebend>[pP][bB](?P<pb>{_AMOUNT})?)
    |(?P<bend>[bB](?!end)(?P<b1>{_AMOUNT})?)
    |(?P<word>(?:hold|full|vib|let|ring|slide|bend|[a-zA-Z]{{4,}}))
    |(?P<release>[rR](?:\((?P<r1>\d{{1,2}})\)|(?P<r2>\d{{1,2}}))?)
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
_FILLER = re.compile(r"[-\s_]*")
_NEXT = re.compile(r"([-\s]{0,3})(?:\(?\d|[xX]|<\d)")
_SCANNED = str.maketrans("lIoO", "1100")
_STEPS = {
    "1/4": "1/2",
    "¼": "1/2",
    "1/2": "1",
    "½": "1",
    "3/4": "3/2",
    "¾": "3/2",
    "11/2": "3",
    "1½": "3",
    "3/2": "3",
}  # semitones
_MEANT: dict[str, str] = {  # what a legend's meaning is called as a mark of the notation
    "palm": "pm", "ring": "=", "accent": "!", "short": ",", "ghost": "?", "tremolo": "tremolo", "up": "up", "down": "down", "slap": "slap",
    "pop": "pop", "grace": "grace",
}  # fmt: skip

Report = Callable[
    [Rule, str, str, Span, str], None
]  # rule, message, hint, place, what is not reported twice on one line
Place = Callable[[int, int], Span]


def _nowhere(first: int, last: int) -> Span:
    return Span(0, 0)


class StringScanner:
    """Reads one string of a system, bar by bar; what sounds is carried from bar to bar and from system to system."""

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
        self._accent = False
        self._held: ScannedNote | None = None  # the note in parentheses that the next token may touch

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
        return self._bar

    # --- helpers -----------------------------------------------------------------------------------------------------

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
        if self._accent:
            note.marks.add("!")
            self._accent = False
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
        if len(note.shapes) >= MOST_SHAPES or not _can_follow(kind, note):
            self._unknown(token)
            return
        digit = re.search(r"\d", token[0])
        x = self._left + token.start() + (digit.start() if digit and kind in ("^", "^^", "r") else 0)
        own = self._gap > 0 if apart is None else apart
        shape = ScannedShape(kind, x, by, own, unsaid, self._span(token))
        if own:
            self._bar.shapes.append((note, shape))
        note.shapes.append(shape)

    def _on_held(self, kind: str, token: re.Match[str], held: ScannedNote) -> None:
        """Read a shape that touches a note in parentheses: it belongs to the note that goes on, and happens in this column."""
        note, before = self.last, len(self._bar.shapes)
        self._gap = 1
        getattr(self, f"_{kind}")(token)
        if note is not None:
            for _, shape in self._bar.shapes[before:]:
                shape.x = held.x

    # --- notes -------------------------------------------------------------------------------------------------------

    def _number(self, token: re.Match[str]) -> None:
        digits = token[0].translate(_SCANNED)
        scanned = digits != token[0]
        parts = _split_number(digits)
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
        elif meaning in _MEANT:
            note.marks.add(_MEANT[meaning])

    def _make_harmonic(self, note: ScannedNote, kind: str, fret: int) -> None:
        if note.begin and kind != "artificial":  # such a harmonic is picked
            note.begin, note.sure = "", False
        if kind == "natural":
            note.head, note.touch, note.fret = "<>", Fraction(fret), None
        elif kind == "pinch":
            note.head = "*"
        else:
            note.head, note.touch = "n<>", Fraction(fret + 12)

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

    # --- connections and shapes --------------------------------------------------------------------------------------

    def _wait(self, sign: str, token: re.Match[str], touches: bool) -> None:
        self._pending, self._pending_touches, self._pending_span = sign, touches, self._span(token)

    def _link(self, token: re.Match[str]) -> None:
        sign = token[0].lower()
        meaning = self._legend.says(token[0]) or self._legend.says(sign)
        touches_right = _NEXT.match(self._text, token.end())
        if meaning in _MEANT and self.last is not None and self._gap == 0 and not touches_right:
            self.last.marks.add(_MEANT[meaning])
            return
        if meaning == "pop" and token[0] == "P" and self._touches() and self.last is not None:
            self.last.marks.add("pop")
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
        if _NEXT.match(self._text, token.end()) and self._text[token.end() : token.end() + 1] not in ("-", " "):
            self._wait("t", token, self._gap == 0 and self.last is not None)
        elif self._touches() and self.last is not None:
            self.last.begin, self.last.touching = "t", False
        else:
            self._unknown(token)

    def _slide(self, token: re.Match[str]) -> None:
        sign = {"sl": "s", "sl.": "s", "S": "s"}.get(token[0], token[0])
        said = self._legend.says(token[0])
        if said in ("slap", "short", "dead") and self._touches():
            self._marked(token, said)
            return
        follows = _NEXT.match(self._text, token.end())
        space = len(follows[1]) if follows else 99
        left = self._gap if self.last is not None else 99
        if sign in ("s", "ss") and left == 0 and space == 0 and not self._legend.may(token[0], "slide"):
            self._unknown(token)
            return
        if space == 0:
            self._wait(sign, token, left == 0 or (not self._ours and left == 1))
        elif space <= (1 if left == 0 else 2) and left <= 2 and not self._ours:
            self._wait(sign, token, True)
            if left == 0 and sign not in ("s", "ss"):
                self._assumed(token, "a slide to the fret after it", "slide on")
        elif left < 99 and (left == 0 or self._ours or sign in ("/", "\\")):
            self._slide_off(sign, token)
        else:
            self._unknown(token)

    def _slide_off(self, sign: str, token: re.Match[str]) -> None:
        if sign in ("s", "ss"):
            self._assumed(token, "a slide off down the neck")
            sign = "\\"
        self._shape(sign[0], token)

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

    def _bend(self, token: re.Match[str]) -> None:
        self._bend_to("^", token["b1"], token)

    def _prebend(self, token: re.Match[str]) -> None:
        self._bend_to("^^", token["pb"], token)

    def _bend_to(self, kind: str, amount: str | None, token: re.Match[str]) -> None:
        note = self.last
        if note is None or (self._gap > 2 and kind == "^^"):
            if kind == "^^" and amount and amount.isdigit() and int(amount) >= 2:
                made = self._add(token, token.end() - len(amount), token.end(), int(amount) - 2, sure=False)
                made.shapes.append(ScannedShape("^^", made.x, Fraction(2)))
                self._assumed(token, f"a bend from fret {int(amount) - 2} before it is picked")
                return
            self._unknown(token)
            return
        by, sure = _bend_amount(amount, note.fret)
        if not sure:
            note.sure = False
            self._doubt(
                ASSUMED_MARK,
                f"`{token[0]}` is taken for a bend by {_steps(by)}",
                "write the fret whose pitch is reached: `7b9`",
                token,
                token[0],
            )
        if kind == "^" and note.parenthesized and not note.held and not self._ours and self._gap == 0:
            kind = "^^"  # `(7)b9`: bent before it is picked
            note.marks.discard("?")
        self._shape(kind, token, by, unsaid=by is None)

    def _release(self, token: re.Match[str]) -> None:
        note = self.last
        target = token["r1"] or token["r2"]
        bent = note is not None and any(s.kind in ("^", "^^") for s in note.shapes)
        if note is None:
            self._unknown(token)
            return
        if not bent and target and note.fret is not None and int(target) < note.fret and self._gap <= 1:
            by = Fraction(note.fret - int(target))  # `9r7`: the pitch of 9, bent from 7, is let down
            note.fret = int(target)
            note.sure = False
            note.shapes.insert(0, ScannedShape("^^", note.x, by))
            self._assumed(token, f"a bend from fret {target} that is released", "9r7")
            self._shape("r", token)
            return
        if not bent:
            self._doubt(NOT_JOINED, f"`{token[0]}` releases no bend", "write the bend before it", token, "r")
            note.sure = False
            return
        left_over = int(target) - note.fret if target and note.fret is not None else 0
        self._shape("r", token, Fraction(left_over) if left_over > 0 else None)

    def _vibrato(self, token: re.Match[str]) -> None:
        sign = token[0][0]
        said = self._legend.says(token[0]) or self._legend.says(sign)
        if said and said not in ("vibrato", "wide vibrato"):
            self._marked(token, said)
            return
        wide = said == "wide vibrato" or (self._ours and token[0] == "~~" and self._legend.says("~~") == "wide vibrato")
        if self.last is None:
            self._unknown(token)
            return
        if sign in "vV" and not said:
            self._assumed(token, "vibrato")
        if any(shape.kind in ("~", "~~") for shape in self.last.shapes) and not self._ours:
            return
        self._shape("~~" if wide else "~", token, apart=None if self._ours else False)

    def _caret(self, token: re.Match[str]) -> int | None:
        said = self._legend.says("^")
        note = self.last
        target = re.compile(r"\(?(\d{1,2})\)?").match(self._text, token.end())
        if said in ("hammer", "pull", "slide") or (
            said == "" and self._legend.meanings.get("^", frozenset()) >= {"hammer", "pull"}
        ):
            up = note is None or note.fret is None or target is None or int(target[1]) >= note.fret
            self._wait({"slide": "s"}.get(said, "h" if up else "p"), token, self._gap == 0)
            return None
        if said and said not in ("bend", "release", "prebend"):
            self._marked(token, said)
            return None
        if note is None or not self._touches():
            self._unknown(token)
            return None
        if not said:
            self._assumed(token, "a bend")
            note.sure = False
        if target is not None and note.fret is not None and int(target[1]) > note.fret:
            self._shape("^", token, Fraction(int(target[1]) - note.fret))
            return target.end()
        self._shape("^", token, unsaid=True)
        return None

    def _trill(self, token: re.Match[str]) -> None:
        note = self.last
        other = re.compile(r"[-~]*\(?(\d{1,2})\)?").match(self._text, token.end()) if not token["t1"] else None
        fret = int(token["t1"]) if token["t1"] else None
        if note is None or not self._touches() or fret is None:
            del other
            self._unknown(token)
            return
        note.trill = fret

    def _letters(self, token: re.Match[str]) -> None:
        kind = {"P": "pinch", "N": "natural"}.get(token[0][0], "artificial")
        if self._touches() and self.last is not None:
            self._give(self.last, kind)
        else:
            self._unknown(token)

    # --- single signs ------------------------------------------------------------------------------------------------

    def _marked(self, token: re.Match[str], meaning: str) -> None:
        """Give the note beside a sign the meaning that the key has for it."""
        if meaning in ("slide up", "slide down", "slide off up", "slide off down"):
            self._slide_off("/" if meaning.endswith("up") else "\\", token)
        elif meaning in ("bend", "prebend"):
            self._bend_to("^" if meaning == "bend" else "^^", None, token)
        elif meaning == "tap" and _NEXT.match(self._text, token.end()) and self._gap > 0:
            self._wait("t", token, False)
        elif self._touches() and self.last is not None:
            self._give(self.last, meaning)
        elif meaning == "accent":
            self._accent = True
        else:
            self._unknown(token)

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
            self._accent = True

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
        said = self._legend.says(token[0])
        if said:
            self._marked(token, said)
        else:
            self._unknown(token)


_PARTS = {"accent": "accent_sign"}
_SHAPING = frozenset({"bend", "release", "vibrato"})


def _can_follow(kind: str, note: ScannedNote) -> bool:
    """Return True if a shape can be the next one of a note: nothing follows a slide off, and no bend is of a note without pitch or begins anew."""
    if note.shapes and note.shapes[-1].kind in ("/", "\\"):
        return False
    if kind in ("^", "^^", "r") and note.head:
        return note.head == "*" or (note.head == "n<>" and kind != "^^")
    return kind != "^^" or not note.shapes


def _split_number(digits: str) -> list[str]:
    """Return digits as frets: one fret where it is on the neck, else the likeliest parts."""
    if len(digits) <= 2 and int(digits) <= HIGHEST and not (len(digits) == 2 and digits[0] == "0"):
        return [digits]
    parts: list[str] = []
    at = 0
    even = len(digits) % 2 == 0
    while at < len(digits):
        two = digits[at : at + 2]
        take = len(two) == 2 and 10 <= int(two) <= HIGHEST and (even or len(digits) - at > 2 or at == 0)
        parts.append(two if take else digits[at])
        at += 2 if take else 1
    return parts


def _bend_amount(amount: str | None, fret: int | None) -> tuple[Fraction | None, bool]:
    """Return by how many semitones a bend goes (None where nothing says it), and whether that is sure.

    A whole number above the fret is the fret whose pitch is reached; a fraction, or `full`, counts whole steps.
    """
    if amount is None:
        return None, True
    text = amount.strip("()").replace(" ", "").replace("-", "")
    if text in _STEPS:
        return Fraction(_STEPS[text]), True
    if text[:1] in "fF":
        return Fraction(2), True
    number = Fraction(text if not text.startswith(".") else f"0{text}")
    if fret is not None and number > fret:
        return number - fret, number - fret <= 5
    if 0 < number <= 3:
        return number * 2, number.denominator != 1
    return None, False


def _steps(by: Fraction | None) -> str:
    return "a whole step" if by is None or by == 2 else f"{float(by) / 2:g} whole steps"


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
