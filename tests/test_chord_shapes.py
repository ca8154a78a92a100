"""Chords on the neck: shapes that players know come out by themselves, arpeggios keep to their boxes, triads turn over."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest

from commanding import Run
from lickwright.diagram import DiagramOptions, FretboardDiagram, chord_diagrams
from lickwright.diagram.chord_shapes import chord_fingers, fullest_voicing
from lickwright.music.boxspec import parse_box
from lickwright.music.chord import parse_chord, parse_chord_name
from lickwright.music.fretboard import all_places
from lickwright.music.tuning import parse_tuning

STANDARD = parse_tuning("standard")


def drawn(
    name: str, kind: str, box: str | None = None, tuning: str = "standard", **how: object
) -> tuple[FretboardDiagram, ...]:
    spec = parse_box(box) if box else None
    return chord_diagrams(kind, parse_chord_name(name), name, parse_tuning(tuning), spec, DiagramOptions(**how))  # type: ignore[arg-type]


def frets(neck: FretboardDiagram) -> str:
    """Thick to thin, as the caption has them."""
    return neck.caption.partition(": ")[2]


# What every chord book has in open position, thick to thin.
OPEN = {
    "C": "x 3 2 0 1 0", "A": "x 0 2 2 2 0", "G": "3 2 0 0 3 3", "E": "0 2 2 1 0 0", "D": "x x 0 2 3 2", "Am": "x 0 2 2 1 0",
    "Em": "0 2 2 0 0 0", "Dm": "x x 0 2 3 1", "F": "1 3 3 2 1 1", "C7": "x 3 2 3 1 0", "G7": "3 2 0 0 0 1",
    "D7": "x x 0 2 1 2", "A7": "x 0 2 0 2 0", "E7": "0 2 0 1 0 0", "Am7": "x 0 2 0 1 0", "Em7": "0 2 0 0 0 0",
    "Cmaj7": "x 3 2 0 0 0", "D/F#": "2 0 0 2 3 2",
}  # fmt: skip
MOVED = {  # at their place in the boxes of the named chord
    "Am7": {"E": "5 7 5 5 5 5", "D": "x x 7 9 8 8", "A": "x 0 2 0 1 0"},
    "C7": {"A": "x 3 5 3 5 3", "E": "8 10 8 9 8 8", "D": "x x 10 12 11 12"},
    "Bm7b5": {"A": "x 2 3 2 3 x"},
    "Bb": {"A": "x 1 3 3 3 1", "E": "6 8 8 7 6 6"},
}


@pytest.mark.parametrize(("symbol", "shape"), OPEN.items())
def test_open_chords_are_those_of_every_chord_book(symbol: str, shape: str) -> None:
    found = {neck.caption.partition(": ")[0]: frets(neck) for neck in drawn(symbol, "chord")}
    assert found["open position"] == shape


@pytest.mark.parametrize("symbol", MOVED)
def test_movable_shapes(symbol: str) -> None:
    found = {n.caption.partition("(")[2][:1]: frets(n) for n in drawn(symbol, "chord") if "(" in n.caption}
    every = {frets(n) for n in drawn(symbol, "chord")}
    for shape, wanted in MOVED[symbol].items():
        assert found.get(shape) == wanted or wanted in every, found


@pytest.mark.parametrize(
    "symbol",
    ["A", "Am", "A7", "Am7", "Amaj7", "Am7b5", "Adim7", "A9", "A13", "Asus4", "A6", "Aaug", "A5", "A/C#", "A7#9"],
)
@pytest.mark.parametrize("tuning", ["standard", "drop D", "DADGAD", "bass", "7 string"])
def test_a_shape_is_in_one_hand_and_holds_the_chord(symbol: str, tuning: str) -> None:
    chord, strings = parse_chord(symbol), parse_tuning(tuning)
    assert chord is not None
    try:
        shapes = drawn(symbol, "chord", tuning=tuning)
    except ValueError as e:
        assert "one hand cannot hold" in str(e)  # noqa: PT017 (some chords have more notes than a bass has strings)
        return
    for neck in shapes:
        held = [dot.place for dot in neck.dots]
        assert len({string for string, _ in held}) == len(held) >= 3
        fretted = [fret for _, fret in held if fret]
        assert max(fretted, default=0) - min(fretted, default=0) <= 3
        pitches = {(strings.open(string) + fret) % 12 for string, fret in held}
        needed = {(chord.root.pc + i) % 12 for i in chord.intervals if i not in (7, 14)}
        assert needed <= pitches <= chord.pitch_classes
        lowest = min(strings.open(string) + fret for string, fret in held)
        assert lowest % 12 == (chord.bass or chord.root).pc
        fingers = chord_fingers(held)
        assert max(fingers.values()) <= 4 and all((fingers[place] == 0) == (place[1] == 0) for place in held)


def test_moving_the_root_moves_every_closed_shape() -> None:
    for low, high in (("A", "Bb"), ("Am7", "Bm7"), ("C7", "D7")):
        step = (parse_chord_name(high).root.pc - parse_chord_name(low).root.pc) % 12
        for one, other in pairwise([drawn(low, "chord", "1 at 5"), drawn(high, "chord", f"1 at {5 + step}")]):
            moved = [(string, fret + step) for string, fret in (dot.place for dot in one[0].dots)]
            assert moved == [dot.place for dot in other[0].dots]


def test_no_hand_holds_what_is_too_wide() -> None:
    chord = parse_chord("Am")
    assert chord is not None
    assert fullest_voicing({(6, 5), (4, 10), (1, 20)}, chord, STANDARD.nominal) == frozenset()
    assert fullest_voicing(all_places(6, 6, 6), chord, STANDARD.nominal) == frozenset()


def test_the_longest_stretch_of_the_widest_neck_takes_no_time() -> None:
    for symbol, tuning in (("A13", "standard"), ("Am11", "8 string")):
        assert drawn(symbol, "chord", "frets 0-36", tuning, frets=36)


# --- arpeggios -------------------------------------------------------------------------------------------------------


def test_an_arpeggio_is_the_chord_in_the_five_boxes() -> None:
    necks = drawn("A minor", "arpeggio")
    assert [(n.low, n.high) for n in necks] == [(5, 8), (7, 10), (9, 13), (12, 15), (14, 17)]
    (first,) = drawn("A minor", "arpeggio", "1")
    assert first.title == "A minor arpeggio" and first.caption == "box 1 (E shape), frets 5-8"
    assert {(d.place, d.label) for d in first.dots} == {
        ((6, 5), "1"), ((6, 8), "b3"), ((5, 7), "5"), ((4, 7), "1"), ((3, 5), "b3"), ((2, 5), "5"), ((1, 5), "1"), ((1, 8), "b3"),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["A7", "Am7", "Amaj7", "Am7b5", "Adim", "A9", "Asus4", "F#m", "Bb"])
def test_no_note_of_an_arpeggio_is_missing_in_a_box(name: str) -> None:
    chord = parse_chord_name(name)
    for neck in drawn(name, "arpeggio"):
        pitches = sorted({STANDARD.open(d.place[0]) + d.place[1] for d in neck.dots})
        wanted = [p for p in range(pitches[0], pitches[-1] + 1) if p % 12 in chord.pitch_classes]
        assert set(pitches) <= set(wanted)
        assert len(wanted) - len(pitches) <= (name not in ("A7", "Am7", "Amaj7", "F#m", "Bb")), neck.caption
    assert {d.label for d in drawn("A9", "arpeggio")[0].dots} == {"1", "3", "5", "b7", "9"}


def test_an_arpeggio_takes_what_a_scale_takes() -> None:
    assert drawn("A minor", "arpeggio", "E shape")[0].caption == "box 1 (E shape), frets 5-8"
    assert drawn("A minor", "arpeggio", "1 at 12")[0].low == 17
    assert drawn("A minor", "arpeggio", "frets 2-5")[0].caption == "frets 2-5"
    assert len(drawn("A minor", "arpeggio", "any")) == 2
    assert len(drawn("A minor", "arpeggio", tuning="drop D")) == 2
    with pytest.raises(ValueError, match="such as frets 5-8"):
        drawn("A minor", "arpeggio", "1", tuning="drop D")


# --- triads ----------------------------------------------------------------------------------------------------------


def test_triads_on_each_three_strings_in_each_inversion() -> None:
    necks = drawn("C major", "triads")
    assert len(necks) == 12 and all(len(n.dots) == 3 for n in necks)
    found = {n.caption: "".join(d.label for d in reversed(n.dots)) for n in necks}
    assert found["strings G B e, root position"] == "135"
    assert found["strings G B e, first inversion"] == "351"
    assert found["strings G B e, second inversion"] == "513"
    at = {n.caption: [d.place for d in reversed(n.dots)] for n in necks}
    assert at["strings G B e, second inversion"] == [(3, 0), (2, 1), (1, 0)]
    assert [n.caption[:13] for n in drawn("C major", "triads", "2")] == ["strings D G B"] * 3


@pytest.mark.parametrize(
    ("name", "box", "words"),
    [("Am7", None, "triads have three notes"), ("Am", "5", "write 1 to 4"), ("Am", "E shape", "write 1 to 4")],
)
def test_what_is_no_triad_is_said(name: str, box: str | None, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        drawn(name, "triads", box)


# --- the command -----------------------------------------------------------------------------------------------------


@pytest.fixture
def run(run_from: Callable[..., Run]) -> Run:
    """Calls `box`."""
    return run_from("box")


@pytest.mark.parametrize(
    ("words", "title"),
    [
        (("Am7",), "Am7, chord shapes"), (("am7",), "Am7, chord shapes"), (("A minor chord",), "A minor, chord shapes"),
        (("C/E",), "C/E, chord shapes"), (("A minor arpeggio", "1"), "A minor arpeggio"), (("Am7 arpeggio",), "Am7 arpeggio"),
        (("bb major triads",), "Bb major, triads on three strings"), (("Am7", "E", "shape"), "Am7, chord shapes"),
        (("C major 7 arpeggio", "2"), "C major 7 arpeggio"), (("Am7", "--show", "fingers"), "Am7, chord shapes"),
        (("Am7", "--show", "notes", "--left-handed"), "Am7, chord shapes"), (("Am7", "--svg", "-"), "<svg"),
    ],
)  # fmt: skip
def test_the_command_draws_chords(run: Run, words: tuple[str, ...], title: str) -> None:
    code, out, err = run(*words)
    assert (code, err) == (0, "") and out.startswith(title)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("K minor arpeggio",), "not a chord known here"), (("A foo arpeggio",), "not a chord known here"),
        (("A13", "frets 1-2"), "one hand cannot hold A13 there"),
        (("Am7", "9"), "there is no box 9"), (("Am7", "1", "--tuning", "drop D"), "such as frets 5-8"),
    ],
)  # fmt: skip
def test_wrong_chords_say_what_is_wrong(run: Run, words: tuple[str, ...], message: str) -> None:
    code, out, err = run(*words)
    assert (code, out) == (2, "") and message in err
