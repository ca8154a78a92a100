"""Boxes and positions against the tables every method book agrees on."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import pytest

from lickwright.music.box_area import box_area, played_area
from lickwright.music.boxspec import BoxSpec, parse_box
from lickwright.music.fretboard import Window
from lickwright.music.pitch import Key, parse_key
from lickwright.music.scale import Scale, degree_name, parse_scale
from lickwright.music.scale_boxes import (
    BLUE,
    Box,
    boxes_of_scale,
    five_positions,
    pentatonic_boxes,
    three_per_string,
    window_of_key,
)
from lickwright.music.tuning import TUNING_NAMES, parse_tuning

STANDARD = parse_tuning("standard")
A_MINOR, E_MINOR, A_MAJOR = parse_key("A minor"), parse_key("E minor"), parse_key("A major")
MINOR_PENTATONIC, MAJOR_PENTATONIC = parse_scale("minor pentatonic", None), parse_scale("major pentatonic", None)
BLUES = parse_scale("minor blues", None)


def rows(places: Iterable[tuple[int, int]]) -> str:
    """Frets string by string, thick to thin: "5 8|5 7|...", as the tables are written."""
    frets: dict[int, list[str]] = {}
    for string, fret in sorted(places):
        frets.setdefault(string, []).append(str(fret))
    return "|".join(" ".join(frets[string]) for string in sorted(frets, reverse=True))


def by_label(boxes: Iterable[Box], octave: int = 0) -> dict[str, Box]:
    return {box.label: box for box in boxes if box.octave == octave}


def minor_boxes(key: Key, frets: int = 24) -> dict[str, Box]:
    return by_label(pentatonic_boxes(key, MINOR_PENTATONIC, STANDARD, frets))


OFFSETS = {  # from the fret of the tonic on string 6
    "box 1": "0 3|0 2|0 2|0 2|0 3|0 3",
    "box 2": "3 5|2 5|2 5|2 4|3 5|3 5",
    "box 3": "5 7|5 7|5 7|4 7|5 8|5 7",
    "box 4": "7 10|7 10|7 9|7 9|8 10|7 10",
    "box 5": "10 12|10 12|9 12|9 12|10 12|10 12",
}
A_MINOR_BOXES = {
    "box 1": "5 8|5 7|5 7|5 7|5 8|5 8",
    "box 2": "8 10|7 10|7 10|7 9|8 10|8 10",
    "box 3": "10 12|10 12|10 12|9 12|10 13|10 12",
    "box 4": "0 3|0 3|0 2|0 2|1 3|0 3",
    "box 5": "3 5|3 5|2 5|2 5|3 5|3 5",
}


def test_the_five_minor_boxes_in_a_and_e() -> None:
    assert {label: rows(box.places) for label, box in minor_boxes(A_MINOR).items()} == A_MINOR_BOXES
    assert {label: rows(box.places) for label, box in minor_boxes(E_MINOR).items()} == OFFSETS


LOWEST = """
E  0-3   2-5   4-8   7-10  9-12
F  1-4   3-6   5-9   8-11  10-13
F# 2-5   4-7   6-10  9-12  11-14
G  3-6   5-8   7-11  10-13 0-3
G# 4-7   6-9   8-12  11-14 1-4
A  5-8   7-10  9-13  0-3   2-5
Bb 6-9   8-11  10-14 1-4   3-6
B  7-10  9-12  11-15 2-5   4-7
C  8-11  10-13 0-4   3-6   5-8
C# 9-12  11-14 1-5   4-7   6-9
D  10-13 0-3   2-6   5-8   7-10
Eb 11-14 1-4   3-7   6-9   8-11
"""


@pytest.mark.parametrize("row", LOWEST.strip().splitlines())
def test_lowest_placements_in_every_minor_key(row: str) -> None:
    tonic, *windows = row.split()
    boxes = minor_boxes(parse_key(f"{tonic} minor"))
    assert [f"{box.low}-{box.high}" for box in boxes.values()] == windows
    up = by_label(pentatonic_boxes(parse_key(f"{tonic} minor"), MINOR_PENTATONIC, STANDARD, 36), octave=1)
    for label, box in boxes.items():
        assert {(string, fret - 12) for string, fret in up[label].places} == box.places


@pytest.mark.parametrize(("frets", "placements"), [(19, 7), (20, 8), (21, 8), (22, 9), (24, 9)])
def test_octaves_stop_where_the_neck_does(frets: int, placements: int) -> None:
    boxes = pentatonic_boxes(A_MINOR, MINOR_PENTATONIC, STANDARD, frets)
    assert len(boxes) == placements
    assert max(box.high for box in boxes) <= frets


def test_boxes_join_and_cover_the_neck() -> None:
    boxes = pentatonic_boxes(A_MINOR, MINOR_PENTATONIC, STANDARD, 36)
    covered = {place for box in boxes for place in box.places if place[1] <= 24}
    every = window_of_key(0, 24, A_MINOR, MINOR_PENTATONIC, STANDARD).places
    assert covered == every
    for low, high in pairwise(minor_boxes(E_MINOR).values()):
        for string in range(1, 7):
            assert max(f for s, f in low.places if s == string) == min(f for s, f in high.places if s == string)
        assert len(low.places & high.places) == 6
        assert len(pitches(low) & pitches(high)) == 11


def pitches(box: Box) -> set[int]:
    return {STANDARD.open(string) + fret for string, fret in box.places}


def test_major_pentatonic_from_the_tonic() -> None:
    boxes = by_label(pentatonic_boxes(A_MAJOR, MAJOR_PENTATONIC, STANDARD, 24, "tonic"))
    assert {label: rows(box.places) for label, box in boxes.items()} == {
        "box 1": "5 7|4 7|4 7|4 6|5 7|5 7",
        "box 2": "7 9|7 9|7 9|6 9|7 10|7 9",
        "box 3": "9 12|9 12|9 11|9 11|10 12|9 12",
        "box 4": "12 14|12 14|11 14|11 14|12 14|12 14",
        "box 5": "2 5|2 4|2 4|2 4|2 5|2 5",
    }


def test_major_pentatonic_by_its_relative_minor() -> None:
    major = by_label(pentatonic_boxes(A_MAJOR, MAJOR_PENTATONIC, STANDARD, 24))
    minor = minor_boxes(parse_key("F# minor"))
    assert {label: box.places for label, box in major.items()} == {label: box.places for label, box in minor.items()}
    assert (major["box 1"].low, major["box 1"].high) == (2, 5)


def test_shapes_of_every_school() -> None:
    def shapes(key: Key, scale: Scale, numbering: str) -> str:
        boxes = by_label(pentatonic_boxes(key, scale, STANDARD, 24, numbering))
        return " ".join(box.shape.removesuffix(" shape") for box in boxes.values())

    assert shapes(A_MINOR, MINOR_PENTATONIC, "relative") == "E D C A G"
    assert shapes(A_MINOR, MINOR_PENTATONIC, "tonic") == "E D C A G"
    assert shapes(A_MAJOR, MAJOR_PENTATONIC, "relative") == "G E D C A"
    assert shapes(A_MAJOR, MAJOR_PENTATONIC, "tonic") == "E D C A G"


# Open chord grips, string 6 to 1, moved to where the chord lies in the box: E minor in the E minor boxes, and G major.
MINOR_GRIPS = {"box 1": "0 2 2 0 0 0", "box 2": "x x 2 4 5 3", "box 3": "x 7 5 4 5 x", "box 4": "x 7 9 9 8 7",
               "box 5": "12 10 9 9 12 12"}  # fmt: skip
MAJOR_GRIPS = {"box 1": "3 2 0 0 0 3", "box 2": "3 5 5 4 3 3", "box 3": "x x 5 7 8 7", "box 4": "x 10 9 7 8 7",
               "box 5": "x 10 12 12 12 10"}  # fmt: skip


@pytest.mark.parametrize(("grips", "third"), [(MINOR_GRIPS, 3), (MAJOR_GRIPS, 4)])
def test_each_shape_holds_its_chord(grips: dict[str, str], third: int) -> None:
    tonic = 4 if third == 3 else 7  # E minor, G major
    for label, box in minor_boxes(E_MINOR).items():
        strings = zip(range(6, 0, -1), grips[label].split(), strict=True)
        grip = {(string, int(fret)) for string, fret in strings if fret != "x"}
        assert grip <= box.places, label
        assert {(STANDARD.open(s) + f - tonic) % 12 for s, f in grip} == {0, third, 7}


DEGREES = {
    "box 1": ("1 b3/4 5/b7 1/b3 4/5 b7/1 b3", "6 1/2 3/5 6/1 2/3 5/6 1"),
    "box 2": ("b3 4/5 b7/1 b3/4 5/b7 1/b3 4", "1 2/3 5/6 1/2 3/5 6/1 2"),
    "box 3": ("4 5/b7 1/b3 4/5 b7/1 b3/4 5", "2 3/5 6/1 2/3 5/6 1/2 3"),
    "box 4": ("5 b7/1 b3/4 5/b7 1/b3 4/5 b7", "3 5/6 1/2 3/5 6/1 2/3 5"),
    "box 5": ("b7 1/b3 4/5 b7/1 b3/4 5/b7 1", "5 6/1 2/3 5/6 1/2 3/5 6"),
}
TONICS = {  # string:fret in A minor
    "box 1": "6:5 4:7 1:5", "box 2": "4:7 2:10", "box 3": "5:12 2:10", "box 4": "5:0 3:2", "box 5": "6:5 3:2 1:5",
}  # fmt: skip


def degrees_of(box: Box, tonic: int, scale: Scale) -> str:
    names = {place: degree_name(STANDARD.open(place[0]) + place[1] - tonic, scale) for place in sorted(box.places)}
    return "/".join(" ".join(n for (s, _), n in names.items() if s == string) for string in range(6, 0, -1))


def test_degrees_in_each_box() -> None:
    for label, box in minor_boxes(A_MINOR).items():
        minor, major = DEGREES[label]
        assert degrees_of(box, 9, MINOR_PENTATONIC) == minor
        assert degrees_of(box, 0, MAJOR_PENTATONIC) == major  # C major, the relative
        tonics = sorted((p for p in box.places if (STANDARD.open(p[0]) + p[1]) % 12 == 9), reverse=True)
        assert " ".join(f"{string}:{fret}" for string, fret in tonics) == TONICS[label]


BLUE_PLACES = {  # A minor, lowest placement but box 4 (12-15): in the window, then the copies one fret outside
    "box 1": "5:6 3:8",
    "box 2": "3:8 6:11 1:11 5:6",
    "box 3": "6:11 1:11 4:13 3:8",
    "box 4": "4:13 2:16 6:11 1:11",
    "box 5": "2:4 5:6 4:1",
}


def test_the_blue_note_in_and_beside_each_box() -> None:
    """Both copies that diagrams show; box 1 does not reach back to string 2 for the one its string 3 has."""
    boxes = minor_boxes(A_MINOR) | {
        "box 4": by_label(boxes_of_scale(A_MINOR, MINOR_PENTATONIC, STANDARD, 22), 1)["box 4"]
    }
    for label, box in boxes.items():
        expected = {(int(p[0]), int(p[2:])) for p in BLUE_PLACES[label].split()}
        assert box.blue == expected, label
        assert not box.blue & box.places


def test_the_blue_note_of_the_relative_major_is_the_same() -> None:
    minor = pentatonic_boxes(A_MINOR, MINOR_PENTATONIC, STANDARD, 22)
    major = pentatonic_boxes(parse_key("C major"), MAJOR_PENTATONIC, STANDARD, 22)
    assert [box.blue for box in minor] == [box.blue for box in major]
    assert (str(BLUE["minor"]), str(BLUE["major"])) == ("b5", "b3")


BLUES_BOXES = {
    "box 1": "5 8|5 6 7|5 7|5 7 8|5 8|5 8",
    "box 2": "8 10 11|7 10|7 10|7 8 9|8 10|8 10 11",
    "box 3": "10 11 12|10 12|10 12 13|9 12|10 13|10 11 12",
    "box 4": "0 3|0 3|0 1 2|0 2|1 3 4|0 3",
    "box 5": "3 5|3 5 6|2 5|2 5|3 4 5|3 5",
}


def fits(found: Window) -> bool:
    """Whether every note of the scale is there once."""
    return not found.gaps and not found.duplicates


def test_blues_boxes_miss_and_double_no_note() -> None:
    boxes = by_label(pentatonic_boxes(A_MINOR, BLUES, STANDARD, 22))
    assert {label: rows(box.places) for label, box in boxes.items()} == BLUES_BOXES
    assert [(box.low, box.high) for box in boxes.values()] == [(5, 8), (7, 10), (9, 13), (0, 3), (2, 5)]
    for low, high in ((5, 8), (7, 11), (9, 13), (0, 4), (2, 6)):
        assert fits(window_of_key(low, high, A_MINOR, BLUES, STANDARD))


THREE = """
1 3 5 7|3 5 7|4 5 7|4 5 7|5 7 8|5 7 8
2 5 7 8|5 7 9|5 7 9|5 7 9|7 8 10|7 8 10
3 7 8 10|7 9 10|7 9 10|7 9 11|8 10 12|8 10 12
4 8 10 12|9 10 12|9 10 12|9 11 12|10 12 13|10 12 14
5 10 12 14|10 12 14|10 12 14|11 12 14|12 13 15|12 14 15
6 12 14 15|12 14 15|12 14 16|12 14 16|13 15 17|14 15 17
7 14 15 17|14 15 17|14 16 17|14 16 17|15 17 19|15 17 19
"""


@pytest.mark.parametrize("row", THREE.strip().splitlines())
def test_three_notes_a_string_in_g_major(row: str) -> None:
    degree, _, frets = row.partition(" ")
    key = parse_key("G major")
    found = three_per_string(key, parse_scale("major", key), STANDARD, 22)
    placed = [rows(box.places) for box in found if box.label == f"three notes a string from {degree}"]
    assert frets in placed


@pytest.mark.parametrize("mode", ["major", "harmonic minor", "melodic minor"])
def test_three_notes_a_string_stay_in_reach(mode: str) -> None:
    key = parse_key(f"G {mode}")
    patterns = [box for box in three_per_string(key, parse_scale(mode, key), STANDARD, 22) if box.octave == 0]
    assert len(patterns) == 7
    for box in patterns:
        assert len(box.places) == len(pitches(box)) == 18
        assert box.high - box.low <= 6
        for string in range(1, 7):
            frets = [fret for s, fret in box.places if s == string]
            assert max(frets) - min(frets) <= 4


POSITIONS = {
    ("C major", "major"): {
        "C 0-3": "0 1 3|0 2 3|0 2 3|0 2|0 1 3|0 1 3",
        "A 2-6": "3 5|2 3 5|2 3 5|2 4 5|3 5 6|3 5",
        "G 4-8": "5 7 8|5 7 8|5 7|4 5 7|5 6 8|5 7 8",
        "E 7-10": "7 8 10|7 8 10|7 9 10|7 9 10|8 10|7 8 10",
        "D 9-13": "10 12 13|10 12|9 10 12|9 10 12|10 12 13|10 12 13",
    },
    ("A minor", "natural minor"): {
        "A 0-3": "0 1 3|0 2 3|0 2 3|0 2|0 1 3|0 1 3",
        "G 2-6": "3 5|2 3 5|2 3 5|2 4 5|3 5 6|3 5",
        "E 4-8": "5 7 8|5 7 8|5 7|4 5 7|5 6 8|5 7 8",
        "D 7-10": "7 8 10|7 8 10|7 9 10|7 9 10|8 10|7 8 10",
        "C 9-13": "10 12 13|10 12|9 10 12|9 10 12|10 12 13|10 12 13",
    },
    ("A minor", "harmonic minor"): {
        "G 2-6": "4 5|2 3 5|2 3 6|2 4 5|3 5 6|4 5",
        "E 4-8": "4 5 7 8|5 7 8|6 7|4 5 7|5 6|4 5 7 8",
        "D 7-11": "7 8 10|7 8 11|7 9 10|7 9 10|9 10|7 8 10",
        "C 8-12": "8 10 12|8 11 12|9 10 12|9 10|9 10 12|8 10 12",
        "A 11-15": "12 13|11 12 14 15|12 14 15|13 14|12 13 15|12 13",
    },
    ("A minor", "melodic minor"): {
        "G 2-6": "2 4 5|2 3 5|2 4 6|2 4 5|3 5|2 4 5",
        "E 4-8": "4 5 7 8|5 7|4 6 7|4 5 7|5 7|4 5 7 8",
        "D 6-10": "7 8 10|7 9|6 7 9 10|7 9|7 9 10|7 8 10",
        "C 8-12": "8 10 12|9 11 12|9 10 12|9 11|9 10 12|8 10 12",
        "A 11-15": "12 14|11 12 14 15|12 14|11 13 14|12 13 15|12 14",
    },
}


@pytest.mark.parametrize("which", POSITIONS)
def test_five_positions(which: tuple[str, str]) -> None:
    key = parse_key(which[0])
    boxes = by_label(five_positions(key, parse_scale(which[1], key), STANDARD, 22))
    found = {f"{box.shape[0]} {box.low}-{box.high}": rows(box.places) for box in boxes.values()}
    assert found == POSITIONS[which]


def test_five_positions_miss_and_double_no_note_in_any_mode_and_key() -> None:
    for mode in ("major", "dorian", "phrygian", "lydian", "mixolydian", "minor", "locrian", "harmonic minor"):
        for up in range(12):
            key = parse_key(f"A {mode}").transposed(up)
            scale = parse_scale(mode, key)
            boxes = five_positions(key, scale, STANDARD, 24)
            assert len({box.shape for box in boxes}) == 5
            assert all(fits(window_of_key(box.low, box.high, key, scale, STANDARD)) for box in boxes), key


@pytest.mark.parametrize("name", ["drop D", "open G", "open D", "DADGAD"])
def test_altered_tunings_have_no_clean_hand_of_four_frets(name: str) -> None:
    tuning = parse_tuning(name)
    windows = [window_of_key(low, low + 3, A_MINOR, MINOR_PENTATONIC, tuning) for low in range(13)]
    assert not any(fits(found) for found in windows)
    assert boxes_of_scale(A_MINOR, MINOR_PENTATONIC, tuning, 22) == ()


def test_an_audit_names_what_is_missing_and_double() -> None:
    found = window_of_key(7, 10, A_MINOR, BLUES, STANDARD)
    assert found.gaps == (51,)  # Eb3, on string 6 one fret above
    assert window_of_key(5, 9, A_MINOR, parse_scale("minor", A_MINOR), STANDARD).duplicates == (
        64,
    )  # E4 on strings 3 and 2


@pytest.mark.parametrize("name", ["bass", "5 string bass", "7 string", "8 string"])
def test_other_standard_sets_share_the_guitars_boxes(name: str) -> None:
    tuning = parse_tuning(name)
    guitar = minor_boxes(A_MINOR)
    shift = tuning.anchor - 6  # strings by which the low E stands elsewhere
    for label, box in by_label(pentatonic_boxes(A_MINOR, MINOR_PENTATONIC, tuning, 24)).items():
        shared = {(s - shift, f) for s, f in box.places if s <= tuning.anchor}
        assert shared == {(s, f) for s, f in guitar[label].places if s + shift >= 1}
        assert len({tuning.open(s) + f for s, f in box.places}) == 2 * tuning.strings


def meant(text: str, key: Key | None = A_MINOR, scale: str | None = None, **more: str) -> str:
    tuning = parse_tuning(more.get("tuning", "standard"))
    parsed = parse_scale(scale, key) if scale else None
    found = box_area(parse_box(text), key, parsed, tuning, 22, more.get("numbering", "relative"))
    return found.name if found else "anywhere"


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("1", "box 1 (E shape), frets 5-8 or 17-20"),
        ("3", "box 3 (C shape), frets 9-13"),
        ("1 2", "boxes 1 and 2, frets 5-10 or 17-22"),
        ("5 1 2", "boxes 1, 2 and 5, frets 2-10 or 14-22"),
        ("1 at 12", "box 1 (E shape), frets 17-20"),
        ("1 at 9", "box 1 (E shape), frets 5-8"),
        ("1 2 at 12", "boxes 1 and 2, frets 17-22"),
        ("1 (E shape)", "box 1 (E shape), frets 5-8 or 17-20"),
        ("E shape", "E shape, frets 4-8 or 16-20"),
        ("D shape at 7", "D shape, frets 7-10"),
        ("open", "open position, frets 0-3"),
        ("frets 5-8", "frets 5-8"),
        ("any", "anywhere"),
    ],
)
def test_areas_are_named_with_their_frets(text: str, name: str) -> None:
    assert meant(text) == name


def test_areas_hold_what_their_boxes_hold() -> None:
    found = box_area(parse_box("1 2"), A_MINOR, None, STANDARD, 22)
    assert found is not None
    boxes = pentatonic_boxes(A_MINOR, MINOR_PENTATONIC, STANDARD, 22)
    assert found.places == {place for box in boxes if box.label in ("box 1", "box 2") for place in box.places}
    assert (3, 8) in found.blue
    assert found.numbering == ""
    assert [box.low for box in found.boxes] == [5, 7, 17, 19]


def test_a_shape_of_a_pentatonic_is_its_numbered_box() -> None:
    assert meant("E shape", scale="minor pentatonic") == "box 1 (E shape), frets 5-8 or 17-20"
    assert meant("E shape", A_MAJOR, "pentatonic") == "box 2 (E shape), frets 4-7 or 16-19"
    assert meant("E shape", A_MAJOR, "pentatonic", numbering="tonic") == "box 1 (E shape), frets 4-7 or 16-19"


def test_major_numbers_say_how_they_count() -> None:
    relative = box_area(parse_box("1"), A_MAJOR, None, STANDARD, 22)
    tonic = box_area(parse_box("1"), A_MAJOR, None, STANDARD, 22, "tonic")
    assert relative is not None
    assert tonic is not None
    assert (relative.boxes[0].low, tonic.boxes[0].low) == (2, 4)
    assert "F# minor" in relative.numbering
    assert "starts on the tonic" in tonic.numbering


def test_windows_without_a_key_hold_every_place() -> None:
    found = box_area(parse_box("open"), None, None, STANDARD, 22)
    assert found is not None
    assert found.places == {(string, fret) for string in range(1, 7) for fret in range(4)}
    assert not found.blue
    cut = box_area(parse_box("frets 20-24"), None, None, STANDARD, 22)
    assert cut is not None
    assert max(fret for _, fret in cut.places) == 22


def test_windows_work_in_every_tuning() -> None:
    for name in TUNING_NAMES:
        tuning = parse_tuning(name)
        found = box_area(parse_box("frets 5-8"), A_MINOR, BLUES, tuning, 22)
        assert found is not None
        classes = {(9 + up) % 12 for up in BLUES.semitones}
        every = {(string, fret) for string in range(1, tuning.strings + 1) for fret in range(5, 9)}
        assert found.places == {(s, f) for s, f in every if (tuning.open(s) + f) % 12 in classes}
        assert {(tuning.open(s) + f) % 12 for s, f in found.blue} <= {3}


@pytest.mark.parametrize(
    ("text", "key", "scale", "more", "message"),
    [
        ("1", A_MINOR, None, {"tuning": "drop D"},
         "box 1 needs the intervals of standard tuning, not those of drop D: write a range, such as frets 5-8"),
        ("E shape", A_MINOR, None, {"tuning": "DADGAD"},
         "the E shape needs the intervals of standard tuning, not those of DADGAD: write a range, such as frets 5-8"),
        ("1 2", A_MINOR, "dorian", {},
         "box numbers are for pentatonic and blues scales, not dorian: write a shape, such as E shape"),
        ("E shape", A_MINOR, "1 2 b3 5", {},
         "shapes are for pentatonic, blues and seven-note scales, not 1 2 b3 5: write a range, such as frets 5-8"),
        ("1", None, None, {}, "box 1 needs a key: add one, such as A minor, or write frets 5-8"),
        ("frets 23-25", A_MINOR, None, {}, "frets 23-25 are past the end of the neck, which has 22 frets"),
        ("1 E shape", A_MAJOR, None, {},
         "box 1 of A major pentatonic is the G shape, not the E shape: write numbering tonic, or leave the shape out"),
        ("1 D shape", A_MINOR, None, {},
         "box 1 of A minor pentatonic is the E shape, not the D shape: leave one of them out"),
    ],
)  # fmt: skip
def test_what_means_no_place_says_what_to_write(
    text: str, key: Key | None, scale: str | None, more: dict[str, str], message: str
) -> None:
    with pytest.raises(ValueError) as error:
        meant(text, key, scale, **more)
    assert str(error.value) == message


def test_a_box_that_the_neck_is_too_short_for() -> None:
    with pytest.raises(ValueError, match="box 3 does not fit on a neck of 12 frets in A minor pentatonic"):
        box_area(parse_box("3"), A_MINOR, None, STANDARD, 12)


@pytest.mark.parametrize(
    ("text", "spec", "canonical"),
    [
        ("1", BoxSpec((1,)), "1"),
        ("2, 1  2", BoxSpec((1, 2)), "1 2"),
        ("e shape", BoxSpec(shape="E"), "E shape"),
        ("1 (E shape) at 12", BoxSpec((1,), "E", None, 12), "1 E shape at 12"),
        ("Open position", BoxSpec(window=(0, 3)), "open"),
        ("frets 5 - 8", BoxSpec(window=(5, 8)), "frets 5-8"),
        ("fret 12", BoxSpec(window=(12, 12)), "frets 12-12"),
        ("any", BoxSpec(), "any"),
    ],
)
def test_box_lines(text: str, spec: BoxSpec, canonical: str) -> None:
    assert parse_box(text) == spec
    assert str(spec) == canonical
    assert parse_box(canonical) == spec


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("6", "boxes are numbered 1 to 5, there is no box 6"),
        ("12", "boxes are numbered 1 to 5: write 1 2 for several"),
        ("1-3", '"1-3" could be boxes or frets: write frets 1-3, or the boxes one by one'),
        ("E", '"E" is not a box: E shape?'),
        ("F shape", "there is no F shape: the five are C, A, G, E, D"),
        ("frets 8-5", "frets 8-5 run backwards: write frets 5-8"),
        ("frets 30-40", "no neck has a fret 40: they go from 0 to 36"),
        ("opn", '"opn" is not a box: open?'),
        ("any at 12", "any says where already: at 12 goes with a box number or a shape"),
        ("", '"" is not a box: write 1 to 5, E shape, open, frets 5-8 or any'),
    ],
)
def test_a_wrong_box_line_gets_the_right_one(text: str, message: str) -> None:
    with pytest.raises(ValueError) as error:
        parse_box(text)
    assert str(error.value) == message


@pytest.mark.parametrize(
    ("box", "places", "name"),
    [
        ("1", {(3, 5), (4, 7)}, "box 1 (E shape), frets 5-8"),
        ("1", {(3, 17)}, "box 1 (E shape), frets 17-20"),
        ("1", {(3, 5), (3, 17)}, "box 1 (E shape), frets 5-8 or 17-20"),
        ("1", {(5, 18)}, "box 1 (E shape), frets 17-20"),  # the blue note
        ("1", set(), "box 1 (E shape), frets 5-8 or 17-20"),
        ("1", {(3, 6)}, "box 1 (E shape), frets 5-8 or 17-20"),  # nothing of the box is played
        ("1 2", {(2, 8), (1, 10)}, "boxes 1 and 2, frets 5-10"),
        ("1 2", {(6, 17), (2, 22)}, "boxes 1 and 2, frets 17-22"),
        ("4 5", {(6, 12), (6, 15)}, "boxes 4 and 5, frets 12-17"),  # box 5 holds fret 15 at 14-17
        ("4 5", {(1, 0), (6, 0)}, "boxes 4 and 5, frets 0-5"),
    ],
)
def test_the_placement_that_is_played(box: str, places: set[tuple[int, int]], name: str) -> None:
    key = parse_key("A minor")
    where = box_area(parse_box(box), key, parse_scale("pentatonic", key), parse_tuning("standard"), 22)
    assert where is not None and played_area(where, places).name == name
