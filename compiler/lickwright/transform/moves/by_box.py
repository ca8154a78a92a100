"""Placing a lick in a box: a string and a fret for every note.

In: a counted lick and a target; without a box, the lick's own frets are one. Out: `NotePositions`, those in the best home first.
`options.py` says what each note may be played on; between strings as good as each other `plan_fingering` chooses. Notes that sound
together or go on under others get strings of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from lickwright.hand.fingering import Choice, HandMoment, hand_for, hand_moments, plan_fingering
from lickwright.notation.techniques import ENTRIES, PICKED, Curve, Technique
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.candidate_places import AS_GOOD, ConnectedNotes, Draft, draft_placements
from lickwright.transform.moves.note_positions import NotePositions, has_pitch, stopped_fret, written_sounds
from lickwright.transform.moves.target import MoveTarget

_HOMES = 2  # homes tried: the best, and the next where the best cannot be played
_WIDE = 3  # strings a note that are tried where a chord does not fit on its best ones
_HELD = 5  # frets from the lowest to the highest of a chord that a hand may hold
_MOST = 2_000  # ways of a chord that are looked at: six strings have 720
_CHOICES = 16  # placements of one moment that are weighed; an estimate, as the three above


def placements_in_box(timeline: Timeline, target: MoveTarget) -> Iterator[NotePositions]:
    """Yield placements in the box; notes that it does not hold lie as near to it as can be."""
    moments, groups = hand_moments(timeline)
    for draft in islice(draft_placements(timeline, target), _HOMES):
        run_of = {sound.index: run for run in draft.runs for sound in run.sounds}
        if _assign_strings(timeline, target, draft, run_of, moments, groups):
            _separate_held(timeline, run_of)
            yield _positions(timeline, target, draft, run_of)


def _fret(sound: SoundingNote, string: int, timeline: Timeline, target: MoveTarget) -> int:
    old = timeline.settings.tuning
    return (
        old.sounding[sound.string - 1]
        + (stopped_fret(sound) or 0)
        + target.semitones
        - target.tuning.sounding[string - 1]
    )


# --- choosing --------------------------------------------------------------------------------------------------------


def _assign_strings(
    timeline: Timeline, target: MoveTarget, draft: Draft, run_of: dict[int, ConnectedNotes], moments: Sequence[HandMoment],
    groups: Sequence[list[SoundingNote]],
) -> bool:  # fmt: skip
    """Give every run its string; return False where notes that sound together find no strings of their own."""
    parted = {sound.index for sound in draft.parted}
    planned: list[tuple[HandMoment, list[SoundingNote]]] = []
    for moment, group in zip(moments, groups, strict=True):
        sounds = [s for s in group if s.index in run_of]
        if not sounds:
            continue
        choices = _choices(sounds, run_of, timeline, target)
        if not choices:
            return False
        joined = moment.joined and not any(s.index in parted for s in sounds)
        asked = moment._replace(choices=choices, joined=joined, slid=moment.slid and joined, fixed=())
        planned.append((asked, sounds))
    chosen = _chosen([asked for asked, _ in planned], timeline, draft)
    for (_, sounds), choice in zip(planned, chosen, strict=True):
        _take(choice, sounds, run_of)
    return True


def _take(choice: Choice, sounds: Sequence[SoundingNote], run_of: dict[int, ConnectedNotes]) -> None:
    """Give the runs that begin with these sounds the strings that were chosen."""
    for sound, (string, _) in zip(sounds, choice, strict=True):
        run = run_of[sound.index]
        if sound is run.sounds[0] or run.sounds[0].source is None:
            run.string = string


def _choices(
    sounds: Sequence[SoundingNote], run_of: dict[int, ConnectedNotes], timeline: Timeline, target: MoveTarget
) -> tuple[Choice, ...]:
    """Return strings and frets for notes that begin together, the cheapest choice first."""
    return tuple(
        tuple((string, _fret(s, string, timeline, target)) for s, string in zip(sounds, strings, strict=True))
        for strings in _string_choices(sounds, run_of, timeline, target)
    )


def _chosen(asked: list[HandMoment], timeline: Timeline, draft: Draft) -> list[Choice]:
    if all(len(moment.choices) == 1 for moment in asked):
        return [moment.choices[0] for moment in asked]
    planned = plan_fingering(asked, hand_for(timeline), draft.home)
    return [moment.choices[n] for moment, n in zip(asked, planned.choice, strict=True)]


def _string_choices(
    sounds: Sequence[SoundingNote], run_of: dict[int, ConnectedNotes], timeline: Timeline, target: MoveTarget
) -> list[tuple[int, ...]]:
    """Return strings for notes that begin together, a different one each, the cheapest first: where a hand holds them, if it can."""
    costs = [run_of[s.index].strings for s in sounds]
    best = [{k: c for k, c in one.items() if c <= min(one.values()) + AS_GOOD} for one in costs]
    if len(sounds) == 1:
        return [(string,) for string in best[0]]
    wide = [dict(sorted(one.items(), key=lambda pair: pair[1])[:_WIDE]) for one in costs]
    some = _held_choices((best, wide, costs), sounds, timeline, target)
    return sorted(some, key=lambda way: sum(one[k] for one, k in zip(costs, way, strict=True)))[:_CHOICES]


def _held_choices(
    allowed: Iterable[Sequence[Iterable[int]]], sounds: Sequence[SoundingNote], timeline: Timeline, target: MoveTarget
) -> list[tuple[int, ...]]:
    """Return the choices that a hand holds, of the first strings that allow any; else what the first allow at all."""
    some: list[tuple[int, ...]] = []
    for strings in allowed:
        found = list(islice(_distinct_choices(strings), _MOST))
        if held := [way for way in found if _fret_spread(sounds, way, timeline, target) < _HELD]:
            return held
        some = some or found
    return some


def _distinct_choices(allowed: Sequence[Iterable[int]], taken: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    """Yield every choice of one each, no two alike."""
    if not allowed:
        yield taken
        return
    for string in allowed[0]:
        if string not in taken:
            yield from _distinct_choices(allowed[1:], (*taken, string))


def _fret_spread(sounds: Sequence[SoundingNote], way: Sequence[int], timeline: Timeline, target: MoveTarget) -> int:
    frets = [fret for s, string in zip(sounds, way, strict=True) if (fret := _fret(s, string, timeline, target))]
    return max(frets, default=0) - min(frets, default=0)


def _separate_held(timeline: Timeline, run_of: dict[int, ConnectedNotes]) -> None:
    """Give notes that go on under others a string to themselves: the later run takes its next best."""
    alive: list[SoundingNote] = []
    for sound in written_sounds(timeline):
        if sound.index not in run_of:
            continue
        alive = [s for s in alive if s.end > sound.start or s.start == sound.start]
        run = run_of[sound.index]
        taken = {run_of[s.index].string for s in alive if run_of[s.index] is not run}
        if run.string in taken and sound is run.sounds[0]:
            free = [string for string in run.strings if string not in taken]
            run.string = min(free, key=lambda string: run.strings[string], default=run.string)
        alive.append(sound)


# --- saying ----------------------------------------------------------------------------------------------------------


def _positions(
    timeline: Timeline, target: MoveTarget, draft: Draft, run_of: dict[int, ConnectedNotes]
) -> NotePositions:
    at: dict[int, tuple[int, int | None]] = {}
    for index, run in run_of.items():
        at[index] = run.string, _fret(timeline.sounds[index], run.string, timeline, target)
    sounds = written_sounds(timeline)
    for sound in sounds:
        if sound.index not in at:
            at[sound.index] = _beside(sound, sounds, run_of, at, target), None
    begins = {s.index: _new_begin(s) for s in draft.parted if at[s.index][0] != at[s.source or 0][0]}
    said = [*_parted(timeline, [timeline.sounds[n] for n in begins]), *_outside(timeline, target, draft, at)]
    return NotePositions(at, target.semitones, tuple(said), begins)


def _beside(
    sound: SoundingNote,
    sounds: list[SoundingNote],
    run_of: dict[int, ConnectedNotes],
    at: dict[int, tuple[int, int | None]],
    target: MoveTarget,
) -> int:
    """Return the string of a dead note: where the nearest note of its string goes, shared with nothing that sounds then."""
    if sound.kind == "scrape":
        return min(sound.string, target.tuning.strings)
    near = [s for s in sounds if s.index in run_of]
    guide = min(near, key=lambda s: (s.string != sound.string, abs(s.start - sound.start)), default=None)
    wanted = sound.string + (run_of[guide.index].string - guide.string if guide is not None else 0)
    taken = {at[s.index][0] for s in sounds if s.index in at and s.start <= sound.start < max(s.end, s.start + 1)}
    free = [string for string in range(1, target.tuning.strings + 1) if string not in taken]
    return min(free, key=lambda string: abs(string - wanted), default=min(max(wanted, 1), target.tuning.strings))


def _new_begin(sound: SoundingNote) -> Technique:
    """Return how a note begins that is no longer connected: a slide comes from nowhere, the way it came; anything else is picked."""
    if sound.begin.curve is not Curve.GLIDE or not stopped_fret(sound):
        return PICKED
    return ENTRIES["/" if sound.begin.direction > 0 else "\\"]


def _parted(timeline: Timeline, sounds: Iterable[SoundingNote]) -> Iterator[str]:
    """Yield a sentence about connections that end: `2 pull-offs in bars 1 and 2 are picked: their notes lie on two strings here`."""
    groups: dict[tuple[str, str], list[SoundingNote]] = {}
    for sound in sounds:
        how = "picked" if _new_begin(sound) is PICKED else "a slide from nowhere"
        groups.setdefault((sound.begin.name, how), []).append(sound)
    for (name, how), ones in groups.items():
        where = bars_in_words(timeline, ones)
        if len(ones) == 1:
            yield f"the {name} in {where} is {how}: its notes lie on two strings here"
        else:
            first, _, rest = name.partition(" ")
            many = f"{len(ones)} {first}s {rest}".rstrip()
            yield f"{many} in {where} are {how.replace('a slide', 'slides')}: their notes lie on two strings here"


def _outside(
    timeline: Timeline, target: MoveTarget, draft: Draft, at: dict[int, tuple[int, int | None]]
) -> Iterator[str]:
    ones = [
        s
        for s in written_sounds(timeline)
        if has_pitch(s) and not s.harmonic and at[s.index][1] and at[s.index] not in draft.home
    ]
    if ones and target.box is not None:
        name = (
            f"box {target.box}" if target.box.numbers else f"the {target.box}" if target.box.shape else str(target.box)
        )
        notes = "1 note lies" if len(ones) == 1 else f"{len(ones)} notes lie"
        yield f"{notes} outside {name}, in {bars_in_words(timeline, ones)}"


def bars_in_words(timeline: Timeline, sounds: Iterable[SoundingNote]) -> str:
    """Return where sounds stand: `bar 1`, `bars 1, 2 and 4`."""
    numbers = [str(n) for n in sorted({timeline.bars[timeline.slots[s.slot].bar].number for s in sounds})]
    if len(numbers) == 1:
        return f"bar {numbers[0]}"
    return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"
