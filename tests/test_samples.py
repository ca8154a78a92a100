"""The sample library: it compiles without a warning, says all that the notation can, and its old tunes are the tunes.

The melodies below are written from the tunes, not from the samples: a scale degree (`,` an octave lower, `'` higher), a
colon, and how many of the tune's units it lasts. `0` is a rest. What a listener hears as a note is compared: a bend
sounds where it arrives.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest

from lickwright.compiler import compile_file
from lickwright.compiler.compilation import Compilation, CompiledLick
from lickwright.core.diagnostics import Severity
from lickwright.notation.techniques import EVENT_WORDS, TECHNIQUES, Curve, Technique, TechniqueKind
from lickwright.settings.fields import BY_NAME
from lickwright.timeline.model import SoundingNote, Timeline

SAMPLES = Path(__file__).parents[1] / "samples"
FILES = sorted(SAMPLES.rglob("*.lick"))
NAMES = [path.relative_to(SAMPLES).as_posix() for path in FILES]
DYNAMICS = {"pp", "p", "mp", "mf", "f", "ff"}


@cache
def compiled(path: Path) -> Compilation:
    return compile_file(path)


@cache
def licks(own: bool | None = None) -> tuple[CompiledLick, ...]:
    """All of them; `own` leaves the old tunes out (True) or takes only these (False)."""
    paths = [p for p in FILES if own is None or (p.parent.name != "tunes") is own]
    return tuple(lick for path in paths for lick in compiled(path).licks)


@cache
def timelines() -> tuple[Timeline, ...]:
    found = tuple(lick.timeline for lick in licks() if lick.timeline is not None)
    assert len(found) == len(licks())
    return found


def lick(title: str) -> Timeline:
    return next(timeline for timeline in timelines() if timeline.title == title)


# --- each of them ----------------------------------------------------------------------------------------------------


def test_there_is_a_library() -> None:
    assert len(licks(own=True)) >= 34
    assert len(licks(own=False)) >= 7


@pytest.mark.parametrize("path", FILES, ids=NAMES)
def test_every_file_compiles_without_error_or_warning(path: Path) -> None:
    found = compiled(path).diagnostics
    assert compiled(path).licks
    assert [f"{d.code} {d.lick}, bar {d.bar}: {d.message}" for d in found if d.severity is not Severity.INFO] == []


def test_every_lick_says_whose_it_is_and_what_for() -> None:
    for timeline in timelines():
        settings = timeline.settings
        assert settings.by and settings.rights and settings.style and settings.tags, timeline.title
        assert settings.level is not None and settings.notes, timeline.title
        assert settings.key is not None and settings.chords, timeline.title


def test_titles_are_told_apart() -> None:
    titles = Counter(one.title.casefold() for one in licks())
    assert [title for title, count in titles.items() if count > 1] == []


def test_every_old_tune_names_its_source_and_the_others_have_none() -> None:
    assert all(one.timeline and one.timeline.settings.source for one in licks(own=False))
    assert not any(one.timeline and one.timeline.settings.source for one in licks(own=True))


# --- together they say everything ------------------------------------------------------------------------------------


def used(sound: SoundingNote) -> Iterator[Technique]:
    yield sound.begin
    yield from sound.marks
    yield from (shape.technique for shape in sound.shapes)
    if sound.head is not None:
        yield sound.head


@cache
def techniques() -> frozenset[Technique]:
    return frozenset(row for timeline in timelines() for sound in timeline.sounds for row in used(sound))


@pytest.mark.parametrize("row", TECHNIQUES, ids=[f"{row.kind.name.lower()}-{row.name}" for row in TECHNIQUES])
def test_every_technique_is_in_a_sample(row: Technique) -> None:
    if row.kind is TechniqueKind.WORD:
        assert any(span.technique is row for timeline in timelines() for span in timeline.words)
    else:
        assert row in techniques()


@pytest.mark.parametrize("word", EVENT_WORDS)
def test_every_event_word_is_in_a_sample(word: str) -> None:
    assert any(span.word == word for timeline in timelines() for span in timeline.words)


def test_every_amount_of_bend() -> None:
    amounts = {s.amount for t in timelines() for x in t.sounds for s in x.shapes if s.technique.curve is Curve.BEND}
    assert {0.5, 1.0, 2.0, 3.0} <= amounts


def test_bends_are_delayed_held_and_let_down_part_of_the_way() -> None:
    bends = [(x, s) for t in timelines() for x in t.sounds for s in x.shapes]
    assert any(s.technique.curve is Curve.BEND and s.start > x.start for x, s in bends)
    assert any(s.technique.curve is Curve.RELEASE and s.amount > 0 for _, s in bends)
    across = [t.slots[s.slot].bar != x.bar for t in timelines() for x in t.sounds for s in x.shapes]
    assert any(across), "no bend stays up over a bar line"


def test_every_way_to_say_something_at_a_moment() -> None:
    directions = [direction for timeline in timelines() for direction in timeline.directions]
    assert {direction.kind for direction in directions} == {"words", "dynamic", "tempo", "fermata"}
    assert {direction.text for direction in directions if direction.kind == "dynamic"} == DYNAMICS


def test_every_bar_line() -> None:
    bars = [bar for timeline in timelines() for bar in timeline.bars]
    assert {2, 3} <= {bar.repeat_end for bar in bars}
    assert {1, 2} <= {bar.ending for bar in bars}
    assert any(bar.same for bar in bars) and any(bar.repeat_start for bar in bars) and any(bar.double for bar in bars)
    assert {Fraction(1, 8), Fraction(1, 4)} <= {t.settings.pickup for t in timelines()}


def test_tuplets_and_steps() -> None:
    tuplets = [tuplet for timeline in timelines() for tuplet in timeline.tuplets]
    assert {(3, 2), (6, 4), (5, 4)} <= {(tuplet.count, tuplet.normal) for tuplet in tuplets}
    assert max(tuplet.depth for tuplet in tuplets) > min(tuplet.depth for tuplet in tuplets), "none is nested"
    steps = {timeline.fraction(slot.length) for timeline in timelines() for slot in timeline.slots}
    assert {Fraction(1, 4), Fraction(1, 8), Fraction(1, 16), Fraction(3, 16)} <= steps


def test_meters_and_feels() -> None:
    assert {"2/4", "3/4", "4/4", "6/8", "12/8", "7/8 2+2+3"} <= {str(t.settings.meter) for t in timelines()}
    feels = {str(timeline.settings.feel) for timeline in timelines()}
    assert {"straight", "shuffle", "swing", "swing 1/16", "swing 5:3 1/16"} <= feels


def test_instruments() -> None:
    tunings = {timeline.settings.tuning.name for timeline in timelines()}
    assert {"standard", "drop D", "half step down", "open G", "7 string", "bass"} <= tunings
    assert any(timeline.settings.capo for timeline in timelines())
    assert {"clean", "crunch", "lead", "acoustic", "nylon", "bass"} == {t.settings.sound for t in timelines()}


def test_boxes() -> None:
    boxes = [(t.settings.box, t.settings) for t in timelines() if t.settings.box is not None]
    for number in range(1, 6):
        assert any(box.numbers == (number,) for box, _ in boxes), f"no lick stays in box {number}"
    assert any(len(box.numbers) > 1 for box, _ in boxes) and any(box.at == 12 for box, _ in boxes)
    assert any(box.shape for box, _ in boxes) and any(box.any for box, _ in boxes)
    assert {(0, 3), (7, 10)} <= {box.window for box, _ in boxes}
    majors = {s.numbering for box, s in boxes if box.numbers and s.scale and 4 in s.scale.semitones}
    assert majors == {"relative", "tonic"}


def test_keys_and_scales() -> None:
    keys = [timeline.settings.key for timeline in timelines() if timeline.settings.key is not None]
    modes = {"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "harmonic minor"}
    assert modes <= {key.mode for key in keys}
    signatures = {key.signature for key in keys}
    assert min(signatures) <= -3 and max(signatures) >= 4, "keys with many flats and many sharps"
    scales = {timeline.settings.scale.name for timeline in timelines() if timeline.settings.scale is not None}
    assert {"minor pentatonic", "major pentatonic", "minor blues", "major blues", "major+minor pentatonic"} <= scales
    assert any(name[0] == "1" for name in scales), "no scale is given by its degrees"


def test_fingers_of_both_hands() -> None:
    sounds = [sound for timeline in timelines() for sound in timeline.sounds]
    assert {sound.finger for sound in sounds} == {None, "1", "2", "3", "4", "T"}
    assert {sound.pluck for sound in sounds} == {None, "p", "i", "m", "a", "c"}


def test_every_field_is_written_somewhere() -> None:
    written = {name for timeline in timelines() for name in timeline.settings.written}
    repeated = {name for name, row in BY_NAME.items() if row.repeats}
    assert written >= BY_NAME.keys() - repeated - {"from"}  # which `move` writes
    assert any(t.settings.notes for t in timelines()) and any(t.settings.meant for t in timelines())


# --- the old tunes ---------------------------------------------------------------------------------------------------

MAJOR = (0, 2, 4, 5, 7, 9, 11)  # semitones of the degrees 1 to 7
GRACE = "1:4 3:1 1:1 | 3:4 2:2 | 1:4 6,:2 | 5,:4 5,:2 | 1:4 3:1 1:1 | 3:4 2:2"
JOY = "3 3 4 5 | 5 4 3 2 | 1 1 2 3"
JOY_IN_EIGHTHS = " ".join(word if word == "|" else f"{word}:2" for word in JOY.split())
GREEN = "1:2 | b3:4 4:2 5:3 b6:1 5:2 | 4:4 2:2 b7,:3 1:1 2:2"
SAILOR = "5:2 5:1 5:1 5:2 5:1 5:1"
SUSANNA = "1:1 2:1 | 3:2 5:2 5:3 6:1 | 5:2 3:2 1:3 2:1"

# Title: (MIDI number of degree 1, units to the whole note, melody).
TUNES: dict[str, tuple[int, int, str]] = {
    "Amazing Grace": (67, 8, f"5,:2 | {GRACE} | 5:10 3:2 | 5:4 3:1 1:1 | {GRACE[GRACE.index('3:4'):]} | 1:10"),
    "Auld Lang Syne": (
        65, 8,
        "5,:2 | 1:3 1:1 1:2 3:2 | 2:3 1:1 2:2 3:2 | 1:3 1:1 3:2 5:2 | 6:6 6:2 |"
        "5:3 3:1 3:2 1:2 | 2:3 1:1 2:2 3:2 | 1:3 6,:1 6,:2 5,:2 | 1:6",
    ),
    "Ode to Joy": (62, 8, f"{JOY_IN_EIGHTHS} | 3:3 2:1 2:4 | {JOY_IN_EIGHTHS} | 2:3 1:1 1:4"),
    "Ah, vous dirai-je, maman": (64, 4, "1:1 1:1 5:1 5:1 | 6:1 6:1 5:2 | 4:1 4:1 3:1 3:1 | 2:1 2:1 1:2"),
    "Greensleeves": (
        57, 16,
        f"{GREEN} | b3:4 1:2 1:3 7,:1 1:2 | 2:4 7,:2 5,:4 {GREEN} | b3:3 2:1 1:2 7,:3 6,:1 7,:2 | 1:10",
    ),
    "Drunken Sailor": (
        64, 16,
        f"{SAILOR} | 5:2 1:2 b3:2 5:2 | {SAILOR.replace('5', '4')} | 4:2 b7,:2 2:2 4:2 |"
        f"{SAILOR} | 5:2 6:2 b7:2 1':2 | b7:2 5:2 4:2 2:2 | 1:4 1:4",
    ),
    "Oh! Susanna": (57, 16, f"{SUSANNA} | 3:2 3:2 2:2 1:2 | 2:6 {SUSANNA} | 3:2 3:2 2:2 2:2 | 1:6"),
    "Clementine": (
        48, 8,
        "1:1 1:1 | 1:2 5,:2 3:1 3:1 | 3:2 1:2 1:1 3:1 | 5:3 5:1 4:1 3:1 | 2:4 2:1 3:1 "
        "| 4:2 4:2 3:1 2:1 | 3:2 1:2 1:1 3:1 | 2:3 5,:1 7,:1 2:1 | 1:4",
    ),
    "Frère Jacques": (
        56, 8,
        " | ".join(bar for bar in (
            "1:2 2:2 3:2 1:2", "3:2 4:2 5:4", "5:1 6:1 5:1 4:1 3:2 1:2", "1:2 5,:2 1:4",
        ) for _ in range(2)),
    ),
}  # fmt: skip
Heard = tuple[Fraction, Fraction, int]  # start and length in whole notes, MIDI number


def semitones(degree: str) -> int:
    """Above the tonic: a plain number is of the major scale, b3 its flattened third; octave signs follow it."""
    name = degree.rstrip(",'")
    alter = -1 if name.startswith("b") else 0
    octaves = degree.count("'") - degree.count(",")
    return MAJOR[int(name.lstrip("b")) - 1] + alter + 12 * octaves


def melody(tonic: int, units: int, text: str) -> list[Heard]:
    """The tune as written in `TUNES`."""
    notes, at = [], Fraction(0)
    for word in text.replace("|", " ").split():
        degree, count = word.split(":")
        length = Fraction(int(count), units)
        if degree != "0":
            notes.append((at, length, tonic + semitones(degree)))
        at += length
    return notes


def heard(timeline: Timeline) -> list[Heard]:
    """The line as a listener hears it: a bend sounds where it arrives, a release during a hold is a note of its own."""
    found = []
    for sound in timeline.sounds:
        turns = {sound.start: sound.pitch}
        for shape in sound.shapes:
            if shape.technique.curve in (Curve.BEND, Curve.PREBEND, Curve.RELEASE):
                turns[shape.start] = sound.pitch + shape.amount
        starts = [*turns, sound.end]
        for start, end in zip(starts, starts[1:], strict=False):
            found.append((timeline.fraction(start), timeline.fraction(end - start), round(turns[start])))
    return sorted(found)


@pytest.mark.parametrize("title", TUNES)
def test_an_old_tune_is_the_tune(title: str) -> None:
    assert heard(lick(title)) == melody(*TUNES[title])


def test_every_old_tune_is_verified_and_bends_or_slides() -> None:
    assert {one.title for one in licks(own=False)} == TUNES.keys()
    moving = {Curve.BEND, Curve.PREBEND, Curve.RELEASE, Curve.GLIDE}
    for one in licks(own=False):
        assert one.timeline is not None
        curves = {row.curve for sound in one.timeline.sounds for row in used(sound)}
        assert curves & moving, one.title
