"""MusicXML, read back by a reader that shares no code with what wrote it, and held to the standard's own schema."""

from __future__ import annotations

import importlib.util
import io
import zipfile
from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

import mido
import pytest

from good_licks import good_file
from lickwright.cli import main
from lickwright.compiler import compile_file, compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.export import Export, LoweredLick, Options, find_format, midi
from lickwright.export.musicxml import emit
from lickwright.notation.techniques import HEADS, TECHNIQUES
from lickwright.timeline.model import SoundingNote, Timeline
from made_licks import made_lick
from read_musicxml import Heard, Score

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("**/*.lick"))
MADE = 30


def lick(music: str, *fields: str) -> CompiledLick:
    head = "".join(f"{field}\n" for field in fields)
    one = compile_text(f'{head}lick "Test"\n{music}\n').licks[0]
    assert one.ok, music
    return one


def score(music: str, *fields: str) -> Score:
    return Score(lick(music, *fields).emit("musicxml").data)


class Exported(NamedTuple):
    """A lick as counted, and its score."""

    lowered: LoweredLick
    export: Export
    score: Score

    @property
    def timeline(self) -> Timeline:
        return self.lowered.timeline

    @property
    def differs(self) -> bool:
        """Whether the score says that a repeat is played otherwise than it is written."""
        return any(loss.code == "L517" for loss in self.export.losses)


def exported(one: CompiledLick) -> Exported:
    """The score of a lick, whether or not a hand can play it."""
    assert one.timeline is not None
    assert not one.timeline.unknown
    lowered = LoweredLick(one.timeline)
    export = emit(lowered, Options())
    return Exported(lowered, export, Score(export.data))


@cache
def samples() -> list[Exported]:
    found = [exported(one) for path in SAMPLES for one in compile_file(path).licks]
    assert len(found) > 40
    return found


@cache
def made(first: int = 0, count: int = MADE) -> list[Exported]:
    """Licks made up by chance, most of them with every way that a note can last."""
    return [exported(compile_text(_made_text(seed)).licks[0]) for seed in range(first, first + count)]


def _made_text(seed: int) -> str:
    chance = Random(seed)
    if seed % 5 == 0:
        return "\nlick ".join(good_file(chance).split("\nlick ")[:2])
    music, fields = made_lick(chance)
    return "".join(f"{one}\n" for one in fields) + f'lick "Made {seed}"\n{music}\n'


def written_fret(sound: SoundingNote) -> int | None:
    return round(sound.touch) if sound.fret is None and sound.touch is not None else sound.fret


def expected(timeline: Timeline) -> Iterator[tuple[Fraction, int, int | None, Fraction]]:
    """Onset in quarters, string, fret and length of each note as played; 0 for grace notes and rake strokes."""
    for sound in timeline.sounds:
        start = 4 * timeline.fraction(sound.start)
        yield start, sound.string, written_fret(sound), 4 * timeline.fraction(sound.end - sound.start)


def as_read(notes: list[Heard]) -> list[tuple[Fraction, int, int | None, Fraction]]:
    return sorted(((one.at, one.string or 0, one.fret, one.length) for one in notes), key=repr)


# --- what a reader gets ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("source", ["samples", "made", pytest.param("many", marks=pytest.mark.slow)])
def test_a_reader_gets_every_note_with_its_place_and_length(source: str) -> None:
    licks = samples() if source == "samples" else made() if source == "made" else made(MADE, 1000)
    same = [one for one in licks if not one.differs]
    assert len(same) > 0.9 * len(licks)
    for one in same:
        notes, graces = one.score.heard(2)
        assert as_read([*notes, *graces]) == sorted(expected(one.timeline), key=repr), one.timeline.title


@pytest.mark.parametrize("source", ["samples", "made"])
def test_what_differs_from_time_to_time_is_right_the_first_time(source: str) -> None:
    for one in samples() if source == "samples" else made():
        if not one.differs:
            continue
        timeline = one.timeline
        notes, _ = one.score.heard(2)
        wanted = {note[:3] for note in expected(timeline)}
        played = [turn.start for turn in timeline.passes if turn.number]
        until = 4 * timeline.fraction(min(played))
        assert {n[:3] for n in as_read(notes) if n[0] < until and n[3]} == {n for n in wanted if n[0] < until}, (
            one.timeline.title
        )


def test_both_staves_sound_the_same() -> None:
    for one in [*samples(), *made()]:
        for measure in one.score.measures:
            first, second = (
                [(n.at, n.length, n.pitch, n.tie_start, n.tie_stop) for n in measure.notes if n.staff == staff]
                for staff in (1, 2)
            )
            assert first == second


def test_every_measure_is_full() -> None:
    for one in [*samples(), *made()]:
        timeline, read = one.timeline, one.score
        assert [m.length for m in read.measures] == [4 * timeline.fraction(bar.length) for bar in timeline.bars]
        assert read.order() == [turn.bar for turn in timeline.passes], one.timeline.title


def test_pitches_are_those_of_the_midi_file() -> None:
    """String by string, what is struck: a MIDI file plays a slide as a bend of one note, and a trill as many."""
    compared = 0
    for one in [*samples(), *made()]:
        timeline = one.timeline
        if any(s.trill or s.dead or s.harmonic or "tremolo" in {m.sign for m in s.marks} for s in timeline.sounds):
            continue
        notes, graces = one.score.heard(2)
        if one.differs or graces:
            continue
        read: defaultdict[int, list[int]] = defaultdict(list)
        for note in sorted(notes, key=lambda n: n.at):
            slid = {s.get("type") for e in note.elements for s in e.iterfind("notations/slide")} >= {"stop"}
            tied = {s.get("type") for e in note.elements[:1] for s in e.iterfind("notations/slur")} >= {"stop"}
            if not (slid and tied):
                read[note.string or 0].append(note.pitch)
        file = mido.MidiFile(file=io.BytesIO(midi.emit(one.lowered, Options()).data), charset="utf-8")
        tracks = [[m.note for m in track if m.type == "note_on" and m.velocity] for track in file.tracks[1:]]
        assert {n: row for n, row in enumerate(tracks, 1) if row} == dict(read), one.timeline.title
        compared += 1
    assert compared > 30


def test_harmonics_are_written_where_they_sound() -> None:
    one = lick("| G<12> G<7> G<5> G5<17> G7* D<12> - - ||", "capo 2", "tuning half step down")
    notes, _ = Score(one.emit("musicxml").data).heard(2)
    file = mido.MidiFile(file=io.BytesIO(one.emit("midi").data), charset="utf-8")
    third = [m.note for m in file.tracks[3] if m.type == "note_on" and m.velocity]
    assert [note.pitch for note in notes if note.string == 3] == third
    assert [note.fret for note in notes] == [12, 7, 5, 5, 7, 12]


# --- the schema ------------------------------------------------------------------------------------------------------

_XML = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
<xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:NCName"/></xs:schema>"""
_XLINK = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">' + "".join(
    f'<xs:attribute name="{name}" type="xs:string"/>' for name in ("href", "type", "role", "title", "show", "actuate")
) + "</xs:schema>"  # fmt: skip


@pytest.fixture(scope="module")
def schema() -> Any:
    """The schema of MusicXML 4.0, which the package `musicxml` carries; its two imports are stubs."""
    etree = pytest.importorskip("lxml.etree", reason="lxml is missing: pip install -e '.[dev]'")
    package = importlib.util.find_spec("musicxml")
    if package is None or package.origin is None:
        pytest.skip("the schema is missing: pip install -e '.[dev]'")
    path = Path(package.origin).parent / "generate_classes" / "musicxml_4_0.xsd"

    class Stubs(etree.Resolver):  # type: ignore[misc, name-defined]
        def resolve(self, url: str, _id: str, context: Any) -> Any:
            stub = {"xml.xsd": _XML, "xlink.xsd": _XLINK}.get(url.rpartition("/")[2])
            return self.resolve_string(stub, context) if stub else None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Stubs())
    return etree.XMLSchema(etree.fromstring(path.read_bytes(), parser))


def test_every_score_is_valid(schema: Any) -> None:
    from lxml import etree

    for one in [*samples(), *made(), exported(lick(EVERYTHING))]:
        document = etree.fromstring(one.export.data)
        assert schema.validate(document), (one.timeline.title, str(schema.error_log)[:500])


def test_the_schema_refuses_what_is_wrong(schema: Any) -> None:
    from lxml import etree

    document = etree.fromstring(lick(EVERYTHING).emit("musicxml").data)
    note = document.find("part/measure/note")
    note.insert(0, note.find("duration"))
    assert not schema.validate(document)


# --- each element ----------------------------------------------------------------------------------------------------

EVERYTHING = r"""
| A5h7p5 D5/7 \5 D7 //9 | \\7 t12 /G7 \G7 hG5 tG12 Gx G<12> | G5<17> G7* B8^10 -r B8^ B8^^10 - -r |
| G7~ G7~~ G9/ G9\ G7! G7? G7, G7= | (pm: E0 E0) (ring: A0 D2) (up: G7) (down: G7) (snap: E0) (slap: E0) |
| (pop: G7) (tremolo: G7) (dive: G7) (dip: G7) (scoop: G7) (swell: G7) B5'1'm B8 | (grace: G5) G7 (rake: D G B e8) (trill: G5h7) - (roll: A0&D2&G2) - - . |
| B8^10 t13 G<2.7> - (scrape: E) - (trill: G5h9) - | 3[G5 G7 B5] 5:4[1/16 G5 G7 B5 G7 G5 G7 B5 G7 G5 G7] 1/32 G5 G7 B5 G7 1/8 D5 | % ||
"""


@pytest.mark.parametrize(
    ("music", "found"),
    [
        ("A5h7", ["slur[@type='start']", "technical/hammer-on[@type='start']", "slur[@type='stop']", "technical/hammer-on[@type='stop']"]),
        ("A7p5", ["technical/pull-off[@type='start']", "technical/pull-off[@type='stop']"]),
        ("A5/7", ["slide[@type='start']", "slide[@type='stop']", "slur[@type='stop']"]),
        ("A5//7", ["slide[@type='start']", "slide[@type='stop']"]),
        ("A5t12", ["technical/tap[@hand='right']"]),
        ("/A5 -", ["articulations/scoop"]),
        (r"\A5 -", ["articulations/plop"]),
        ("A5/ -", ["articulations/doit"]),
        ("A5\\ -", ["articulations/falloff"]),
        ("A5! -", ["articulations/accent"]),
        ("A5, -", ["articulations/staccato"]),
        ("A5= -", ["tied[@type='let-ring']"]),
        ("A5~ -", ["ornaments/wavy-line[@smufl='guitarVibratoStroke'][@type='start']", "ornaments/wavy-line[@type='stop']"]),
        ("A5~~ -", ["ornaments/wavy-line[@smufl='guitarWideVibratoStroke']"]),
        ("A<12> -", ["technical/harmonic/natural", "technical/harmonic/sounding-pitch"]),
        ("A5* -", ["technical/harmonic/artificial"]),
        ("(up: A5) -", ["technical/up-bow"]),
        ("(down: A5) -", ["technical/down-bow"]),
        ("(snap: A5) -", ["technical/snap-pizzicato"]),
        ("(tremolo: A5) -", ["ornaments/tremolo[@type='single']"]),
        ("(trill: A5h7) -", ["ornaments/trill-mark[@trill-step='whole']"]),
        ("(roll: A0&D2) -", ["arpeggiate[@direction='up']"]),
        ("A5'2 -", ["technical/fingering"]),
        ("A5'm -", ["technical/pluck"]),
        ("(dip: A5) -", ["technical/bend/with-bar"]),
        ("@fermata A5 -", ["fermata"]),
    ],
)  # fmt: skip
def test_a_technique_has_its_element(music: str, found: list[str]) -> None:
    plain, read = (score(f"| {one} D5 D5 D5 D5 D5 D5 ||").root for one in ("A5 -", music))
    for path in found:
        assert read.findall(f".//note/notations/{path}"), path
        assert not plain.findall(f".//note/notations/{path}"), path


def test_a_technique_without_an_element_is_said_in_words_and_reported() -> None:
    one = lick("| (slap: E0) (pop: G7) (swell: G7) (scrape: E) hG5 G<2.7> (trill: G5h9) - ||")
    export = one.emit("musicxml")
    words = {element.text for element in Score(export.data).root.iter("other-technical")}
    assert words == {
        "slap",
        "pop",
        "swell",
        "pick scrape",
        "hammer-on from nowhere",
        "touch over 2.7",
        "trill with fret 9",
    }
    assert [loss.code for loss in export.losses] == ["L516"] * 7


def test_no_technique_is_left_out() -> None:
    """Each row of the table changes the score against the same note played plainly."""
    samples = {
        "picked": "", "hammer-on": "G5h7", "pull-off": "G7p5", "slide up": "G5/7", "slide down": "G7\\5", "slide up and pick": "G5//7",
        "slide down and pick": "G7\\\\5", "tapped": "tG5 -", "slide in from below": "/G5 -", "slide in from above": "\\G5 -",
        "hammered from nowhere": "hG5 -", "dead note": "Gx -", "natural harmonic": "G<12> -", "artificial harmonic": "G5<17> -",
        "pinch harmonic": "G5* -", "bend": "G5^7 -", "quarter-step bend": "G5^ -", "pre-bend": "G5^^7 -", "release": "G5^7 -r", "vibrato": "G5~ -",
        "wide vibrato": "G5~~ -", "slide off upwards": "G5/ -", "slide off downwards": "G5\\ -", "accent": "G5! -", "ghost note": "G5? -",
        "short": "G5, -", "let ring": "G5= -", "palm mute": "(pm: G5) -", "up-stroke": "(up: G5) -", "down-stroke": "(down: G5) -",
        "snapped": "(snap: G5) -", "slap": "(slap: G5) -", "pop": "(pop: G5) -", "tremolo picking": "(tremolo: G5) -", "dive": "(dive: G5) -",
        "dip": "(dip: G5) -", "scoop": "(scoop: G5) -", "swell": "(swell: G5) -", "held bend": "G5^7 t9",
    }  # fmt: skip
    assert set(samples) == {row.name for row in TECHNIQUES}
    made = [lick(f"| {music or 'G5 -'} D5 D5 D5 D5 D5 D5 ||").emit("musicxml").data for music in samples.values()]
    assert len(set(made)) == len(samples)


def test_bends_say_how_far_and_when() -> None:
    read = score("| B8^10 - -r9 -r8 B8^^10 - -r - ||")
    notes, _ = read.heard(2)
    bends = [
        (b.findtext("bend-alter"), b.find("pre-bend") is not None, b.find("release"))
        for n in notes
        for b in n.elements[0].iter("bend")
    ]
    assert [(alter, pre) for alter, pre, _ in bends] == [
        ("2", False),
        ("-1", False),
        ("-1", False),
        ("-2", True),
        ("-2", False),
    ]
    offsets = [Fraction(release.get("offset", "")) / read.divisions for _, _, release in bends if release is not None]
    assert offsets == [1, Fraction(3, 2), 1]


def test_a_bend_over_a_bar_line_stands_where_it_begins() -> None:
    notes, _ = score("| D5 D5 D5 D5 D5 D5 B8 - | -^10 - -r - D5 D5 D5 D5 ||").heard(2)
    (held,) = [note for note in notes if note.string == 2]
    first, second = held.elements
    assert not list(first.iter("bend"))
    assert [b.get("first-beat") for b in second.iter("bend")] == ["0", "50"]


def test_capo_and_tuning() -> None:
    read = score("| 6:0 A0 D0 G0 B0 e0 e3 - ||", "tuning drop D", "capo 3", "key D minor", "chords Dm")
    details = read.root.find("part/measure/attributes/staff-details")
    assert details is not None
    assert (details.findtext("staff-type"), details.findtext("staff-lines"), details.findtext("capo")) == (
        "alternate",
        "6",
        "3",
    )
    tuned = [f"{t.findtext('tuning-step')}{t.findtext('tuning-octave')}" for t in details.iterfind("staff-tuning")]
    assert tuned == ["D2", "A2", "D3", "G3", "B3", "E4"]
    assert [note.pitch for note in read.heard(2)[0]] == [41, 48, 53, 58, 62, 67, 70]
    assert [note.fret for note in read.heard(2)[0]] == [0, 0, 0, 0, 0, 0, 3]
    assert read.root.findtext("part/measure/attributes/key/fifths") == "-4"  # F minor is heard
    assert read.root.findtext("part/measure/harmony/root/root-step") == "F"


@pytest.mark.parametrize(
    ("symbol", "kind", "degrees"),
    [
        ("C", "major", []), ("Am7", "minor-seventh", []), ("F#m7b5", "half-diminished", []), ("Bbmaj9", "major-ninth", []), ("G5", "power", []),
        ("E7#9", "dominant", [("9", "1", "add")]), ("Cadd9", "major", [("9", "0", "add")]),
        ("D7b5", "dominant", [("5", "0", "subtract"), ("5", "-1", "add")]), ("A7sus4", "suspended-fourth", [("7", "-1", "add")]),
    ],
)  # fmt: skip
def test_chord_symbols(symbol: str, kind: str, degrees: list[tuple[str, str, str]]) -> None:
    (harmony,) = score("| D5 D5 D5 D5 D5 D5 D5 D5 ||", f"chords {symbol}").root.iter("harmony")
    assert harmony.findtext("kind") == kind
    found = [tuple(d.findtext(f"degree-{part}") for part in ("value", "alter", "type")) for d in harmony.iter("degree")]
    assert found == degrees
    root = (
        f"{harmony.findtext('root/root-step')}{ {None: '', '1': '#', '-1': 'b'}[harmony.findtext('root/root-alter')] }"
    )
    kind_element = harmony.find("kind")
    assert kind_element is not None
    assert root + kind_element.get("text", "") == symbol


def test_chords_stand_where_they_begin() -> None:
    read = score("| D5 D5 D5 D5 D5 D5 | D5 - - - - - ||", "meter 3/4", "chords Am D7 E7 | C/G / N.C.")
    assert [h.findtext("kind") for h in read.root.iter("harmony")] == ["minor", "dominant", "dominant", "major", "none"]
    assert read.root.findtext(".//harmony/bass/bass-step") == "G"
    steps = [child.findtext("duration") for child in read.root.findall("part/measure[1]/forward")]
    assert [Fraction(int(step or 0), read.divisions) for step in steps] == [1, 1]


def test_tempo_swing_and_words() -> None:
    read = score('| @p A5 D5 @"let go" D5 D5 @tempo=60 D5 D5 D5 D5 ||', "tempo 1/4. = 66", "feel swing 5:3")
    assert [s.get("tempo") for s in read.root.iter("sound") if s.get("tempo")] == ["99", "60"]
    assert [m.find("beat-unit-dot") is not None for m in read.root.iter("metronome")] == [True, False]
    assert [[child.text for child in swing] for swing in read.root.iter("swing")] == [["5", "3", "eighth"]]
    assert [words.text for words in read.root.iter("words")] == ["swing 5:3", "let go"]
    assert read.root.find(".//dynamics/p") is not None
    one = lick("| A5 D5 D5 D5 D5 D5 D5 D5 ||", "feel swing 1/4")
    assert [loss.code for loss in one.emit("musicxml").losses] == ["L518"]


def test_the_tempo_asked_for() -> None:
    data = lick("| A5 D5 D5 D5 @tempo=60 D5 D5 D5 D5 ||").emit("musicxml", Options(tempo_percent=Fraction(50))).data
    assert [s.get("tempo") for s in Score(data).root.iter("sound") if s.get("tempo")] == ["50", "30"]


def test_repeats_endings_and_jumps() -> None:
    read = score("|: D5------- |1st D7------- :|x3 2nd G5------- | % ||")
    lines = [(e.get("number"), e.get("type")) for e in read.root.iter("ending")]
    assert lines == [("1, 2", "start"), ("1, 2", "stop"), ("3", "start"), ("3", "discontinue")]
    assert read.order() == [0, 1, 0, 1, 0, 2, 3]
    assert [r.get("type") for r in read.root.iter("measure-repeat")] == ["start"]
    jump = score("| D5------- @to-coda | D7------- @dc-al-coda | @coda G5------- ||")
    assert jump.order() == [0, 1, 0, 2]
    assert [w.text for w in jump.root.iter("words")] == ["To Coda", "D.C. al Coda"]


@pytest.mark.parametrize(
    ("music", "meter", "beams"),
    [
        ("D5 D5 D5 D5 D5- D5 D5", "4/4", "begin end / begin end / - / begin end"),
        ("D5 D5 D5 D5 D5 D5", "6/8", "begin continue end / begin continue end"),
        (
            "1/8 D5 1/16 D5 D5 1/8. D5 1/16 D5 1/2 D5",
            "4/4",
            "begin continue+begin end+end / begin end+backward hook / -",
        ),
        ("3[D5 D5 D5] 3[D5 D5 D5] D5 . D5-", "4/4", "begin continue end / begin continue end / - / -"),
    ],
)
def test_beams_join_what_belongs_to_a_beat(music: str, meter: str, beams: str) -> None:
    notes = [note for note in score(f"| {music} ||", f"meter {meter}").root.iter("note") if note.find("rest") is None]
    found = [
        "+".join(beam.text or "" for beam in note.iter("beam")) or "-"
        for note in notes
        if note.findtext("staff") == "1"
    ]
    assert found == beams.replace(" / ", ",").replace("backward hook", "backward_hook").replace(" ", ",").replace(
        "_", " "
    ).split(",")
    assert not any(note.find("beam") is not None for note in notes if note.findtext("staff") == "2")


def test_what_a_repeat_plays_otherwise_is_reported() -> None:
    one = lick("| D5------- |: -- D7 D5 G5--- :| A5------- ||")
    export = one.emit("musicxml")
    assert [loss.code for loss in export.losses] == ["L517"]
    same = lick("| D5------- |: D7 D5 G5----- :| A5------- ||")
    assert not same.emit("musicxml").losses


def test_a_compressed_score_holds_the_same() -> None:
    one = lick("| A5 D5 D5 D5 D5 D5 D5 D5 ||")
    options = Options(compressed=True)
    data = one.emit("musicxml", options).data
    assert data == one.emit("musicxml", options).data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        first, *_ = archive.infolist()
        assert (first.filename, first.compress_type) == ("mimetype", zipfile.ZIP_STORED)
        assert data[38:].startswith(b"application/vnd.recordare.musicxml")
        assert archive.read("score.musicxml") == one.emit("musicxml").data
        assert b'full-path="score.musicxml"' in archive.read("META-INF/container.xml")
    ((suffix, _),) = find_format("musicxml").files(options)
    assert suffix == ".mxl"


def test_compressed_scores_from_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("porch.lick").write_text('lick "Porch"\n| A5 D5 D5 D5 D5 D5 D5 D5 ||\n')
    assert main(["make", "porch.lick", "--to", "musicxml"]) == 0
    assert main(["make", "porch.lick", "--to", "tab", "--compressed", "--out", "packed"]) == 0
    assert sorted(path.suffix for path in Path("packed").rglob("porch.*")) == [".mxl", ".txt"]
    (plain,) = Path("out").rglob("*.musicxml")
    (packed,) = Path("packed").rglob("*.mxl")
    with zipfile.ZipFile(packed) as archive:
        assert archive.read("score.musicxml") == plain.read_bytes()


def test_hostile_words_stay_words() -> None:
    title = "<!DOCTYPE x [<!ENTITY a 'b'>]> & ]]>"
    one = compile_text(f'by <script>\nlick "{title}"\n| A5 @"a<b>&amp;" D5 D5 D5 D5 D5 D5 D5 ||\n').licks[0]
    root = Score(one.emit("musicxml").data).root
    assert root.findtext("work/work-title") == one.title
    assert root.findtext("identification/creator") == "<script>"
    assert [words.text for words in root.iter("words")] == ["a<b>&amp;"]


def test_every_head_has_its_sign() -> None:
    heads = {
        "x": ("Gx", "x"),
        "<>": ("G<12>", "diamond"),
        "n<>": ("G5<17>", "diamond"),
        "*": ("G5*", "diamond"),
        "": ("G5", None),
    }
    assert set(heads) == set(HEADS)
    for music, head in heads.values():
        assert score(f"| {music} D5 D5 D5 D5 D5 D5 D5 ||").root.findtext(".//note/notehead") == head
