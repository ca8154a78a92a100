"""Where notes lie: the classes of places, and what is said about leaving scale and box."""

from __future__ import annotations

import pytest

from lickwright import compile_text
from lickwright.checks.places import places
from lickwright.diagnostics import Diagnostic, Severity

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
    return list(places(timeline))


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
    assert finding.help is not None
    assert "`box 1 2`" in finding.help
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
    assert finding.help == "`^10` (A, tonic) would be in it"
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
        ("E8 e5 B8 B5 A7 . . .", []),  # the lick goes to that side of the neck anyway
        ("E5 E8 D5 e5 D7 . . .", []),  # a leap, but not near on the other string either
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
