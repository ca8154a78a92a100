"""Scores read into drafts: our own come back the same, those of other programs keep what the notation can say, hostile ones are refused at once."""

from __future__ import annotations

import io
import time
import tracemalloc
import zipfile
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest

from good_licks import good_file
from lickwright.compiler import compile_file, compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.core.source import Source, Unreadable
from lickwright.export import LoweredLick, Options
from lickwright.export.musicxml import emit
from lickwright.importers import import_source
from lickwright.importers.draft import LickDraft
from lickwright.importers.draft_differences import draft_differences
from lickwright.importers.musicxml.reading import read_score
from lickwright.importers.options import ReadOptions
from lickwright.importers.timeline_draft import draft_from_timeline
from lickwright.importers.write_lick import write_licks
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from made_licks import made_lick

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("**/*.lick"))


def read(data: bytes | str, **options: object) -> LickDraft:
    raw = data.encode() if isinstance(data, str) else data
    (draft,) = read_score(raw, "Untitled", ReadOptions(**options))  # type: ignore[arg-type]
    return draft


def text_of(data: bytes | str, **options: object) -> str:
    return write_licks([read(data, **options)]).text


# --- out and in again ------------------------------------------------------------------------------------------------


def assert_comes_back(lick: CompiledLick, compressed: bool = False) -> str:
    """Write a lick as a score, read that, write it as a lick: nothing may have changed but what the format says it cannot hold."""
    timeline = lick.timeline
    assert timeline is not None
    export = emit(LoweredLick(timeline), Options(compressed=compressed))
    draft = read(export.data)
    known = {loss.code for loss in export.losses} & {"L517", "L518"}
    differing = list(draft_differences(draft_from_timeline(timeline), draft))
    assert "L517" in known or not differing, (lick.title, differing)
    assert not draft.doubts
    written = write_licks([draft])
    assert not written.doubts or "L517" in known, (lick.title, [d.message for d in written.doubts], written.text)
    (again,) = compile_text(written.text).licks
    assert again.timeline is not None
    one, other = timeline.settings, again.timeline.settings
    assert again.title == lick.title
    assert one.tempo.quarters_per_minute(one.meter) == other.tempo.quarters_per_minute(other.meter)
    for name in (
        "key",
        "scale",
        "box",
        "meter",
        "pickup",
        "tuning",
        "capo",
        "sound",
        "level",
        "tags",
        "by",
        "notes",
    ):
        assert getattr(one, name) == getattr(other, name), (lick.title, name)
    assert one.feel == other.feel or "L518" in known
    chords = [[(at.at, at.chord and at.chord.plain) for bar in some.chords for at in bar] for some in (one, other)]
    assert chords[0] == chords[1]
    return written.text


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_samples_come_back(every: int) -> None:
    licks = [lick for path in SAMPLES for lick in compile_file(path).licks]
    assert len(licks) >= 60
    for n, lick in enumerate(licks[::every]):
        assert_comes_back(lick, compressed=n % 8 == 0)


def made(number: int) -> CompiledLick:
    music, fields = made_lick(Random(number))
    return compile_text("\n".join([*fields, f'lick "Made {number}"', music, ""])).licks[0]


def test_made_licks_come_back() -> None:
    for lick in compile_text(good_file(Random(1))).licks[:3]:
        assert_comes_back(lick)
    for number in range(14):
        assert_comes_back(made(number))


@pytest.mark.slow
def test_many_made_licks_come_back() -> None:
    said = 0
    for number in range(500):
        try:
            assert_comes_back(made(number))
        except AssertionError:
            said += 1
            timeline = made(number).timeline
            assert timeline is not None
            draft = read(emit(LoweredLick(timeline), Options()).data)
            assert not list(draft_differences(draft_from_timeline(timeline), draft))  # the score was read well
    assert said <= 8


@pytest.mark.parametrize(
    "fields", ["tuning half step down", "capo 3", "tuning drop D\ncapo 2", "tuning open G", "tuning 7 string"]
)
def test_tuning_and_capo_come_back(fields: str) -> None:
    text = f'key A minor\nchords Am7 | F#m7b5/C E7\n{fields}\nlick "Gate"\n| 1:5 1:8p5 2:8^10 -r 3:7 - - | 3:5 3:7 4:7 4:5h7 2:5 1:5~- ||\n'
    (lick,) = compile_text(text).licks
    assert_comes_back(lick)


# --- scores of other programs ----------------------------------------------------------------------------------------

HEAD = '<?xml version="1.0"?>\n<score-partwise version="3.1"><part-list><score-part id="P1"><part-name>Guitar</part-name></score-part></part-list>'


def score(measures: str, attributes: str = "") -> str:
    first = f"<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>{attributes}</attributes>"
    bars = measures.split("|")
    body = "".join(f'<measure number="{n}">{first if n == 1 else ""}{bar}</measure>' for n, bar in enumerate(bars, 1))
    return f'{HEAD}<part id="P1">{body}</part></score-partwise>'


def tab_note(string: int, fret: int, duration: int = 8, notations: str = "", more: str = "") -> str:
    return (
        f"<note>{more}<pitch><step>C</step><octave>4</octave></pitch><duration>{duration}</duration>"
        f"<notations><technical><string>{string}</string><fret>{fret}</fret>{notations}</technical></notations></note>"
    )


def note(pitch: str, duration: int = 8, more: str = "", after: str = "") -> str:
    alter = "<alter>1</alter>" if "#" in pitch else ""
    return (
        f"<note>{more}<pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch>"
        f"<duration>{duration}</duration>{after}</note>"
    )


def bars_of(text: str) -> str:
    return text[text.index("\n|") + 1 :].strip()


def tidied(bars: str) -> str:
    """Bars as the canonical form spells them."""
    book, _ = parse_source(Source("-", f'lick "Untitled"\n{bars}\n'))
    return bars_of(canonical_text(book))


@pytest.mark.parametrize(
    ("measures", "bars"),
    [
        (tab_note(3, 5, 4) + tab_note(3, 7, 4), "| G5 --- G7 --- ||"),
        (tab_note(1, 5) + tab_note(2, 5, more="<chord/>"), "| B5&e5 ------- ||"),
        # a bend and its release without times share the note; a release of 0 is one to where it began
        (
            tab_note(
                2, 8, 8, "<bend><bend-alter>2</bend-alter></bend><bend><bend-alter>0</bend-alter><release/></bend>"
            ),
            "| 1/2 B8^10 -r ||",
        ),
        (tab_note(3, 7, 8, "<bend><bend-alter>-2</bend-alter><pre-bend/></bend>"), "| G7^^9 ------- ||"),
        (
            tab_note(3, 5, 4, '<hammer-on type="start">H</hammer-on>') + tab_note(3, 7, 4, '<hammer-on type="stop"/>'),
            "| G5 --- h7 --- ||",
        ),
        (tab_note(3, 5, 8, "<harmonic><natural/></harmonic>"), "| G<5> ------- ||"),
        (tab_note(3, 5, 6) + "<note><rest/><duration>2</duration></note>", "| G5 ----- .. ||"),
        (  # a tie over the bar line
            tab_note(3, 5, 8).replace("</duration>", '</duration><tie type="start"/>')
            + "|"
            + tab_note(3, 5, 4).replace("</duration>", '</duration><tie type="stop"/>')
            + tab_note(3, 7, 4),
            "| G5 ------- | ---- G7 --- ||",
        ),
    ],
)
def test_what_other_programs_write(measures: str, bars: str) -> None:
    assert bars_of(text_of(score(measures))) == tidied(bars)


def test_pitches_are_given_strings_and_frets() -> None:
    draft = read(
        score("".join(note(one, 1) for one in ("A3", "C4", "D4", "E4", "G4", "A4", "C5", "A4"))), box="1", key="A minor"
    )
    played = [(one.notes[0].string, one.notes[0].fret) for one in draft.bars[0].groups]
    assert played == [(4, 7), (3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8), (1, 5)]
    assert [doubt.rule.code for doubt in draft.doubts] == ["L806"]


def test_notes_below_the_guitar_are_said() -> None:
    draft = read(score(note("C2", 4) + note("E4", 4)))
    assert {doubt.rule.code for doubt in draft.doubts} == {"L806", "L807"}
    assert sum(len(group.notes) for group in draft.bars[0].groups) == 1


def test_a_part_is_chosen_and_the_others_said() -> None:
    two = score(tab_note(3, 5)).replace(
        "</part-list>", '<score-part id="P2"><part-name>Piano</part-name></score-part></part-list>'
    )
    piano = f'<part id="P2"><measure number="1">{note("E4") * 5}</measure></part></score-partwise>'
    two = two.replace("</score-partwise>", piano)
    draft = read(two)
    assert [doubt.message for doubt in draft.doubts] == ["part 1, Guitar, is read; left: Piano"]
    assert not [doubt for doubt in read(two, track="piano").doubts if doubt.rule.code == "L808"]
    with pytest.raises(Unreadable, match="no part `3`") as refused:
        read(two, track="3")
    assert refused.value.hint == "its parts are 1 Guitar, 2 Piano"


def test_repeats_endings_and_jumps() -> None:
    forward, backward = '<repeat direction="forward"/>', '<repeat direction="backward"/>'
    bars = (
        f'<barline location="left">{forward}</barline>{tab_note(3, 5)}'
        '<direction><direction-type><words>Fine</words></direction-type><sound fine="yes"/></direction>'
        f'|<barline location="left"><ending number="1" type="start"/></barline>{tab_note(3, 7)}'
        f'<barline location="right"><ending number="1" type="stop"/>{backward}</barline>'
        f'|<barline location="left"><ending number="2" type="start"/></barline>{tab_note(3, 9)}'
        '<direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo="yes"/></direction>'
    )
    expected = tidied("|: G5 ------- @fine |1st G7 ------- :|2nd G9 ------- @dc-al-fine ||")
    assert " ".join(bars_of(text_of(score(bars))).split()) == " ".join(expected.split())


def test_tempo_swing_chords_and_words() -> None:
    said = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute></metronome></direction-type>"
        "<sound><swing><first>2</first><second>1</second><swing-type>eighth</swing-type></swing></sound></direction>"
        "<harmony><root><root-step>A</root-step></root><kind>minor-seventh</kind></harmony>"
        "<direction><direction-type><words>slowly</words></direction-type></direction>"
        "<direction><direction-type><dynamics><f/></dynamics></direction-type></direction>"
    )
    text = text_of(score(said + tab_note(3, 5)))
    assert "tempo  96\n" in text
    assert "feel   shuffle\nchords Am7\n" in text
    assert '@"slowly" @f G5' in text


def test_scores_in_measures_order_are_read() -> None:
    timewise = (
        '<score-timewise><part-list><score-part id="P1"><part-name>G</part-name></score-part></part-list>'
        f'<measure number="1"><part id="P1"><attributes><divisions>2</divisions></attributes>{tab_note(3, 5)}</part></measure></score-timewise>'
    )
    assert bars_of(text_of(timewise)) == tidied("| G5 ------- ||")


def test_what_has_no_sign_is_said() -> None:
    draft = read(score(tab_note(3, 5, 8, "<thumb-position/><fingernails/><golpe/>")))
    assert sorted(doubt.message for doubt in draft.doubts) == [
        "fingernails is left out (1 time)",
        "golpe is left out (1 time)",
    ]


# --- hostile ---------------------------------------------------------------------------------------------------------


def _entities() -> Iterator[str]:
    bomb = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10 if n else "lol" * 10}">' for n in range(9))
    yield f"<!DOCTYPE score-partwise [{bomb}]><score-partwise>&e8;</score-partwise>"
    yield f'<!DOCTYPE score-partwise [<!ENTITY a "{"a" * 50_000}">]><score-partwise>{"&a;" * 50_000}</score-partwise>'
    for where in ("file:///etc/hostname", "http://127.0.0.1:9/x.dtd", "/etc/hostname"):
        yield f'<!DOCTYPE score-partwise [<!ENTITY x SYSTEM "{where}">]><score-partwise>&x;</score-partwise>'
        yield f'<!DOCTYPE score-partwise [<!ENTITY % x SYSTEM "{where}"> %x;]><score-partwise/>'


def _archive(**members: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "."), data)
    return file.getvalue()


def _heavy() -> Iterator[tuple[str, bytes]]:
    """Files that are large, or unpack to much."""
    deep = 100_000
    yield "deep", (score(tab_note(3, 5)).replace("<part id", "<a>" * deep + "<part id")).encode()
    many = " ".join(f"a{n}='1'" for n in range(300_000))
    yield (
        "attributes",
        f"<score-partwise {many} {many.replace('a', 'b')} {many.replace('a', 'c')} {many.replace('a', 'd')}/>".encode(),
    )
    yield "nodes", b"<score-partwise>" + b"<a/>" * 3_000_000
    yield "long name", b"<" + b"a" * 5_000_000 + b">"
    yield "text", b"<score-partwise><part><measure>" + b"1" * 20_000_000
    yield "larger", b" " * (33 << 20)
    yield "many notes", score(tab_note(3, 5, 1) * 21_000).encode()
    yield "zip of zeros", _archive(score__xml=b"\0" * (200 << 20))


def _hostile() -> Iterator[tuple[str, bytes]]:
    """Small files."""
    for n, text in enumerate(_entities()):
        yield f"entity {n}", text.encode()
    yield "deep", (score(tab_note(3, 5)).replace("<part id", "<a>" * 100 + "<part id")).encode()
    yield "utf-7", b'<?xml version="1.0" encoding="UTF-7"?><score-partwise/>'
    yield "lies", '<?xml version="1.0" encoding="UTF-8"?><score-partwise a="\xe9"/>'.encode("latin-1")
    for wrong in ("-1", "1000000000000000", "nan", "1e308", "0x10", "٣"):
        yield f"divisions {wrong}", score(tab_note(3, 5)).replace("<divisions>2", f"<divisions>{wrong}").encode()
        yield f"duration {wrong}", score(tab_note(3, 5)).replace("<duration>8", f"<duration>{wrong}").encode()
    yield "divisions 0", score(tab_note(3, 5)).replace("<divisions>2", "<divisions>0").encode()
    yield "octave", score(note("C4")).replace("<octave>4", "<octave>99999").encode()
    yield "string", score(tab_note(3, 5)).replace("<string>3", "<string>-3").encode()
    yield "no measures", f'{HEAD}<part id="P1"/></score-partwise>'.encode()
    yield "no notes", score("<note><rest/><duration>8</duration></note>").encode()
    yield "not a score", b"<html/>"
    yield "nothing", b""
    yield "zip without a score", _archive(readme__txt=b"x")
    yield "zip of many", _archive(**{f"f{n}": b"" for n in range(200)})
    yield "zip container bomb", _archive(**{"META-INF/container.xml": b"<a>" + b" " * (1 << 20)})
    yield (
        "zip names another",
        _archive(
            **{"META-INF/container.xml": b'<c><rootfiles><rootfile full-path="../../etc/passwd"/></rootfiles></c>'}
        ),
    )
    whole = _archive(score__xml=score(tab_note(3, 5)).encode())
    yield "zip cut", whole[:-30]
    yield "zip encrypted", whole.replace(b"PK\x01\x02\x14\x03\x14\x00\x00", b"PK\x01\x02\x14\x03\x14\x00\x01")
    yield "zip of lzma", whole.replace(b"\x08\x00", b"\x0e\x00")


def test_hostile_files_are_refused() -> None:
    for name, data in _hostile():
        with pytest.raises(Unreadable) as refused:
            read(data)
        message = str(refused.value)
        assert message and "\n" not in message and len(message) < 200, name
        assert refused.value.hint, name


@pytest.mark.slow
def test_hostile_files_take_little_time_and_memory() -> None:
    for name, data in (*_heavy(), *_hostile()):
        started = time.process_time()
        with pytest.raises(Unreadable):
            read(data)
        assert time.process_time() - started < 2, name
        tracemalloc.start()
        with pytest.raises(Unreadable):
            read(data)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert peak < 256 << 20, (name, peak)


def test_a_plain_doctype_is_read() -> None:
    kind = '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">'
    text = text_of(score(tab_note(3, 5)).replace("<score-partwise", f"{kind}<score-partwise", 1))
    assert bars_of(text) == tidied("| G5 ------- ||")


def _damaged(data: bytes, chance: Random) -> bytes:
    """Bytes with some changed, cut out or doubled."""
    for _ in range(chance.randint(1, 4)):
        at, size = chance.randrange(len(data)), chance.randint(1, 200)
        instead = (
            b"",
            data[at : at + size] * 2,
            bytes([chance.randrange(256)]),
            bytes([chance.choice(b"0123456789-")]),
        )
        data = data[:at] + chance.choice(instead) + data[at + chance.choice((1, size)) :]
    return data


def test_no_bytes_make_a_traceback() -> None:
    """Scores with some bytes changed, cut out or doubled: a lick or a clear error."""
    (lick,) = compile_text('lick "Gate"\n|: (grace: G5) h7 A5&D5 3[B8^10 -r p5] (trill: G5h7)--- :|\n').licks
    assert lick.timeline is not None
    data = emit(LoweredLick(lick.timeline), Options()).data
    chance = Random(5)
    for _ in range(150):
        cut = _damaged(data, chance)
        try:
            written = write_licks(read_score(cut, "Gate", ReadOptions()))
        except Unreadable:
            continue
        assert written.text.startswith("lick ")


@pytest.mark.parametrize("number", ["--1", "+-1", "²", "²."], ids=ascii)
def test_numbers_that_are_none_are_passed_over(number: str) -> None:
    direction = f"<direction><direction-type><words>slow</words></direction-type><offset>{number}</offset></direction>"
    altered = note("A4", 8).replace("<octave>", f"<alter>{number}</alter><octave>")
    assert read(score(direction + altered)) == read(score(direction.replace(number, "") + note("A4", 8)))


@pytest.mark.parametrize("number", ["²", "²."], ids=ascii)
def test_durations_that_are_no_numbers_make_no_traceback(number: str) -> None:
    raw = score(note("A4", 8)).replace("<duration>8<", f"<duration>{number}<")
    assert import_source(raw.encode(), "x.musicxml").findings


@pytest.mark.parametrize("measures", [note("A4", 10**11), "|".join([note("A4", 8 * 7000)] * 3)], ids=["one", "three"])
def test_parts_that_hardly_end_are_refused(measures: str) -> None:
    with pytest.raises(Unreadable, match="lasts more than 20,000 whole notes"):
        read(score(measures))


def test_instants_between_steps_are_exact_or_said() -> None:
    odd = score(tab_note(3, 5, 3) + tab_note(3, 7, 5)).replace("<divisions>2", "<divisions>7")
    written = write_licks([read(odd)])
    assert "L804" in [doubt.rule.code for doubt in written.doubts]
    draft = read(
        score(tab_note(3, 5, 333_333_333) + tab_note(3, 7, 666_666_667)).replace("<divisions>2", "<divisions>250000000")
    )
    assert draft.bars[0].groups[1].at == Fraction(333_333_333, 10**9)
    assert [doubt.rule.code for doubt in write_licks([draft]).doubts] == ["L805"]
