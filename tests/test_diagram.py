"""Pictures of the neck: every place where it belongs, told apart without colour, the same bytes every time."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from lickwright.diagram import DiagramOptions, Dot, FretboardDiagram, box_diagrams, diagram_svg, diagram_text
from lickwright.diagram.chord_shapes import triad_grip
from lickwright.music.boxspec import parse_box
from lickwright.music.pitch import parse_key
from lickwright.music.scale import parse_scale
from lickwright.music.scale_boxes import boxes_of_scale
from lickwright.music.tuning import parse_tuning

SVG = "{http://www.w3.org/2000/svg}"


def drawn(key: str, scale: str, box: str = "", tuning: str = "standard", **how: object) -> tuple[FretboardDiagram, ...]:
    spec = parse_box(box) if box else None
    return box_diagrams(
        parse_key(key), parse_scale(scale, parse_key(key)), parse_tuning(tuning), spec, DiagramOptions(**how)
    )  # type: ignore[arg-type]


# --- what is drawn ---------------------------------------------------------------------------------------------------

# trade.md 1.3: the grip that lies wholly inside each fingering, string 6 to 1, in A minor and C major.
GRIPS = {
    ("A minor", "minor pentatonic"): {
        "box 1": "5 7 7 5 5 5", "box 2": "x x 7 9 10 8", "box 3": "x 12 10 9 10 x", "box 4": "x 0 2 2 1 0", "box 5": "5 3 2 2 5 5",
    },
    ("C major", "major pentatonic"): {
        "box 1": "8 7 5 5 5 8", "box 2": "8 10 10 9 8 8", "box 3": "x x 10 12 13 12", "box 4": "x 3 2 0 1 0", "box 5": "x 3 5 5 5 3",
    },
    ("C major", "major"): {
        "C shape": "x 3 2 0 1 0", "A shape": "x 3 5 5 5 3", "G shape": "8 7 5 5 5 8", "E shape": "8 10 10 9 8 8", "D shape": "x x 10 12 13 12",
    },
    ("A minor", "natural minor"): {
        "A shape": "x 0 2 2 1 0", "G shape": "5 3 2 2 5 5", "E shape": "5 7 7 5 5 5", "D shape": "x x 7 9 10 8", "C shape": "x 12 10 9 10 x",
    },
}  # fmt: skip


@pytest.mark.parametrize(("key", "scale"), GRIPS)
def test_the_chord_shape_inside_is_the_one_that_names_the_box(key: str, scale: str) -> None:
    tuning, tonic = parse_tuning("standard"), parse_key(key)
    found = {}
    for box in boxes_of_scale(tonic, parse_scale(scale, tonic), tuning, 22):
        held = dict(triad_grip(box.places, tonic.tonic.pc, 3 if tonic.is_minor else 4, tuning.nominal))
        if box.octave == 0:
            found[box.label] = " ".join(str(held.get(string, "x")) for string in range(6, 0, -1))
    assert found == GRIPS[key, scale]


@pytest.mark.parametrize(
    ("key", "scale"), [*GRIPS, ("D dorian", "dorian"), ("F# minor", "blues"), ("Eb major", "blues")]
)
def test_every_root_of_a_box_is_in_its_chord_shape(key: str, scale: str) -> None:
    """The legend says so."""
    for neck in drawn(key, scale):
        assert neck.chord
        assert all(dot.chord for dot in neck.dots if dot.root), neck.caption


def test_no_chord_where_the_box_holds_none() -> None:
    assert drawn("A minor", "1 2 b3 4 b5 b6", "frets 5-8")[0].chord == ""


def test_the_blue_note_is_drawn_only_where_blues_is_asked_for() -> None:
    for scale in ("minor pentatonic", "major pentatonic"):
        key = f"A {scale.split()[0]}"
        for box in (None, "1", "2 3", "4 at 12", "frets 5-8", "any"):
            dots = [d for neck in drawn(key, scale, box) for d in neck.dots]
            assert dots and not any(d.blue for d in dots), (scale, box)
        assert any(d.blue for neck in drawn(key, scale.replace("pentatonic", "blues"), "1") for d in neck.dots)


def test_all_five_climb_from_box_1_and_lower_twins_are_named() -> None:
    necks = drawn("A minor", "minor pentatonic")
    assert [(n.low, n.high) for n in necks] == [(5, 8), (7, 10), (9, 13), (12, 15), (14, 17)]
    assert necks[0].remark == "also box 4 at frets 0-3, box 5 at 2-5"
    for key in ("E minor", "C minor", "F# minor", "A major", "Eb major"):
        for numbering in ("relative", "tonic"):
            scale = f"{key.split()[1]} pentatonic"
            lows = [n.low for n in drawn(key, scale, numbering=numbering, frets=30)]
            assert lows == sorted(set(lows)) and len(lows) == 5, (key, numbering)


def test_a_box_that_would_lie_beyond_the_neck_is_shown_lower() -> None:
    necks = drawn("Eb minor", "minor pentatonic")
    assert [(n.low, n.high) for n in necks] == [(11, 14), (13, 16), (15, 19), (18, 21), (8, 11)]


def test_box_1_of_a_minor_blues() -> None:
    """trade.md 1.4 and 1.5: degrees on each string, the blue note on string 5 and at the window's edge on string 3."""
    (neck,) = drawn("A minor", "minor blues", "1")
    lines = {s: [(d.place[1], d.label) for d in neck.dots if d.place[0] == s] for s in range(1, 7)}
    assert lines == {
        6: [(5, "1"), (8, "b3")], 5: [(5, "4"), (6, "b5"), (7, "5")], 4: [(5, "b7"), (7, "1")],
        3: [(5, "b3"), (7, "4"), (8, "b5")], 2: [(5, "5"), (8, "b7")], 1: [(5, "1"), (8, "b3")],
    }  # fmt: skip
    assert {d.place for d in neck.dots if d.root} == {(6, 5), (4, 7), (1, 5)}
    assert {d.place for d in neck.dots if d.blue} == {(5, 6), (3, 8)}
    assert (neck.low, neck.high, neck.caption) == (5, 8, "box 1 (E shape), frets 5-8")


def test_notes_are_spelled_by_the_key() -> None:
    notes = {d.label for d in drawn("Eb major", "major", "E shape", shown="notes")[0].dots}
    assert notes == {"Eb", "F", "G", "Ab", "Bb", "C", "D"}


@pytest.mark.parametrize(
    ("box", "fingers"),
    [  # as methods teach them: a finger a fret; in box 3 the index reaches back, the little finger is on the B string
        ("1", "14 1(2)3 13 13(4) 14 14"),
        ("3", "1(2)3 13 13(4) 13 14 1(2)3"),
        ("4 at 12", "14 14 13 13 24 14"),
    ],
)
def test_fingers(box: str, fingers: str) -> None:
    (neck,) = drawn("A minor", "minor blues" if "(" in fingers else "minor pentatonic", box, shown="fingers")
    if box == "4 at 12":  # frets 12 to 15: one finger each
        assert all(int(d.label) == d.place[1] - 11 for d in neck.dots)
        return
    lines = []
    for string in range(6, 0, -1):
        row = [f"({d.label})" if d.blue else d.label for d in neck.dots if d.place[0] == string]
        lines.append("".join(row))
    assert " ".join(lines) == fingers


def test_fingers_want_one_hand() -> None:
    with pytest.raises(ValueError, match="frets 3-12 is 10"):
        drawn("A major", "major", "frets 3-12", shown="fingers")
    with pytest.raises(ValueError, match="whole neck"):
        drawn("A major", "major", "any", shown="fingers")


def test_all_five_without_a_box() -> None:
    assert [n.caption[:5] for n in drawn("G minor", "blues")] == ["box 1", "box 2", "box 3", "box 4", "box 5"]
    assert [n.caption[:7] for n in drawn("C major", "major")] == [f"{shape} shape" for shape in "CAGED"]
    assert drawn("A major", "major pentatonic", numbering="tonic")[0].caption == "box 1 (E shape), frets 4-7"


def test_the_whole_neck_where_there_are_no_boxes() -> None:
    for pieces in (drawn("D minor", "minor pentatonic", tuning="drop D"), drawn("A minor", "1 2 b3 4 5 b6 6 b7 7")):
        assert [(n.low, n.high) for n in pieces] == [(0, 11), (12, 22)]
    assert [(n.low, n.high) for n in drawn("A minor", "blues", "any", frets=24)] == [(0, 11), (12, 24)]


def test_every_note_of_the_scale_is_on_the_whole_neck_once() -> None:
    tuning = parse_tuning("DADGAD")
    dots = [d for n in drawn("D major", "major", "any", "DADGAD") for d in n.dots]
    wanted = {(s, f) for s in range(1, 7) for f in range(23) if (tuning.open(s) + f - 2) % 12 in (0, 2, 4, 5, 7, 9, 11)}
    assert {d.place for d in dots} == wanted and len(dots) == len(wanted)


def test_several_boxes_are_one_picture_at_one_place() -> None:
    (neck,) = drawn("A minor", "minor pentatonic", "1 2 5")
    assert (neck.low, neck.high) == (2, 10)
    (high,) = drawn("A minor", "minor pentatonic", "1 at 12")
    assert (high.low, high.high) == (17, 20)


def test_a_capo_shortens_the_neck_and_is_named() -> None:
    (neck,) = drawn("C major", "major", "open", capo=3, left_handed=True)
    assert neck.remark == "capo 3, frets counted from it, named as fingered, left-handed"
    with pytest.raises(ValueError, match="frets 8-12 are past the end of the neck, which has 7 frets"):
        drawn("C major", "major", "frets 8-12", capo=3, frets=10)


# --- as text ---------------------------------------------------------------------------------------------------------


def test_text_of_one_box() -> None:
    assert diagram_text(drawn("A minor", "minor blues", "1")) == (
        "A minor blues\n\n"
        "box 1 (E shape), frets 5-8\n"
        "e |-[1]-|-----|-----|--b3-|\n"
        "B |-(5)-|-----|-----|--b7-|\n"
        "G |-(b3)|-----|--4--|-b5*-|\n"
        "D |--b7-|-----|-[1]-|-----|\n"
        "A |--4--|-b5*-|-(5)-|-----|\n"
        "E |-[1]-|-----|-----|--b3-|\n"
        "     5     6     7     8\n\n"
        "[ ] root   ( ) chord tones of Am (with the root)   * blue note\n"
    )


@pytest.mark.parametrize("columns", [30, 60, 80, 100, 200])
@pytest.mark.parametrize("left_handed", [False, True])
def test_text_wraps_at_the_screen(columns: int, left_handed: bool) -> None:
    pictures = drawn("E minor", "blues", left_handed=left_handed)
    lines = diagram_text(pictures, columns).splitlines()
    assert all(line == line.rstrip() and line.isascii() for line in lines)
    strings = [line for line in lines if "|--" in line or "--|" in line]
    widest = max(
        len(line) for line in diagram_text(pictures, 1).splitlines() if "|" in line
    )  # one picture is never cut
    assert all(len(line) <= max(columns, widest) for line in strings)
    marks = re.findall(r"\[1\]|\(\w+\)|b5\*", "\n".join(strings))
    assert len(marks) == sum(d.root or d.chord or d.blue for n in pictures for d in n.dots)


def test_text_for_the_left_hand_is_the_mirror_image() -> None:
    right = diagram_text(drawn("E minor", "minor pentatonic", "1")).splitlines()[3:9]
    left = diagram_text(drawn("E minor", "minor pentatonic", "1", left_handed=True)).splitlines()[3:9]

    def cells(line: str) -> list[str]:
        return [cell.strip(" -") for cell in re.split(r"\|+", line) if cell.strip()]

    for one, other in zip(right, left, strict=True):
        name, *opened = cells(one)[0].split()
        assert cells(other)[-1].split() == [*opened, name]
        assert cells(other)[:-1] == cells(one)[:0:-1]


def test_a_bass_has_four_lines() -> None:
    lines = diagram_text(drawn("G major", "major", "E shape", "bass")).splitlines()
    assert [line[0] for line in lines[3:7]] == list("GDAE")


# --- as SVG ----------------------------------------------------------------------------------------------------------


def test_svg_shapes_say_what_the_dots_are() -> None:
    (neck,) = drawn("A minor", "minor blues", "1")
    root = ElementTree.fromstring(diagram_svg((neck,)))
    picture = root.find(f"{SVG}g")
    assert picture is not None
    assert len(picture.findall(f"{SVG}rect")) == sum(d.root for d in neck.dots) == 3
    assert len(picture.findall(f"{SVG}polygon")) == sum(d.blue for d in neck.dots) == 2
    rings = picture.findall(f"{SVG}circle")
    assert len(rings) == len(neck.dots) - 5
    assert sum(ring.get("stroke-width") == "4" for ring in rings) == sum(d.chord and not d.root for d in neck.dots) == 3
    words = [t.text for t in picture.iter(f"{SVG}text")]
    assert words[:7] == ["box 1 (E shape), frets 5-8", "e", "B", "G", "D", "A", "E"] and words[7:11] == list("5678")


@pytest.mark.parametrize("key", ["A minor", "Eb major"])
@pytest.mark.parametrize("how", [{}, {"left_handed": True}, {"shown": "notes"}, {"capo": 5}])
@pytest.mark.parametrize("tuning", ["standard", "7 string", "bass", "8 string"])
def test_svg_stays_inside_its_frame(key: str, how: dict[str, object], tuning: str) -> None:
    """Widths of words are guessed from above: 0.62 of the letters' height, as wide as capitals of these fonts are."""
    pictures = drawn(key, "blues", tuning=tuning, **how)
    root = ElementTree.fromstring(diagram_svg(pictures))
    width, height = int(root.get("width", "")), int(root.get("height", ""))
    shift = {group: tuple(map(int, re.findall(r"\d+", group.get("transform", "")))) for group in root.iter(f"{SVG}g")}
    assert len(shift) == 5
    for group, (right, down) in [*shift.items(), (root, (0, 0))]:
        for words in group.findall(f"{SVG}text"):
            long = len(words.text or "") * float(words.get("font-size", "0")) * 0.62
            x, y = float(words.get("x", "")) + right, float(words.get("y", "")) + down
            start = {"start": x, "middle": x - long / 2}[words.get("text-anchor", "")]
            assert start >= 0 and start + long <= width and 0 < y <= height - 4, words.text
        for dot in group.findall(f"{SVG}circle"):
            assert 16 <= float(dot.get("cx", "")) + right <= width - 16


def test_svg_for_the_left_hand_is_the_mirror_image() -> None:
    one, other = (
        ElementTree.fromstring(diagram_svg(drawn("A minor", "minor pentatonic", "4", left_handed=hand)))
        for hand in (False, True)
    )

    def centres(root: ElementTree.Element) -> list[tuple[float, float]]:
        return sorted((float(c.get("cx", "")), float(c.get("cy", ""))) for c in root.findall(f"{SVG}g/{SVG}circle"))

    whole = max(x for x, _ in centres(one)) + min(x for x, _ in centres(other))
    assert centres(other) == sorted((whole - x, y) for x, y in centres(one))


def test_svg_escapes_whatever_it_is_given() -> None:
    evil = "<script>&\"'\x00\x1b\ud800\uffff"
    neck = FretboardDiagram(evil, evil, (evil,) * 6, 0, 4, (Dot((1, 1), evil, False, False, True),), evil, evil)
    root = ElementTree.fromstring(diagram_svg((neck,)))
    assert root.find(f"{SVG}title") is not None and not list(root.iter(f"{SVG}script"))
    assert any((t.text or "").startswith("<script>&\"'??") for t in root.iter(f"{SVG}text"))


def test_the_same_bytes_every_time() -> None:
    once, again = (diagram_svg(drawn("F# minor", "blues", shown="notes")) for _ in range(2))
    assert once == again and once.endswith("</svg>\n")
    assert "e-" not in "".join(re.findall(r'"[-0-9.e]+"', once))
