"""The contract of the notation, its music: each row of the table and each rule about it, on the tree and as counted.

Files, fields and limits are in `test_contract_files.py`. How sounds are written here is in `counted.py`.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from counted import HEAD, count, errors, items, sounds, timeline
from lickwright import compile_text
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
)
from lickwright.notation.tree import (
    Bare,
    BarLine,
    DirectionNode,
    Event,
    Hold,
    Item,
    MarkNode,
    Note,
    Rest,
    SameBar,
    Step,
    Tuplet,
    Worded,
)
from lickwright.performance.note_events import perform
from playing import pitch, played

F = Fraction


def note(string: str, fret: int | None, *marks: MarkNode, count: int = 1, **more: object) -> Event:
    """One picked note, or what `more` makes of it."""
    return Event((Note(string, more.pop("begin", PICKED), fret=fret, marks=marks, **more),), count)  # type: ignore[arg-type]


def mark(sign: str, fret: float | None = None, by: Fraction | None = None) -> MarkNode:
    return MarkNode((SHAPES | MARKS)[sign], None if fret is None else F(fret), by)


G7, A5, E7 = note("G", 7), note("A", 5), note("e", 7)
HOLD, REST = Event((Hold(),)), Event((Rest(),))

# --- the tree: each row of the table, each of its written forms -----------------------------------------------------

TREE: tuple[tuple[str, tuple[Item, ...]], ...] = (
    # note, string as a number, together
    ("B8", (note("B", 8),)),
    ("e0", (note("e", 0),)),
    ("1:12", (note("1:", 12),)),
    ("e5&B8", (Event((Note("e", PICKED, fret=5), Note("B", PICKED, fret=8))),)),
    # hold, hold one string, ring, rest
    ("G7 -", (G7, HOLD)),
    ("G7 ---", (G7, Event((Hold(),), 3))),
    ("G7---", (G7, Event((Hold(),), 3))),
    ("A5 A-&e7", (A5, Event((Hold("A"), Note("e", PICKED, fret=7))))),
    ("G7 G-r&B8", (G7, Event((Hold("G", (mark("r"),)), Note("B", PICKED, fret=8))))),
    ("e5=", (note("e", 5, mark("=")),)),
    (".", (REST,)),
    ("..", (Event((Rest(),), 2),)),
    ("e.", (Event((Rest("e"),)),)),
    # step, tuplet
    ("1/16 G7", (Step(F(1, 16)), G7)),
    ("1/8. G7", (Step(F(3, 16)), G7)),
    ("3[G7 G7 G7]", (Tuplet(3, 2, (G7, G7, G7)),)),
    ("6[G7 G7 G7 G7 G7 G7]", (Tuplet(6, 4, (G7,) * 6),)),
    ("5:4[G7 G7 G7 G7 G7]", (Tuplet(5, 4, (G7,) * 5),)),
    ("3[G7 3[A5 A5 A5] G7]", (Tuplet(3, 2, (G7, Tuplet(3, 2, (A5,) * 3), G7)),)),
    # hammer-on, pull-off, slide, tap, which string
    ("G7h9", (G7, note("", 9, begin=JOINS["h"]))),
    ("G7 p5", (G7, note("", 5, begin=JOINS["p"]))),
    ("G7/9", (G7, note("", 9, begin=JOINS["/"]))),
    ("G7\\5", (G7, note("", 5, begin=JOINS["\\"]))),
    ("G7//9", (G7, note("", 9, begin=JOINS["//"]))),
    ("G7\\\\5", (G7, note("", 5, begin=JOINS["\\\\"]))),
    ("G7t12", (G7, note("", 12, begin=JOINS["t"]))),
    ("Gh9", (note("G", 9, begin=JOINS["h"]),)),
    ("B/10", (note("B", 10, begin=JOINS["/"]),)),
    ("Gh9&Bh10", (Event((Note("G", JOINS["h"], fret=9), Note("B", JOINS["h"], fret=10))),)),
    # from nowhere, out to nowhere
    ("/G7", (note("G", 7, begin=ENTRIES["/"]),)),
    ("\\G7", (note("G", 7, begin=ENTRIES["\\"]),)),
    ("hG7", (note("G", 7, begin=ENTRIES["h"]),)),
    ("tG12", (note("G", 12, begin=ENTRIES["t"]),)),
    ("G9/", (note("G", 9, mark("/")),)),
    ("G9\\", (note("G", 9, mark("\\")),)),
    ("G9 -/", (note("G", 9), Event((Hold("", (mark("/"),)),)))),
    # dead note, harmonics
    ("Gx", (note("G", None, head=HEADS["x"]),)),
    ("G<12>", (note("G", None, head=HEADS["<>"], touch=F(12)),)),
    ("G<2.7>", (note("G", None, head=HEADS["<>"], touch=F(27, 10)),)),
    ("G5<17>", (note("G", 5, head=HEADS["n<>"], touch=F(17)),)),
    ("G7*", (note("G", 7, head=HEADS["*"]),)),
    # bend, release, pre-bend, vibrato
    ("B8^10", (note("B", 8, mark("^", 10)),)),
    ("B8^full", (note("B", 8, mark("^", by=F(2))),)),
    ("B8^half", (note("B", 8, mark("^", by=F(1))),)),
    ("B8^quarter", (note("B", 8, mark("^", by=F(1, 2))),)),
    ("B8^8.5", (note("B", 8, mark("^", 8.5)),)),
    ("B8^", (note("B", 8, MarkNode(QUARTER_BEND)),)),
    ("B8^10r", (note("B", 8, mark("^", 10), mark("r")),)),
    ("B8 -r8", (note("B", 8), Event((Hold("", (mark("r", 8),)),)))),
    ("B8^^10", (note("B", 8, mark("^^", 10)),)),
    ("B8^^full", (note("B", 8, mark("^^", by=F(2))),)),
    ("G7~", (note("G", 7, mark("~")),)),
    ("G7~~", (note("G", 7, mark("~~")),)),
    ("G7~--", (note("G", 7, mark("~")), Event((Hold(),), 2))),
    # loudness, length, fingers
    ("G7!", (note("G", 7, mark("!")),)),
    ("G7?", (note("G", 7, mark("?")),)),
    ("G7,", (note("G", 7, mark(",")),)),
    *((f"G7'{f}", (note("G", 7, finger=f),)) for f in "1234T"),
    *((f"G7'{f}", (note("G", 7, pluck=f),)) for f in "pimac"),
    # at this moment
    ('@"let it hang" G7', (DirectionNode("words", "let it hang"), G7)),
    *((f"@{d} G7", (DirectionNode("dynamic", d), G7)) for d in ("pp", "p", "mp", "mf", "f", "ff")),
    ("@tempo=60 G7", (DirectionNode("tempo", "60"), G7)),
    ("@fermata G7", (DirectionNode("fermata", ""), G7)),
    # bar lines, endings, the same bar
    ("G7 | G7 ||", (G7, BarLine(), G7, BarLine(double=True))),
    ("G7 |: G7 :|", (G7, BarLine(repeat_start=True), G7, BarLine(repeat_end=2))),
    ("G7 :|x3", (G7, BarLine(repeat_end=3))),
    ("G7 ||: G7 :||", (G7, BarLine(double=True, repeat_start=True), G7, BarLine(double=True, repeat_end=2))),
    ("G7 :|: G7", (G7, BarLine(repeat_end=2, repeat_start=True), G7)),
    ("G7 | % |", (G7, BarLine(), SameBar(), BarLine())),
    ("G7 |1st A5 :|2nd G7", (G7, BarLine(), BarLine(ending=1), A5, BarLine(repeat_end=2), BarLine(ending=2), G7)),
    # words
    *((f"({word}: G7)", (Worded(word, (G7,)),)) for word in (*WORDS, "grace")),
    ("(roll: e5&B8)", (Worded("roll", (Event((Note("e", PICKED, fret=5), Note("B", PICKED, fret=8))),)),)),
    ("(scrape: E)", (Worded("scrape", (Event((Bare("E"),)),)),)),
    ("(rake: D G e7)", (Worded("rake", (Event((Bare("D"),)), Event((Bare("G"),)), E7)),)),
    ("(trill: G7h9)", (Worded("trill", (G7, note("", 9, begin=JOINS["h"]))),)),
    ("(pm: A5 (up: A5) | A5)", (Worded("pm", (A5, Worded("up", (A5,)), BarLine(), A5)),)),
)


@pytest.mark.parametrize(("music", "tree"), TREE, ids=[row[0] for row in TREE])
def test_a_written_form_is_read(music: str, tree: tuple[Item, ...]) -> None:
    assert items(music) == tree


def test_the_words_are_those_of_the_contract() -> None:
    contract = "pm ring up down snap slap pop tremolo dive dip scoop swell roll scrape grace rake trill"
    assert sorted((*WORDS, *EVENT_WORDS)) == sorted(contract.split())


def test_events_are_set_apart_by_their_own_start() -> None:
    assert items("e5B8G5h7A5") == items("e5 B8 G5 h7 A5")
    assert items("G7-A5") == items("G7 - A5")


# --- what it means: string, fret, from, to, connected to what, shaped how -------------------------------------------

MEANING: tuple[tuple[str, str], ...] = (
    # 1, 2: string and fret; one event, one step; length is what you see; a hold at the start of a bar is a tie
    ("B8 e0", "B8 0-1; e0 1-2"),
    ("G7--- A5", "G7 0-4; A5 4-5"),
    ("G7 --- A5", "G7 0-4; A5 4-5"),
    ("G7 . A5", "G7 0-1; A5 2-3"),
    ("G7 .. - A5", "G7 0-1; A5 4-5"),
    ("G7 | - A5", "G7 0-2; A5 2-3"),
    ("e5&B8 -", "B8 0-2; e5 0-2"),
    ("1:12 6:3", "e12 0-1; E3 1-2"),
    # 3: connections, a step for each fret; white space before them changes nothing
    ("G7h9p7", "G7 0-1; G9 1-2 hammer-on from 0; G7 2-3 pull-off from 1"),
    ("G7 h9 p7", "G7 0-1; G9 1-2 hammer-on from 0; G7 2-3 pull-off from 1"),
    ("G7/9\\5", "G7 0-1; G9 1-2 slide up from 0; G5 2-3 slide down from 1"),
    ("G7 /9", "G7 0-1; G9 1-2 slide up from 0"),
    ("G7//9\\\\5", "G7 0-1; G9 1-2 slide up and pick from 0; G5 2-3 slide down and pick from 1"),
    ("G5t12p5", "G5 0-1; G12 1-2 tapped from 0; G5 2-3 pull-off from 1"),
    ("G7 - h9", "G7 0-2; G9 2-3 hammer-on from 0"),
    ("tG12 p9", "G12 0-1 tapped; G9 1-2 pull-off from 0"),
    ("/G7 \\G9 hG5", "G7 0-1 slide in from below; G9 1-2 slide in from above; G5 2-3 hammered from nowhere"),
    # the note written last, holds passed over; with a letter, any string that sounds
    ("A5 A-&e7 h8", "A5 0-3; e7 1-2; e8 2-3 hammer-on from 1"),
    ("A5= e7 h8 Ah7", "A5 0-3, let ring; e7 1-2; e8 2-4 hammer-on from 1; A7 3-4 hammer-on from 0"),
    ("G7&B8 Gh9&Bh10", "G7 0-1; B8 0-1; G9 1-2 hammer-on from 0; B10 1-2 hammer-on from 1"),
    ("G7&B8 B/10", "G7 0-2; B8 0-1; B10 1-2 slide up from 1"),
    ("G5h7&B8", "G5 0-1; G7 1-2 hammer-on from 0; B8 1-2"),
    # 4: shapes take no time, act in the step that they touch, in the last of `---`; several share it evenly
    ("B8^10 A5", "B8 0-1, bend 0-1 to 2; A5 1-2"),
    ("B8^10r", "B8 0-1, bend 0-1/2 to 2, release 1/2-1 to 0"),
    ("B8^10 -r", "B8 0-2, bend 0-1 to 2, release 1-2 to 0"),
    ("B8^10 -r9 -r", "B8 0-3, bend 0-1 to 2, release 1-2 to 1, release 2-3 to 0"),
    ("B8- -^10 -~", "B8 0-4, bend 2-3 to 2, vibrato 3-4 to 0.35"),
    ("B8 ---^10 -", "B8 0-5, bend 3-4 to 2"),
    ("B8^full B8^half", "B8 0-1, bend 0-1 to 2; B8 1-2, bend 1-2 to 1"),
    ("B8^quarter B8^11", "B8 0-1, bend 0-1 to 0.5; B8 1-2, bend 1-2 to 3"),
    ("B8^8.5 B8^", "B8 0-1, bend 0-1 to 0.5; B8 1-2, quarter-step bend 1-2 to 0.5"),
    ("B8^^10 -r", "B8 0-2, pre-bend 0-1 to 2, release 1-2 to 0"),
    ("B8^10 -r p5", "B8 0-2, bend 0-1 to 2, release 1-2 to 0; B5 2-3 pull-off from 0"),
    # a bend stays up, across bars, until it is released
    ("B8^10 - | - -r", "B8 0-4, bend 0-1 to 2, release 3-4 to 0"),
    # vibrato: until its note ends or is shaped anew
    ("G7~-- A5", "G7 0-3, vibrato 0-3 to 0.35; A5 3-4"),
    ("G7~~ | - | -", "G7 0-3, wide vibrato 0-3 to 0.7"),
    ("G7~ - -~~ -", "G7 0-4, vibrato 0-2 to 0.35, wide vibrato 2-4 to 0.7"),
    ("B8^10~ - -r", "B8 0-3, bend 0-1/2 to 2, vibrato 1/2-2 to 0.35, release 2-3 to 0"),
    ("G7~ h9", "G7 0-1, vibrato 0-1 to 0.35; G9 1-2 hammer-on from 0"),
    ("G9/ A5 G9 -\\", "G9 0-1, slide off upwards 0-1 to 3; A5 1-2; G9 2-4, slide off downwards 3-4 to -4"),
    ("G7/ /G9", "G7 0-1, slide off upwards 0-1 to 3; G9 1-2 slide in from below"),
    # after a group: its bent strings, or, where none is bent, all of it
    ("e5&B8^10 -r", "B8 0-2, bend 0-1 to 2, release 1-2 to 0; e5 0-2"),
    ("e5&B8 -~", "B8 0-2, vibrato 1-2 to 0.35; e5 0-2, vibrato 1-2 to 0.35"),
    ("G7^9 G-r&B8", "G7 0-2, bend 0-1 to 2, release 1-2 to 0; B8 1-2"),
    # 5: a newly struck note ends every string that was not told to go on; a connected one only its own
    ("A5 e7", "A5 0-1; e7 1-2"),
    ("A5 A-&e7 e8", "A5 0-2; e7 1-2; e8 2-3"),
    ("A5&D7 A-&D-&e7 .", "A5 0-2; D7 0-2; e7 1-2"),
    ("e5= G7 A5 e7", "e5 0-3, let ring; G7 1-2; A5 2-3; e7 3-4"),
    ("e5= G7 . A5", "e5 0-2, let ring; G7 1-2; A5 3-4"),
    ("e5= G7 e. A5", "e5 0-2, let ring; G7 1-3; A5 3-4"),
    ("e5&G7 e. -", "G7 0-3; e5 0-1"),
    ("A5= D7 h9 e7", "A5 0-4, let ring; D7 1-2; D9 2-3 hammer-on from 1; e7 3-4"),
    # what the reference decides: a string held alone ends the others, a rest inside a ring does not end it
    ("A5&e5 A- -", "A5 0-3; e5 0-1"),
    ("(ring: A5 . D7) -", "A5 0-4, let ring; D7 2-4, let ring"),
    ("(ring: A5) . D7 -", "A5 0-1, let ring; D7 2-4"),
    # dead notes, harmonics, marks
    ("Gx G<12> G5<17> G7*", "Gx 0-1; G<12> 1-2; G5<17> 2-3; G7* 3-4"),
    ("G7! G7? G7,", "G7 0-1, accent; G7 1-2, ghost note; G7 2-3, short"),
    # 6: words
    ("(pm: A5 A5 | A5) A5", "A5 0-1, palm mute; A5 1-2, palm mute; A5 2-3, palm mute; A5 3-4"),
    ("(up: A5 (pm: A5)) (down: A5)", "A5 0-1, up-stroke; A5 1-2, up-stroke, palm mute; A5 2-3, down-stroke"),
    ("(snap: A5) (slap: A5) (pop: A5)", "A5 0-1, snapped; A5 1-2, slap; A5 2-3, pop"),
    ("(tremolo: A5)- (dive: A5) (dip: A5)", "A5 0-2, tremolo picking; A5 2-3, dive; A5 3-4, dip"),
    ("(scoop: A5) (swell: A5)-", "A5 0-1, scoop; A5 1-3, swell"),
    ("(ring: A5 D7 A7) e5", "A5 0-2, let ring; D7 1-3, let ring; A7 2-3, let ring; e5 3-4"),
    ("(ring: A5 D7) . e5", "A5 0-2, let ring; D7 1-2, let ring; e5 3-4"),
    ("(ring: A5 D7) - e5", "A5 0-3, let ring; D7 1-3, let ring; e5 3-4"),
    ("(roll: A0&D2&G2)-", "A0 0-2 roll 0; D2 0-2 roll 1; G2 0-2 roll 2"),
    ("(scrape: E)- G7", "E 0-2 scrape; G7 2-3"),
    ("G5 (grace: G5 G7) B5", "G5 0-1; G5 1-1 grace 2; G7 1-1 grace 1; B5 1-2"),
    ("G5 (grace: G5) h7", "G5 0-1; G5 1-1 grace 1; G7 1-2 hammer-on from 1"),
    ("G5 (rake: D G B e8~)-", "G5 0-1; D 1-1 rake 3; G 1-1 rake 2; B 1-1 rake 1; e8 1-3, vibrato 1-3 to 0.35"),
    ("(trill: G5h7)- G5", "G5 0-2 trill 7; G5 2-3"),
    ("(trill: G5h7-) G5", "G5 0-2 trill 7; G5 2-3"),
    # steps: to the end of the bar, then the lick's own again; in a tuplet, the one in force at `[`, to its `]`
    ("1/4 G7 1/16 A5 A5 | G7", "G7 0-2; A5 2-5/2; A5 5/2-3; G7 3-4"),
    ("1/8. G7 1/16 A5", "G7 0-3/2; A5 3/2-2"),
    ("3[G7 A5 G7] A5", "G7 0-2/3; A5 2/3-4/3; G7 4/3-2; A5 2-3"),
    ("1/16 6[G7 A5 G7 A5 G7 A5]", "G7 0-1/3; A5 1/3-2/3; G7 2/3-1; A5 1-4/3; G7 4/3-5/3; A5 5/3-2"),
    ("5:4[G7 A5 G7 A5 G7]", "G7 0-4/5; A5 4/5-8/5; G7 8/5-12/5; A5 12/5-16/5; G7 16/5-4"),
    ("3[1/4 G7 1/8 A5] G7", "G7 0-4/3; A5 4/3-2; G7 2-3"),
    ("3[1/4 G7 1/8 A5] 1/4 G7 3[A5-A5] A5", "G7 0-4/3; A5 4/3-2; G7 2-4; A5 4-20/3; A5 20/3-8; A5 8-10"),
    ("3[G7 3[A5 A5 A5] G7]", "G7 0-2/3; A5 2/3-10/9; A5 10/9-14/9; A5 14/9-2; G7 2-8/3"),
    # repeats, endings, the same bar; everything follows the music as played
    ("G7 :| A5", "G7 0-1; G7 1-2; A5 2-3"),
    ("G7 :|x3", "G7 0-1; G7 1-2; G7 2-3"),
    ("A5 |: G7 :| A5", "A5 0-1; G7 1-2; G7 2-3; A5 3-4"),
    ("G7 :| A5 :|", "G7 0-1; G7 1-2; A5 2-3; A5 3-4"),
    ("G7 | % | A5", "G7 0-1; G7 1-2; A5 2-3"),
    ("G7 |1st A5 :|2nd e7", "G7 0-1; A5 1-2; G7 2-3; e7 3-4"),
    ("G7 |1st A5 :|x3 2nd e7", "G7 0-1; A5 1-2; G7 2-3; A5 3-4; G7 4-5; e7 5-6"),
    ("G7 |: h9 G5 :|", "G7 0-1; G9 1-2 hammer-on from 0; G5 2-3; G9 3-4 hammer-on from 2; G5 4-5"),
    ("G7 |: - A5 :|", "G7 0-2; A5 2-4; A5 4-5"),
)  # fmt: skip


@pytest.mark.parametrize(("music", "meaning"), MEANING, ids=[row[0] for row in MEANING])
def test_music_sounds_as_the_contract_says(music: str, meaning: str) -> None:
    assert sounds(f"| {music}") == meaning


def test_fingers_and_dynamics_are_kept() -> None:
    one = timeline("| G7'1'i @f A5'T'p |: A5 @pp G7 :|").sounds
    assert [(s.finger, s.pluck) for s in one[:2]] == [("1", "i"), ("T", "p")]
    assert [s.dynamic for s in one] == ["mf", "f", "f", "pp", "pp", "pp"]  # as played: the second time begins softly


def test_a_tempo_change_follows_the_music_as_played() -> None:
    one = timeline("|: 1/4 @tempo=60 G7 @tempo=1/8=240 A5 :|")
    changes = [(one.fraction(t.start), t.qpm) for t in one.tempos]
    assert changes == [(F(0), 100), (F(0), 60), (F(1, 4), 120), (F(1, 2), 60), (F(3, 4), 120)]


def test_a_harmonic_sounds_where_it_is() -> None:
    pitches = [s.pitch for s in timeline("| G<12> G<5> G5<17> G7* 1:<7>").sounds]
    assert pitches[:4] == [67, 79, 72, 62 + 24]
    assert pitches[4] == pytest.approx(64 + 19.02, abs=0.01)


def test_a_pause_doubles_its_event() -> None:
    bars = perform(timeline("| @fermata G7--- A5--- | G7------- ||", "tempo 60\n")).bars
    assert bars == (0, 4 + 2)


SWING = (
    ("shuffle", "| A5 G7 ---", 2 / 3 * 2),
    ("swing", "| A5 G7 ---", 3 / 5 * 2),
    ("swing 5:3", "| A5 G7 ---", 5 / 8 * 2),
    ("swing 1/16", "| 1/16 A5 G7", 3 / 5),
    ("swing 1/16", "| A5 G7 ---", 1),
    ("straight", "| A5 G7 ---", 1),
    ("shuffle", "| 1/16 A5 A5 G7 -", 1 / 2),  # another onset inside the pair: it stays straight
    ("shuffle", "| 3[A5 G7 A5]", 4 / 3 / 2),
)


@pytest.mark.parametrize(("feel", "music", "eighths"), SWING)
def test_swing_moves_only_the_middle_of_a_pair(feel: str, music: str, eighths: float) -> None:
    one = timeline(music + " |", f"feel {feel}\ntempo 60\n")
    assert perform(one).notes[1].start == pytest.approx(eighths / 2)
    assert one.fraction(one.sounds[1].start) in (F(1, 8), F(1, 16), F(1, 12))  # the page itself does not swing


def test_stolen_time_is_at_most_half_of_the_note_before() -> None:
    played = perform(timeline("| 1/64 A5 (grace: G5 G7 G5) B5", "tempo 60\n"))
    before, first = played.notes[0], played.notes[1]
    beat = 4 / 64
    assert before.end == first.start == pytest.approx(beat / 2)
    assert played.lead_in == 0
    assert played.notes[4].start == pytest.approx(beat)


def test_before_the_first_beat_silence_is_added() -> None:
    played = perform(timeline("| (grace: G5 G7) B5", "tempo 60\n"))
    assert played.lead_in > 0
    assert played.notes[0].start >= 0
    assert played.notes[2].start == pytest.approx(float(played.lead_in) * 4)


# --- what is an error, and only that ---------------------------------------------------------------------------------

ERRORS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    # a sign that could belong to either neighbour
    ("G7/G9", (("L105", "/"),)),
    ("G7 / G9", (("L105", "/"),)),
    ("G7 \\ G9", (("L105", "\\"),)),
    ("5:7/4:9", (("L105", "/"),)),
    ("5:4 [G7 G5 G7 G5 G7]", (("L108", "["),)),
    ("G7 :| x3", (("L114", "x3"),)),
    ("e5&B5h7", (("L143", "h7"),)),
    ("e5&B5 /7", (("L143", "/7"),)),
    # rests stand apart
    ("G7.", (("L104", "."),)),
    ("G7 .A5", (("L104", "."),)),
    # nothing before it
    ("- G7", (("L142", "-"),)),
    ("h7", (("L451", "h7"),)),
    ("B5 Gh7", (("L451", "Gh7"),)),
    ("G7 . h9", (("L451", "h9"),)),
    ("G7 A-&e7", (("L142", "A-"),)),
    ("G7 . -~", (("L452", "~"),)),
    # tuplets
    ("3[G7 A5 | G7", (("L106", "3["),)),
    ("[G7 A5]", (("L108", "["),)),
    ("3[G7 3[G7 3[A5 A5 A5] A5] A5]", (("L108", "3["),)),
    ("G7]", (("L107", "]"),)),
    # words
    ("(palm: A5)", (("L109", "palm"),)),
    ("(pm A5)", (("L109", "(pm"),)),
    ("(A5)", (("L109", "("),)),
    ("(pm: A5 | A5", (("L106", "(pm:"),)),
    ("A5)", (("L107", ")"),)),
    ("(roll: A5)", (("L144", "A5"),)),
    ("(rake: D G)", (("L144", "(rake:"),)),
    ("(trill: G5)", (("L144", "(trill:"),)),
    ("(grace: G5 -) G7", (("L144", "-"),)),
    ("E G7", (("L141", "E"),)),
    # bars
    ("G7 | | G7", (("L147", "| |"),)),
    ("% | G7", (("L145", "%"),)),
    ("G7 | % G7", (("L145", "%"),)),
    ("G7 1st A5 :|2nd G7", (("L112", "1st"),)),
    ("G7 |1st A5 :| G7", (("L146", "1st"),)),
    ("G7 |1st A5", (("L146", "1st"),)),
    ("G7 :|2nd A5", (("L146", "2nd"),)),
    ("G7 :|x1", (("L114", "x1"),)),
    # strings, steps, directions
    ("b8", (("L103", "b"),)),
    ("7:3", (("L140", "7:"),)),
    ("1/7 G7", (("L110", "1/7"),)),
    ("@loud G7", (("L111", "@loud"),)),
    ("@tempo=9 G7", (("L121", "@tempo=9"),)),
    # marks that exclude each other
    ("G7!?", (("L119", "?"),)),
    ("G7'1'2", (("L119", "'2"),)),
    # every mistake, and none that is not there: the next white space or bracket is a new start
    ("G7z A5 B8v h9 | G7 3[G7 Q5 A5]", (("L101", "z"), ("L101", "v"), ("L103", "Q"))),
    ("zz h9 | - h7 p5", (("L101", "zz"),)),
    ("G7 |: zz G7 :|x4", (("L101", "zz"),)),  # at the written place, once
)  # fmt: skip


@pytest.mark.parametrize(("music", "found"), ERRORS, ids=[row[0] for row in ERRORS])
def test_a_mistake_is_found_where_it_stands(music: str, found: tuple[tuple[str, str], ...]) -> None:
    assert tuple(errors(f"{HEAD}| {music}")) == found


TAPPED = {
    # pitches as heard, by a player who holds the bend while the other hand taps
    "B8^10 t13 p8 - - -r - -": [69, 74, 69],
    "B8^10 tB13 p8 t15 p8 - -r -": [69, 74, 69, 76, 69],
    "B8^9 t13 p5 - - - - -": [68, 73, 64],  # pulled off to another fret: the bend has gone
    "B8^10 -r t13 p8 - - - -": [69, 72, 67],
    "B8 t13 p8 - - - - -": [67, 72, 67],
    "B8^10 h13 - - - - - -": [69, 72],  # only a tap leaves the finger where it is
    "B8^10 B-&te15 - B-r - - - -": [69, 79],
    "B8^10 t13 -r p8 - - - -": [69, 74, 67],  # let go under the tap
}  # fmt: skip


@pytest.mark.parametrize("music", TAPPED)
def test_a_tap_over_a_held_bend_sounds_by_the_bend_higher(music: str) -> None:
    notes = played(f"| {music} ||")
    ends = [note.start + min(0.19, note.end - note.start) for note in notes]
    assert [round(pitch(note, end)[0]) for note, end in zip(notes, ends, strict=True)] == TAPPED[music]
    (lick,) = compile_text(f'key A minor\nlick "Gate"\n| {music} ||\n').licks
    assert lick.ok


def test_what_cannot_be_read_counts_as_one_event_and_its_bar_is_not_judged() -> None:
    _, (one,), _ = count(f"{HEAD}| G7z A5 | A5 A5 ||")
    assert [one.fraction(s.start) for s in one.sounds] == [F(1, 8), F(1, 4), F(3, 8)]
    assert [bar.sure for bar in one.bars] == [False, True]


# --- where the front end and the contract part ------------------------------------------------------------------------

ONE_MISTAKE = (
    pytest.param("3 [G7 A5 G7]", ("L108",), id="space before a tuplet's bracket"),
    pytest.param("@tempo = 60 G7", ("L111",), id="spaces in a tempo"),
    pytest.param("13:5", ("L113",), id="string 13"),
    pytest.param("(pm: 3[A5 A5) A5]", ("L106",), id="brackets that cross"),
    pytest.param("G7 |1st A5 :|x32nd e7", ("L114",), id="x3 and 2nd run together"),
)


@pytest.mark.parametrize(("music", "codes"), ONE_MISTAKE)
def test_one_mistake_is_one_error(music: str, codes: tuple[str, ...]) -> None:
    assert tuple(code for code, _ in errors(f"{HEAD}| {music}")) == codes


SILENT = (
    pytest.param("(grace: A5)", id="grace notes before nothing"),
    pytest.param("(trill: G5h7 A5)", id="a third note in a trill"),
    pytest.param("(trill: A5 Gh7)", id="a trill over two strings"),
    pytest.param("(trill: G5h7~)", id="vibrato on a trill's second note is lost"),
    pytest.param("G7 -!", id="an accent on a hold becomes a shape"),
    pytest.param("G7 -'1", id="a finger on a hold is lost"),
)


@pytest.mark.parametrize("music", SILENT)
def test_what_has_no_meaning_is_an_error(music: str) -> None:
    assert errors(f"{HEAD}| {music}")


def test_a_rake_runs_once_or_not_at_all_into_a_chord() -> None:
    _, (one,), found = count(f"{HEAD}| (rake: A D e8&B8)")
    assert found or [s.kind for s in one.sounds] == ["rake", "rake", "note", "note"]


@pytest.mark.parametrize(("shape", "right"), [("r8", "-r8"), ("r", "-r"), ("~", "-~"), ("^10", "-^10")])
def test_a_shape_that_stands_alone_is_told_to_touch_a_hold(shape: str, right: str) -> None:
    _, _, found = count(f"{HEAD}| B8 {shape}")
    assert f"`{right}`" in (found[0].hint or "")
