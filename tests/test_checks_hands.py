"""What two hands can do at one time and in time: cases written by hand from the facts of the trade, not from the code."""

from __future__ import annotations

import re

import pytest

from lickwright import compile_text
from lickwright.checks.hands_bends import HARD
from lickwright.core.diagnostics import Diagnostic
from lickwright.hand.measures import CAUTION_BEND, CAUTION_FAST, CAUTION_STRETCH
from lickwright.hand.string_tension import bend_string
from lickwright.music.tuning import parse_tuning


def found(music: str, head: str = "") -> list[Diagnostic]:
    """Findings about hands; `head` is fields, a line each."""
    compilation = compile_text(f'lick "Case"\nkey A minor\n{head}| {music} |\n')
    broken = [d.message for d in compilation.diagnostics if d.code.startswith("L1")]
    assert not broken, broken
    return [d for d in compilation.diagnostics if "L430" <= d.code < "L450"]


def said(music: str, head: str = "") -> list[str]:
    """`L430 warning`, …"""
    return [f"{d.code} {d.severity}" for d in found(music, head)]


FAST = "tempo 150\nstep 1/16\n"  # 0.1 s a step, 10 a second
FASTER = "tempo 200\nstep 1/16\n"  # 13.3 a second

# Each: music, fields, and what is said: nothing, or one code with its severity.
SPANS = {
    "four frets from fret 1, next string": ("E1&A4", "", None),  # 97 mm, 8 across
    "the same three strings on": ("E1&G4", "", "L430 info"),  # 100 mm
    "five frets from fret 1": ("E1&A5", "", "L430 warning"),  # 126
    "five frets from fret 1, far across": ("E1&e5", "", "L430 error"),  # 132
    "six frets from fret 1": ("E1&A6", "", "L430 error"),  # 153
    "five frets from fret 5": ("E5&A9", "", "L430 info"),  # 100
    "five frets from fret 7": ("E7&A11", "", None),  # 89
    "six frets from fret 5": ("E5&A10", "", "L430 warning"),  # 122
    "six frets from fret 12": ("E12&A17", "", None),  # 81
    "eight frets from fret 12": ("E12&A19", "", "L430 info"),  # 108
    "open strings cost nothing": ("E0&A10", "", None),
    "a barre is near every string": ("E1&A3&D3&G2&B1&e1", "", None),
    "held under a later note": ("E1 E-&A6 - -", "", "L430 error"),
    "not held": ("E1 A6", "", None),
    "pull-off of five frets at the nut": ("E5 p1", "", "L430 warning"),
    "pull-off of six": ("E6 p1", "", "L430 error"),
    "pull-off of six at fret 12": ("E17 p12", "", None),
    "pull-off to the open string": ("E7 p0", "", None),
    "hammer-on of six, which a hand may jump": ("E1 h6", "", None),
    "trill of six": ("(trill: E1h6)", "", "L430 error"),
    "trill of three": ("(trill: E1h4)", "", None),
    "pull-off from a tap": ("E2 t14 p2", "", None),
    "a small hand on four frets": ("E1&A4", "reach small\n", "L430 info"),  # 97 of 88
    "a small hand on five": ("E1&A5", "reach small\n", "L430 error"),  # 126 of 117
    "a large hand on five": ("E1&A5", "reach large\n", "L430 info"),  # 126 of 126.5
    "a large hand on six at fret 3": ("E3&A8", "reach large\n", "L430 warning"),  # 137 of 143
    "a capo makes room": ("E1&A5", "capo 5\n", None),  # frets 6 to 10: 94
    "a bass is longer": ("E1&A4", "tuning bass\n", "L430 warning"),  # 130
}
FINGERS = {
    "higher fret, higher finger": ("G5'1&B7'3", "", None),
    "higher fret, lower finger": ("G5'3&B7'1", "", "L431 error"),
    "one fret, any order": ("G5'2&B5'1", "", None),
    "one finger on two frets": ("G5'2&B7'2", "", "L431 error"),
    "one finger on one fret": ("G5'1&B5'1", "", None),
    "one after the other is no matter": ("G5'3 B7'1", "", None),
    "the thumb stands apart": ("E3'T&B1'1&G2'2", "", None),
    "hammer-on with a higher finger": ("G5'1 h7'3", "", None),
    "hammer-on with a lower finger": ("G5'3 h7'1", "", "L431 error"),
    "hammer-on with the same finger": ("G5'1 h7'1", "", "L431 error"),
    "pull-off to a lower finger": ("G7'3 p5'1", "", None),
    "pull-off to a higher finger": ("G7'1 p5'3", "", "L431 error"),
    "slide with one finger": ("G5'1 /7'1", "", None),
    "slide that changes finger": ("G5'1 /7'3", "", "L431 warning"),
    "neighbouring fingers too far": ("E1'1&A4'2", "", "L430 warning"),  # 97 of 47
}
PLACES = {
    "four places": ("A8&D7&G10&B11", "", None),
    "five frets on five strings": ("A8&D7&G10&B11&e9", "", None),  # the thumb, which is out of reach of none
    "five, and none for the thumb": ("E9&A8&D7&G10&B11&e7", "", "L432 error"),
    "barre with fingers in front": ("E5&A7&D7&G6&B5&e5", "", None),
    "open chord": ("A3&D2&G0&B1&e0", "", None),
    "six strings, one barre": ("E5&A5&D5&G5&B5&e5", "", None),
    "barre over an open string": ("E7&A5&D7&G8&B0&e8", "", "L433 error"),
    "finger over an open string": ("E3'1&A0&D3'1", "", "L433 error"),
    "finger over a lower note": ("E5'3&A3'1&D5'3", "", "L433 error"),
    "finger over a higher note": ("E3'1&A5'3&D3'1", "", None),
    "two fingers beside an open string": ("E3'1&A0&D3'2", "", None),
}
RINGS = {
    "rings under a note in reach": ("G5= e5 e8", "", None),
    "rings until the hand leaves": ("G5= e5 e14", "", "L434 warning"),
    "the open string rings on": ("G0= e5 e14", "", None),
    "arpeggio of a chord": ("(ring: A3 D2 G0 B1 e0 B1 G0 D2)", "", None),
    "arpeggio that leaves its chord": ("(ring: A0 D2 B10)", "", "L434 warning"),
    "same string at once": ("B5= B8", "", "L434 warning"),
    "same string later": ("B5= e8 B8", "", None),
    "ring over one string": ("(ring: G5 G7 G5)", "", "L434 warning"),
    "ring over a hammer-on": ("(ring: G5 h7)", "", None),
    "five fingers of a ringing line": ("(ring: E5 A6 D7 G8 B9)", "", None),
    "more than they hold": ("(ring: E5 A6 D7 G8 B9 e10)", "", "L434 warning"),
}
SHIFTS = {
    "twelve frets in a second": ("e3---- e15", "tempo 120\n", None),
    "within the hand": ("e5 e8 e5 e8", FAST, None),
    "fret 3 to 12 in a tenth": ("e3 e12", FAST, "L435 info"),  # 221 - 115 mm: 1.06 m/s
    "fret 3 to 17 in a tenth": ("e3 e17", FAST, "L435 info"),  # 302 - 115: 1.9 m/s
    "fret 3 to 19 in a tenth": ("e3 e19", FAST, "L435 warning"),  # 329 - 115: 2.1 m/s
    "down as well": ("e19 e3", FAST, "L435 warning"),
    "an open string wins no time of its own, its length does": ("e3 e0 e0 e0 e19", FAST, None),
    "open in one step": ("e2 e0 e20", "tempo 300\nstep 1/16\n", "L435 warning"),
    "three steps, of which no neighbours show it": ("e3 e9 e15", "tempo 250\nstep 1/16\n", "L435 info"),
    "taps are another hand": ("e3 t19 p3", FAST, None),
    "a small hand has further to go": ("e2 e10", FAST + "reach small\n", "L435 info"),
    "the same for a medium one": ("e2 e10", FAST, None),
    "a large one reaches": ("e3 e12", FAST + "reach large\n", None),
}
HOPS = {
    "two fingers": ("G5'1 G7'3 G5'1", FAST, None),
    "one finger, fast": ("G5'1 G7'1", FAST, "L436 warning"),
    "one finger, slow": ("G5'1 G7'1", "tempo 120\n", None),
    "one finger sliding": ("G5'1 /7'1", FAST, None),
    "one finger rolling to the next string": ("G5'1 B5'1", FAST, None),
    "one finger, a string between": ("G5'1 e5'1", FAST, "L436 warning"),
    "the same note again": ("G5'1 G5'1", FAST, None),
    "another finger between": ("G5'1 B8'4 G7'1", "tempo 200\nstep 1/16\n", "L436 warning"),
}
PICKING = {
    "eight a second": ("G5 G7 G5 G7 G5 G7", "tempo 120\nstep 1/16\n", None),
    "ten a second": ("G5 G7 G5 G7 G5 G7", FAST, None),
    "twelve": ("G5 G7 G5 G7 G5 G7", "tempo 180\nstep 1/16\n", "L437 info"),
    "fourteen": ("G5 G7 G5 G7 G5 G7", "tempo 210\nstep 1/16\n", "L437 warning"),
    "eighteen": ("G5 G7 G5 G7 G5 G7", "tempo 270\nstep 1/16\n", "L437 error"),
    "a flurry of three": ("G5 G7 G5 - - - -", "tempo 270\nstep 1/16\n", None),
    "hammer-ons and pull-offs": ("G5 h7 p5 h7 G5 h7 p5 h7", "tempo 270\nstep 1/16\n", None),
    "chords are one stroke": ("G5&B5 G5&B5 G5&B5 G5&B5 G5&B5", "tempo 120\nstep 1/16\n", None),
    "six down-strokes a second": ("(down: E5 E5 E5 E5 E5 E5)", "tempo 180\n", "L437 info"),
    "four down-strokes a second": ("(down: E5 E5 E5 E5 E5 E5)", "tempo 120\n", None),
    "seven": ("(down: E5 E5 E5 E5 E5 E5)", "tempo 210\n", "L437 warning"),
    "nine": ("(down: E5 E5 E5 E5 E5 E5)", "tempo 280\n", "L437 error"),
    "down and up": ("(down: E5) (up: E5) (down: E5) (up: E5) (down: E5)", FAST, None),
    "a sweep is one movement": ("D7 G5 B5 e5 e8 . . .", FASTER, None),
    "plucking fingers": ("G5'i B5'm G5'i B5'm G5'i B5'm", "tempo 180\nstep 1/16\n", None),
}
SWEEPS = {
    "down-stroke to the thin strings": ("(down: D7 G5 B5 e5)", FAST, None),
    "up-stroke to the thick ones": ("(up: e5 B5 G5 D7)", FAST, None),
    "down-stroke that turns": ("(down: D7 G5 B5 G5)", FAST, "L438 warning"),
    "down-stroke over a gap": ("(down: D7 G5 e5)", FAST, "L438 warning"),
    "slow strokes are free": ("(down: D7 B5 G5)", "tempo 100\n", None),
}
BENDS = {
    "full at fret 8": ("B8^10", "", None),
    "half at fret 1": ("B1^2", "", "L439 warning"),
    "quarter at fret 1": ("B1^", "", None),
    "full at fret 1": ("B1^3", "", "L439 error"),
    "half at fret 2": ("B2^3", "", None),
    "full at fret 3": ("B3^5", "", "L439 warning"),
    "a step and a half at fret 3": ("B3^6", "", "L439 warning"),
    "two steps at fret 3": ("B3^7", "", "L439 error"),
    "full at fret 4": ("B4^6", "", None),
    "a step and a half at fret 7": ("G7^10", "", "L439 info"),
    "two steps at fret 12": ("B12^16", "", "L439 warning"),
    "half on D": ("D7^8", "", None),
    "full on D": ("D7^9", "", "L439 warning"),
    "a step and a half on D": ("D7^10", "", "L439 error"),
    "curl on the low string": ("E3^", "", None),
    "full on a wound third": ("G7^9", "sound acoustic\n", "L439 warning"),
    "full on nylon": ("B7^9", "sound nylon\n", "L439 warning"),
    "pre-bend": ("D7^^9", "", "L439 warning"),
    "full with finger 1": ("B8'1^10", "", "L440 warning"),
    "half with finger 1": ("B8'1^9", "", None),
    "full with finger 3": ("B8'3^10", "", None),
    "pushed away from what sounds": ("e5&B8^10", "", None),
    "the thinnest has to go into the next": ("B5&e8^10", "", "L441 warning"),
    "two strings off, a full bend": ("G5&e8^10", "", "L441 warning"),  # 19 mm is past the second string
    "three strings off": ("D5&e8^10", "", None),
    "G goes either way": ("G7^9&B8", "", None),
    "G with both sides sounding": ("D7&G7^9&B10", "", "L441 warning"),
    "low E is pulled into A": ("E8^9&A7", "", "L441 warning"),
    "A is pulled, E stays": ("A7^8&E8", "", None),
    "both bend together": ("G7^9&B8^9", "", None),
    "a quarter-tone stays short of the next": ("B8^&G5", "", None),
    "rings under a bend": ("B5= e8^10", "", "L441 warning"),
    "unison, B to e": ("e5&B8^10", "", None),
    "unison, G to B": ("B5&G7^9", "", None),
    "unison, half a step sharp": ("B5&G8^10", "", "L442 warning"),
    "unison, half a step flat": ("e5&B7^9", "", "L442 warning"),
    "unison by half a step": ("e8&B12^13", "", None),
    "oblique in a third": ("G14^16&B15", "", None),
}
OTHERS = {
    "tap above": ("B5 t12 p5", "", None),
    "tap below": ("B12 t10", "", "L443 warning"),
    "tap on the held fret": ("B12 t12", "", "L443 warning"),
    "tap over an open string": ("B0 t12 p0", "", None),
    "tap with nothing held": ("tB12", "", "L443 info"),
    "tap that pulls off": ("tB12 p5", "", None),
    "palm mute": ("(pm: E3 A3)", "", None),
    "palm mute that rings": ("(pm: E3= A3)", "", "L444 warning"),
    "harmonic under the palm": ("(pm: G<12>)", "", "L444 warning"),
    "squeal under the palm": ("(pm: G7*)", "", None),
    "slide of two strings": ("G5&B5 G/7&B/7", "", None),
    "slide of two strings apart": ("G5&B5 G/7&B/8", "", "L445 warning"),
    "one slides, one is picked": ("G5&B5 G/7&B8", "", None),
}
TABLE = {**SPANS, **FINGERS, **PLACES, **RINGS, **SHIFTS, **HOPS, **PICKING, **SWEEPS, **BENDS, **OTHERS}


@pytest.mark.parametrize("case", TABLE)
def test_case(case: str) -> None:
    music, head, wanted = TABLE[case]
    assert said(music, head) == ([wanted] if wanted else [])


def test_every_rule_has_possible_and_impossible_cases() -> None:
    for table in (SPANS, FINGERS, PLACES, RINGS, SHIFTS, HOPS, PICKING, SWEEPS, BENDS, OTHERS):
        verdicts = [row[2] for row in table.values()]
        assert None in verdicts and any(verdicts)


def test_a_finding_says_where_with_numbers_and_what_to_do() -> None:
    (span,) = found("E1&A6")
    assert span.message == "frets 1 and 6 together: too far apart for a medium hand"
    assert span.hint and span.notes and span.bar == 1 and span.beat == "1"
    (ring,) = found("G5= e5 e14 .")
    assert ring.message == "G5 cannot ring on past bar 1, beat 2: the hand goes to e14"
    (shift,) = found("e3 e19", FAST)
    assert shift.message == "a very fast shift: from fret 3 to fret 19 in 0.10 seconds"
    (bend,) = found("e12^16")
    assert bend.message == "a bend of two whole steps on e12: for experts, and the string may break"
    (unison,) = found("B5&G8^10")
    assert unison.message == "bend arrives a half step above B5, which sounds with it"
    assert unison.hint == "to meet it: `^9`"
    (thin,) = found("B5&e8^10")
    assert "can only be pushed" in thin.message
    (thick,) = found("E8^9&A7")
    assert "can only be pulled" in thick.message


def test_hard_ones_carry_a_caution() -> None:
    assert found("E1&A5")[0].hint == CAUTION_STRETCH
    assert found("G5 G7 G5 G7 G5 G7", "tempo 210\nstep 1/16\n")[0].hint == CAUTION_FAST
    assert found("G7^10")[0].hint == CAUTION_BEND


def test_a_repeat_is_said_once() -> None:
    assert said("E1&A6 . . . . . . . | % | % ") == ["L430 error"]


def test_a_passage_is_one_finding_at_its_fastest() -> None:
    run = " ".join(["G5 G7"] * 8)
    assert said(f"{run} | {run}", "tempo 180\nstep 1/16\n") == ["L437 info"]


def test_what_is_meant_is_not_said_but_for_errors() -> None:
    assert said("E1&A5", 'meant L430 "a stretch on purpose"\n') == []
    assert said("E1&A6", 'meant L430 "a stretch on purpose"\n') == ["L430 error"]


def test_the_numbers_of_a_bend_are_in_its_explanation() -> None:
    """A message says how it feels; `lickwright why L439` says newtons and millimeters, as they are worked out."""
    standard = parse_tuning("standard")
    pushes = {fret: bend_string(standard, "electric", 2, fret, 2.0, 0) for fret in (1, 3, 12)}
    said = f"{pushes[1].force_n:.0f} newtons at fret 1, {pushes[3].force_n:.0f} at fret 3 and {pushes[12].force_n:.0f} at fret 12"
    assert said in HARD.explanation and f"moves the string {pushes[12].travel_mm:.0f} mm" in HARD.explanation
    for music in ("B3^5", "e8^11", "D7^9"):
        (bend,) = (d for d in found(music) if d.code == "L439")
        assert not re.search(r"newton| mm\b", f"{bend.message} {bend.hint}")
