"""D.C., D.S., Fine and coda: played in the order that print means, drawn where they stand, refused where they lead nowhere."""

from __future__ import annotations

import io
from fractions import Fraction

import mido
import pytest

from lickwright import compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.core.diagnostics import Severity
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.navigation import BY_SIGN, NAVIGATION
from lickwright.notation.syntax import parse_source

HEAD = 'key A minor\nlick "Gate"\n'


def bars(form: str) -> str:
    """`1 2@fine 3` as bars of one long note each, whose fret is the number; signs of repeats stay."""
    out = []
    for word in form.split():
        if not word[0].isdigit():
            out.append(word)
            continue
        parts = word.split("@")
        signs = [f"@{sign}" for sign in parts[1:]]
        opening = [sign for sign in signs if BY_SIGN[sign[1:]].opens]
        out.append(" ".join([*opening, f"G{parts[0]}-------", *(s for s in signs if s not in opening)]))
    return HEAD + " ".join(out) + "\n"


def one(text: str) -> CompiledLick:
    (lick,) = compile_text(text).licks
    return lick


ORDERS = {
    "| 1 | 2@dc ||": "1 2 1 2",
    "| 1@fine | 2@dc ||": "1 2 1",
    "| 1@fine | 2@dc-al-fine ||": "1 2 1",
    "| 1 | 2@segno | 3@ds ||": "1 2 3 2 3",
    "| 1 | 2@segno | 3@fine | 4@ds-al-fine ||": "1 2 3 4 2 3",
    "| 1@to-coda | 2@dc-al-coda | 3@coda | 4 ||": "1 2 1 3 4",
    "| 1 | 2@segno@to-coda | 3@ds-al-coda | 4@coda ||": "1 2 3 2 4",
    # a jump in the middle is taken once and then passed
    "| 1 | 2@dc | 3 ||": "1 2 1 2 3",
    # repeats before it are played, after it not
    "|: 1 | 2 :|x3 3@dc ||": "1 2 1 2 1 2 3 1 2 3",
    "|: 1 |1st 2 :|2nd 3 | 4@dc ||": "1 2 1 3 4 1 3 4",
    "|: 1@fine |1st 2 :|2nd 3 | 4@dc-al-fine ||": "1 2 1 3 4 1",
    "| 1 |: 2@segno | 3 :| 4@ds ||": "1 2 3 2 3 4 2 3 4",
    # a jump inside a repeat is taken the last time through
    "| 1 |: 2@dc | 3 :| 4 ||": "1 2 3 2 1 2 3 4",
    "| 1 |: 2@dc :| 3 ||": "1 2 2 1 2 3",
    "| 1 | 2@to-coda |: 3 :| 4@dc-al-coda |: 5@coda :| 6 ||": "1 2 3 3 4 1 2 5 6",
}  # fmt: skip


@pytest.mark.parametrize("form", ORDERS)
def test_bars_are_played_in_the_order_that_print_means(form: str) -> None:
    lick = one(bars(form))
    assert lick.ok, lick.diagnostics
    assert lick.timeline is not None
    played = [lick.timeline.bars[turn.bar].number for turn in lick.timeline.passes]
    assert played == [int(number) for number in ORDERS[form].split()]
    assert lick.timeline.fraction(lick.timeline.end) == len(played)


@pytest.mark.parametrize("form", ["| 1 | 2@segno | 3@fine | 4@ds-al-fine ||", "| 1@to-coda | 2@dc-al-coda | 3@coda ||"])
def test_sheet_and_midi_have_it_as_played(form: str) -> None:
    lick = one(bars(form))
    frets = [int(number) for number in ORDERS.get(form, "1 2 1 3").split()]
    assert [row.fret for row in lick.timing()] == frets
    notes = [
        m.note
        for track in mido.MidiFile(file=io.BytesIO(lick.midi())).tracks
        for m in track
        if m.type == "note_on" and m.velocity
    ]
    assert notes == [55 + fret for fret in frets]
    starts = [row.at_s for row in lick.timing()]
    assert starts == pytest.approx([2.4 * n for n in range(len(frets))])


def test_a_percent_bar_may_bear_them() -> None:
    lick = one(HEAD + "| G5------- | @segno % @fine | G7------- @ds-al-fine ||\n")
    assert lick.timeline is not None and lick.ok
    assert [turn.bar for turn in lick.timeline.passes] == [0, 1, 2, 1]


WRONG = [
    # out of place
    ("| G5 @fine - - - - - - - | G7------- @dc-al-fine ||", "L148", "@fine"),
    ("| G5------- @segno | G7------- @ds ||", "L148", "@segno"),
    ("| 3[G5 @fine - -] ------ | G7------- @dc-al-fine ||", "L148", "@fine"),
    ("| G5------- || @dc", "L148", "@dc"),
    # something lacks
    ("| G5------- @ds ||", "L149", "@ds"),
    ("| G5------- @dc-al-fine ||", "L149", "@dc-al-fine"),
    ("| G5------- @to-coda | G7------- @dc-al-coda ||", "L149", "@dc-al-coda"),
    ("| G5------- | G7------- @dc-al-coda | @coda G5------- ||", "L149", "@dc-al-coda"),
    # nothing leads to it
    ("| G5------- @fine | G7------- ||", "L149", "@fine"),
    ("| @segno G5------- | G7------- @dc ||", "L149", "@segno"),
    ("| G5------- @to-coda | G7------- @dc | @coda G5------- ||", "L149", "@to-coda"),
    # never reached
    ("| G5------- @fine | @segno G7------- @ds-al-fine ||", "L149", "@fine"),
    ("|: G5------- |1st G7------- @fine :|2nd G5------- @dc-al-fine ||", "L149", "@fine"),
    ("|: G5------- |1st G7------- @dc :|2nd G5------- ||", "L149", "@dc"),
    ("| G5------- @ds | @segno G7------- ||", "L149", "@segno"),
    ("| @coda G5------- | G7------- @to-coda | G5------- @dc-al-coda ||", "L149", "@coda"),
    # more than one
    ("| G5------- @dc | G7------- @dc ||", "L149", "@dc"),
    ("| @segno G5------- | @segno G7------- @ds ||", "L149", "@segno"),
    # as print has it
    ("| G5------- Fine | G7------- @dc-al-fine ||", "L111", "Fine"),
    ("| G5------- @D.C. ||", "L111", "@D.C."),
    ("| G5------- @dc_al_fine ||", "L111", "@dc_al_fine"),
    ("| G5------- D.S. al Coda ||", "L111", "D.S. al Coda"),
]  # fmt: skip


@pytest.mark.parametrize(("music", "code", "place"), WRONG)
def test_what_leads_nowhere_is_one_error_at_its_mark(music: str, code: str, place: str) -> None:
    text = HEAD + music + "\n"
    (found,) = [d for d in compile_text(text).diagnostics if d.severity is Severity.ERROR]
    assert (found.code, text[found.span.start : found.span.end]) == (code, place)
    assert found.hint


@pytest.mark.parametrize("mark", NAVIGATION, ids=lambda mark: mark.sign)
def test_each_mark_is_written_again_as_it_was(mark: object) -> None:
    text = f'lick "Gate"\n| {"@" + mark.sign + " " if mark.opens else ""}G5---{"" if mark.opens else " @" + mark.sign} ||\n'  # type: ignore[attr-defined]
    book, found = parse_source(Source("-", text))
    assert not found
    assert parse_source(Source("-", canonical_text(book)))[0] == book
    assert canonical_text(book) == text


def test_the_tab_shows_and_explains_them() -> None:
    tab = one(bars("| 1 | 2@segno@to-coda | 3@ds-al-coda | 4@coda ||")).tab()
    over = [line for line in tab.splitlines() if "Segno" in line or "Coda" in line]
    assert [over[0].index(word) < over[0].index("D.S. al Coda") for word in ("Segno", "To Coda")] == [True, True]
    for mark in ("segno", "to-coda", "ds-al-coda", "coda"):
        assert BY_SIGN[mark].sentence in tab.replace("\n              ", " ")


def test_a_bar_before_fine_or_the_jump_may_lack_the_pick_up() -> None:
    text = 'key A minor\npickup 1/4\nlick "Gate"\n| A5 A7 | G5------- | G5----- @fine | G7------- | G7----- @dc-al-fine ||\n'
    lick = one(text)
    assert [d for d in lick.diagnostics if d.severity is not Severity.INFO] == []
    assert lick.timeline is not None
    assert lick.timeline.fraction(lick.timeline.end) == Fraction(1, 4) * 2 + Fraction(7, 4) * 3


def test_what_is_played_again_counts_towards_the_limit() -> None:
    def codes(times: int) -> set[str]:
        found = compile_text(f"{HEAD}|: {'e5 e8 ' * 4}:|x{times} {'e5 e8 ' * 4}@dc ||\n").diagnostics
        return {d.code for d in found if d.severity is Severity.ERROR}

    assert codes(1_246) == set()
    assert codes(1_248) == {"L113"}
