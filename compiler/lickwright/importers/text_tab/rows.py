"""The rows above and below the strings: counts, rhythm letters, spans such as `PM----|`, amounts of bends, chords, endings, words.

In: the lines around a system. Out: `Rows`: entries by column. A row is read as one kind of thing only if all of it is of that kind;
anything else is words,
which are kept as they stand.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from lickwright.core.fast_dataclass import field, mutable_record
from lickwright.importers.text_tab.text_lines import TextLine


class CountWord(NamedTuple):
    """One word of a row of counts."""

    x: int
    word: str  # a number, `&`, `e`, `a`, `trip`, `let`, `.`; with `*` and `|` as our own tab has them
    rest: bool


class AboveEntry(NamedTuple):
    """One thing said above the strings."""

    kind: str  # "pm", "ring", "bend", "chord", "ending", …
    text: str
    x: int
    end: int  # column after it
    line: TextLine
    lasts: bool = False  # it has a line that says how far it goes
    closed: bool = True  # that line has an end


@mutable_record
class Rows:
    """The rows around one system."""

    counts: list[CountWord] = field(default_factory=list)
    letters: list[tuple[int, str]] = field(default_factory=list)  # rhythm letters by column: `E`, `Q.`, `E3`, `R`
    entries: list[AboveEntry] = field(default_factory=list)
    words: list[TextLine] = field(default_factory=list)  # what is none of it
    count_line: TextLine | None = None
    letter_line: TextLine | None = None


_COUNT = re.compile(
    r"(?P<group>\|?)(?P<rest>\()?(?P<word>\d{1,2}\*?|&\*?|\+|and|trip|let|ee|uh|ah|e|a\*?|n|\.)", re.IGNORECASE
)
_COUNT_LINE = re.compile(
    r"(?:\|?\(?(?:\d{1,2}\*?|&\*?|\+|and|trip|let|ee|uh|ah|[ean]\*?|\.)\)?[\s|_:-]*)+", re.IGNORECASE
)
_COUNT_WORDS = {"+": "&", "and": "&", "n": "&", "ee": "e", "uh": "a", "ah": "a"}
_LETTER = re.compile(r"(?P<value>[WHQESTR]|[whqestr])(?P<dot>\.?)(?P<three>3?)")
_SIGNATURE = r"(?:string \d+|[A-Ge][#b]?)(?![a-z])"
_LINE = r"(?P<line>(?:(?: \.(?= |\||$))+|(?: (?=[-._~|]))?[-._~]*)\|?)"
_NAMES = rf"(?P<whose>(?: {_SIGNATURE})*)"
_SPAN_WORDS: tuple[tuple[str, str], ...] = (
    (r"PM|P\.M\.?|p\.m\.|pm|[Pp]alm [Mm]ut(?:es?|ed|ing)", "pm"), (r"let ring|LR|l\.r\.|Let Ring|let it ring", "ring"), (r"ring", "ring note"),
    (r"rake", "rake"),
    (r"tr(?:\((?P<trill>\d+)\))?", "trill"), (r"gr", "grace"), (r"roll", "roll"), (r"scrape", "scrape"), (r"trem\.|tremolo|T\.P\.|TP", "tremolo"),
    (r"snap", "snap"), (r"dive", "dive"), (r"dip", "dip"), (r"scoop", "scoop"), (r"swell", "swell"), (r"N\.?H\.?|Harm\.|harm\.", "natural"),
    (r"P\.?H\.?", "pinch"), (r"A\.?H\.?|T\.?H\.?|H\.?H\.?", "artificial"), (r"slap", "slap"), (r"pop", "pop"), (r"tap", "tap"),
    (r"w/ ?bar", "bar"), (r"vib\.?|vibrato|~+", "vibrato"),
)  # fmt: skip
_SPANS = [(re.compile(rf"(?:{word}){_NAMES}{_LINE}"), kind) for word, kind in _SPAN_WORDS]
_STOP = re.compile(rf"stop (?P<whose>{_SIGNATURE})")
_BEND = re.compile(r"(?P<amount>(?:bend )?(?:\d+ \d/\d|\d/\d|full|\d*\.\d+|\d+(?![\d.])))?(?P<hold>(?: ?hold)?-*\|?)")
_PLAIN_BEND = re.compile(r"(?:bend )?(?P<amount>[Ff]ull|(?:1 )?[13]/[24])(?P<hold>(?: ?hold)?-*\|?)")
_ACCENT = re.compile(rf"(?P<sign>[>.^]|g){_NAMES}")
_STROKE = re.compile(r"[DUSPdunvV^]")
_FINGER = re.compile(r"[1-4T]")
_PLUCK = re.compile(r"[pimac]")
_ENDING = re.compile(r"\(?\|?(?P<n>[12])(?:\.|st|nd)(?: time| ending)?[-_. ]*\|?\)?")
_TIMES = re.compile(r"\(?(?:[xX] ?(?P<a>\d{1,2})|(?P<b>\d{1,2}) ?[xX]|(?:play |repeat )?(?P<c>\d{1,2}) times)\)?")
_TIMES_OVER = re.compile(
    r"\|-{1,40} ?(?:[xX](?P<a>\d{1,2})|(?P<b>\d{1,2})[xX]) ?-{1,40}\|"
)  # over the bars that it repeats
_GOING = re.compile(r"(?:Segno|Coda|Fine|To Coda|D\.[CS]\.(?: al (?:Fine|Coda))?)(?![a-z])")
_DYNAMIC = re.compile(r"(?:pp|p|mp|mf|ff|f)(?![a-z])")
_TEMPO = re.compile(r"tempo \d+(?:\.\d+)?|1/\d+\.{0,2} ?= ?\d+(?:\.\d+)?|fermata")
_TUPLET = re.compile(r"\|?-*\d(?::\d)?-*\|?")
_CHORD = re.compile(r"(?:N\.?C\.?|[A-G][#b]?(?:maj|min|m|M|dim|aug|sus|add|alt|ø|°|\+|-)?[0-9a-zA-Z#+()/-]*)(?![a-z])")
_FRET_HAND, _PICK_HAND = "fretting hand", "plucking hand"


class RowReader:
    """Reads the rows of one tab; `ours` is a tab that Lickwright printed, whose rows are known exactly."""

    def __init__(self, ours: bool, plucks: bool, strokes: Mapping[str, str], is_chord: Callable[[str], bool]) -> None:
        """`strokes` are the signs that the key explains as strokes, with what they are: a row of them alone names no chords."""
        self._ours, self._plucks, self._strokes, self._is_chord = ours, plucks, strokes, is_chord

    def read(self, above: Sequence[TextLine], below: Sequence[TextLine], offset: int, instants: int) -> Rows:
        """Return the rows; `offset` is the index of column 0 in the lines, `instants` how many columns have notes."""
        rows = Rows()
        for line in above:
            self._row(rows, line, offset, instants, True)
        for line in below:
            self._row(rows, line, offset, instants, False)
        return rows

    def _row(self, rows: Rows, line: TextLine, offset: int, instants: int, above: bool) -> None:
        text = line.text.rstrip()
        if not text.strip():
            return
        if not rows.counts and is_count_row(text):
            rows.counts = count_words(text, offset)
            rows.count_line = line
            return
        if not rows.letters and not self._ours and (letters := _letters(text, offset, instants)):
            rows.letters, rows.letter_line = letters, line
            return
        entries = self._entries(line, text, offset) if above or not self._ours else None
        if entries is None:
            rows.words.append(line)
        else:
            rows.entries += entries

    def _entries(self, line: TextLine, text: str, offset: int) -> list[AboveEntry] | None:
        """Return the entries of a row that is all of one kind; None for words."""
        number = re.match(r"\(?\d+\)?(?=  |$)", text) if self._ours else None
        begin = number.end() if number else 0
        if not text[begin:].strip():
            return [] if number else None
        for kind in self._kinds(text, number is not None):
            found = _all_of(kind, line, text, begin, offset)
            if found is not None:
                return found
        if self._ours:
            return [AboveEntry("words", part[0], part.start() - offset, part.end() - offset, line)
                    for part in re.compile(r"\S+(?: \S+)*").finditer(text, begin)]  # fmt: skip
        return None

    def _kinds(self, text: str, numbered: bool) -> list[Kind]:
        labeled = text.endswith((_FRET_HAND, _PICK_HAND))
        if labeled:
            return [_fingers if text.endswith(_FRET_HAND) else _plucks]
        if self._strokes and not numbered and set(text.split()) <= self._strokes.keys():
            return [_stroke if self._ours else self._said_stroke]
        amounts = _bend if self._ours else _plain_bend
        kinds: list[Kind] = [_going, _tempo, _ending, self._chord, _spans, amounts, _accent]
        if self._ours:
            kinds += [_tuplet, *([_plucks] if self._plucks else []), _dynamic, _stroke, _finger_numbers]
        else:
            kinds += [_plain_stroke, _tap_sign, _dynamic]
        return kinds

    def _said_stroke(self, text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
        sign = text[at:].split(maxsplit=1)[0]
        return self._strokes[sign], at + len(sign), "", False, True

    def _chord(self, text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
        found = _CHORD.match(text, at)
        if found and self._is_chord(found[0]):
            return "chord", found.end(), found[0], False, True
        return ("chord", at + 1, "", False, True) if text[at] in "|/%-" and not self._ours else None


# A kind reads one entry at an index: its name, where it ends, its text, whether it lasts, whether that is closed.
Kind = Callable[[str, int], "tuple[str, int, str, bool, bool] | None"]


def _all_of(kind: Kind, line: TextLine, text: str, at: int, offset: int) -> list[AboveEntry] | None:
    found = []
    while at < len(text):
        if text[at] == " ":
            at += 1
            continue
        if text.startswith((_FRET_HAND, _PICK_HAND), at):
            break
        one = kind(text, at)
        if one is None or one[1] <= at or text[one[1] : one[1] + 1].strip():
            return None
        name, end, words, lasts, closed = one
        if name and (words or name != "chord"):
            found.append(AboveEntry(name, words, at - offset, end - offset, line, lasts, closed))
        at = end
    return found


def _going(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _GOING.match(text, at)
    return ("going", found.end(), found[0], False, True) if found else None


def _tempo(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _TEMPO.match(text, at)
    if found is None:
        return None
    return ("fermata" if found[0] == "fermata" else "tempo"), found.end(), found[0].removeprefix("tempo "), False, True


def _ending(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _ENDING.match(text, at)
    if found:
        end = at + len(found[0].rstrip())
        return "ending", end, found["n"], True, found[0].rstrip().endswith("|")
    over = _TIMES_OVER.match(text, at)
    if over:
        return "times", over.end(), over["a"] or over["b"], True, True
    times = _TIMES.match(text, at)
    if times:
        return "times", times.end(), next(filter(None, times.groups())), False, True
    return None


def _spans(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    stop = _STOP.match(text, at)
    if stop:
        return "stop", stop.end(), stop["whose"], False, True
    for pattern, kind in _SPANS:
        found = pattern.match(text, at)
        if found and not text[found.end() : found.end() + 1].strip():
            line = found["line"].strip()
            words = found["trill"] or "" if kind == "trill" else (found["whose"] or "").strip()
            end = at + len(found[0].rstrip())
            return kind, end, words, bool(line), line.endswith("|") or not line
    return None


def _bend(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _BEND.match(text, at)
    if not found or not found[0] or found[0] == "|":
        return None
    return "bend", found.end(), found["amount"] or "", bool(found["hold"]), found[0].endswith("|")


def _plain_bend(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    """Read an amount of a bend of another's tab: a number alone may be a finger there."""
    found = _PLAIN_BEND.match(text, at)
    return ("bend", found.end(), found["amount"].lower(), bool(found["hold"]), True) if found else None


def _accent(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _ACCENT.match(text, at)
    if not found:
        return None
    kind = {">": "accent", ".": "short", "^": "accent", "g": "ghost"}[found["sign"]]
    return kind, found.end(), found["whose"].strip(), False, True


def _stroke(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _STROKE.match(text, at)
    if not found:
        return None
    whose = re.compile(_NAMES).match(text, found.end())
    end = whose.end() if whose else found.end()
    kind = {
        "D": "down",
        "d": "down",
        "n": "down",
        "U": "up",
        "u": "up",
        "v": "up",
        "V": "up",
        "^": "up",
        "S": "slap",
        "P": "pop",
    }[found[0]]
    return kind, end, whose["whose"].strip() if whose else "", False, True


def _plain_stroke(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    """Read a stroke of another's tab, which names no strings."""
    found = _stroke(text[: at + 1], at) if text[at] in "DUdunvV^" else None
    return (found[0], at + 1, "", False, True) if found else None


def _tap_sign(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    return ("tap", at + 1, "", False, True) if text[at] in "Tt+" else None


def _finger_numbers(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _FINGER.match(text, at)
    return ("finger", found.end(), found[0], False, True) if found else None


_fingers = _finger_numbers


def _plucks(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _PLUCK.match(text, at)
    return ("pluck", found.end(), found[0], False, True) if found else None


def _dynamic(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _DYNAMIC.match(text, at)
    return ("dynamic", found.end(), found[0], False, True) if found else None


def _tuplet(text: str, at: int) -> tuple[str, int, str, bool, bool] | None:
    found = _TUPLET.match(text, at)
    return ("tuplet", found.end(), found[0], False, True) if found else None


# --- rhythm rows -----------------------------------------------------------------------------------------------------


def is_count_row(text: str) -> bool:
    """Return True for a row of counts: beats and the words between them, and nothing else."""
    words = text.strip()
    if not _COUNT_LINE.fullmatch(words) or re.search(r"\d\.[-_]", words):  # `1.---|` is an ending
        return False
    numbers = [int(word) for word in re.findall(r"\d+", words)]
    if not numbers:
        return False
    if re.search(r"[\d&a]\*", words):
        return True
    rises = sum(b == a + 1 or b == 1 for a, b in zip(numbers, numbers[1:], strict=False))
    spoken = len(re.findall(r"&|\+|and|trip|[ea]", words))
    steady = rises >= 0.8 * (len(numbers) - 1)
    return steady and (len(numbers) >= 3 or spoken > 0) and max(numbers) <= 16 and min(numbers) >= 1


def count_words(text: str, offset: int) -> list[CountWord]:
    """Return the words of a row of counts, by column."""
    found = []
    for match in _COUNT.finditer(text):
        word = match["word"].lower()
        found.append(
            CountWord(match.start("word") - offset, match["group"] + _COUNT_WORDS.get(word, word), bool(match["rest"]))
        )
    return found


def _letters(text: str, offset: int, instants: int) -> list[tuple[int, str]]:
    """Return the rhythm letters of a row; an empty list where it is something else."""
    words = list(re.finditer(r"[^\s|_-]+", text))
    if len(words) < 2 or not all(_LETTER.fullmatch(word[0].strip("()")) for word in words):
        return []
    letters = {word[0].strip("()")[0] for word in words}
    if len({letter.isupper() for letter in letters}) > 1:
        return []
    capitals = {letter.upper() for letter in letters}
    about_as_many = abs(len(words) - instants) <= max(1, instants // 6)
    if not about_as_many or (capitals <= {"E"} and len(words) < 4):
        return []
    return [(word.start() - offset, word[0].strip("()").upper()) for word in words]
