"""Likeness of phrases: planted duplicates are found, however moved or changed a little, and no others are.

The yardstick is written out plainly here: the whole table of costs for every way to lay one phrase beside the other.
"""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pytest

from lickwright.analysis.fingerprint import WHOLE, unpack_moments
from lickwright.core.source import Source
from lickwright.index.duplicates import _PieceIndex, describe_group, find_duplicates, group_near_phrases
from lickwright.index.edit_distance import (
    NOTE,
    PART,
    PreparedPhrase,
    edit_cost,
    edit_likeness,
    near_limit,
    prepare_phrase,
)
from lickwright.index.similarity_search import find_similar
from lickwright.music.pitch import parse_key
from lickwright.notation.canonical import canonical_text
from lickwright.notation.syntax import parse_source
from lickwright.store.features import LickFacts
from lickwright.store.guarded_database import Unusable
from lickwright.store.index_schema import SEARCH_SCHEMA
from lickwright.transform.moves import MoveRequest, book_with_licks, move_lick
from shelved import SAMPLES, facts_of, indexed, sample_facts, sample_index

EIGHTH = WHOLE // 8
HEAD = "key A minor\nstep 1/8\n\n"
BASE = "| e8 e5 B8 B5 G7 G5 D7 D5 | A7 A5 D7 G5 G7 B5 B8 - |"


def packed(pitches: list[int], waits: list[int]) -> bytes:
    """A phrase's moments, of single notes."""
    low = b"".join(wait.to_bytes(2, "little") for wait in [*waits[:-1], 0])
    return bytes(128 + p - pitches[0] for p in pitches) + bytes(len(pitches)) + low


def plain_cost(one: PreparedPhrase, other: PreparedPhrase, semitones: int) -> int:
    """The cheapest way from one to the other, all of the table worked out."""
    a = list(zip(*one.moments, strict=True))
    b = [(p - semitones, c, w) for p, c, w in zip(*other.moments, strict=True)]
    row = [NOTE * j for j in range(len(b) + 1)]
    for i, x in enumerate(a, 1):
        before, row = row, [NOTE * i]
        for j, y in enumerate(b, 1):
            if x[0] != y[0]:
                differ = NOTE
            else:
                differ = PART * (x[1] != y[1]) + PART * (x[2] != y[2] and bool(x[2]) and bool(y[2]))
            row.append(min(before[j - 1] + differ, before[j] + NOTE, row[j - 1] + NOTE))
    return row[-1]


# --- how alike -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("music", "halves", "counts"),
    [
        (BASE, 0, (0, 0, 0, 0)),
        (BASE.replace("A7 A5", "A5 A5"), 2, (1, 0, 0, 0)),
        (BASE.replace("B5 B8 -", "B5 B8 B5"), 2, (0, 1, 0, 0)),
        (BASE.replace("e8 e5", "e8 -").replace("B8 B5 G7 G5", "B8 B5 G7 -"), 6, (0, 0, 2, 2)),
        (BASE.replace("G5 D7", "G5& D7").replace("G5& D7", "3[G5 G5 D7] .").replace(" D5 |", " |"), None, None),
        (BASE.replace("D7 G5 G7", "D7&G7 G5 G7"), 2, (1, 0, 0, 0)),
    ],
)  # fmt: skip
def test_what_differs_is_counted(music: str, halves: int | None, counts: tuple[int, int, int, int] | None) -> None:
    one, other = (prepare_phrase(facts_of(f'{HEAD}lick "x"\n{text}\n')[0].moments) for text in (BASE, music))
    found = edit_likeness(one, other, 2 * near_limit(one.notes))
    if halves is None or counts is None:
        assert found is None or found.cost > 0
        return
    assert found is not None and found.cost == halves == edit_cost(one, other, 20)
    assert (found.other, found.more, found.fewer, found.lengths) == counts


@pytest.mark.parametrize(("many", "least"), [(40, 15), pytest.param(160, 60, marks=pytest.mark.slow)])
def test_costs_agree_with_the_plain_table(many: int, least: int) -> None:
    """Of phrases that differ a little, the cost is the least there is; where it is said to be too high, it is."""
    draw, told = random.Random(5), 0
    for _ in range(many):
        pitches = [draw.choice((0, 3, 5, 7, 10, 12)) for _ in range(draw.randint(8, 40))]
        waits = [draw.choice((EIGHTH, EIGHTH, 2 * EIGHTH)) for _ in pitches]
        one = prepare_phrase(packed(pitches, waits))
        up = draw.randint(-5, 5)
        other = prepare_phrase(packed(*changed(draw, pitches, waits, draw.randint(0, 4), up)))
        limit = near_limit(min(one.notes, other.notes))
        cheapest = min(plain_cost(one, other, semitones) for semitones in range(-24, 25))
        if cheapest <= limit:
            told += 1
            assert edit_cost(one, other, limit) == cheapest
            found = edit_likeness(one, other, limit)
            assert found is not None and found.cost == cheapest
        else:
            assert edit_cost(one, other, limit) is None
    assert told > least


def changed(
    draw: random.Random, pitches: list[int], waits: list[int], times: int, up: int = 0
) -> tuple[list[int], list[int]]:
    """The phrase with so many notes changed, put in or taken out, or made longer, and so many semitones higher."""
    new, lengths = [p + up for p in pitches], list(waits)
    for _ in range(times):
        at, what = draw.randrange(1, len(new) - 1), draw.randrange(4)
        if what == 0:
            new[at] += draw.choice((-2, -1, 1, 2))
        elif what == 1:
            new.insert(at, draw.choice((0, 3, 5, 7)) + up)
            lengths.insert(at, EIGHTH)
        elif what == 2 and len(new) > 8:
            del new[at], lengths[at]
        else:
            lengths[at] *= 2
    return new, lengths


# --- groups ----------------------------------------------------------------------------------------------------------


def test_the_samples_are_not_alike() -> None:
    assert find_duplicates(sample_index()).groups == []


@cache
def moved_samples() -> list[tuple[LickFacts, LickFacts]]:
    """Every sample, and the same in another key and box."""
    pairs = []
    for path in SAMPLES:
        source = Source(str(path), path.read_text("utf-8"))
        book, _ = parse_source(source)
        for lick, own in zip(book.licks, sample_facts()[str(path)], strict=True):
            n = len(pairs)
            key = str(parse_key(own.key).transposed(n % 11 + 1)) if own.key else None
            there = move_lick(lick, book, source, MoveRequest(key=key, box=str(n % 5 + 1)))
            pairs.append((own, facts_of(canonical_text(book_with_licks(book, [there.lick])))[0]))
    return pairs


def test_samples_in_another_key_and_box_are_found_and_nothing_else() -> None:
    files = {f"a/{n:02}.lick": [own] for n, (own, _) in enumerate(moved_samples())}
    files |= {f"b/{n:02}.lick": [there] for n, (_, there) in enumerate(moved_samples())}
    connection = indexed(files)
    assert find_duplicates(connection).groups == [], "a family is no duplicate"
    found = find_duplicates(connection, families=True).groups
    assert len(found) == 60 == len(moved_samples())
    assert {group.kind for group in found} == {"same phrase"}
    for group in found:
        first, second = (member.hit for member in describe_group(connection, group))
        assert first.path[2:] == second.path[2:] and first.path < second.path
    for n, (own, there) in enumerate(moved_samples()):
        likest = find_similar(connection, own, 5)
        assert [(one.kind, one.hit.path) for one in likest] == [
            ("same tab", f"a/{n:02}.lick"), ("same phrase", f"b/{n:02}.lick")
        ]  # fmt: skip
        if own.key:
            assert likest[1].how[0] == f"in {there.key}"


def test_samples_with_one_or_two_notes_changed_are_found() -> None:
    """Each sample beside a copy, moved, with one or two notes of another pitch: near, and the likest but itself.

    Of the one sample that has fewer than eight notes there is nothing near, only the same.
    """
    draw, files, changes = random.Random(11), {}, {}
    for n, own in enumerate(one for found in sample_facts().values() for one in found if one.phrase_notes >= 8):
        read = unpack_moments(own.moments)
        edits = 1 if own.phrase_notes < 16 else draw.choice((1, 2))
        new = bytearray(read.pitches)
        for at in draw.sample([at for at in range(1, own.phrase_notes) if read.chords[at] == 0], edits):
            new[at] += draw.choice((-2, -1, 1, 2))
        files[f"a/{n:02}.lick"] = [own]
        copy = bytes(new) + own.moments[own.phrase_notes :]
        files[f"b/{n:02}.lick"] = [own._replace(moments=copy, phrase=n + 1, tab=n + 1, key="C minor")]
        changes[n] = edits
    connection = indexed(files)
    found = find_duplicates(connection).groups
    assert len(found) == 59 and {group.kind for group in found} == {"near"}
    for group in found:
        first, second = describe_group(connection, group)
        assert first.hit.path[2:] == second.hit.path[2:]
    for n, one in changes.items():
        own = files[f"a/{n:02}.lick"][0]
        other = find_similar(connection, own, 5)[1]
        assert (other.kind, other.hit.path) == ("near", f"b/{n:02}.lick")
        assert other.how[0] == ("1 note different" if one == 1 else "2 notes different")
        assert other.share == pytest.approx(1 - one / own.phrase_notes)


@pytest.mark.parametrize(("many", "least"), [(16, 5), pytest.param(36, 12, marks=pytest.mark.slow)])
def test_near_ones_are_never_missed(many: int, least: int) -> None:
    """Of many phrases, half of them changed copies of others: all that the plain table calls near are linked."""
    draw, phrases = random.Random(3), []
    for _ in range(many):
        pitches = [draw.choice((-5, -2, 0, 3, 5, 7, 10, 12)) for _ in range(draw.randint(8, 30))]
        waits = [draw.choice((EIGHTH, EIGHTH, 2 * EIGHTH)) for _ in pitches]
        phrases += [(pitches, waits), changed(draw, pitches, waits, draw.randint(1, 3), draw.randint(-7, 7))]
    shapes = [prepare_phrase(packed(*one)) for one in phrases]
    of = {n: group[0] for group in group_near_phrases(shapes).groups for n in group}
    pairs = 0
    for n, one in enumerate(shapes):
        for m in range(n):
            limit = near_limit(min(one.notes, shapes[m].notes))
            if NOTE * abs(one.notes - shapes[m].notes) > limit:
                continue
            near_by = min(plain_cost(shapes[m], one, up) for up in range(-12, 13)) <= limit
            pairs += near_by
            assert not near_by or of[n] == of[m]
    assert pairs > least


def test_work_on_very_many_near_ones_is_bounded_and_said() -> None:
    """Many copies of one phrase with other notes: few pairs are compared once the effort is spent, and copies side by side still link."""
    draw = random.Random(5)
    base = [draw.choice((-5, -2, 0, 3, 5, 7, 10, 12)) for _ in range(24)]
    phrases = []
    for n in range(300):
        pitches = list(base)
        for at in (1 + n % 23, 1 + n // 23):
            pitches[at] += 1 + n % 5
        phrases.append(prepare_phrase(packed(pitches, [EIGHTH] * 24)))
    whole, bounded = group_near_phrases(phrases), group_near_phrases(phrases, effort=0)
    assert whole.is_complete and not bounded.is_complete
    assert max(map(len, whole.groups)) == 300
    assert max(map(len, bounded.groups)) > 250

    def entries(number: int) -> int:
        index = _PieceIndex(0)
        for n in range(number):
            for _ in index.candidates(phrases[n]):
                pass
            index.add(n, phrases[n])
        return -index.effort

    assert entries(300) < 2.5 * entries(150)  # in proportion, not by the square


def test_planted_licks(tmp_path: Path) -> None:
    """A small library by hand: what is the same, moved and near ends in groups of its kind, the rest in none."""
    licks = {
        "base": BASE,
        "copy": BASE,
        "higher": "| e11 e8 B11 B8 G10 G8 D10 D8 | A10 A8 D10 G8 G10 B8 B11 - |",
        "one": BASE.replace("A7 A5", "A3 A5"),
        "other": "| e5 e8 e5 B8 e5 B8 B5 G7 | B8 B5 G7 B5 G7 G5 D7 - |",
        "short": "| e8 e5 . . . . . . |",
        "short too": "| e8 e5 . . . . . . |",
    }
    text = HEAD + "\n".join(f'lick "{name}"\n{music}\n' for name, music in licks.items())
    connection = indexed({"a.lick": facts_of(text)})
    (group,) = find_duplicates(connection).groups
    assert group.kind == "near"
    members = {m.hit.facts["title"]: m.how for m in describe_group(connection, group)}
    assert list(members) == ["base", "copy", "higher", "one"]
    assert members["base"] == members["copy"] == ()
    assert members["higher"] == ("frets 8-11", "3 half steps higher")
    assert members["one"][0] == "1 note different"


def test_without_full_text_search_the_same_is_found() -> None:
    own = moved_samples()[4][0]
    connection = indexed({f"{n}.lick": pair for n, pair in enumerate(moved_samples())})
    with_search = find_similar(connection, own, 9)
    for statement in SEARCH_SCHEMA.split(";"):
        if "VIRTUAL" in statement:
            connection.execute(f"DROP TABLE {statement.split('EXISTS ')[1].split(' ')[0]}")
    assert find_similar(connection, own, 9) == with_search and len(with_search) >= 2


@pytest.mark.parametrize("moments", ["zeroblob(400001)", "'text'", "7"])
def test_a_phrase_that_no_lickwright_has_entered_is_not_compared(moments: str) -> None:
    """Of a large index nobody has looked at all of them before."""
    music = "| e8 e5 B8 B5 G7 G5 D7 D5 | e8 e5 B8 B5 G7 G5 D7 A5 ||"
    one, other = (
        facts_of(f'key A minor\nlick "{n}"\n{notes}\n')[0] for n, notes in enumerate((music, music[:-5] + "E5 ||"))
    )
    connection = indexed({"a.lick": [one], "b.lick": [other]})
    assert len(find_similar(connection, one, 5)) == 2
    connection.execute(f"UPDATE phrases SET moments = {moments} WHERE code = ?", (other.phrase,))
    with pytest.raises(Unusable, match="it holds what no lickwright has entered"):
        find_similar(connection, one, 5)
