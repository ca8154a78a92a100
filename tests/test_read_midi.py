"""MIDI files read into drafts: our own come back note for note, played ones lie on a grid, hostile ones are refused at once."""

from __future__ import annotations

import io
import re
import time
import tracemalloc
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import mido
import pytest

from lickwright.compiler import compile_file, compile_text
from lickwright.compiler.compilation import CompiledLick
from lickwright.core.source import Unreadable
from lickwright.export import LoweredLick, Options
from lickwright.export.midi import emit
from lickwright.importers.draft import DraftBar, DraftGroup, DraftNote, LickDraft
from lickwright.importers.midi.phrases import phrase_bars
from lickwright.importers.midi.reading import read_midi
from lickwright.importers.midi.song import MidiNote, read_song
from lickwright.importers.options import ReadOptions
from lickwright.importers.write_lick import write_licks
from lickwright.notation.techniques import PICKED
from made_licks import made_lick

SAMPLES = sorted((Path(__file__).parent.parent / "samples").glob("**/*.lick"))
BEND_STEPS = 2  # of a semitone, to which bends are compared


def read(data: bytes, **options: object) -> LickDraft:
    (draft,) = read_midi(data, "Untitled", ReadOptions(**options))  # type: ignore[arg-type]
    return draft


def heard(data: bytes) -> list[tuple[int, int, int, int, int, int]]:
    """Each note of a file that Lickwright wrote: onset and end in ticks from the first onset, string, pitch, how far it is bent up and down."""
    song = read_song(data)
    start = min(note.on for note in song.notes)
    found = []
    for note in song.notes:
        match = re.match(r"string ([0-9]+)", song.names.get(note.track, ""))
        bends = [round(value * BEND_STEPS) for _, value in note.curve]
        found.append(
            (note.on - start, note.off - start, int(match[1]) if match else 0, note.pitch, max(bends), min(bends))
        )
    return sorted(found, key=lambda note: (note[2], note[0]))


def again(lick: CompiledLick) -> tuple[list[tuple[int, ...]], list[tuple[int, ...]]]:
    """The notes of a lick's MIDI file, and those of the lick that is read from it."""
    assert lick.timeline is not None
    data = emit(LoweredLick(lick.timeline), Options()).data
    written = write_licks([read(data)])
    assert not [doubt for doubt in written.doubts if doubt.rule.code in ("L801", "L802", "L804", "L805", "L807")], (
        written
    )
    (back,) = compile_text(written.text).licks
    assert back.timeline is not None
    return [*heard(data)], [*heard(emit(LoweredLick(back.timeline), Options()).data)]


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.slow)])
def test_samples_come_back(every: int) -> None:
    """Onset, string, pitch and bends of every note; its length but for a hair."""
    notes = exact = 0
    for lick in [lick for path in SAMPLES for lick in compile_file(path).licks][::every]:
        before, after = again(lick)
        assert [n[2:] for n in before] == [n[2:] for n in after], lick.title
        assert all(abs(one[0] - other[0]) <= 2 for one, other in zip(before, after, strict=True)), lick.title
        notes += len(before)
        exact += sum(abs(one[1] - other[1]) <= 2 for one, other in zip(before, after, strict=True))
    assert notes > 1400 // every * 0.9
    assert exact >= notes - 8, (exact, notes)


@pytest.mark.slow
def test_made_licks_come_back() -> None:
    """Onset, string and pitch of every note, whatever is doubted of lengths; without a doubt the lengths and bends too."""
    doubted = 0
    for number in range(500):
        music, fields = made_lick(Random(number))
        (lick,) = compile_text("\n".join([*fields, f'lick "Made {number}"', music, ""])).licks
        assert lick.timeline is not None
        data = emit(LoweredLick(lick.timeline), Options()).data
        written = write_licks([read(data)])
        (back,) = compile_text(written.text).licks
        assert back.timeline is not None
        before, after = [*heard(data)], [*heard(emit(LoweredLick(back.timeline), Options()).data)]
        assert [n[2:4] for n in before] == [n[2:4] for n in after], number
        assert all(abs(one[0] - other[0]) <= 2 for one, other in zip(before, after, strict=True)), number
        if [doubt for doubt in written.doubts if doubt.rule.code == "L802"]:
            doubted += 1
        else:
            assert [n[4:] for n in before] == [n[4:] for n in after], number
    assert doubted < 200


def test_fields_come_back() -> None:
    text = (
        'by Mara Quill\nkey E minor\nmeter 6/8\ntempo 66\ntuning drop D\ncapo 2\nsound lead\npickup 1/8\nlick "Low tide"\n'
        '| 6:0 | 6:0 6:3 A2 @"push" D0 D2 D0 | @tempo=80 A2-- D0-- | A2----- ||\n'
    )
    draft = read(compile_text(text).licks[0].emit("midi").data)
    assert draft.title == "Low tide"
    fields = dict(draft.fields)
    assert fields == {
        "by": "Mara Quill",
        "key": "E minor",
        "tempo": "66",
        "tuning": "drop D",
        "capo": "2",
        "sound": "lead",
    }
    again = write_licks([draft]).text
    assert "meter  6/8\n" in again
    assert "pickup 1/8\n" in again
    assert '@"push"' in again
    assert "@tempo=80" in again


@pytest.mark.parametrize("feel", ["straight", "shuffle", "swing", "swing 5:3", "swing 1/16"])
def test_the_feel_comes_back(feel: str) -> None:
    step = "1/16" if "1/16" in feel else "1/8"
    text = f'key A minor\nfeel {feel}\nstep {step}\nlick "Gate"\n| A5 A7 D5 D7 G5 G7 B5 B8 {"e5 e8 e5 B8 B5 G7 G5 D7" if step == "1/16" else ""} |\n'
    draft = read(
        compile_text(
            text + "| e5 B8 B5 G7 G5 D7 D5 A7 " + ("A5 D5 D7 G5 G7 B5 B8 e5" if step == "1/16" else "") + " ||\n"
        )
        .licks[0]
        .emit("midi")
        .data
    )
    assert dict(draft.fields).get("feel", "straight") == feel
    assert {len(bar.groups) for bar in draft.bars} == {16 if step == "1/16" else 8}


# --- files of other programs -----------------------------------------------------------------------------------------


def played(
    lines: dict[int, list[tuple[float, float, int]]], bpm: int = 100, jitter: float = 0.0, seed: int = 1, name: str = ""
) -> bytes:
    """A file with notes (onset and end in quarters, pitch) on channels, moved by chance by so many seconds."""
    chance = Random(seed)
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    if name:
        track.append(mido.MetaMessage("track_name", name=name))
    track.append(mido.MetaMessage("set_tempo", tempo=60_000_000 // bpm))
    events = []
    for channel, notes in lines.items():
        for on, off, pitch in notes:
            moved = chance.gauss(0, jitter) * bpm / 60
            events.append((max(0, round((on + moved) * 480)), 1, "note_on", channel, pitch))
            events.append((max(1, round((off + moved) * 480) - 4), 0, "note_off", channel, pitch))
    tick = 0
    for at, _, kind, channel, pitch in sorted(events):
        track.append(mido.Message(kind, channel=channel, note=pitch, velocity=80, time=at - tick))
        tick = at
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


SCALE = [57, 60, 62, 64, 67, 69, 72, 69, 67, 64, 62, 60, 57, 60, 64, 57]


def line(step: float = 0.5) -> list[tuple[float, float, int]]:
    return [(n * step, (n + 1) * step, pitch) for n, pitch in enumerate(SCALE)]


def test_notes_are_played_in_the_box_that_is_asked_for() -> None:
    draft = read(played({0: line()}), box="1", key="A minor")
    places = [(one.notes[0].string, one.notes[0].fret) for bar in draft.bars for one in bar.groups]
    assert places[:7] == [(4, 7), (3, 5), (3, 7), (2, 5), (2, 8), (1, 5), (1, 8)]
    assert dict(draft.fields)["box"] == "1"


@pytest.mark.parametrize("jitter", [0.004, 0.010])
def test_played_notes_are_moved_to_the_grid(jitter: float) -> None:
    right = total = 0
    for seed in range(20):
        triplets = [(8 + n / 3, 8 + (n + 1) / 3, 60 + n) for n in range(6)]
        draft = read(played({0: line() + triplets}, jitter=jitter, seed=seed))
        places = [4 * (4 * n / 4 + one.at) for n, bar in enumerate(draft.bars) for one in bar.groups]
        wanted = [on for on, _, _ in line() + triplets]
        total += len(wanted)
        right += sum(abs(float(place) - on) < 0.001 for place, on in zip(places, wanted, strict=False))
        assert any(doubt.rule.code == "L860" for doubt in draft.doubts)
    assert right / total > (0.98 if jitter < 0.005 else 0.9), right / total


def test_channels_are_strings_where_each_has_one() -> None:
    lines = {
        channel: [(channel / 2, channel / 2 + 0.5, pitch)] for channel, pitch in enumerate((69, 64, 60, 55, 50, 45))
    }
    draft = read(played(lines))
    assert [(one.notes[0].string, one.notes[0].fret) for one in draft.bars[0].groups] == [
        (1, 5),
        (2, 5),
        (3, 5),
        (4, 5),
        (5, 5),
        (6, 5),
    ]
    assert not draft.doubts


def test_a_track_is_chosen_and_the_others_said() -> None:
    draft = read(played({0: line(), 1: line()[:3], 9: line()}))
    assert [doubt.message for doubt in draft.doubts if doubt.rule.code in ("L808", "L809")] == [
        "track 1, channel 1 is read; left: track 1, channel 2",
        "16 notes of percussion are left out",
    ]
    assert sum(len(bar.groups) for bar in read(played({0: line(), 1: line()[:3]}), track="2").bars) == 3
    with pytest.raises(Unreadable, match="no track `5`"):
        read(played({0: line()}), track="5")


def test_a_long_track_is_taken_apart_at_its_rests() -> None:
    notes = [(on + start, off + start, pitch) for start in (0, 12, 26) for on, off, pitch in line()]
    drafts = read_midi(played({0: notes}, name="Ferry"), "x", ReadOptions(phrases=True))
    assert [draft.title for draft in drafts] == ["Ferry, phrase 1", "Ferry, phrase 2", "Ferry, phrase 3"]
    assert [sum(len(bar.groups) for bar in draft.bars) for draft in drafts] == [16, 16, 16]
    licks = compile_text(write_licks(drafts).text).licks
    assert [lick.ok for lick in licks] == [True, True, True]


def test_phrases_take_time_in_proportion() -> None:
    """Counted in bars looked at, since time depends on the machine."""

    class CountedBars(list[DraftBar]):
        taken = 0

        def __getitem__(self, index: Any) -> Any:
            found = super().__getitem__(index)
            self.taken += len(found) if isinstance(index, slice) else 1
            return found

    note = DraftNote(1, 5, Fraction(1, 4), PICKED)
    groups = tuple(DraftGroup(at, (note,)) for at in (Fraction(0), Fraction(1, 4)))
    bars = CountedBars([DraftBar(groups, Fraction(1))] * 300)
    assert [len(phrase) for phrase in phrase_bars(bars)] == [1] * 300
    assert bars.taken < 20 * len(bars)


def bent(*values: tuple[float, float], length: float = 2.0, semitones: int = 2) -> bytes:
    """One note with pitch bends (second, semitones) over a range said by registered parameter 0."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    for control, value in ((101, 0), (100, 0), (6, semitones)):
        track.append(mido.Message("control_change", control=control, value=value))
    track.append(mido.Message("note_on", note=69, velocity=80))
    tick = 0
    for second, value in values:
        at = round(second * 960)
        track.append(mido.Message("pitchwheel", pitch=min(8191, round(value / semitones * 8192)), time=at - tick))
        tick = at
    track.append(mido.Message("note_off", note=69, time=round(length * 960) - tick))
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def ramp(start: float, end: float, low: float, high: float) -> list[tuple[float, float]]:
    return [(start + (end - start) * n / 20, low + (high - low) * n / 20) for n in range(21)]


@pytest.mark.parametrize(
    ("values", "semitones", "shapes"),
    [
        (ramp(0.0, 0.2, 0, 2), 2, [("bend", 2)]),
        (ramp(0.0, 0.2, 0, 2) + ramp(1.0, 1.2, 2, 0), 12, [("bend", 2), ("release", None)]),
        (ramp(0.5, 0.7, 0, 1), 24, [("bend", 1)]),
        ([(0.3 + n * 0.01, 0.3 * (n % 10) / 9 if n % 20 < 10 else 0.3 * (9 - n % 10) / 9) for n in range(120)], 2, [("vibrato", None)]),
    ],
)  # fmt: skip
def test_pitch_bends_become_techniques(
    values: list[tuple[float, float]], semitones: int, shapes: list[tuple[str, int | None]]
) -> None:
    draft = read(bent(*values, semitones=semitones))
    (note,) = draft.bars[0].groups[0].notes
    assert [(one.technique.name, one.by) for one in note.shapes] == shapes


def test_a_wide_ramp_is_a_slide() -> None:
    draft = read(bent(*ramp(0.4, 0.5, 0, 7), semitones=12))
    first, second = (group.notes[0] for group in draft.bars[0].groups)
    assert (second.begin.name, second.string, (second.fret or 0) - (first.fret or 0)) == ("slide up", first.string, 7)


# --- hostile ---------------------------------------------------------------------------------------------------------


def track(body: bytes, division: bytes = b"\x01\xe0", tracks: bytes = b"\0\1", length: int | None = None) -> bytes:
    size = (len(body) if length is None else length).to_bytes(4, "big")
    return b"MThd\0\0\0\6\0\1" + tracks + division + b"MTrk" + size + body


END = b"\0\xff\x2f\0"
NOTE = b"\0\x90\x40\x40\x60\x80\x40\0"


def _hostile() -> Iterator[tuple[str, bytes]]:
    yield "nothing", b""
    yield "no MIDI", b"RIFF....WAVE"
    yield "header cut", b"MThd\0\0\0\6\0\1"
    yield "no tracks", b"MThd\0\0\0\6\0\1\0\0\x01\xe0"
    yield "division 0", track(NOTE + END, b"\0\0")
    yield "SMPTE", track(NOTE + END, b"\xe7\x28")
    yield "track cut", track(NOTE + END, length=400)
    yield "track of 4 GB", track(NOTE + END, length=0xFFFFFFFF)
    yield "running status without a status", track(b"\0\x40\x40" + END)
    yield "running status after a meta event", track(b"\0\x90\x40\x40\0\xff\1\1a\0\x40\x40" + END)
    yield "endless number", track(b"\xff" * 200_000)
    yield "value above 127", track(b"\0\x90\xff\x40" + END)
    yield "unknown message", track(b"\0\xf4" + END)
    yield "short tempo", track(b"\0\xff\x51\1\7" + NOTE + END)
    yield "short meter", track(b"\0\xff\x58\0" + NOTE + END)
    yield "key that is none", track(b"\0\xff\x59\2\x40\x40" + NOTE + END)
    yield "meta event of 200 MB", track(b"\0\xff\1\xe0\x80\x80\0" + END)
    yield "system exclusive cut", track(b"\0\xf0\x70abc")
    yield "no notes", track(END)
    yield "only drums", track(b"\0\x99\x40\x40\x60\x89\x40\0" + END)
    yield "ticks for ever", track(b"\xff\xff\xff\x7f\x90\x40\x40" * 20 + END)


def _heavy() -> Iterator[tuple[str, bytes]]:
    yield "too many events", track(NOTE * 101_000 + END)
    yield "too many notes", track(NOTE * 11_000 + END)
    yield "larger", track(b"\0" * (11 << 20))
    yield "too many tracks", b"MThd\0\0\0\6\0\1\x80\0\x01\xe0" + b"MTrk\0\0\0\4" * 0 + (b"MTrk\0\0\0\4" + END) * 40_000


def test_hostile_files_are_refused() -> None:
    for name, data in _hostile():
        with pytest.raises(Unreadable) as refused:
            read(data)
        assert refused.value.hint, name
        assert "\n" not in str(refused.value)
        assert len(str(refused.value)) < 200


def _spread() -> bytes:
    """Two notes, a quarter of a billion ticks apart."""
    return track(b"\0\x90\x40\x40\x60\x80\x40\0\xff\xff\xff\x7f\x90\x40\x40\x60\x80\x40\0" + END)


def test_a_note_in_the_far_future_takes_no_time() -> None:
    draft = read(_spread())
    assert len(draft.bars) <= 4_000


@pytest.mark.slow
def test_hostile_files_take_little_time_and_memory() -> None:
    for name, data in [*_heavy(), *_hostile(), ("spread", _spread())]:
        started = time.process_time()
        tracemalloc.start()
        try:
            read(data)
        except Unreadable:
            pass
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert time.process_time() - started < 10, name  # tracing takes several times as long
        assert peak < 256 << 20, (name, peak)


def test_no_bytes_make_a_traceback() -> None:
    """Files with some bytes changed, cut out or doubled: a lick or a clear error."""
    (lick,) = compile_text('lick "Gate"\n|: (grace: G5) h7 A5&D5 3[B8^10 -r p5] (trill: G5h7)--- :|\n').licks
    data = lick.emit("midi").data
    chance = Random(9)
    outcomes: Counter[bool] = Counter()
    for _ in range(400):
        cut = data
        for _ in range(chance.randint(1, 3)):
            at, size = chance.randrange(len(cut)), chance.randint(1, 30)
            instead = (b"", cut[at : at + size] * 2, bytes([chance.randrange(256)]))
            cut = cut[:at] + chance.choice(instead) + cut[at + chance.choice((1, size)) :]
        try:
            outcomes[write_licks(read_midi(cut, "Gate", ReadOptions())).text.startswith("lick ")] += 1
        except Unreadable:
            continue
    assert outcomes[True] > 20
    assert not outcomes[False]


def test_a_missing_package_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "mido", None)
    with pytest.raises(Unreadable, match="needs one more package") as refused:
        read(played({0: line()}))
    assert refused.value.hint == "install it: pip install mido"


def test_notes_without_an_end_are_said() -> None:
    draft = read(track(b"\0\x90\x40\x40" + b"\x83\x60\x90\x43\x40\x83\x60\x80\x43\0" + END))
    assert any("have no end" in doubt.message for doubt in draft.doubts)
    assert all(isinstance(note, MidiNote) for note in read_song(track(NOTE + END)).notes)
