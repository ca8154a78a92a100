"""MIDI files, read back by two readers that are not ours and held to the Performance they were written from."""

from __future__ import annotations

import glob
import io
import warnings
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

import mido
import pytest

from lickwright.backends import Emission, Options, Stages, smf
from lickwright.backends.midi import RULES, emit
from lickwright.curves import offsets
from lickwright.notation.techniques import Stroke
from lickwright.performance import Played
from lickwright.pipeline import compile_file, compile_text

SAMPLES = sorted(glob.glob(str(Path(__file__).parent.parent / "samples" / "**" / "*.lick"), recursive=True))
OWN = r"""
tempo 97
feel swing 5:3
pickup 1/8
lick "Every turn ♯"
| (rake: D G B e8^10) |: (trill: G5h7) - (tremolo: B5^7) - (pm: D5) D5, @tempo=60 G<4> Gx |
| G7/9//12 G9\ /G7 A5h7p5 | A5/9/12~ \5 @fermata (grace: A4) h5 - - - |
| (dive: G7 -) (dip: G5) (scoop: G5) 5:4[1/16 G5~ G7 G5 G7 G5] . . |
| (roll: A0=&D2=&G2=&B0=&e0) - B8^^10 -r~ e5&B8^full - 3[1/16 G5 G7 G5] . :| % ||
"""
CHANNELS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13)


def made(music: str, *fields: str, options: Options = Options()) -> tuple[Stages, Emission]:  # noqa: B008 (frozen)
    head = "".join(f"{field}\n" for field in fields)
    if not any(field.startswith("tempo") for field in fields):
        head += "tempo 120\n"
    timeline = compile_text(f'{head}lick "Test"\n{music}\n').licks[0].timeline
    assert timeline is not None
    stages = Stages(timeline)
    return stages, emit(stages, options)


def read(data: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")


def licks() -> list[Stages]:
    compiled = [lick for path in SAMPLES for lick in compile_file(path).licks] + list(compile_text(OWN).licks)
    found = [lick.stages for lick in compiled if lick.stages is not None]
    assert len(found) > 20
    assert found[-1].timeline.title == "Every turn ♯"
    return found


LICKS = licks()


class Reader:
    """Ticks to seconds by a file's own tempo events, as any reader does it."""

    def __init__(self, file: mido.MidiFile) -> None:
        self.steps: list[tuple[int, float, float]] = []  # tick, seconds, seconds a tick
        tick, seconds, pace = 0, 0.0, 0.5 / file.ticks_per_beat
        for message in file.tracks[0]:
            tick, seconds = tick + message.time, seconds + message.time * pace
            if message.type == "set_tempo":
                pace = message.tempo / 1e6 / file.ticks_per_beat
                self.steps.append((tick, seconds, pace))

    def seconds(self, tick: int) -> float:
        at, seconds, pace = next(step for step in reversed(self.steps) if step[0] <= tick)
        return seconds + (tick - at) * pace


def timed(track: mido.MidiTrack) -> Iterator[tuple[int, Any]]:
    tick = 0
    for message in track:
        tick += message.time
        yield tick, message


class Heard(NamedTuple):
    """One note-on with its note-off, in ticks."""

    on: int
    off: int
    number: int
    velocity: int


def heard(track: mido.MidiTrack) -> list[Heard]:
    found: list[Heard] = []
    sounding: dict[int, tuple[int, int]] = {}
    for tick, message in timed(track):
        if message.type == "note_on":
            assert message.note not in sounding
            sounding[message.note] = tick, message.velocity
        elif message.type == "note_off":
            on, velocity = sounding.pop(message.note)
            found.append(Heard(on, tick, message.note, velocity))
    assert not sounding
    return found


def strings(stages: Stages) -> list[list[list[Played]]]:
    """The notes of each string, a stroke together with what it slides on to."""
    performance = stages.performance(Options())
    found: list[list[list[Played]]] = [[] for _ in range(stages.timeline.settings.tuning.strings)]
    for note in performance.notes:
        own = found[note.string - 1]
        if note.stroke is Stroke.NONE and abs(note.pitch - own[-1][0].pitch) <= 12:
            own[-1].append(note)
        elif note.stroke is not Stroke.SCRAPE:
            own.append([note])
    return found


# --- the encoder -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("single", [False, True])
def test_the_bytes_are_those_that_mido_writes(single: bool) -> None:
    for stages in LICKS:
        data = emit(stages, Options(single_channel=single)).data
        again = io.BytesIO()
        read(data).save(file=again)
        assert again.getvalue() == data


def test_numbers_are_those_of_the_standard() -> None:
    table = {0: "00", 0x40: "40", 0x7F: "7f", 0x80: "8100", 0x2000: "c000", 0x3FFF: "ff7f", 0x1FFFFF: "ffff7f",
             0x200000: "81808000", smf.MAX_TICK: "ffffff7f"}  # fmt: skip
    assert {value: smf.number(value).hex() for value in table} == table


def test_text_is_utf_8_without_control_characters() -> None:
    assert smf.text("Blues in F♯\n\x00\x1b[31m“slow”") == "Blues in F♯ [31m“slow”".encode()
    assert len(smf.text("é" * 5000)) == smf.MAX_TEXT
    assert smf.text("é" * 5000).decode("utf-8")


def test_same_lick_same_bytes() -> None:
    for stages in LICKS:
        assert emit(Stages(stages.timeline), Options()).data == emit(stages, Options()).data


# --- read back -------------------------------------------------------------------------------------------------------


def test_every_note_is_within_a_tick_of_the_performance() -> None:
    compared = 0
    for stages in LICKS:
        file = read(emit(stages, Options()).data)
        reader = Reader(file)
        for track, voices in zip(file.tracks[1:], strings(stages), strict=True):
            notes = heard(track)
            assert len(notes) == len(voices)
            for note, voice in zip(notes, voices, strict=True):
                tick = reader.seconds(note.on + 1) - reader.seconds(note.on)
                assert reader.seconds(note.on) == pytest.approx(voice[0].start, abs=tick)
                assert reader.seconds(note.off) == pytest.approx(voice[-1].end, abs=tick)
                assert note.number == round(voice[0].pitch)
                assert note.velocity == max(1, round(voice[0].loudness * 127))
                compared += 1
    assert compared > 500


def test_every_bend_is_within_half_a_cent_of_the_performance() -> None:
    compared = 0
    for stages in LICKS:
        file = read(emit(stages, Options()).data)
        reader = Reader(file)
        for track, voices in zip(file.tracks[1:], strings(stages), strict=True):
            notes = heard(track)
            for tick, message in timed(track):
                if message.type != "pitchwheel":
                    continue
                at = max(i for i, note in enumerate(notes) if note.on <= tick)
                seconds = max(reader.seconds(tick), voices[at][0].start)
                part = [part for part in voices[at] if part.start <= seconds + 1e-9][-1]
                expected = part.pitch + offsets(part.moves, [seconds])[0]
                moving = [m for m in part.moves if m.start <= seconds + 1e-6 and seconds - 0.001 < m.end]
                slack = 0.005 if tick != notes[at].on or not moving else 0.01  # a note-on is rounded to its tick
                assert notes[at].number + message.pitch * 12 / 8192 == pytest.approx(expected, abs=slack)
                compared += 1
    assert compared > 5000


def test_bends_are_dense_and_end_exactly_on_target() -> None:
    _, emission = made("| B8^10 - - - - - - - ||")
    file = read(emission.data)
    reader = Reader(file)
    bends = [(reader.seconds(tick), m.pitch) for tick, m in timed(file.tracks[2]) if m.type == "pitchwheel"]
    assert bends[-1] == (pytest.approx(0.15, abs=0.001), round(2 * 8192 / 12))
    gaps = [b[0] - a[0] for a, b in zip(bends, bends[1:], strict=False)]
    assert max(gaps) <= 0.010
    assert min(gaps[:-1]) >= 0.005
    assert len({pitch for _, pitch in bends}) == len(bends)


def test_pretty_midi_reads_the_same_notes_and_bends() -> None:
    pretty_midi = pytest.importorskip("pretty_midi")
    for stages in LICKS:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            file = pretty_midi.PrettyMIDI(io.BytesIO(emit(stages, Options()).data))
        voices = [string for string in strings(stages) if string]
        instruments = [instrument for instrument in file.instruments if instrument.notes]
        assert len(instruments) == len(voices)
        for instrument, own in zip(instruments, voices, strict=True):
            assert len(instrument.notes) == len(own)
            for note, voice in zip(sorted(instrument.notes, key=lambda n: n.start), own, strict=True):
                tick = 60 / 960 / min(float(t.qpm) for t in stages.performance(Options()).tempos)
                assert note.start == pytest.approx(voice[0].start, abs=tick)
                assert note.end == pytest.approx(voice[-1].end, abs=tick)
                assert note.pitch == round(voice[0].pitch)
    bent = pretty_midi.PrettyMIDI(io.BytesIO(made("| B8^full - - - - - - - ||")[1].data))
    last = bent.instruments[0].pitch_bends[-1].pitch
    assert pretty_midi.utilities.pitch_bend_to_semitones(last, 12) == pytest.approx(2, abs=0.001)


# --- what stands in the file -----------------------------------------------------------------------------------------


def test_the_first_track_has_all_that_is_no_note() -> None:
    stages, emission = made(
        '|: @"let it hang" G5 - - - - - - - :| @tempo=60 G5 - - - - - - - ||',
        "key A dorian", "by Mara Quill", "rights © all rights reserved", "meter 4/4",
    )  # fmt: skip
    file = read(emission.data)
    assert (file.type, file.ticks_per_beat) == (1, 960)
    found = [(tick, m.type, m.dict()) for tick, m in timed(file.tracks[0])]
    says = [(tick, kind, next((d[k] for k in ("text", "name", "tempo", "key", "numerator") if k in d), None))
            for tick, kind, d in found]  # fmt: skip
    assert says == [
        (0, "copyright", "© all rights reserved"),
        (0, "track_name", "Test"),
        (0, "text", "by Mara Quill"),
        (0, "set_tempo", 500000),
        (0, "key_signature", "Em"),  # one sharp, minor third
        (0, "time_signature", 4),
        (0, "marker", "bar 1"),
        (0, "cue_marker", "let it hang"),
        (3840, "marker", "bar 1, time 2"),
        (3840, "cue_marker", "let it hang"),
        (7680, "set_tempo", 1000000),
        (7680, "marker", "bar 2"),
        (7680, "end_of_track", None),
    ]
    for stages in LICKS:
        metas = {m.type for track in read(emit(stages, Options()).data).tracks[1:] for m in track if m.is_meta}
        assert metas <= {"track_name", "lyrics", "end_of_track"}


def test_a_channel_a_string_never_the_drums() -> None:
    file = read(made("| G5 - - - - - - - ||", "sound nylon")[1].data)
    assert [track.name for track in file.tracks[1:]] == [f"string {n} ({name})" for n, name in enumerate("eBGDAE", 1)]
    for index, track in enumerate(file.tracks[1:]):
        assert {m.channel for m in track if not m.is_meta} == {CHANNELS[index]}
        assert [m.program for m in track if m.type == "program_change"] == [24]
        controls = [(m.control, m.value) for tick, m in timed(track) if m.type == "control_change" and tick == 0]
        assert controls == [(101, 0), (100, 0), (6, 12), (38, 0), (101, 127), (100, 127)]
    twelve = made("| 12:0 - - - - - - - ||", "tuning E1 A1 D2 G2 B2 E3 A3 D4 G4 B4 E5 A5")[1].data
    channels = [{m.channel for m in track if not m.is_meta} for track in read(twelve).tracks[1:]]
    assert channels == [{channel} for channel in CHANNELS]
    assert {9} not in channels


def test_a_new_note_is_preceded_by_note_off_and_bend_in_the_same_tick() -> None:
    file = read(made("| B8^10 B5 h8 B5 . . . . ||")[1].data)
    at = [[m.type for tick, m in timed(file.tracks[2]) if tick == when and not m.is_meta] for when in (480, 960, 1440)]
    assert at[0] == ["note_off", "pitchwheel", "note_on"]
    assert at[1] == ["note_off", "control_change", "note_on"]
    assert at[2] == ["note_off", "control_change", "note_on"]
    legato = [(tick, m.value) for tick, m in timed(file.tracks[2]) if m.type == "control_change" and m.control == 68]
    assert legato == [(960, 127), (1440, 0)]


def test_swing_and_tuplets_fall_on_exact_ticks() -> None:
    def ticks(music: str, *fields: str) -> list[int]:
        file = read(made(music, *fields)[1].data)
        return sorted(note.on for track in file.tracks[1:] for note in heard(track))

    assert ticks("| G5 G7 B5 B8 G5 - - G7 ||", "feel shuffle", "tempo 97") == [0, 640, 960, 1600, 1920, 3520]
    assert ticks("| 3[G5 G7 G5] 5:4[1/16 G5 G7 G5 G7 G5] 1/4 G5 - ||", "tempo 131") == [
        0, 320, 640, 960, 1152, 1344, 1536, 1728, 1920,
    ]  # fmt: skip
    assert ticks("| 7:8[1/16 G5 G7 G5 G7 G5 G7 G5] 1/4 G5 - ||", "tempo 97") == [
        round(1920 * i / 7) for i in range(8)
    ]


def test_silence_before_the_first_beat_is_a_short_bar() -> None:
    stages, emission = made("| (rake: D G B e8) - - - G5 - - - | G5 - - - - - - - ||")
    file = read(emission.data)
    meters = [(tick, m.numerator, m.denominator) for tick, m in timed(file.tracks[0]) if m.type == "time_signature"]
    assert meters == [(0, 1, 32), (120, 4, 4)]
    markers = [(tick, m.text) for tick, m in timed(file.tracks[0]) if m.type == "marker"]
    assert markers == [(120, "bar 1"), (3960, "bar 2")]
    assert heard(file.tracks[1])[0].on == 120


def test_a_pick_up_has_a_meter_of_its_own() -> None:
    file = read(made("| G5 G5 G7 | G7 - - - - - - - ||", "pickup 3/8")[1].data)
    meters = [(tick, m.numerator, m.denominator) for tick, m in timed(file.tracks[0]) if m.type == "time_signature"]
    assert meters == [(0, 3, 8), (1440, 4, 4)]
    assert [m.text for m in file.tracks[0] if m.type == "marker"] == ["pick-up", "bar 1"]


def test_a_dotted_beat_clicks_as_such() -> None:
    conductor = read(made("| G5 - - - - - - - - - - - ||", "meter 12/8")[1].data).tracks[0]
    meter = next(m for m in conductor if m.type == "time_signature")
    assert (meter.numerator, meter.denominator, meter.clocks_per_click) == (12, 8, 36)


def test_lyrics_name_what_is_done() -> None:
    track = read(made("| B8^10~ - - - B5h8 /10 - - ||")[1].data).tracks[2]
    assert [(tick, m.text) for tick, m in timed(track) if m.type == "lyrics"] == [
        (0, "bend, vibrato"), (2400, "hammer-on"), (2880, "slide up"),
    ]  # fmt: skip


def test_the_key_is_that_which_sounds() -> None:
    settings = (("key A minor",), ("key A minor", "capo 3"), ("key E minor", "tuning half step down"))
    conductors = [read(made("| G5 - - - - - - - ||", *fields)[1].data).tracks[0] for fields in settings]
    keys = [next(m.key for m in track if m.type == "key_signature") for track in conductors]
    assert keys == ["Am", "Cm", "Ebm"]


def test_a_tempo_asked_for_changes_no_tick() -> None:
    stages, as_written = made("| G5 G7 G5 G7 B5~ - - - ||")
    slow = emit(stages, Options(tempo_percent=Fraction(50)))
    before, after = (read(data) for data in (as_written.data, slow.data))
    assert [heard(t) for t in before.tracks[1:]] == [heard(t) for t in after.tracks[1:]]
    assert [m.tempo for m in after.tracks[0] if m.type == "set_tempo"] == [1000000]


# --- techniques ------------------------------------------------------------------------------------------------------


def test_a_legato_slide_is_one_note() -> None:
    file = read(made("| G5 /7 \\5 - //9 - - - ||")[1].data)
    notes = heard(file.tracks[3])
    assert [(note.on, note.off, note.number) for note in notes] == [(0, 1920, 60), (1920, 3840, 64)]
    bends = [(tick, m.pitch) for tick, m in timed(file.tracks[3]) if m.type == "pitchwheel"]
    assert (480, round(2 * 8192 / 12)) in bends
    assert (960, 0) in bends
    assert bends[-1] == (1920, 0)


def test_a_slide_beyond_the_bend_range_is_struck_again_and_said() -> None:
    _, emission = made("| G2 - /15 - - - - - ||")
    assert [note.number for note in heard(read(emission.data).tracks[3])] == [57, 70]
    assert [(loss.code, loss.bar, loss.beat) for loss in emission.losses] == [("L501", 1, "2")]
    assert "13 semitones" in emission.losses[0].message


def test_a_full_octave_dive_is_kept() -> None:
    _, emission = made("| (dive: G7 - - -) . . . . ||")
    assert emission.losses == ()
    bends = [m.pitch for m in read(emission.data).tracks[3] if m.type == "pitchwheel"]
    assert -8192 <= min(bends) < -8000


def test_a_harmonic_beyond_the_notes_is_moved_and_said() -> None:
    _, emission = made("| 1:36* - - - - - - - ||", "tuning E2 A2 D3 G3 B3 C7", "frets 36")
    assert [loss.code for loss in emission.losses] == ["L502"]
    assert all(0 <= note.number <= 127 for note in heard(read(emission.data).tracks[1]))
    assert not [m for m in read(emission.data).tracks[1] if m.type == "pitchwheel"]


def test_a_swell_is_an_expression_ramp() -> None:
    track = read(made("| (swell: G7) - - - - - - - ||")[1].data).tracks[3]
    values = [m.value for m in track if m.type == "control_change" and m.control == 11]
    assert values[0] == 0
    assert values[-1] == 127
    assert values == sorted(values)


def test_a_scrape_is_left_out_and_said() -> None:
    _, emission = made("| (scrape: A) - - - - - - - ||")
    assert [loss.code for loss in emission.losses] == ["L506"]
    assert heard(read(emission.data).tracks[5]) == []


def test_a_tempo_too_slow_for_the_format_is_said() -> None:
    _, emission = made("| G7 - - - - - - - ||", "tempo 1/16 = 10")
    assert [loss.code for loss in emission.losses] == ["L505"]
    assert next(m.tempo for m in read(emission.data).tracks[0] if m.type == "set_tempo") == 0xFFFFFF


# --- one channel -----------------------------------------------------------------------------------------------------

ONE = Options(single_channel=True)


def test_one_channel_keeps_bends_of_lone_notes_only() -> None:
    _, alone = made("| B8^10 -r e5 - - - - - ||", options=ONE)
    assert alone.losses == ()
    assert len(read(alone.data).tracks) == 2
    _, shared = made("| B8^10&e5 -r G5 /7 - - - - ||", options=ONE)
    assert [(loss.code, loss.beat) for loss in shared.losses] == [("L503", "1")]
    file = read(shared.data)
    assert {m.channel for m in file.tracks[1] if not m.is_meta} == {0}
    bends = [tick for tick, m in timed(file.tracks[1]) if m.type == "pitchwheel"]
    assert min(bends) > 960  # the slide, where nothing else sounds


def test_one_channel_strikes_a_shared_slide_again() -> None:
    _, emission = made("| G5&e5= G/7 - - - - - - ||", options=ONE)
    numbers = [note.number for note in heard(read(emission.data).tracks[1])]
    assert sorted(numbers) == [60, 62, 69]
    assert [loss.code for loss in emission.losses] == ["L503"]


def test_one_channel_has_a_note_once() -> None:
    _, emission = made("| B5&G9 - - - - - - - ||", options=ONE)
    assert [note.number for note in heard(read(emission.data).tracks[1])] == [64]
    assert [loss.code for loss in emission.losses] == ["L504"]


def test_one_channel_starts_every_note_at_its_own_pitch() -> None:
    for stages in LICKS:
        file = read(emit(stages, ONE).data)
        notes = heard(file.tracks[1])
        bend, at = 0, {}
        for tick, message in timed(file.tracks[1]):
            if message.type == "pitchwheel":
                bend = message.pitch
            elif message.type == "note_on":
                at[tick, message.note] = bend
        assert notes
        bent = {round(n.pitch) for n in stages.performance(Options()).notes if n.moves and n.moves[0].end <= n.start}
        assert not [key for key, value in at.items() if key[1] not in bent and abs(value) > 8192 * 0.15 / 12]


def test_losses_are_of_this_back_end() -> None:
    codes = {rule.code for rule in RULES}
    assert len(codes) == len(RULES) == 6
    for stages in LICKS:
        assert {loss.code for loss in (*emit(stages, Options()).losses, *emit(stages, ONE).losses)} <= codes


