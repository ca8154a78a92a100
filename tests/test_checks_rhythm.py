"""Bars that add up and bars that do not, with the numbers said."""

from __future__ import annotations

import pytest

from lickwright import compile_text
from lickwright.core.diagnostics import Diagnostic, Severity

FULL = "e8 e5 B8 B5 G7 - - -"


def text(music: str, head: str = "") -> str:
    return f'lick "Bars"\nkey A minor\n{head}{music}\n'


def found(music: str, head: str = "") -> list[Diagnostic]:
    return [d for d in compile_text(text(music, head)).diagnostics if d.code.startswith("L3")]


def said(music: str, head: str = "") -> list[str]:
    return [f"{d.code} {d.message}" for d in found(music, head)]


FITS = {
    "plain": (f"| {FULL} ||", ""),
    "no last bar line": (f"| {FULL}", ""),
    "tuplets": ("| 3[e8 e5 B8] 3[e8 e5 B8] 3[e8 e5 B8] 3[e8 e5 B8] ||", ""),
    "step changes": ("| e8 e5 1/16 e5 B8 B5 e5 1/4 G7 - ||", ""),
    "twelve eight": ("| e8 e5 B8 B5 G7 - e8 e5 B8 B5 G7 - ||", "meter 12/8\n"),
    "seven eight": ("| e8 e5 B8 B5 G7 - - ||", "meter 7/8 2+2+3\n"),
    "grace notes take no time": ("| (grace: e7) e8 e5 B8 B5 G7 - - - ||", ""),
    "rake in one step": ("| (rake: G B e8) e5 B8 B5 G7 - - - ||", ""),
    "pick-up declared": (f"| e5 e8 | {FULL} | {FULL} ||", "pickup 1/4\n"),
    "last bar without the pick-up": (f"| e5 e8 | {FULL} | e8 e5 B8 B5 G7 - ||", "pickup 1/4\n"),
    "bar before a repeat sign without the pick-up": (
        f"| e5 e8 |: {FULL} | e8 e5 B8 B5 G7 - :| {FULL} ||",
        "pickup 1/4\n",
    ),
    "the same bar again": (f"| {FULL} | % ||", ""),
    "rests": ("| ........ ||", ""),
}


@pytest.mark.parametrize("case", FITS)
def test_fits(case: str) -> None:
    assert said(*FITS[case]) == []


WRONG = {
    "one eighth short": (f"| {FULL} | e8 e5 B8 B5 G7 - - ||", "", "L301 bar 2 holds 7 eighths, 4/4 asks for 8"),
    "one eighth long": (f"| {FULL} | {FULL} - ||", "", "L302 bar 2 holds 9 eighths, 4/4 asks for 8"),
    "in quarters": (f"| 1/8 {FULL} | e8 e5 B8 ||", "step 1/4", "L301 bar 2 holds 3 quarters, 4/4 asks for 4"),
    "in sixteenths": (f"| {FULL} | 1/16 {FULL} - - - ||", "", "L301 bar 2 holds 11 sixteenths, 4/4 asks for 16"),
    "three eight": ("| e8 e5 B8 | e8 e5 ||", "meter 3/8", "L301 bar 2 holds 2 eighths, 3/8 asks for 3"),
    "pick-up too long": (
        f"| e5 e8 e5 | {FULL} ||", "pickup 1/4", "L302 the pick-up holds 3 eighths, pickup 1/4 asks for 2"),
    "pick-up too short": (
        f"| e5 | {FULL} ||", "pickup 1/4", "L301 the pick-up holds 1 eighth, pickup 1/4 asks for 2"),
    "last bar short by something else": (
        f"| e5 | {FULL} | e8 e5 B8 B5 ||", "pickup 1/8", "L301 bar 2 holds 4 eighths, 4/4 asks for 8"),
    "short in the middle, by the pick-up": (
        f"| e5 e8 | e8 e5 B8 B5 G7 - | {FULL} ||", "pickup 1/4", "L301 bar 1 holds 6 eighths, 4/4 asks for 8"),
    "one bar": ("| e5 e8 ||", "", "L301 bar 1 holds 2 eighths, 4/4 asks for 8"),
    "all bars alike": ("| e8 e5 B8 B5 G7 - " * 3 + "||", "", "L301 all 3 bars hold 6 eighths, 4/4 asks for 8"),
}  # fmt: skip


@pytest.mark.parametrize("case", WRONG)
def test_does_not_fit(case: str) -> None:
    music, head, message = WRONG[case]
    head = head and head + "\n"
    assert said(music, head) == [message]
    (finding,) = found(music, head)
    assert finding.severity is Severity.ERROR
    assert finding.hint


def test_a_bar_with_a_stray_triplet_is_counted_in_its_own_parts() -> None:
    assert said(f"| {FULL} | 3[e8 e5 B8] e8 e5 B8 B5 G7 ||") == ["L301 bar 2 holds 7 eighths, 4/4 asks for 8"]
    assert said(f"| {FULL} | 3:1[e8 e5 B8] e8 e5 B8 B5 G7 - ||") == ["L301 bar 2 holds 7 eighths, 4/4 asks for 8"]
    assert said(f"| {FULL} | 5:3[e8 e5 B8 B5 G7] ||") == ["L301 bar 2 holds 3 eighths, 4/4 asks for 8"]


def test_the_caret_stands_under_the_line_that_comes_too_early_and_under_what_is_too_much() -> None:
    short, long = f"| {FULL} | e8 e5 B8 B5 G7 - - ||", f"| {FULL} | {FULL} e5 ||"
    (finding,) = found(short)
    assert text(short)[finding.span.start : finding.span.end] == "||"
    assert (finding.bar, finding.beat) == (2, "4 &")
    (finding,) = found(long)
    assert text(long)[finding.span.start : finding.span.end] == "e5"


def test_the_meter_line_is_shown() -> None:
    (finding,) = found("| e8 e5 | e8 e5 B8 ||", "meter 3/8\n")
    assert finding.code == "L303"
    (note,) = finding.notes
    assert text("", "meter 3/8\n")[note.span.start : note.span.end] == "3/8"


HINTS = {
    "twice as much": ("| e8 e5 B8 B5 G7 - - - e8 e5 B8 B5 G7 - - - ||", "it would fit with `step 1/16`"),
    "half as much": ("| e8 e5 B8 B5 ||", "it would fit with `step 1/4`"),
    "three times": (f"| {FULL} {FULL} {FULL} ||", "it would make 3 bars"),
    "a step too much": (f"| {FULL} - ||", "a triplet, `3[…]`"),
    "perhaps a pick-up": ("| e5 e8 ||", "`pickup 1/4`"),
    "a step missing": ("| e8 e5 B8 B5 G7 - - ||", "1 eighth is missing"),
    "another meter": ("| e8 e5 B8 | e8 e5 B8 | e8 e5 B8 ||", "`meter 3/8`"),
    "a slower step in all bars": ("| e8 e5 B8 B5 | e8 e5 B8 B5 | e8 e5 B8 B5 ||", "`step 1/4`"),
}


@pytest.mark.parametrize("case", HINTS)
def test_what_would_make_it_fit(case: str) -> None:
    music, hint = HINTS[case]
    (finding,) = found(music)
    assert finding.hint is not None
    assert hint in finding.hint


def test_an_undeclared_pickup_is_a_question() -> None:
    (finding,) = found(f"| e5 e8 | {FULL} ||")
    assert (finding.code, finding.severity) == ("L303", Severity.WARNING)
    assert finding.hint is not None
    assert "`pickup 1/4`" in finding.hint
    # its other half may be missing at the end, as if it had been declared
    assert [d.code for d in found(f"| e5 e8 | {FULL} | e8 e5 B8 B5 G7 - ||")] == ["L303"]


def test_a_bar_that_cannot_be_read_is_not_judged() -> None:
    assert said(f"| {FULL} | e8 e5 Q9 ||") == []


def test_a_repeated_bar_is_reported_once() -> None:
    assert len(found("|: e8 e5 B8 B5 G7 - - :|x3 e8 e5 B8 B5 G7 - - - ||")) == 1
    assert len(found(f"| {FULL} | e8 e5 B8 B5 G7 - - | % ||")) == 1


def test_chords_past_the_end() -> None:
    assert said(f"| {FULL} ||", "chords Am7\n") == []
    assert said(f"| e5 | {FULL} ||", "pickup 1/8\nchords Am7\n") == []
    assert said(f"| {FULL} ||", "chords Am7 | D7\n") == ["L304 chords names 2 bars, the lick has 1"]
