"""What was played of a lick: the steps of judging what was heard, in order.

In: a Timeline, its Performance and a `Hearing` (`stretches`). Out: a `Judgement`. First the match, then the verdict on each note, in the
kinds of a comparison and with its score. Another lick is refused instead of judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lickwright.compare.model import DifferenceKind, Pair, Score
from lickwright.compare.score import score_pairs
from lickwright.listen.deviations import note_deviations
from lickwright.listen.expected import ExpectedGroup, expected_groups
from lickwright.listen.heard_pass import HeardPass
from lickwright.listen.judge_covered_releases import judge_covered_releases
from lickwright.listen.judge_doubts import take_back_doubts
from lickwright.listen.judge_entries import corrected_times
from lickwright.listen.judge_extras import find_extras
from lickwright.listen.judge_gestures import judge_gestures
from lickwright.listen.judge_notes import judge_pitches
from lickwright.listen.lateness import OnsetTiming, judge_onsets, overall_pace
from lickwright.listen.match import MatchedPass, Matching
from lickwright.listen.mirrors import fit_against_mirrors
from lickwright.listen.model import HeardNote, HeardPause, JudgedPass, Judgement, NoteVerdict, Refusal, RefusalKind
from lickwright.listen.pass_times import begun_at_picks, begun_starts, pass_times
from lickwright.listen.reading import LEAST_READ, read_as_lick
from lickwright.listen.recognition import RIGHT_SHARE, UNLIKE, groups_played, judge_likeness, right_share
from lickwright.listen.stretches import PICKED, Hearing
from lickwright.listen.told_times import onset_blurs, steady_onsets, times_told
from lickwright.listen.tuning import KnownNote, measured_tuning, overall_tuning
from lickwright.performance.note_events import Performance
from lickwright.timeline.model import SoundingNote, Timeline

_GIVEN_UP = 0.85  # share of the lick: a pass that ends before it, and is followed by another one, was begun again
_STRUCK = 4  # picks that are music though no pitch comes out, as of low double stops


class GivenUp(NamedTuple):
    """Where a phrase was given up that was begun again."""

    sound: SoundingNote  # the last note that was played of it
    at: float  # seconds in the recording


def judge_hearing(timeline: Timeline, performance: Performance, hearing: Hearing) -> Judgement:
    """Return what was played of a lick. Nothing is raised: what cannot be judged is refused in words."""
    groups = expected_groups(timeline, performance)
    passed_over = tuple(dict.fromkeys(g.why for g in groups if g.why))
    tuning = overall_tuning(hearing)

    def refused(why: Refusal, shift: int = 0) -> Judgement:
        return Judgement(
            timeline, hearing.recording.seconds, why, tuning, shift, (), 0, passed_over, timeline.settings.feel
        )

    if why := _nothing_to_judge(hearing, groups, passed_over):
        return refused(why)
    reading = read_as_lick(hearing, timeline, performance, groups, tuning)
    matching, shift = reading.matching, reading.shift
    higher = tuning + shift
    fine = measured_tuning(hearing.recording, _known_notes(hearing, reading.groups, matching, higher))
    tuning, higher = tuning + fine, higher + fine
    passes = _judged_passes(hearing, reading.groups, matching, reading.performance, higher)
    if not passes:
        return refused(UNLIKE)
    one = max(passes, key=_goodness)
    fit = fit_against_mirrors(hearing, reading.groups[: groups_played(one)], higher)
    if why := judge_likeness(one, shift, fit):
        return refused(why, shift)
    passes = tuple(other for other in passes if other is one or right_share(other) >= RIGHT_SHARE)
    return Judgement(
        timeline, hearing.recording.seconds, None, tuning, shift, passes, passes.index(one), passed_over, reading.feel
    )  # fmt: skip


def _nothing_to_judge(hearing: Hearing, groups: Sequence[ExpectedGroup], passed_over: Sequence[str]) -> Refusal | None:
    """Return why nothing can be judged, whatever the reading: there is no guitar, or no note for the ear; None if something can."""
    if not np.isfinite(hearing.pitches).any() and (hearing.picks > PICKED).sum() < _STRUCK:
        return Refusal(RefusalKind.SILENT, "nothing was heard that sounds like a guitar")
    if all(g.why for g in groups):
        words = f"there is no note in this lick that can be judged by ear: {', '.join(passed_over)}"
        return Refusal(RefusalKind.NO_NOTE, words)
    return None


def _goodness(one: JudgedPass) -> tuple[bool, int, int]:
    """Return what the best pass has most of: one through the whole lick comes before one that breaks off, however good that is."""
    return one.ends_at is None and right_share(one) >= RIGHT_SHARE, one.score.of_100, one.right_pitches


def _known_notes(
    hearing: Hearing, groups: Sequence[ExpectedGroup], matching: Matching, higher: float
) -> Iterator[KnownNote]:
    """Yield the notes that are matched and have a steady pitch, but those of chords."""
    for one in matching.passes:
        for n, begin in enumerate(one.begins):
            if begin is None or not _stands_still(groups[n]):
                continue
            following = next((b for b in one.begins[n + 1 :] if b is not None and b > begin), -1)
            ends = float(hearing.starts[begin]), float(hearing.starts[following])
            yield from _known_of_group(ends, groups[n], groups[max(0, n - 1) : n], higher)


def _known_of_group(
    ends: tuple[float, float], group: ExpectedGroup, before: Sequence[ExpectedGroup], higher: float
) -> Iterator[KnownNote]:
    """Yield the notes of a group that sounds between two instants (seconds), which may ring on from those `before` it."""
    sounding = [p for one in (*before, group) for p in one.pitches]
    for pitch in group.pitches:
        yield KnownNote(*ends, pitch + higher, tuple(p + higher for p in sounding if abs(p - pitch) > 0.5))


def _stands_still(group: ExpectedGroup) -> bool:
    """Return whether the pitches of a group are steady and can be told."""
    return group.why in ("", "swells") and not any(s.shapes or s.trill for s in group.sounds)


def _judged_passes(
    hearing: Hearing, groups: Sequence[ExpectedGroup], matching: Matching, performance: Performance, higher: float
) -> tuple[JudgedPass, ...]:
    found: list[JudgedPass] = []
    again: list[GivenUp] = []
    for number, one in enumerate(matching.passes):
        last = max((n for n, b in enumerate(one.begins) if b is not None), default=0)
        given_up = number + 1 < len(matching.passes) and last < _GIVEN_UP * len(groups) - 1
        if given_up or not one.whole:
            again.append(GivenUp(groups[last].sounds[0], float(hearing.starts[one.begins[last] or 0])))
            continue
        if sum(b is not None for b in one.begins) >= max(2, LEAST_READ * len(groups)) or len(groups) < 4:
            found.append(_judge_pass(hearing, groups, one, performance, higher, tuple(again)))
        again = []
    return tuple(found)


def _judge_pass(
    hearing: Hearing, groups: Sequence[ExpectedGroup], one: MatchedPass, performance: Performance, higher: float,
    again: tuple[GivenUp, ...],
) -> JudgedPass:  # fmt: skip
    begins = begun_at_picks(hearing, groups, one.begins, higher)
    matched = pass_times(groups, begins, begun_starts(hearing, begins), one.tempo)
    times = corrected_times(HeardPass(hearing, groups, matched, one.tempo, higher))
    whole = HeardPass(hearing, groups, times, one.tempo, higher)
    notes = judge_pitches(hearing, groups, times, higher)
    take_back_doubts(whole, notes)
    written, heard = np.array([g.at for g in groups]), steady_onsets(groups, times)
    pace = _played_pace(written, heard, one.tempo)
    timing = judge_onsets(written, heard, onset_blurs(groups))
    _fill_lateness(notes, groups, timing, times_told(whole, timing))
    judge_gestures(hearing, groups, times, performance, notes, pace, higher)
    judge_covered_releases(whole, performance, notes, pace)
    ends_at = _break_off(notes)
    for note in notes:
        note.kinds |= {deviation.kind for deviation in note_deviations(note)}
    extras = find_extras(whole, pace)
    start = min(s for s in times.starts if s is not None)
    return JudgedPass(
        start, max(times.stops), pace, _drift(timing), tuple(notes), tuple(extras), *_jumps(groups, heard, timing, again),
        tuple(sound for sound, _ in again), ends_at, _score(notes, len(extras)),
        None if timing.slows is None else groups[timing.slows].sounds[0],
    )  # fmt: skip


def _played_pace(written: NDArray[np.float64], heard: NDArray[np.float64], tempo: float) -> float:
    """Return the seconds played for each second written, by the tempo of the match where too few onsets are told."""
    told = np.isfinite(heard)
    return overall_pace(written[told], heard[told]) if told.sum() > 1 else 1 / tempo


def _jumps(
    groups: Sequence[ExpectedGroup], heard: NDArray[np.float64], timing: OnsetTiming, again: Sequence[GivenUp]
) -> tuple[tuple[HeardPause, ...], tuple[HeardPause, ...]]:
    """Return the hesitations of a pass, and the leaps over time that was left out; no hesitation is where a phrase was begun again instead."""
    pauses: list[HeardPause] = []
    skips: list[HeardPause] = []
    for k, seconds in timing.pauses:
        before = float(np.nanmax(heard[:k]))
        if any(before < at < heard[k] for _, at in again):
            continue
        jump = HeardPause(float(heard[k]), abs(seconds), groups[k].sounds[0])
        (pauses if seconds > 0 else skips).append(jump)
    return tuple(pauses), tuple(skips)


def _score(notes: Sequence[HeardNote], extras: int) -> Score:
    """Return the score of a comparison, of the notes that can be told."""
    pairs = [Pair(None, n.sound, frozenset(n.kinds)) for n in notes if n.verdict is not NoteVerdict.UNTOLD]
    return score_pairs(pairs + [Pair(None, None, frozenset((DifferenceKind.EXTRA,)))] * extras)


def _fill_lateness(
    notes: Sequence[HeardNote], groups: Sequence[ExpectedGroup], timing: OnsetTiming, told: Sequence[bool]
) -> None:
    by_sound = {s.index: n for n, g in enumerate(groups) for s in g.sounds}
    for note in notes:
        n = by_sound[note.sound.index]
        if note.onset is not None and told[n] and np.isfinite(timing.late[n]):
            note.late = float(timing.late[n])


def _break_off(notes: Sequence[HeardNote]) -> SoundingNote | None:
    """Return the last note that was played where a good part of the lick is missing after it; the rest cannot be told then."""
    played = [n for n, note in enumerate(notes) if note.onset is not None]
    rest = notes[played[-1] + 1 :] if played else []
    if len(rest) < max(3, len(notes) // 4):
        return None
    for note in rest:
        note.verdict, note.why = NoteVerdict.UNTOLD, "notes after the recording breaks off"
    return notes[played[-1]].sound


def _drift(timing: OnsetTiming) -> float:
    """Return by what share a pass is faster at its end than at its beginning."""
    pace = timing.pace[np.isfinite(timing.pace)]
    if len(pace) < 8:
        return 0.0
    quarter = max(3, len(pace) // 4)
    return float(np.median(pace[:quarter]) / np.median(pace[-quarter:]) - 1)
