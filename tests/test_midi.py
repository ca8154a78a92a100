"""MIDI files, read back by two readers that are not ours and held to the Performance they were written from."""

from __future__ import annotations

import io
import time
import warnings
from fractions import Fraction
from random import Random

import mido
import pytest

from lickwright.export import LoweredLick, Options
from lickwright.export.midi import emit, smf
from lickwright.export.midi.bend_shapes import shared_bend_shape
from lickwright.export.midi.channel_voices import OVERLAP
from lickwright.performance.pitch_curves import pitch_offsets
from midi_reader import CHANNELS, Reader, heard, licks, made, read, sounds_until, strings, timed

# --- the encoder -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("single", [False, True])
def test_the_bytes_are_those_that_mido_writes(single: bool) -> None:
    for stages in licks():
        data = emit(stages, Options(single_channel=single)).data
        again = io.BytesIO()
        read(data).save(file=again)
        assert again.getvalue() == data


def test_numbers_are_those_of_the_standard() -> None:
    table = {0: "00", 0x40: "40", 0x7F: "7f", 0x80: "8100", 0x2000: "c000", 0x3FFF: "ff7f", 0x1FFFFF: "ffff7f",
             0x200000: "81808000", (1 << 28) - 1: "ffffff7f"}  # fmt: skip
    assert {value: smf.variable_length(value).hex() for value in table} == table
    with pytest.raises(ValueError, match="-1"):  # its groups would never end
        smf.variable_length(-1)


def test_a_run_has_the_bytes_of_its_messages_one_by_one() -> None:
    """Whatever stands before it, however far apart its messages are, and wherever a meta event falls."""
    chance = Random(3)
    for _ in range(200):
        blocks: list[list[smf.Event] | smf.Run] = []
        singly: list[smf.Event] = []
        tick, widest = 0, chance.choice([3, 127, 128, 300])
        for _ in range(chance.randint(1, 4)):
            at = [tick := tick + chance.randint(0, widest) for _ in range(chance.randint(1, 20))]
            values = [chance.choice([5, chance.randrange(1 << 14)]) for _ in at]
            status = chance.choice([smf.BEND, smf.BEND | 1])
            changes = [n for n in range(1, len(at)) if values[n] != values[n - 1]]
            singly += [(at[n], status, values[n] & 127, values[n] >> 7) for n in changes]
            singly.append((tick, smf.NOTE_OFF, 60, 64))
            blocks += [*((status, *rest) for _, *rest in smf.pack_runs(at, values)), [singly[-1]]]
        lyric = smf.meta_bytes(smf.LYRIC, b"x")
        metas = [(at, lyric) for at in sorted(chance.choices(range(tick + 5), k=chance.randint(0, 3)))]
        running = chance.choice([0, smf.BEND])
        assert smf.block_events(blocks) == singly
        assert smf.encode_track(blocks, metas, b"", running) == smf.encode_track([singly], metas, b"", running)


def test_text_is_utf_8_without_control_characters() -> None:
    assert smf.text_payload("Blues in F♯\n\x00\x1b[31m“slow”") == "Blues in F♯ [31m“slow”".encode()
    assert len(smf.text_payload("é" * 5000)) == smf.MAX_TEXT
    assert smf.text_payload("é" * 5000).decode("utf-8")


def test_same_lick_same_bytes() -> None:
    for stages in licks():
        assert emit(LoweredLick(stages.timeline), Options()).data == emit(stages, Options()).data


# --- read back -------------------------------------------------------------------------------------------------------


def test_every_note_is_within_a_tick_of_the_performance() -> None:
    compared = 0
    for stages in licks():
        file = read(emit(stages, Options()).data)
        reader = Reader(file)
        for track, voices in zip(file.tracks[1:], strings(stages), strict=True):
            notes = heard(track)
            assert len(notes) == len(voices)
            for at, (note, voice) in enumerate(zip(notes, voices, strict=True)):
                tick = reader.seconds(note.on + 1) - reader.seconds(note.on)
                assert reader.seconds(note.on) == pytest.approx(voice[0].start, abs=tick)
                late = reader.seconds(note.off) - voice[-1].end
                assert -tick <= late <= (1 + sounds_until(voices, at)) * tick
                assert note.number == round(voice[0].pitch)
                assert note.velocity == max(1, round(voice[0].loudness * 127))
                compared += 1
    assert compared > 500


def test_every_bend_is_within_half_a_cent_of_the_performance() -> None:
    compared = 0
    for stages in licks():
        file = read(emit(stages, Options()).data)
        reader = Reader(file)
        for track, voices in zip(file.tracks[1:], strings(stages), strict=True):
            notes = heard(track)
            wheel = [(tick, m) for tick, m in timed(track) if m.type == "pitchwheel"]
            assert (wheel[0][0], wheel[0][1].pitch) == (0, 0)  # however the file ended that was played before
            for tick, message in wheel[1:]:
                if tick >= notes[-1].off:
                    assert message.pitch == 0  # nothing is left bent at the end
                    continue
                at = max(i for i, note in enumerate(notes) if note.on <= tick)
                seconds = max(reader.seconds(tick), voices[at][0].start)
                part = [part for part in voices[at] if part.start <= seconds + 1e-9][-1]
                expected = part.pitch + pitch_offsets(part.moves, [seconds])[0]
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
    assert bends.pop() == (pytest.approx(2.0, abs=0.001), 0)  # centred at the end
    assert bends[-1] == (pytest.approx(0.15, abs=0.001), round(2 * 8192 / 12))
    gaps = [b[0] - a[0] for a, b in zip(bends, bends[1:], strict=False)]
    assert max(gaps) <= 0.010
    assert min(gaps[:-1]) >= 0.005
    assert len({pitch for _, pitch in bends}) == len(bends)


def test_notes_that_bend_alike_share_their_bends() -> None:
    """Wherever in the lick they are, and at a tempo whose seconds are no round numbers."""
    shared_bend_shape.cache_clear()
    track = read(made("| B8^10 - - - B8^10 - - - | B8^10 - - - B8^10 - - - ||", "tempo 97")[1].data).tracks[2]
    bends = [(tick % 1920, m.pitch) for tick, m in timed(track) if m.type == "pitchwheel" and m.pitch]
    assert len(bends) > 80
    assert len(bends) == 4 * len(set(bends))
    assert shared_bend_shape.cache_info().misses == 1


def test_only_small_bends_are_kept_for_other_notes() -> None:
    """Else licks of hours, or of thousands of moves on one note, would fill the memory of a program that goes on."""
    shared_bend_shape.cache_clear()
    made("| G5~ - - - - - - - | - - - - - - - - ||", "tempo 10")
    made("| G7^full " + "-r -^full " * 7 + "- ||", "meter 16/8")
    made("| G5~ - - - - - - - | - - - - - - - - | - - - - - - - - ||", "tempo 400")
    assert shared_bend_shape.cache_info().currsize == 0
    made("| G5~ - - - - - - - ||", "tempo 60")
    assert shared_bend_shape.cache_info().currsize == 1


def test_bends_do_not_depend_on_what_was_made_before() -> None:
    for stages in licks():
        before = emit(stages, Options()).data
        shared_bend_shape.cache_clear()
        assert emit(stages, Options()).data == before


def test_pretty_midi_reads_the_same_notes_and_bends() -> None:
    pretty_midi = pytest.importorskip("pretty_midi")
    for stages in licks():
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            file = pretty_midi.PrettyMIDI(io.BytesIO(emit(stages, Options()).data))
        voices = [string for string in strings(stages) if string]
        instruments = [instrument for instrument in file.instruments if instrument.notes]
        assert len(instruments) == len(voices)
        for instrument, own in zip(instruments, voices, strict=True):
            assert len(instrument.notes) == len(own)
            ordered = sorted(instrument.notes, key=lambda n: n.start)
            for at, (note, voice) in enumerate(zip(ordered, own, strict=True)):
                tick = 60 / 960 / min(float(t.qpm) for t in stages.performance(Options()).tempos)
                assert note.start == pytest.approx(voice[0].start, abs=tick)
                assert -tick <= note.end - voice[-1].end <= (1 + sounds_until(own, at)) * tick
                assert note.pitch == round(voice[0].pitch)
    bent = pretty_midi.PrettyMIDI(io.BytesIO(made("| B8^full - - - - - - - ||")[1].data))
    last = bent.instruments[0].pitch_bends[-2].pitch  # after it the wheel is centred
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
    for stages in licks():
        metas = {m.type for track in read(emit(stages, Options()).data).tracks[1:] for m in track if m.is_meta}
        assert metas <= {"track_name", "lyrics", "end_of_track"}


def test_a_channel_a_string_never_the_drums() -> None:
    file = read(made("| G5 - - - - - - - ||", "sound nylon")[1].data)
    assert [track.name for track in file.tracks[1:]] == [f"string {n} ({name})" for n, name in enumerate("eBGDAE", 1)]
    for index, track in enumerate(file.tracks[1:]):
        assert {m.channel for m in track if not m.is_meta} == {CHANNELS[index]}
        assert [m.program for m in track if m.type == "program_change"] == [24]
        controls = [(m.control, m.value) for tick, m in timed(track) if m.type == "control_change" and tick == 0]
        assert controls == [(101, 0), (100, 0), (6, 12), (38, 0), (101, 127), (100, 127), (68, 0)]
    twelve = made("| 12:0 - - - - - - - ||", "tuning E1 A1 D2 G2 B2 E3 A3 D4 G4 B4 E5 A5")[1].data
    channels = [{m.channel for m in track if not m.is_meta} for track in read(twelve).tracks[1:]]
    assert channels == [{channel} for channel in CHANNELS]
    assert {9} not in channels


def test_a_new_note_is_preceded_by_note_off_and_bend_in_the_same_tick() -> None:
    file = read(made("| B8^10 B5 h8 B5 . . . . ||")[1].data)
    at = [[m.type for tick, m in timed(file.tracks[2]) if tick == when and not m.is_meta] for when in (480, 960, 1440)]
    assert at[0] == ["note_off", "pitchwheel", "note_on"]
    assert at[1] == ["control_change", "note_on"]
    assert [tick for tick, m in timed(file.tracks[2]) if m.type == "note_off"][1] == 960 + OVERLAP  # slurred
    assert at[2] == ["note_off", "control_change", "note_on"]
    legato = [(tick, m.value) for tick, m in timed(file.tracks[2]) if m.type == "control_change" and m.control == 68]
    assert legato == [(0, 0), (960, 127), (1440, 0)]


def test_a_file_leaves_nothing_bent_and_no_legato_behind() -> None:
    for single in (False, True):
        data = made("| B5 h8 . . . . B8^10 . | B5 h8 - - - - - - ||", options=Options(single_channel=single))[1].data
        for track in read(data).tracks[1:]:
            state = {"bend": 0, "legato": 0}
            for message in track:
                if message.type == "pitchwheel":
                    state["bend"] = message.pitch
                elif message.type == "control_change" and message.control == 68:
                    state["legato"] = message.value
            assert state == {"bend": 0, "legato": 0}


def test_swing_and_tuplets_fall_on_exact_ticks() -> None:
    def ticks(music: str, *fields: str) -> list[int]:
        file = read(made(music, *fields)[1].data)
        return sorted(note.on for track in file.tracks[1:] for note in heard(track))

    assert ticks("| G5 G7 B5 B8 G5 - - G7 ||", "feel shuffle", "tempo 97") == [0, 640, 960, 1600, 1920, 3520]
    assert ticks("| 3[G5 G7 G5] 5:4[1/16 G5 G7 G5 G7 G5] 1/4 G5 - ||", "tempo 131") == [
        0, 320, 640, 960, 1152, 1344, 1536, 1728, 1920,
    ]  # fmt: skip
    assert ticks("| 7:8[1/16 G5 G7 G5 G7 G5 G7 G5] 1/4 G5 - ||", "tempo 97") == [round(1920 * i / 7) for i in range(8)]


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


def asked(message: mido.Message) -> tuple[str, bool, dict[str, object]]:
    """What mido needs to build a message."""
    return message.type, message.is_meta, {key: value for key, value in message.dict().items() if key != "type"}


@pytest.mark.slow
def test_it_is_several_times_as_fast_as_mido() -> None:
    """The whole of `emit`, bends included, against mido building and saving the same events; the goal is eleven times."""
    for stages in licks():
        stages.performance(Options())
    files = [read(emit(stages, Options()).data) for stages in licks()]
    events = [[[asked(message) for message in track] for track in file.tracks] for file in files]

    def with_mido() -> None:
        for tracks in events:
            file = mido.MidiFile(ticks_per_beat=960, charset="utf-8")
            for track in tracks:
                made = ((mido.MetaMessage if meta else mido.Message)(kind, **fields) for kind, meta, fields in track)
                file.tracks.append(mido.MidiTrack(made))
            file.save(file=io.BytesIO())

    def ours() -> None:
        for stages in licks():
            emit(stages, Options())

    ratios = []
    for _ in range(5):
        began = time.process_time()
        ours()
        turned = time.process_time()
        with_mido()
        ratios.append((time.process_time() - turned) / (turned - began))
    assert sorted(ratios)[2] > 7
