"""What techniques become in MIDI, and what cannot be said there: reported, never dropped in silence."""

from __future__ import annotations

from lickwright.export import Options
from lickwright.export.midi import RULES, emit
from midi_reader import heard, licks, made, read, timed

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
    assert "13 half steps" in emission.losses[0].message


def test_a_full_octave_dive_is_kept() -> None:
    _, emission = made("| (dive: G7 - - -) . . . . ||")
    assert emission.losses == ()
    bends = [m.pitch for m in read(emission.data).tracks[3] if m.type == "pitchwheel"]
    assert -8192 <= min(bends) < -8000


def test_a_harmonic_beyond_the_notes_is_moved_and_said() -> None:
    _, emission = made("| 1:36* - - - - - - - ||", "tuning E2 A2 D3 G3 B3 C7", "frets 36")
    assert [loss.code for loss in emission.losses] == ["L502"]
    assert all(0 <= note.number <= 127 for note in heard(read(emission.data).tracks[1]))
    assert {m.pitch for m in read(emission.data).tracks[1] if m.type == "pitchwheel"} == {0}


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
    assert bends[0] == 0
    assert bends[1] > 960  # the slide, where nothing else sounds


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
    for stages in licks():
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
    for stages in licks():
        assert {loss.code for loss in (*emit(stages, Options()).losses, *emit(stages, ONE).losses)} <= codes
