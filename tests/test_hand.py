"""The hand and the bend, held against the figures of the trade, which were written down before the code."""

from __future__ import annotations

import pytest

from lickwright.hand.measures import BASS_MM, GUITAR_MM, REACH, fret_mm, make_hand, span_mm, string_spacing_mm
from lickwright.hand.string_tension import bend_limit, bend_room_mm, bend_string, string_kind
from lickwright.music.tuning import parse_tuning

STANDARD = parse_tuning("standard")

# fret: from the nut, and spans of 3, 4, 5 and 6 frets from there; L = 648 mm
NECK = {
    1: (36.4, 97.3, 126.2, 153.4, 179.1),
    2: (70.7, 91.9, 119.1, 144.8, 169.1),
    3: (103.1, 86.7, 112.4, 136.7, 159.6),
    5: (162.6, 77.2, 100.1, 121.8, 142.2),
    7: (215.5, 68.8, 89.2, 108.5, 126.7),
    9: (262.7, 61.3, 79.5, 96.7, 112.9),
    12: (324.0, 51.5, 66.8, 81.3, 94.9),
    15: (375.6, 43.3, 56.2, 68.3, 79.8),
    17: (405.3, 38.6, 50.1, 60.9, 71.1),
    20: (443.9, 32.5, 42.1, 51.2, 59.8),
}


@pytest.mark.parametrize("fret", NECK)
def test_frets_and_spans(fret: int) -> None:
    nut, *spans = NECK[fret]
    assert fret_mm(fret) == pytest.approx(nut, abs=0.06)
    assert [span_mm(fret, fret + n) for n in (3, 4, 5, 6)] == pytest.approx(spans, abs=0.06)


# scale length: span of frets 1 to 4, and 1 to 5
OTHERS = {
    610.0: (91.6, 118.8),
    628.0: (94.3, 122.3),
    650.0: (97.6, 126.6),
    686.0: (103.0, 133.6),
    BASS_MM: (129.8, 168.2),
}


@pytest.mark.parametrize("scale", OTHERS)
def test_other_scale_lengths(scale: float) -> None:
    assert (span_mm(1, 4, 0, scale), span_mm(1, 5, 0, scale)) == pytest.approx(OTHERS[scale], abs=0.06)


def test_strings_apart_add_to_a_span() -> None:
    assert 7 <= string_spacing_mm(1) < string_spacing_mm(20) <= 10
    assert string_spacing_mm(2) == pytest.approx(7.5)
    assert string_spacing_mm(20) == pytest.approx(9.4)
    assert span_mm(1, 4, 5) == pytest.approx((97.3**2 + (5 * string_spacing_mm(2.5)) ** 2) ** 0.5, abs=0.1)
    assert span_mm(5, 5, 1) == pytest.approx(string_spacing_mm(5))


def test_reach_scales_every_limit_by_a_tenth() -> None:
    small, medium, large = (make_hand(reach) for reach in ("small", "medium", "large"))
    assert (medium.fine, medium.stretch, medium.hard) == (98, 115, 130)
    for hand, factor in ((small, 0.9), (large, 1.1)):
        assert (hand.fine, hand.stretch, hand.hard) == pytest.approx((98 * factor, 115 * factor, 130 * factor))
    assert set(REACH) == {"small", "medium", "large"}


def test_a_capo_makes_frets_narrower() -> None:
    assert make_hand("medium", GUITAR_MM, 3).span(1, 5) == pytest.approx(span_mm(4, 8))


# string, fret: millimetres (newtons) for half a step, one, one and a half, two, on a 10-46 set
BENDS = {
    (1, 2): ((8.5, 10.9), (12.4, 17.7), (15.7, 25.0), (18.7, 33.2)),
    (1, 7): ((12.8, 7.3), (18.7, 11.9), (23.7, 16.9), (28.2, 22.6)),
    (1, 12): ((13.7, 6.9), (20.0, 11.3), (25.2, 16.0), (30.1, 21.5)),
    (1, 20): ((12.8, 7.5), (18.8, 12.3), (23.7, 17.6), (28.4, 23.7)),
    (2, 7): ((9.6, 5.2), (14.0, 8.4), (17.7, 12.0), (21.1, 16.0)),
    (2, 12): ((10.2, 4.9), (14.9, 8.0), (18.8, 11.3), (22.4, 15.2)),
    (3, 7): ((7.6, 4.4), (11.1, 7.2), (14.0, 10.2), (16.7, 13.7)),
    (3, 12): ((8.1, 4.2), (11.8, 6.8), (14.9, 9.7), (17.8, 12.9)),
    (4, 7): ((10.1, 6.5), (14.7, 10.6), (18.6, 15.0), (22.1, 20.0)),
    (5, 7): ((9.4, 6.3), (13.6, 10.4), (17.2, 14.7), (20.5, 19.7)),
    (6, 7): ((8.0, 4.9), (11.7, 8.0), (14.8, 11.4), (17.6, 15.2)),
}


@pytest.mark.parametrize(("string", "fret"), BENDS)
def test_travel_and_force_of_a_bend(string: int, fret: int) -> None:
    """Within a twentieth of the trade's figures; a tenth was asked for."""
    for semitones, (travel, force) in enumerate(BENDS[string, fret], 1):
        pushed = bend_string(STANDARD, "electric", string, fret, semitones)
        assert pushed.travel_mm == pytest.approx(travel, rel=0.05)
        assert pushed.force_n == pytest.approx(force, rel=0.05)


@pytest.mark.parametrize(("fret", "factor"), [(5, 1.14), (3, 1.35), (2, 1.57), (1, 2.1), (7, 1.05), (17, 1.05)])
def test_force_grows_towards_the_nut(fret: int, factor: float) -> None:
    force = [bend_string(STANDARD, "electric", 3, at, 2).force_n for at in (fret, 12)]
    assert force[0] / force[1] == pytest.approx(factor, rel=0.06)


def test_two_steps_on_the_thinnest_string_may_break_it() -> None:
    assert bend_string(STANDARD, "electric", 1, 12, 4).may_break
    assert not bend_string(STANDARD, "electric", 1, 12, 2).may_break
    assert not any(bend_string(STANDARD, "electric", string, 12, 4).may_break for string in (2, 3))


def test_tuned_down_a_string_goes_further_with_less_force() -> None:
    down, usual = (bend_string(parse_tuning(name), "electric", 2, 10, 2) for name in ("whole step down", "standard"))
    assert down.force_n < usual.force_n
    assert down.travel_mm < usual.travel_mm  # less tension has to be added


# string: pushed towards the thick strings, pulled towards the thin ones, at fret 7, in mm
ROOM = {1: (45, 3.5), 2: (37, 12), 3: (28, 20), 4: (20, 28), 5: (12, 37), 6: (3.5, 45)}


@pytest.mark.parametrize("string", ROOM)
def test_room_on_the_neck(string: int) -> None:
    assert bend_room_mm(6, string, 7) == pytest.approx(ROOM[string], abs=0.9)


# What a string is, fret, semitones: the verdict of the trade page.
VERDICTS = [
    ("plain", 1, 0.5, None), ("plain", 1, 1, "warning"), ("plain", 1, 2, "error"),
    ("plain", 2, 1, None), ("plain", 2, 2, "warning"), ("plain", 3, 3, "warning"), ("plain", 3, 4, "error"),
    ("plain", 4, 2, None), ("plain", 5, 2, None), ("plain", 5, 3, "info"), ("plain", 12, 3, "info"),
    ("plain", 12, 4, "warning"), ("plain", 4, 3, "warning"),
    ("wound", 7, 1, None), ("wound", 7, 2, "warning"), ("wound", 7, 3, "error"), ("wound", 3, 0.5, None),
    ("wound third", 7, 1, None), ("wound third", 7, 2, "warning"),
    ("nylon", 7, 0.5, None), ("nylon", 7, 1, "info"), ("nylon", 7, 2, "warning"),
]  # fmt: skip


@pytest.mark.parametrize(("string", "fret", "semitones", "level"), VERDICTS)
def test_verdicts_on_bends(string: str, fret: int, semitones: float, level: str | None) -> None:
    row = bend_limit(string, fret, semitones)
    assert (row.level if row else None) == level


def test_what_a_string_is() -> None:
    assert [string_kind(STANDARD, "electric", n) for n in range(1, 7)] == ["plain"] * 3 + ["wound"] * 3
    assert string_kind(STANDARD, "acoustic", 3) == "wound third"
    assert string_kind(STANDARD, "nylon", 1) == "nylon"
    assert string_kind(parse_tuning("bass"), "electric", 1) == "wound"
