"""What becomes of a source: findings sorted and said once, `meant` last, and no outputs for a lick with errors."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

import lickwright
from lickwright import compile_bytes, compile_file, compile_text, compiler
from lickwright.checks.suppressions import IDLE
from lickwright.compiler.compilation import LickHasErrors
from lickwright.core.diagnostics import Severity, has_errors
from lickwright.export import Options
from lickwright.notation import syntax

FULL = "| e8 e5 B8 B5 G7 G5 D7 D5 ||\n"
SHORT = "| e8 e5 | e8 e5 B8 B5 G7 G5 D7 D5 ||\n"  # a pick-up that nobody declared: a warning
GOOD = f'lick "Porch light"\n{FULL}'
BAD = 'lick "Low road"\n| h7 e5 B8 B5 G7 G5 D7 D5 ||\n'  # hammers on to nothing


def _codes(text: str) -> list[str]:
    return [d.code for d in compile_text(text).diagnostics]


def _warning() -> str:
    (code,) = {d.code for d in compile_text(f'lick "a"\n{SHORT}').diagnostics if d.severity is Severity.WARNING}
    return code


def test_the_names_at_the_top_are_those_of_the_pipeline() -> None:
    assert compile_text(GOOD).ok
    for name in lickwright.__all__:
        assert getattr(lickwright, name)
    with pytest.raises(AttributeError):
        lickwright.nonsense  # noqa: B018


def test_what_a_lick_says_of_itself() -> None:
    text = (
        "by Mara Quill\nrights mine\ntempo 1/4. = 66\nmeter 12/8\n"
        'lick "One"\nkey G minor\nscale blues\nbox 1 2\ntags answer, two words\n'
        "| B6^8 - -r p3 - - G5~ - - . . . | e6&B6 - - (pm: G5 G3 D5) Dx - - E0 - - |\n"
    )
    (lick,) = compile_text(text).licks
    said = (lick.key, lick.scale, lick.box, lick.tempo, lick.meter, lick.feel, lick.by, lick.rights, lick.tags)
    assert said == (
        "G minor", "minor blues", "1 2", 66.0, "12/8", "straight", "Mara Quill", "mine", ("answer", "two words")
    )  # fmt: skip
    assert lick.techniques == ("bend", "dead note", "palm mute", "pull-off", "release", "vibrato")
    assert lick.duration == pytest.approx(8 * 60 / 66, abs=0.001)
    assert lick.places == ((2, 6), (2, 3), (3, 5), (2, 6), (1, 6), (3, 5), (3, 3), (4, 5), (6, 0))
    assert lick.level in range(1, 6) and lick.ok and lick.diagnostics
    assert '"notes"' in lick.timing_json()


def test_a_lick_that_cannot_be_counted_says_nothing_and_does_not_fail() -> None:
    (lick,) = compile_text('lick "One"\n| e5 zz 9 |\n').licks
    bare = lick._replace(timeline=None)
    assert (bare.key, bare.scale, bare.box, bare.meter, bare.feel, bare.by, bare.rights) == ("",) * 7
    assert (bare.tempo, bare.level, bare.duration, bare.techniques, bare.places, bare.tags) == (
        None,
        None,
        None,
        (),
        (),
        (),
    )
    with pytest.raises(LickHasErrors):
        lick.timing_json()


def test_the_package_lists_its_public_names_and_is_typed() -> None:
    assert sorted(dir(lickwright)) == sorted(lickwright.__all__)
    assert (Path(lickwright.__file__).parent / "py.typed").is_file()


def test_a_lick_with_errors_has_no_outputs_and_the_others_do() -> None:
    compilation = compile_text(GOOD + BAD + GOOD)
    assert [lick.ok for lick in compilation.licks] == [True, False, True]
    assert [lick.slug for lick in compilation.licks] == ["porch-light", "low-road", "porch-light-2"]
    assert not compilation.ok
    with pytest.raises(LickHasErrors, match="Low road"):
        compilation.licks[1].tab()
    assert compilation.licks[0].midi().startswith(b"MThd")
    assert "5" in compilation.licks[0].tab()


def test_findings_carry_their_licks_title_and_come_in_order() -> None:
    found = compile_text(BAD + BAD.replace("Low", "High")).diagnostics
    assert [d.lick for d in found if d.severity is Severity.ERROR] == ["Low road", "High road"]
    assert [d.span for d in found] == sorted(d.span for d in found)


def test_a_mistake_in_the_files_head_is_said_once_and_stops_every_lick() -> None:
    compilation = compile_text("tempo fast\n" + GOOD + GOOD)
    (error,) = [d for d in compilation.diagnostics if d.severity is Severity.ERROR]
    assert error.lick is None
    assert not any(lick.ok for lick in compilation.licks)


def test_what_a_repeat_plays_twice_is_said_once() -> None:
    once = _codes('lick "a"\nkey A minor\nbox 1\n| e8 e9 B8 B5 G7 G5 D7 D5 ||\n')
    twice = _codes('lick "a"\nkey A minor\nbox 1\n|: e8 e9 B8 B5 G7 G5 D7 D5 :|\n')
    assert once
    assert once == twice


@pytest.mark.parametrize("text", ["", "\n", "# nothing\n", "tempo 80\n"])
def test_a_file_without_licks_is_no_crash(text: str) -> None:
    assert compile_text(text).licks == ()


def test_what_cannot_be_read_is_a_finding(tmp_path: Path) -> None:
    for compilation in (compile_file(tmp_path / "absent.lick"), compile_bytes(b"\xff"), compile_file(tmp_path)):
        (found,) = compilation.diagnostics
        assert found.code.startswith("L60")
        assert not compilation.ok


# ---- meant


def test_meant_hides_a_warning_and_nothing_else() -> None:
    code = _warning()
    assert _codes(f'lick "a"\nmeant {code} "the upbeat"\n{SHORT}').count(code) == 0
    assert IDLE.code not in _codes(f'lick "a"\nmeant {code} "the upbeat"\n{SHORT}')


def test_meant_in_the_wrong_bar_hides_nothing_and_says_where_the_finding_is() -> None:
    code = _warning()
    found = {d.code: d for d in compile_text(f'lick "a"\nmeant {code} bar 2 "the upbeat"\n{SHORT}').diagnostics}
    assert code in found
    assert str(found[code].bar) in str(found[IDLE.code].hint)


def test_meant_that_hides_nothing_is_a_warning_and_no_error() -> None:
    compilation = compile_text(f'lick "a"\nmeant L301 "why not"\n{FULL}')
    (idle,) = [d for d in compilation.diagnostics if d.code == IDLE.code]
    assert idle.severity is Severity.WARNING
    assert idle.lick == "a"
    assert compilation.ok


def test_meant_never_hides_an_error() -> None:
    (error,) = [d for d in compile_text(BAD).diagnostics if d.severity is Severity.ERROR]
    text = BAD.replace("| h7", f'meant {error.code} "on purpose"\n| h7')
    assert error.code in _codes(text)
    assert IDLE.code not in _codes(text)  # the lick is to be mended first


def test_meant_in_the_files_head_is_used_when_any_lick_uses_it() -> None:
    code = _warning()
    head = f'meant {code} "our upbeats"\n'
    assert not {code, IDLE.code} & set(_codes(f'{head}lick "a"\n{FULL}lick "b"\n{SHORT}'))
    found = compile_text(f'{head}lick "a"\n{FULL}lick "b"\n{FULL}').diagnostics
    assert [(d.code, d.lick) for d in found if d.code == IDLE.code] == [(IDLE.code, None)]


def test_meant_about_what_a_format_cannot_say_is_never_called_idle() -> None:
    assert IDLE.code not in _codes(f'lick "a"\nmeant L501 "fine"\n{FULL}')


def test_a_lick_can_be_had_as_a_pretty_midi() -> None:
    midi = compile_text(GOOD).licks[0].to_pretty_midi()
    notes = sorted((note for instrument in midi.instruments for note in instrument.notes), key=lambda note: note.start)
    assert [note.pitch for note in notes] == [72, 69, 67, 64, 62, 60, 57, 55]


def test_a_lick_can_be_had_as_timing_rows() -> None:
    compilation = compile_text(f"tempo 60\n{GOOD}{BAD}")
    rows = compilation.licks[0].timing()
    assert [(row.at_s, row.string, row.fret) for row in rows[:3]] == [(0.0, 1, 8), (0.5, 1, 5), (1.0, 2, 8)]
    assert compilation.licks[0].timing(Options(tempo_bpm=Fraction(120)))[1].at_s == 0.25
    with pytest.raises(LickHasErrors):
        compilation.licks[1].timing()


def test_a_lick_that_is_left_out_says_so_even_if_no_stage_has_said_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(compiler, "parse_source", lambda source: (syntax.parse_source(source)[0], []))
    compilation = compiler.compile_text('lick "Gate"\n| e8 e5 B8 e5 G7 - - - | e8 e5 ? e5 G7 - - - ||\n')
    (lick,) = compilation.licks
    assert not lick.ok and not compilation.ok
    assert [(d.code, d.bar) for d in lick.diagnostics if d.severity is Severity.ERROR] == [("L101", 2)]


@pytest.mark.parametrize("ratio", ["3:3", "2:2", "64:64"])
def test_a_tuplet_of_as_many_steps_as_their_time_plays_as_written_and_is_noted(ratio: str) -> None:
    with_bracket = f'key A minor\nlick "Gate"\n| {ratio}[e8 e5 B8] e5 G7 - - - ||\n'
    (lick,) = (compilation := compiler.compile_text(with_bracket)).licks
    (plain,) = compiler.compile_text('key A minor\nlick "Gate"\n| e8 e5 B8 e5 G7 - - - ||\n').licks
    assert lick.ok and lick.midi() == plain.midi()
    assert [(d.code, d.severity) for d in compilation.diagnostics] == [("L125", Severity.INFO)]


def test_notes_without_end_hide_no_error() -> None:
    many = "".join(f'lick "n{n}"\n| {"2:2[e5 e8] " * 4}|\n' for n in range(300))
    (*_, last) = (compilation := compiler.compile_text(f'{many}lick "last"\n| {"2:2[e5 e8] " * 3} e5z e8 |\n')).licks
    assert has_errors(last.diagnostics) and not compilation.ok


def test_a_title_said_twice_is_found_at_its_second_place_with_the_line_of_the_first() -> None:
    music = "| e8 e5 B8 e5 G7 - - - ||\n"
    text = f'key A minor\nlick "Porch light"\n{music}lick "Gate"\n{music}lick "porch  LIGHT"\n{music}'
    compilation = compiler.compile_text(text)
    (found,) = compilation.diagnostics
    assert (found.code, found.severity) == ("L126", Severity.WARNING) and "line 2" in found.message
    assert text[found.span.start : found.span.end] == '"porch  LIGHT"'
    assert [lick.ok for lick in compilation.licks] == [True] * 3
    meant = text.replace('LIGHT"\n', 'LIGHT"\nmeant L126 "the same, once more"\n')
    assert not compiler.compile_text(meant).diagnostics


def test_a_format_that_there_is_not_is_named() -> None:
    (lick,) = compile_text(GOOD).licks
    with pytest.raises(ValueError, match="no format .midi2.; there are tab, midi"):
        lick.emit("midi2")
