"""A book written out and read again is the same book, and written again the same text."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lickwright.core.fast_dataclass import replace
from lickwright.core.source import Source
from lickwright.music.rhythm import parse_value
from lickwright.notation.canonical import canonical_text
from lickwright.notation.navigation import NAVIGATION
from lickwright.notation.normal_form import normal_items
from lickwright.notation.syntax import parse_source
from lickwright.notation.techniques import (
    ENTRIES,
    EVENT_WORDS,
    HEADS,
    JOINS,
    MARKS,
    PICKED,
    QUARTER_BEND,
    SHAPES,
    WORDS,
    Technique,
)
from lickwright.notation.tree import (
    Bare,
    BarLine,
    Book,
    Comment,
    DirectionNode,
    Event,
    Field,
    Hold,
    Item,
    Lick,
    MarkNode,
    Navigation,
    Note,
    Part,
    Rest,
    SameBar,
    Step,
    Tuplet,
    Unknown,
    Worded,
)

SAMPLES = sorted(Path(__file__).parents[1].glob("samples/**/*.lick"))


def read(text: str) -> Book:
    book, found = parse_source(Source("-", text))
    found = [
        d for d in found if d.code not in ("L118", "L125", "L126")
    ]  # a made-up lick may hold only words, or 3:3[…]
    assert not found, ([d.message for d in found], text)
    return book


def normal(book: Book) -> Book:
    """The book that its canonical text is read as."""
    (head,) = [entry.text for entry in book.head if isinstance(entry, Field) and entry.name == "step"] or [""]
    licks = []
    for lick in book.licks:
        (own,) = [one.text for one in lick.fields if isinstance(one, Field) and one.name == "step"] or [head]
        licks.append(replace(lick, music=normal_items(lick.music, parse_value(own) if own else None)))
    return replace(book, licks=tuple(licks))


def test_there_are_samples() -> None:
    assert len(SAMPLES) > 10


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_samples_come_back(path: Path) -> None:
    book = read(path.read_text("utf-8"))
    text = canonical_text(book)
    assert read(text) == normal(book)
    assert canonical_text(read(text)) == text


UNTIDY = """\ufeff# head
by     Mara Quill   # who
key    A minor
chords A7 | D7
   | E7 # last

# section

lick "Porch \\"light\\""   # why
# own
box    1
| e8   e5 # first
 B8^10 -r p5 G7~--   | # end of bar
# own line
| 3[D7 G5h7] e5&B8^full -
   (rake: D G B e8~) - . . ||
|: (pm: A5 A5 | # inside
| A5 A7) 5:4[1/16 e5 e5 e5 e5 e5] 1/8. G5<17>'1'p G<3.2>! :|x3
|1st e5= /G7^8.5r7 \\G9 tG12 hG7 Gx? 6:x 12:3 :||
|2nd A-&e7 G-r&B8 e. @"he\\"y \\\\" @tempo=1/4. e5//9\\\\7 @mf % || (ring: e5 # c
 e7 # d
 ) ---~ .. |
# trailing
lick "two"
| e5 - |"""

TIDY = """# head
by     Mara Quill  # who
key    A minor
chords A7 | D7
     | E7          # last

# section

lick "Porch \\"light\\""  # why
# own
box 1
| e8 e5  # first
  B8^10 -r p5 G7~-- |  # end of bar
# own line
| 3[D7 G5h7] e5&B8^full- (rake: D G B e8~)- .. ||
|: (pm: A5 A5 |  # inside
|    A5  A7) 5[1/16 e5 e5 e5 e5 e5] 1/8. G5<17>'1'p G<3.2>!  :|x3
|1st e5= /G7^8.5r7  \\G9   tG12           hG7 Gx?    6:x 12:3 :||
|2nd A-&e7 G-r&B8 e. @"he\\"y \\\\" @tempo=1/4. e5//9\\\\7 @mf % || (ring: e5  # c
  e7  # d
  )-- -~ .. |

# trailing
lick "two"
| e5- |
"""


def test_untidy_text_comes_back() -> None:
    source = Source("-", UNTIDY.replace("\n", "\r\n"))
    book = read(source.text)
    text = canonical_text(book, source.text)
    assert text == TIDY
    assert read(text) == normal(book)
    assert canonical_text(read(text), text) == text
    without_blank_lines = canonical_text(book)
    assert read(without_blank_lines) == normal(book)
    assert canonical_text(read(without_blank_lines)) == without_blank_lines
    assert [line for line in text.splitlines() if "#" in line].__len__() == UNTIDY.count("#")


def test_what_could_not_be_read_is_not_written() -> None:
    with pytest.raises(ValueError, match="could not be read"):
        canonical_text(Book((), (Lick("x", (), (BarLine(), Unknown())),)))


# --- any tree ----------------------------------------------------------------------------------------------------


def rows(table: Mapping[str, Technique], *signs: str) -> st.SearchStrategy[Technique]:
    """Techniques by their signs, whose reports are short."""
    return st.sampled_from(signs).map(table.__getitem__)


strings = st.sampled_from(["E", "A", "D", "G", "B", "e", "1:", "7:", "12:"])
frets = st.integers(0, 36)
targets = st.one_of(st.integers(0, 36).map(Fraction), st.integers(0, 72).map(lambda n: Fraction(n, 2)))
shapes = st.one_of(
    st.builds(MarkNode, rows(SHAPES, "^", "^^"), targets),
    st.builds(
        MarkNode,
        rows(SHAPES, "^", "^^"),
        st.none(),
        st.sampled_from([Fraction(2), Fraction(1), Fraction(1, 2)]),
    ),
    st.builds(MarkNode, st.just(QUARTER_BEND)),
    st.builds(MarkNode, rows(SHAPES, "r"), st.none() | targets),
    st.builds(MarkNode, rows(SHAPES, "~", "~~")),
)
# two vibratos that touch would read as the wide one, a curl before a curl as a pre-bend
chains = (
    st.lists(shapes, max_size=3)
    .map(tuple)
    .filter(
        lambda marks: all(
            not (a.technique.sign[0] == b.technique.sign[0] and a.fret is None and a.by is None)
            for a, b in zip(marks, marks[1:], strict=False)
        )
    )
)
plain = st.lists(rows(MARKS, "!", ",").map(MarkNode), unique=True, max_size=2).map(tuple)
off = st.sampled_from([(), (MarkNode(SHAPES["/"]),), (MarkNode(SHAPES["\\"]),)])
marks = st.tuples(chains, plain, off).map(lambda three: three[0] + three[1] + three[2])
fingers = st.sampled_from([None, "1", "4", "T"])
plucks = st.sampled_from([None, "p", "i", "c"])
begins = st.just(PICKED) | rows(ENTRIES, *ENTRIES)
joins = rows(JOINS, *JOINS)
notes = st.one_of(
    st.builds(Note, strings, begins, st.none(), frets, st.none(), marks, fingers, plucks),
    st.builds(Note, strings, joins, st.none(), frets, st.none(), marks, fingers, plucks),
    st.builds(Note, strings, st.just(PICKED), rows(HEADS, "x"), st.none(), st.none(), plain, fingers, plucks),
    st.builds(Note, strings, st.just(PICKED), rows(HEADS, "*"), frets, st.none(), marks, fingers, plucks),
    st.builds(Note, strings, st.just(PICKED), rows(HEADS, "n<>"), frets, targets, marks, fingers, plucks),
    st.builds(Note, strings, st.just(PICKED), rows(HEADS, "<>"), st.none(), targets, marks, fingers, plucks),
)
parts: st.SearchStrategy[Part] = st.one_of(notes, st.builds(Hold, strings, chains), st.builds(Rest, strings))
loose = st.builds(Note, st.just(""), joins, st.none(), frets, st.none(), marks, fingers, plucks)
events = st.one_of(
    st.lists(parts, min_size=1, max_size=3).map(lambda some: Event(tuple(some))),
    loose.map(lambda note: Event((note,))),
    strings.map(lambda string: Event((Bare(string),))),
    st.builds(lambda count, some: Event((Hold("", some),), count), st.integers(1, 5), chains),
    st.integers(1, 5).map(lambda count: Event((Rest(),), count)),
)
says = st.one_of(
    st.text("ab \"\\#'|()[]é", min_size=1, max_size=8).map(lambda text: DirectionNode("words", text.strip())),
    st.sampled_from(
        [
            DirectionNode("dynamic", "pp"),
            DirectionNode("dynamic", "ff"),
            DirectionNode("fermata", ""),
            DirectionNode("tempo", "60"),
            DirectionNode("tempo", "1/4.=66"),
        ]
    ),
)
steps = st.sampled_from([Fraction(1, 16), Fraction(3, 16), Fraction(7, 32), Fraction(1, 1)]).map(Step)
remarks = st.builds(Comment, st.text("ab#|", max_size=5).map(str.strip), st.booleans())
navigation = st.sampled_from(NAVIGATION).map(Navigation)
beats = st.one_of(events, says, steps, navigation)


def _around(inner: st.SearchStrategy[Item]) -> st.SearchStrategy[Item]:
    some = st.lists(inner, min_size=1, max_size=4).map(tuple)
    return st.one_of(
        st.builds(Worded, st.sampled_from([*WORDS, *EVENT_WORDS]), some),
        st.builds(Tuplet, st.integers(2, 9), st.integers(1, 9), some),
    )


items = st.recursive(
    beats,
    lambda inner: st.one_of(
        inner, st.builds(Worded, st.sampled_from([*WORDS]), st.lists(inner, min_size=1, max_size=4).map(tuple))
    ),
    max_leaves=8,
)
tuplets = st.builds(Tuplet, st.integers(2, 9), st.integers(1, 9), st.lists(beats, min_size=1, max_size=4).map(tuple))
bars = st.lists(st.one_of(items, tuplets), min_size=1, max_size=5).map(tuple) | st.just((SameBar(),))
lines = st.builds(BarLine, st.booleans(), st.sampled_from([0, 2, 3]), st.booleans(), st.just(0), st.booleans())


@st.composite
def licks(draw: st.DrawFn) -> Lick:
    music: list[Item] = [BarLine()]
    for bar in draw(st.lists(bars, min_size=1, max_size=4)):
        music += [*bar, draw(lines)]
    last = music[-1]
    assert isinstance(last, BarLine)
    music[-1] = BarLine(last.double, last.repeat_end, False)
    fields = draw(
        st.lists(
            st.builds(
                Field, st.sampled_from(["key", "x-mine", "note"]), st.just("A minor"), st.sampled_from([None, "why"])
            ),
            max_size=3,
        )
    )
    return Lick(draw(st.text('ab"\\ é#', min_size=1, max_size=8).filter(str.strip)), tuple(fields), tuple(music))


@pytest.mark.filterwarnings("ignore:Generating overly large repr")  # of the strategy, if it fails
@given(st.lists(licks(), min_size=1, max_size=2))
def test_any_tree_comes_back(some: list[Lick]) -> None:
    book = Book((Field("by", "Mara Quill"),), tuple(some))
    text = canonical_text(book)
    assert read(text) == normal(book)
    assert canonical_text(read(text)) == text
