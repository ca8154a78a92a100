"""A lick moved into a box: every note on its string there.

In: a counted lick and an aim; without a box, its own frets are one. Out: `Places`, the best home first. `options.py` says
what each note may be played on; between strings as good as each other `fingering.plan` chooses. Notes that sound
together or go on under others get strings of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import islice

from lickwright.hand.fingering import Choice, HandMoment, hand_for, hand_moments, plan_fingering
from lickwright.notation.techniques import ENTRIES, PICKED, Curve, Technique
from lickwright.timeline.model import SoundingNote, Timeline
from lickwright.transform.moves.note_positions import NotePositions, has_pitch, stopped_fret, written_sounds
from lickwright.transform.moves.options import AS_GOOD, ConnectedNotes, Draft, draft_placements
from lickwright.transform.moves.target import MoveTarget

_HOMES = 2  # the best, and the next where the best cannot be played
_WIDE = 3  # strings a note that are tried where a chord does not fit on its best ones
_HELD = 5  # frets from the lowest to the highest of a chord that a hand may hold
_MOST = 2_000  # ways of a chord that are looked at: six strings have 720
_CHOICES = 16  # places of one moment that are weighed


def placements_in_box(timeline: Timeline, aim: MoveTarget) -> Iterator[NotePositions]:
    """Places in the box: those that it does not hold lie as near to it as can be."""
    moments, groups = hand_moments(timeline)
    for draft in islice(draft_placements(timeline, aim), _HOMES):
        run_of = {sound.index: run for run in draft.runs for sound in run.sounds}
        if _planned(timeline, aim, draft, run_of, moments, groups):
            _apart(timeline, run_of)
            yield _places(timeline, aim, draft, run_of)


def _fret(sound: SoundingNote, string: int, timeline: Timeline, aim: MoveTarget) -> int:
    old = timeline.settings.tuning
    return old.sounding[sound.string - 1] + (stopped_fret(sound) or 0) + aim.semitones - aim.tuning.sounding[string - 1]


# --- choosing --------------------------------------------------------------------------------------------------------


def _planned(
    timeline: Timeline, aim: MoveTarget, draft: Draft, run_of: dict[int, ConnectedNotes], moments: Sequence[HandMoment],
    groups: Sequence[list[SoundingNote]],
) -> bool:  # fmt: skip
    """Gives every run its string; False where notes that sound together find no strings of their own."""
    parted = {sound.index for sound in draft.parted}
    asked: list[HandMoment] = []
    kept: list[list[SoundingNote]] = []
    for moment, group in zip(moments, groups, strict=True):
        sounds = [s for s in group if s.index in run_of]
        if not sounds:
            continue
        strings = _together(sounds, run_of, timeline, aim)
        if not strings:
            return False
        choices = tuple(
            tuple((string, _fret(s, string, timeline, aim)) for s, string in zip(sounds, way, strict=True))
            for way in strings
        )
        joined = moment.joined and not any(s.index in parted for s in sounds)
        asked.append(moment._replace(choices=choices, joined=joined, slid=moment.slid and joined, fixed=()))
        kept.append(sounds)
    for sounds, choice in zip(kept, _chosen(asked, timeline, draft), strict=True):
        for sound, (string, _) in zip(sounds, choice, strict=True):
            run = run_of[sound.index]
            run.string = string if sound is run.sounds[0] or run.sounds[0].source is None else run.string
    return True


def _chosen(asked: list[HandMoment], timeline: Timeline, draft: Draft) -> list[Choice]:
    if all(len(moment.choices) == 1 for moment in asked):
        return [moment.choices[0] for moment in asked]
    planned = plan_fingering(asked, hand_for(timeline), draft.home)
    return [moment.choices[n] for moment, n in zip(asked, planned.choice, strict=True)]


def _together(
    sounds: Sequence[SoundingNote], run_of: dict[int, ConnectedNotes], timeline: Timeline, aim: MoveTarget
) -> list[tuple[int, ...]]:
    """Strings for notes that begin together, a different one each, the cheapest first: where a hand holds them, if it can."""
    costs = [run_of[s.index].strings for s in sounds]
    best = [{k: c for k, c in one.items() if c <= min(one.values()) + AS_GOOD} for one in costs]
    if len(sounds) == 1:
        return [(string,) for string in best[0]]
    wide = [dict(sorted(one.items(), key=lambda pair: pair[1])[:_WIDE]) for one in costs]
    some: list[tuple[int, ...]] = []
    for allowed in (best, wide, costs):
        found = list(islice(_ways(allowed), _MOST))
        some = some or found
        if held := [way for way in found if _spread(sounds, way, timeline, aim) < _HELD]:
            some = held
            break
    return sorted(some, key=lambda way: sum(one[k] for one, k in zip(costs, way, strict=True)))[:_CHOICES]


def _ways(allowed: Sequence[Iterable[int]], taken: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    """Every choice of one each, no two alike."""
    if not allowed:
        yield taken
        return
    for string in allowed[0]:
        if string not in taken:
            yield from _ways(allowed[1:], (*taken, string))


def _spread(sounds: Sequence[SoundingNote], way: Sequence[int], timeline: Timeline, aim: MoveTarget) -> int:
    frets = [fret for s, string in zip(sounds, way, strict=True) if (fret := _fret(s, string, timeline, aim))]
    return max(frets, default=0) - min(frets, default=0)


def _apart(timeline: Timeline, run_of: dict[int, ConnectedNotes]) -> None:
    """Notes that go on under others keep their string to themselves: the later run takes its next best."""
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


def _places(timeline: Timeline, aim: MoveTarget, draft: Draft, run_of: dict[int, ConnectedNotes]) -> NotePositions:
    at: dict[int, tuple[int, int | None]] = {}
    for index, run in run_of.items():
        at[index] = run.string, _fret(timeline.sounds[index], run.string, timeline, aim)
    sounds = written_sounds(timeline)
    for sound in sounds:
        if sound.index not in at:
            at[sound.index] = _beside(sound, sounds, run_of, at, aim), None
    begins = {s.index: _instead(s) for s in draft.parted if at[s.index][0] != at[s.source or 0][0]}
    said = [*_parted(timeline, [timeline.sounds[n] for n in begins]), *_outside(timeline, aim, draft, at)]
    return NotePositions(at, aim.semitones, tuple(said), begins)


def _beside(
    sound: SoundingNote,
    sounds: list[SoundingNote],
    run_of: dict[int, ConnectedNotes],
    at: dict[int, tuple[int, int | None]],
    aim: MoveTarget,
) -> int:
    """A dead note goes where the nearest note of its string goes, and shares no string with what sounds then."""
    if sound.kind == "scrape":
        return min(sound.string, aim.tuning.strings)
    near = [s for s in sounds if s.index in run_of]
    guide = min(near, key=lambda s: (s.string != sound.string, abs(s.start - sound.start)), default=None)
    wanted = sound.string + (run_of[guide.index].string - guide.string if guide is not None else 0)
    taken = {at[s.index][0] for s in sounds if s.index in at and s.start <= sound.start < max(s.end, s.start + 1)}
    free = [string for string in range(1, aim.tuning.strings + 1) if string not in taken]
    return min(free, key=lambda string: abs(string - wanted), default=min(max(wanted, 1), aim.tuning.strings))


def _instead(sound: SoundingNote) -> Technique:
    """A slide comes from nowhere, the way it came; anything else is picked."""
    if sound.begin.curve is not Curve.GLIDE or not stopped_fret(sound):
        return PICKED
    return ENTRIES["/" if sound.begin.direction > 0 else "\\"]


def _parted(timeline: Timeline, sounds: Iterable[SoundingNote]) -> Iterator[str]:
    """`pull-offs in bars 1 and 2 are picked: their notes lie on two strings here`."""
    groups: dict[tuple[str, str], list[SoundingNote]] = {}
    for sound in sounds:
        how = "picked" if _instead(sound) is PICKED else "a slide from nowhere"
        groups.setdefault((sound.begin.name, how), []).append(sound)
    for (name, how), ones in groups.items():
        where = bars_in_words(timeline, ones)
        if len(ones) == 1:
            yield f"the {name} in {where} is {how}: its notes lie on two strings here"
        else:
            first, _, rest = name.partition(" ")
            many = f"{len(ones)} {first}s {rest}".rstrip()
            yield f"{many} in {where} are {how.replace('a slide', 'slides')}: their notes lie on two strings here"


def _outside(timeline: Timeline, aim: MoveTarget, draft: Draft, at: dict[int, tuple[int, int | None]]) -> Iterator[str]:
    ones = [
        s
        for s in written_sounds(timeline)
        if has_pitch(s) and not s.harmonic and at[s.index][1] and at[s.index] not in draft.home
    ]
    if ones and aim.box is not None:
        name = f"box {aim.box}" if aim.box.numbers else f"the {aim.box}" if aim.box.shape else str(aim.box)
        notes = "1 note lies" if len(ones) == 1 else f"{len(ones)} notes lie"
        yield f"{notes} outside {name}, in {bars_in_words(timeline, ones)}"


def bars_in_words(timeline: Timeline, sounds: Iterable[SoundingNote]) -> str:
    """`bar 1`, `bars 1, 2 and 4`."""
    numbers = [str(n) for n in sorted({timeline.bars[timeline.slots[s.slot].bar].number for s in sounds})]
    if len(numbers) == 1:
        return f"bar {numbers[0]}"
    return f"bars {', '.join(numbers[:-1])} and {numbers[-1]}"
