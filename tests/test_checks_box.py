"""Where notes lie: the classes of places, and what is said about leaving scale and box."""

from __future__ import annotations

import re

import pytest

from lickwright import compile_text
from lickwright.checks.scale_membership import note_memberships
from lickwright.core.diagnostics import Diagnostic, Severity

BOX_1 = "key A minor\nbox 1\n"


def text(music: str, head: str = BOX_1) -> str:
    return f'lick "Places"\n{head}| {music} |\n'


def found(music: str, head: str = BOX_1) -> list[Diagnostic]:
    return [d for d in compile_text(text(music, head)).diagnostics if d.code.startswith("L2")]


def codes(music: str, head: str = BOX_1) -> list[str]:
    return [d.code for d in found(music, head)]


def classes(music: str, head: str = BOX_1) -> list[str]:
    timeline = compile_text(text(music, head)).licks[0].timeline
    assert timeline is not None
    return list(note_memberships(timeline))


def test_every_note_of_the_box_is_in_it() -> None:
    assert set(classes("E5 E8 A5 A7 D5 D7 G5 G7 | B5 B8 e5 e8 E17 E20 e17 e20")) == {"box"}
    assert codes("E5 E8 A5 A7 D5 D7 G5 G7 | B5 B8 e5 e8 e5 B8 B5 G7") == []


@pytest.mark.parametrize(
    ("note", "kind"),
    [
        ("A6", "blue"),  # between the box's notes
        ("G8", "blue"),  # at the edge of the window, which some diagrams leave out
        ("B10", "scale"),  # box 2
        ("D10", "scale"),
        ("A0", "open"),
        ("B0", "outside"),  # B is not in A minor pentatonic
        ("G6", "outside"),
        ("e7", "outside"),
    ],
)
def test_one_note(note: str, kind: str) -> None:
    assert classes(f"{note} - - - e8 e5 e8 -")[0] == kind


@pytest.mark.parametrize(
    ("music", "kind"),
    [
        ("G5 G6 G7 - . . . .", "approach"),  # off the beat, up to the next
        ("G5 B6 B5 - . . . .", "approach"),  # down to the next
        ("G6 - G7 - . . . .", "outside"),  # on the beat
        ("G5 G6 - G7 . . . .", "outside"),  # longer than the next
        ("G5 G6 e8 - . . . .", "outside"),  # leads nowhere
        ("G5 G6 . G7 . . . .", "outside"),  # stops before it gets there
        ("G5 (grace: G6) h7 - - - - - -", "approach"),  # takes no time of its own
        ("G5 G6^8 G7 - . . . .", "outside"),  # bent: it is heard elsewhere
        ("G5 G6 G5^^7 - . . . .", "approach"),  # the next is heard where it is bent to
    ],
)
def test_approach(music: str, kind: str) -> None:
    found_classes = classes(music)
    assert next(kind for kind in found_classes if kind not in ("box", "blue")) == kind


def test_an_approach_may_lead_to_another() -> None:
    assert classes("1/16 . e8 e7 e6 1/8 e5 . . . . .") == ["box", "approach", "approach", "box"]
    assert classes("e8 e7 e6 e5 . . . .") == ["box", "outside", "outside", "box"]  # the second is on the beat


def test_dead_notes_are_not_judged_and_harmonics_by_pitch() -> None:
    assert classes("Gx (rake: G B e8) G<12> B<12> . . . .") == ["", "", "", "box", "box", "outside"]


def test_without_key_or_box_nothing_is_judged() -> None:
    assert classes("G6 G7 . . . . . .", "") == ["", ""]
    assert codes("G6 G7 . . . . . .", "") == ["L201"]


def test_a_window_needs_no_key() -> None:
    head = "box frets 5-8\n"
    assert classes("G6 G9 G0 . . . . .", head) == ["box", "scale", "open"]
    assert codes("G6 G9 . . . . . .", head) == ["L201", "L202"]


def test_without_a_box_only_the_scale_counts() -> None:
    head = "key A minor\nscale minor pentatonic\n"
    assert classes("G5 G14 G0 A6 G6 . . .", head) == ["scale", "scale", "scale", "blue", "outside"]
    assert codes("G5 G14 G0 G6 - . . .", head) == ["L203"]


def test_outside_the_scale_says_what_is_near() -> None:
    (finding,) = found("e8 e5 G6 - - . . .")
    assert finding.message == "string G fret 6 (C#, major 3rd) is outside A minor pentatonic box 1; G5 or G7 are in it"
    assert (finding.code, finding.severity, finding.bar, finding.beat) == ("L203", Severity.WARNING, 1, "2")
    assert text("e8 e5 G6 - - . . .")[finding.span.start : finding.span.end] == "G6"


def test_outside_the_box_says_which_has_it() -> None:
    (finding,) = found("e8 e5 B10 - - . . .")
    where = "string B fret 10 (A, tonic) is in A minor pentatonic but outside box 1"
    assert finding.message == f"{where}; box 2 (frets 7-10) has it"
    assert finding.hint is not None
    assert "`box 1 2`" in finding.hint
    assert codes("e8 e5 B10 - - . . .", "key A minor\nbox 1 2\n") == []


def test_a_move_is_said_once() -> None:
    (finding,) = found("e5 e8 e10 B10 e8 B10 e10 e8 | B10 B8 e5 - - - . .")
    assert (finding.code, finding.bar, finding.beat) == ("L204", 1, "2")
    assert finding.message.startswith("moves to box 2 (frets 7-10) in bar 1")


def test_the_box_that_holds_most_of_a_move_is_named() -> None:
    """The first note is in boxes 2 and 3, the rest in box 3 only."""
    (finding,) = found("e5 e10 e12 B13 e5 - - -")
    assert finding.message.startswith("moves to box 3 (frets 9-13)")


def test_a_move_over_a_repeat_sign_is_said_once() -> None:
    assert codes("e5 - - - - - e10 B10 |: e10 B10 e5 - - - - - :| e5 - - - - - - -") == ["L204"]


def test_the_beat_in_a_pickup_leads_to_one() -> None:
    (finding,) = found("e5 G6 | G7 - - - - - - -", BOX_1 + "pickup 1/4\n")
    assert (finding.code, finding.bar, finding.beat) == ("L207", 0, "4 &")


def test_two_moves_are_said_twice() -> None:
    assert codes("e10 B10 e5 B5 e10 B10 e5 -") == ["L204", "L204"]
    assert codes("e10 B10 e5 B5 E3 A3 E5 -") == ["L204", "L204"]  # up to box 2, down to box 5


def test_one_note_played_again_is_one_finding() -> None:
    assert codes("e5 B10 B10 B10 e5 . . .") == ["L202"]
    assert codes("e5 B10 . . . . . . | % | % ") == ["L202"]


def test_the_octave_of_the_box_counts_and_at_leaves_it_out() -> None:
    assert codes("e17 e20 B17 - . . . .") == []
    assert codes("e17 - - - . . . .", "key A minor\nbox 1 at 5\n") == ["L202"]


def test_bends_are_judged_at_both_ends() -> None:
    assert codes("B8^10 - - . . . . .") == []  # G up to A
    assert codes("B8^9 - - . . . . .") == ["L205"]  # G#
    assert codes("B8^^9 - - . . . . .") == ["L205"]
    assert codes("B8^10 -r9 -r . . . . .") == ["L205"]
    assert codes("G7^8 - - . . . . .") == []  # the 4 bent to the blue note
    assert codes("e8^ e8^8.5 B5^quarter e5^6.5 . . . .") == []  # quarter-tones
    assert codes("B7^8 - - . . . . .") == ["L203"]  # F# below


def test_the_bend_s_finding_says_where_it_arrives_and_what_would_fit() -> None:
    (finding,) = found("B8^9 - - . . . . .")
    assert finding.message == "the bend on B8 reaches G#, major 7th, outside A minor pentatonic"
    assert finding.hint == "`^10` (A, tonic) would be in it"
    assert text("B8^9 - - . . . . .")[finding.span.start : finding.span.end] == "^9"


def test_resting_on_the_blue_note() -> None:
    assert codes("A5 A6 A7 - . . . .") == []
    assert codes("A6 - A7 - . . . .") == ["L206"]
    assert codes("A5 A7 A6 A5 A5 A7 A5 A6") == ["L206"]
    assert codes("A6 - A7 - . . . .", "key A minor\nbox 1\nscale blues\n") == ["L206"]
    assert codes("D8^10 - - - . . . .", "key A minor\nbox 2\n") == ["L203"]  # Bb, not the blue note
    (finding,) = found("A6 - A7 - . . . .")
    assert finding.severity is Severity.INFO


def test_open_strings_and_approaches_are_worth_knowing() -> None:
    assert [(d.code, d.severity) for d in found("A0 A5 . . . . . .")] == [("L208", Severity.INFO)]
    assert [(d.code, d.severity) for d in found("G5 G6 G7 - . . . .")] == [("L207", Severity.INFO)]


def test_a_trill_s_other_note_is_judged() -> None:
    assert codes("(trill: G5h7) - - . . . . .") == []
    (finding,) = found("(trill: G5h6) - - . . . . .")
    assert finding.code == "L203"
    assert finding.message.startswith("the trill's other note, string G fret 6 (C#, major 3rd)")


@pytest.mark.parametrize(
    ("music", "asked"),
    [
        ("E8 e5 B8 B5 G7 . . .", ["L209"]),  # first of the lick
        ("e5 e8 B8 E8 B5 B8 G7 -", ["L209"]),
        ("E5 E8 A5 e5 E5 . . .", ["L209"]),  # the other way round
        ("E8 e5 B8 B5 A7 . . .", []),  # at an end, the lick goes to that side of the neck anyway
        ("e5 E8 e5 B8 B5 A7 . .", ["L209"]),
        ("E5 E8 A5 A7 e5 A5 E8 -", ["L209"]),
        ("E8h10 e5 B8 B5 G7 . . .", ["L209"]),  # with what is joined to it
        ("e5 e8 B8 E5h8 B8 e8 - -", ["L209"]),
        ("E5 E8 D5 e5 D7 . . .", []),  # 14 half steps
        ("D7 D5 e5 E5 E8 . . .", []),  # far on one side only
        ("E8= e5 B8 B5 G7 . . .", []),  # it rings on under the others: a bass note
        ("E5&e5 B8 B5 G7 - . . .", []),  # together
        ("E5 B8 E5 B8 E5 B8 E5 B8", []),  # often: a bass line
        ("E5 B8 G7 B8 G7 - . .", ["L209"]),  # the thin string need not be there
        ("E0 B8 G7 B8 G7 - . .", []),  # a drone
        ("6:8 e5 B8 B5 G7 . . .", []),  # written by number
    ],
)
def test_e_or_E(music: str, asked: list[str]) -> None:  # noqa: N802 (the two strings)
    assert [code for code in codes(music) if code == "L209"] == asked


def test_a_capo_and_a_lower_tuning_change_no_box() -> None:
    assert codes("e8 e5 B8 - . . . .", BOX_1 + "capo 3\n") == []
    assert codes("e8 e5 B8 - . . . .", BOX_1 + "tuning half step down\n") == []


def test_findings_are_warnings_or_less() -> None:
    assert all(d.severity is not Severity.ERROR for d in found("G6 - e10 B10 B8^9 A6 - G0"))


@pytest.mark.parametrize("key", ["A minor", "F minor", "C major", "Eb major"])
def test_a_blue_note_outside_the_box_is_one_class(key: str) -> None:
    """It is called by its name, whether another box has it there or not."""
    said = set()
    for note in (f"{string}{fret}" for string in "EADGBe" for fret in range(1, 15)):
        for d in found(f"{note} - - - . . . .", f"key {key}\nbox 1\n"):
            if ("flat 5th" if "minor" in key else "minor 3rd") in d.message and d.code in ("L202", "L203"):
                assert f"is the blue note of {key}, but outside box 1" in d.message
                said.add(d.code)
    assert said == {"L202"}


def test_what_takes_both_in_is_said_with_its_number_or_not_at_all() -> None:
    alone = 0
    for key in ("A minor", "Eb minor", "G minor"):
        for box in (1, 2, 3, 4):
            for note in (f"{string}{fret}" for string in "EADGBe" for fret in (12, 19, 20)):
                for d in found(f"{note} - - - . . . .", f"key {key}\nbox {box} at 5\nfrets 20\n"):
                    assert "`box `" not in (d.hint or "")
                    if d.code == "L202" and "has it" not in d.message:
                        assert d.hint == 'if you mean it: `meant L202 bar 1 "why"`'
                        alone += 1
    assert alone


def test_no_suggestion_names_a_fret_beyond_the_neck() -> None:
    for frets in (19, 22):
        head = f"key A minor\nbox any\nfrets {frets}\n"
        words = [
            f"{d.message} {d.hint}"
            for note in ("e{}", "B{}", "B{}^half", "G{}^full", "e{}^2", "e{}^1.5", "B{0}^{0}")
            for fret in range(frets - 4, frets + 1)
            for d in compile_text(text(f"{note.format(fret)} - - - . . . .", head)).diagnostics
        ]
        named = [int(n) for text in words for n in re.findall(r"(?:[EADGBe]|\^|fret )(\d{2})\b", text)]
        assert named and max(named) <= frets


def test_the_fret_where_a_unison_bend_starts_is_not_judged() -> None:
    assert codes("e8&B11^13 - - - . . . .") == []
    assert codes("e8&B11^^13 - - - . . . .") == []
    assert codes("B11^13 - - - . . . .") == ["L203"]  # alone, its start is heard
    assert codes("e8&B11 - - - . . . .") == ["L203"]
    assert codes("e8&B11^12 - - - . . . .") == ["L203", "L205"]  # no unison: both ends are judged


def test_blues_over_a_mixolydian_key_is_the_minor_scale() -> None:
    head = "key A mixolydian\nscale blues\nbox 1\n"
    assert codes("A5 A7 D5 D7 G5 G7 B5 -", head) == []
    assert codes("A5 A7 D5 D7 G5 G7 B5 -", "key A mixolydian\nscale pentatonic\n") != []


def test_blues_in_a_major_key_is_asked_about_once_where_the_minor_fits_better() -> None:
    head = "key A major\nscale blues\nbox 1\n"
    (asked,) = found("A5 A7 D5 D7 G5 G7 B5 e8", head)
    assert (asked.code, asked.message) == (
        "L210", "3 of 8 notes don't fit A major blues, they all fit A minor blues: is that meant?"
    )  # fmt: skip
    assert "L210" not in codes("A2 A4 D2 D4 G2 - - -", head)  # A major pentatonic
    for named in ("major blues", "minor blues"):
        assert "L210" not in codes("A5 A7 D5 D7 G5 G7 B5 e8", f"key A major\nscale {named}\n")
