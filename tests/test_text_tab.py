"""Text tab read: the corpus, our own tabs back again, and each step by itself."""

from __future__ import annotations

import re

import pytest

from lickwright.compiler import compile_text
from lickwright.core.source import Source
from lickwright.importers import import_source
from lickwright.importers.text_tab.reader import NoTab, read_text_tab
from lickwright.importers.write_lick import write_licks
from text_tab_corpus import TabCase, note_token, read_case, score_case, tab_cases
from text_tab_styles import made_tab

LEAST = {"clean": 0.98, "ragged": 0.92, "damaged": 0.80}  # share of notes that are right
MOST_SILENT = 0.005  # share of notes that are wrong without a word


@pytest.mark.parametrize("name", LEAST)
def test_notes_of_the_corpus(name: str) -> None:
    scores = {case.title: score_case(case) for case in tab_cases(name)}
    notes = sum(score.expected for score in scores.values())
    right = sum(score.right for score in scores.values())
    silent = sum(score.silent for score in scores.values())
    print(
        f"{name}: {len(scores)} tabs, {right} of {notes} notes right ({right / notes:.1%}), {silent} wrong without a word"
    )
    wrong = {title: (score.lost, score.more) for title, score in scores.items() if score.lost or score.more}
    assert right >= LEAST[name] * notes, wrong
    assert silent <= MOST_SILENT * notes, wrong


def assert_styles(seeds: range) -> None:
    scores = {case.title: score_case(case) for case in map(made_tab, seeds)}
    notes, right = sum(score.expected for score in scores.values()), sum(score.right for score in scores.values())
    silent = sum(score.silent for score in scores.values())
    print(
        f"{len(scores)} made-up tabs, {right} of {notes} notes right ({right / notes:.1%}), {silent} wrong without a word"
    )
    wrong = {title: (score.lost, score.more) for title, score in scores.items() if score.lost or score.more}
    assert right >= LEAST["clean"] * notes, wrong
    assert silent <= MOST_SILENT * notes, wrong


def test_notes_of_made_up_tabs() -> None:
    assert_styles(range(30))


@pytest.mark.slow
def test_notes_of_many_made_up_tabs() -> None:
    assert_styles(range(1000, 3000))


def every_case() -> list[TabCase]:
    return [case for name in LEAST for case in tab_cases(name)]


def test_what_is_written_plays_what_was_read() -> None:
    for case in every_case()[::2]:
        _, drafts = read_case(case)
        written = write_licks(drafts)
        assert [doubt for doubt in written.doubts if doubt.rule.code == "L802"] == [], case.title


def tokens(text: str) -> list[str]:
    drafts = read_text_tab(Source("-", text))
    return [
        note_token(n) for d in drafts for b in d.bars for g in b.groups for n in sorted(g.notes, key=lambda n: n.string)
    ]


def on_g(string: str, *prose: str) -> list[str]:
    """Read one string among five empty ones."""
    rest = "-" * len(string)
    lines = [f"{label}|{string if label == 'G' else rest}|" for label in ("e", "B", "G", "D", "A", "E")]
    return tokens("\n".join([*prose, "", *lines]) + "\n")


@pytest.mark.parametrize(
    ("string", "notes"),
    [
        ("--5h7p5--", "3:5 3:h7 3:p5"),
        ("--5-h-7--", "3:5 3:h7"),
        ("--7b9r7--", "3:7b2r0"),
        ("--7b(9)---", "3:7b2"),
        ("--7bfull---", "3:7b2"),
        ("--7b1/2---", "3:7b1"),
        ("--7b½----", "3:7b1"),
        ("--7b9--r7--", "3:7b2r0"),
        ("--7b10r8---", "3:7b3r1"),
        ("--pb9----", "3:7pb2"),
        ("--7pb9r7-", "3:7pb2r0"),
        ("--9r7----", "3:7pb2r0"),
        ("--5/7\\5--", "3:5 3:/7 3:\\5"),
        ("--5s7s5--", "3:5 3:/7 3:\\5"),
        ("--/7---5\\--", "3:n/7 3:5\\"),
        ("--<12>--5<17>--", "3:<12> 3:5<17>"),
        ("--12*--8*--", "3:<12> 3:8*"),
        ("--x-X--(5)--", "3:x 3:x 3:5.ghost"),
        ("--t12p5--", "3:nt12 3:p5"),
        ("--7~~~--7v--", "3:7~ 3:7~"),
        ("--5tr7----", "3:5.tr7"),
        ("--1012--", "3:10 3:12"),
        ("--lO--l2--", "3:10 3:12"),
        ("--7/5----", "3:7 3:\\5"),
        ("--7b(1/2)r7--5--", "3:7b1r0 3:5"),
        ("--7b(½)--7b(0.5)--", "3:7b1 3:7b1"),
        ("--7b(1¼)--7b(1¾)--", "3:7b2.5 3:7b3.5"),
        ("--7-b-9-r-7--5--", "3:7b2r0 3:5"),
        ("--7b9br7--7br7--", "3:7b2r0 3:7b2r0"),
        ("--7bu(9)--7bu9bd7--", "3:7b2 3:7b2r0"),
        ("--7b>9--5--", "3:7b2 3:5"),
        ("--(7b9)r7--5--", "3:7pb2r0 3:5"),
        ("--7bend9rel7--5--", "3:7b2r0 3:5"),
        ("--5--7-----...", "3:5 3:7"),
        ("--8tr10~~~--8~--", "3:8.tr10 3:8~"),
        ("--PM-0--0-|--5--", "3:0.pm 3:0.pm 3:5"),
        ("--5--P.M.0--0--", "3:5 3:0.pm 3:0.pm"),
    ],
)
def test_marks_on_a_string(string: str, notes: str) -> None:
    assert " ".join(on_g(string)) == notes


@pytest.mark.parametrize(
    ("key", "string", "notes"),
    [
        ("^ = hammer on", "--5^7--", "3:5 3:h7"),
        ("^ = bend", "--5^7--", "3:5b2"),
        ("v: slide down", "--7v---", "3:7\\"),
        ("(5) = tied note", "--5---(5)--", "3:5"),
        ("[12] harmonic", "--[12]--", "3:<12>"),
        ("* pinch harmonic", "--12*--", "3:12*"),
        ("bends: ^", "--5^7--", "3:5b2"),
        ("natural harmonic = *", "--8*--", "3:<8>"),
        ("hammer-ons = ^, vibrato: v", "--5^7v--", "3:5 3:h7~"),
        ("s is a slap", "--5s---", "3:5.slap"),
        ("^ is a half step bend", "--7^--", "3:7b1"),
        ("b = bend (quarter step)", "--7b--7b9--", "3:7b0.5 3:7b2"),
        ("h12 means harmonic at 12", "--h12--5--", "3:<12> 3:5"),
        ("* = hammer-on or pull-off, ! = whole step bend", "--5*7*5--7!--", "3:5 3:h7 3:p5 3:7b2"),
        ("^ slide up", "--5--^7--5^7--", "3:5 3:/7 3:5 3:/7"),
    ],
)
def test_the_tabs_own_key_goes_first(key: str, string: str, notes: str) -> None:
    assert " ".join(on_g(string, key)) == notes


@pytest.mark.parametrize(
    "text",
    [
        "", "Hello, this is a letter.\n\n-- \nYours", "\n".join("-" * 40 for _ in range(2)), "a | b\n--|--\n1 | 2\n",
        "CC|x---x---|\nHH|--x---x-|\nSD|----o---|\nBD|o-------|\n",
        "C |x-----------------|\nH |--x-x-x-x-x-x-x-x-|\nS |----o-------o-----|\nB |o-------o---------|\n",
        " |  o   o  |\n |    ^    |\n |  \\___/  |\n  \\_______/\n", "1-2-3-4\n5-6-7-8\n9-1-2-3\n4-5-6-7\n",
        "A|--------|\nB|-----|\nC|---------|\nD|--|\nE|------|\nF|---|\n",
    ],
)  # fmt: skip
def test_a_text_without_tab_is_no_lick(text: str) -> None:
    with pytest.raises(NoTab):
        read_text_tab(Source("-", text))
    found = import_source(text.encode(), "letter.txt")
    assert not found.ok
    assert [d.code for d in found.findings] == ["L810"]


# --- rhythm ----------------------------------------------------------------------------------------------------------

RIFF = """e|-----------------|-----------------|
B|-----------5-8---|-5---------------|
G|-----5-7---------|---7-5-----------|
D|-5-7-------------|-------7---------|
A|-----------------|-----------------|
E|-----------------|-----------------|
"""


def test_palm_mute_on_a_string_without_a_note_is_reported() -> None:
    text = "\n".join(f"{n}|--5--{'PM--|' if n == 'G' else '-----'}--5--|" for n in "eBGDAE")
    assert "L812" in codes(text)
    assert "L813" in codes(text.replace("PM--|", "PM-0-"))


@pytest.mark.parametrize(
    ("key", "row", "marks"),
    [
        ("v = down, ^ = up", "v   ^", ["down", "up"]),
        ("D is a downstroke, U is an upstroke", "D   U", ["down", "up"]),
        ("T = slap with the thumb, P = pop", "T   P", ["slap", "pop"]),
    ],
)
def test_the_tabs_own_key_names_its_strokes(key: str, row: str, marks: list[str]) -> None:
    strings = "\n".join(f"{n}|{'-5---7--' if n == 'G' else '--------'}|" for n in "eBGDAE")
    assert tokens(f"{key}\n\n   {row}\n{strings}\n") == [
        f"3:{fret}.{mark}" for fret, mark in zip((5, 7), marks, strict=True)
    ]


@pytest.mark.parametrize(
    "labels",
    [
        ("high E |", "B      |", "G      |", "D      |", "A      |", "low E  |"),
        ("E (high)|", "B       |", "G       |", "D       |", "A       |", "E (low) |"),
        ("1)", "2)", "3)", "4)", "5)", "6)"),
        ("(1)", "(2)", "(3)", "(4)", "(5)", "(6)"),
        ("Thin e:", "     B:", "     G:", "     D:", "     A:", " Low e:"),
    ],
)
def test_labels_as_people_write_them(labels: tuple[str, ...]) -> None:
    strings = ("-5------", "---8----", "--------", "--------", "--------", "-----0--")
    text = "\n".join(label + string for label, string in zip(labels, strings, strict=True))
    assert tokens(text) == ["1:5", "2:8", "6:0"]
    assert not {"L813", "L815", "L819"} & codes(text)


def test_strings_of_several_lengths_are_not_called_equal() -> None:
    lengths = zip("eBGDAE", (9, 8, 9, 8, 10, 9), strict=True)
    text = "\n".join(f"{n}|--5{'-' * length}|--7--|" for n, length in lengths)
    messages = [d.message for draft in read_text_tab(Source("-", text)) for d in draft.doubts if d.rule.code == "L816"]
    assert any("others have more or fewer" in message for message in messages)
    assert not any(re.search(r"has (\d+) characters.*most others have \1$", message) for message in messages)


@pytest.mark.parametrize(
    ("row", "repeats"), [("   |---x2---|", [(True, 2), (False, 0)]), ("             |--3x--|", [(False, 0), (True, 3)])]
)
def test_times_over_bars_repeat_the_bars_under_them(row: str, repeats: list[tuple[bool, int]]) -> None:
    strings = "\n".join(
        f"{n}|{'--5---7---' if n == 'G' else '-' * 10}|--{9 if n == 'G' else '-'}-----|" for n in "eBGDAE"
    )
    (draft,) = read_text_tab(Source("-", f"{row}\n{strings}\n"))
    assert [(bar.repeat_start, bar.repeat_end) for bar in draft.bars] == repeats


LEFT = "Gtr 1\n" + "\n".join(f"{n}|{'--8--7---' if n == 'B' else '---------'}|" for n in "eBGDAE")
RIGHT = "Gtr 2\n" + "\n".join(f"{n}|{'--5--x---' if n == 'D' else '---------'}|" for n in "eBGDAE")


def test_systems_side_by_side_are_parted() -> None:
    pairs = zip(LEFT.split("\n"), RIGHT.split("\n"), strict=True)
    text = "\n".join(f"{left:<16}{right}" for left, right in pairs)
    assert tokens(text) == ["2:8", "2:7", "4:5", "4:x"]
    assert {"L812", "L827"} & codes(text) == {"L827"}


@pytest.mark.parametrize(
    ("second", "said"), [("Gtr 2", True), ("Bass", True), ("Gtr 1", False), ("the guitar goes on", False)]
)
def test_parts_under_different_names_are_reported(second: str, said: bool) -> None:
    assert ("L827" in codes(f"{LEFT}\n\n{RIGHT.replace('Gtr 2', second)}")) == said


def onsets(text: str) -> list[list[str]]:
    """Return the instants of each bar."""
    return [[str(group.at) for group in bar.groups] for draft in read_text_tab(Source("-", text)) for bar in draft.bars]


def codes(text: str) -> set[str]:
    return {doubt.rule.code for draft in read_text_tab(Source("-", text)) for doubt in draft.doubts}


def test_a_row_of_counts_is_the_rhythm() -> None:
    counted = RIFF + "   1 & 2 & 3 & 4      1 & 2 & 3 & 4\n"
    assert onsets(counted) == [["0", "1/8", "1/4", "3/8", "5/8", "3/4"], ["0", "1/8", "1/4", "3/8"]]
    assert "L817" not in codes(counted)


def test_a_row_that_does_not_fit_is_reported() -> None:
    text = RIFF + "1 & 2 & 3 & 4 & 1 & 2 &\n"
    assert "L818" in codes(text)


def test_rhythm_letters_are_the_rhythm() -> None:
    text = "   E E E E E E.    S Q E  H\n".replace("E.    S", "Q  ") + RIFF
    assert codes(text) <= {"L817", "L818"}
    whole = "   E E E E Q Q     Q Q Q Q\n" + RIFF
    assert onsets(whole) == [["0", "1/8", "1/4", "3/8", "1/2", "3/4"], ["0", "1/4", "1/2", "3/4"]]
    assert codes(whole) == set()


def test_an_even_grid_is_read_and_said_to_be_inferred() -> None:
    assert onsets(RIFF) == [["0", "1/8", "1/4", "3/8", "5/8", "3/4"], ["0", "1/8", "1/4", "3/8"]]
    drafts = read_text_tab(Source("-", RIFF))
    assert [d.message for d in drafts[0].doubts] == [
        f"rhythm guessed in bar {n} from the spacing (90 % sure)" for n in (1, 2)
    ]


@pytest.mark.parametrize(
    "text", [RIFF, RIFF.replace("-5-7-", "-5--7"), RIFF.replace("|\n", "\n"), RIFF.replace("|", "-")]
)
def test_bars_always_add_up(text: str) -> None:
    for draft in read_text_tab(Source("-", text)):
        written = write_licks([draft])
        assert compile_text(written.text).ok
        assert not [d for d in compile_text(written.text).diagnostics if d.code in ("L301", "L302")]


def test_times_and_repeats() -> None:
    def repeats(text: str) -> list[tuple[bool, int]]:
        return [(bar.repeat_start, bar.repeat_end) for draft in read_text_tab(Source("-", text)) for bar in draft.bars]

    assert repeats(RIFF.replace("-|\nB", "-| x4\nB", 1)) == [(True, 0), (False, 4)]
    assert repeats(RIFF + "   (x3)\n") == [(True, 0), (False, 3)]
    assert repeats(RIFF + "      x2                x4\n") == [(True, 2), (True, 4)]
    assert "L820" in codes("play the last bar twice\n\n" + RIFF)


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("drop D", "drop D"),
        ("DropD", "drop D"),
        ("drop-d", "drop D"),
        ("halfstepdown", "half step down"),
        ("openG", "open G"),
    ],
)
def test_a_tuning_is_known_however_its_name_is_joined(said: str, name: str) -> None:
    strings = "\n".join(f"|--{fret}--2--|" for fret in (3, 3, 0, 0, 2, 3))
    found = import_source(f"Tuning: {said}\n\n{strings}\n".encode(), "a.txt")
    assert found.text is not None and f"tuning {name}\n" in found.text
