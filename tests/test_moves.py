"""Moving licks: what comes out has the same rhythm, connections and (by pitch) pitches, and no errors.

The whole matrix of samples, keys and boxes is slow: `pytest -m slow tests/test_moves.py -s` prints how many notes
lie in the box and what was said.
"""

from __future__ import annotations

from collections import Counter
from functools import lru_cache
from pathlib import Path

import pytest

from lickwright.compiler import CompiledLick, compile_text
from lickwright.core.source import Source
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.notation.tree import Book, Field, Lick
from lickwright.timeline.build import build_timeline
from lickwright.timeline.model import Timeline
from lickwright.transform.moves import MovedLick, MoveRequest, Unmovable, book_with_licks, move_lick
from shares import every_nth

SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))
HEAD = 'key A minor\nbox 1\n\nlick "Porch light"\n'


def read(text: str) -> tuple[Book, Source]:
    source = Source("-", text)
    book, found = parse_source(source)
    assert not found
    return book, source


def moved(music: str, head: str = HEAD, **wish: str | int) -> MovedLick:
    book, source = read(f"{head}{music}\n")
    return move_lick(book.licks[0], book, source, MoveRequest(**wish))  # type: ignore[arg-type]


def written(music: str, head: str = HEAD, **wish: str | int) -> str:
    """The music of the moved lick, as text."""
    book, _ = read(f"{head}{music}\n")
    one = moved(music, head, **wish)
    text = canonical_text(Book((), (one.lick,)))
    return text[text.index("|") :].strip()


def heard(timeline: Timeline) -> list[tuple[str, float]]:
    """Start and sounding pitch of every note with a pitch, in time and from low to high."""
    settings = timeline.settings
    more = settings.tuning.shift + settings.capo
    notes = [s for s in timeline.sounds if not s.dead]
    return sorted((str(timeline.fraction(s.start)), round(s.pitch + more, 2)) for s in notes)


def fields(one: MovedLick) -> dict[str, str]:
    """The lick's fields but `from`, which every moved lick has."""
    said = {entry.name: entry.text for entry in one.lick.fields if isinstance(entry, Field)}
    assert said.pop("from") == "Porch light"
    return said


def test_a_moved_lick_says_where_it_comes_from_and_a_family_goes_back_to_its_first() -> None:
    one = moved("| G5 G7 B6 e5 e6 --- |", 'key A minor\n\nlick "Song # 1"\n', key="C minor")
    assert one.timeline.settings.origin == "Song # 1"
    head = 'key A minor\n\nlick "Answer"\nfrom Porch light\n'
    assert moved("| G5 G7 B6 e5 e6 --- |", head, key="C minor").timeline.settings.origin == "Porch light"


# --- by hand -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("music", "wish", "expected"),
    [
        ("| e8 e5 B8^10 -r p5 G7~-- |", {"key": "C minor"}, "| e11 e8 B11^13 -r p8 G10~-- |"),
        ("| e8 e5 B8^10 -r p5 G7~-- |", {"key": "C minor", "by": "shape"}, "| e11 e8 B11^13 -r p8 G10~-- |"),
        ("| e8 e5 B8^full - - G7h9 . |", {"key": "G minor"}, "| e6 e3 B6^full-- G5h7 . |"),
        ("| A5 A7 D5 D7 G5 G7 B5 - |", {"octave": 1, "by": "shape"}, "| A17 A19 D17 D19 G17 G19 B17- |"),
        ("| (rake: D G B e8~)- 3[D7 G5h7] Gx B5&e5 - . |", {"key": "B minor"}, "| (rake: D G B e10~)- 3[D9 G7h9] Gx B7&e7- . |"),
        ("| (trill: G5h7)- G5<17>! G7* (grace: G5) h7 -- . |", {"key": "C minor"}, "| (trill: G8h10)- G8<20>! G10* (grace: G8) h10-- . |"),
    ],
)  # fmt: skip
def test_by_hand(music: str, wish: dict[str, str | int], expected: str) -> None:
    got = written(music, **wish)
    assert {*got.replace("&", " ").split()} == {*expected.replace("&", " ").split()}, got
    assert len(got.split()) == len(expected.split())


def test_fields_say_where_the_lick_is_now() -> None:
    head = 'key A minor\nbox 1 at 17\n\nlick "Porch light"\nchords Am7 | D9/F# . - E7\n'
    one = moved("| e17 e20 -- B17 --- |", head, key="C# minor")
    assert fields(one) == {"key": "C# minor", "chords": "C#m7 | F#9/A# / N.C. G#7", "box": "1 at 9"}
    assert one.said[0] == "an octave lower: the neck ends there"


@pytest.mark.parametrize(
    ("head", "wish", "expected"),
    [
        ("key Bb major\nbox E shape\n", {"box": "1"}, {"box": "G shape"}),
        ("key Bb major\nbox E shape\nnumbering tonic\n", {"box": "2"}, {"box": "D shape"}),
        ("key A dorian\n", {"box": "3"}, {"box": "C shape"}),
        ("key A minor\nbox 1\n", {"box": "E shape"}, {"box": "E shape", "scale": "minor pentatonic"}),
        ("key A minor\nscale 1 2 b3 4 5 b6 6 b7 7\n", {"box": "1"}, {"box": "frets 5-8"}),
        ("key A minor\nbox frets 5-8\n", {"key": "C minor"}, {"key": "C minor", "box": "frets 8-11"}),
        ("key A minor\nbox 1\n", {"tuning": "half step down"}, {"key": "Bb minor", "tuning": "half step down"}),
        ("key A minor\nbox 1\n", {"tuning": "half step down", "by": "shape"}, {"tuning": "half step down"}),
    ],
)  # fmt: skip
def test_a_box_and_a_tuning_mean_something_for_every_lick(
    head: str, wish: dict[str, str | int], expected: dict[str, str]
) -> None:
    assert fields(moved("| G5 G7 B6 e5 e6 --- |", f'{head}\nlick "Porch light"\n', **wish)) == expected


@pytest.mark.parametrize(
    ("music", "wish", "expected"),
    [
        ("| e8p5 B8p5 G7p5 D7 - |", {"box": "2"}, "| e8 B10 B8 G9 G7 D10 D7- |"),  # legato ends where strings change
        ("| G5/7 D7\\5 e5 e8 . . |", {"box": "2"}, "| D10/12 A12\\10 B10 e8 .. |"),  # a slide may leave the box by two frets
        ("| D5/12 G9 B10 - - - - |", {"box": "3"}, "| A10 /D12 G9 B10---- |"),  # further, it comes from nowhere
        ("| A0 e8 A0 e5 A0 G7 A0 - |", {"box": "2"}, "| A0 e8 A0 B10 A0 G7 A0- |"),  # open notes stay open
        ("| B5 e5 Gx Bx e5 - . . |", {"box": "2"}, "| G9 B10 Dx Gx B10- .. |"),
        ("| E<12> - (ring: D<12> G<12> B<12>) --- |", {"box": "3"}, "| E<12>- (ring: D<12> G<12> B<12>)--- |"),
        ("| G9^11 - -r p7 B8^^10 -- - |", {"box": "2"}, "| G9^11- -r p7 B8^^10--- |"),
        ("| te17p8p5 t17p8p5 e5- |", {"box": "4"}, "| tB22p13p10t22p13 G14 G14- |"),  # a tap keeps its string
        ("| (trill: G5h7)- G5&B5 - Gh7&Bh8 -- . |", {"key": "A minor"}, "| (trill: G5h7)- G5&B5- Gh7&Bh8-- . |"),
        ("| (rake: D G B e8) -- (rake: G B e5) ---- |", {"box": "2"}, "| (rake: D G B e8)-- (rake: D G B10)---- |"),
    ],
)  # fmt: skip
def test_in_another_box(music: str, wish: dict[str, str | int], expected: str) -> None:
    assert written(music, **wish) == expected


@pytest.mark.parametrize("box", ["2", "3", "4", "5"])
@pytest.mark.parametrize("key", [None, "C minor"])
def test_a_lick_goes_into_the_box_that_was_asked_for_though_it_is_harder_there(key: str | None, box: str) -> None:
    """A bend held under other notes is easiest where it was written; a box that can hold it is taken all the same."""
    music = "| G7^9 G-&e5 G-r&e8 Gp5 D7~ - . . | e5 G5h7 e5&B5 B8^full - -r - ||"
    wish: dict[str, str | int] = {"box": box} if key is None else {"box": box, "key": key}
    one = moved(music, HEAD, **wish)
    assert not [words for words in one.said if "the hand cannot hold it" in words]
    found = compile_text(canonical_text(Book((), (one.lick,)))).diagnostics
    assert not [d for d in found if d.code == "L204"], "it moves to another box than the one that it names"


def test_a_box_is_found_by_pitch_and_the_way_back_restores_the_pitches() -> None:
    music = "| e8 e5 B8 B5 G7 G5 D7 - | B8^10 -r p5 G7h9 G7 D7~ - |"
    book, source = read(f"{HEAD}{music}\n")
    before, _ = build_timeline(book.licks[0], book, source)
    assert before is not None
    there = moved(music, box="2")
    assert heard(there.timeline) == heard(before)
    area = there.timeline.settings.area
    assert area is not None
    inside = [s for s in there.timeline.sounds if (s.string, s.fret) in area.places]
    assert len(inside) >= len(there.timeline.sounds) - 2
    back_book, back_source = read(canonical_text(Book(book.head, (there.lick,))))
    back = move_lick(back_book.licks[0], back_book, back_source, MoveRequest(box="1"))
    assert heard(back.timeline) == heard(before)


def test_another_tuning_keeps_what_is_heard() -> None:
    one = moved("| E5 E8 A5 A7 D5 D7 G5 - |", tuning="drop D")
    before = compile_text(f"{HEAD}| E5 E8 A5 A7 D5 D7 G5 - |\n").licks[0].timeline
    assert before is not None
    assert [pitch for _, pitch in heard(one.timeline)] == [pitch for _, pitch in heard(before)]
    assert one.timeline.settings.tuning.name == "drop D"


@pytest.mark.parametrize(
    ("music", "wish", "said"),
    [
        ("| e8p5 B8p5 G7 - - - |", {"box": "2"}, "2 pull-offs in bar 1 are picked: their notes lie on two strings here"),
        ("| D5/12 G9 B10 - - - - |", {"box": "3"}, "the slide up in bar 1 is a slide from nowhere: its notes lie on two strings here"),
        ("| E5 E8 A7 - - - - - |", {"box": "3"}, "2 notes lie outside box 3, in bar 1"),
        ("| e8 - - - - - - - |", {"tuning": "whole step down"}, "fingered in B minor, it sounds as before"),
        ("| e21 - - - - - - - |", {"key": "C minor"}, "an octave lower: the neck ends there"),
        ("| E0 E3 A0 A2 --- . |", {"key": "F minor", "by": "shape"}, "2 open strings are fretted now"),
        ("| G<12> - - - --- . |", {"key": "B minor", "by": "shape"}, "natural harmonics are artificial harmonics now"),
        ("| e8'4 e5'1 B8'3 B5 G7 - - - |", {"box": "4"}, "written fingers are left out: the hand is another"),
    ],
)  # fmt: skip
def test_what_could_not_be_kept_is_said(music: str, wish: dict[str, str | int], said: str) -> None:
    assert said in moved(music, HEAD, **wish).said


@pytest.mark.parametrize(
    ("music", "wish", "why"),
    [
        ("| e8 - - - - - - - |", {"key": "C major"}, "a move keeps the mode: A minor can go to C minor, not to C major"),
        ("| e8 - - - - - - - |", {"box": "3", "by": "shape"}, "a shape keeps its fingering"),
        ("| e8 - - - - - - - |", {"key": "H minor"}, "H"),
        ("| e22 - - - E0 - - - |", {"octave": 1}, "no place on the neck holds its notes"),
        ("| e8 - - |", {"key": "C minor"}, "has errors"),
    ],
)  # fmt: skip
def test_what_cannot_be_moved_says_why(music: str, wish: dict[str, str | int], why: str) -> None:
    with pytest.raises(Unmovable, match=why):
        moved(music, HEAD.replace("box 1\n", ""), **wish)


# --- what a move brings with it ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("music", "wish", "never"),
    [
        ("| G5/7 - D5 -- . . |", {"key": "E minor"}, "G0"),
        ("| G5/7 - D5 -- . . |", {"octave": -1, "by": "pitch"}, "0 /"),
        ("| D5~ --- . . . . |", {"key": "E minor"}, "0~"),
        ("| D5~ --- . . . . |", {"key": "E minor", "by": "shape"}, "0~"),
        ("| G7\\5 --- . . . |", {"key": "E minor", "by": "shape"}, "\\0"),
        ("| /G5 --- G5/ . . . |", {"key": "E minor"}, "0/"),
        ("| B5^half --- . . . . |", {"key": "E minor", "by": "shape"}, "0^"),
    ],
)  # fmt: skip
def test_an_open_string_is_not_slid_shaken_or_bent(music: str, wish: dict[str, str | int], never: str) -> None:
    head = HEAD.replace("box 1\n", "")
    one = moved(music, head, **wish)
    assert never not in written(music, head, **wish)
    assert all(stopped for s in one.timeline.sounds if s.shapes for stopped in [s.fret])


def test_a_shape_that_only_an_open_string_could_hold_says_why() -> None:
    with pytest.raises(Unmovable, match="open string"):
        moved(
            "| D12~ --- D5~ --- |", 'key A minor\nfrets 12\nlick "Porch light"\n', key="E minor", by="shape", octave=0
        )


@pytest.mark.parametrize("wish", [{"key": "E minor"}, {"key": "E minor", "by": "shape"}])
def test_bends_stay_away_from_the_nut_where_another_octave_is_no_harder(wish: dict[str, str | int]) -> None:
    one = moved("| G7^9 - e5 e8 B8 B5 G7 - |", **wish)
    assert one.semitones == 7
    assert one.said[0].startswith("an octave higher: otherwise ") and not one.harder


def test_another_octave_is_better_than_a_lick_without_its_hammer_ons() -> None:
    (spiral,) = [(lick, book, source) for lick, book, source, _ in licks() if lick.title == "Spiral stair"]
    one = move_lick(*spiral, MoveRequest(key="E minor"))
    assert one.semitones == 7
    assert one.said[0].startswith("an octave higher: otherwise a whole-step bend ")
    assert not any("picked" in words for words in one.said)


def test_what_is_harder_is_said_where_it_cannot_be_helped() -> None:
    one = moved("| G7^9 - e5 e8 B8 B5 G7 - |", octave=-1)
    assert [d.code for d in one.harder] == ["L439"]
    (words,) = [words for words in one.said if words.startswith("harder now")]
    assert words == f"harder now, in bar 1: {one.harder[0].message}"


def test_a_lick_that_ends_high_up_the_neck_says_so() -> None:
    assert moved("| e8 --- e17 --- |", key="C# minor", by="shape").said[-1].startswith("it goes up to fret 21 here")
    assert not moved("| e8 --- e12 --- |", key="C# minor", by="shape").said


def test_a_note_that_names_a_chord_of_the_old_key_is_pointed_out() -> None:
    head = (
        'key A minor\n\nlick "Porch light"\nchords Am7 | D7\nnote Lean on the third of D7; the Am7 is on the D string.\n'
        "note A slow bend, fret 7 on the G string.\n"
    )
    one = moved("| e5 --- G5 --- | G7 --- ---- |", head, key="B minor")
    assert one.said == ("a note still names D7 and Am7, as in A minor: its words were not changed",)
    assert not moved("| e5 --- G5 --- | G7 --- ---- |", head, octave=1).said
    over = moved('| e5 --- G5 --- | @"over Am7" G7 --- ---- |', 'key A minor\nlick "Porch light"\n', key="B minor")
    assert over.said == ('the @"…" in bar 2 still names Am7, as in A minor: its words were not changed',)
    assert not moved("| e5 --- D7 --- |", 'key A minor\nlick "Porch light"\nnote Start on D7.\n', key="B minor").said


@pytest.mark.parametrize("of_file", [True, False])
def test_meant_lines_go_where_they_hide_nothing(of_file: bool) -> None:
    meant = 'meant L439 bar 1 "it has to growl"\n'
    head = f'key E minor\n{meant if of_file else ""}lick "Porch light"\n{"" if of_file else meant}'
    music = "| G2^4 --- e3 --- |"
    before = [d.code for d in compile_text(f"{head}{music}\n").licks[0].diagnostics]
    assert "L439" not in before and "L191" not in before
    one = moved(music, head, key="A minor")
    after = compile_text(canonical_text(book_with_licks(read(f"{head}{music}\n")[0], [one.lick])))
    why = (
        "hides nothing here: it stands in the head of the file, and stays"
        if of_file
        else "is left out: there is no such finding here"
    )
    assert one.said == (f"`meant L439 bar 1` {why}",)
    assert ("L191" in {d.code for d in after.diagnostics}) == of_file
    kept = moved(music, head, octave=1, by="shape", key="E minor")
    assert ("meant" in {e.name for e in kept.lick.fields if isinstance(e, Field)}) is False


def test_a_finger_is_not_written_on_an_open_string() -> None:
    one = moved("| e8'4 e5'1 B8'4 B5'1 G7 --- |", key="E minor", by="shape")
    assert "'1" not in written("| e8'4 e5'1 B8'4 B5'1 G7 --- |", key="E minor", by="shape")
    assert "written fingers are left out: their strings are open now" in one.said


@lru_cache
def compiled(text: str) -> tuple[CompiledLick, ...]:
    return compile_text(text).licks


SAID = ("harder now", "the level no longer fits")


def harder(lick: Lick, book: Book, source: Source, wish: MoveRequest) -> tuple[MovedLick, set[str]] | None:
    """The lick moved, and the codes of warnings about hands of which its text has more than the lick had; None if it cannot be moved."""
    try:
        one = move_lick(lick, book, source, wish)
    except Unmovable:
        return None
    after = compile_text(canonical_text(book_with_licks(book, [one.lick]))).licks[0]
    before = next(c for c in compiled(source.text) if c.title == lick.title)
    counts = [
        Counter(d.code for d in c.diagnostics if d.code.startswith("L4") and d.severity == "warning")
        for c in (after, before)
    ]
    return one, set(counts[0] - counts[1])


@every_nth(4)
def test_no_move_is_harder_in_silence(every: int) -> None:
    """Every sample in a key, and in a box or an octave, each time others: what the text has more of is said."""
    tried = gained = 0
    for n, (lick, book, source, timeline) in [*enumerate(licks())][every // 2 :: every]:
        key = keys(timeline)[(n + 3) % 12]
        wishes = [MoveRequest(key=key, by="shape" if n % 3 == 0 else "pitch")]
        wishes += [MoveRequest(box=str(n % 5 + 1)) if n % 2 else MoveRequest(octave=1 if n % 4 else -1)]
        for wish in wishes:
            found = harder(lick, book, source, wish)
            if found is None:
                continue
            one, codes = found
            tried, gained = tried + 1, gained + bool(codes)
            assert codes == {d.code for d in one.harder}, (lick.title, wish)
            assert bool(codes) == any(words.startswith(SAID) for words in one.said), (lick.title, wish)
    assert tried > 100 // every
    assert gained <= tried / 12  # where nothing else can be had; without a choice it is one in eight


@pytest.mark.slow
def test_no_move_of_any_sample_is_harder_in_silence() -> None:
    tried = gained = 0
    for lick, book, source, timeline in licks():
        wishes = [MoveRequest(key=key, by=by) for key in keys(timeline)[1:] for by in ("pitch", "shape")]
        wishes += [MoveRequest(box=box) for box in "12345"] + [MoveRequest(octave=1), MoveRequest(octave=-1)]
        for wish in wishes:
            found = harder(lick, book, source, wish)
            if found is not None:
                tried, gained = tried + 1, gained + bool(found[1])
                assert bool(found[1]) == any(words.startswith(SAID) for words in found[0].said), (
                    lick.title,
                    wish,
                )
    print(f"{gained} of {tried} moves are harder, and say so")


# --- the samples -------------------------------------------------------------------------------------------------


def licks() -> list[tuple[Lick, Book, Source, Timeline]]:
    out = []
    for path in SAMPLES:
        book, source = read(path.read_text("utf-8"))
        for lick in book.licks:
            timeline, _ = build_timeline(lick, book, source)
            assert timeline is not None
            out.append((lick, book, source, timeline))
    return out


def in_all(lick: Lick, book: Book, source: Source, timeline: Timeline, wish: MoveRequest) -> MovedLick:
    """Moved, with the text of it compiled again: no errors, and every pitch as far as it was to go."""
    one = move_lick(lick, book, source, wish)
    again = compile_text(canonical_text(book_with_licks(book, [one.lick]))).licks[0]
    assert again.ok and again.timeline is not None, (lick.title, wish, [d.message for d in again.diagnostics])
    expected = [(at, round(pitch + one.semitones, 2)) for at, pitch in heard(timeline)]
    assert heard(again.timeline) == expected, (lick.title, wish)
    return one


def keys(timeline: Timeline) -> list[str]:
    """All twelve, each as it is best spelled."""
    key = timeline.settings.key
    return [str(key.transposed(n)) for n in range(12)] if key else []


@every_nth(4)
def test_a_share_of_the_samples(every: int) -> None:
    """Every sample in two keys and boxes, each time others; every day in one."""
    for n, (lick, book, source, timeline) in enumerate(licks()):
        for m in (n, n + 7)[::every]:
            in_all(lick, book, source, timeline, MoveRequest(key=keys(timeline)[m % 12], box=str(m % 5 + 1)))


@every_nth(4)
def test_every_sample_into_a_box_and_back(every: int) -> None:
    """The pitches are those it had; with its own box that is a place it has been played in."""
    for n, (lick, book, source, timeline) in [*enumerate(licks())][::every]:
        there = in_all(lick, book, source, timeline, MoveRequest(box=str(n % 5 + 1)))
        assert there.semitones == 0
        book2, source2 = read(canonical_text(book_with_licks(book, [there.lick])))
        box = str(timeline.settings.box or "any")
        back = in_all(book2.licks[0], book2, source2, there.timeline, MoveRequest(box=box))
        assert heard(back.timeline) == heard(timeline), lick.title


@pytest.mark.slow
def test_every_sample_in_every_key_and_box() -> None:
    said, inside, notes, tried = Counter[str](), 0, 0, 0
    for lick, book, source, timeline in licks():
        for key in keys(timeline):
            for box in "12345":
                one = in_all(lick, book, source, timeline, MoveRequest(key=key, box=box))
                tried += 1
                said.update({words.split(" in bar")[0] for words in one.said})
                area = one.timeline.settings.area
                fretted = [s for s in one.timeline.sounds if s.fret and not s.dead]
                notes += len(fretted)
                inside += sum((s.string, s.fret) in area.places | area.blue for s in fretted) if area else 0
    print(f"{tried} moved, {inside / notes:.1%} of the notes in the box")
    for words, n in said.most_common(20):
        print(f"{n:5} {words}")
    assert tried == 60 * len(licks())
    assert inside / notes > 0.8


def test_the_head_of_a_file_says_what_all_its_licks_say() -> None:
    book, source = read(
        'key A minor\nby Me\n\nlick "One"\n| e8 - - - |\n\nlick "Two"\n| e5 - - - |\n'.replace(
            "- - - |", "-- e5 ---- |"
        )
    )
    done = [move_lick(lick, book, source, MoveRequest(key="C minor")).lick for lick in book.licks]
    text = canonical_text(book_with_licks(book, done))
    assert text.startswith("key C minor\nby  Me\n")
    assert text.count("key") == 1
    assert compile_text(text).ok
