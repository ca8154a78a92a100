"""Where a phrase lives: found again from the frets alone.

Every sample is compiled once as written, for what it declares, and once with every field left out that says or hints
at key, scale or box, chords and title included. What is found must be what was declared:

- key: the tonic, and whether the third is minor;
- scale: the same notes, or others that no note of the lick can tell from them: minor pentatonic for a blues without its
  blue note, natural minor for a pentatonic lick whose key's scale was never narrowed. `to the letter` counts the first;
- box: one of those declared, at the same frets (a number may be counted in two ways, the frets may not); for an open
  position or a stretch of frets one whose ends lie at most one fret off. Licks that declare none are not counted.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from effort import steps
from lickwright.analysis import key_finder
from lickwright.analysis.key_and_box_finder import Candidate, find_key_and_box, is_close_call, relative_candidate
from lickwright.compiler import compile_file, compile_text
from lickwright.music.box_area import Area
from lickwright.music.scale import Scale
from lickwright.settings.fields import BY_NAME, Settings
from lickwright.timeline.model import Timeline
from phrases import Phrase, phrase
from shares import every_nth

SAMPLES = sorted((Path(__file__).parents[1] / "samples").rglob("*.lick"))
KEPT = ("tuning", "capo", "frets", "tempo", "meter", "pickup", "step", "feel", "notation", "sound", "reach")
_FIELD = re.compile(r"([a-z-]+)\b")


def bare(text: str, kept: Collection[str] = KEPT) -> str:
    """The text without a field that says, or hints, where its licks live; titles are numbers."""
    lines, dropped, count = [], False, 0
    for line in text.split("\n"):
        if line[:1].isspace() and dropped:
            continue
        word = _FIELD.match(line)
        dropped = word is not None and word[1] in BY_NAME and word[1] not in kept
        if word is not None and word[1] == "lick":
            count += 1
            line = f'lick "{count}"'
        if not dropped:
            lines.append(line)
    return "\n".join(lines)


class Case(NamedTuple):
    title: str
    declared: Settings
    stripped: Timeline
    homes: tuple[Candidate, ...]


@cache
def cases() -> tuple[Case, ...]:
    found = []
    for path in SAMPLES:
        stripped = compile_text(bare(path.read_text("utf-8")), path.name)
        for whole, part in zip(compile_file(path).licks, stripped.licks, strict=True):
            assert whole.timeline is not None and part.timeline is not None, whole.title
            found.append(Case(whole.title, whole.timeline.settings, part.timeline, find_key_and_box(part.timeline)))
    return tuple(found)


def right_key(case: Case) -> bool:
    key, home = case.declared.key, case.homes[0]
    assert key is not None
    return (home.key.tonic.pc, home.key.is_minor) == (key.tonic.pc, key.is_minor)


def same_scale(case: Case) -> bool:
    assert case.declared.scale is not None
    return case.homes[0].scale.semitones == case.declared.scale.semitones


def right_scale(case: Case) -> bool:
    """The same scale, as far as the notes that are played tell; the blue note belongs to its pentatonic."""
    if not right_key(case):
        return False
    assert case.declared.scale is not None and case.declared.key is not None
    tonic = case.declared.key.tonic.pc
    played = {(note.pitch - tonic) % 12 for note in key_finder.heard_pitches(case.stripped)}

    def heard(scale: Scale) -> set[int]:
        return played & key_finder.scale_classes(scale)

    return same_scale(case) or heard(case.homes[0].scale) == heard(case.declared.scale)


def right_box(case: Case) -> bool | None:
    """None where the lick declares none."""
    declared, found = case.declared.area, case.homes[0].area
    if declared is None or found is None:
        return None if declared is None else False
    if case.declared.box is not None and case.declared.box.window is not None:
        low, high = case.declared.box.window
        return abs(span(found)[0] - low) <= 1 and abs(span(found)[1] - high) <= 1
    windows = {(box.low, box.high, box.shape) for box in declared.boxes}
    labels = {box.label for box in declared.boxes}
    return all((box.low, box.high, box.shape) in windows for box in found.boxes) and len(found.boxes) == len(labels)


def span(area: Area) -> tuple[int, int]:
    return min(box.low for box in area.boxes), max(box.high for box in area.boxes)


def test_nothing_declared_is_left_to_read() -> None:
    for case in cases():
        settings = case.stripped.settings
        assert settings.key is None and settings.scale is None and settings.area is None and not settings.chords
        assert not settings.tags and not settings.notes and case.stripped.title.isdigit()
        assert settings.numbering == "relative"
    assert len(cases()) >= 50
    assert sum(case.declared.key is not None for case in cases()) == len(cases())


@pytest.mark.slow
def test_declared_fields_are_never_read() -> None:
    """A lick with its fields, but for the chords, and the same one without have the same homes, numbering aside."""
    for path in SAMPLES:
        whole = compile_text(bare(path.read_text("utf-8"), BY_NAME.keys() - {"chords"}))
        for lick, case in zip(whole.licks, [c for c in cases() if c.title in titles(path)], strict=True):
            assert lick.timeline is not None
            if lick.timeline.settings.numbering == "relative":
                assert find_key_and_box(lick.timeline) == case.homes, lick.title


@cache
def titles(path: Path) -> list[str]:
    return [lick.title for lick in compile_file(path).licks]


def test_key_scale_and_box_are_found_again(capsys: pytest.CaptureFixture[str]) -> None:
    """95 % of the samples for key, for scale, for box, and for all three at once."""
    rows, keys, scales, letters, boxes, whole = [], 0, 0, 0, [], 0
    for case in cases():
        key, scale, box = right_key(case), right_scale(case), right_box(case)
        keys, scales, letters = keys + key, scales + scale, letters + (key and same_scale(case))
        boxes += [box] if box is not None else []
        whole += key and scale and box is not False
        rows.append(row(case, key, scale, box))
    total = len(cases())
    with capsys.disabled():
        print("\n" + "\n".join(rows))
        print(
            f"key {keys}/{total}, scale {scales}/{total} ({letters} to the letter), box {sum(boxes)}/{len(boxes)}, all {whole}/{total}"
        )
    assert keys >= 0.95 * total
    assert scales >= 0.95 * total
    assert sum(boxes) >= 0.95 * len(boxes)
    assert whole >= 0.95 * total


def row(case: Case, key: bool, scale: bool, box: bool | None) -> str:
    declared, home = case.declared, case.homes[0]
    verdict = "" if key and scale and box is not False else "  <- " + ", ".join(
        word for word, right in (("key", key), ("scale", scale), ("box", box)) if right is False
    )  # fmt: skip
    where = declared.area.name if declared.area else "no box"
    close = "  (close)" if is_close_call(case.homes) else ""
    tonic = declared.key.tonic if declared.key else "?"
    return f"{case.title[:26]:26} {f'{tonic} {declared.scale}, {where}'[:62]:62} found {home.name}, {home.left_out} of {home.notes} out{close}{verdict}"


@pytest.mark.parametrize("semitones", [6, *(pytest.param(n, marks=pytest.mark.slow) for n in (1, 4, 9))])
def test_a_phrase_lives_in_the_same_place_when_its_hand_moves(semitones: int) -> None:
    """Moved up the neck by so many frets, a lick without open strings keeps scale and shape, its tonic moves along."""
    moved = 0
    for case in cases():
        frets = [s.fret for s in case.stripped.sounds if s.fret is not None]
        harmonic = any(s.harmonic for s in case.stripped.sounds)
        home = case.homes[0]
        if home.area is None or harmonic or min(frets) == 0 or span(home.area)[1] + semitones > 22:
            continue
        for sound in (timeline := deepcopy(case.stripped)).sounds:
            if sound.fret is not None:
                sound.fret += semitones
                sound.pitch += semitones
        other = find_key_and_box(timeline)[0]
        assert (other.key.tonic.pc - home.key.tonic.pc) % 12 == semitones, case.title
        assert (other.scale, other.left_out) == (home.scale, home.left_out), case.title
        moved += 1
    assert moved >= 20


@every_nth(4)
@pytest.mark.parametrize("factor", [0.75, 1.33])
@pytest.mark.parametrize("weight", ["_EVIDENCE", "_LAST", "_LOWEST", "_FIRST", "_OUTSIDE"])
def test_no_weight_stands_on_a_knife_edge(
    weight: str, factor: float, every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The weights were settled on these samples: with any of them a third off, nine keys in ten are still found."""
    monkeypatch.setattr(key_finder, weight, getattr(key_finder, weight) * factor)
    found, some = 0, cases()[::every]
    for case in some:
        best = key_finder.rank_tonalities(key_finder.heard_pitches(case.stripped))[0].key
        assert case.declared.key is not None
        found += (best.tonic.pc, best.is_minor) == (case.declared.key.tonic.pc, case.declared.key.is_minor)
    assert found >= 0.9 * len(some)


# --- by hand ---------------------------------------------------------------------------------------------------------


def home(music: str, head: str = "") -> Candidate:
    timeline = compile_text(f'{head}lick "1"\n{music}\n').licks[0].timeline
    assert timeline is not None
    return find_key_and_box(timeline)[0]


@pytest.mark.parametrize(
    ("music", "name"),
    [
        ("| A7 D5 D7 G5 G7 G5 D7 D5 | A7 D7~--- ... ||", "A minor pentatonic, box 1 (E shape), frets 5-8"),
        ("| A7 D5 D7 G5 G7 G5 D7 D5 | G5--- ---. ||", "C major pentatonic, box 1 (G shape), frets 5-8"),
        ("| D5 D7 G5 G7 A6 A7 A5 D7 | D7--- ---. ||", "A minor blues, box 1 (E shape), frets 5-8"),
        ("| A3 D2 D3 D5 G2 G4 G5 B5 | B5 G5 G4 G2 D5 D3 D2 A3 ||", "C major, A shape, frets 2-6"),
        ("| D7 G4 G5 G7 B5 B6 e4 e5 | e5 e4 B6 B5 G5 - - - ||", "A harmonic minor, E shape, frets 4-8"),
    ],
)
def test_the_note_it_ends_on_decides_between_relatives(music: str, name: str) -> None:
    assert home(music).name == name


def test_notes_left_out_are_counted() -> None:
    one = home("| A7 D5 D7 G5 G7 G6 D7 D5 | e8 D7~--- ... ||")
    assert (one.name, one.outside_scale, one.outside_box) == ("A minor pentatonic, box 1 (E shape), frets 5-8", 1, 0)


def test_a_bend_counts_where_it_arrives() -> None:
    assert home("| B8^10 -r p5 G7 D7 G5 D7 - | D7--- ---. ||").outside_scale == 0
    assert home("| B8^9 -r p5 G7 D7 G5 D7 - | D7--- ---. ||").outside_scale == 1


def test_other_tunings_have_stretches_of_frets() -> None:
    one = home("| 6:0 6:3 6:5 A3 A5 D3 D5 6:0 ||", "tuning drop D\n")
    assert (str(one.key.tonic), one.area and one.area.name) == ("D", "frets 2-5")


def test_a_bass_has_the_boxes_of_its_four_strings() -> None:
    assert (
        home("| E5 E8 A5 A7 D5 D7 A7 E5 ||", "tuning bass\n").name == "A minor pentatonic, box 1 (E shape), frets 5-8"
    )


def test_a_lick_without_a_pitch_lives_nowhere() -> None:
    timeline = compile_text('lick "1"\n| Gx Gx Gx Gx - - - - ||\n').licks[0].timeline
    assert timeline is not None and find_key_and_box(timeline) == ()


def test_it_is_quick() -> None:
    """A note costs about 2,100 lines of Python, which is 10 ms for a lick on a desktop machine; the limit is twice that."""
    some = cases()[:10]
    notes = sum(len(case.stripped.sounds) for case in some)
    assert steps(lambda: [find_key_and_box(case.stripped) for case in some]) < 4_200 * notes


@pytest.mark.parametrize(
    ("music", "name"),
    [
        ("| G9h12p9 D12 G9 D12 D10 A12 A10 - E12 E10 E12 A10 A12 D10 | D12 --- . . . . G9h12 B10 B13 e10~--- ||",
         "A minor pentatonic, box 3 (C shape), frets 9-13"),
        ("| A7 D5 D7 G5 G7 - B8 G7 | G5--- ---. ||", "C major pentatonic, box 1 (G shape), frets 5-8"),
        ("| A7 A6 A5 D7 D5 G7 G5 D7 | D7--- ---. ||", "A minor blues, box 1 (E shape), frets 5-8"),
    ],
)  # fmt: skip
def test_the_simplest_scale_that_holds_everything_comes_first(music: str, name: str) -> None:
    one = home(music)
    assert one.left_out == 0 and one.name == name


@pytest.mark.parametrize("bend", ["e5^7", "D7^9", "B5^7", "G7^9", "B8^10", "e8^10", "e5^7- B5^7"])
def test_a_bend_to_the_2nd_or_6th_changes_no_key(bend: str) -> None:
    around = "| D7 G5 G7 B5 B8 e5 e8 e5 | {} - B8 B5 G7 G5 {}| D7~--- ---- ||"
    assert (
        home(around.format(bend, "- " if " " not in bend else "")).name
        == "A minor pentatonic, box 1 (E shape), frets 5-8"
    )


def test_chords_break_the_tie_of_relatives() -> None:
    music = "| B5 G7 G5 D7 D5 D7 G5 G7 | B5--- ---. ||"
    for chords, key in (
        ("Am7", "A minor"),
        ("Am | Em | Am", "A minor"),
        ("C", "C major"),
        ("Cmaj7 | G | C", "C major"),
    ):
        assert str(home(f"chords {chords}\n{music}").key) == key


def test_the_relative_is_named_as_a_tie() -> None:
    timeline = compile_text('lick "1"\n| A7 D5 D7 G5 G7 G5 D7 D5 | A7 D7~--- ... ||\n').licks[0].timeline
    assert timeline is not None
    homes = find_key_and_box(timeline)
    twin = relative_candidate(homes)
    assert twin is not None and twin.name == "C major pentatonic, box 1 (G shape), frets 5-8"
    assert not is_close_call(homes)


# --- made-up phrases, half of which no weight was set by ----------------------------------------------------------------


class Score(NamedTuple):
    """How many phrases were found again."""

    phrases: int
    whole: int  # key and box
    tied: int  # key or its relative, named as a tie, and box


def score(seeds: range) -> Score:
    whole = tied = 0
    for seed in seeds:
        made = phrase(seed)
        lick = compile_text(made.text).licks[0]
        assert lick.ok and lick.timeline is not None, made.text
        homes = find_key_and_box(lick.timeline)
        box = holds(homes[0], made, lick.timeline)
        key = is_in(homes[0], made)
        twin = relative_candidate(homes)
        whole += box and key
        tied += box and (key or (twin is not None and is_in(twin, made)))
    return Score(len(seeds), whole, tied)


def is_in(found: Candidate, made: Phrase) -> bool:
    return (found.key.tonic.pc, found.key.is_minor) == (made.tonic, made.minor)


def holds(found: Candidate, made: Phrase, timeline: Timeline) -> bool:
    """Whether the numbered box found, or as many as the phrase was made in, hold every fretted note."""
    where, places = found.area, {(s.string, s.fret) for s in timeline.sounds if s.fret}
    if where is None or len(where.boxes) > (2 if made.second else 1):
        return False
    return all(box.label.startswith("box ") for box in where.boxes) and places <= where.places | where.blue


def report(name: str, found: Score) -> str:
    return f"{name}: {found.whole}/{found.phrases} key and box, {found.tied}/{found.phrases} with the relative as a tie"


def test_made_up_phrases_are_found_again() -> None:
    """Some of those that were held out when the weights were set; the slow test takes all."""
    found = score(range(1, 101, 2))
    assert found.tied >= 0.9 * found.phrases, found
    assert found.whole >= 0.7 * found.phrases, found


@pytest.mark.slow
def test_all_made_up_phrases_are_found_again(capsys: pytest.CaptureFixture[str]) -> None:
    set_on, held_out = score(range(0, 300, 2)), score(range(1, 300, 2))
    with capsys.disabled():
        print(f"\n{report('weights set on', set_on)}\n{report('held out', held_out)}")
    assert held_out.tied >= 0.95 * held_out.phrases
    assert held_out.whole >= 0.75 * held_out.phrases


# --- tunes that no weight was set by: all old, all in the public domain ----------------------------------------------

TUNES = {
    "Drunken Sailor": ("D", "dorian", "| D7- D7 D7 D7- D7 D7 | D7- A5- A8- D7- | D5- D5 D5 D5- D5 D5 | D5- A3- A7- D5- "
                       "| D7- D7 D7 D7- D7 D7 | D7- G4- G5- G7- | G5- D7- D5- A7- | A5--- A5--- ||"),
    "Row, row, row your boat": ("C", "major", "meter 6/8|A3-- A3-- | A3- A5 A7-- | A7- A5 A7- A8 | D5----- | "
                                "G5 G5 G5 D5 D5 D5 | A7 A7 A7 A3 A3 A3 | D5- A8 A7- A5 | A3----- ||"),
    "Au clair de la lune": ("G", "major", "| D5- D5- D5- D7- | G4--- D7--- | D5- G4- D7- D7- | D5------- "
                            "| D5- D5- D5- D7- | G4--- D7--- | D5- G4- D7- D7- | D5------- ||"),
    "Mary had a little lamb": ("A", "major", "| B2 G4 G2 G4 B2 B2 B2- | G4 G4 G4- B2 B5 B5- "
                               "| B2 G4 G2 G4 B2 B2 B2 B2 | G4 G4 B2 G4 G2--- ||"),
    "God rest you merry": ("A", "minor", "pickup 1/4|D7- | D7- B5- B5- G7- | G5- G4- D7- D5- | D7- G4- G5- G7- | B5----- D7- "
                           "| D7- B5- B5- G7- | G5- G4- D7- D5- | D7- G4- G5- G7- | B5----- B5- | B6- G7- B5- B6- "
                           "| B8- e5- B5- G7- | G5- D7- G4- G5- | G7--- G5- G7- | B5--- B6- B5- | B5- G7- G5- G4- "
                           "| D7--- G5- G4- | G7--- G5- G7- | B5- B6- B8- e5- | B5- G7- G5- G4- | D7-----||"),
    "Joy to the World": ("D", "major", "| B3- B2- . G4 G2- | G0-- D4 D2- D0- | ---- --G2- | B0---- - B0- | B2---- - B2- | B3------- ||"),
}  # fmt: skip


@pytest.mark.parametrize("title", TUNES)
def test_an_old_tune_is_in_its_key(title: str) -> None:
    tonic, mode, music = TUNES[title]
    head, _, rest = music.partition("|")
    one = home(f"|{rest}", f"{head}\n" if head else "")
    assert (str(one.key.tonic), one.key.mode, one.outside_scale) == (tonic, mode, 0)
