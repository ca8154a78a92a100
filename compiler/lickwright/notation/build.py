"""Parse tree → book: titles, fields, and the lines outside the music.

In: the parse tree of one text. Out: a `Book` and its findings. The music is `build_music.py`'s. What it sounds like is not judged here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import NamedTuple

from lickwright.core.diagnostics import Diagnostic, Fix, Rule, Severity, replacement_fix
from lickwright.core.slugs import fold_title
from lickwright.core.source import Source, Span
from lickwright.music.chord import chart_signs
from lickwright.notation import rules
from lickwright.notation.brackets import Token
from lickwright.notation.build_directions import ESCAPE, QUOTES
from lickwright.notation.build_music import MusicBuilder, span_of
from lickwright.notation.fault import shorten
from lickwright.notation.parse_tree import Tree
from lickwright.notation.tree import Book, Comment, Event, Field, Lick, SameBar, Tuplet, Unknown, Worded

MAX_LICKS = 10_000
MAX_FIELDS = 200  # in a file's head or a lick: each is looked at for every lick
MAX_FINDINGS = 1_000
MAX_SHARED = 200  # characters of a field that is kept for others like it
FEW = 10

_TITLE = re.compile(r'lick[ \t]+"((?:[^"\\]|\\.)*)"[ \t]*')
# The grammar has found that these lines are fields, and which indented lines go on with them.
_FIELD = re.compile(r"([A-Za-z][A-Za-z-]*)([:=]?)[ \t]*(.*)", re.DOTALL)
_FIELD_END = re.compile(r"\n(?![ \t])")
# A `#` in quotes is none. Where a quote is never closed, no later one in its line is: trying each would take time that
# grows with the square of the line.
_REMARK = re.compile(
    r'"(?:[^"\\\n]|\\.)*+"|(?P<before>"[^\n]*?|)(?P<remark>(?:(?<=[ \t\n])|^)#(?=[ \t\n]|$)[^\n]*)|"[^\n]*'
)
_INVISIBLE = re.compile(
    r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufe00-\ufe0f\ufeff\ufff9-\ufffb\ud800-\udfff]"
)
_WIDTHLESS = re.compile("[\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufe00-\ufe0f\ufeff]")
_TAB_LINE = re.compile(r"[EADGBe][#b]? ?[|:](?=[^-]*-)[-0-9hpbrtsx/\\~()<>^|*. ]*$")
_ENDS = " \t\n|()[]"
_EVENTFUL = (Event, Unknown, Worded, Tuplet, SameBar)
_TYPED = str.maketrans("“”„«»", '"""""')


class _FieldLine(NamedTuple):
    """A field taken apart, wherever it stands."""

    name: str
    value: str
    remark: str | None
    raw: str
    raw_at: int  # where the value begins in the line
    sign: str


def _read_field(line: str) -> _FieldLine:
    """Return the field of a line and of the indented lines that go on with it."""
    match = _FIELD.match(line)
    assert match is not None, line
    name, sign, raw = match.groups()
    remark = None
    if "#" in raw:
        comments = [m["remark"][1:].strip() for m in _REMARK.finditer(raw) if m["remark"]]
        remark = " ".join(comments) or None
        raw = _REMARK.sub(lambda m: m["before"] + " " * len(m["remark"]) if m["remark"] else m[0], raw)
    value = chart_signs(raw) if name == "chords" else " ".join(raw.split())
    return _FieldLine(name, value, remark, raw, match.start(3), sign)


_read_short_field = lru_cache(maxsize=2048)(_read_field)  # equal lines share what they say


class Builder:
    """Builds the book of one text."""

    def __init__(self, source: Source, run_pattern: Callable[[], re.Pattern[str]]) -> None:
        self.source = source
        self.text = source.text
        self.found: list[Diagnostic] = []
        self._invisible: set[int] = set()
        self._run_pattern = run_pattern
        self._tab_until = -1  # up to where lines of drawn tab have been reported
        self._here = 0  # errors about the head, or about the lick being built
        self._music = MusicBuilder(self.text, self.report, run_pattern, self._has_invisible, self._crowded)

    def report(self, rule: Rule, span: Span, message: str, hint: str | None = None, fix: Fix | None = None, /) -> None:
        """Add a finding, up to a number that nobody reads any more."""
        error = rule.severity is Severity.ERROR
        if not self._crowded() and (error or len(self.found) < MAX_FINDINGS):
            self._here += error
            self.found.append(rule.at(span, message, hint, fix=fix))

    def _crowded(self) -> bool:
        """Whether enough has been found. A few are kept of every lick, since one without an error counts as good."""
        return len(self.found) >= MAX_FINDINGS and self._here >= FEW

    def book(self, tree: Tree) -> tuple[Book, list[Diagnostic]]:
        """Return the book of the whole file, and its findings."""
        self._find_invisible()
        licks = [child for child in tree.children if isinstance(child, Tree)]
        head = self._header(child for child in tree.children if isinstance(child, Token))
        if len(licks) > MAX_LICKS:
            self.report(
                rules.LIMIT,
                span_of(licks[MAX_LICKS].children[0]),
                f"the file holds {len(licks):,} licks, 10,000 is the limit",
                "split it into several files",
            )
            licks = licks[:MAX_LICKS]
        if not licks and not self.found:
            self.report(
                rules.EMPTY,
                Span(0, 0),
                "there is no lick in this file",
                'a lick begins with a line such as `lick "Porch light"`',
            )
        book = Book(head, tuple(self._lick(lick) for lick in licks), span=Span(0, len(self.text)))
        self._find_same_titles(book.licks)
        return book, self.found

    def _find_same_titles(self, licks: Iterable[Lick]) -> None:
        """Report every title that an earlier lick has already."""
        first: dict[str, Lick] = {}
        for lick in licks:
            if not self.text.startswith('"', lick.title_span.start) or not lick.title.strip():
                continue  # what is said of it is that it has none
            one = first.setdefault(fold_title(lick.title), lick)
            if one is not lick:
                line = self.source.position(one.span.start).line
                self.report(
                    rules.SAME_TITLE,
                    lick.title_span,
                    f'the title "{shorten(lick.title)}" is already used in line {line}',
                    "give each lick a title of its own",
                )

    def _find_invisible(self) -> None:
        if self.text.isascii() and self.text.replace("\n", "").replace("\t", "").isprintable():
            return  # what nearly every text is
        for match in _INVISIBLE.finditer(self.text):
            if self._crowded():
                return  # what cannot be read for it is then reported by itself
            self._invisible.add(match.start())
            name = f"U+{ord(match[0]):04X}"
            self.report(
                rules.INVISIBLE,
                Span(*match.span()),
                f"an invisible character ({name}) stands here",
                "delete it and type the place again",
                self._removal(match.start()),
            )

    def _removal(self, at: int) -> Fix | None:
        """Return the fix that takes out a character without width; None where no note stands there without it."""
        first = last = at
        while first and self.text[first - 1] not in _ENDS and at - first < 100:
            first -= 1
        while last < len(self.text) and self.text[last] not in _ENDS and last - first < 200:
            last += 1
        run = _WIDTHLESS.sub("", self.text[first:last])
        if not _WIDTHLESS.match(self.text, at) or not run or not self._run_pattern().fullmatch(run):
            return None
        return replacement_fix(at, at + 1, "")

    def _has_invisible(self, span: Span) -> bool:
        return bool(self._invisible) and any(at in self._invisible for at in range(span.start, span.end))

    # --- lines ---------------------------------------------------------------------------------------------------

    def _header(self, tokens: Iterable[Token]) -> tuple[Field | Comment, ...]:
        out: list[Field | Comment] = []
        count = 0
        junk_end = -1
        for token in tokens:
            if token.type == "FIELDS":
                count = self._fields(out, token, count)
            elif token.type == "COMMENT":
                out.append(self._music.comment(token))
            else:
                if "\n" in self.text[max(junk_end, 0) : token.start] or junk_end < 0:
                    self._report_junk(span_of(token))
                junk_end = token.end
        return tuple(out)

    def _fields(self, out: list[Field | Comment], token: Token, count: int) -> int:
        """Add the fields of some lines to `out`, which holds `count` already; return how many there are then."""
        new, start = tuple.__new__, token.start  # Span(…) takes twice as long
        text = token.text
        for line in _FIELD_END.split(text) if "\n " in text or "\n\t" in text else text.split("\n"):
            end = start + len(line)
            count += 1
            if count <= MAX_FIELDS:
                read = _read_short_field if len(line) <= MAX_SHARED else _read_field
                name, value, remark, raw, raw_at, sign = read(line)
                out.append(Field(name, value, remark, raw, start + raw_at, sign, span=new(Span, (start, end))))
            elif count == MAX_FIELDS + 1:
                self._too_many_fields(Span(start, end))
            start = end + 1
        return count

    def _too_many_fields(self, span: Span) -> None:
        self.report(
            rules.LIMIT,
            span,
            f"more than {MAX_FIELDS} fields in one place",
            "longer text fits a comment (`#`) or a page of its own",
        )

    def _report_junk(self, span: Span) -> None:
        line = self.text[span.start : span.end]
        if self._has_invisible(span):
            return
        if line[0] in "|:":
            self.report(
                rules.EMPTY,
                Span(span.start, span.start + 1),
                "music before any lick",
                'put a line such as `lick "Porch light"` above it',
            )
        elif _TAB_LINE.match(line):
            if span.start > self._tab_until:
                hint = "each note names its string and its fret: `| e5 e8 B5 B8 |`; `lickwright read` writes a drawn tab so"
                self.report(rules.LINE, span, "a drawn line of tab is not read", hint)
            self._tab_until = self.text.find("\n", span.end) + 2  # the other strings of it
        else:
            hint = "music begins with a bar line `|`, a field with its name, a comment with `#`"
            if line[0] == "@":
                hint = f"the first bar line comes before it: `| {line.split()[0][:20]} …`"
            self.report(
                rules.LINE,
                Span(span.start, span.start + len(line.rstrip())),
                "this line is neither a field nor music",
                hint,
            )

    def _lick(self, tree: Tree) -> Lick:
        self._here = 0
        children = tree.children
        first = children[0]
        assert isinstance(first, Token)
        title, title_span, comment = self._title(first)
        bar = 1
        while bar < len(children) and children[bar].type != "BAR":
            bar += 1
        self._report_indented(children[bar] if bar < len(children) else None)
        fields = self._header(child for child in children[1:bar] if isinstance(child, Token))
        music = self._music.music(children[bar:])
        if not self._here and not any(isinstance(item, _EVENTFUL) for item in music):
            self.report(
                rules.EMPTY,
                title_span,
                f'the lick "{shorten(title)}" has no music',
                "music begins with a bar line: `| e8 e5 B8 G7 |`",
            )
        end = span_of(children[-1]).end
        return Lick(title, (*comment, *fields), music, title_span, span=Span(first.start, end))

    def _report_indented(self, bar: Token | Tree | None) -> None:
        """Report a first bar line that is indented: an indented line goes on with the field above it."""
        if isinstance(bar, Token) and bar.start and self.text[bar.start - 1] != "\n":
            hint = "begin the line with its `|`; indented lines go on with the field above"
            self.report(rules.LINE, span_of(bar), "the first bar line is indented", hint)

    def _title(self, token: Token) -> tuple[str, Span, tuple[Comment, ...]]:
        text, start = token.text, token.start
        match = _TITLE.match(text)
        if match is None:
            return self._no_title(text, start)
        rest = text[match.end() :]
        span = Span(start + match.start(1) - 1, start + match.end(1) + 1)
        comment: tuple[Comment, ...] = ()
        if rest.startswith("#"):
            comment = (Comment(rest[1:].strip(), False, span=Span(start + match.end(), start + len(text))),)
        elif rest.strip():
            at = start + match.end()
            self.report(
                rules.TITLE,
                Span(at, at + len(rest.rstrip())),
                f"`{rest.strip()[:20]}` follows the title",
                "the title is alone on its line; music begins on the next",
            )
        title = ESCAPE.sub(r"\1", match[1]) if "\\" in text else match[1]
        if not title.strip():
            self.report(rules.TITLE, span, "the title is empty", 'give the lick a name: `lick "Porch light"`')
        return title, span, comment

    def _no_title(self, text: str, start: int) -> tuple[str, Span, tuple[Comment, ...]]:
        typed = text.translate(_TYPED)
        rest = text[4:].strip().rstrip("|").strip()
        span = Span(start, start + len(text.rstrip()))
        match = re.match(r'lick\s+"([^"]*)"', typed)
        at = next((n for n, char in enumerate(text) if char in QUOTES), -1)
        if match and at >= 0:
            self.report(
                rules.TYPOGRAPHY,
                Span(start + at, start + at + 1),
                f'`{text[at]}` is a curly quote, not `"`',
                f'write `lick "{match[1]}"`',
                replacement_fix(start, start + match.end(), f'lick "{match[1]}"'),
            )
            return match[1], span, ()
        if not text.startswith("lick"):
            small = replacement_fix(start, start + 4, "lick")
            self.report(rules.TITLE, Span(start, start + 4), "`lick` has small letters only", "write `lick`", small)
        elif rest.startswith('"'):  # and no other ends it
            at = start + text.index('"')
            self.report(
                rules.OPEN, Span(at, at + 1), "the title's quote is never closed", f'write `lick "{rest[1:41]}"`'
            )
        else:
            self.report(
                rules.TITLE,
                span,
                "a lick needs a title in double quotes",
                f'write `lick "{rest.strip(chr(34))[:40] or "Porch light"}"`',
            )
        return rest.strip('"') or "untitled", span, ()
