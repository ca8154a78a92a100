"""What hands can and cannot do: the table of cases, written from how the techniques work and not from the code."""

from __future__ import annotations

import pytest

from lickwright import compile_text
from lickwright.core.diagnostics import Diagnostic, Severity


def found(music: str, head: str = "") -> list[Diagnostic]:
    """Findings about techniques in one bar, which is filled up with rests so that nothing else is wrong."""
    compilation = compile_text(f'lick "Case"\nkey A minor\n{head}| {music} |\n')
    return [d for d in compilation.diagnostics if "L400" <= d.code < "L430"]  # from there on, hands: test_checks_hands


def codes(music: str, head: str = "") -> list[str]:
    return [d.code for d in found(music, head)]


# One note a step; bars of 8 eighths. What follows is what a teacher calls possible.
POSSIBLE = {
    "hammer up": "G5 h7 . . . . . .",
    "hammer from the open string": "G0 h2 . . . . . .",
    "hammer, then pull": "G5 h7 p5 . . . . .",
    "pull to the open string": "G2 p0 . . . . . .",
    "hammer from nowhere": "hG7 . . . . . . .",
    "hammer from a dead note": "Gx h7 . . . . . .",
    "hammer from a natural harmonic": "G<12> h14 . . . . . .",
    "slide up": "G5 /7 . . . . . .",
    "slide down": "G7 \\5 . . . . . .",
    "slide and pick": "G5 //7 \\\\5 . . . . .",
    "slide in and off": "/G7 G7/ \\G7 G7\\ . . . .",
    "link over a hold": "G5 - h7 . . . . .",
    "link on the string that is let ring": "G5= B8 Gh7 . . . . .",
    "tap and pull to the held note": "B5 t12 p5 . . . . .",
    "tap lower than the note before": "B12 t10 . . . . . .",
    "bend a quarter-tone": "G7^7.5 G7^quarter G7^ . . . . .",
    "bend two steps": "G7^11 . . . . . . .",
    "bend in two stages": "B8^9 -^10 . . . . . .",
    "release half way, then wholly": "B8^10 -r9 -r . . . . .",
    "bend and release in one step": "B8^10r . . . . . . .",
    "bend again after a release": "B8^10r^10 . . . . . . .",
    "release to the named fret": "B8^10 -r8 . . . . . .",
    "bend delayed": "B8 -^10 . . . . . .",
    "bend after a hammer": "B6 h8^10 . . . . . .",
    "bend at the first fret": "B1^2 . . . . . . .",
    "pre-bend and release": "B8^^10 -r . . . . . .",
    "vibrato on a bend": "B8^10~ . . . . . . .",
    "vibrato on a fretted note": "G7~ . . . . . . .",
    "bar on an open string": "(dip: G0) . . . . . . .",
    "chord": "A7&D7&G5 . . . . . . .",
    "same string one after the other": "G5 G7 . . . . . .",
    "one string held, the other played": "G5&B8 G-&B5 . . . . . .",
    "grace on the string of its note": "(grace: G5) h7 . . . . . . .",
    "the last fret": "e22 . . . . . . .",
    "rake upwards": "(rake: A D G B e8) . . . . . . .",
    "rake downwards": "(rake: e B G7) . . . . . . .",
    "rake of one stroke": "(rake: B e8) . . . . . . .",
    "trill up": "(trill: G5h7) . . . . . . .",
    "trill with the open string": "(trill: G2p0) . . . . . . .",
    "rolled chord": "(roll: A7&D7&G5) . . . . . . .",
    "tremolo held": "(tremolo: G7 - - -) . . . .",
    "a rest in a palm mute": "(pm: E5 . E5) . . . . .",
    "harmonics at the nodes": "G<12> G<7> G<5> G<4> G<9> G<16> G<19> G<24>",
    "harmonics between frets": "G<3.2> G<2.7> G<5.8> . . . . .",
    "harmonic near fret 3": "G<3> . . . . . . .",
    "touched harmonics": "G5<17> G5<12> G5<24> G5<10> . . . .",
    "pinch harmonic, bent": "G7*^9 . . . . . . .",
    "dead note": "Gx Dx . . . . . .",
}

IMPOSSIBLE = {
    "hammer down": ("G7 h5 . . . . . .", "L401"),
    "hammer to the same fret": ("G7 h7 . . . . . .", "L401"),
    "hammer to the open string": ("G2 h0 . . . . . .", "L401"),
    "pull up": ("G5 p7 . . . . . .", "L402"),
    "pull to the same fret": ("G5 p5 . . . . . .", "L402"),
    "pull from the open string": ("G0 p2 . . . . . .", "L402"),
    "slide up that falls": ("G7 /5 . . . . . .", "L403"),
    "slide down that rises": ("G5 \\7 . . . . . .", "L403"),
    "slide to the same fret": ("G5 /5 . . . . . .", "L403"),
    "slide and pick the wrong way": ("G7 //5 . . . . . .", "L403"),
    "slide from the open string": ("G0 /7 . . . . . .", "L404"),
    "slide to the open string": ("G7 \\0 . . . . . .", "L404"),
    "slide into the open string": ("/G0 . . . . . . .", "L404"),
    "slide off the open string": ("G0/ . . . . . . .", "L404"),
    "slide off a held open string": ("G0 -\\ . . . . . .", "L404"),
    "pull from a dead note": ("Gx p5 . . . . . .", "L405"),
    "slide from a dead note": ("Gx /5 . . . . . .", "L405"),
    "pull from a natural harmonic": ("G<12> p5 . . . . . .", "L405"),
    "bend the open string": ("B0^2 . . . . . . .", "L411"),
    "bend a natural harmonic": ("B<12>^14 . . . . . . .", "L411"),
    "bend two and a half steps": ("B8^13 . . . . . . .", "L412"),
    "pre-bend three steps": ("B8^^14 . . . . . . .", "L412"),
    "bend downwards": ("B8^7 . . . . . . .", "L413"),
    "bend to its own fret": ("B8^8 . . . . . . .", "L413"),
    "pre-bend to its own fret": ("B8^^8 . . . . . . .", "L413"),
    "bend to where it is already": ("B8^10 -^10 . . . . . .", "L413"),
    "bend below where it is": ("B8^10 -^9 . . . . . .", "L413"),
    "pre-bend on a hold": ("B8 -^^10 . . . . . .", "L414"),
    "pre-bend on a hammered note": ("B6 h8^^10 . . . . . .", "L414"),
    "pre-bend after vibrato": ("B8~^^10 . . . . . . .", "L414"),
    "release with nothing bent": ("B8 -r . . . . . .", "L415"),
    "release twice": ("B8^10 -r -r . . . . .", "L415"),
    "release of a string struck again": ("B8^10 B8 -r . . . . .", "L415"),
    "release below the fretted note": ("B8^10 -r7 . . . . . .", "L415"),
    "release above the bend": ("B8^10 -r11 . . . . . .", "L415"),
    "vibrato on a dead note": ("Gx~ . . . . . . .", "L416"),
    "bend on a dead note": ("Gx^9 . . . . . . .", "L416"),
    "slide off a dead note": ("Gx/ . . . . . . .", "L416"),
    "vibrato on the open string": ("G0~ . . . . . . .", "L417"),
    "vibrato on a natural harmonic": ("G<12>~ . . . . . . .", "L417"),
    "two notes on one string": ("G5&G7 . . . . . . .", "L421"),
    "two notes on one string in a chord": ("A7&G5&G7 . . . . . . .", "L421"),
    "fret past the end of the neck": ("e23 . . . . . . .", "L422"),
    "trill beyond the neck": ("(trill: e22h23) . . . . . . .", "L422"),
    "rake that leaves a string out": ("(rake: D B e8) . . . . . . .", "L423"),
    "rake that turns back": ("(rake: G B G7) . . . . . . .", "L423"),
    "rake past its note": ("(rake: D G B A7) . . . . . . .", "L423"),
    "rake on the string of its note": ("(rake: e e8) . . . . . . .", "L423"),
    "trill on one fret": ("(trill: G5h5) . . . . . . .", "L424"),
    "tremolo on a rest": ("(tremolo: .) . . . . . . .", "L425"),
    "swell on a rest": ("(swell: G7 .) . . . . . .", "L425"),
    "harmonic at fret 6": ("G<6> . . . . . . .", "L426"),
    "harmonic between two nodes": ("G<8.4> . . . . . . .", "L426"),
    "harmonic at fret 8": ("G<8> . . . . . . .", "L426"),
    "harmonic at fret 11": ("G<11> . . . . . . .", "L426"),
    "touched harmonic off the nodes": ("G5<13> . . . . . . .", "L426"),
    "touched harmonic behind the finger": ("G7<5> . . . . . . .", "L427"),
    "touched harmonic on the finger": ("G7<7> . . . . . . .", "L427"),
}
WARNINGS = {"L404", "L417", "L426"}


@pytest.mark.parametrize("case", POSSIBLE)
def test_possible(case: str) -> None:
    assert [(d.code, d.message) for d in found(POSSIBLE[case])] == []


@pytest.mark.parametrize("case", IMPOSSIBLE)
def test_impossible(case: str) -> None:
    music, code = IMPOSSIBLE[case]
    findings = found(music)
    assert [d.code for d in findings] == [code]
    assert findings[0].severity is (Severity.WARNING if code in WARNINGS else Severity.ERROR)
    assert findings[0].bar == 1
    assert findings[0].beat
    assert findings[0].hint


def test_nothing_else_is_wrong_with_the_cases() -> None:
    for music in [*POSSIBLE.values(), *(music for music, _ in IMPOSSIBLE.values())]:
        compilation = compile_text(f'lick "Case"\nkey A minor\n| {music} |\n')
        assert not [d.message for d in compilation.diagnostics if d.code[:2] in ("L1", "L3")], music


def test_messages_name_frets_string_and_the_other_place() -> None:
    (finding,) = found("G7 - h5 . . . . .")
    assert finding.message == "hammer-on from fret 7 to 5 on string G goes down"
    assert finding.hint == "going down, it is a pull-off: `p5`"
    assert finding.beat == "2"
    text = 'lick "Case"\nkey A minor\n| G7 - h5 . . . . . |\n'
    assert text[finding.span.start : finding.span.end] == "h5"
    (note,) = finding.notes
    assert text[note.span.start : note.span.end] == "G7"


def test_a_repeated_bar_is_reported_once() -> None:
    assert codes("G7 h5 . . . . . . | % | G5 . . . . . . .") == ["L401"]
    assert codes("G7 h5 . . . . . . :|x3 G5 . . . . . . .") == ["L401"]


def test_a_link_is_judged_in_every_pass() -> None:
    """The second time, the hammer-on comes from the ninth fret: over the repeat sign it goes down."""
    text = 'lick "Round"\nkey A minor\n| G5 . . . . . . G5 |: h7 . . . . . . G9 :|\n'
    (finding,) = [d for d in compile_text(text).diagnostics if d.code.startswith("L4")]
    assert (finding.code, finding.message) == ("L401", "hammer-on from fret 9 to 7 on string G goes down")


def test_the_neck_can_be_longer_or_shortened_by_a_capo() -> None:
    assert codes("e24 . . . . . . .", "frets 24\n") == []
    assert codes("e20 . . . . . . .", "capo 2\n") == []
    (finding,) = found("e20 . . . . . . .", "capo 3\n")
    assert finding.message == "fret 20 with capo 3 is fret 23 of the neck, which has 22"
    assert [note.message for note in finding.notes] == ["capo is set here"]


def test_a_bar_that_cannot_be_read_has_its_links_left_alone() -> None:
    assert codes("G7 Q9 h5 . . . . .") == []


def test_a_string_without_a_letter_is_called_by_its_number() -> None:
    (finding,) = found("6:7 h5 . . . . . .", "tuning drop D\n")
    assert finding.message == "hammer-on from fret 7 to 5 on string 6 goes down"


def test_a_finger_on_an_open_string_is_asked_about() -> None:
    (finding,) = (
        d for d in compile_text("lick \"Gate\"\n| A0'2 A2'2 A0 - - - - - ||\n").diagnostics if d.code == "L428"
    )
    assert finding.message == "finger 2 on the open string A: no finger holds it"
    assert not [d for d in compile_text("lick \"Gate\"\n| A0'p A2'2 ------ ||\n").diagnostics if d.code == "L428"]


@pytest.mark.parametrize(
    ("string", "head", "told"),
    [("e", "", True), ("B", "", True), ("G", "", True), ("D", "", False), ("E", "", False),
     ("G", "sound acoustic\n", False), ("G", "sound nylon\n", True), ("D", "sound nylon\n", False),
     ("G", "tuning bass\n", False), ("7:", "tuning 7 string\n", False)],
)  # fmt: skip
def test_a_scrape_wants_a_wound_string(string: str, head: str, told: bool) -> None:
    found = compile_text(f'{head}lick "Gate"\n| (scrape: {string}) ------- ||\n').diagnostics
    assert ("L429" in {d.code for d in found}) == told, found
    assert not [d for d in found if d.severity is Severity.ERROR]
